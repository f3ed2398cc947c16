"""Percentiles and their intervals, weights, tails: against published examples and SciPy's conventions."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from forecast.engine.statistics import (
    Estimate,
    expected_shortfall,
    is_enough,
    mean_estimate,
    near_percentile_weights,
    order_statistic_interval,
    order_statistic_ranks,
    percentile,
    percentile_estimates,
    percentiles,
    share_within,
    shares_below,
    tail_weights,
)
from forecast.errors import SimulationError

# Conover, Practical Nonparametric Statistics, 3rd ed.: lifetimes of 16 transistors (data as in rcompanion's pages).
TRANSISTORS = np.array(
    [46.9, 47.2, 49.1, 56.5, 56.8, 59.2, 59.9, 63.2, 63.3, 63.4, 63.7, 64.1, 67.1, 67.7, 73.3, 78.5]
)


@pytest.mark.parametrize(
    ("q", "confidence", "interval"),
    [(0.75, 0.95, (63.2, 78.5)), (0.75, 0.9, (63.3, 78.5)), (0.5, 0.95, (56.5, 67.1))],
)
def test_transistor_lifetimes(q: float, confidence: float, interval: tuple[float, float]) -> None:
    assert order_statistic_interval(TRANSISTORS, q, confidence) == interval


def test_scipys_documentation_example() -> None:
    """scipy.stats.quantile_test, the interval in its documentation: the fourth sample of the example's generator."""
    rng = np.random.default_rng(6981396440634228121)
    for draw in (stats.uniform, stats.norm, stats.uniform):
        draw.rvs(size=100, random_state=rng)
    sample = stats.norm.rvs(size=100, random_state=rng)
    found = order_statistic_interval(sample, 0.75)
    assert found == pytest.approx((0.284491604437432, 0.8912531024914844), abs=1e-12)


@pytest.mark.parametrize("count", [7, 40, 333])
@pytest.mark.parametrize("q", [0.1, 0.5, 0.8, 0.95])
@pytest.mark.parametrize("confidence", [0.8, 0.95])
def test_intervals_are_scipys(count: int, q: float, confidence: float) -> None:
    sample = np.random.default_rng(count).normal(size=count)
    theirs = stats.quantile_test(sample, p=q).confidence_interval(confidence)
    mine = order_statistic_interval(sample, q, confidence)
    for one, other in zip(mine, theirs, strict=True):
        assert one == other or (np.isinf(one) and np.isnan(other))


@pytest.mark.parametrize(
    ("count", "lower", "upper", "cover"),
    [(16, 4, 13, 0.978729), (16, 5, 12, 0.923187), (20, 6, 15, 0.958611), (10, 2, 9, 0.978516)],
)
def test_median_ranks_of_the_textbook_table(count: int, lower: int, upper: int, cover: float) -> None:
    """Table A.7 of the textbooks: the ranks that we give for just that confidence are those of the table."""
    found = stats.binom.cdf(upper - 1, count, 0.5) - stats.binom.cdf(lower - 1, count, 0.5)
    assert found == pytest.approx(cover, abs=1e-6)
    assert order_statistic_ranks(count, 0.5, cover - 1e-4) == (lower, upper)


@pytest.mark.parametrize(
    ("count", "q", "ranks", "cover"),
    [
        (10_000, 0.5, (4902, 5099), 0.951167),
        (10_000, 0.8, (7921, 8079), 0.951732),
        (10_000, 0.9, (8941, 9059), 0.950788),
        (100_000, 0.9, (89814, 90187), 0.950690),
    ],
)
def test_ranks_beside_a_percentile(count: int, q: float, ranks: tuple[int, int], cover: float) -> None:
    """r = Binom.ppf(0.025) and s = Binom.ppf(0.975) + 1; SciPy's rule leaves at most 2.5 % on either side."""
    lower, upper = order_statistic_ranks(count, q)
    assert upper == ranks[1]
    assert lower == ranks[0]
    exact = stats.binom.cdf(ranks[1] - 1, count, q) - stats.binom.cdf(ranks[0] - 1, count, q)
    assert exact == pytest.approx(cover, abs=1e-6)


