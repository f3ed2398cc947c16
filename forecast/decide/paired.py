"""Differences between two ways to build, trial by trial, with their simulation error.

Two scenarios share the draws of everything they have in common, so that this part of the noise cancels exactly. An
edit of one build shares nearly all: its difference is known many times better than either total. Whole scenarios that
share few lines gain little, and the errors given here say so (`python -m tests.benchmarks.decide` measures it).

How far a percentile moves depends on little but the trials around it, and jumps where trials change places there: of a
small edit the plain difference of two percentiles is what it does to one trial. How far the neighbours move tells
nearly as much: the change of the percentiles of order p is a smooth curve in p where totals are spread continuously,
and the value at q of a line fitted to it locally has a much smaller error, which the same line fitted in each replicate
tells. Where the curve is no line (a step, because few totals are possible or an event is nearby), the plain difference
stands.

Letters: N trials = R replicates of n each.

References
----------
Fan & Gijbels (1996), Local Polynomial Modelling and Its Applications, chapter 3: local linear fits, and the
Epanechnikov kernel; Parzen (1979), Nonparametric statistical data modeling, JASA 74: sample quantile functions
smoothed by a kernel (both from memory). The error of the plain difference is Woodruff's; see
`forecast.engine.statistics`.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from forecast.engine.forecast import Forecast
from forecast.engine.statistics import (
    Estimate,
    by_replicate,
    mean_estimate,
    orders_around,
    shares_below,
    spread,
)
from forecast.engine.trials import Trials
from forecast.figures.normal import normal_score, normal_scores
from forecast.figures.shapes import Array

WINDOW = 0.08
"""Half-width of the window around q, as a share of trials."""

_TAIL = 0.4  # the window reaches no farther than this share of the way from q to 0 or 1
_LEAST_TRIALS = 16  # of a replicate within the window: with fewer there is no line to fit
_SURER = 0.5  # a plain error under this share of the line's: a step at the edge of the window makes the line unsure
_BLOCKS = 8  # of the window, in each of which the curve is held against its line
_ROUGH = 8.0  # mean squared distance from the line, in squared standard errors: 1 for a line, 20 or more for a step


def percentile_change(
    before: Array, after: Array, q: float, replicates: int, weights: Array | None = None
) -> Estimate:
    """Give by how much a percentile moves from one set of totals to another of the same draws.

    Parameters
    ----------
    before, after : ndarray, shape (N,)
    q : float
    replicates : int
        R.
    weights : ndarray, shape (N,), optional
        Of both.

    Returns
    -------
    Estimate
        The error is that of the difference. The value is smoothed over neighbouring percentiles unless that
        contradicts what is seen.
    """
    return mean_percentile_change(before, [(1.0, after)], q, replicates, weights)


def mean_percentile_change(
    before: Array,
    after: Sequence[tuple[float, Array]],
    q: float,
    replicates: int,
    weights: Array | None = None,
) -> Estimate:
    """Give by how much a percentile moves on average over several ways in which things may turn out.

    Parameters
    ----------
    before : ndarray, shape (N,)
    after : sequence of (share, ndarray of shape (N,))
        The shares add up to 1.
    q, replicates, weights
        As for `percentile_change`.
    """
    sides = [(share, _Side(totals, weights)) for share, totals in after]
    return _change(_Side(before, weights), sides, q, replicates)


@dataclass(frozen=True)
class _Side:
    """Totals with their weights, or None where all count alike."""

    totals: Array
    weights: Array | None

    @cached_property
    def _rising(self) -> tuple[Array, Array | None]:
        """The totals in rising order, with their cumulated weights."""
        if self.weights is None:
            return np.sort(self.totals), None
        order = np.argsort(self.totals)
        return self.totals[order], np.cumsum(self.weights[order])

    def at(self, orders: Array) -> Array:
        """Give percentiles of the whole; see `forecast.engine.statistics.percentile`."""
        rising, mass = self._rising
        if mass is None:
            places = np.ceil(orders * rising.size - 1e-9).astype(np.intp) - 1
        else:
            return np.asarray(rising[_places(mass, orders)])
        return np.asarray(rising[np.clip(places, 0, rising.size - 1)])

    def by_replicate(self, orders: Array, replicates: int) -> Array:
        """Give percentiles of each replicate, shape (R, orders)."""
        split = by_replicate(self.totals, replicates)
        if self.weights is None:
            n = split.shape[1]
            places = np.ceil(orders * n - 1e-9).astype(np.intp) - 1
            return np.asarray(np.sort(split, axis=1)[:, np.clip(places, 0, n - 1)])
        heavy = by_replicate(self.weights, replicates)
        order = np.argsort(split, axis=1)
        rising = np.take_along_axis(split, order, axis=1)
        masses = np.cumsum(np.take_along_axis(heavy, order, axis=1), axis=1)
        least = _least(orders)
        places = np.array([mass.searchsorted(least * mass[-1]) for mass in masses])
        return np.take_along_axis(rising, np.minimum(places, rising.shape[1] - 1), axis=1)

    def counts_everywhere(self, replicates: int) -> bool:
        """Tell whether every replicate has weight."""
        return self.weights is None or bool(np.all(by_replicate(self.weights, replicates).sum(axis=1) > 0))

    def below(self, amount: float, replicates: int) -> tuple[Array, Array]:
        """Give the share up to an amount, and that short of it, by replicate."""
        return shares_below(self.totals, amount, replicates, self.weights)


def _places(mass: Array, orders: Array) -> NDArray[np.intp]:
    """Give where percentiles stand among values in rising order, by their cumulated weights."""
    return np.asarray(np.minimum(mass.searchsorted(_least(orders) * mass[-1]), mass.size - 1))


def _least(orders: Array) -> Array:
    """Give the shares of the weight up to which percentiles stand; what has no weight is none."""
    return np.maximum(orders * (1 - 1e-12), 1e-300)


_Ways: TypeAlias = Sequence[tuple[float, _Side]]


def _change(before: _Side, after: _Ways, q: float, replicates: int) -> Estimate:
    width = min(WINDOW, _TAIL * q, _TAIL * (1 - q))
    n = before.totals.size // replicates
    plain = _plain(before, after, q, replicates)
    everywhere = all(side.counts_everywhere(replicates) for side in (before, *(side for _, side in after)))
    if replicates == 1 or 2 * width * n < _LEAST_TRIALS or not everywhere:
        return plain
    orders = _orders_within(n, q, width)
    each = sum(share * side.by_replicate(orders, replicates) for share, side in after)
    moves, left = local_line(each - before.by_replicate(orders, replicates), orders, q, width)
    error = spread(moves)
    if _roughness(left) > _ROUGH or plain.error < _SURER * error:
        return plain
    orders = _orders_within(before.totals.size, q, width)
    pooled = (
        _moved(before, after, orders) - plain.value
    )  # so that a flat curve gives just the plain difference
    (value,), _ = local_line(pooled[None], orders, q, width)
    return Estimate(plain.value + float(value), error)


def _moved(before: _Side, after: _Ways, orders: Array) -> Array:
    """Give by how much percentiles of the whole move on average."""
    moved: Array = sum((share * side.at(orders) for share, side in after), -before.at(orders))
    return moved


def _orders_within(count: int, q: float, width: float) -> Array:
    """Give the orders of so many ranks that lie within a window."""
    orders = (np.arange(count) + 0.5) / count
    first, last = np.searchsorted(orders, (q - width, q + width))
    return np.asarray(orders[first:last])


def _roughness(left: Array) -> float:
    """Tell how far a curve is from its line, by what is left of it in each replicate.

    The mean of the squared distances of blocks of the window, each over its squared standard error from replicates.
    """
    blocks = np.array([block.mean(axis=1) for block in np.array_split(left, _BLOCKS, axis=1)])
    away = np.abs(blocks.mean(axis=1))
    errors = np.std(blocks, axis=1, ddof=1) / np.sqrt(left.shape[0])
    exact = 1e-9 * np.max(np.abs(left), initial=0.0) + np.finfo(float).tiny
    return float(np.mean((away / np.maximum(errors, exact)) ** 2))


def _plain(before: _Side, after: _Ways, q: float, replicates: int) -> Estimate:
    """Give the difference of two percentiles, on average over ways.

    Two things are unsure: at which order the pooled trials really stand, on both sides alike, and by how much the two
    sides' orders differ. The first matters as far as the difference varies around q; the second as the percentile does.
    """
    here = np.array([q])
    (moved,) = _moved(before, after, here)
    below = before.below(float(before.at(here)[0]), replicates)
    order = max(spread(share) for share in below)
    if np.isnan(order):
        return Estimate(float(moved), order)
    own = 0.0
    for share, side in after:
        then = side.below(float(side.at(here)[0]), replicates)
        apart = orders_around(q, min(spread(new - old) for old, new in zip(below, then, strict=True)))
        own += share * float(np.sqrt(0.5 * (np.var(before.at(apart)) + np.var(side.at(apart)))))
    common = np.var(_moved(before, after, orders_around(q, order)))
    return Estimate(float(moved), float(np.sqrt(common + own**2)))


def local_line(curves: Array, orders: Array, q: float, width: float) -> tuple[Array, Array]:
    """Fit a line to curves of percentiles from order q − width to q + width.

    The line is fitted over standard normal scores, on which a normal total is exact, with Epanechnikov weights.

    Parameters
    ----------
    curves : ndarray, shape (sets, K)
        Percentiles of rising order, or differences of two such curves.
    orders : ndarray, shape (K,)
        All within the window.
    q, width : float

    Returns
    -------
    value : ndarray, shape (sets,)
        The line at q.
    left : ndarray, shape (sets, K)
        The curve less its line.
    """
    away = normal_scores(orders) - normal_score(q)
    kernel = 1 - ((orders - q) / width) ** 2
    flat, slope, curve = (float(np.sum(kernel * away**power)) for power in range(3))
    determinant = flat * curve - slope**2
    value: Array = curves @ (kernel * (curve - slope * away) / determinant)
    rise = curves @ (kernel * (flat * away - slope) / determinant)
    return value, curves - value[:, None] - rise[:, None] * away


def forecast_change(before: Forecast, after: Forecast, q: float) -> Estimate:
    """Give by how much a percentile moves from one forecast to another.

    What both draw they share, also where a fact weighs the trials of one or makes it draw more replicates: the
    difference is taken over the replicates that both have. Where there are none, the error is that of two runs apart.
    """
    old, new = before.trials, after.trials
    shared = _common_replicates(old, new)
    if shared > 1:
        return _change(_first(old, shared), [(1.0, _first(new, shared))], q, shared)
    was, now = before.percentile(q), after.percentile(q)
    return Estimate(now.value - was.value, float(np.hypot(was.error, now.error)))


def _first(trials: Trials, replicates: int) -> _Side:
    """Give the totals of the first so many replicates."""
    count = replicates * (trials.count // trials.replicates)
    return _Side(trials.totals[:count], None if trials.weights is None else trials.weights[:count])


def _common_replicates(old: Trials, new: Trials) -> int:
    """Count the replicates, from the first on, that two sets of trials share."""
    if old.seed != new.seed or old.count // old.replicates != new.count // new.replicates:
        return 0
    pairs = zip(old.numbers, new.numbers, strict=False)
    return sum(1 for _ in itertools.takewhile(lambda pair: pair[0] == pair[1], pairs))


def mean_change(before: Array, after: Array, replicates: int, weights: Array | None = None) -> Estimate:
    """Give by how much the mean moves, with the error of the difference."""
    return mean_estimate(after - before, replicates, weights)
