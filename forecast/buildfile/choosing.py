"""A build with choices made: what counts in a scenario, an option taken, a figure replaced; a new build each time."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from pydantic import ValidationError

from forecast.buildfile.checks import nearest
from forecast.buildfile.consignment import Consignment
from forecast.buildfile.schema import Build, Costed, Event, Line, Option, Scenario
from forecast.errors import Problem, SimulationError
from forecast.figures.figure import FigureBase


@dataclass(frozen=True)
class Choice:
    """The lines and events of one scenario.

    Attributes
    ----------
    scenario : str or None
        Its id; None where the build has no scenarios and everything is done by oneself.
    lines, events : tuple
        Those that count, overrides applied, in the order of the file.
    """

    scenario: str | None
    lines: tuple[Line, ...]
    events: tuple[Event, ...]


def scenario_name(build: Build, scenario: str | None) -> str | None:
    """Give the scenario that is meant: the one asked for, else the plan that the file names, else its first.

    It may be asked for by its id, or by what it is called, in large or small letters.

    Raises
    ------
    SimulationError
        When the build has no scenario of that id or name, or several of that name.
    """
    if scenario is None:
        return build.build.way or next(iter(build.scenario), None)
    if scenario in build.scenario:
        return scenario
    wanted = " ".join(scenario.split()).casefold()
    found = [
        id
        for id in build.scenario
        if wanted in (id.casefold(), " ".join(scenario_title(build, id).split()).casefold())
    ]
    if len(found) == 1:
        return found[0]
    if found:
        mend = f"Name one by its id: {', '.join(found)}."
        raise SimulationError(str(Problem("scenario", f"{len(found)} are called {scenario!r}", mend)))
    mend = nearest(scenario, build.scenario)
    if not mend.startswith("Did you mean"):
        mend = nearest(scenario, [scenario_title(build, id) for id in build.scenario])
    raise SimulationError(str(Problem("scenario", f"the build has no scenario {scenario!r}", mend)))


def scenario_title(build: Build, scenario: str) -> str:
    """Give what a scenario is called."""
    return build.scenario[scenario].name or in_words(scenario)


def in_words(id: str) -> str:
    """Write an id as words."""
    return id.replace("_", " ").replace("-", " ").capitalize()


def counts(item: Costed, scenario: Scenario) -> bool:
    """Tell whether a line or event counts: a package that needs it takes its route, or it has no route."""
    if item.route is None or not item.packages:
        return True
    return any(scenario.route(package) == item.route for package in item.packages)


def choose(build: Build, scenario: str | None = None) -> Choice:
    """Give the lines and events that count in a scenario, with its overrides.

    Parameters
    ----------
    build : Build
    scenario : str, optional
        Its id; as in `scenario_name` when left out.

    Returns
    -------
    Choice
    """
    name = scenario_name(build, scenario)
    chosen = build.scenario[name] if name is not None else Scenario()
    lines = (
        _changed(line, chosen.override) for line in build.line
    )  # first, as an override may change a route
    events = (_changed(event, chosen.override) for event in build.event)
    return Choice(
        name,
        tuple(line for line in lines if counts(line, chosen)),
        tuple(event for event in events if counts(event, chosen)),
    )


def only_for_packages(table: Mapping[str, Any], build: Build) -> dict[str, Any]:
    """Give a starter line's table without the further work packages that a build does not have."""
    there = {item.package for item in (*build.line, *build.event)}
    also = [package for package in table.get("also_for", ()) if package in there]
    return {key: value for key, value in table.items() if key != "also_for"} | (
        {"also_for": also} if also else {}
    )


def ways_with(build: Build, names: Collection[str]) -> dict[str, tuple[str, ...]]:
    """Give the scenarios in which lines and events count, by the id of each; none of what counts in no scenario."""
    found: dict[str, tuple[str, ...]] = {}
    for way in build.scenario if names else ():
        chosen = choose(build, way)
        for item in (*chosen.lines, *chosen.events):
            if item.id in names:
                found[item.id] = (*found.get(item.id, ()), way)
    return found


def overridden(build: Build, scenario: Scenario) -> Build:
    """Give the build with a scenario's overrides written into its lines and events, of whichever route.

    The very build where there are none: what was worked out for it then holds.
    """
    if not scenario.override:
        return build
    return build.model_copy(
        update={
            "line": tuple(_changed(line, scenario.override) for line in build.line),
            "event": tuple(_changed(event, scenario.override) for event in build.event),
        }
    )


