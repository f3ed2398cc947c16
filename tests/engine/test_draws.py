"""What must hold of draws: pairing, honest errors, batches, and less error than plain Monte Carlo."""

from __future__ import annotations

from concurrent.futures import Executor, ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import NoReturn

import numpy as np
import pytest
from scipy import stats

from forecast import KnownFacts, simulate
from forecast.buildfile.reader import parse_build
from forecast.engine.draws import column, columns
from forecast.engine.forecast import block_size, forecast_plan, numerical_tolerance, until_stable
from forecast.engine.known import PartPaid
from forecast.engine.plan import compile_plan
from forecast.engine.trials import run
from forecast.errors import SimulationError
from tests.references.portfolios import PORTFOLIOS, build_of, normals

DEMO = Path(__file__).parents[2] / "scenarios" / "before-ordering-ireland"

HEAD = (
    '[build]\nname = "x"\ncurrency = "EUR"\ncountry = "IE"\n[[cause]]\nid = "fit"\n[[cause]]\nid = "market"\n'
)
LINES = {
    "a": 'amount = { low = 10, middle = 20, high = 40, causes = { fit = "strong" } }',
    "b": "quantity = { low = 1, middle = 2, high = 4 }\nprice = { low = 5, high = 9, causes = { market = 0.4 } }",
    "c": 'chance = 0.6\namount = { shape = "uniform", min = 1, max = 3 }',
    "d": 'amount = { shape = "beta-pert", min = 1, mode = 2, max = 9, causes = { fit = -0.3 } }',
}


def build(names: str, **changed: str):  # type: ignore[no-untyped-def]
    lines = LINES | changed
    text = "".join(f'[[line]]\nid = "{name}"\ngroup = "other"\n{lines[name]}\n' for name in names)
    return parse_build(HEAD + text)


@pytest.mark.parametrize("names", ["dcba", "abd", "cab", "da"])
def test_lines_added_removed_or_moved_leave_the_others_bit_identical(names: str) -> None:
    whole = simulate(build("abcd"), trials=2048, seed=3).trials
    other = simulate(build(names), trials=2048, seed=3).trials
    for name in names:
        assert np.array_equal(whole.row(name), other.row(name)), name


def test_changing_one_range_leaves_the_others_bit_identical() -> None:
    before = simulate(build("abcd"), trials=2048).trials
    after = simulate(build("abcd", a="amount = { low = 100, middle = 200, high = 900 }"), trials=2048).trials
    for name in "bcd":
        assert np.array_equal(before.row(name), after.row(name))
    assert not np.array_equal(before.row("a"), after.row("a"))


def test_the_same_seed_gives_the_same_figures_and_another_does_not() -> None:
    first, again, other = (
        simulate(build("abcd"), trials=1024, seed=seed).trials.totals for seed in (0, 0, 5)
    )
    assert np.array_equal(first, again)
    assert not np.array_equal(first, other)


def test_results_do_not_depend_on_the_workers() -> None:
    plan = compile_plan(build("abcd"))
    alone = run(plan, 4096, 2)
    with ThreadPoolExecutor(2) as pool:
        threaded = run(plan, 4096, 2, executor=pool)
    assert np.array_equal(alone.rows, threaded.rows)


def test_many_columns_drawn_at_once_are_those_drawn_one_by_one() -> None:
    names = [f"figure {number}" for number in range(70)]
    many = columns(1, range(3), names, 1024, {})
    for place in (0, 31, 32, 69):
        alone = columns(1, range(3), names[place : place + 1], 1024, {})
        for block in many.blocks():
            np.testing.assert_array_equal(many.scores(place, block), alone.scores(0, block))


def test_columns_are_standard_normal_and_stratified() -> None:
    scores = column(1, 0, "anything", 1024, {})
    strata = np.floor(stats.norm.cdf(scores) * 1024).astype(int)
    assert np.array_equal(np.sort(strata), np.arange(1024))
    other = column(1, 0, "something else", 1024, {})
    assert abs(np.corrcoef(scores, other)[0, 1]) < 4 / 32
    assert not np.array_equal(scores, column(1, 1, "anything", 1024, {}))


