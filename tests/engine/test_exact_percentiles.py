"""Whole forecasts against published inputs and exact percentiles, within four standard errors."""

from __future__ import annotations

from typing import Any

import pytest

from forecast import Estimate, KnownFacts
from forecast.engine.forecast import Forecast, simulate
from tests.references.portfolios import GAO, PORTFOLIOS, RECEIPT_UPDATE, build_of, normals

TRIALS = 65_536


def within(estimate: Estimate, expected: float, errors: float = 4.0) -> None:
    """Assert that an estimate agrees with the truth within its own simulation error."""
    assert estimate.error > 0
    assert abs(estimate.value - expected) <= errors * estimate.error, (estimate, expected)


def agree(forecast: Forecast, expected: dict[str, Any], names: tuple[str, ...]) -> None:
    for name in names:
        within(forecast.percentile(int(name[1:]) / 100), expected[name])


def pooled(estimates: list[Estimate]) -> Estimate:
    """Average independent runs: eight times sixteen replicates give an error known to a few percent."""
    error = sum(item.error**2 for item in estimates) ** 0.5 / len(estimates)
    return Estimate(sum(item.value for item in estimates) / len(estimates), error)


ALL = ("P05", "P10", "P25", "P50", "P75", "P80", "P90", "P95")


@pytest.mark.parametrize("letter", ["A", "B", "C"])
def test_independent_portfolios(letter: str) -> None:
    portfolio = PORTFOLIOS[letter]
    expected = portfolio["independent"]
    runs = [simulate(build_of(portfolio["items"], 0), trials=TRIALS, seed=seed) for seed in range(1, 9)]
    for name in ALL:
        within(pooled([run.percentile(int(name[1:]) / 100) for run in runs]), expected[name])
    within(pooled([run.mean for run in runs]), expected["mean"])
    forecast = runs[0]
    assert forecast.standard_deviation == pytest.approx(expected["sd"], rel=0.01)
    base = expected["base_estimate_sum_of_modes_or_medians_without_events"]
    assert forecast.base_estimate == pytest.approx(base, abs=1e-3)
    within(forecast.chance_within(base), expected["prob_total_le_base"])
    assert forecast.expected_shortfall(0.9) == pytest.approx(
        expected["expected_shortfall_above_P90"], rel=0.003
    )


@pytest.mark.parametrize("letter", ["A", "B"])
def test_correlated_portfolios(letter: str) -> None:
    portfolio = PORTFOLIOS[letter]
    expected = portfolio["correlated"]
    forecast = simulate(build_of(portfolio["items"], expected["rho_latent"]), trials=TRIALS, seed=6)
    agree(forecast, expected, ALL)
    within(forecast.mean, expected["mean"])


@pytest.mark.parametrize("letter", ["A", "B", "C"])
def test_tail_means_and_variance_shares_by_line(letter: str) -> None:
    portfolio = PORTFOLIOS[letter]
    expected = portfolio["independent"]
    forecast = simulate(build_of(portfolio["items"], 0), trials=262_144, seed=7)
    tail = forecast.tail_means(0.9)
    assert sum(tail.values()) == pytest.approx(forecast.expected_shortfall(0.9), rel=1e-12)
    for place, mean in enumerate(expected["item_mean_given_total_above_P90"]):
        assert tail[f"i{place}"] == pytest.approx(mean, rel=0.01, abs=6)
    shares = {line.id: line.variance_share for line in forecast.lines}
    assert sum(shares.values()) == pytest.approx(1, abs=1e-12)
    for place, share in enumerate(expected["item_variance_share"]):
        assert shares[f"i{place}"] == pytest.approx(share, abs=0.006)


def test_a_published_cost_table_through_a_build_file() -> None:
    """GAO-20-195G, Table 12: the sum of the modes is enough in one of eight, or of six, not in half."""
    independent = simulate(build_of(GAO["items"], 0), trials=TRIALS, seed=8)
    assert independent.base_estimate == pytest.approx(77_092)
    within(independent.chance_within(77_092), 0.1258)
    agree(independent, GAO["independent"], ALL)
    copula = GAO["one_factor_gaussian_copula"]
    for correlation in (0.25, 0.3, 0.9):
        forecast = simulate(build_of(GAO["items"], correlation), trials=TRIALS, seed=9)
        expected = copula[str(correlation)]
        within(forecast.chance_within(77_092), expected["prob_total_le_sum_of_modes"])
        agree(forecast, expected, ("P10", "P50", "P80", "P90"))


def test_adding_up_p90s_is_not_the_p90() -> None:
    forecast = simulate(build_of(GAO["items"], 0), trials=TRIALS, seed=8)
    added = sum(line.p90 or 0 for line in forecast.lines)
    assert added == pytest.approx(GAO["comonotone"]["P90_sum"], rel=0.002)
    assert added > forecast.percentile(0.9).value + 2_500


