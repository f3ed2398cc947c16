"""Money and chances in words."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecast.words.money import (
    about,
    as_written,
    builds,
    entered_in,
    exact,
    hours,
    percent,
    rounding_step,
    signed,
)


@pytest.mark.parametrize(
    ("value", "currency", "error", "text"),
    [
        (9_454.3, "EUR", 0, "€9,450"),
        (9_455.1, "EUR", 12, "€9,460"),
        (9_454.3, "NZD", 150, "NZ$9,500"),
        (9_454.3, "GBP", 2_300, "£9,000"),
        (123_456, "JPY", 0, "¥123,000"),
        (4_444, "CHF", 0, "CHF\u00a04,440"),
        (-50, "EUR", 0, "\u2212€50"),
        (-2, "EUR", 0, "€0"),
    ],
)
def test_a_forecast_shows_no_more_digits_than_its_error_supports(
    value: float, currency: str, error: float, text: str
) -> None:
    assert about(value, currency, error) == text


def test_rounding_step_is_the_larger_of_ten_and_the_power_of_ten_of_the_error() -> None:
    assert [rounding_step("EUR", error) for error in (0, 9, 23, 99, 100, 2_300)] == [
        10,
        10,
        10,
        10,
        100,
        1_000,
    ]
    assert rounding_step("EUR", float("nan")) == 10


def test_changes_carry_their_sign() -> None:
    assert signed(144, "EUR") == "+€140"
    assert signed(-23, "EUR") == "\u2212€20"
    assert signed(3, "EUR") == "€0"


def test_what_was_entered_is_written_as_it_is_counted() -> None:
    assert entered_in(1250.5, "EUR") == "\u20ac1,250.50"
    assert entered_in(12500, "kg") == "12\u202f500 kg"
    assert entered_in(3, "") == "3"


def test_receipts_are_exact_to_the_minor_unit() -> None:
    assert exact(123_450, "EUR") == "€1,234.50"
    assert exact(-5, "EUR") == "\u2212€0.05"
    assert exact(5_000, "JPY") == "¥5,000"


@pytest.mark.parametrize(
    ("chance", "text"),
    [
        (0.0, "fewer than 1 of 100 builds"),
        (0.126, "13 of 100 builds"),
        (0.11, "11 of 100 builds"),
        (0.2, "20 of 100 builds"),
        (0.8, "80 of 100 builds"),
        (0.809, "81 of 100 builds"),
        (0.47, "47 of 100 builds"),
        (0.95, "95 of 100 builds"),
        (1.0, "more than 99 of 100 builds"),
    ],
)
def test_chances_read_as_frequencies(chance: float, text: str) -> None:
    assert builds(chance) == text


def test_a_frequency_is_never_further_off_than_it_reads() -> None:
    for step in range(5, 996):
        chance = step / 1000
        words = builds(chance).replace("fewer than ", "").split()
        top, bottom = int(words[0]), int(next(word for word in reversed(words) if word.isdigit()))
        if "in" in words:
            top, bottom = 1, int(words[-1])
        assert abs(top / bottom - chance) <= 0.0125 + 1e-9, builds(chance)


def test_percent_and_hours() -> None:
    assert [percent(value) for value in (0.17, 0.025, 0.01, -0.02)] == [
        "17\u00a0%",
        "2.5\u00a0%",
        "1\u00a0%",
        "\u22122\u00a0%",
    ]
    assert [hours(value) for value in (7.4, 103)] == ["7\u00a0h", "105\u00a0h"]


@given(
    st.floats(1_000, 1e6), st.floats(500, 9e5), st.floats(0, 900), st.sampled_from(["EUR", "JPY", "NZD"])
)  # fmt: skip
def test_what_is_printed_beside_its_sums_adds_up(
    total: float, base: float, error: float, currency: str
) -> None:
    def number(text: str) -> float:
        digits = re.sub(r"[^0-9\u2212]", "", text)
        return float(digits.replace("\u2212", "-"))

    over = as_written(total, currency, error) - as_written(base, currency)
    printed = number(about(base, currency)) + number(signed(over, currency))
    assert printed == pytest.approx(number(about(total, currency, error)))
