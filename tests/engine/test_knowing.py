"""Learning from facts: against the normal update and Bayes' rule; and calibrated over a thousand builds."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from forecast import KnownFacts, simulate
from forecast.buildfile.reader import parse_build
from forecast.buildfile.schema import Build
from forecast.engine.condition import SCORE_CLIP, posterior
from forecast.engine.forecast import Forecast, forecast_plan
from forecast.engine.known import Agreed, Foreign, PartPaid
from forecast.engine.plan import compile_plan
from forecast.engine.statistics import percentile
from forecast.engine.trials import LEAST_EFFECTIVE, run
from forecast.errors import SimulationError
from tests.references.portfolios import EXACTLY, normals

HEAD = '[build]\nname = "x"\ncurrency = "EUR"\ncountry = "IE"\nestimating = {estimating}\n' + EXACTLY
CAUSE = '[[cause]]\nid = "fit"\n'


def mean_of(forecast: Forecast, row: str) -> tuple[float, float]:
    """Give a row's weighted mean and its standard error over replicates."""
    from forecast.engine.statistics import mean_estimate

    trials = forecast.trials
    found = mean_estimate(trials.row(row), trials.replicates, trials.weights)
    return found.value, found.error


def event_build(loading: float = 0.6) -> Build:
    return parse_build(
        HEAD.format(estimating=0) + CAUSE + f'[[line]]\nid = "kit"\ngroup = "kit"\n'
        f'amount = {{ shape = "normal", mean = 100, sd = 20, causes = {{ fit = {loading} }} }}\n'
        f'[[event]]\nid = "refit"\nchance = 0.2\ncost = 50\ncauses = {{ fit = {loading} }}\n'
        '[[event]]\nid = "storm"\nchance = 0.3\ncost = 10\n'
    )


@pytest.mark.parametrize("happened", [True, False])
def test_an_event_that_happened_or_cannot_moves_what_shares_its_cause(happened: bool) -> None:
    """Kit and event scores are bivariate normal: E[kit | event] = 100 + 20 ρ φ(a) / p, or less ρ φ(a) / (1 − p)."""
    forecast = simulate(event_build(), trials=65_536, known=KnownFacts(gates={"refit": happened}))
    density = stats.norm.pdf(stats.norm.ppf(0.2))
    shift = 0.36 * density / 0.2 if happened else -0.36 * density / 0.8
    value, error = mean_of(forecast, "kit")
    assert abs(value - (100 + 20 * shift)) <= 4 * error
    assert np.all(forecast.trials.row("refit") == 50.0 * happened)
    storm, spread = mean_of(forecast, "storm")
    assert abs(storm - 3) <= 4 * spread + 1e-9


def test_a_dear_kit_makes_the_event_likelier() -> None:
    """P(event | kit score z) = Φ((Φ⁻¹(p) + ρ z) / √(1 − ρ²)), with ρ the product of the two loadings."""
    forecast = simulate(event_build(), trials=65_536, known=KnownFacts(amounts={"kit": 140.0}))
    chance = stats.norm.cdf((stats.norm.ppf(0.2) + 0.36 * 2) / np.sqrt(1 - 0.36**2))
    value, error = mean_of(forecast, "refit")
    assert abs(value / 50 - chance) <= 4 * error / 50


def test_events_without_causes_change_nothing_else() -> None:
    before = simulate(event_build(), trials=4096)
    after = simulate(event_build(), trials=4096, known=KnownFacts(gates={"storm": True}))
    assert after.trials.weights is None
    assert np.array_equal(before.trials.row("kit"), after.trials.row("kit"))
    assert np.all(after.trials.row("storm") == 10)


