"""What drives the total, from the trials at hand: shares that add up, swings, first-order indices.

Letters: N trials, M rows, T the total, w weights adding up to 1.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from forecast.engine.replicate import Moments
from forecast.engine.statistics import near_percentile_weights, tail_weights
from forecast.engine.trials import Trials
from forecast.figures.shapes import Array


@dataclass(frozen=True)
class Swing:
    """Mean total where a row is in its lowest tenth, and where it is in its highest."""

    low: float
    high: float

    @property
    def width(self) -> float:
        """How far the total moves between the two."""
        return self.high - self.low


def variance_shares(moments: Moments) -> Array:
    """Give each row's share of the total's variance: cov(x_i, T) / var T, which adds up to 1 over money rows.

    Parameters
    ----------
    moments : Moments

    Returns
    -------
    ndarray, shape (rows,)
        All zero where the total does not vary. Rows of hours have a value too, which does not belong to the sum.
    """
    mean_total = moments.total / moments.weight
    variance = moments.total_squared / moments.weight - mean_total**2
    covariance = moments.with_total / moments.weight - moments.first / moments.weight * mean_total
    if variance <= 1e-12 * max(1.0, mean_total**2):
        return np.zeros_like(covariance)
    return covariance / variance


def tail_shares(rows: Array, totals: Array, q: float, weights: Array | None = None) -> Array:
    """Give each row's mean in the worst 1 − q of outcomes; money rows add up to the expected shortfall.

    The Euler allocation of expected shortfall (Tasche 1999, from memory).

    Parameters
    ----------
    rows : ndarray, shape (M, N)
    totals : ndarray, shape (N,)
    q : float
    weights : ndarray, shape (N,), optional

    Returns
    -------
    ndarray, shape (M,)
    """
    shares: Array = rows @ tail_weights(totals, q, weights)
    return shares


def shares_near(rows: Array, totals: Array, q: float, target: float, weights: Array | None = None) -> Array:
    """Give each row's mean where the total is near its percentile, moved so that they add up to it exactly.

    E[x_i | T = P_q] is the Euler allocation of the percentile (Tasche 1999, from memory). The mean over a narrow
    band around it adds up to the band's mean total; what is left to the percentile itself, a small sum, is spread
    in proportion to how each row moves with the total inside the band.

    Parameters
    ----------
    rows : ndarray, shape (M, N)
        Money rows only.
    totals : ndarray, shape (N,)
    q : float
    target : float
        The percentile that the shares must add up to.
    weights : ndarray, shape (N,), optional

    Returns
    -------
    ndarray, shape (M,)
    """
    near = near_percentile_weights(totals, q, weights)
    shares: Array = rows @ near
    rest = target - float(shares.sum())
    centred = (totals - totals @ near) * near
    moves = rows @ centred
    total_move = float(moves.sum())
    if total_move > 0:
        shares += rest * moves / total_move
    else:
        size = np.abs(shares)
        shares += rest * (size / size.sum() if size.sum() > 0 else 1 / size.size)
    return shares


def swing(values: Array, totals: Array, weights: Array | None = None, share: float = 0.1) -> Swing:
    """Give the mean total in a row's lowest and highest share of outcomes.

    Parameters
    ----------
    values, totals : ndarray, shape (N,)
    weights : ndarray, shape (N,), optional
    share : float
        A tenth unless said otherwise. Ties, as in a row that is zero in most trials, count alike in proportion.
    """
    order = np.argsort(values, kind="stable")
    mass = np.full(values.size, 1 / values.size) if weights is None else weights[order] / weights.sum()
    low = _tail_mean(values[order], totals[order], mass, share)
    high = _tail_mean(-values[order][::-1], totals[order][::-1], mass[::-1], share)
    return Swing(low, high)


def _tail_mean(values: Array, totals: Array, mass: Array, share: float) -> float:
    """Average totals over the first share of ascending values, sharing a tie at the edge out evenly."""
    edge = values[min(int(np.searchsorted(np.cumsum(mass), share)), values.size - 1)]
    first, last = np.searchsorted(values, edge, "left"), np.searchsorted(values, edge, "right")
    inside = mass[:last].copy()
    tied = float(inside[first:].sum())
    if tied > 0:
        inside[first:] *= (share - float(inside[:first].sum())) / tied
    return float(inside @ totals[:last] / inside.sum())


def row_means(trials: Trials) -> Array:
    """Give each row's weighted mean, shape (rows,)."""
    return trials.reference + trials.moments.first / trials.moments.weight
