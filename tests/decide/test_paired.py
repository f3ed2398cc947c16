"""How far a percentile moves: closed forms for normals, NumPy's weighted fit, and steps that must not be smoothed."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from scipy.special import ndtri

from forecast.buildfile.reader import parse_build
from forecast.decide.paired import (
    WINDOW,
    forecast_change,
    local_line,
    mean_percentile_change,
    percentile_change,
)
from forecast.engine.forecast import simulate
from forecast.engine.known import KnownFacts
from forecast.engine.statistics import percentiles
from forecast.figures.shapes import Array
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
    (value,), (left,) = local_line(values[inside][None], orders[inside], 0.8, WINDOW)
    assert value == pytest.approx(line[1], rel=1e-12)
    assert left == pytest.approx(values[inside] - np.polyval(line, scores), abs=1e-9)


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


@pytest.mark.parametrize("edit", [1e-5, 1e-3, 0.05])
@pytest.mark.parametrize("q", [0.5, 0.6, 0.8, 0.9])
def test_a_small_edit_has_the_error_that_it_is_told_with(q: float, edit: float) -> None:
    """A total of normal spread 1 to which an edit adds 0.1 and a part of its own: no percentile moves by anything else.

    The plain difference is what the edit does to a single trial, however many trials there are.
    """
    seeds = range(120)
    values, errors = [], []
    for seed in seeds:
        draw = np.random.default_rng(seed)
        before = draw.standard_normal(N)
        found = percentile_change(before, before + 0.1 + edit * draw.standard_normal(N), q, REPLICATES)
        values.append(found.value)
        errors.append(found.error)
    spread = float(np.std(values, ddof=1))
    assert np.mean(values) == pytest.approx(
        0.1 + edit**2 * ndtri(q) / 2, abs=4 * spread / np.sqrt(len(seeds))
    )
    assert np.sqrt(np.mean(np.square(errors))) == pytest.approx(spread, rel=4 * np.hypot(0.065, 0.033))
    assert spread < 1.5 * edit / np.sqrt(0.08 * N)  # that of the mean over a window of half its width


def test_edits_of_a_build_have_the_errors_that_they_are_told_with() -> None:
    """A dearer filler, and paint that is needed more often: the errors told, against how values scatter over seeds."""
    edits = {
        "filler": (
            "price = { low = 9, middle = 12, high = 16 }",
            "price = { low = 9, middle = 12, high = 17 }",
        ),
        "paint": ("chance = 0.9", "chance = 0.93"),
    }
    seeds = range(40)
    base = [simulate(small(), "diy", seed=seed) for seed in seeds]
    ratios = []
    for old, new in edits.values():
        assert SMALL.count(old) == 1
        build = parse_build(SMALL.replace(old, new))
        after = [simulate(build, "diy", seed=seed) for seed in seeds]
        for q in (0.5, 0.8, 0.9):
            found = [forecast_change(*pair, q) for pair in zip(base, after, strict=True)]
            real = float(np.std([item.value for item in found], ddof=1))
            ratios.append(np.sqrt(np.mean([item.error**2 for item in found])) / real)
    # Relative standard error of a spread of 40 values: 0.113.
    assert np.all(np.abs(np.log(ratios)) < 4 * 0.113)
    assert np.mean(ratios) == pytest.approx(1, abs=0.15)


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


@pytest.mark.parametrize("chance", [0.196, 0.2, 0.203])
def test_next_to_a_step_the_error_is_that_of_the_side_one_falls_on(chance: float) -> None:
    """An event that costs 6000, or 2000: P80 moves by nothing or by 4000. The number of trials where it happens is
    binomial, so that the chance p of either is known, and with it the spread 4000 √(p (1 − p))."""
    seeds = range(300)
    values, errors = [], []
    for seed in seeds:
        happens = np.random.default_rng(seed).random(N) < chance
        found = percentile_change(
            np.where(happens, 6000.0, 1000.0), np.where(happens, 2000.0, 1000.0), 0.8, REPLICATES
        )
        values.append(found.value)
        errors.append(found.error)
    assert set(values) <= {0.0, -4000.0}
    falls = stats.binom.sf(N - np.ceil(0.8 * N), N, chance)
    assert np.mean(np.array(values) < 0) == pytest.approx(
        falls, abs=4 * np.sqrt(falls * (1 - falls) / 300) + 0.005
    )
    told = np.sqrt(np.mean(np.square(errors)))
    # The order is itself known with an error, so that steps are told a little wider and flatter than they are.
    assert 0.75 < told / (4000 * np.sqrt(falls * (1 - falls))) < 1.6


def test_forecasts_that_share_no_draws_have_the_error_of_two_runs() -> None:
    build = small()
    dearer = parse_build(SMALL.replace("middle = 2800, high = 4200", "middle = 2900, high = 4350"))
    one, two = simulate(build, "diy"), simulate(dearer, "diy", seed=2)
    apart = forecast_change(one, two, 0.8)
    was, now = one.percentile(0.8), two.percentile(0.8)
    assert apart.value == now.value - was.value
    assert apart.error == pytest.approx(np.hypot(was.error, now.error))
    assert forecast_change(one, simulate(dearer, "diy"), 0.8).error < 0.25 * apart.error


@pytest.mark.parametrize("q", [0.5, 0.8, 0.9])
def test_a_part_that_becomes_known_takes_its_spread_away(q: float) -> None:
    """Of a normal total 1 + 0.3² in variance the part of 0.3 is set to each of eight equally likely scores, which add
    up to nothing: on average a percentile moves by its score times 1 − √1.09. The errors told are the real ones, and
    smaller than those of plain differences."""
    scores = ndtri((np.arange(8) + 0.5) / 8)
    values, errors, plain = [], [], []
    for seed in range(60):
        draw = np.random.default_rng(seed)
        rest = draw.standard_normal(N)
        before, ways = rest + 0.3 * draw.standard_normal(N), [(1 / 8, rest + 0.3 * score) for score in scores]
        found = mean_percentile_change(before, ways, q, REPLICATES)
        values.append(found.value)
        errors.append(found.error)
        moved = [percentiles(after, (q,))[0] for _, after in ways]
        plain.append(np.mean(moved) - percentiles(before, (q,))[0])
    spread = float(np.std(values, ddof=1))
    assert np.mean(values) == pytest.approx(
        ndtri(q) * (1 - np.sqrt(1.09)), abs=4 * spread / np.sqrt(60) + 2e-4
    )
    assert np.sqrt(np.mean(np.square(errors))) == pytest.approx(spread, rel=4 * np.hypot(0.092, 0.047))
    assert spread < 0.9 * float(np.std(plain, ddof=1))


@pytest.mark.parametrize("q", [0.5, 0.8, 0.9])
def test_a_weighted_run_shares_its_draws_with_one_that_is_not(q: float) -> None:
    """Over seeds: the error told is the real one, and under that of two runs apart."""
    seeds = range(40)
    values, errors, apart = [], [], []
    for seed in seeds:
        one = simulate(small(), "diy", seed=seed)
        weighted = simulate(small(), "diy", seed=seed, known=KnownFacts(gates={"poor_fit": True}))
        assert weighted.trials.weights is not None
        found = forecast_change(one, weighted, q)
        values.append(found.value)
        errors.append(found.error)
        apart.append(np.hypot(one.percentile(q).error, weighted.percentile(q).error))
    real = float(np.std(values, ddof=1))
    told = float(np.sqrt(np.mean(np.square(errors))))
    assert told == pytest.approx(real, rel=4 * np.hypot(0.113, 0.058))
    assert told < 0.75 * np.sqrt(np.mean(np.square(apart)))


def test_more_replicates_on_one_side_leave_those_that_both_have() -> None:
    build = small()
    dearer = parse_build(SMALL.replace("middle = 2800, high = 4200", "middle = 2900, high = 4350"))
    one, more = simulate(build, "diy"), simulate(dearer, "diy", trials=3 * N // 2)
    shared = forecast_change(one, more, 0.8)
    assert (one.trials.replicates, more.trials.replicates) == (16, 24)
    assert shared == percentile_change(one.trials.totals, more.trials.totals[:N], 0.8, 16)
    assert shared.error < 0.25 * one.percentile(0.8).error
