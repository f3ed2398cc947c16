"""Text tables."""

from __future__ import annotations

from forecast.views.commands.told import shorten, table, width


def test_figures_stand_to_the_right_and_text_to_the_left() -> None:
    text = table(["Line", "Paid"], [["Kit", "€2,900"], ["Filler", "€66"]])
    assert text == "Line      Paid\n──────  ──────\nKit     €2,900\nFiller     €66"


def test_the_last_column_may_be_text() -> None:
    assert table(["", "Sum", ""], [["a", "1", "why"]], last_left=True).splitlines()[-1] == "a    1  why"


def test_wide_signs_take_two_columns() -> None:
    assert width("車a") == 3
    assert width("e\u0301") == 1


def test_long_text_is_cut_with_a_mark() -> None:
    assert shorten("abcdefgh", 5) == "abcd…"
    assert shorten("abc", 5) == "abc"
