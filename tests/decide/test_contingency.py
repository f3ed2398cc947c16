"""How much to hold: against closed forms of normals, exact portfolios and published figures."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from scipy.special import ndtri

from forecast.decide.comparisons import PUBLISHED
from forecast.decide.contingency import contingency, recommended_level
from forecast.engine.forecast import simulate
from forecast.engine.known import KnownFacts
from forecast.engine.statistics import percentile
from forecast.errors import SimulationError
from forecast.views.contingency_words import contingency_sentence, level_sentence, published_sentence
from forecast.words.money import estimated
from tests.decide.sample import euros, small
from tests.references.portfolios import GAO, PORTFOLIOS, build_of, normals
from tests.references.trade_facts import (
    NORMALS,
    OPTIMISM_UPLIFTS,
    P90_SHARES,
    ROADS_BY_STAGE,
    SHORTFALL_SHARES,
    SPREAD,
    TRANSPORT_OVERRUNS,
    UNDERSTATED_SPREAD,
)


def test_split_of_p90_agrees_with_the_euler_allocation_of_normals() -> None:
    found = contingency(simulate(normals(NORMALS, 0.3), trials=262_144, seed=3), 0.9)
    assert found.amount.value == pytest.approx(sum(P90_SHARES) - 600, abs=4 * found.held.error)
    by_id = {share.id: share for share in found.lines}
    for place, (expected, (mean, _)) in enumerate(zip(P90_SHARES, NORMALS, strict=True)):
        share = by_id[f"n{place}"]
        assert share.base == pytest.approx(mean)
        assert share.amount.error < 0.5
        assert share.base + share.amount.value == pytest.approx(expected, abs=4 * share.amount.error)


def test_shares_of_the_worst_tenth_agree_with_normals() -> None:
    forecast = simulate(normals(NORMALS, 0.3), trials=262_144, seed=4)
    for place, expected in enumerate(SHORTFALL_SHARES):
        assert forecast.tail_means(0.9)[f"n{place}"] == pytest.approx(expected, abs=1.0)


def test_own_estimating_takes_its_closed_form_share() -> None:
    """With correlation r by one cause, the cause's part of P_q is z r (sum of sds)² / sd of the total."""
    found = contingency(simulate(normals(NORMALS, 0.3), trials=262_144, seed=3), 0.9)
    by_id = {share.id: share for share in found.causes}
    expected = ndtri(0.9) * 0.3 * 120**2 / SPREAD
    share = by_id["own_estimating"]
    assert share.title == "Your own estimating"
    assert share.amount.value == pytest.approx(expected, abs=4 * share.amount.error)
    assert by_id["events"].amount.value == 0
    assert by_id["skew"].amount.value == pytest.approx(0, abs=0.5)


@pytest.mark.parametrize("level", [0.5, 0.8, 0.9])
def test_all_three_splits_add_up_exactly(level: float) -> None:
    found = contingency(simulate(small(), "diy"), level)
    assert found.amount.value == pytest.approx(found.held.value - found.base)
    for split in (found.lines, found.groups, found.causes):
        assert math.fsum(share.amount.value for share in split) == pytest.approx(found.amount.value, abs=1e-6)
        assert all(a.amount.value >= b.amount.value for a, b in itertools.pairwise(split))


@pytest.mark.parametrize("letter", ["A", "B", "C"])
def test_contingency_of_exact_portfolios(letter: str) -> None:
    portfolio = PORTFOLIOS[letter]
    forecast = simulate(build_of(portfolio["items"], 0), trials=65_536, seed=8)
    for name, expected in portfolio["independent"]["contingency_over_base"].items():
        found = contingency(forecast, int(name[1:]) / 100)
        assert found.amount.value == pytest.approx(expected, abs=4 * found.amount.error)


def test_adding_p90s_is_not_the_p90() -> None:
    items = [{**item} for item in GAO["items"]]
    forecast = simulate(build_of(items, 0), trials=65_536, seed=9)
    added = sum(line.p90 for line in forecast.lines if line.p90 is not None)
    assert added == pytest.approx(91849.08, rel=0.002)
    p90 = forecast.percentile(0.9)
    assert p90.value == pytest.approx(88909.99, abs=4 * p90.error)


@pytest.mark.parametrize(("case", "expected"), UNDERSTATED_SPREAD.items())
def test_spread_is_understated_without_correlation(case: tuple[int, float], expected: float) -> None:
    count, correlation = case
    figures = [(100.0, 10.0)] * count
    alone = simulate(normals(figures), seed=2).standard_deviation
    together = simulate(normals(figures, correlation), seed=2).standard_deviation
    assert 1 - alone / together == pytest.approx(expected, abs=0.012)