def test_before_and_after_a_receipt_are_paired() -> None:
    """What shares no cause with the receipt keeps its draws; what does moves by the posterior alone."""
    build = normals([(100, 20), (200, 40)], 0.3)
    before = simulate(build, trials=16_384)
    after = simulate(build, trials=16_384, known=KnownFacts(amounts={"n0": 130.0}))
    learned = posterior([[np.sqrt(0.3)]], [1.5], 1)
    assert learned is not None
    assert learned.mean[0] == pytest.approx(np.sqrt(0.3) * 1.5)
    assert learned.root[0, 0] ** 2 == pytest.approx(0.7)
    correlation = np.corrcoef(before.trials.row("n1"), after.trials.row("n1"))[0, 1]
    assert correlation == pytest.approx((0.3 * np.sqrt(0.7) + 0.7) / np.sqrt(0.91), abs=0.01)
    alone = normals([(100, 20), (200, 40)])
    rest = [
        simulate(alone, trials=1024, known=known).trials.row("n1")
        for known in (None, KnownFacts(amounts={"n0": 130.0}))
    ]
    assert np.array_equal(*rest)


def test_a_price_outside_its_range_is_clipped_and_said() -> None:
    forecast = simulate(normals([(100, 20), (200, 40)], 0.3), known=KnownFacts(amounts={"n0": 1000.0}))
    assert forecast.remarks == ("N0 came in above anything its stated range allows.",)
    value, error = mean_of(forecast, "n1")
    assert abs(value - (200 + 40 * 0.3 * SCORE_CLIP)) <= 4 * error
    assert np.all(forecast.trials.row("n0") == 1000)


def rare_events(chance: float) -> Build:
    """Give events that share one strong cause, so that few trials agree once several of them happened."""
    text = HEAD.format(estimating=0) + CAUSE + '[[line]]\nid = "kit"\ngroup = "kit"\namount = 100\n'
    for name in "abcd":
        text += f'[[event]]\nid = "{name}"\nchance = {chance}\ncost = 50\ncauses = {{ fit = 0.9 }}\n'
    return parse_build(text)


def test_more_is_drawn_when_few_trials_agree_and_it_is_said_when_that_is_not_enough() -> None:
    happened = KnownFacts(gates=dict.fromkeys("abc", True))
    drawn = simulate(rare_events(0.12), trials=8192, known=happened).trials
    assert drawn.count > 8192
    assert drawn.count % 8192 == 0
    assert drawn.effective >= LEAST_EFFECTIVE
    assert drawn.rows is not None
    assert drawn.rows.shape[1] == drawn.count
    assert drawn.remarks == ()
    few = simulate(rare_events(0.001), trials=1024, known=happened)
    assert few.trials.count == 8 * 1024
    assert few.trials.effective < LEAST_EFFECTIVE
    assert "read these figures as rough" in " ".join(few.remarks)


def test_a_further_batch_draws_no_more_than_the_first_when_few_trials_agree() -> None:
    """Replicates are numbered from the batch's first on, and there are never more than eight times as many."""
    happened = KnownFacts(gates=dict.fromkeys("abc", True))
    plan = compile_plan(rare_events(0.001))
    for first in (0, 32):
        found = run(plan, 1024, 3, known=happened, keep="totals", first_replicate=first)
        assert found.numbers == tuple(range(first, first + 8 * 16))
        assert found.count == 8 * 1024


def test_until_stable_reports_the_weighted_trials_of_all_blocks() -> None:
    """E[kit | event] = 100 + 20 ρ φ(a) / p, where trials weigh by how well they agree with what happened."""
    known = KnownFacts(gates={"refit": True})
    found = forecast_plan(compile_plan(event_build()), "until stable", tolerance=0.5, known=known)
    density = stats.norm.pdf(stats.norm.ppf(0.2))
    estimate = found.mean
    assert estimate.value == pytest.approx(100 + 20 * 0.36 * density / 0.2 + 50 + 3, abs=0.5)


def test_lines_paid_in_part_weigh_no_trials() -> None:
    """What is paid towards a line is drawn above, not looked for among all trials: every trial counts in full."""
    known = KnownFacts(part_paid={f"n{place}": PartPaid(200.0, 0.5) for place in range(4)})
    trials = simulate(normals([(100, 20)] * 4, 0.6), trials=1024, known=known).trials
    assert trials.count == 1024
    assert trials.weights is None
    assert trials.effective == 1024


