"""Chances and hours in words: one way to write them, for all sentences."""

from __future__ import annotations


def builds(chance: float) -> str:
    """Write a chance as a frequency, of 100 wherever it stands: ``80 of 100 builds``, ``fewer than 1 of 100 builds``.

    Chances with different denominators are compared badly, even by people who know how (Trevena et al. 2013).
    """
    if chance < 0.005:
        return "fewer than 1 of 100 builds"
    if chance > 0.995:
        return "more than 99 of 100 builds"
    return f"{round(100 * chance)} of 100 builds"


def round_hours(value: float) -> int:
    """Round a number of hours to what an estimate of work can mean."""
    step = 1 if value < 20 else 5
    return round(value / step) * step


def rounded_hours(value: float) -> str:
    """Write a number of hours, rounded by `round_hours`."""
    return f"{round_hours(value):,.0f}"