def test_conovers_quartile_test() -> None:
    """P. 139, example 1: 7 of 15 values are at most 193; chance of so few or fewer 0.0173."""
    values = np.array([189, 233, 195, 160, 212, 176, 231, 185, 199, 213, 202, 193, 174, 166, 248])
    assert np.count_nonzero(values <= 193) == 7
    assert stats.binom.cdf(7, 15, 0.75) == pytest.approx(0.0173, abs=5e-5)
    lower, _ = order_statistic_interval(values, 0.75, 1 - 2 * 0.0173 - 1e-3)
    assert lower >= 193  # at that confidence the upper quartile lies above


def test_smallest_sample_whose_largest_value_bounds_p95() -> None:
    """Wilks (1941): 59 trials, and not 58, for 95 % confidence on one side."""
    assert pytest.approx(0.951505, abs=1e-6) == 1 - 0.95**59
    assert order_statistic_ranks(59, 0.95, 0.9)[1] == 59
    assert order_statistic_ranks(58, 0.95, 0.9)[1] == 59  # one more than there are
    assert order_statistic_interval(np.arange(58.0), 0.95, 0.9)[1] == np.inf


@pytest.mark.parametrize("q", [0.0, 0.1, 0.5, 0.8, 0.9, 1.0])
@pytest.mark.parametrize("count", [1, 10, 1000])
def test_percentile_is_the_smallest_value_that_enough_do_not_exceed(q: float, count: int) -> None:
    values = np.random.default_rng(3).permutation(count).astype(float)
    found = percentile(values, q)
    assert np.mean(values <= found) >= q - 1e-12
    assert found == values.min() or np.mean(values < found) < q
    assert found == np.quantile(values, q, method="inverted_cdf")
    assert percentile(values, q, np.ones(count)) == found


@pytest.mark.parametrize("q", [0.0, 0.1, 0.5, 0.8, 1.0])
@pytest.mark.parametrize("weighted", [False, True])
def test_an_amount_is_enough_from_the_percentile_on(q: float, *, weighted: bool) -> None:
    generator = np.random.default_rng(8)
    values = generator.integers(0, 40, (6, 50)).astype(float)  # many alike
    weights = generator.integers(0, 3, values.shape).astype(float) if weighted else None
    for amount in np.arange(-1.0, 41.0):
        found = is_enough(values, amount, q, weights)
        for place, row in enumerate(values):
            heavy = None if weights is None else weights[place]
            assert found[place] == (percentile(row, q, heavy) <= amount)


def test_weights_count_as_repetitions() -> None:
    generator = np.random.default_rng(5)
    values = generator.normal(size=200)
    times = generator.integers(0, 4, 200)
    repeated, weights = np.repeat(values, times), times.astype(float)
    shares = (0.05, 0.1, 0.5, 0.8, 0.9)
    assert percentiles(values, shares, weights) == percentiles(repeated, shares)
    for q in (0.5, 0.9):
        assert expected_shortfall(values, q, weights) == pytest.approx(expected_shortfall(repeated, q))
    assert mean_estimate(values, 1, weights).value == pytest.approx(repeated.mean())
    assert share_within(values, 0.3, 1, weights).value == pytest.approx(np.mean(repeated <= 0.3))


def test_expected_shortfall_splits_the_trial_at_the_edge() -> None:
    values = np.arange(1.0, 11.0)
    assert expected_shortfall(values, 0.9) == pytest.approx(10)
    assert expected_shortfall(values, 0.85) == pytest.approx((10 * 0.1 + 9 * 0.05) / 0.15)
    assert tail_weights(values, 0.75).sum() == pytest.approx(1)


