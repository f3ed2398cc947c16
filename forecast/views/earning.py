"""Earned value in words and rows, for the terminal and the screen."""

from __future__ import annotations

from fractions import Fraction

from forecast.watching.earned import Earned
from forecast.words.minor_units import exponent
from forecast.words.money import exact


def earned_sentence(earned: Earned) -> str:
    """Say what the work done was to cost, and what it cost."""
    plan = "the frozen plan" if earned.from_baseline else "the build file's middle figures"
    value = earned.value
    return f"Against {plan}, work worth {_written(earned, value.ev)} cost {_written(earned, value.ac)}."


def earned_rows(earned: Earned) -> list[list[str]]:
    """Give each term of earned value with its figure and its meaning."""
    value = earned.value

    def ratio(amount: Fraction | None) -> str:
        return "–" if amount is None else f"{float(amount):.3f}"

    return [
        ["BAC", _written(earned, value.bac), "budget at completion: what the lines were to cost"],
        ["EV", _written(earned, value.ev), "earned value: what the work done was to cost"],
        ["AC", _written(earned, value.ac), "actual cost of it"],
        ["CPI", ratio(value.cpi), "cost performance index: EV ÷ AC"],
        ["EAC", _written(earned, value.eac), "estimate at completion: BAC ÷ CPI"],
        ["VAC", _written(earned, value.vac), "variance at completion: BAC − EAC"],
        ["TCPI", ratio(value.tcpi()), "to-complete index: (BAC − EV) ÷ (BAC − AC)"],
    ]


def _written(earned: Earned, amount: Fraction | None) -> str:
    if amount is None:
        return "–"
    return exact(round(amount * 10 ** exponent(earned.currency)), earned.currency)
