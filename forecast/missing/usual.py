"""What the guided start would have proposed for a build or for one option of it, held against what the build has.

The tool that proposes a line is the tool that misses it: what a build tells of itself (does a consignment bring the
kit, are arches cut, are wheels bought, who may do which work package) is put as answers to the guided start, and what
it writes for them is what such a build usually has. A build that was begun with starter lines is judged so throughout;
one in the builder's own words by the rules of ``rules.toml`` alone, as it may part the same work otherwise.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

from forecast.buildfile.cautions import mentions
from forecast.buildfile.changes import AddItem
from forecast.buildfile.choosing import only_for_packages, with_option
from forecast.buildfile.library import PRACTICE, Library, library_of
from forecast.buildfile.places import load_places
from forecast.buildfile.rates import ask_for_rate, per_euro
from forecast.buildfile.rulefiles import countries
from forecast.buildfile.schema import Build, Costed, Line, Option
from forecast.buildfile.toml import toml_value
from forecast.missing.build_facts import Facts, text_of
from forecast.missing.rules import Finding, Grade, load_rules
from forecast.start.answers import Answers
from forecast.start.create import library_for
from forecast.start.proposed_lines import (
    WHEEL_LINES,
    WHEEL_SET,
    add_waits,
    cost_lines,
    on_surfaces,
    work_lines,
)
from forecast.start.risks import WITH_WHEELS, events

BEGUN_WITH_STARTERS = 1 / 3
"""From this share of what the guided start proposes on, a build counts as begun with it (our choice): a guided build
out of which much was taken has more, one in own words has a tenth."""

_ALIKE: Mapping[str, str] = {
    "adhesive": "sealant_adhesive", "filler_skim": "filler", "paint_clear": "paint_materials",
    "arch_materials": "arch_cut_welded", "wheel_set": "wheels",
    "shop_fitting_materials": "shop_filling_materials",
}  # fmt: skip
"""Lines of the guided start alone, each with the starter line by whose words it is known."""
_INSTEAD: Mapping[str, tuple[str, ...]] = {
    "paint_kit_parts": ("paint_whole_car",), "blending": ("paint_whole_car",),
    "paint_materials": ("film_material", "film_fitted"),
}  # fmt: skip
"""What a builder may have in the place of a line."""
_BOUGHT = ("kit", "freight", "import", "wheels")
_ROUTES = {"self": "own work", "shop": "a shop's work"}


@dataclass(frozen=True)
class Usual:
    """What the guided start proposes for a build."""

    facts: Facts

    @property
    def build(self) -> Build:
        """The build that is judged."""
        return self.facts.build

    @cached_property
    def library(self) -> Library:
        """The starter library in the build's money; in euro where no rate is known."""
        return library_for(self.answers, per_euro(self.build) or 1.0)

    @cached_property
    def answers(self) -> Answers:
        """What the build tells, as answers to the guided start; what it does not tell is not known."""
        build = self.build
        code = build.build.country if build.build.country in countries() else None
        here = not build.consignment and "import_dues" in build.not_needed
        ids = {item.id for item in (*build.line, *build.event)}
        together = any(line.id == "wheel_set" or line.name == WHEEL_SET for line in build.line)
        apart = self.facts.new_wheels or bool({*WHEEL_LINES} - {"wheel_fixings"} & ids)
        wheels: bool | None = None
        if apart and not together:
            wheels = True
        elif not together and not WITH_WHEELS & ids:
            wheels = False
        arches = None if any(line.package == "arches" for line in build.line) else self.facts.cut_arches
        return Answers(
            name=build.name, country=code, currency=build.build.currency, panels=None,
            origin=build.build.country if here else None, sent_from=build.build.country if here else None,
            kit_price=None, kit_currency=build.build.currency, rate=None, shipping=None, incoterm=None, boxes=None,
            region=None, private_use=None, arches_cut=arches, wheels_new=wheels, filling=None, paint=None,
            at_hand=(), car_state=None, first_build=None, week_hours=None, budget=None,
        )  # fmt: skip

    @cached_property
    def tables(self) -> Mapping[str, tuple[str, dict[str, Any]]]:
        """What is proposed, by id: "line" or "event", and its table."""
        lines = [table for _, table in cost_lines(self.answers, self.library)]
        lines += work_lines(self.answers, self.library)
        add_waits(lines, self.library)
        found = {str(table["id"]): ("line", table) for table in lines}
        for event in events(self.answers, self.library, lines):
            found[str(event.values["id"])] = ("event", dict(event.values))
        return found

    @cached_property
    def _told(self) -> frozenset[str]:
        """Ids and names of what the build has; a line that was given another id keeps its name."""
        items: tuple[Costed, ...] = (*self.build.line, *self.build.event)
        return frozenset(word for item in items for word in (item.id, (item.name or "").casefold()) if word)

    def _is_told(self, id: str, table: Mapping[str, Any]) -> bool:
        return id in self._told or str(table["name"]).casefold() in self._told

    @cached_property
    def begun_with_it(self) -> bool:
        """Whether the build has enough of what is proposed to be judged by all of it."""
        there = sum(self._is_told(id, table) for id, (_, table) in self.tables.items())
        return there >= BEGUN_WITH_STARTERS * len(self.tables)

    @cached_property
    def _own(self) -> tuple[Costed, ...]:
        """Lines and events in the builder's own words: those that are proposed stand for themselves alone."""
        names = {str(table["name"]).casefold() for _, table in self.tables.values()}
        return tuple(
            item
            for item in (*self.build.line, *self.build.event)
            if item.id not in self.tables and (item.name or "").casefold() not in names
        )

    def is_there(self, id: str) -> bool:
        """Tell whether the build has what is proposed, or something of its own in its place."""
        kind, table = self.tables[id]
        if self._is_told(id, table) or any(name in self._told for name in _INSTEAD.get(id, ())):
            return True
        plain = id.replace("_", " ")
        if kind == "event":
            return any(not isinstance(item, Line) and mentions(text_of(item), (plain,)) for item in self._own)
        own = [item for item in self._own if isinstance(item, Line)]
        if (table["group"] == "labour" and "own_hours" in table) or id.endswith("_shop"):
            return any(self._does(item, table) for item in own)
        known = _ALIKE.get(id, id)
        words = next((line.words for line in self.library.lines if line.id == known), ())
        return any(
            (item.group == table["group"] or not {item.group, table["group"]} & set(_BOUGHT))
            and mentions(text_of(item), (plain, *words))
            for item in own
        )

    @staticmethod
    def _does(item: Line, table: Mapping[str, Any]) -> bool:
        """Tell whether a line of the builder's own is the work of a package, by the same way."""
        if item.package != table.get("package") or item.route != table.get("route"):
            return False
        return item.own_hours is not None or table.get("route") == "shop"

    def is_taken(self, table: Mapping[str, Any]) -> bool:
        """Tell whether some way to do the build takes the route in which a line counts."""
        package, route = table.get("package"), table.get("route")
        ways = self.build.scenario.values()
        if not ways or package is None or route is None:
            return True
        packages = (package, *table.get("also_for", ()))
        return any(way.route(name) == route for way in ways for name in packages)

    def change(self, id: str) -> AddItem | None:
        """Give the change that adds it, of what is in the build only; None where nothing would be left of it."""
        kind, table = self.tables[id]
        table = only_for_packages(table, self.build)
        if "of" in table:
            table["of"] = [name for name in table["of"] if name in {line.id for line in self.build.line}]
            if not table["of"]:
                return None
        waits = {
            line.package for line in self.build.line if line.wait_weeks is not None and line.route == "shop"
        }
        if self.build.build.hours_per_week is None or (kind == "line" and table.get("package") in waits):
            table.pop("wait_weeks", None)
        of_a_kit = {panel.surface for panel in load_places().panels.values()}
        on_surfaces(table, [surface.id for surface in self.build.surface if surface.id in of_a_kit])
        return AddItem(kind, without_causes(table, {cause.id for cause in self.build.cause}))


