"""Figures as programs are told them, and what they are told by."""

from __future__ import annotations

from typing import TypedDict

from forecast.engine.statistics import Estimate


class Figure(TypedDict):
    """A percentile, a chance or a mean from trials.

    Attributes
    ----------
    value : float
    standard_error : float or None
        Of the simulation; null where none was worked out, or there is none.
    """

    value: float
    standard_error: float | None


class FourPercentiles(TypedDict):
    """So many of ten, of two, of ten and of ten builds come to no more."""

    P10: Estimate
    P50: Estimate
    P80: Estimate
    P90: Estimate


class HighPercentiles(TypedDict):
    """The two percentiles that one may hold money for."""

    P80: Estimate
    P90: Estimate


class HalfAndHigh(TypedDict):
    """The middle one and a high one."""

    P50: Estimate
    P90: Estimate


class RangeOf(TypedDict):
    """Percentiles of one line; null where it is no figure of its own."""

    P10: float | None
    P50: float | None
    P90: float | None


class IfNarrow(TypedDict):
    """What to hold if the builder's ranges are as narrow as most people's.

    Attributes
    ----------
    level : float
        Share of builds in which that is enough.
    """

    level: float
    hold: Estimate
