"""Days as a person says them."""

from __future__ import annotations

import datetime as dt

import pytest

from forecast.words.day_words import as_typed, long_day, said_day, short_day, short_moment


def test_a_day_has_no_nought_before_it() -> None:
    assert long_day(dt.date(2026, 5, 3)) == "3 May 2026"
    assert long_day(dt.date(2026, 11, 16)) == "16 November 2026"


def test_a_short_day_is_never_broken_over_lines() -> None:
    assert short_day(dt.date(2026, 11, 6)) == "6\u00a0Nov\u00a02026"


def test_a_moment_is_a_day_with_the_time_of_it() -> None:
    assert short_moment(dt.datetime(2026, 11, 6, 9, 5)) == "6\u00a0Nov\u00a02026, 09:05"


def test_a_day_that_is_kept_as_text_is_said_like_any_other() -> None:
    assert said_day("2026-11-06") == said_day(dt.date(2026, 11, 6)) == "6\u00a0Nov\u00a02026"
    assert said_day("tomorrow") == "tomorrow"


@pytest.mark.parametrize(
    ("country", "typed"),
    [("PL", "DD.MM.YYYY"), ("NL", "DD-MM-YYYY"), ("GB", "DD/MM/YYYY"), ("US", "MM/DD/YYYY"), ("SE", "YYYY-MM-DD"),
     ("JP", "YYYY/MM/DD"), ("XX", "YYYY-MM-DD")],
)  # fmt: skip
def test_a_day_is_typed_as_the_country_writes_it(country: str, typed: str) -> None:
    """Short dates of the Unicode CLDR, the last of a country that there is none."""
    assert as_typed(country) == typed
