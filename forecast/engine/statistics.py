"""Statistics of trials, with weights: percentiles and their error, shares that add up, tails.

Letters: N trials, R replicates of n each, w weights (None: all alike).

References
----------
Woodruff, R. S. (1952), Confidence intervals for medians and other position measures, JASA 47(260) (from memory): how
sure a percentile is follows from how sure the share of trials below it is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from numbers import Real
from typing import SupportsFloat, TypeVar

import numpy as np
from numpy.typing import NDArray

from forecast.errors import SimulationError
from forecast.figures.normal import normal_scores
from forecast.figures.shapes import Array

_Kind = TypeVar("_Kind", bound=np.generic)


@dataclass(frozen=True, eq=False, repr=False)
class Estimate:
    """A figure from trials, with its simulation error: it prints, formats and compares like the number it is.

    Figures of the same trials err together, so that the error of what is worked out from several of them does not
    follow from their errors: ``float`` leaves it behind.

    Attributes
    ----------
    value : float
    error : float
        Standard error, from the spread over replicates.

    Examples
    --------
    >>> hold = Estimate(14291.7, 41.3)
    >>> hold
    14,292 ± 41
    >>> f"{hold:,.2f}", float(hold), hold > 14_000
    ('14,291.70', 14291.7, True)
    """

    value: float
    error: float

    def __float__(self) -> float:
        return float(self.value)

    def __format__(self, how: str) -> str:
        return format(self.value, how) if how else repr(self)

    def __repr__(self) -> str:
        """Give the number to the second digit of its error, and the error."""
        if not np.isfinite(self.error) or self.error <= 0:
            return f"{self.value:,.10g} ± {self.error:g}"
        digits = max(1 - int(np.floor(np.log10(self.error))), 0)
        return f"{self.value:,.{digits}f} ± {self.error:,.{digits}f}"

    def __eq__(self, other: object) -> bool:
        if isinstance(other, Estimate):
            return (self.value, self.error) == (other.value, other.error)
        return self.value == other if isinstance(other, Real) else NotImplemented

    def __hash__(self) -> int:
        return hash(self.value)

    def __lt__(self, other: SupportsFloat) -> bool:
        return self.value < float(other)

    def __le__(self, other: SupportsFloat) -> bool:
        return self.value <= float(other)

    def __gt__(self, other: SupportsFloat) -> bool:
        return self.value > float(other)

    def __ge__(self, other: SupportsFloat) -> bool:
        return self.value >= float(other)


_SCORES = normal_scores((np.arange(16) + 0.5) / 16)
_SCORES = _SCORES / np.std(_SCORES)
"""Sixteen equally likely standard normal scores, scaled to a variance of one."""


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
    return _Ranked.of(values, weights).at(shares)


@dataclass(frozen=True)
class _Ranked:
    """Values in rising order, sorted once for all percentiles that are asked of them.

    Attributes
    ----------
    rising : ndarray, shape (N,)
    cumulated : ndarray of shape (N,), or None
        Weights up to each.
    """

    rising: Array
    cumulated: Array | None

    @classmethod
    def of(cls, values: Array, weights: Array | None) -> _Ranked:
        if weights is None:
            return cls(np.sort(values), None)  # faster than a partition around several ranks
        if not np.all(weights > 0):  # what cannot be is no percentile, not even the lowest
            values, weights = values[weights > 0], weights[weights > 0]
        order = np.argsort(values)  # in which order alike ones come makes no difference
        return cls(values[order], np.cumsum(weights[order]))

    def at(self, shares: Sequence[float]) -> list[float]:
        """Give percentiles; see `percentile`."""
        for q in shares:
            if not 0 <= q <= 1:
                message = f"percentile: got {q}, must be from 0 to 1, such as 0.8 for P80."
                raise SimulationError(message)
        count = self.rising.size
        if self.cumulated is None:
            ranks = [min(max(int(np.ceil(q * count - 1e-9)) - 1, 0), count - 1) for q in shares]
            return [float(self.rising[rank]) for rank in ranks]
        places = np.searchsorted(self.cumulated, np.asarray(shares) * self.cumulated[-1] * (1 - 1e-12))
        return [float(self.rising[min(int(place), count - 1)]) for place in places]


def is_enough(values: Array, amount: float, q: float, weights: Array | None = None) -> NDArray[np.bool_]:
    """Tell of each row of values whether its percentile is at most an amount; nothing has to be sorted for that.

    Parameters
    ----------
    values : ndarray, shape (..., N)
    amount : float
    q : float
        From 0 to 1.
    weights : ndarray of the same shape, optional

    Returns
    -------
    ndarray, shape (...)
    """
    inside = values <= amount
    if weights is None:
        found: NDArray[np.bool_] = inside.sum(axis=-1) >= max(np.ceil(q * values.shape[-1] - 1e-9), 1)
        return found
    within = np.where(inside, weights, 0.0).sum(axis=-1)
    return np.asarray((within >= q * weights.sum(axis=-1) * (1 - 1e-12)) & (within > 0))


def by_replicate(values: NDArray[_Kind], replicates: int) -> NDArray[_Kind]:
    """View trials as one row for each replicate, shape (R, n)."""
    return values.reshape(replicates, -1)


def percentile_estimates(
    values: Array, shares: Sequence[float], replicates: int, weights: Array | None = None
) -> list[Estimate]:
    """Give pooled percentiles, each with its standard error.

    The share of trials that a pooled percentile is enough for has a standard error e, by its spread over replicates;
    the percentile's own is the standard deviation of the percentiles of order q + e Z, Z standard normal [Woodruff]. In
    a gap between two kinds of outcome that is half the gap, where the spread of the replicates' own percentiles would
    average it away: the pooled percentile falls on one side or the other, and on no average of them.
    """
    ranked = _Ranked.of(values, weights)
    found = ranked.at(shares)
    errors = np.max(spreads(shares_below_each(values, found, replicates, weights)), axis=0)
    orders = np.array([orders_around(q, error) for q, error in zip(shares, errors, strict=True)])
    near = np.reshape(ranked.at(orders.ravel().tolist()), orders.shape)
    around = np.where(np.isnan(errors), np.nan, np.std(near, axis=1))
    return [Estimate(value, float(error)) for value, error in zip(found, around, strict=True)]


def shares_below(
    values: Array, amount: float, replicates: int, weights: Array | None = None
) -> tuple[Array, Array]:
    """Give each replicate's share of trials up to an amount, and that short of it, as where many come to just that.

    Returns
    -------
    tuple of ndarray, shape (R,)
        Where replicates weigh differently, linearised around the share of the whole.
    """
    upto, short = shares_below_each(values, (amount,), replicates, weights)[:, 0]
    return upto, short


def shares_below_each(
    values: Array, amounts: Sequence[float], replicates: int, weights: Array | None = None
) -> Array:
    """Give `shares_below` of several amounts, shape (2, amounts, R): the trials are gone through once for all."""
    edges, places = np.unique(np.asarray(amounts, dtype=float), return_inverse=True)
    kinds = edges.size + 1
    upto = np.searchsorted(edges, values)  # the first edge that a trial does not exceed
    short = upto + (edges[np.minimum(upto, edges.size - 1)] == values)
    own = np.repeat(np.arange(replicates) * (kinds + 1), values.size // replicates)
    size = replicates * (kinds + 1)
    sums = np.array([np.bincount(own + kind, weights, size) for kind in (upto, short)])
    part = np.cumsum(sums.reshape(2, replicates, kinds + 1), axis=2)[:, :, places].transpose(0, 2, 1)
    mass = np.full(replicates, float(values.size // replicates))
    if weights is not None:
        mass = by_replicate(weights, replicates).sum(axis=1)
    every = part.sum(axis=2, keepdims=True) / mass.sum()
    found: Array = every + (part - every * mass) / mass.mean()
    return found


def orders_around(q: float, error: float) -> Array:
    """Give equally likely orders of a percentile whose order q is known with a standard error; q where that is NaN."""
    return np.clip(q + (0.0 if np.isnan(error) else error) * _SCORES, 0.0, 1.0)


def mean_estimate(values: Array, replicates: int, weights: Array | None = None) -> Estimate:
    """Give the weighted mean with its standard error over replicates."""
    split = by_replicate(values, replicates)
    if weights is None:
        return Estimate(float(values.mean()), spread(split.mean(axis=1)))
    heavy = by_replicate(weights, replicates)
    mass = heavy.sum(axis=1)
    used = mass > 0
    means = np.sum(split * heavy, axis=1)[used] / mass[used]
    return Estimate(float(values @ weights / weights.sum()), spread(means))


def share_within(values: Array, amount: float, replicates: int, weights: Array | None = None) -> Estimate:
    """Give the chance that an amount is enough, with its standard error."""
    return mean_estimate((values <= amount).astype(float), replicates, weights)


def spread(samples: Array) -> float:
    """Give the standard error of a mean of replicates; NaN for one alone."""
    return float(np.std(samples, ddof=1) / np.sqrt(samples.size)) if samples.size > 1 else float("nan")


def spreads(samples: Array) -> Array:
    """Give `spread` of each row."""
    count = samples.shape[-1]
    return (
        np.std(samples, axis=-1, ddof=1) / np.sqrt(count)
        if count > 1
        else np.full(samples.shape[:-1], np.nan)
    )


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
    from scipy.special import bdtr  # loading it takes longer than simulating a build

    tail = (1 - confidence) / 2
    ranks = np.arange(-1, count + 1)
    below = np.where(ranks >= 0, bdtr(np.maximum(ranks, 0), count, q), 0.0)  # P(B <= rank)
    lower = int(ranks[np.searchsorted(below, tail, side="right")])  # smallest k with P(B <= k) > tail
    upper = int(ranks[np.searchsorted(below, 1 - tail, side="left")]) + 1
    return lower, upper


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
