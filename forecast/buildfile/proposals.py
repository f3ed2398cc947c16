"""Quotes and measures put beside what a build file says, to be compared: as changes to the file."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from forecast.buildfile.changes import AddItem, AddScenario, Change
from forecast.buildfile.consignment import Goods
from forecast.buildfile.library import library_of, load_library
from forecast.buildfile.places_of_figures import Place, place_at, places
from forecast.buildfile.schema import AS_WRITTEN, Build
from forecast.buildfile.sheet import free_id
from forecast.figures.figure import range_written
from forecast.figures.kinds import Known

_PRICES = ("amount", "price")


@dataclass(frozen=True)
class Quoted:
    """One quote, as a builder tells it.

    Attributes
    ----------
    name : str
        Of who quotes.
    low, middle, high : float or None
        The price, in the currency of the figure; the middle alone is firm.
    never : float or None
        Chance, from 0 to 1, that it never comes; then ``lost`` is gone, in the build's currency.
    late : float or None
        Chance that it comes late; then the build stands still for ``weeks``.
    """

    name: str
    low: float | None
    middle: float | None
    high: float | None
    never: float | None = None
    lost: float | None = None
    late: float | None = None
    weeks: float | None = None


def unforeseen_line(name: str, group: str, taken: Iterable[str]) -> AddItem:
    """Give a line for a bill that nobody told of: it was to cost nothing, so all that is paid for it was not foreseen.

    Parameters
    ----------
    name, group : str
    taken : iterable of str
        Ids that others bear.
    """
    note = "Not in the estimate: nobody told of this bill."
    table = {"id": free_id(name, taken), "name": name, "group": group, "amount": 0, "note": note}
    return AddItem("line", table)


def priced_figures(build: Build) -> dict[str, str]:
    """List the figures that a quote can be for, by path, with what each is called."""
    return {
        place.path: f"{place.title}, in {place.unit}"
        for place in places(build)
        if place.key.rpartition(".")[2] in _PRICES and not place.key.startswith("takeoff")
    }


def choice_of(path: str) -> str:
    """Give the question that quotes for a figure answer: the id of what it belongs to."""
    return path.partition(".")[0]


def quote(build: Build, path: str, quoted: Quoted) -> list[Change]:
    """Give the changes that add a quote; the first for a figure brings what the file says as the other to compare.

    Parameters
    ----------
    build : Build
    path : str
        Of the figure; one of `priced_figures`.
    quoted : Quoted
    """
    place = place_at(build, path)
    choice = choice_of(path)
    taken = {option.id for option in build.option} | {item.id for item in (*build.line, *build.event)}
    found: list[Change] = []
    if not any(option.choice == choice for option in build.option):
        first = free_id(choice + AS_WRITTEN, taken)
        taken.add(first)
        found.append(
            AddItem("option", {"id": first, "choice": choice, "name": f"{place.title}, your own estimate"})
        )
    table: dict[str, Any] = {
        "id": free_id(quoted.name, taken), "choice": choice, "name": quoted.name.strip(),
        "override": {place.item: _override(build, place, quoted)},
    }  # fmt: skip
    risks = []
    if quoted.never:
        risks.append(
            {
                "id": f"{choice}_never_comes",
                "name": "It never comes",
                "chance": quoted.never,
                "cost": quoted.lost or 0,
            }
        )
    if quoted.late and quoted.weeks:
        risks.append(
            {
                "id": f"{choice}_late",
                "name": "It comes late",
                "chance": quoted.late,
                "wait_weeks": quoted.weeks,
            }
        )
    if risks:
        table["event"] = risks
    return [*found, AddItem("option", table)]


def _override(build: Build, place: Place, quoted: Quoted) -> dict[str, Any]:
    price = range_written(quoted.low, quoted.middle, quoted.high, place.figure.said_besides())
    if not place.key.startswith("goods."):
        return {place.key: price}
    consignment = next(item for item in build.consignment if item.id == place.item)
    which = int(place.key.split(".")[1])
    listed = [_as_written(item) for item in consignment.goods]
    listed[which]["price"] = price
    return {"goods": listed}


def _as_written(goods: Goods) -> dict[str, Any]:
    """Give goods as the file writes them: an override replaces the whole list."""
    table = goods.model_dump(exclude_unset=True, mode="json")
    if isinstance(goods.price, Known):
        table["price"].pop("kind", None)
        if set(table["price"]) == {"value"}:
            table["price"] = goods.price.value
    return table


def way(build: Build, routes: Mapping[str, str], name: str, like: str | None = None) -> AddScenario:
    """Give the change that makes a mix of routes a way to do the build.

    Parameters
    ----------
    build : Build
    routes : mapping
        Route by work package.
    name : str
        What it is called.
    like : str, optional
        The way whose overrides the mix was worked out with: it keeps them, so that it costs what was shown.
    """
    usual = max(dict.fromkeys(routes.values()), key=lambda route: list(routes.values()).count(route))
    others = {package: route for package, route in routes.items() if route != usual}
    kept = _overrides(build, like)
    table = {"name": name, "all": usual, **others, **({"override": kept} if kept else {})}
    return AddScenario(free_id(name, build.scenario), table)


def way_of(build: Build, routes: Mapping[str, str], like: str | None = None) -> str | None:
    """Give the id of the scenario that takes just these routes with the overrides of another; None if there is none."""
    for id, scenario in build.scenario.items():
        if _overrides(build, id) == _overrides(build, like) and all(
            scenario.route(package) == route for package, route in routes.items()
        ):
            return id
    return None


def _overrides(build: Build, way: str | None) -> dict[str, dict[str, Any]]:
    """Give what a way overrides, as the file writes it."""
    scenario = build.scenario.get(way or "")
    return {} if scenario is None else {item: dict(keys) for item, keys in scenario.override.items()}


def measures_on_offer(build: Build) -> dict[str, str]:
    """List starter measures that would change something in a build and are not in it, by id with their names."""
    library, present = load_library(), _present(build)
    there = {measure.id for measure in build.measure}
    return {
        measure.id: measure.name
        for measure in library.measures
        if measure.id not in there and {"chances", "impacts", "ranges"} & set(measure.table(present))
    }


def measure_against(build: Build, name: str, cost: float, event: str, rarer: float, milder: float) -> AddItem:
    """Give the change that adds a measure against a risk.

    Parameters
    ----------
    build : Build
    name : str
    cost : float
        In the build's money.
    event : str
        Id of the risk event.
    rarer, milder : float
        Percent by which it happens less often, and by which it costs less when it does.
    """
    table: dict[str, Any] = {
        "id": free_id(name, _present(build) | {item.id for item in build.measure}), "name": name.strip(), "cost": cost,
    }  # fmt: skip
    for key, percent in (("chances", rarer), ("impacts", milder)):
        if percent:
            table[key] = {event: round(1 - percent / 100, 6)}
    return AddItem("measure", table)


def starter_measure(build: Build, id: str) -> AddItem:
    """Give the change that adds a starter measure, with its effects on what is in the build."""
    library = library_of(build)
    measure = next(measure for measure in library.measures if measure.id == id)
    return AddItem("measure", measure.table(_present(build)))


def _present(build: Build) -> set[str]:
    return {item.id for item in (*build.line, *build.event)}


__all__ = [
    "Quoted",
    "choice_of",
    "measure_against",
    "measures_on_offer",
    "priced_figures",
    "quote",
    "starter_measure",
    "unforeseen_line",
    "way",
    "way_of",
]
