"""Names of months, in the languages that bills come in (Unicode CLDR, by Babel)."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

from forecast.words.text import without_accents

LANGUAGES = (
    "en", "de", "fr", "es", "it", "nl", "pl", "pt", "sv", "da", "nb", "fi", "cs", "sk", "sl", "hr", "hu", "ro", "lt",
)  # fmt: skip
_SHORTEST = 3


def month_of(word: str) -> int | None:
    """Give the month that a word names, in full or cut short: ``May``, ``mai``, ``Sept.``; None where it names none."""
    return _months().get(_plain(word))


@cache
def _months() -> Mapping[str, int]:
    from babel.dates import get_month_names  # loaded late: only papers need it

    found: dict[str, int] = {}
    twice: set[str] = set()
    for language in LANGUAGES:
        for width in ("wide", "abbreviated"):
            for context in ("format", "stand-alone"):
                for number, name in get_month_names(width, context, language).items():
                    key = _plain(name)
                    if len(key) < _SHORTEST:
                        continue
                    if found.setdefault(key, number) != number:
                        twice.add(key)  # Croatian listopad is October, Polish November
    return {key: number for key, number in found.items() if key not in twice}


def _plain(word: str) -> str:
    return "".join(sign for sign in without_accents(word) if sign.isalpha())


__all__ = ["LANGUAGES", "month_of"]
