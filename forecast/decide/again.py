"""The same trials once more: what was drawn, and the total where only what depends on a change is evaluated again.

Trials keep amounts, not the figures and causes that led to them. What was drawn follows from the seed and from
ids alone, so it can be had again when a question needs it, at a small part of the cost of a simulation.

Letters: N trials, K shared causes.

Letters: N trials.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from forecast.buildfile.checks import nearest
from forecast.buildfile.choosing import figure_names, with_figure
from forecast.buildfile.schema import Build
from forecast.engine.draws import columns
from forecast.engine.forecast import DEFAULT_SEED, DEFAULT_TRIALS, Forecast
from forecast.engine.known import Conditions, Pivot
from forecast.engine.replicate import World
from forecast.engine.rows import Gate, PlanInput
from forecast.errors import SimulationError
from forecast.figures.evaluate import Value, evaluate
from forecast.figures.figure import FigureBase
from forecast.figures.formula import Input, LineValue, walk
from forecast.figures.kinds import Discrete, Known
from forecast.figures.normal import normal_score
from forecast.figures.shapes import Array
from forecast.watching.known_facts import Knowledge, forecast_given


@dataclass(frozen=True)
class Draws:
    """Draws the trials of a forecast again, replicate by replicate.

    Attributes
    ----------
    forecast : Forecast
    world : World
        What was drawn: shared causes, and from them every figure.
    """

    forecast: Forecast
    world: World

    @property
    def conditions(self) -> Conditions | None:
        """What was known when it was simulated."""
        return self.world.conditions

    @property
    def causes(self) -> Array:
        """Scores of the shared causes, shape (K, N)."""
        return self.world.causes

    def figure(self, item: PlanInput) -> Array:
        """Give a figure's values as drawn, shape (N,); it may be one that the plan does not have."""
        return self.world.figure(item)

    def opens(self, gate: Gate, chance: float | None = None) -> NDArray[np.bool_]:
        """Tell in which trials an event happens, at its own chance or at another, shape (N,).

        The same score is held against another threshold: with a smaller chance it happens in a subset of trials.
        """
        known = None if self.conditions is None else self.conditions.gates.get(gate.id)
        if known is not None:
            return np.full(self.forecast.trials.count, known)
        wanted = gate.chance if chance is None else chance
        if wanted <= 0 or wanted >= 1:
            return np.full(self.forecast.trials.count, wanted >= 1)
        own = self.world.scores(f"gate {gate.id}")
        loadings = np.asarray(gate.loadings)
        if np.any(loadings):
            own = loadings @ self.causes + float(np.sqrt(1 - np.sum(loadings**2))) * own
        happened: NDArray[np.bool_] = own < normal_score(wanted)
        return happened


def draws_behind(forecast: Forecast) -> Draws:
    """Draw again what stands behind a forecast's trials.

    Parameters
    ----------
    forecast : Forecast

    Returns
    -------
    Draws
    """
    trials = forecast.trials
    n = trials.count // trials.replicates

    def scores(name: str) -> Array:
        drawn = columns(trials.seed, trials.numbers, [name], n, forecast.plan.slots)
        return np.concatenate([drawn.scores(0, block) for block in drawn.blocks()])

    return Draws(forecast, World(forecast.plan, trials.conditions, scores, trials.count))


@dataclass(frozen=True)
class ChangedOutcome:
    """Totals and own hours of changed trials.

    Attributes
    ----------
    totals, hours : ndarray, shape (N,)
    """

    totals: Array
    hours: Array


@dataclass(frozen=True)
class Change:
    """What is different.

    Attributes
    ----------
    figures : mapping
        New values by input id: a number, or an array of shape (N,).
    gates : mapping
        Whether each event (or line that may not be needed) happens, by gate id, shape (N,).
    factors : mapping
        Factor on a row's amount, by row id; 0 takes it away.
    borrowed : mapping
        Trials whose figures and events a row takes for its own, by row id, shape (N,): another draw of that row
        alone. What other rows make of the same figures stays, and so do the rows that it is computed from.
    """

    figures: Mapping[str, Value] = field(default_factory=dict)
    gates: Mapping[str, NDArray[np.bool_]] = field(default_factory=dict)
    factors: Mapping[str, float] = field(default_factory=dict)
    borrowed: Mapping[str, NDArray[np.intp]] = field(default_factory=dict)


