"""Which lines and events count in a scenario, and with which changes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

from pydantic import ValidationError

from forecast.buildfile.checks import nearest
from forecast.buildfile.schema import Build, Costed, Event, Line, Scenario
from forecast.errors import Problem, SimulationError

Item = TypeVar("Item", Line, Event)


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
    """Give the scenario that is meant: the one asked for, or else the first of the file.

    Raises
    ------
    SimulationError
        When the build has no scenario of that id.
    """
    if scenario is None:
        return next(iter(build.scenario), None)
    if scenario not in build.scenario:
        mend = nearest(scenario, build.scenario)
        raise SimulationError(str(Problem("scenario", f"the build has no scenario {scenario!r}", mend)))
    return scenario


def scenario_title(build: Build, scenario: str) -> str:
    """Give what a scenario is called."""
    return build.scenario[scenario].name or in_words(scenario)


def in_words(id: str) -> str:
    """Write an id as words."""
    return id.replace("_", " ").replace("-", " ").capitalize()


def counts(item: Costed, scenario: Scenario) -> bool:
    """Tell whether a line or event counts: its package takes its route, or it has no route."""
    return item.route is None or item.package is None or scenario.route(item.package) == item.route


def choose(build: Build, scenario: str | None = None) -> Choice:
    """Give the lines and events that count in a scenario, with its overrides.

    Parameters
    ----------
    build : Build
    scenario : str, optional
        Its id; the first of the file when left out.

    Returns
    -------
    Choice
    """
    name = scenario_name(build, scenario)
    chosen = build.scenario[name] if name is not None else Scenario()
    lines = (_changed(line, chosen) for line in build.line)  # first, as an override may change a route
    events = (_changed(event, chosen) for event in build.event)
    return Choice(
        name,
        tuple(line for line in lines if counts(line, chosen)),
        tuple(event for event in events if counts(event, chosen)),
    )


def overridden(build: Build, scenario: Scenario) -> Build:
    """Give the build with a scenario's overrides written into its lines and events, of whichever route."""
    return build.model_copy(
        update={
            "line": tuple(_changed(line, scenario) for line in build.line),
            "event": tuple(_changed(event, scenario) for event in build.event),
        }
    )


def _changed(item: Item, scenario: Scenario) -> Item:
    changes = scenario.override.get(item.id)
    if not changes:
        return item
    try:
        return type(item).model_validate(item.model_dump(exclude_unset=True) | changes)
    except ValidationError as error:
        # only in a build made in Python: overrides of a file are checked on reading
        first = error.errors(include_url=False)[0]
        key = ".".join(str(part) for part in first["loc"])
        message = f"override of {item.id!r}: {key or 'item'}: {first['msg'].replace(chr(31), '. ')}"
        raise SimulationError(message) from None
