"""Shares and swings against closed forms and exact tails."""

from __future__ import annotations

import numpy as np
import pytest

from forecast.engine.forecast import simulate
from forecast.engine.sensitivity import shares_near, swing, tail_shares, variance_shares
from tests.references.portfolios import normals

TRIALS = 131_072


def test_variance_shares_of_independent_normals() -> None:
    forecast = simulate(normals([(0, 10), (0, 20), (0, 30), (0, 40)]), trials=TRIALS)
    shares = variance_shares(forecast.trials.moments)
    assert shares == pytest.approx([1 / 30, 4 / 30, 9 / 30, 16 / 30], abs=0.004)
    assert shares.sum() == pytest.approx(1, abs=1e-12)


def test_variance_shares_of_correlated_normals() -> None:
    """cov(x, T) / var T for standard deviations 20, 40, 60 and correlation 0.3, by algebra."""
    forecast = simulate(normals([(100, 20), (200, 40), (300, 60)], 0.3), trials=TRIALS)
    shares = variance_shares(forecast.trials.moments)
    assert shares == pytest.approx([0.121359, 0.310680, 0.567961], abs=0.004)
    assert [line.variance_share for line in forecast.lines] == pytest.approx(shares)


def test_shares_add_up_exactly_with_and_without_weights() -> None:
    forecast = simulate(normals([(100, 20), (200, 40), (300, 60)], 0.3), trials=4096)
    rows, totals = forecast.trials.rows, forecast.trials.totals
    assert rows is not None
    for weights in (None, np.random.default_rng(1).random(totals.size)):
        tail = tail_shares(rows, totals, 0.9, weights)
        assert tail.sum() == pytest.approx(
            np.average(np.sort(totals), weights=None) * 0 + _shortfall(totals, 0.9, weights), rel=1e-12
        )
        near = shares_near(rows, totals, 0.8, 640.0, weights)
        assert near.sum() == pytest.approx(640.0, rel=1e-12)


def test_rows_that_never_move_share_what_is_left_by_their_size() -> None:
    """Two rows of 0.2 and 0.6 in every trial, a percentile of 1: a quarter and three quarters of it."""
    rows = np.array([[0.2] * 8, [0.6] * 8])
    assert shares_near(rows, rows.sum(axis=0), 0.8, 1.0) == pytest.approx([0.25, 0.75], rel=1e-12)
    assert shares_near(0 * rows, np.zeros(8), 0.8, 1.0) == pytest.approx([0.5, 0.5], rel=1e-12)


def _shortfall(totals: np.ndarray, q: float, weights: np.ndarray | None) -> float:  # type: ignore[type-arg]
    """Integrate the worst 1 − q of the weighted distribution, by hand."""
    mass = np.full(totals.size, 1.0) if weights is None else weights
    order = np.argsort(totals)[::-1]
    room = (1 - q) * mass.sum()
    found, left = 0.0, room
    for place in order:
        taken = min(left, mass[place])
        found += taken * totals[place]
        left -= taken
        if left <= 0:
            break
    return float(found / room)


def test_swing_of_a_normal_line() -> None:
    """E[T | x in its highest tenth] = mean + 1.754983 cov / sd, and as much below in the lowest."""
    forecast = simulate(normals([(100, 20), (200, 40)], 0.3), trials=TRIALS)
    covariance = 20 * 20 + 0.3 * 20 * 40
    found = swing(forecast.trials.row("n0"), forecast.trials.totals)
    error = 4 * 44 / np.sqrt(TRIALS / 10)
    assert found.high == pytest.approx(300 + 1.754983 * covariance / 20, abs=error)
    assert found.low == pytest.approx(300 - 1.754983 * covariance / 20, abs=error)
    assert found.width == found.high - found.low


def test_swing_shares_ties_out_evenly() -> None:
    """A row that is zero in eight of ten trials: its lowest tenth is all of those alike."""
    values = np.array([0.0] * 8 + [5, 9])
    totals = np.array([1.0, 2, 3, 4, 5, 6, 7, 8, 20, 30])
    found = swing(values, totals)
    assert (found.low, found.high) == (pytest.approx(4.5), 30)
    assert swing(values, totals, np.ones(10)) == found
