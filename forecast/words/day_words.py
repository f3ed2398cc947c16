"""Days in words: one way in full and one in short, in the same words on every machine."""

from __future__ import annotations

import datetime as dt
import re
from functools import cache


def long_day(day: dt.date) -> str:
    """Write a day in full: ``3 May 2026``."""
    return f"{day.day} {day:%B %Y}"


def short_day(day: dt.date) -> str:
    """Write a day so that it can be read in one way only and is never broken over lines: ``16 Nov 2026``."""
    return f"{day.day} {day:%b %Y}".replace(" ", "\u00a0")


def short_moment(when: dt.datetime) -> str:
    """Write a day with the time of it: ``16 Nov 2026, 14:05``."""
    return f"{short_day(when.date())}, {when:%H:%M}"


def said_day(day: dt.date | str) -> str:
    """Write a day that is kept as text, as `short_day` does; what is no day stands as it was written."""
    try:
        return short_day(dt.date.fromisoformat(day) if isinstance(day, str) else day)
    except ValueError:
        return str(day)


@cache
def as_typed(country: str) -> str:
    """Give how a day is written in digits in a country, such as ``DD.MM.YYYY``; ``YYYY-MM-DD`` where it is not known.

    From the Unicode CLDR, as Babel carries it: the short form of the language that most people there speak.
    """
    from babel import Locale, UnknownLocaleError  # loaded late: no command asks for it
    from babel.dates import get_date_format

    try:
        language = Locale.parse(f"und_{country}")
        pattern = str(get_date_format("short", locale=language).pattern)
    except (UnknownLocaleError, ValueError):
        return "YYYY-MM-DD"
    order = re.findall(r"[dMy]", re.sub(r"(.)\1+", r"\1", pattern))
    mark = next((sign for sign in pattern if sign in "./-"), "-")
    if sorted(order) != ["M", "d", "y"]:
        return "YYYY-MM-DD"
    found = mark.join({"d": "DD", "M": "MM", "y": "YYYY"}[sign] for sign in order)
    return found if found in _TYPED else "YYYY-MM-DD"


_TYPED = frozenset(
    mark.join(parts)
    for parts in (("DD", "MM", "YYYY"), ("MM", "DD", "YYYY"), ("YYYY", "MM", "DD"))
    for mark in "./-"
)


__all__ = ["as_typed", "long_day", "said_day", "short_day", "short_moment"]
