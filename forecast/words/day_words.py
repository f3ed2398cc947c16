"""Days in words: one way in full and one in short, in the same words on every machine."""

from __future__ import annotations

import datetime as dt


def long_day(day: dt.date) -> str:
    """Write a day in full: ``3 May 2026``."""
    return f"{day.day} {day:%B %Y}"


def short_day(day: dt.date) -> str:
    """Write a day so that it can be read in one way only and is never broken over lines: ``16 Nov 2026``."""
    return f"{day.day} {day:%b %Y}".replace(" ", "\u00a0")


def said_day(day: dt.date | str) -> str:
    """Write a day that is kept as text, as `short_day` does; what is no day stands as it was written."""
    try:
        return short_day(dt.date.fromisoformat(day) if isinstance(day, str) else day)
    except ValueError:
        return str(day)


__all__ = ["long_day", "said_day", "short_day"]