def test_weights_near_a_percentile_hold_just_that_band() -> None:
    values = np.random.default_rng(1).permutation(1000.0 * np.arange(1000))
    near = near_percentile_weights(values, 0.9, None, 0.02)
    assert near.sum() == pytest.approx(1)
    assert values @ near == pytest.approx(1000 * 899.5)
    assert np.count_nonzero(near) in (40, 41)


@pytest.mark.parametrize("q", [0.1, 0.5, 0.9])
def test_the_error_of_a_percentile_is_that_of_its_formula(q: float) -> None:
    """Of independent trials: √(q (1 − q) / N) / f(x_q); by replicates it is found with about a fifth of itself."""
    formula = np.sqrt(q * (1 - q) / 16_384) / stats.norm.pdf(stats.norm.ppf(q))
    errors = []
    for seed in range(60):
        values = np.random.default_rng(seed).normal(size=16_384)
        errors.append(percentile_estimates(values, (q,), 16)[0].error)
    assert np.sqrt(np.mean(np.square(errors))) == pytest.approx(formula, rel=4 * 0.2 / np.sqrt(60))


@pytest.mark.parametrize("share", [0.6, 0.598, 0.603])
def test_in_a_gap_the_error_of_a_percentile_is_that_of_the_side_it_falls_on(share: float) -> None:
    """Two kinds of outcome, 10,000 and 13,000: P60 is one or the other, by a binomial number of trials."""
    values, errors = [], []
    for seed in range(200):
        dear = np.random.default_rng(seed).random(16_384) >= share
        (found,) = percentile_estimates(np.where(dear, 13_000.0, 10_000.0), (0.6,), 16)
        values.append(found.value)
        errors.append(found.error)
    cheap = stats.binom.sf(np.ceil(0.6 * 16_384) - 1, 16_384, share)
    real = 3000 * np.sqrt(cheap * (1 - cheap))
    assert np.mean(np.array(values) == 10_000) == pytest.approx(cheap, abs=0.15)
    assert np.sqrt(np.mean(np.square(errors))) == pytest.approx(real, rel=0.3)


def test_errors_come_from_the_spread_over_replicates() -> None:
    """Replicates that agree on every share leave no doubt; one alone tells nothing."""
    values = np.tile(np.arange(500.0), 16)
    assert percentile_estimates(values, (0.9,), 16)[0].error == 0
    assert np.isnan(percentile_estimates(values, (0.9,), 1)[0].error)
    drawn = np.random.default_rng(8).normal(size=16 * 500)
    means = drawn.reshape(16, 500).mean(axis=1)
    assert mean_estimate(drawn, 16).error == pytest.approx(np.std(means, ddof=1) / 4)


@pytest.mark.parametrize(
    ("error", "written"),
    [(41.3, "14,292 ± 41"), (0.413, "14,291.70 ± 0.41"), (0.0, "14,291.7 ± 0"), (np.nan, "14,291.7 ± nan")],
)
def test_an_estimate_is_written_to_the_second_digit_of_its_error(error: float, written: str) -> None:
    assert repr(Estimate(14291.7, error)) == written


def test_replicates_that_weigh_differently_are_linearised() -> None:
    """Cochran, Sampling Techniques, 3rd ed., on ratios: R + (y − R x) / mean x, by fractions.

    Masses 2 and 6 with 1 and 2 below: R = 3/8, mean mass 4, so 3/8 + (1 − 6/8) / 4 and 3/8 + (2 − 18/8) / 4.
    """
    to, short_of = shares_below(np.array([0.0, 1, 0, 1]), 0.0, 2, np.array([1.0, 1, 2, 4]))
    assert to == pytest.approx([7 / 16, 5 / 16], rel=1e-12)
    assert short_of == pytest.approx([0, 0], abs=1e-15)


@pytest.mark.parametrize("q", [-0.1, 80])
def test_percentiles_beyond_0_and_1_are_refused(q: float) -> None:
    with pytest.raises(SimulationError, match=r"must be from 0 to 1, such as 0\.8 for P80"):
        percentile(np.arange(3.0), q)