def test_receipts_update_the_rest_exactly() -> None:
    """Two dear receipts in portfolio A at correlation 0.3, against conditional convolution."""
    receipts = RECEIPT_UPDATE["receipts"]
    known = KnownFacts({"i0": receipts["body kit, landed"], "i1": receipts["freight and crating"]})
    build = build_of(PORTFOLIOS["A"]["items"], 0.3)
    forecast = simulate(build, trials=TRIALS, seed=10, known=known)
    agree(forecast, RECEIPT_UPDATE, ("P05", "P10", "P25", "P50", "P75", "P80", "P90", "P95"))
    within(forecast.mean, RECEIPT_UPDATE["total_mean"])


@pytest.mark.parametrize(
    ("lines", "sd", "low", "high"),
    [
        pytest.param([(0, 1)] * 4, 2.0, -3.919928, 3.919928, id="9.2.2 normal"),
    ],
)
def test_jcgm_101_normal_sum(lines: list[tuple[float, float]], sd: float, low: float, high: float) -> None:
    """JCGM 101:2008, 9.2.2, Table 2 prints ±3.92; the digits follow from the normal distribution."""
    forecast = simulate(normals(lines), trials=TRIALS, seed=11)
    assert forecast.standard_deviation == pytest.approx(sd, rel=0.01)
    within(forecast.percentile(0.025), low)
    within(forecast.percentile(0.975), high)


@pytest.mark.parametrize(
    ("widest", "sd", "end"),
    [
        pytest.param(1, 2.0, 3.8794067, id="9.2.3 rectangular"),
        pytest.param(10, 10.148892, 17.015814, id="9.2.4 one ten times wider"),
    ],
)
def test_jcgm_101_rectangular_sums(widest: float, sd: float, end: float) -> None:
    """JCGM 101:2008, 9.2.3 Table 3 (printed ±3.88) and 9.2.4 Table 4 (printed ±17.0, from memory)."""
    half = 3**0.5
    items = [{"kind": "uniform", "min": -half * size, "max": half * size} for size in (1, 1, 1, widest)]
    forecast = simulate(build_of(items, 0), trials=TRIALS, seed=12)
    assert forecast.standard_deviation == pytest.approx(sd, rel=0.01)
    within(forecast.percentile(0.025), -end)
    within(forecast.percentile(0.975), end)


NORMAL_LINES = [(100.0, 20.0), (200.0, 40.0), (300.0, 60.0)]


def test_one_receipt_among_correlated_normals() -> None:
    """Conditional normal distribution, mean + S21 S11⁻¹ (x − mean): closed form."""
    build = normals(NORMAL_LINES, 0.3)
    forecast = simulate(build, trials=TRIALS, seed=13, known=KnownFacts({"n0": 130.0}))
    within(forecast.mean, 675.0)
    assert forecast.standard_deviation == pytest.approx(75.762788, rel=0.01)
    within(forecast.percentile(0.8), 738.763571)
    within(forecast.percentile(0.9), 772.093919)
    second, third = forecast.trials.row("n1"), forecast.trials.row("n2")
    assert second.mean() == pytest.approx(218, abs=1)
    assert third.mean() == pytest.approx(327, abs=1.5)
    assert second.std() == pytest.approx(38.157568, rel=0.01)
    import numpy as np

    assert np.corrcoef(second, third)[0, 1] == pytest.approx(0.230769, abs=0.02)


def test_two_receipts_among_correlated_normals() -> None:
    build = normals(NORMAL_LINES, 0.3)
    forecast = simulate(build, trials=TRIALS, seed=14, known=KnownFacts({"n0": 130.0, "n1": 190.0}))
    third = forecast.trials.row("n2")
    assert third.mean() == pytest.approx(317.307692, abs=1)
    assert third.std() == pytest.approx(55.691458, rel=0.01)


def test_euler_shares_of_normals() -> None:
    """Closed form: mean + cov/sd · φ(z)/(1 − p), and cov(x, T)/var T."""
    forecast = simulate(normals(NORMAL_LINES, 0.3), trials=262_144, seed=15)
    tail = forecast.tail_means(0.9)
    for name, expected in zip(("n0", "n1", "n2"), (119.333451, 249.493635, 390.480552), strict=True):
        assert tail[name] == pytest.approx(expected, abs=1.0)
    shares = [line.variance_share for line in forecast.lines]
    assert shares == pytest.approx([0.121359, 0.310680, 0.567961], abs=0.004)


@pytest.mark.parametrize(("count", "correlation"), [(10, 0.25), (20, 0.3), (30, 0.2)])
def test_correlation_widens_a_sum_as_algebra_says(count: int, correlation: float) -> None:
    """n equal standard deviations: sd of the sum is √(n (1 + (n − 1) ρ))."""
    forecast = simulate(normals([(10, 1)] * count, correlation), trials=TRIALS, seed=16)
    expected = (count * (1 + (count - 1) * correlation)) ** 0.5
    assert forecast.standard_deviation == pytest.approx(expected, rel=0.012)