def without_causes(table: Mapping[str, Any], present: Collection[str]) -> dict[str, Any]:
    """Leave out shared causes that the build does not have."""
    cleaned: dict[str, Any] = {}
    for key, value in table.items():
        if key == "causes" and isinstance(value, Mapping):
            value = {name: load for name, load in value.items() if name in present}
        elif isinstance(value, Mapping):
            value = without_causes(value, present)
        if value != {}:
            cleaned[key] = value
    return cleaned


def of_usual(facts: Facts, found: Collection[str]) -> Iterator[Finding]:
    """Find what the guided start would have proposed and the build, which was begun with it, has not.

    Parameters
    ----------
    facts : Facts
    found : collection of str
        Starters that other rules miss already.
    """
    usual = Usual(facts)
    if not usual.begun_with_it:
        return
    rules = {need.starter: need for need in load_rules()}
    for id, (kind, table) in usual.tables.items():
        if id in found or not usual.is_taken(table) or usual.is_there(id):
            continue
        rule = rules.get(id)
        if rule is not None and rule.rule in facts.build.not_needed:
            continue
        cost, unit, source = _cost(usual, table)
        yield Finding(
            id, rule.grade if rule else _grade(kind, table), str(table["name"]),
            rule.why if rule else _why(kind, table), cost, unit, source, change=usual.change(id),
            chance=table.get("chance", 1.0),
        )  # fmt: skip


