"""Shares, swings and first-order indices against closed forms, SALib's functions and exact tails."""

from __future__ import annotations

import numpy as np
import pytest
from SALib.test_functions import Ishigami, Sobol_G
from scipy import stats

from forecast.engine.draws import column
from forecast.engine.forecast import simulate
from forecast.engine.sensitivity import first_order_index, shares_near, swing, tail_shares, variance_shares
from tests.references.portfolios import normals

TRIALS = 131_072


def uniform(count: int, seed: int) -> np.ndarray:  # type: ignore[type-arg]
    return np.array([stats.norm.cdf(column(seed, 0, f"x{place}", TRIALS, {})) for place in range(count)])


def test_first_order_indices_of_ishigamis_function() -> None:
    """Ishigami & Homma (1990), a = 7, b = 0.1: mean 3.5, variance 13.844588, indices .313905, .442411, 0."""
    inputs = np.pi * (2 * uniform(3, 1) - 1)
    output = Ishigami.evaluate(inputs.T)
    assert output.mean() == pytest.approx(3.5, abs=4 * np.sqrt(13.844588 / TRIALS))
    assert output.var() == pytest.approx(13.844588, rel=0.02)
    found = [first_order_index(values, output, 64) for values in inputs]
    assert found == pytest.approx([0.313905, 0.442411, 0], abs=0.01)


def test_first_order_indices_of_sobols_g_function() -> None:
    """Saltelli & Sobol' (1995), a = 0, 1, 4.5, 9, 99, 99, 99, 99; closed form of the same library."""
    weights = np.array([0, 1, 4.5, 9, 99, 99, 99, 99])
    inputs = uniform(8, 2)
    output = Sobol_G.evaluate(inputs.T, weights)
    closed = Sobol_G.sensitivity_index(weights)
    assert closed[:4] == pytest.approx([0.716192, 0.179048, 0.023676, 0.007162], abs=1e-6)
    assert output.var() == pytest.approx(0.465424, rel=0.02)
    assert [first_order_index(values, output, 64) for values in inputs] == pytest.approx(closed, abs=0.01)


def test_a_figure_without_effect_and_an_output_that_does_not_vary() -> None:
    inputs = uniform(2, 3)
    assert first_order_index(inputs[0], inputs[1]) == pytest.approx(0, abs=0.002)
    assert first_order_index(inputs[0], np.ones(TRIALS)) == 0


def test_what_chance_puts_between_bins_is_taken_off() -> None:
    """In small samples too the index of a figure without effect is nothing on average, and not (bins − 1) / N."""
    rng = np.random.default_rng(5)
    found = [first_order_index(*rng.standard_normal((2, 256)), bins=16) for _ in range(400)]
    assert np.mean(found) == pytest.approx(0, abs=4 * np.std(found) / np.sqrt(400))
    assert 8 * np.std(found) / np.sqrt(400) < 15 / 256  # the test can tell one from the other


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
