"""Shapes against closed forms and published formulas; the numbers follow from the stated inputs."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from forecast.engine.tabulated import TOLERANCE, TabulatedValues, sampler, table_error
from forecast.figures.shapes import (
    ONE_QUOTE_SPREAD,
    SCORE_LIMIT,
    Z90,
    Array,
    Exact,
    Flat,
    Gaussian,
    Johnson,
    MetalogShape,
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
    shape = MetalogShape(700, 1000, 1600)
    assert shape.coefficients[1:] == pytest.approx((204.803826, 170.669855), rel=1e-8)
    assert [shape.percentile(q) for q in (0.05, 0.25, 0.75, 0.8, 0.95)] == pytest.approx(
        [623.104770, 821.875, 1271.875, 1354.897986, 1829.169506], rel=1e-8
    )
    mean, variance = shape.moments
    assert mean == pytest.approx(1085.334927, rel=1e-6)
    assert variance == pytest.approx(148405.2376, rel=1e-4)


def test_metalog_bounded_below_by_zero() -> None:
    shape = MetalogShape(700, 1000, 1600, lower=0)
    assert shape.coefficients == pytest.approx((6.907755, 0.188119, 0.064473), abs=1e-6)
    assert [shape.percentile(q) for q in (0.05, 0.25, 0.75, 0.8, 0.95)] == pytest.approx(
        [625.954062, 827.817933, 1251.543075, 1333.225866, 1895.211529], rel=1e-8
    )
    assert shape.moments[0] == pytest.approx(1100.703331, rel=1e-5)


def keelin(low: float, middle: float, high: float, logit: float, share: float) -> float:
    """Give Q = a1 + a2 L + a3 (y − 1/2) L of the metalog through P10, P50 and P90 at share y, L = ln(y / (1 − y)).

    Keelin 2016, Decision Analysis 13(4), 6.2.1, the formulas for a symmetric triplet with α = 0.1 (from memory).
    """
    place, odds = (middle - low) / (high - low), math.log(0.9 / 0.1)
    second = (high - low) / (2 * odds)
    third = (1 - 2 * place) * (high - low) / ((1 - 2 * 0.1) * odds)
    return middle + second * logit + third * (share - 0.5) * logit


BOUNDS: list[tuple[dict[str, float], Callable[[float], float], Callable[[float], float]]] = [
    ({}, lambda x: x, lambda q: q),
    ({"lower": 1}, lambda x: math.log(x - 1), lambda q: 1 + math.exp(q)),
    ({"upper": 12}, lambda x: -math.log(12 - x), lambda q: 12 - math.exp(-q)),
    (
        {"lower": 1, "upper": 12},
        lambda x: math.log((x - 1) / (12 - x)),
        lambda q: (1 + 12 * math.exp(q)) / (1 + math.exp(q)),
    ),
]
"""Bounds, what the metalog is fitted to, and the way back (Keelin 2016, sections 4.1 to 4.3, from memory)."""


@pytest.mark.parametrize("tail", [0.1, 0.04, 1e-3, 1e-6, 1e-12])
@pytest.mark.parametrize("middle", [4.2, 5.0, 6.1])
@pytest.mark.parametrize(("bounds", "fitted", "back"), BOUNDS)
def test_both_tails_of_a_metalog_follow_the_published_formula(
    bounds: dict[str, float],
    fitted: Callable[[float], float],
    back: Callable[[float], float],
    middle: float,
    tail: float,
) -> None:
    shape = MetalogShape(3, middle, 8, **bounds)
    logit = math.log1p(-tail) - math.log(tail)
    points = (fitted(3), fitted(middle), fitted(8))
    wanted = [back(keelin(*points, -logit, tail)), back(keelin(*points, logit, 1 - tail))]
    score = float(stats.norm.isf(tail))
    assert list(shape.ppf(np.array([-score, score]))) == pytest.approx(wanted, rel=1e-9)


@pytest.mark.parametrize("middle", [4.2, 6.1])
def test_the_tails_of_a_metalog_bounded_below_are_powers(middle: float) -> None:
    """From the formula: P(X > x) falls as x^(−1 / (a2 + a3/2)), and P(X < x) as x^(1 / (a2 − a3/2)) with bound zero."""
    shape = MetalogShape(3, middle, 8, lower=0)
    low, high = math.log(middle / 3), math.log(8 / middle)
    a2, a3 = (low + high) / (2 * math.log(9)), (high - low) / (0.8 * math.log(9))
    near, far = (float(stats.norm.isf(tail)) for tail in (1e-9, 1e-13))
    decades = math.log(1e4)
    upper = float(np.diff(np.log(shape.ppf(np.array([near, far]))))[0]) / decades
    lower = float(np.diff(np.log(shape.ppf(np.array([-far, -near]))))[0]) / decades
    assert upper == pytest.approx(a2 + a3 / 2, rel=1e-6)
    assert lower == pytest.approx(a2 - a3 / 2, rel=1e-6)


@pytest.mark.parametrize(
    ("ratio", "feasible"), [(0.1664, False), (0.1668, True), (0.5, True), (0.8332, True), (0.8336, False)]
)
def test_metalog_is_feasible_where_its_density_is_positive(ratio: float, feasible: bool) -> None:
    """Limits 0.166578 and 0.833422, recomputed from the density (Keelin 2016 gives the same set)."""
    assert MetalogShape(0, ratio, 1).feasible is feasible


@pytest.mark.parametrize("stated", [(4.5, 10, 33.2), (3, 10, 30), (1, 10, 11), (9, 10, 90)])
def test_low_middle_high_leave_the_total_a_variance(stated: tuple[float, float, float]) -> None:
    """P(X > x) falls faster than x^−2, however wide or lopsided the range."""
    near, far = (float(stats.norm.isf(tail)) for tail in (1e-9, 1e-13))
    logs = np.log(three_percentiles(*stated).ppf(np.array([near, far])))
    assert float(logs[1] - logs[0]) / math.log(1e4) < 0.5


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


def as_published(low: float, middle: float, high: float, z: Array) -> Array:
    """J-QPD-S with lower bound zero as Hadlock & Bickel (2017), Decision Analysis 14(1), write it, on the score z.

    x = θ exp(λ sinh(arcsinh(δ z) + arcsinh(n c δ))), c = Φ⁻¹(0.9), n = sgn(L + H − 2B) with the logarithms L, B and H
    of the three points; θ is low where n = 1 and high where n = −1.
    """
    bottom, centre, top = math.log(low), math.log(middle), math.log(high)
    sign = math.copysign(1, bottom + top - 2 * centre)
    least = min(centre - bottom, top - centre)
    delta = math.sinh(math.acosh((top - bottom) / (2 * least))) / Z90
    scale = least / (delta * Z90)
    exponent = scale * np.sinh(np.arcsinh(delta * z) + math.asinh(sign * Z90 * delta))
    return (low if sign > 0 else high) * np.exp(exponent)


UPWARD = [(700, 1000, 1600), (40, 60, 120), (3.5, 5.5, 11), (50, 60, 400), (1, 1.01, 1.03), (100, 300, 901)]
"""Ranges with low · high above middle²."""


@pytest.mark.parametrize("stated", UPWARD)
def test_an_upward_range_is_the_published_shape(stated: tuple[float, float, float]) -> None:
    shape = three_percentiles(*stated)
    assert isinstance(shape, Johnson)
    z = np.linspace(-6, 6, 241)
    assert shape.ppf(z) == pytest.approx(as_published(*stated, z), rel=1e-9)
    assert as_published(*stated, np.array([-Z90, 0, Z90])) == pytest.approx(stated, rel=1e-12)


def test_a_downward_range_has_one_spread_below_its_middle_and_one_above() -> None:
    shape = three_percentiles(100, 350, 1200)
    assert shape == TwoPieceLognormal(
        350, pytest.approx(math.log(3.5) / Z90), pytest.approx(math.log(1200 / 350) / Z90)
    )


@pytest.mark.parametrize("away", [1e-3, 1e-6, 1e-9, 1e-12, 0.0])
def test_both_kinds_meet_in_the_lognormal(away: float) -> None:
    """Around low · high = middle², values depart from the lognormal by no more than the logarithm of high does."""
    z = np.linspace(-SCORE_LIMIT, SCORE_LIMIT, 341)
    straight = math.log(3) * z / Z90
    for high in (900 * (1 - away), 900 * (1 + away)):
        logs = np.log(three_percentiles(100, 300, high).ppf(z) / 300)
        slack = 1e-13 + 1.01 * away * (1 + z**2)
        assert np.all(np.abs(logs - straight) <= slack)


@pytest.mark.parametrize("stated", [*UPWARD, (100, 350, 1200), (1, 2, 1e5)])
def test_every_moment_exists(stated: tuple[float, float, float]) -> None:
    """The integrals settle: two reaches agree. Far up the shape lies between two lognormals of its slope, whose moments
    exp((k s)² / 2) are closed form."""
    shape = three_percentiles(*stated)
    for power in (1, 2, 3, 4):

        def logarithm(z: float, power: int = power) -> float:
            x = shape.ppf(np.array([z]))[0] / stated[1]
            return power * math.log(x) - 0.5 * z * z - 0.5 * math.log(2 * math.pi)

        centre = power * shape.growth
        found = []
        for reach in (10.0, 14.0):
            edges = [-reach, 0.0, centre, centre + reach]
            parts = [
                integrate.quad(lambda z: math.exp(logarithm(z)), *pair, epsabs=0, epsrel=1e-12, limit=200)[0]
                for pair in itertools.pairwise(edges)
            ]
            found.append(sum(parts))
        assert found[0] == pytest.approx(found[1], rel=1e-9)
        assert found[1] <= 1 + (stated[2] / stated[1]) ** power * math.exp(centre**2 / 2)
        if power == 1:
            assert shape.moments[0] / stated[1] == pytest.approx(found[1], rel=1e-8)
        if power == 2:
            second = shape.moments[1] + shape.moments[0] ** 2
            assert second / stated[1] ** 2 == pytest.approx(found[1], rel=1e-7)


@pytest.mark.parametrize(("low", "high"), [(0.3, 0.9), (1.4, 0.2), (0.7, 0.7), (0.5, 3.0)])
def test_moments_of_two_halves_of_lognormals(low: float, high: float) -> None:
    """Closed form: E x^k = exp((k s₋)²/2) Φ(−k s₋) + exp((k s₊)²/2) Φ(k s₊) for a median of one."""

    def moment(k: int) -> float:
        below = math.exp((k * low) ** 2 / 2) * stats.norm.cdf(-k * low)
        return float(below + math.exp((k * high) ** 2 / 2) * stats.norm.cdf(k * high))

    mean, variance = TwoPieceLognormal(1.0, low, high).moments
    assert mean == pytest.approx(moment(1), rel=1e-7)
    assert variance == pytest.approx(moment(2) - moment(1) ** 2, rel=1e-6)


def test_raising_high_by_a_little_raises_the_total_a_little() -> None:
    """High rises by 1 in 450: no jump where one kind of shape ends and the other begins."""
    before, after = three_percentiles(100, 300, 899), three_percentiles(100, 300, 901)
    for q in (0.6, 0.8, 0.9, 0.99, 0.999):
        assert 1 <= after.percentile(q) / before.percentile(q) < 1.01


amounts = st.floats(min_value=math.log(0.01), max_value=math.log(1e6)).map(math.exp)
widths = st.floats(min_value=1e-4, max_value=6.0)
"""Logarithm of one stated figure over another: up to 400-fold."""


def triple(low: float, fall: float, rise: float) -> tuple[float, float, float]:
    middle = low * math.exp(fall)
    return low, middle, middle * math.exp(rise)


class TestEveryOrderedTriple:
    """What holds for low, middle and high whatever they are, as long as they rise."""

    @settings(deadline=None)
    @given(amounts, widths, widths)
    def test_is_met_exactly(self, low: float, fall: float, rise: float) -> None:
        stated = triple(low, fall, rise)
        shape = three_percentiles(*stated)
        assert shape.ppf(np.array([-Z90, 0.0, Z90])) == pytest.approx(stated, rel=1e-11)
        assert [shape.percentile(q) for q in (0.1, 0.5, 0.9)] == pytest.approx(stated, rel=1e-11)
        assert shape.middle == stated[1]

    @settings(deadline=None)
    @given(amounts, widths, widths)
    def test_has_a_density_everywhere(self, low: float, fall: float, rise: float) -> None:
        """The density is φ(z) / (dx/dz): positive and finite where x rises. In logarithms it rises at least by the
        smaller slope, s²/(slope + bend), far out, and by half the sum of the widths on average."""
        assume(min(fall, rise) > 0.05 * max(fall, rise))  # else the slope drowns in rounding
        shape = three_percentiles(*triple(low, fall, rise))
        z = np.linspace(-8, 8, 641)
        rises = np.diff(np.log(shape.ppf(z)))
        least = min(fall, rise) ** 2 / (2 * Z90 * (fall + rise))
        assert np.all(rises > 0.9 * least * (z[1] - z[0]))

    @settings(deadline=None)
    @given(amounts, widths, widths, st.floats(min_value=-7.0, max_value=7.0))
    def test_can_be_turned_back_into_the_score(self, low: float, fall: float, rise: float, z: float) -> None:
        assume(min(fall, rise) > 0.02 * max(fall, rise))
        shape = three_percentiles(*triple(low, fall, rise))
        assert shape.score(float(shape.ppf(np.array([z]))[0])) == pytest.approx(z, abs=1e-7)

    @settings(deadline=None)
    @given(amounts, widths, widths, st.floats(min_value=1e-6, max_value=1.0))
    def test_never_gets_cheaper_by_a_higher_high(
        self, low: float, fall: float, rise: float, more: float
    ) -> None:
        narrow, wide = (three_percentiles(*triple(low, fall, up)) for up in (rise, rise + more))
        assert wide.moments[0] >= narrow.moments[0] * (1 - 1e-12)
        assert wide.percentile(0.9) > narrow.percentile(0.9)
        above = np.linspace(0, 8, 81)
        assert np.all(wide.ppf(above) >= narrow.ppf(above) * (1 - 1e-12))

    @settings(deadline=None)
    @given(
        st.floats(min_value=5e-324, max_value=1e12),
        st.floats(min_value=5e-324, max_value=1e12),
        st.floats(min_value=5e-324, max_value=1e12),
    )
    def test_overflows_nowhere(self, one: float, two: float, three: float) -> None:
        """Warnings are errors: neither values nor moments overflow, however wide or narrow the range."""
        stated = tuple(sorted((one, two, three)))
        assume(stated[0] < stated[1] < stated[2])
        shape = three_percentiles(*stated)
        values = shape.ppf(np.linspace(-SCORE_LIMIT, SCORE_LIMIT, 201))
        assert np.all(np.isfinite(values))
        assert np.all(values > 0)
        assert np.all(np.diff(values) >= -1e-12 * values[1:])
        assert shape.ppf(np.array([-Z90, 0.0, Z90])) == pytest.approx(stated, rel=1e-9)
        assert np.all(np.isfinite(shape.moments))
        for value in (5e-324, *stated, 1e300):
            assert abs(shape.score(value)) <= SCORE_LIMIT


@pytest.mark.parametrize("count", [2, 3, 4, 7])
def test_quotes_hold_the_next_price_in_8_of_10_cases(count: int) -> None:
    """Student's t for the next value of a normal sample: exact for any spread. Simulated, within 4 standard errors."""
    sets = 4000
    prices = np.exp(np.random.default_rng(count).normal(7, 0.2, (sets, count + 1)))
    inside = 0
    for *known, following in prices.tolist():
        shape = quoted(tuple(known))
        inside += shape.percentile(0.1) <= following <= shape.percentile(0.9)
    assert inside / sets == pytest.approx(0.8, abs=4 * math.sqrt(0.16 / sets))


