"""Chances, hours, counts and lists in words: one way to write them, for all sentences."""

from __future__ import annotations

from collections.abc import Sequence


def builds(chance: float) -> str:
    """Write a chance as a frequency, of 100 wherever it stands: ``80 of 100 builds``, ``fewer than 1 of 100 builds``.

    Chances with different denominators are compared badly, even by people who know how (Trevena et al. 2013).
    """
    if chance < 0.005:
        return "fewer than 1 of 100 builds"
    if chance > 0.995:
        return "more than 99 of 100 builds"
    return f"{round(100 * chance)} of 100 builds"


def were_to_cost(no_more: float) -> str:
    """Say how many builds were to cost no more than a sum, or more where that is most: nobody counts who did not."""
    if no_more < 0.5:
        return f"{builds(1 - no_more)} were to cost more"
    return f"{builds(no_more)} were to cost no more"


def round_hours(value: float) -> int:
    """Round a number of hours to what an estimate of work can mean."""
    step = 1 if value < 20 else 5
    return round(value / step) * step


def rounded_hours(value: float) -> str:
    """Write a number of hours, rounded by `round_hours`."""
    return f"{round_hours(value):,.0f}".replace("-", "\u2212")  # as money writes its minus


def so_many(count: int, noun: str, plural: str = "") -> str:
    """Write a count with its noun: ``no receipts``, ``1 receipt``, ``3 receipts``."""
    if count == 1:
        return f"1 {noun}"
    return f"{count or 'no'} {plural or f'{noun}s'}"


def listed(names: Sequence[str]) -> str:
    """Write several things one after the other, as a person says them: ``paint, arches and refit``."""
    return " and ".join((", ".join(names[:-1]), names[-1])) if len(names) > 1 else "".join(names)


def so_many_of(count: int, whole: int, noun: str, verb: tuple[str, str] = ("is", "are")) -> str:
    """Write how many of all, with the verb that follows: ``1 of 7 lines is``, ``2 of 7 lines are``.

    Parameters
    ----------
    count, whole : int
    noun : str
        In the singular.
    verb : tuple of str
        In the singular and in the plural.
    """
    single = whole == 1 or count <= 1
    return f"{count or 'none'} of {so_many(whole, noun)} {verb[0 if single else 1]}"
