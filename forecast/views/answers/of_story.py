"""The answers of ``forecast moved``, ``history`` and ``earned``; money in the main unit of the currency."""

from __future__ import annotations

import datetime as dt
from typing import TypedDict

from forecast.views.answers.figures import Figure
from forecast.watching.moved import PartKind


class MovedFigures(TypedDict):
    """Figures of the total, or by how much they moved."""

    mean: float
    P50: Figure
    P80: Figure
    P90: float


class MovedBy(TypedDict):
    """What one kind of entry moved; the parts add up to the whole.

    Attributes
    ----------
    because : list of pairs of str
        Kind and id of what was entered.
    pushes : list of float
        How far each of them pushed, where it can be told.
    """

    kind: PartKind
    change: MovedFigures
    because: tuple[tuple[str, str], ...]
    pushes: tuple[float, ...]


class MovedAnswer(TypedDict):
    """What moved the forecast between two days, split without a rest.

    Attributes
    ----------
    until : date or None
        Null for all that was entered.
    frozen_late : date or None
        When the budget was frozen, where that was after the first receipt.
    """

    since: dt.date
    until: dt.date | None
    currency: str
    start: MovedFigures
    end: MovedFigures
    parts: list[MovedBy]
    frozen_late: dt.date | None


NearlyAll = TypedDict("NearlyAll", {"P2.5": Figure, "P97.5": Figure})
"""Percentiles whose names Python cannot write as those of a class."""


class HistoryDay(NearlyAll):
    """The forecast as it stood on a day, or after a receipt.

    Attributes
    ----------
    effective : float
        How many trials agree with what was known.
    receipt : int or None
        Its number, where the history goes by receipts.
    """

    date: dt.date
    P10: Figure
    P50: Figure
    P80: Figure
    P90: Figure
    mean: float
    paid: float
    committed: float
    budget: float | None
    chance_of_overrun: float | None
    contingency_left: float | None
    contingency_needed: float
    contingency_needed_p90: float
    effective: float
    receipt: int | None
    supplier: str
    P25: Figure
    P75: Figure


class HistoryAnswer(TypedDict):
    """The forecast day by day.

    Attributes
    ----------
    entered : int
        Days with something new, or receipts, in all.
    left_out : int
        So many of them are not shown.
    ranges_changed : bool
        Whether the build file was changed since the budget was frozen.
    days : list of date
        All days with something new.
    """

    currency: str
    scenario: str | None
    trials: int
    seed: int
    points: list[HistoryDay]
    entered: int
    left_out: int
    since: dt.date | None
    ranges_changed: bool
    days: tuple[dt.date, ...]


class EarnedAnswer(TypedDict):
    """Earned-value figures; null where nothing was paid or earned yet.

    Attributes
    ----------
    bac, ev, ac : float
        Budget at completion, earned value, actual cost.
    cv, cpi : float, float or None
        Cost variance and cost performance index.
    eac, etc, vac : float or None
        Estimate at completion, estimate to complete, variance at completion.
    tcpi : float or None
        To-complete performance index.
    """

    bac: float
    ev: float
    ac: float
    cv: float
    cpi: float | None
    eac: float | None
    etc: float | None
    vac: float | None
    tcpi: float | None
    currency: str
