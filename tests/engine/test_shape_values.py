"""Shapes against closed forms and published formulas; the numbers follow from the stated inputs."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import integrate, stats

from forecast.engine.shapes import (
    Exact,
    Flat,
    Gaussian,
    Metalog,
    Pert,
    Shape,
    Steps,
    Triangle,
    TwoPieceLognormal,
    lognormal,
    lognormal_from_percentiles,
    quoted,
    three_percentiles,
)
from forecast.engine.tables import TOLERANCE, Table, sampler, table_error


def test_beta_pert_has_its_own_variance_and_not_the_rule_of_thumb() -> None:
    """Mean (a + 4m + b)/6 (Malcolm et al. 1959) and variance (mean − a)(b − mean)/7 of the beta form."""
    mean, variance = Pert(10, 13, 22).moments
    assert mean == pytest.approx(14, rel=1e-9)
    assert variance == pytest.approx(32 / 7, rel=1e-7)
    assert Pert(0, 5, 10).moments[1] == pytest.approx(3.571429, rel=1e-6)
    assert [Pert(10, 13, 22).percentile(q) for q in (0.1, 0.5, 0.8, 0.9)] == pytest.approx(
        [11.346820, 13.765722, 15.882308, 17.006684], rel=1e-7
    )
    skewed = Pert(100, 120, 300)
    assert skewed.exponents == pytest.approx((1.4, 4.6))
    assert math.sqrt(skewed.moments[1]) == pytest.approx(31.972210, rel=1e-6)
    assert [skewed.percentile(q) for q in (0.1, 0.5, 0.8, 0.9)] == pytest.approx(
        [110.158555, 140.532970, 173.255825, 192.465950], rel=1e-7
    )


def test_triangle_percentiles() -> None:
    """Closed form of the triangular distribution."""
    shape = Triangle(100, 120, 180)
    assert [shape.percentile(q) for q in (0.1, 0.25, 0.5, 0.8, 0.9)] == pytest.approx(
        [112.649111, 120, 131.010205, 149.016133, 158.091098], rel=1e-8
    )
    mean, variance = shape.moments
    assert (mean, math.sqrt(variance)) == pytest.approx((133.333333, 16.996732), rel=1e-6)


def test_lognormal_from_two_percentiles() -> None:
    """Closed form: sigma = ln(P90/P10) / (2 · 1.2815516)."""
    shape = lognormal_from_percentiles(700, 1400)
    assert isinstance(shape, TwoPieceLognormal)
    assert shape.sigma_low == pytest.approx(0.270432809, rel=1e-8)
    assert shape.median == pytest.approx(989.949494, rel=1e-8)
    mean, variance = shape.moments
    assert (mean, math.sqrt(variance)) == pytest.approx((1026.818923, 282.840793), rel=1e-7)
    assert shape.percentile(0.8) == pytest.approx(1242.966226, rel=1e-8)


def test_lognormal_from_mean_and_coefficient_of_variation() -> None:
    sigma = math.sqrt(math.log(1 + 0.3**2))
    shape = lognormal(1000 * math.exp(-(sigma**2) / 2), sigma)
    assert shape.percentile(0.5) == pytest.approx(957.826285, rel=1e-8)
    assert shape.percentile(0.9) == pytest.approx(1395.320190, rel=1e-8)


def test_unbounded_metalog() -> None:
    """Keelin 2016, Decision Analysis 13(4), 6.2.1 (formulas from memory; values are their integrals)."""
    shape = Metalog(700, 1000, 1600)
    assert shape.coefficients[1:] == pytest.approx((204.803826, 170.669855), rel=1e-8)
    assert [shape.percentile(q) for q in (0.05, 0.25, 0.75, 0.8, 0.95)] == pytest.approx(
        [623.104770, 821.875, 1271.875, 1354.897986, 1829.169506], rel=1e-8
    )
    mean, variance = shape.moments
    assert mean == pytest.approx(1085.334927, rel=1e-6)
    assert variance == pytest.approx(148405.2376, rel=1e-4)


def test_metalog_bounded_below_by_zero() -> None:
    shape = Metalog(700, 1000, 1600, lower=0)
    assert shape.coefficients == pytest.approx((6.907755, 0.188119, 0.064473), abs=1e-6)
    assert [shape.percentile(q) for q in (0.05, 0.25, 0.75, 0.8, 0.95)] == pytest.approx(
        [625.954062, 827.817933, 1251.543075, 1333.225866, 1895.211529], rel=1e-8
    )
    assert shape.moments[0] == pytest.approx(1100.703331, rel=1e-5)


@pytest.mark.parametrize(
    ("ratio", "feasible"), [(0.1664, False), (0.1668, True), (0.5, True), (0.8332, True), (0.8336, False)]
)
def test_metalog_is_feasible_where_its_density_is_positive(ratio: float, feasible: bool) -> None:
    """Limits 0.166578 and 0.833422, recomputed from the density (Keelin 2016 gives the same set)."""
    assert Metalog(0, ratio, 1).feasible is feasible


def test_three_point_weights_of_a_normal() -> None:
    """Keefer & Bodily 1983 (weights from memory): P10/P50/P90 at 0.3/0.4/0.3 give 0.985425 of the variance."""
    shape = Gaussian(0, 1)
    variance = 0.3 * (shape.percentile(0.1) ** 2 + shape.percentile(0.9) ** 2)
    assert variance == pytest.approx(0.985425, abs=1e-6)


RANGES = [
    (700, 1000, 1600),
    (100, 350, 1200),
    (40, 60, 120),
    (3.5, 5.5, 11),
    (50, 60, 400),
    (50, 380, 400),
    (1, 1.01, 1.03),
]


@pytest.mark.parametrize("stated", RANGES)
def test_low_middle_high_are_met_exactly_and_stay_positive(stated: tuple[float, float, float]) -> None:
    shape = three_percentiles(*stated)
    assert [shape.percentile(q) for q in (0.1, 0.5, 0.9)] == pytest.approx(stated, rel=1e-9)
    values = shape.ppf(np.linspace(-8, 8, 4001))
    assert np.all(values > 0)
    assert np.all(np.diff(values) > 0)
    assert np.isfinite(shape.moments[1])


def test_a_range_too_wide_for_a_variance_is_two_piece() -> None:
    assert isinstance(three_percentiles(700, 1000, 1600), Metalog)
    assert isinstance(three_percentiles(100, 350, 1200), TwoPieceLognormal)
    assert isinstance(three_percentiles(50, 60, 400), TwoPieceLognormal)


def test_quotes_are_spread_around_their_geometric_mean() -> None:
    """Predictive standard deviation of a normal sample of n logarithms: s √(1 + 1/n)."""
    shape = quoted((400.0, 440.0, 520.0))
    logs = np.log([400, 440, 520])
    assert isinstance(shape, TwoPieceLognormal)
    assert shape.median == pytest.approx(math.exp(logs.mean()))
    assert shape.sigma_low == pytest.approx(logs.std(ddof=1) * math.sqrt(4 / 3))
    assert quoted((300.0, 300.0)) == Exact(pytest.approx(300.0))


SHAPES: list[tuple[Shape, object]] = [
    (Gaussian(5, 2), stats.norm(5, 2)),
    (lognormal(1000, 0.3), stats.lognorm(0.3, scale=1000)),
    (Triangle(100, 120, 180), stats.triang(0.25, 100, 80)),
    (Triangle(0, 0, 1), stats.triang(0, 0, 1)),
    (Triangle(0, 1, 1), stats.triang(1, 0, 1)),
    (Pert(10, 13, 22), stats.beta(2, 4, 10, 12)),
    (Pert(0, 0, 1), stats.beta(1, 5)),
    (Flat(-1, 3), stats.uniform(-1, 4)),
]
"""Shapes with the same distribution in SciPy."""


@pytest.mark.parametrize(("shape", "reference"), SHAPES, ids=lambda item: type(item).__name__)
def test_shapes_are_scipys(shape: Shape, reference: stats.rv_continuous) -> None:
    z = np.linspace(-5, 5, 201)
    span = shape.percentile(0.9) - shape.percentile(0.1)
    assert shape.ppf(z) == pytest.approx(reference.ppf(stats.norm.cdf(z)), abs=1e-6 * span)
    mean, variance = shape.moments
    assert mean == pytest.approx(reference.mean(), rel=1e-6, abs=1e-9)
    assert variance == pytest.approx(reference.var(), rel=1e-5)


CONTRACT: list[Shape] = [shape for shape, _ in SHAPES]
CONTRACT += [three_percentiles(*stated) for stated in RANGES]
CONTRACT += [
    Metalog(700, 1000, 1600),
    Metalog(3, 5, 8, lower=0, upper=10),
    Metalog(3, 5, 8, upper=10),
    Metalog(700, 1000, 1600, lower=100),
]


@pytest.mark.parametrize("shape", CONTRACT, ids=repr)
class TestContract:
    """What every continuous shape promises."""

    def test_the_quantile_function_rises(self, shape: Shape) -> None:
        values = shape.ppf(np.linspace(-6, 6, 2001))
        assert np.all(np.diff(values) >= 0)

    def test_the_score_is_its_inverse(self, shape: Shape) -> None:
        for z in (-2.5, -1.0, -0.1, 0.0, 0.4, 1.3, 2.9):
            value = float(shape.ppf(np.array([z]))[0])
            assert shape.score(value) == pytest.approx(z, abs=1e-6)

    def test_moments_agree_with_quadrature(self, shape: Shape) -> None:
        def weighted(power: int) -> float:
            def density(z: float) -> float:
                return float(shape.ppf(np.array([z]))[0]) ** power * float(stats.norm.pdf(z))

            value, _ = integrate.quad(density, -8.5, 8.5, limit=400, points=[0.0])
            return float(value)

        mean, variance = shape.moments
        first, second = weighted(1), weighted(2)
        assert mean == pytest.approx(first, rel=1e-5, abs=1e-7)
        assert variance == pytest.approx(second - first**2, rel=1e-3)

    def test_the_fast_way_is_within_a_millionth_of_the_span(self, shape: Shape) -> None:
        draw = sampler(shape)
        if isinstance(draw, Table):
            assert table_error(shape, draw) < TOLERANCE
        z = np.linspace(-4, 4, 3001)
        span = shape.percentile(0.9) - shape.percentile(0.1)
        assert np.max(np.abs(draw(z.copy()) - shape.ppf(z))) < TOLERANCE * span

    def test_samples_follow_its_own_distribution(self, shape: Shape) -> None:
        scores = np.random.default_rng(3).standard_normal(4000)
        values = sampler(shape)(scores.copy())
        back = np.array([shape.score(float(value)) for value in values[:400]])
        assert stats.kstest(back, "norm").pvalue > 1e-3


def test_discrete_values_come_with_their_chances() -> None:
    shape = Steps((10.0, 20.0, 50.0), (0.5, 0.3, 0.2))
    values = shape.ppf(np.random.default_rng(4).standard_normal(100_000))
    for value, chance in zip(shape.values, shape.chances, strict=True):
        assert np.mean(values == value) == pytest.approx(
            chance, abs=4 * math.sqrt(chance * (1 - chance) / 100_000)
        )
    assert shape.middle == 10
    assert shape.score(20) == pytest.approx(stats.norm.ppf(0.65))


def test_a_triangle_whose_stated_ends_are_percentiles() -> None:
    """Two equations solved: P10 110, mode 120, P90 160 need ends 95.166406 and 183.770378."""
    shape = Triangle(95.166406, 120, 183.770378)
    assert [shape.percentile(q) for q in (0.1, 0.9)] == pytest.approx([110, 160], abs=1e-5)
    assert shape.moments[0] == pytest.approx(132.978929, abs=1e-5)


THREE_POINTS = {
    "P5/P50/P95": ((0.05, 0.5, 0.95), (0.185, 0.63, 0.185)),
    "P10/P50/P90": ((0.1, 0.5, 0.9), (0.3, 0.4, 0.3)),
    "P10/P50/P90 at quarters": ((0.1, 0.5, 0.9), (0.25, 0.5, 0.25)),
}


@pytest.mark.parametrize(
    ("shape", "weights", "mean_error", "variance_error"),
    [
        (lognormal(1, 0.5), "P5/P50/P95", -0.0709, -6.264),
        (lognormal(1, 0.5), "P10/P50/P90", -0.503, -19.713),
        (lognormal(1, 0.5), "P10/P50/P90 at quarters", -2.377, -32.475),
        (Pert(0, 0.25, 1), "P5/P50/P95", 0.0387, 0.417),
        (Pert(0, 0.25, 1), "P10/P50/P90", 0.3085, 5.999),
        (Pert(0, 0.25, 1), "P10/P50/P90 at quarters", -0.719, -11.483),
    ],
)
def test_three_point_rules_miss_by_what_is_known(
    shape: Shape, weights: str, mean_error: float, variance_error: float
) -> None:
    """Keefer & Bodily 1983, Pearson & Tukey 1965 and the quarter-half-quarter rule; weights from memory."""
    shares, masses = THREE_POINTS[weights]
    points = np.array([shape.percentile(q) for q in shares])
    mean = float(points @ masses)
    variance = float((points - mean) ** 2 @ masses)
    assert 100 * (mean / shape.moments[0] - 1) == pytest.approx(mean_error, abs=2e-3)
    assert 100 * (variance / shape.moments[1] - 1) == pytest.approx(variance_error, abs=2e-3)
