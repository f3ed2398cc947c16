"""Text tables."""

from __future__ import annotations

from forecast.views.commands.told import table, width, wrapped


def test_figures_stand_to_the_right_and_text_to_the_left() -> None:
    text = table(["Line", "Paid"], [["Kit", "€2,900"], ["Filler", "€66"]])
    assert text == "Line      Paid\n──────  ──────\nKit     €2,900\nFiller     €66"


def test_the_last_column_may_be_text() -> None:
    assert table(["", "Sum", ""], [["a", "1", "why"]], last_left=True).splitlines()[-1] == "a    1  why"


def test_wide_signs_take_two_columns() -> None:
    assert width("車a") == 3
    assert width("e\u0301") == 1


def test_a_long_name_is_told_in_full_on_further_lines() -> None:
    """Cut after 38 letters, two lines of a build were called alike."""
    assert wrapped("abc") == "abc"
    assert wrapped("Body kit", 8) == "Body kit"
    assert wrapped("Body kits", 8) == "Body\n  kits"
    assert wrapped("a Donaudampfschiff b", 6) == "a\n  Dona\n  udam\n  pfsc\n  hiff\n  b"
    assert wrapped("車車車", 4) == "車車\n  車"
    text = table(["Line", "Paid"], [[wrapped("Four wheels with tyres", 12), "€2,900"], ["Filler", "€66"]])
    assert (
        text
        == "Line            Paid\n────────────  ──────\nFour wheels   €2,900\n  with tyres\nFiller           €66"
    )
