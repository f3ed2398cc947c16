"""A range from ten chips in five bins, for a builder who does not think in percentiles.

The ends of the span are asked first, each by itself, for who is asked for a whole range at once makes it too narrow
(Haran, Moore & Morewedge 2010, "A simple remedy for overprecision in judgment", Judgment and Decision Making 5(7),
467-476). Then ten chips are laid into five equal bins between them, each chip one build of ten: people tell a
distribution better by laying a histogram than by naming its percentiles (Goldstein & Rothschild 2014, "Lay
understanding of probability distributions", Judgment and Decision Making 9(1), 1-14).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction

CHIPS = 10
"""Chips to lay: each is one build of ten."""

BINS = 5
"""Bins between the ends, all equally wide."""

POINTS = (Fraction(1), Fraction(5), Fraction(9))
"""Chips below low, middle and high: P10, P50 and P90."""

_NARROWEST = 1e-6  # of the larger end; what lies closer together is one number
_STEPS = 4  # digits of the span to which a point is rounded that has no end as a decimal number
_DIGITS = 6  # decimals up to which one that has an end is left as it is


def check_ends(least: float, most: float) -> str:
    """Say what is wrong with the ends of a span; empty where nothing is."""
    if not (math.isfinite(least) and math.isfinite(most)) or least < 0:
        return "Both ends are numbers of nothing or more."
    if most <= least:
        return "The most must be above the least. Go back to change the least."
    if most - least < _NARROWEST * most:
        return "Both ends are the same number as good as. Write the figure as known."
    return ""


def edges(least: float, most: float) -> tuple[float, ...]:
    """Give the edges of the bins, from the least to the most.

    Raises
    ------
    ValueError
        If the ends make no span.
    """
    return tuple(_tidy(edge, least, most) for edge in _edges(least, most))


def range_of(least: float, most: float, chips: Sequence[int]) -> tuple[float, float, float]:
    """Give low, middle and high: P10, P50 and P90 of the chips, each bin's spread evenly over it.

    They are where the piecewise-linear cumulative of the chips reaches a tenth, a half and nine tenths. Where it stands
    at one of these over empty bins, the point is the middle of them, as the median of two is.

    Parameters
    ----------
    least, most : float
        Ends of the span.
    chips : sequence of int, shape (BINS,)
        Chips in each bin, from the lowest one; `CHIPS` together.

    Returns
    -------
    tuple of float
        Low under middle under high, all inside the span.

    Raises
    ------
    ValueError
        If the ends make no span, or the chips are not ten in five bins.
    """
    if len(chips) != BINS or min(chips) < 0 or sum(chips) != CHIPS:
        message = f"{CHIPS} chips in {BINS} bins are wanted, found {list(chips)}"
        raise ValueError(message)
    bounds = _edges(least, most)
    low, middle, high = (_tidy(_point(bounds, chips, below), least, most) for below in POINTS)
    return low, middle, high


def _edges(least: float, most: float) -> list[Fraction]:
    if wrong := check_ends(least, most):
        raise ValueError(wrong)
    start, end = (Fraction(repr(float(number))) for number in (least, most))  # as written, not as stored
    return [start + (end - start) * Fraction(place, BINS) for place in range(BINS + 1)]


def _point(bounds: Sequence[Fraction], chips: Sequence[int], below: Fraction) -> Fraction:
    """Give where so many chips lie below; the middle of all such places where bins are empty."""
    reached, found = 0, list[Fraction]()
    for place, count in enumerate(chips):
        if count and reached <= below <= reached + count:
            found.append(bounds[place] + (bounds[place + 1] - bounds[place]) * (below - reached) / count)
        reached += count
    return (found[0] + found[-1]) / 2


def _tidy(point: Fraction, least: float, most: float) -> float:
    """Give a point as a number to write down: exactly where that ends, else to four digits of the span."""
    if (point * 10**_DIGITS).denominator == 1:
        return float(point)
    step = Fraction(10) ** (math.floor(math.log10(most - least)) - _STEPS)
    return float(round(point / step) * step)


__all__ = ["BINS", "CHIPS", "check_ends", "edges", "range_of"]
