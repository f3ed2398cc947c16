"""Statistics of trials, with weights: percentiles and their error, shares that add up, tails.

Letters: N trials, R replicates of n each, w weights (None: all alike).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import bdtr

from forecast.engine.shapes import Array
from forecast.errors import SimulationError


@dataclass(frozen=True)
class Estimate:
    """A figure from trials, with its simulation error.

    Attributes
    ----------
    value : float
    error : float
        Standard error: the spread over replicates divided by √R.
    """

    value: float
    error: float


def percentile(values: Array, q: float, weights: Array | None = None) -> float:
    """Give the smallest value that at least a share q of the weight does not exceed.

    Parameters
    ----------
    values : ndarray, shape (N,)
    q : float
        From 0 to 1.
    weights : ndarray, shape (N,), optional

    Raises
    ------
    SimulationError
        When q is not from 0 to 1.
    """
    return percentiles(values, (q,), weights)[0]


def percentiles(values: Array, shares: Sequence[float], weights: Array | None = None) -> list[float]:
    """Give several percentiles with one sort; see `percentile`."""
    for q in shares:
        if not 0 <= q <= 1:
            message = f"percentile: got {q}, must be from 0 to 1, such as 0.8 for P80."
            raise SimulationError(message)
    if weights is None:
        count = values.size
        ranks = [min(max(int(np.ceil(q * count - 1e-9)) - 1, 0), count - 1) for q in shares]
        ordered = np.partition(values, sorted(set(ranks)))
        return [float(ordered[rank]) for rank in ranks]
    if not np.all(weights > 0):  # what cannot be is no percentile, not even the lowest
        values, weights = values[weights > 0], weights[weights > 0]
    order = np.argsort(values, kind="stable")
    cumulated = np.cumsum(weights[order])
    places = np.searchsorted(cumulated, np.asarray(shares) * cumulated[-1] * (1 - 1e-12))
    return [float(values[order[min(int(place), values.size - 1)]]) for place in places]


def by_replicate(values: Array, replicates: int) -> Array:
    """View trials as one row for each replicate, shape (R, n)."""
    return values.reshape(replicates, -1)


def percentile_estimates(
    values: Array, shares: Sequence[float], replicates: int, weights: Array | None = None
) -> list[Estimate]:
    """Give pooled percentiles, each with the standard error that its spread over replicates shows."""
    pooled = percentiles(values, shares, weights)
    split = by_replicate(values, replicates)
    if weights is None:
        n = split.shape[1]
        ranks = [min(max(int(np.ceil(q * n - 1e-9)) - 1, 0), n - 1) for q in shares]
        single = np.partition(split, sorted(set(ranks)), axis=1)[:, ranks]
    else:
        heavy = by_replicate(weights, replicates)
        single = np.array(
            [
                percentiles(part, shares, weight)
                for part, weight in zip(split, heavy, strict=True)
                if weight.sum() > 0
            ]
        )
    return [Estimate(value, _spread(column)) for value, column in zip(pooled, single.T, strict=True)]


def mean_estimate(values: Array, replicates: int, weights: Array | None = None) -> Estimate:
    """Give the weighted mean with its standard error over replicates."""
    split = by_replicate(values, replicates)
    if weights is None:
        return Estimate(float(values.mean()), _spread(split.mean(axis=1)))
    heavy = by_replicate(weights, replicates)
    mass = heavy.sum(axis=1)
    used = mass > 0
    means = np.sum(split * heavy, axis=1)[used] / mass[used]
    return Estimate(float(values @ weights / weights.sum()), _spread(means))


def share_within(values: Array, amount: float, replicates: int, weights: Array | None = None) -> Estimate:
    """Give the chance that an amount is enough, with its standard error."""
    return mean_estimate((values <= amount).astype(float), replicates, weights)


def _spread(samples: Array) -> float:
    return float(np.std(samples, ddof=1) / np.sqrt(samples.size)) if samples.size > 1 else float("nan")


def order_statistic_interval(values: Array, q: float, confidence: float = 0.95) -> tuple[float, float]:
    """Give a distribution-free confidence interval for a percentile, from order statistics.

    The ranks are those of SciPy's ``quantile_test``: with B binomial (N, q) and a = (1 − confidence) / 2, the
    lower end is the largest rank whose chance of lying above the percentile stays within a, and so for the upper
    one (Conover, Practical Nonparametric Statistics, 3rd ed., section 3.2). Plain independent trials are assumed;
    stratified ones only do better.

    Parameters
    ----------
    values : ndarray, shape (N,)
    q : float
    confidence : float

    Returns
    -------
    tuple of float
        Lower and upper end; minus or plus infinity where N is too small.
    """
    lower, upper = order_statistic_ranks(values.size, q, confidence)
    ordered = np.sort(values)
    low = float(ordered[lower - 1]) if lower >= 1 else -np.inf
    high = float(ordered[upper - 1]) if upper <= values.size else np.inf
    return low, high


def order_statistic_ranks(count: int, q: float, confidence: float = 0.95) -> tuple[int, int]:
    """Give the ranks (from 1) of the order statistics that bound a percentile; 0 or N + 1 where there is none."""
    tail = (1 - confidence) / 2
    ranks = np.arange(-1, count + 1)
    below = np.where(ranks >= 0, bdtr(np.maximum(ranks, 0), count, q), 0.0)  # P(B <= rank)
    lower = int(ranks[np.searchsorted(below, tail, side="right")])  # smallest k with P(B <= k) > tail
    upper = int(ranks[np.searchsorted(below, 1 - tail, side="left")]) + 1
    return lower, upper


def coverage_interval(values: Array, coverage: float, *, shortest: bool = False) -> tuple[float, float]:
    """Give an interval that holds a share of the values: symmetric in probability, or the shortest.

    JCGM 101:2008, clause 7.7: with q = ⌊pN + ½⌋ the interval is from y(r) to y(r + q), ranks from 1; symmetric for
    r = (N − q) / 2, rounded up at a half, and shortest for the r of least y(r + q) − y(r).

    Parameters
    ----------
    values : ndarray, shape (N,)
    coverage : float
        p, above 0 and below 1.
    shortest : bool

    Raises
    ------
    SimulationError
        When there are too few values for that coverage.
    """
    ordered = np.sort(values)
    count = ordered.size
    inside = int(coverage * count + 0.5)
    if not 0 < inside < count:
        message = (
            f"coverage: got {coverage} of {count} values, must leave at least one inside and one outside."
        )
        raise SimulationError(message)
    first = (count - inside + 1) // 2 - 1
    if shortest:
        first = int(np.argmin(ordered[inside:] - ordered[:-inside]))
    return float(ordered[first]), float(ordered[first + inside])


def expected_shortfall(values: Array, q: float, weights: Array | None = None) -> float:
    """Give the mean of the worst 1 − q of outcomes, splitting the trial at the edge so that the share is exact.

    Acerbi & Tasche (2002), Journal of Banking & Finance 26(7), definition of the tail mean.

    Raises
    ------
    SimulationError
        When q is not at least 0 and under 1: nothing is worse than everything.
    """
    if not 0 <= q < 1:
        message = f"expected shortfall: got {q}, must be at least 0 and under 1, such as 0.9."
        raise SimulationError(message)
    return float(tail_weights(values, q, weights) @ values)


def tail_weights(values: Array, q: float, weights: Array | None = None) -> Array:
    """Give weights, adding up to 1, on the worst 1 − q of outcomes; the trial at the edge counts in part."""
    order = np.argsort(values, kind="stable")
    mass = np.full(values.size, 1 / values.size) if weights is None else weights[order] / weights.sum()
    upper = np.cumsum(mass)
    inside = np.clip(upper - q, 0, mass)
    result = np.empty(values.size)
    result[order] = inside / inside.sum()
    return result


def near_percentile_weights(
    values: Array, q: float, weights: Array | None = None, half_width: float = 0.02
) -> Array:
    """Give weights, adding up to 1, on the outcomes within ±half_width (as a share) around a percentile."""
    low, high = max(0.0, q - half_width), min(1.0, q + half_width)
    order = np.argsort(values, kind="stable")
    mass = np.full(values.size, 1 / values.size) if weights is None else weights[order] / weights.sum()
    upper = np.cumsum(mass)
    inside = np.clip(np.minimum(upper, high) - np.maximum(upper - mass, low), 0, None)
    result = np.empty(values.size)
    result[order] = inside / inside.sum()
    return result