@dataclass(frozen=True)
class Again:
    """Trials that can be evaluated again.

    Attributes
    ----------
    forecast : Forecast
        With rows kept.
    draws : Draws
    """

    forecast: Forecast
    draws: Draws

    @cached_property
    def _places(self) -> dict[str, int]:
        return {row.id: place for place, row in enumerate(self.forecast.plan.rows)}

    @cached_property
    def _gate_places(self) -> dict[str, int]:
        return {gate.id: place for place, gate in enumerate(self.forecast.plan.gates)}

    @cached_property
    def _reads(self) -> tuple[tuple[frozenset[str], frozenset[str]], ...]:
        """Inputs and rows that each row's formula reads."""
        found = []
        for row in self.forecast.plan.rows:
            nodes = walk(row.formula)
            inputs = frozenset(node.id for node in nodes if isinstance(node, Input))
            rows = frozenset(node.id for node in nodes if isinstance(node, LineValue))
            found.append((inputs, rows))
        return tuple(found)

    @cached_property
    def _figures(self) -> dict[str, Array]:
        return {}

    def figure(self, name: str) -> Array:
        """Give an input's values in these trials, shape (N,); read only."""
        if name not in self._figures:
            plan = self.forecast.plan
            if name in self._prices:
                self._figures[name] = self._price(name)
            else:
                return self.extra_figure(plan.inputs[plan.input_places[name]])
        return self._figures[name]

    @cached_property
    def _prices(self) -> dict[str, tuple[int, Pivot]]:
        """Prices that follow from what was paid: the place of their row, and how they follow."""
        pivots = self.draws.conditions.pivots if self.draws.conditions is not None else {}
        return {pivot.price: (self._places[row], pivot) for row, pivot in pivots.items()}

    def _price(self, name: str) -> Array:
        place, pivot = self._prices[name]
        inputs_read, rows_read = self._reads[place]
        inputs: dict[str, Value] = {one: self.figure(one) for one in inputs_read if one != name}
        lines: dict[str, Value] = {one: self._row(self._places[one]) for one in rows_read}
        row = self.forecast.plan.rows[place]
        price = self.draws.world.price(row, pivot, self._row(place), {**inputs, name: 1.0}, lines)
        found = np.broadcast_to(np.asarray(price, dtype=float), (self.forecast.trials.count,)).copy()
        found.setflags(write=False)
        return found

    def extra_figure(self, item: PlanInput) -> Array:
        """Give the values of an input that the plan does not have, as they would have been drawn; read only."""
        if item.id not in self._figures:
            values = self.draws.figure(item)
            values.setflags(write=False)
            self._figures[item.id] = values
        return self._figures[item.id]

    def has_figure(self, name: str) -> bool:
        """Tell whether the plan has an uncertain input of that name."""
        return any(item.id == name for item in self.forecast.plan.inputs)

    def affected(
        self, figures: Iterable[str] = (), gates: Iterable[str] = (), rows: Iterable[str] = ()
    ) -> tuple[int, ...]:
        """Give the places of all rows that depend on these figures, gates or rows, in the plan's order."""
        changed_inputs, changed_gates, changed_rows = set(figures), set(gates), set(rows)
        fixed = self.draws.conditions.amounts if self.draws.conditions is not None else {}
        found = []
        for place, (row, (inputs, others)) in enumerate(
            zip(self.forecast.plan.rows, self._reads, strict=True)
        ):
            if row.id in fixed:
                continue
            if (
                row.id in changed_rows
                or row.gate in changed_gates
                or inputs & changed_inputs
                or others & changed_rows
            ):
                found.append(place)
                changed_rows.add(row.id)
        return tuple(found)

    def run(self, change: Change) -> ChangedOutcome:
        """Give totals and hours with a change made.

        Parameters
        ----------
        change : Change

        Returns
        -------
        ChangedOutcome
        """
        trials = self.forecast.trials
        totals, hours = trials.totals.copy(), trials.hours.copy()
        for place, new in self.rows(change).items():
            row = trials.plan.rows[place]
            if row.is_money:
                totals += new - self._row(place)
            elif row.kind == "hours":
                hours += new - self._row(place)
        return ChangedOutcome(totals, hours)

    def rows(self, change: Change) -> dict[int, Array]:
        """Give the new amounts of every row that a change touches, by place in the plan."""
        touched = {*change.factors, *change.borrowed}
        new: dict[int, Array] = {}
        for place in self.affected(change.figures, change.gates, touched):
            row = self.forecast.plan.rows[place]
            inputs_read, rows_read = self._reads[place]
            borrowed = change.borrowed.get(row.id)
            if borrowed is not None and not rows_read and not inputs_read & change.figures.keys():
                new[place] = self._row(place)[borrowed] * change.factors.get(row.id, 1.0)
                continue
            figures = {
                name: change.figures[name] if name in change.figures else self.figure(name)
                for name in inputs_read
            }
            others = {self._places[name] for name in rows_read}
            lines = {other: new[other] if other in new else self._row(other) for other in others}
            new[place] = self._amount(place, figures, lines, change.gates, borrowed)
            new[place] *= change.factors.get(row.id, 1.0)
        return new

    def alone(self, ids: Collection[str]) -> Array:
        """Give what some rows add up to in each trial were all others that they are computed from at their means.

        Parameters
        ----------
        ids : collection of str
            Of rows.

        Returns
        -------
        ndarray, shape (N,)
            All alike where they have no figures of their own, as duty has none.
        """
        trials = self.forecast.trials
        fixed = self.draws.conditions.amounts if self.draws.conditions is not None else {}
        found: dict[int, Array] = {}
        for place in sorted(self._places[id] for id in ids):
            inputs_read, rows_read = self._reads[place]
            if not rows_read or self.forecast.plan.rows[place].id in fixed:
                found[place] = self._row(place)
                continue
            others = {self._places[name] for name in rows_read}
            lines = {other: found[other] if other in found else self._mean(other) for other in others}
            found[place] = self._amount(place, {name: self.figure(name) for name in inputs_read}, lines, {})
        total = np.zeros(trials.count)
        for values in found.values():
            total += values
        return total

    def _mean(self, place: int) -> float:
        return float(np.average(self._row(place), weights=self.forecast.trials.weights))

    def _amount(
        self,
        place: int,
        figures: Mapping[str, Value],
        lines: Mapping[int, Value],
        gates: Mapping[str, NDArray[np.bool_]],
        borrowed: NDArray[np.intp] | None = None,
    ) -> Array:
        """Evaluate a row from figures by id and other rows by place; its figures and event may be borrowed."""
        trials, rows = self.forecast.trials, self.forecast.plan.rows
        row = rows[place]
        inputs = dict(figures)
        if borrowed is not None:
            inputs = {
                name: values[borrowed] if isinstance(values, np.ndarray) else values
                for name, values in figures.items()
            }
        amount = np.full(trials.count, 0.0)
        read = {rows[other].id: values for other, values in lines.items()}
        amount += evaluate(self.draws.world.formula(row), inputs, read)
        if row.gate is not None:
            told = gates.get(row.gate)
            opened = trials.gates[self._gate_places[row.gate]] if told is None else told
            amount *= opened if borrowed is None else opened[borrowed]
        changed = borrowed is not None or any(
            values is not self._figures.get(name) for name, values in figures.items()
        )
        settled = self.draws.world.settle(row, amount, changed=changed)
        if settled is not None:
            amount[:] = settled
        return amount

    def _row(self, place: int) -> Array:
        rows = self.forecast.trials.rows
        if rows is None:
            message = 'rows were not kept: run the simulation with keep="rows".'
            raise SimulationError(message)
        row: Array = rows[place]
        return row


