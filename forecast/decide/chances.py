"""Chances and hours in words: one way to write them, for all sentences."""

from __future__ import annotations


def builds(chance: float) -> str:
    """Write a chance as a frequency: ``8 of 10 builds``, ``1 build in 9``, ``fewer than 1 build in 100``."""
    if chance < 0.005:
        return "fewer than 1 build in 100"
    if chance > 0.995:
        return "nearly every build"
    best: tuple[float, str] = (1.0, "")
    for tenth in range(1, 10):
        best = min(best, (abs(chance - tenth / 10), f"{tenth} of 10 builds"))
    if best[0] <= min(
        0.0125, 0.003 + 0.05 * min(chance, 1 - chance)
    ):  # closer where a small chance is at stake
        return best[1]
    for count in range(3, 21):
        best = min(best, (abs(chance - 1 / count), f"1 build in {count}"))
        best = min(best, (abs(chance - (count - 1) / count), f"{count - 1} of {count} builds"))
    if best[0] <= 0.006:
        return best[1]
    return f"{round(100 * chance)} of 100 builds"


def round_hours(value: float) -> int:
    """Round a number of hours to what an estimate of work can mean."""
    step = 1 if value < 20 else 5
    return round(value / step) * step


def rounded_hours(value: float) -> str:
    """Write a number of hours, rounded by `round_hours`."""
    return f"{round_hours(value):,.0f}"
