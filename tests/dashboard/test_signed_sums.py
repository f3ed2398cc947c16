"""A sum with its sign is one word on a page: no line ends between the two, and what is copied is plain."""

from __future__ import annotations

import pytest

from forecast.dashboard.layout import safe, said
from forecast.words.money import difference, signed
from forecast.words.text import STRONG


@pytest.mark.parametrize("currency", ["EUR", "GBP", "NZD", "SEK", "JPY", "HUF", "CHF"])
@pytest.mark.parametrize("value", [31_000.0, -31_000.0])
def test_no_line_ends_between_a_sign_and_its_sum(currency: str, value: float) -> None:
    for written in (signed(value, currency), difference(value, currency)):
        shown = safe(f"by {written}, in all")
        assert f"{written[0]}\u2060" in shown
        assert shown.replace("\u2060", "").replace("\\", "") == f"by {written}, in all"
        assert f"{written[0]}\u2060" in said(f"{STRONG}{written}{STRONG}")


def test_other_signs_are_left_as_they_are() -> None:
    assert "\u2060" not in safe("a + b, 3 \u2212 2, A+ and \u22125\u00a0%")
