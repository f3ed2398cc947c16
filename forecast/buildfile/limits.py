"""Checks of what no figure can be, whatever the build: times below nothing, shares above all, boxes in millimetres."""

from __future__ import annotations

from collections.abc import Iterator

from forecast.buildfile.consignment import figures_in
from forecast.buildfile.locate import Path
from forecast.buildfile.schema import Build, Costed, Event, Line
from forecast.figures.figure import FigureBase
from forecast.figures.kinds import Known
from forecast.figures.units import counted_in

Raised = tuple[Path, str, str]
"""Where (path), what was found, how to mend it."""

LONGEST_SIDE = 1300.0
"""cm: nothing longer travels in a container (45 feet are 13.7 m outside, 13.5 m inside)."""
MOST_PERCENT = 1000.0
"""A percentage of other lines beyond this is taken for a slip."""


def wrong_times(build: Build) -> list[Raised]:
    """Find hours and weeks that are priced or below zero, and weeks where nothing says what a week has room for.

    Returns
    -------
    list
        Path, what was found and how to mend it, for each mistake.
    """
    found: list[Raised] = []
    waits = False
    for path, item in costed_items(build):
        for key in ("own_hours", "wait_weeks"):
            figure = getattr(item, key)
            if not isinstance(figure, FigureBase):
                continue
            waits = waits or key == "wait_weeks"
            if figure.currency:
                mend = f"Take the currency away: {key} is time, not money."
                found.append(((*path, key, "currency"), f"found {figure.currency!r}", mend))
            found += _below_zero((*path, key), figure, "Time is not below zero: write it without the minus.")
    if waits and build.build.hours_per_week is None:
        mend = (
            "Add hours_per_week = 10, or whatever your weeks have room for, so that work and waiting add up."
        )
        found.append((("build", "hours_per_week"), "missing, and there are wait_weeks", mend))
    return found


def out_of_reach(build: Build) -> list[Raised]:
    """Find figures that cannot be: money back below zero, shares above all, percentages a thousand times too large.

    Returns
    -------
    list
        Path, what was found and how to mend it, for each mistake.
    """
    found: list[Raised] = []
    value = build.build.own_hour_value
    if value is not None:
        mend = "What an hour of yours counts for is not below zero: leave it out if it counts for nothing."
        found += _below_zero(("build", "own_hour_value"), value, mend)
    for path, item in costed_items(build):
        if item.percent is not None and (most := item.percent.highest) > MOST_PERCENT:
            mend = f"It is in percent, {MOST_PERCENT:g} at most: write 2.5 for 2.5 %."
            found.append(((*path, "percent"), f"found {most:g}", mend))
        if isinstance(item, Line) and item.resale is not None:
            mend = "Write what comes back when it is sold again, without the minus."
            found += _below_zero((*path, "resale"), item.resale, mend)
        if isinstance(item, Event):
            found += _shares(path, item)
    for place, consignment in enumerate(build.consignment):
        for keys, figure in figures_in(consignment):
            side = keys[0] == "boxes" and keys[-1] != "weight"
            most = figure.highest
            if side and counted_in("cm", most, figure.unit) > LONGEST_SIDE:
                mend = f"No box is longer than {LONGEST_SIDE:g} cm: correct it, or its unit."
                if not figure.unit:
                    mend = (
                        f"Boxes are measured in cm, and none is longer than {LONGEST_SIDE:g}: write {most / 10:g} for "
                        f"{most:g} mm."
                    )
                told = f"found {most:g}" + (f" {figure.unit}" if figure.unit else "")
                found.append((("consignment", place, *keys), told, mend))
    return found


def _shares(path: Path, event: Event) -> Iterator[Raised]:
    if event.share is not None:
        mend = "It is the share still open, from 0 to 1: write 0.5 for half."
        yield from _below_zero((*path, "share"), event.share, mend)
        if isinstance(event.share, Known) and event.share.value > 1:
            yield (*path, "share"), f"found {event.share.value:g}", mend
    if event.penalty is not None:
        mend = "It is a factor on what the shop usually asks: write 1.3 for 30 % more."
        yield from _below_zero((*path, "penalty"), event.penalty, mend)


def _below_zero(path: Path, figure: FigureBase, mend: str) -> list[Raised]:
    """Refuse a figure whose own numbers go below zero; a normal's tails may, and count as they are."""
    least = figure.lowest
    return [(path, f"found {least:g}", mend)] if least < 0 else []


def costed_items(build: Build) -> Iterator[tuple[Path, Costed]]:
    """Give each line and event with its path in the file."""
    for place, line in enumerate(build.line):
        yield ("line", place), line
    for place, event in enumerate(build.event):
        yield ("event", place), event
