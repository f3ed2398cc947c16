"""Differences between two ways to build, trial by trial, with their simulation error.

Two scenarios share the draws of everything they have in common, so that this part of the noise cancels exactly. An
edit of one build shares nearly all: its difference is known many times better than either total. Whole scenarios that
share few lines gain little, and the errors given here say so (`python -m tests.benchmarks.decide` measures it).

Letters: N trials = R replicates of n each.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from forecast.engine.forecast import Forecast
from forecast.engine.shapes import Array
from forecast.engine.statistics import Estimate, by_replicate, mean_estimate, percentiles


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
        The error is that of the difference: its spread over replicates divided by √R.
    """
    moved = percentiles(after, (q,), weights)[0] - percentiles(before, (q,), weights)[0]
    single = by_replicate_percentile(after, q, replicates, weights)
    single = single - by_replicate_percentile(before, q, replicates, weights)
    return Estimate(moved, spread(single))


def change_error(before: Forecast, after: Forecast, q: float, unpaired: float) -> float:
    """Give the simulation error of a percentile's change from one forecast to another.

    Parameters
    ----------
    before, after : Forecast
    q : float
    unpaired : float
        Given where the two do not share their draws, as after a fact that weighs trials otherwise.
    """
    old, new = before.trials, after.trials
    try:
        weights = common_weights((old.weights, new.weights))
    except ValueError:
        return unpaired
    if (old.seed, old.numbers, old.count) != (new.seed, new.numbers, new.count):
        return unpaired
    return percentile_change(old.totals, new.totals, q, new.replicates, weights).error


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