def test_order_statistics_with_weights_are_refused() -> None:
    forecast = simulate(event_build(), known=KnownFacts(gates={"refit": True}))
    with pytest.raises(SimulationError, match=r"use the error of percentile\(\) instead"):
        forecast.interval(0.9)


@pytest.mark.parametrize(
    "known",
    [
        KnownFacts(amounts={"kti": 1.0}),
        KnownFacts(part_paid={"kti": PartPaid(1.0, 0.5)}),
        KnownFacts(agreed={"kti": Agreed(1.0, 0.1)}),
        KnownFacts(fixed={"kti": 1.0}),
        KnownFacts(foreign={"kti": Foreign("JPY", 1.0)}),
        KnownFacts(gates={"kti": True}),
    ],
)
def test_facts_about_nothing_are_refused(known: KnownFacts) -> None:
    with pytest.raises(SimulationError, match="nothing called 'kti' in this scenario"):
        simulate(event_build(), known=known)


CALIBRATION = (
    HEAD.format(estimating=0.25)
    + CAUSE
    + """
[[line]]
id = "kit"
group = "kit"
amount = { low = 80, middle = 100, high = 150, causes = { fit = "moderate" } }
[[line]]
id = "freight"
group = "freight"
amount = { shape = "triangular", min = 20, mode = 30, max = 70 }
[[line]]
id = "filler"
group = "consumables"
quantity = { low = 3, middle = 5, high = 9, causes = { fit = "moderate" } }
price = { low = 4, middle = 6, high = 8 }
[[line]]
id = "paint"
group = "finish"
amount = { shape = "beta-pert", min = 60, mode = 90, max = 220 }
[[line]]
id = "duty"
group = "import"
percent = 10
of = ["kit", "freight"]
[[event]]
id = "refit"
chance = 0.3
causes = { fit = "strong" }
cost = { low = 20, middle = 40, high = 90 }
"""
)


def test_calibrated_over_a_thousand_builds() -> None:
    """Simulation-based calibration (Talts et al. 2018): the true total's rank is uniform, whatever was revealed.

    Each of 1,000 builds is drawn from the model itself; of each a random subset is revealed (prices paid in full; sums
    paid of which nothing was said, all of it as often as the model thinks; whether the event happened), and the rest is
    forecast from that.
    """
    plan = compile_plan(parse_build(CALIBRATION))
    truths = run(plan, 16_384, seed=2024)
    generator = np.random.default_rng(99)
    chosen = generator.choice(truths.count, 1000, replace=False)
    ranks, inside = [], 0
    for number, trial in enumerate(chosen):
        amounts: dict[str, float] = {}
        parts: dict[str, PartPaid] = {}
        for line in ("kit", "freight", "filler", "paint"):
            amount = float(truths.row(line)[trial])
            kind = generator.random()
            if kind < 0.4 and line != "paint":  # something always stays open
                amounts[line] = amount
            elif kind < 0.7:
                chance = float(generator.choice([0.0, 0.25, 0.6, 0.9]))
                whole = generator.random() < chance
                parts[line] = PartPaid(amount if whole else amount * generator.random(), chance)
        gates = {"refit": bool(truths.gates[0, trial])} if generator.random() < 0.4 else {}
        if gates.get("refit") and generator.random() < 0.5:
            amounts["refit"] = float(truths.row("refit")[trial])
        known = KnownFacts(amounts=amounts, part_paid=parts, gates=gates)
        now = run(plan, 512, seed=number, known=known, keep="totals")
        total = float(truths.totals[trial])
        weights = np.ones(now.count) if now.weights is None else now.weights
        close = 1e-9 * total  # all may be known, and settled in many trials: a tie is shared out
        below, upto = (weights[now.totals < total + one].sum() / weights.sum() for one in (-close, close))
        ranks.append(below + generator.random() * (upto - below))
        low, high = (percentile(now.totals, q, now.weights) for q in (0.1, 0.9))
        inside += low - close <= total <= high + close
    counts = np.histogram(ranks, bins=20, range=(0, 1))[0]
    assert stats.chisquare(counts).pvalue > 0.01
    assert 0.77 <= inside / 1000 <= 0.83