def test_cause_scores_are_standard_normal_and_uncorrelated() -> None:
    names = ("own", "fit", "market")
    slots = {name: place for place, name in enumerate(names)}
    scores = np.array(
        [np.concatenate([column(4, r, name, 1024, slots) for r in range(16)]) for name in names]
    )
    for row in scores:
        assert stats.kstest(row, "norm").pvalue > 0.01
    assert np.abs(np.corrcoef(scores) - np.eye(3)).max() < 4 / 128


def test_no_cause_shares_its_draws_with_an_event_however_many_there_are() -> None:
    """Nine causes and fifteen events: more than the evenest places of the draws, which go to the first of each kind."""
    causes = "".join(f'[[cause]]\nid = "c{place}"\n' for place in range(9))
    events = "".join(f'[[event]]\nid = "e{place}"\nchance = 0.5\ncost = 1\n' for place in range(15))
    line = '[[line]]\nid = "a"\ngroup = "other"\namount = { low = 1, middle = 2, high = 4, causes = { c7 = 0.9 } }\n'
    head = '[build]\nname = "x"\ncurrency = "EUR"\ncountry = "IE"\nestimating = 0\n'
    plan = compile_plan(parse_build(head + causes + line + events))
    slots = list(plan.slots.values())
    assert len(set(slots)) == len(slots)
    assert {"cause c0", "gate e0", "gate e5"} <= plan.slots.keys()
    trials = run(plan, 16_384, 5)
    for place in range(15):
        assert abs(np.corrcoef(trials.row("a"), trials.row(f"e{place}"))[0, 1]) < 5 / np.sqrt(16_384)


def test_factor_copula_gives_the_stated_correlation() -> None:
    trials = simulate(normals([(0, 1)] * 3, 0.3), trials=65_536, seed=8).trials
    found = np.corrcoef([trials.row(f"n{place}") for place in range(3)])
    assert found[np.triu_indices(3, 1)] == pytest.approx([0.3] * 3, abs=0.015)


def test_gaussian_copula_orthants() -> None:
    """One-dimensional integrals: five lines all under their P90 at correlation 0.3, and two of them."""
    trials = simulate(normals([(0, 1)] * 5, 0.3), trials=262_144, seed=9).trials
    under = np.array([trials.row(f"n{place}") <= 1.2815515655 for place in range(5)])
    assert under.all(axis=0).mean() == pytest.approx(0.659534629, abs=0.003)
    assert under[:2].all(axis=0).mean() == pytest.approx(0.821616480, abs=0.003)


def test_events_share_causes() -> None:
    """Three events of chance 0.2 with latent correlation 0.3: none happens in 0.569837526 of trials."""
    root = 0.3**0.5
    text = HEAD + "".join(
        f'[[event]]\nid = "e{place}"\nchance = 0.2\ncost = 1\ncauses = {{ fit = {root} }}\n'
        for place in range(3)
    )
    trials = simulate(parse_build(text), trials=262_144, seed=10).trials
    assert (~trials.gates.any(axis=0)).mean() == pytest.approx(0.569837526, abs=0.003)
    assert trials.gates.mean(axis=1) == pytest.approx([0.2] * 3, abs=0.002)


def test_loadings_that_leave_no_room_are_an_error() -> None:
    with pytest.raises(Exception, match=r"their squares add up to 1\.06"):
        build("a", a="amount = { low = 10, middle = 20, high = 40, causes = { fit = 0.9 } }")


def test_the_stated_error_is_honest() -> None:
    """Over many seeds the P90 lies within two stated errors of the truth about as often as it should."""
    truth = PORTFOLIOS["C"]["independent"]["P90"]
    plan = compile_plan(build_of(PORTFOLIOS["C"]["items"], 0))
    deviations = []
    for seed in range(120):
        estimate = forecast_plan(plan, 4096, seed).percentile(0.9)
        deviations.append((estimate.value - truth) / estimate.error)
    inside = np.mean(np.abs(deviations) < 2.131)  # 95 % of Student's t with 15 degrees of freedom
    assert inside > 0.95 - 4 * np.sqrt(0.95 * 0.05 / 120)
    # Sixteen replicates: Student's t with 15 degrees of freedom has a standard deviation of 1.07.
    assert 0.8 < np.std(deviations) < 1.35


