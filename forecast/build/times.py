"""Checks figures of time: own hours, and weeks of waiting."""

from __future__ import annotations

from collections.abc import Iterator

from forecast.build.figures import FigureBase
from forecast.build.schema import Build, Costed

_Path = tuple[str | int, ...]


def wrong_times(build: Build) -> list[tuple[_Path, str, str]]:
    """Find hours and weeks that are priced, and weeks where nothing says what a week has room for.

    Returns
    -------
    list
        Path, what was found and how to mend it, for each mistake.
    """
    found: list[tuple[_Path, str, str]] = []
    waits = False
    for path, item in _items(build):
        for key in ("own_hours", "wait_weeks"):
            figure = getattr(item, key)
            if not isinstance(figure, FigureBase):
                continue
            waits = waits or key == "wait_weeks"
            if figure.currency:
                mend = f"Take the currency away: {key} is time, not money."
                found.append(((*path, key, "currency"), f"found {figure.currency!r}", mend))
    if waits and build.build.hours_per_week is None:
        mend = (
            "Add hours_per_week = 10, or whatever your weeks have room for, so that work and waiting add up."
        )
        found.append((("build", "hours_per_week"), "missing, and there are wait_weeks", mend))
    return found


def _items(build: Build) -> Iterator[tuple[_Path, Costed]]:
    for place, line in enumerate(build.line):
        yield ("line", place), line
    for place, event in enumerate(build.event):
        yield ("event", place), event