def test_level_is_the_newsvendors() -> None:
    level = recommended_level(short=300, idle=100)
    assert level.q == level.wanted == 0.75
    forecast = simulate(normals([(1000.0, 100.0)]), trials=65_536, seed=1)
    totals = forecast.trials.totals
    held = percentile(totals, level.q)
    assert held == pytest.approx(1000 + 100 * ndtri(0.75), abs=0.1)
    density = math.exp(-(ndtri(0.75) ** 2) / 2) / math.sqrt(2 * math.pi)

    def cost(amount: float) -> float:
        """Give Cu E[(T - held)+] + Co E[(held - T)+]."""
        return float(np.mean(300 * np.maximum(totals - amount, 0) + 100 * np.maximum(amount - totals, 0)))

    least = cost(held)
    assert least == pytest.approx((300 + 100) * 100 * density, rel=1e-3)
    for other in (held - 20, held - 5, held + 5, held + 20):
        assert cost(other) > least


def test_level_stays_within_its_limits_and_says_so() -> None:
    low, high = recommended_level(1, 9), recommended_level(1, 0)
    assert (low.q, low.wanted) == (0.5, 0.1)
    assert "below P50 you would plan to run short" in level_sentence(low, euros)
    assert (high.q, high.wanted) == (0.95, 1.0)
    assert "beyond P95" in level_sentence(high, euros)


@pytest.mark.parametrize(("short", "idle"), [(-1, 5), (0, 0), (math.nan, 1), (1, -1), (math.inf, 1)])
def test_answers_that_make_no_sense_are_refused(short: float, idle: float) -> None:
    with pytest.raises(SimulationError, match="both must be nothing or more"):
        recommended_level(short, idle)


def test_one_answer_alone_and_a_level_out_of_range_are_refused() -> None:
    forecast = simulate(small(), "diy", 1024)
    with pytest.raises(SimulationError, match="needs both answers"):
        contingency(forecast, short=5)
    with pytest.raises(SimulationError, match="between 0 and 1"):
        contingency(forecast, 1.0)


def test_sentence_says_what_to_hold_and_against_what() -> None:
    found = contingency(simulate(small(), "diy"), short=3, idle=1)
    assert found.level == 0.75
    text = contingency_sentence(found, euros)
    assert f"Hold {estimated(found.held, 'EUR')}: in 75 of 100 builds" in text
    assert found.lines[0].title in text
    assert found.advice is not None
    assert "hold P75" in level_sentence(found.advice, euros)


def test_a_known_line_takes_its_share_out_and_the_split_still_adds_up() -> None:
    known = KnownFacts(amounts={"kit": 2500.0})
    forecast = simulate(small(), "diy", known=known)
    found = contingency(forecast, 0.8)
    by_id = {share.id: share for share in found.lines}
    assert by_id["kit"].amount.error == pytest.approx(0, abs=1e-9)
    for split in (found.lines, found.groups, found.causes):
        assert math.fsum(share.amount.value for share in split) == pytest.approx(found.amount.value, abs=1e-6)


def test_published_figures_stand_beside_with_their_sources() -> None:
    published = {item.id: item for item in PUBLISHED}
    for id, (low, high) in OPTIMISM_UPLIFTS.items():
        assert (published[id].low, published[id].high) == (low, high)
    assert (published["roads_by_stage"].low, published["roads_by_stage"].high) == ROADS_BY_STAGE
    transport = published["transport_projects"]
    assert (transport.low, transport.high) == (TRANSPORT_OVERRUNS["roads"], TRANSPORT_OVERRUNS["rail"])
    assert all(item.source and item.standing for item in PUBLISHED)
    found = contingency(simulate(small(), "diy", 1024))
    rule = next(item for item in found.beside if item.published.id == "rule_of_thumb")
    assert (rule.low, rule.high) == pytest.approx((0.1 * found.base, 0.2 * found.base))
    assert "no data behind it" in published_sentence(rule, euros)
    assert all(item.published.of_cost for item in found.beside)


def test_rows_must_be_kept() -> None:
    with pytest.raises(SimulationError, match="rows were not kept"):
        contingency(simulate(small(), "diy", 1024, keep="totals"))


def test_errors_are_those_of_repeated_runs() -> None:
    """The error given for a share is about the spread of that share over runs with other seeds."""
    runs = [contingency(simulate(normals(NORMALS, 0.3), seed=seed), 0.8) for seed in range(20, 36)]
    shares = [next(share.amount for share in run.lines if share.id == "n2") for run in runs]
    spread = float(np.std([share.value for share in shares], ddof=1))
    given = float(np.mean([share.error for share in shares]))
    assert 0.4 < spread / given < 2.0
