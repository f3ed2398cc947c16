"""Lines, events and days as they are typed in a command."""

from __future__ import annotations

import argparse
import datetime as dt
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from forecast.errors import LedgerError
from forecast.views.commands.common import by_title

if TYPE_CHECKING:
    from forecast.buildfile.schema import Build
    from forecast.ledger.folder import BuildFolder


def day(text: str) -> dt.date:
    """Read a day as people write it; one that can mean two is refused with both."""
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        pass
    from forecast.ledger.papers.fields import days_meant
    from forecast.words.day_words import long_day

    found = days_meant(text)
    if len(found) == 1:
        return found[0]
    if found:
        one, other = found
        message = f"{text!r} can be {long_day(one)} or {long_day(other)}. Write {one}, or {other}."
        raise argparse.ArgumentTypeError(message)
    message = f"{text!r} is no day. Write it like 28 Nov 2026, or 2026-11-28."
    raise argparse.ArgumentTypeError(message)


def known_ids(
    build: Build, *, events: bool = True, lines: bool = True, hours: bool = False, on_the_way: bool = False
) -> list[str]:
    """Give the ids that a receipt or a mark may name.

    Own hours only where they may be marked as worked, and without the other lines those charges that come on the way
    of goods or not at all only where these may be ruled out.
    """
    from forecast.engine.plan import compile_plan

    found = [line.id for line in build.line] if lines else []
    found += [event.id for event in build.event] if events else []
    if build.consignment:  # their lines and events follow from rules; they are the same in every scenario
        bought = [row for row in compile_plan(build).payable if row.of != row.id]
        found += [
            row.id for row in bought if (row.kind == "line" and lines) or (row.kind == "event" and events)
        ]
    if on_the_way:
        found += [name for name in charges_on_the_way(build) if name not in found]
    if hours:
        found += [f"{line.id}.own_hours" for line in build.line if line.own_hours is not None]
    return found


def charges_on_the_way(build: Build) -> list[str]:
    """Give the lines that come on the way of goods or not at all, as storage does, by id."""
    from forecast.engine.plan import compile_plan

    if not build.consignment:
        return []
    lines = {row.id for row in compile_plan(build).payable if row.kind == "line"}
    return [
        name for item in compile_plan(build).consignments for name in item.over_once_here if name in lines
    ]


def check_id(
    name: str,
    build: Build,
    *,
    events: bool = True,
    lines: bool = True,
    hours: bool = False,
    on_the_way: bool = False,
    way: str | None = None,
) -> str:
    """Give a line or event by id or name, as its id; a consignment's own means its goods where they have one price.

    Of several that a name fits, those go first that count in the `way` of doing the build; see `way_in_force`.

    Raises
    ------
    LedgerError
        Naming the nearest that there is, or all that are called so.
    """
    legal = known_ids(build, events=events, lines=lines, hours=hours, on_the_way=on_the_way)
    found = find_id(name, build, legal, way)
    if found is None:
        if not lines and (line := _of(name, build, known_ids(build, events=False))):
            message = (
                f"{line} is a line and no risk. Enter its bill as a receipt, or close it where nothing more will be "
                "paid for it."
            )
            raise LedgerError(message)
        what = "line or event" if events and lines else "event" if events else "line"
        raise LedgerError(not_there(name, build, legal, what))
    return found


def way_in_force(folder: BuildFolder, build: Build) -> str | None:
    """Give the way of doing the build that every answer is of where none is asked for."""
    from forecast.watching.reforecast import scenario_in_force

    return scenario_in_force(build, None, folder.ledger_to_read().baseline() if folder.has_ledger() else None)


def find_id(name: str, build: Build, legal: Sequence[str], way: str | None = None) -> str | None:
    """Give the one of some ids that a name means, as `check_id` does; None where it means none."""
    if name in legal:
        line = name.removesuffix(".own_hours")
        return line if line in build.work_alone else name  # work that costs nothing is closed by its line
    if f"{name}.goods" in legal:
        return f"{name}.goods"
    return by_title(name, called(build, legal), _counting(build, legal, way))


def _counting(build: Build, legal: Sequence[str], way: str | None) -> list[str]:
    """Give those of some ids that count in a way of doing the build."""
    from forecast.engine.plan import compile_plan
    from forecast.errors import ForecastError

    try:
        absent = compile_plan(build, way).absent
    except ForecastError:  # a build that cannot be simulated can be paid for
        return []
    return [name for name in legal if name.removesuffix(".own_hours") not in absent]


def _of(name: str, build: Build, legal: Sequence[str]) -> str:
    """Give the title, in quotation marks, of the one id that a name means; nothing where it means none or several."""
    from forecast.views.settling_words import quoted

    try:
        found = find_id(name, build, legal)
    except LedgerError:
        return ""
    return "" if found is None else quoted(found, called(build, legal))


def called(build: Build, legal: Sequence[str]) -> dict[str, str]:
    """Give what some ids are called."""
    from forecast.watching.settling import titles_of

    titles = titles_of(build)
    return {id_: titles[id_] for id_ in legal if id_ in titles}


def not_there(name: str, build: Build, legal: Sequence[str], what: str) -> str:
    """Say that nothing is called so, and name the nearest that there is."""
    from forecast.buildfile.checks import nearest

    titles = called(build, legal)
    near = nearest(name, list(titles.values())) if " " in name else nearest(name, list(legal))
    if not near.startswith("Did you mean"):
        near = _nearest_titles(name, build, titles) or near
    return f"there is no {what} {name!r} in the build. {near}"


_SUGGESTED = 4
"""So many lines are suggested for a name that none has."""


def _nearest_titles(name: str, build: Build, titles: Mapping[str, str]) -> str:
    """Suggest the lines most like a name by their titles, the nearest first: those that cost money as the build is."""
    from difflib import SequenceMatcher

    from forecast.engine.plan import compile_plan
    from forecast.errors import ForecastError

    try:
        plan = compile_plan(build)
        costs = {row for row, middle in plan.middles_if_needed().items() if middle}
        costs |= {row for row, middle in plan.base_estimate().items() if middle}
    except ForecastError:  # what is wrong with it is told elsewhere
        costs = set(titles)
    said = name.casefold()

    def likeness(id_: str) -> float:
        title = titles[id_].casefold()
        every = (title, title.replace(" ", ""), id_.casefold(), *title.split())
        return max(SequenceMatcher(None, said, one).ratio() for one in every)

    near = sorted((id_ for id_ in titles if id_ in costs), key=lambda id_: -likeness(id_))[:_SUGGESTED]
    return f"Nearest by name: {with_ids(near, titles)}." if near else ""


def with_ids(ids: Sequence[str], titles: Mapping[str, str]) -> str:
    """Name each by what it is called, with what has to be typed behind it; by that alone where it is called so."""
    return "; ".join(f"“{titles[id_]}” ({id_})" if titles.get(id_, id_) != id_ else id_ for id_ in ids)