Item = TypeVar("Item", Line, Event, Consignment)


def options_by_choice(build: Build) -> dict[str, tuple[Option, ...]]:
    """Give the options of each choice, in the order of the file."""
    found: dict[str, tuple[Option, ...]] = {}
    for option in build.option:
        found[option.choice] = (*found.get(option.choice, ()), option)
    return found


def offered(options: Sequence[Option]) -> tuple[Option, ...]:
    """Give the options of a choice that somebody offers: all but the builder's own estimate, where there are others."""
    return tuple(option for option in options if not option.own_estimate) or tuple(options)


def with_option(build: Build, option: Option) -> Build:
    """Give the build with an option taken: its overrides made, its lines and events added, its choice settled.

    Raises
    ------
    SimulationError
        When an overridden item is no longer a legal one.
    """
    where = f"option {option.id!r}, "
    return build.model_copy(
        update={
            "line": (*(_changed(item, option.override, where) for item in build.line), *option.line),
            "event": (*(_changed(item, option.override, where) for item in build.event), *option.event),
            "consignment": tuple(_changed(item, option.override, where) for item in build.consignment),
            "option": tuple(other for other in build.option if other.choice != option.choice),
        }
    )


def _changed(item: Item, override: Mapping[str, Mapping[str, Any]], where: str = "") -> Item:
    changes = override.get(item.id)
    if not changes:
        return item
    try:
        return type(item).model_validate(item.model_dump(exclude_unset=True) | dict(changes))
    except ValidationError as error:
        # only in a build made in Python: overrides of a file are checked on reading
        first = error.errors(include_url=False)[0]
        key = ".".join(str(part) for part in first["loc"])
        message = f"{where}override of {item.id!r}: {key or 'item'}: {first['msg'].replace(chr(31), '. ')}"
        raise SimulationError(message) from None


def with_figure(build: Build, name: str, change: Callable[[FigureBase], FigureBase]) -> Build | None:
    """Give the build with one figure replaced; None where no line, event or goods have a figure of that name.

    Parameters
    ----------
    build : Build
    name : str
        Id and key, such as ``kit.amount``; of goods in a consignment, ``consignment.goods.price``, see `figure_name`.
    change : callable
        Gives the new figure for the old one.
    """
    id, _, key = name.partition(".")
    for field in ("line", "event"):
        for place, item in enumerate(getattr(build, field)):
            figure = getattr(item, key, None) if item.id == id and key in type(item).model_fields else None
            if isinstance(figure, FigureBase):
                return _replaced(build, field, place, item.model_copy(update={key: change(figure)}))
    for place, consignment in enumerate(build.consignment):
        for position, goods in enumerate(consignment.items):
            if name == f"{consignment.id}.{goods.id}.price":
                if consignment.price is not None:
                    whole = consignment.model_copy(update={"price": change(consignment.price)})
                    return _replaced(build, "consignment", place, whole)
                new = goods.model_copy(update={"price": change(goods.price)})
                listed = (*consignment.goods[:position], new, *consignment.goods[position + 1 :])
                return _replaced(
                    build, "consignment", place, consignment.model_copy(update={"goods": listed})
                )
    return None


def _replaced(build: Build, field: str, place: int, item: Line | Event | Consignment) -> Build:
    items = getattr(build, field)
    return build.model_copy(update={field: (*items[:place], item, *items[place + 1 :])})


def figure_names(build: Build) -> tuple[str, ...]:
    """Give the names of all figures that `with_figure` can replace."""
    found: list[str] = []
    for item in (*build.line, *build.event):
        found += [
            f"{item.id}.{key}"
            for key in type(item).model_fields
            if isinstance(getattr(item, key), FigureBase)
        ]
    for consignment in build.consignment:
        found += [f"{consignment.id}.{goods.id}.price" for goods in consignment.items]
    return tuple(found)


def figure_name(build: Build, written: str) -> str:
    """Give the name that a figure has in a simulation: a consignment's one price is that of its goods."""
    for consignment in build.consignment:
        if written == f"{consignment.id}.price" and consignment.price is not None:
            return f"{consignment.id}.{consignment.items[0].id}.price"
    return written
