"""What an own hour earns, and the value of own time at which a decision turns."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from forecast.engine.forecast import Forecast
from forecast.engine.plan import OWN_WORK
from forecast.engine.statistics import Estimate, by_replicate, percentile, percentile_estimates, spread
from forecast.figures.shapes import Array

_FEW = 0.01
_LARGEST_VALUE = 1e6  # money an hour; beyond it a decision does not turn
_MORE_WORK = 0.99


@dataclass(frozen=True)
class OwnHourPay:
    """What doing more of the work oneself pays per own hour.

    Attributes
    ----------
    worker, other : str
        Names of the scenario with more own hours, and of the one with fewer.
    extra_hours : float
        Mean own hours that it takes more.
    saving : float
        Mean money that it saves; negative where it costs more.
    mean : Estimate
        Saving / extra hours, of the means: also the value of own time at which the means are the same.
    p10, p50, p90 : Estimate or None
        Percentiles of the same ratio trial by trial; None where the extra hours are near or below zero in more
        than 1 of 100 trials, so that the ratio means nothing there.
    turns_at : float or None
        Value of an own hour at which the two have the same P80, own time counted; None where they never have.
    dearer_at_p80 : bool
        Whether the worker's P80 is the higher one already with own hours counting nothing.
    """

    worker: str
    other: str
    extra_hours: float
    saving: float
    mean: Estimate
    p10: Estimate | None
    p50: Estimate | None
    p90: Estimate | None
    turns_at: float | None
    dearer_at_p80: bool = False


def cash_totals(forecast: Forecast) -> Array:
    """Give the totals without what own hours were given as a value, shape (N,)."""
    if any(row.id == OWN_WORK for row in forecast.plan.rows):
        return forecast.trials.totals - forecast.trials.row(OWN_WORK)
    return forecast.trials.totals


def own_hour_pay(
    names: tuple[str, str],
    totals: tuple[Array, Array],
    hours: tuple[Array, Array],
    replicates: int,
    weights: Array | None = None,
) -> OwnHourPay | None:
    """Give what the own hours of one way to build earn against another.

    Parameters
    ----------
    names : tuple of str
    totals : tuple of ndarray, shape (N,)
        Cash, with nothing for own hours.
    hours : tuple of ndarray, shape (N,)
    replicates : int
    weights : ndarray, shape (N,), optional

    Returns
    -------
    OwnHourPay or None
        None where the mean own hours of the two do not differ.
    """
    mean_hours = [float(np.average(item, weights=weights)) for item in hours]
    if abs(mean_hours[0] - mean_hours[1]) < _FEW:
        return None
    worker, other = (0, 1) if mean_hours[0] > mean_hours[1] else (1, 0)
    extra = hours[worker] - hours[other]
    saving = totals[other] - totals[worker]
    mean_extra = mean_hours[worker] - mean_hours[other]
    mean_saving = float(np.average(saving, weights=weights))
    heavy = by_replicate(np.ones_like(saving) if weights is None else weights, replicates)
    ratios = (by_replicate(saving, replicates) * heavy).sum(axis=1) / (
        by_replicate(extra, replicates) * heavy
    ).sum(axis=1)
    p10 = p50 = p90 = None
    enough = float(np.average(extra > _FEW * mean_extra, weights=weights))
    if enough >= _MORE_WORK:
        ratio = saving / np.maximum(extra, _FEW * mean_extra)
        p10, p50, p90 = percentile_estimates(ratio, (0.1, 0.5, 0.9), replicates, weights)
    return OwnHourPay(
        names[worker], names[other], mean_extra, mean_saving,
        Estimate(mean_saving / mean_extra, spread(ratios)), p10, p50, p90,
        turning_value(
            (totals[worker], totals[other]), (hours[worker], hours[other]), weights=weights
        ),
        percentile(totals[worker], 0.8, weights) > percentile(totals[other], 0.8, weights),
    )  # fmt: skip


def turning_value(
    totals: tuple[Array, Array], hours: tuple[Array, Array], q: float = 0.8, weights: Array | None = None
) -> float | None:
    """Give the value of an own hour at which two ways to build have the same percentile.

    Parameters
    ----------
    totals, hours : tuple of ndarray, shape (N,)
        The one with more own hours first.
    q : float
    weights : ndarray, shape (N,), optional

    Returns
    -------
    float or None
        None where the first is dearer already with hours counting nothing, or cheaper at any value.
    """

    def gap(value: float) -> float:
        first = percentile(totals[0] + value * hours[0], q, weights)
        return first - percentile(totals[1] + value * hours[1], q, weights)

    low, high = 0.0, 1.0
    if gap(low) > 0:
        return None
    while gap(high) <= 0:
        low, high = high, 2 * high
        if high > _LARGEST_VALUE:
            return None
    while high - low > 1e-9 * high:
        middle = 0.5 * (low + high)
        if not low < middle < high:
            break
        low, high = (middle, high) if gap(middle) <= 0 else (low, middle)
    return low