def replay_of(forecast: Forecast) -> Again:
    """Give trials that can be evaluated again, under the facts that they were drawn under.

    Parameters
    ----------
    forecast : Forecast
        With rows kept.
    """
    return Again(forecast, draws_behind(forecast))


def with_open_figures(build: Build, names: Iterable[str]) -> Build:
    """Give the build with known figures turned into ones that can be changed: a choice of one value.

    Nothing else changes: the value is the same in every trial.

    Raises
    ------
    SimulationError
        When there is no such figure.
    """
    for name in names:
        changed = with_figure(build, name, _opened)
        if changed is not None:
            build = changed
    return build


def _opened(figure: FigureBase) -> FigureBase:
    if not isinstance(figure, Known):
        return figure
    return Discrete(
        values=(figure.value,), chances=(1.0,), currency=figure.currency, unit=figure.unit, estimated=False
    )


def replay_build(
    build: Build,
    names: Iterable[str],
    scenario: str | None = None,
    trials: int = DEFAULT_TRIALS,
    seed: int = DEFAULT_SEED,
    known: Knowledge = None,
) -> Again:
    """Simulate a build so that the named figures can be changed afterwards, known ones included.

    Raises
    ------
    SimulationError
        When a name is not that of a figure that counts in the scenario.
    """
    wanted = tuple(names)
    forecast = forecast_given(with_open_figures(build, wanted), scenario, trials, seed, known)
    replay = replay_of(forecast)
    for name in wanted:
        if not replay.has_figure(name):
            legal = [item.id for item in forecast.plan.inputs] + list(figure_names(build))
            message = (
                f"figure {name!r}: not in this scenario. Write it as id.key, such as kit.amount. "
                f"{nearest(name, dict.fromkeys(legal))}"
            )
            raise SimulationError(message)
    return replay
