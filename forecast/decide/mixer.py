"""Totals of any mix of routes, from one simulation in which the lines of all routes stand side by side.

A line counts in the mixes whose route for its package is its own. What a line costs depends on other packages only
where it is a percentage of their lines, or where an event hands work over to a shop. So rows are grouped by the
packages that they depend on: those of one package are added up once for each of its routes; the others are evaluated
for each state of the packages that matter to them, and no oftener.

Letters: N trials, P packages.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np

from forecast.buildfile.choosing import counts, overridden
from forecast.buildfile.schema import Build, Event, Scenario
from forecast.decide.again import Again, replay_of
from forecast.decide.made import routes_made
from forecast.engine.forecast import Forecast
from forecast.engine.known import KnownFacts
from forecast.engine.plan import OWN_WORK, compile_plan
from forecast.engine.rows import PlanInput, Row
from forecast.figures.evaluate import Value, evaluate
from forecast.figures.formula import Formula, Input, LineValue, walk
from forecast.figures.kinds import Known
from forecast.figures.shapes import Array
from forecast.watching.known_facts import Knowledge, forecast_given, spent

_UNION = "union-of-all-routes"

Routes = dict[str, str]
"""Route by package."""


@dataclass(frozen=True)
class Totals:
    """Money, own hours and weeks of waiting of one mix, shape (N,) each."""

    money: Array
    hours: Array
    waits: Array

    def __add__(self, other: Totals) -> Totals:
        """Add what two groups of rows come to."""
        return Totals(self.money + other.money, self.hours + other.hours, self.waits + other.waits)


def routes_offered(build: Build) -> dict[str, tuple[str, ...]]:
    """Give the routes that the lines and events of each work package take, in the order of the file."""
    found: dict[str, tuple[str, ...]] = {}
    for item in (*build.line, *build.event):
        if item.package is not None and item.route is not None:
            found[item.package] = tuple(dict.fromkeys((*found.get(item.package, ()), item.route)))
    return found


class Mixer:
    """Gives the totals of any mix of routes of one build."""

    def __init__(
        self, build: Build, overrides: Scenario, trials: int, seed: int, known: Knowledge = None
    ) -> None:
        # Overrides first: one may put a line into another package, and the mixes must follow it there.
        build = overridden(build, overrides)
        self.build = build
        offered, made = routes_offered(build), routes_made(build, known)
        self.routes = {
            package: (made[package],) if made.get(package) in routes else routes
            for package, routes in offered.items()
        }
        self.packages = tuple(self.routes)
        self._items = {item.id: item for item in (*build.line, *build.event)}
        self._handing = {event.id: event for event in build.event if event.hands_over}
        union = _union(build)
        self.forecast: Forecast = forecast_given(union, _UNION, trials, seed, known)
        self.replay: Again = replay_of(self.forecast)
        conditions = self.forecast.trials.conditions
        self._fixed = set() if conditions is None else set(conditions.amounts)
        self._spent = {} if known is None or isinstance(known, KnownFacts) else spent(build, known)
        self._depends = self._dependencies()
        self._cache: dict[tuple[str, ...], dict[tuple[str, ...], Totals]] = {}
        self._groups = self._grouped()

    @property
    def count(self) -> int:
        """How many mixes there are."""
        total = 1
        for routes in self.routes.values():
            total *= len(routes)
        return total

    def all(self) -> Iterator[tuple[Routes, Totals]]:
        """Give every mix with its totals, each package's routes in the order of the file, the last one fastest."""
        yield from self._walk(0, {}, self._group((), {}))

    def totals(self, routes: Routes) -> Totals:
        """Give the totals of one mix."""
        found = self._group((), routes)
        for packages in self._groups:
            if packages:
                found = found + self._group(packages, routes)
        return self._with_own_work(found)

    def _walk(self, depth: int, routes: Routes, sofar: Totals) -> Iterator[tuple[Routes, Totals]]:
        if depth == len(self.packages):
            yield dict(routes), self._with_own_work(sofar)
            return
        package = self.packages[depth]
        settled = set(self.packages[: depth + 1])
        ready = [group for group in self._groups if package in group and settled.issuperset(group)]
        for route in self.routes[package]:
            here = {**routes, package: route}
            total = sofar
            for group in ready:
                total = total + self._group(group, here)
            yield from self._walk(depth + 1, here, total)

    def _with_own_work(self, found: Totals) -> Totals:
        value = self.build.build.own_hour_value
        if value is None:
            return found
        row = next((row for row in self.forecast.plan.rows if row.id == OWN_WORK), None)
        if row is None:
            return found
        price = next(part for part in walk(row.formula)[1:] if not isinstance(part, LineValue))
        inputs: dict[str, Value] = {
            node.id: self.replay.figure(node.id) for node in walk(price) if isinstance(node, Input)
        }
        return replace(found, money=found.money + evaluate(price, inputs, {}) * found.hours)

    def _dependencies(self) -> dict[str, tuple[str, ...]]:
        """Give, for each row, the packages whose routes its amount depends on, in the order of the file."""
        found: dict[str, set[str]] = {}
        for row in self.forecast.plan.rows:
            packages: set[str] = set()
            item = self._items.get(row.of)
            if item is not None and item.route is not None:
                packages.update(item.packages)
            if row.id not in self._fixed:
                for node in walk(row.formula):
                    if isinstance(node, LineValue):
                        packages |= found[node.id]
                event = self._handing.get(row.of)
                if event is not None:
                    packages |= {package for package in event.hands_over if package in self.routes}
                    packages |= self._behind(event, found)
            found[row.id] = packages
        return {id: tuple(name for name in self.packages if name in items) for id, items in found.items()}

    def _behind(self, event: Event, found: Mapping[str, set[str]]) -> set[str]:
        """Give the packages that the shop's lines of work handed over depend on themselves."""
        behind: set[str] = set()
        for line in self.build.line:
            if line.package in event.hands_over and line.id in found:
                behind |= found[line.id]
        return behind

    def _grouped(self) -> dict[tuple[str, ...], list[int]]:
        groups: dict[tuple[str, ...], list[int]] = {(): []}
        for place, row in enumerate(self.forecast.plan.rows):
            if row.id != OWN_WORK:
                groups.setdefault(self._depends[row.id], []).append(place)
        return groups

    def _group(self, packages: tuple[str, ...], routes: Routes) -> Totals:
        """Give what the rows that depend on just these packages come to, evaluated once for each of their states."""
        state = tuple(routes[package] for package in packages)
        cache = self._cache.setdefault(packages, {})
        if state not in cache:
            found = Totals(*(np.zeros(self.forecast.trials.count) for _ in range(3)))
            if not packages:  # what was paid for none of the lines is spent in every mix
                found.money[:] = self.forecast.outside
            here = dict(zip(packages, state, strict=True))
            values: dict[str, Value] = {}
            for place in self._groups.get(packages, ()):
                row = self.forecast.plan.rows[place]
                target = found.money if row.is_money else found.hours if row.kind == "hours" else found.waits
                target += self._amount(row, here, values)
                if not self._counts(
                    row, here
                ):  # what was paid is spent all the same, and no share of it is taken
                    target += self._spent.get(row.id, 0.0)
            if len(packages) >= len(self.packages) > 1:
                return found  # of one mix only: not worth keeping
            cache[state] = found
        return cache[state]

    def _amount(self, row: Row, routes: Routes, values: dict[str, Value]) -> Value:
        """Give a row's amount in a state of the packages that it depends on."""
        if row.id in values:
            return values[row.id]
        amount: Value = 0.0
        if self._counts(row, routes):
            if row.of in self._handing and row.id not in self._fixed:
                amount = self._settled(row, self._handed_over(row, routes, values), changed=True)
            elif len(self._depends[row.id]) <= 1 and not self._reads_routed(row):
                amount = self._own(row.id)
            else:
                amount = self._settled(
                    row, self._evaluated(self.replay.draws.world.formula(row), row.gate, routes, values)
                )
        values[row.id] = amount
        return amount

    def _counts(self, row: Row, routes: Routes) -> bool:
        """Tell whether a row is one of the ways that a mix takes."""
        item = self._items.get(row.of)
        return item is None or counts(item, Scenario(routes=routes))

    def _settled(self, row: Row, amount: Value, *, changed: bool = False) -> Value:
        """Give what a row evaluated anew comes to with what was paid or agreed for it."""
        count = self.forecast.trials.count
        found = self.replay.draws.world.settle(
            row, np.broadcast_to(np.asarray(amount, dtype=float), (count,)), changed=changed
        )
        return amount if found is None else found

    def _reads_routed(self, row: Row) -> bool:
        if row.id in self._fixed:
            return False
        return any(isinstance(node, LineValue) and self._depends[node.id] for node in walk(row.formula))

    def _own(self, id: str) -> Array:
        return self.forecast.trials.row(id)

    def _evaluated(
        self, formula: Formula, gate: str | None, routes: Routes, values: dict[str, Value],
        inputs: Mapping[str, PlanInput] | None = None,
    ) -> Value:  # fmt: skip
        read: dict[str, Value] = {}
        lines: dict[str, Value] = {}
        rows = {row.id: row for row in self.forecast.plan.rows}
        for node in walk(formula):
            if isinstance(node, Input) and node.id not in read:
                read[node.id] = self._figure(node.id, inputs)
            elif isinstance(node, LineValue) and node.id not in lines:
                lines[node.id] = self._amount(rows[node.id], routes, values)
        amount = evaluate(formula, read, lines)
        if gate is not None:
            places = [place.id for place in self.forecast.plan.gates]
            amount = amount * self.forecast.trials.gates[places.index(gate)]
        return amount

    def _figure(self, id: str, inputs: Mapping[str, PlanInput] | None) -> Array:
        if self.replay.has_figure(id):
            return self.replay.figure(id)
        return self.replay.extra_figure((inputs or {})[id])

    def _handed_over(self, row: Row, routes: Routes, values: dict[str, Value]) -> Value:
        """Give an event's row where it hands work over: its formula is that of a scenario of these routes."""
        others = {package: offered[0] for package, offered in self.routes.items()}
        scenario = Scenario(routes={**others, **routes})
        plan = compile_plan(self.build.model_copy(update=_in_one_way(self.build, scenario)), _UNION)
        found = next((other for other in plan.rows if other.id == row.id), None)
        if found is None:
            return 0.0
        inputs = {item.id: item for item in plan.inputs}
        return self._evaluated(self.replay.draws.world.formula(found), found.gate, routes, values, inputs)


def _union(build: Build) -> Build:
    """Give the build with the lines of all routes counting, and with no event that hands work over.

    What such an event adds depends on the routes: its formula is compiled for each state. Its row stays, for its
    gate, its place and its draws.
    """
    return build.model_copy(
        update={
            "line": tuple(line.model_copy(update={"route": None, "also_for": ()}) for line in build.line),
            "event": tuple(_without_handing_over(event) for event in build.event),
            **_in_one_way(build, Scenario()),
        }
    )


def _in_one_way(build: Build, scenario: Scenario) -> dict[str, object]:
    """Give what makes a scenario the only one of a build: its plan is then none of the file's."""
    return {"scenario": {_UNION: scenario}, "build": build.build.model_copy(update={"way": None})}


def _without_handing_over(event: Event) -> Event:
    changes: dict[str, object] = {"route": None}
    if event.hands_over:
        changes |= {"hands_over": (), "share": None, "penalty": None}
        if event.own_hours is None:
            changes["own_hours"] = Known(value=0.0)  # hours that the shop spares need a row to stand in
    return event.model_copy(update=changes)