def of_ways(facts: Facts) -> Iterator[Finding]:
    """Find a work package that some way to do the build takes by a route in which nothing of it is counted."""
    build = facts.build
    routes: dict[str, set[str]] = {}
    for line in build.line:
        if line.package is not None and line.route is not None:
            routes.setdefault(line.package, set()).add(line.route)
    for package, known in routes.items():
        if any(line.package == package and line.route is None for line in build.line):
            continue  # what counts either way may be all of it
        wanting: dict[str, list[str]] = {}
        for id, way in build.scenario.items():
            route = way.route(package)
            if route is not None and route not in known:
                wanting.setdefault(route, []).append(way.name or id)
        for route, names in wanting.items():
            told = " and ".join(f'"{name}"' for name in names)
            yield Finding(
                f"way-{package}_{route}", "must", f"{_ROUTES.get(route, route).capitalize()} of the package {package}",
                f"The way {told} takes {package} by {route}, and no line says what that costs or how long it takes.",
                mend=f'Add a [[line]] with package = "{package}" and route = "{route}".',
            )  # fmt: skip


def _grade(kind: str, table: Mapping[str, Any]) -> Grade:
    if kind == "event" or table.get("chance", 1) < 1 or table.get("optional"):
        return "consider"
    return "must" if table.get("safety") else "usual"


def _why(kind: str, table: Mapping[str, Any]) -> str:
    """Say what a line is part of, and in which way it counts."""
    if kind == "event":
        return (
            f"It happens in about {round(100 * table['chance'])} of 100 such builds, and has its cost then."
        )
    package, route = table.get("package"), table.get("route")
    if package and route:
        way = _ROUTES.get(route, route)
        return f"It belongs to {way} of the package {package}, and nothing else in it stands for it."
    if package:
        return f"It belongs to the package {package}, whoever does that."
    return "The guided start proposes it for a build like this one."


def _cost(usual: Usual, table: Mapping[str, Any]) -> tuple[tuple[float, float, float] | None, str, str]:
    """Give what is proposed as a cost: money, percent or hours, with its unit and source."""
    code = usual.build.build.currency
    for key, unit in (
        ("percent", f"percent of {', '.join(table.get('of', ()))}".replace("_", " ")), ("own_hours", "own hours"),
    ):  # fmt: skip
        if key in table and "cost" not in table:
            return _range(table[key]), unit, PRACTICE
    if per_euro(usual.build) is None:
        return None, code, ask_for_rate(code)
    if "cost" in table:
        return _range(table["cost"]), f"{code} when it happens", PRACTICE
    if "amount" in table:
        return _range(table["amount"]), code, PRACTICE
    price, quantity = table.get("price"), table.get("quantity")
    known = next(
        (line for line in usual.library.lines if line.id == _ALIKE.get(table["id"], table["id"])), None
    )
    if isinstance(quantity, Mapping) and isinstance(price, Mapping):
        low, middle, high = (number * price["middle"] for number in _range(quantity))
        return (low, middle, high), code, PRACTICE
    if known is not None and known.scale != "percent":
        return known.range, code, PRACTICE
    return None, code, ""


def _range(figure: Mapping[str, Any]) -> tuple[float, float, float]:
    return float(figure["low"]), float(figure["middle"]), float(figure["high"])


Look = Callable[[Build], list[Finding]]
"""Gives what a build without options lacks."""


def of_options(build: Build, known: Collection[str], look: Look) -> Iterator[Finding]:
    """Find what is missing only where an option is taken, once for all options that lack it.

    Parameters
    ----------
    build : Build
    known : collection of str
        Rules of what the build lacks in any case.
    look : callable
    """
    lacking: dict[str, list[tuple[Option, Finding]]] = {}
    for option in build.option:
        for item in look(with_option(build, option)):
            if item.narrow and item.line in option.override:
                continue  # what is quoted is as narrow as it was quoted
            if item.rule not in known:
                lacking.setdefault(item.rule, []).append((option, item))
    for found in lacking.values():
        names = " and ".join(dict.fromkeys(f'"{option.title}"' for option, _ in found))
        option, item = found[0]
        yield replace(
            item, missing=f"{item.missing}, with option {names}", starter=None, change=None,
            mend=_mend(build, option, item),
        )  # fmt: skip


def _mend(build: Build, option: Option, item: Finding) -> str:
    """Say what to write into the option itself, so that it counts where the option is taken and nowhere else."""
    place = f'[[option]] with id = "{option.id}"'
    if item.starter is not None and item.line is None:
        if per_euro(build) is None:
            return f"{place}: {ask_for_rate(build.build.currency)}"
        library = library_of(build)
        present = {line.id for line in (*build.line, *option.line)}
        timed = build.build.hours_per_week is not None
        kind, table = library.table(item.starter, present, timed=timed)
        table.pop("note")
        table = without_causes(table, {cause.id for cause in build.cause})
        words = ", ".join(f"{key} = {toml_value(value)}" for key, value in table.items())
        return f"Under {place} add [[option.{kind}]] with the keys {words}."
    for kind in ("line", "event"):
        item = replace(item, mend=item.mend.replace(f"[[{kind}]]", f"[[option.{kind}]]", 1))
    if item.line in option.override:
        return f"{item.mend} That of {place} is meant: write it into its override."
    return item.mend
