"""How far a percentile moves: closed forms for normals, NumPy's weighted fit, and steps that must not be smoothed."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtri

from forecast.build.buildfile import parse_build
from forecast.decide.paired import WINDOW, forecast_change, local_line, percentile_change
from forecast.engine.forecast import simulate
from forecast.engine.known import KnownFacts
from forecast.engine.shapes import Array
from forecast.engine.statistics import percentiles
from tests.decide.sample import SMALL, small

REPLICATES = 16
N = 16_384


def test_the_line_is_numpys_weighted_line() -> None:
    values = np.sort(np.random.default_rng(3).gamma(3.0, size=4000))
    orders = (np.arange(values.size) + 0.5) / values.size
    inside = np.abs(orders - 0.8) < WINDOW
    kernel = 1 - ((orders[inside] - 0.8) / WINDOW) ** 2
    scores = ndtri(orders[inside]) - ndtri(0.8)
    line = np.polyfit(scores, values[inside], 1, w=np.sqrt(kernel))
    (value,), (scatter,) = local_line(values[None], 0.8, WINDOW)
    assert value == pytest.approx(line[1], rel=1e-12)
    left = values[inside] - np.polyval(line, scores)
    assert scatter == pytest.approx(np.sqrt(np.average(left**2, weights=kernel)), rel=1e-9)


def a_line_swapped(seed: int, spread: float) -> tuple[Array, Array]:
    """Give totals that share a normal part, and differ in a normal part of their own of that spread."""
    draw = np.random.default_rng(seed)
    shared = draw.standard_normal(N)
    return shared + spread * draw.standard_normal(N), shared + spread * draw.standard_normal(N) + 0.1


@pytest.mark.parametrize("q", [0.5, 0.8, 0.9, 0.95])
def test_normals_with_a_line_swapped(q: float) -> None:
    """Both totals are normal with the same spread, so that every percentile moves by 0.1: unbiased, errors told truly,
    and less than half the error of the plain difference."""
    seeds = range(120)
    values, errors, plain = [], [], []
    for seed in seeds:
        before, after = a_line_swapped(seed, 0.02)
        found = percentile_change(before, after, q, REPLICATES)
        values.append(found.value)
        errors.append(found.error)
        plain.append(percentiles(after, (q,))[0] - percentiles(before, (q,))[0])
    spread = float(np.std(values, ddof=1))
    assert np.mean(values) == pytest.approx(0.1, abs=4 * spread / np.sqrt(len(seeds)))
    # Relative standard errors: of a spread of 120 values 0.065, of the mean of 120 variances of 15 degrees 0.033.
    assert np.sqrt(np.mean(np.square(errors))) == pytest.approx(spread, rel=4 * np.hypot(0.065, 0.033))
    assert spread < 0.5 * float(np.std(plain, ddof=1))


def test_a_wider_normal_moves_by_its_score() -> None:
    scores = np.random.default_rng(7).standard_normal(N)
    found = percentile_change(scores, 1.2 * scores, 0.9, REPLICATES)
    assert found.value == pytest.approx(0.2 * ndtri(0.9), abs=4 * found.error + 1e-4)


@pytest.mark.parametrize("happens", [0.14, 0.15, 0.16, 0.17, 0.18, 0.19])
def test_what_can_take_few_values_keeps_the_plain_difference(happens: float) -> None:
    for seed in range(20):
        rank = np.random.default_rng(seed).permutation(N)
        before = np.where(rank < (1 - happens) * N, 1000.0, 6000.0)
        after = np.where(rank < (1 - happens) * N, 1000.0, 2000.0)
        assert percentile_change(before, after, 0.8, REPLICATES).value == 0
        assert percentile_change(before, after, 0.9, REPLICATES).value == -4000


@pytest.mark.parametrize("chance", [0.15, 0.16, 0.17])
def test_a_step_within_the_window_is_not_smeared(chance: float) -> None:
    """An event that costs 6000, or 2000, on top of a narrow spread: nothing moves at P80, and all of 4000 at P90."""
    for seed in range(20):
        draw = np.random.default_rng(seed)
        narrow, happens = draw.normal(1000, 20, N), draw.permutation(N) < chance * N
        before, after = narrow + 6000 * happens, narrow + 2000 * happens
        assert abs(percentile_change(before, after, 0.8, REPLICATES).value) < 1
        assert percentile_change(before, after, 0.9, REPLICATES).value == pytest.approx(-4000, abs=1)


def test_few_trials_have_no_line_to_fit() -> None:
    before = np.arange(64.0)
    found = percentile_change(before, before**2, 0.8, REPLICATES)
    assert found.value == percentiles(before**2, (0.8,))[0] - percentiles(before, (0.8,))[0]


def test_one_replicate_tells_no_error() -> None:
    before = np.random.default_rng(1).standard_normal(1000)
    found = percentile_change(before, before + 1, 0.8, 1)
    assert found.value == pytest.approx(1)
    assert np.isnan(found.error)


def test_forecasts_that_share_no_draws_have_the_error_of_two_runs() -> None:
    build = small()
    dearer = parse_build(SMALL.replace("middle = 2800, high = 4200", "middle = 2900, high = 4350"))
    one, two = simulate(build, "diy"), simulate(dearer, "diy", seed=2)
    apart = forecast_change(one, two, 0.8)
    was, now = one.percentile(0.8), two.percentile(0.8)
    assert apart.value == now.value - was.value
    assert apart.error == pytest.approx(np.hypot(was.error, now.error))
    assert forecast_change(one, simulate(dearer, "diy"), 0.8).error < 0.25 * apart.error
    weighted = simulate(build, "diy", known=KnownFacts(gates={"poor_fit": True}))
    assert weighted.trials.weights is not None
    assert forecast_change(one, weighted, 0.8).error >= one.percentile(0.8).error