def test_quotes_are_spread_around_their_geometric_mean() -> None:
    """P10 and P90 of the next price: m ± s √(1 + 1/n) t(0.9; n − 1), with t(0.9; 2) = 1.886 of any table."""
    shape = quoted((400.0, 440.0, 520.0))
    logs = np.log([400, 440, 520])
    reach = logs.std(ddof=1) * math.sqrt(4 / 3)
    assert math.log(shape.percentile(0.5)) == pytest.approx(logs.mean())
    for sign, q in ((-1, 0.1), (1, 0.9)):
        found = math.log(shape.percentile(q))
        assert found == pytest.approx(logs.mean() + sign * 1.886 * reach, abs=1e-4)
        assert found == pytest.approx(logs.mean() + sign * stats.t.ppf(0.9, 2) * reach, rel=1e-9)
    assert np.isfinite(shape.moments[1])
    assert quoted((300.0, 300.0)) == Exact(pytest.approx(300.0))


def test_one_quote_has_the_stated_spread() -> None:
    assert quoted((300.0,)) == lognormal(pytest.approx(300.0), ONE_QUOTE_SPREAD)
    assert quoted((300.0,)).percentile(0.9) == pytest.approx(363.6, abs=0.1)


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
    MetalogShape(700, 1000, 1600),
    MetalogShape(3, 5, 8, lower=0, upper=10),
    MetalogShape(3, 5, 8, upper=10),
    MetalogShape(700, 1000, 1600, lower=100),
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

    def test_what_no_draw_can_be_lies_at_the_end_of_all_scores(self, shape: Shape) -> None:
        """Low at the lower end and high at the upper: a price beyond its range is dear or cheap, never the other."""
        low, high = (float(end) for end in shape.ppf(np.array([-SCORE_LIMIT, SCORE_LIMIT])))
        beyond = high - low
        assert shape.score(low - beyond) == pytest.approx(-SCORE_LIMIT)
        assert shape.score(high + beyond) == pytest.approx(SCORE_LIMIT)

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
        if isinstance(draw, TabulatedValues):
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


@pytest.mark.parametrize(
    "shape",
    [Triangle(180, 320, 760), Triangle(180, 180, 760), Triangle(1, 9, 9), Flat(180, 520)],
    ids=["leaning", "mode at the least", "mode at the most", "flat"],
)
def test_a_score_in_closed_form_is_the_one_that_bisection_finds(shape: Triangle | Flat) -> None:
    for x in np.linspace(shape.least - 1, shape.most + 1, 403):
        assert shape.score(float(x)) == pytest.approx(Shape.score(shape, float(x)), abs=1e-10)