def test_the_stated_error_is_honest_with_sums_paid_in_part_too() -> None:
    """Two lines are paid, one likely all and one not; the truth is a long run of other seeds."""
    plan = compile_plan(build_of(PORTFOLIOS["A"]["items"], 0.3))
    known = KnownFacts(part_paid={"i0": PartPaid(3900.0, 0.9), "i2": PartPaid(2700.0, 0.2)})
    long = [forecast_plan(plan, 65_536, 1000 + seed, known=known).percentile(0.8).value for seed in range(12)]
    truth = float(np.mean(long))
    deviations = []
    for seed in range(100):
        estimate = forecast_plan(plan, 4096, seed, known=known).percentile(0.8)
        deviations.append((estimate.value - truth) / estimate.error)
    assert abs(np.mean(deviations)) < 4 * np.std(deviations) / 10
    assert 0.75 < np.std(deviations) < 1.45


def test_block_size_and_tolerance_of_the_adaptive_procedure() -> None:
    """JCGM 101:2008, 7.9.2 and 7.9.4 b."""
    assert block_size(0.95) == 10_000
    assert block_size(0.999) == 100_000
    assert numerical_tolerance(0.0004, 1) == pytest.approx(0.00005)
    assert numerical_tolerance(0.00035, 2) == pytest.approx(0.000005)


def test_going_on_until_stable_reports_pooled_values_and_bounds_its_trials() -> None:
    build = normals([(0, 1)] * 4)
    plan = compile_plan(build)

    def block(number: int):  # type: ignore[no-untyped-def]
        return run(plan, 10_000, 31, first_replicate=1000 * number)

    pooled, stability = until_stable(block, 0.02)
    assert stability.stable
    assert 40_000 <= pooled.count <= 400_000
    assert pooled.count == 10_240 * stability.blocks
    assert max(stability.errors) <= 0.02
    loose, given_up = until_stable(block, 1e-9, largest=60_000)
    assert not given_up.stable
    assert loose.count == 61_440
    assert np.array_equal(loose.totals[:10_240], block(0).totals)


def test_the_four_results_are_mean_deviation_and_the_ends_of_eighty_percent() -> None:
    """JCGM 101:2008, 7.9.4 h to j, on blocks that are one sample times 0.8, 0.9, 1.1 and 1.2: s / √h in closed form."""
    sample = run(compile_plan(normals([(0, 1)])), 1024, 1)
    totals = np.arange(1.0, 1025.0)
    sizes = (0.8, 0.9, 1.1, 1.2)
    pooled, stability = until_stable(lambda number: replace(sample, totals=sizes[number] * totals), 1e9)
    spread = 2 * np.std(sizes, ddof=1) / np.sqrt(4)
    results = np.array(
        [512.5, np.sqrt((1024**2 - 1) / 12), 103.0, 922.0]
    )  # the tenth of 1,024 ends in the 103rd
    assert stability.errors == pytest.approx(spread * results, rel=1e-12)
    assert (stability.blocks, pooled.count) == (4, 4 * 1024)


def test_until_stable_takes_half_a_percent_of_the_base_estimate_unless_told() -> None:
    for mean in (100.5, 37_123.0):
        found = forecast_plan(compile_plan(normals([(mean, mean / 1000)])), "until stable")
        assert found.stability is not None
        assert found.stability.tolerance == pytest.approx(mean / 200)


def test_until_stable_through_the_python_face() -> None:
    forecast = simulate(normals([(100, 10)] * 4), trials="until stable", tolerance=0.5)
    assert forecast.stability is not None
    assert forecast.stability.stable
    assert abs(forecast.percentile(0.9).value - (400 + 1.2815516 * 20)) < 0.5
    with pytest.raises(SimulationError, match="tolerance"):
        simulate(normals([(100, 10)]), trials="until stable", tolerance=-1)


class Told(Executor):
    """Says that it was asked, and draws nothing."""

    def map(self, *_: object, **__: object) -> NoReturn:
        raise LookupError


@pytest.mark.parametrize("trials", [16, 100_000_000])
def test_from_16_trials_to_a_hundred_million_may_be_asked_for(trials: int) -> None:
    with pytest.raises(LookupError):
        simulate(normals([(1, 1)]), trials=trials, executor=Told())


@pytest.mark.parametrize("trials", [3, 15, 100_000_001, 10**9])
def test_senseless_numbers_of_trials_are_refused(trials: int) -> None:
    with pytest.raises(SimulationError, match="must be from 16"):
        simulate(normals([(1, 1)]), trials=trials)
