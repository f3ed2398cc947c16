"""Sums with exact percentiles, rank correlation, and a trap of the adaptive procedure."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from forecast import simulate
from forecast.buildfile.reader import parse_build
from forecast.engine.forecast import until_stable
from forecast.engine.plan import compile_plan
from forecast.engine.trials import run
from forecast.figures.evaluate import evaluate
from forecast.figures.formula import Input, Larger, Product, Smaller, Sum
from forecast.figures.shapes import Array
from tests.references.portfolios import build_of, normals

SHARES = (0.1, 0.5, 0.8, 0.9, 0.95)

IRWIN_HALL = {
    2: (0.4472136, 1, 1.3675445, 1.5527864, 1.6837722),
    3: (0.8434327, 1.5, 1.9371213, 2.1565673, 2.3305671),
    4: (1.2465787, 2, 2.5010877, 2.7534213, 2.9533607),
    6: (2.0829851, 3, 3.6069982, 3.9170149, 4.1663145),
    12: (4.7110024, 6, 6.8498334, 7.2889976, 7.6469719),
}
"""Percentiles of the sum of n uniform figures: closed form of the Irwin-Hall distribution."""


@pytest.mark.parametrize("count", IRWIN_HALL)
def test_sums_of_uniform_figures(count: int) -> None:
    items = [{"kind": "uniform", "min": 0, "max": 1}] * count
    forecast = simulate(build_of(items, 0), trials=131_072, seed=41)
    for q, expected in zip(SHARES, IRWIN_HALL[count], strict=True):
        estimate = forecast.percentile(q)
        assert abs(estimate.value - expected) <= 4 * estimate.error, q


@pytest.mark.parametrize(
    ("medians", "sigmas", "mean", "exact", "moment_match"),
    [
        (
            (1000,) * 5, (0.5,) * 5, 5665.742265,
            (4089.3546, 5504.9702, 6706.1477, 7442.2889), (4077.888, 5511.3675, 6716.9826, 7448.7507),
        ),
        (
            (500, 1000, 2000), (0.3, 0.5, 0.8), 4410.417912,
            (2168.0649, 3715.4394, 5696.3358, 7344.4848), (1836.5434, 3768.5034, 6041.9326, 7732.7977),
        ),
    ],
)  # fmt: skip
def test_sums_of_lognormals_have_no_lognormals_percentiles(
    medians: tuple[float, ...],
    sigmas: tuple[float, ...],
    mean: float,
    exact: tuple[float, ...],
    moment_match: tuple[float, ...],
) -> None:
    """Exact by numerical convolution; the moment match is Fenton's (1960), which must not be used for tails."""
    items = [
        {"kind": "lognormal_median_sigma", "median": median, "sigma_log": sigma}
        for median, sigma in zip(medians, sigmas, strict=True)
    ]
    forecast = simulate(build_of(items, 0), trials=262_144, seed=42)
    assert abs(forecast.mean.value - mean) <= 4 * forecast.mean.error
    for q, expected, rough in zip((0.1, 0.5, 0.8, 0.9), exact, moment_match, strict=True):
        estimate = forecast.percentile(q)
        assert abs(estimate.value - expected) <= 4 * estimate.error, q
        if len(medians) == 3:
            assert abs(estimate.value - rough) > 4 * estimate.error, q


@pytest.mark.parametrize(
    ("rank", "latent"),
    [(0.1, 0.104672), (0.25, 0.261052), (0.3, 0.312869), (0.5, 0.517638), (0.7, 0.716736), (0.9, 0.907981)],
)
def test_rank_correlation_of_the_copula(rank: float, latent: float) -> None:
    """Spearman's ρ of a Gaussian copula: latent = 2 sin(π ρ / 6); Kendall's τ = (2/π) arcsin(latent)."""
    assert 2 * math.sin(math.pi * rank / 6) == pytest.approx(latent, abs=1e-6)
    loading = latent**0.5
    text = '[build]\nname = "x"\ncurrency = "EUR"\ncountry = "IE"\nestimating = 0\n[[cause]]\nid = "fit"\n'
    for name, shape in (("a", "low = 10, high = 30"), ("b", "low = 1, middle = 5, high = 40")):
        text += f'[[line]]\nid = "{name}"\ngroup = "other"\namount = {{ {shape}, causes = {{ fit = {loading} }} }}\n'
    trials = simulate(parse_build(text), trials=65_536, seed=43).trials
    first, second = trials.row("a"), trials.row("b")
    found = stats.spearmanr(first, second).statistic
    assert found == pytest.approx(rank, abs=4 / math.sqrt(first.size))
    tau = stats.kendalltau(first[:16_384], second[:16_384]).statistic
    assert tau == pytest.approx(2 / math.pi * math.asin(latent), abs=0.02)


def shortest_interval(values: Array) -> tuple[float, float]:
    """Give the shortest interval that holds 95 % of the values (JCGM 101:2008, clause 7.7.4)."""
    ordered = np.sort(values)
    inside = int(0.95 * ordered.size + 0.5)
    first = int(np.argmin(ordered[inside:] - ordered[:-inside]))
    return float(ordered[first]), float(ordered[first + inside])


def test_pooled_values_are_reported_and_not_averages_of_blocks() -> None:
    """Averages of the shortest intervals of blocks are biased inwards; the pooled trials' interval is not.

    Clause 7.9.4 l of JCGM 101:2008. The sum of four standard normals has the shortest 95 % interval ±3.919928.
    """
    plan = compile_plan(normals([(0, 1)] * 4))
    end = 1.9599640 * 2
    blocks = [run(plan, 10_000, 44, keep="totals", first_replicate=1000 * number) for number in range(24)]
    lengths = []
    for block in blocks:
        low, high = shortest_interval(block.totals)
        lengths.append(high - low)
    pooled, _ = until_stable(
        lambda number: blocks[number], 1e-9, largest=sum(block.count for block in blocks)
    )
    low, high = shortest_interval(pooled.totals)
    assert pooled.count == sum(block.count for block in blocks)
    # Even the pooled shortest interval is a little short at this count; that of single blocks is shorter still.
    assert np.mean(lengths) < high - low < 2 * end * 1.002
    assert abs(high - low - 2 * end) < abs(np.mean(lengths) - 2 * end)


@pytest.mark.parametrize("value", [12.5, np.array([3.0, -4.0, 0.0])])
def test_what_has_no_parts_changes_nothing_that_it_is_put_to(value: float | Array) -> None:
    """Nothing added, a product of no factors, the largest or smallest of none: each leaves the other part as it is."""
    kinds = (Sum, Product, Larger, Smaller)
    for kind in kinds:
        formula = kind((Input("x"), kind(())))
        np.testing.assert_array_equal(evaluate(formula, {"x": value}, {}), value)
