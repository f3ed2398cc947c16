"""Differences between two ways to build, trial by trial, with their simulation error.

Two scenarios share the draws of everything they have in common, so that this part of the noise cancels exactly. An
edit of one build shares nearly all: its difference is known many times better than either total. Whole scenarios that
share few lines gain little, and the errors given here say so (`python -m tests.benchmarks.decide` measures it).

How far a percentile moves depends on little but the trials around it, and jumps where trials change places there. How
far its neighbours move tells nearly as much: the change of the percentiles of order p is a smooth curve in p where
totals are spread continuously, and the value at q of a line fitted to it locally has a much smaller error, as long as
the two sides differ by less than the window is wide. Where it does not pay (whole scenarios), or where the curve has a
step nearby (few possible totals), the plain difference of the two percentiles stands.

Letters: N trials = R replicates of n each.

References
----------
Fan & Gijbels (1996), Local Polynomial Modelling and Its Applications, chapter 3: local linear fits, and the
Epanechnikov kernel; Parzen (1979), Nonparametric statistical data modeling, JASA 74: sample quantile functions
smoothed by a kernel (both from memory).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.special import ndtri

from forecast.engine.forecast import Forecast
from forecast.engine.shapes import Array
from forecast.engine.statistics import Estimate, by_replicate, mean_estimate, percentiles

WINDOW = 0.08
"""Half-width of the window around q, as a share of trials."""

_TAIL = 0.4  # the window reaches no farther than this share of the way from q to 0 or 1
_LEAST_TRIALS = 16  # of a replicate within the window: with fewer there is no line to fit
_WORTH = 2 / 3  # a smaller error than this share of the plain one's, or the plain difference stands
_ROUGH = 1.5  # plain errors that the curve may scatter around its line; beyond, it has a step or bends


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
        The error is that of the difference: its spread over replicates divided by √R. The value is smoothed over
        neighbouring percentiles where that makes the error smaller by a third or more and contradicts nothing.
    """
    moved = percentiles(after, (q,), weights)[0] - percentiles(before, (q,), weights)[0]
    single = by_replicate_percentile(after, q, replicates, weights)
    single = single - by_replicate_percentile(before, q, replicates, weights)
    plain = Estimate(moved, spread(single))
    width = min(WINDOW, _TAIL * q, _TAIL * (1 - q))
    if weights is not None or 2 * width * (before.size // replicates) < _LEAST_TRIALS:
        return plain
    old, new = by_replicate(before, replicates), by_replicate(after, replicates)
    moves, _ = local_line(np.sort(new, axis=1) - np.sort(old, axis=1), q, width)
    (value,), (scatter,) = local_line((np.sort(after) - np.sort(before))[None], q, width)
    smooth = Estimate(float(value), spread(moves))
    if smooth.error <= _WORTH * plain.error and scatter <= _ROUGH * plain.error:
        return smooth
    return plain


def local_line(curves: Array, q: float, width: float) -> tuple[Array, Array]:
    """Fit a line to curves of percentiles from order q − width to q + width.

    The line is fitted over standard normal scores, on which a normal total is exact, with Epanechnikov weights.

    Parameters
    ----------
    curves : ndarray, shape (sets, n)
        Percentiles of rising order, or differences of two such curves.
    q, width : float

    Returns
    -------
    value : ndarray, shape (sets,)
        The line at q.
    scatter : ndarray, shape (sets,)
        Root of the weighted mean square of the curve around it.
    """
    n = curves.shape[1]
    orders = (np.arange(n) + 0.5) / n
    first, last = np.searchsorted(orders, (q - width, q + width))
    inside = orders[first:last]
    away = ndtri(inside) - ndtri(q)
    kernel = 1 - ((inside - q) / width) ** 2
    flat, slope, curve = (float(np.sum(kernel * away**power)) for power in range(3))
    determinant = flat * curve - slope**2
    here = curves[:, first:last]
    value: Array = here @ (kernel * (curve - slope * away) / determinant)
    rise = here @ (kernel * (flat * away - slope) / determinant)
    left = here - value[:, None] - rise[:, None] * away
    scatter: Array = np.sqrt(left**2 @ kernel / flat)
    return value, scatter


def forecast_change(before: Forecast, after: Forecast, q: float) -> Estimate:
    """Give by how much a percentile moves from one forecast to another.

    Where they do not share their draws, as after a fact that weighs trials otherwise, nothing cancels, and the error
    is that of two separate runs.
    """
    old, new = before.trials, after.trials
    try:
        weights = common_weights((old.weights, new.weights))
        shared = (old.seed, old.numbers, old.count) == (new.seed, new.numbers, new.count)
    except ValueError:
        weights, shared = None, False
    if shared:
        return percentile_change(old.totals, new.totals, q, new.replicates, weights)
    was, now = before.percentile(q), after.percentile(q)
    return Estimate(now.value - was.value, float(np.hypot(was.error, now.error)))


def mean_change(before: Array, after: Array, replicates: int, weights: Array | None = None) -> Estimate:
    """Give by how much the mean moves, with the error of the difference."""
    return mean_estimate(after - before, replicates, weights)


def by_replicate_percentile(values: Array, q: float, replicates: int, weights: Array | None = None) -> Array:
    """Give a percentile of each replicate, shape (R,)."""
    split = by_replicate(values, replicates)
    if weights is None:
        rank = min(max(int(np.ceil(q * split.shape[1] - 1e-9)) - 1, 0), split.shape[1] - 1)
        ordered: Array = np.partition(split, rank, axis=1)[:, rank]
        return ordered
    heavy = by_replicate(weights, replicates)
    return np.array([percentiles(part, (q,), weight)[0] for part, weight in zip(split, heavy, strict=True)])


def spread(samples: Array) -> float:
    """Give the standard error of a mean of replicates."""
    return float(np.std(samples, ddof=1) / np.sqrt(samples.size)) if samples.size > 1 else float("nan")


def common_weights(weights: Sequence[Array | None]) -> Array | None:
    """Give the weights that several sets of trials share; None where all count alike.

    Raises
    ------
    ValueError
        When they differ.
    """
    first = weights[0]
    for other in weights[1:]:
        same = other is first or (first is not None and other is not None and np.array_equal(first, other))
        if not same:
            message = "the trials carry different weights"
            raise ValueError(message)
    return first
