"""Learning from facts: against the truncated normal, rejection, Bayes' rule; and calibrated over a thousand builds."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from forecast import KnownFacts, simulate
from forecast.build.buildfile import parse_build
from forecast.build.schema import Build
from forecast.engine.condition import SCORE_CLIP, at_least, posterior
from forecast.engine.forecast import Forecast
from forecast.engine.plan import compile_plan
from forecast.engine.statistics import percentile
from forecast.engine.trials import LEAST_EFFECTIVE, run
from forecast.errors import SimulationError
from tests.references.portfolios import normals

HEAD = '[build]\nname = "x"\ncurrency = "EUR"\ncountry = "IE"\nestimating = {estimating}\n'
CAUSE = '[[cause]]\nid = "fit"\n'


def mean_of(forecast: Forecast, row: str) -> tuple[float, float]:
    """Give a row's weighted mean and its standard error over replicates."""
    from forecast.engine.statistics import mean_estimate

    trials = forecast.trials
    found = mean_estimate(trials.row(row), trials.replicates, trials.weights)
    return found.value, found.error


def test_a_part_bought_line_is_a_truncated_normal() -> None:
    """One line alone, N(100, 20), 110 paid: mean and percentiles of the normal above 110."""
    forecast = simulate(normals([(100, 20)]), trials=65_536, known=KnownFacts(floors={"n0": 110.0}))
    truth = stats.truncnorm(0.5, np.inf, 100, 20)
    value, error = mean_of(forecast, "n0")
    assert abs(value - truth.mean()) <= 4 * error + 1e-3
    for q in (0.1, 0.5, 0.9):
        found = forecast.percentile(q)
        assert abs(found.value - truth.ppf(q)) <= 4 * found.error + 0.01
    assert forecast.trials.totals.min() >= 110


def test_a_part_bought_line_moves_its_neighbours_as_rejection_does() -> None:
    """Correlated normals: weights and truncation against keeping those of ten million trials that reach the floor."""
    build = normals([(100, 20), (200, 40), (300, 60)], 0.3)
    forecast = simulate(build, trials=65_536, seed=4, known=KnownFacts(floors={"n0": 125.0, "n1": 210.0}))
    generator = np.random.default_rng(1)
    cause = np.sqrt(0.3) * generator.standard_normal(4_000_000)
    scores = [cause + np.sqrt(0.7) * generator.standard_normal(cause.size) for _ in range(3)]
    amounts = np.array([100 + 20 * scores[0], 200 + 40 * scores[1], 300 + 60 * scores[2]])
    kept = amounts[:, (amounts[0] >= 125) & (amounts[1] >= 210)]
    assert kept.shape[1] > 200_000
    for place in range(3):
        value, error = mean_of(forecast, f"n{place}")
        plain = kept[place].std() / np.sqrt(kept.shape[1])
        assert abs(value - kept[place].mean()) <= 4 * np.hypot(error, plain)
    for q in (0.5, 0.9):
        found = forecast.percentile(q)
        assert abs(found.value - np.quantile(kept.sum(axis=0), q)) <= 4 * np.hypot(found.error, 0.3)


def test_a_floor_on_quantity_times_price_is_met_by_weights() -> None:
    text = HEAD.format(estimating=0.25) + (
        '[[line]]\nid = "filler"\ngroup = "consumables"\nquantity = { low = 3, middle = 5, high = 9 }\n'
        "price = { low = 9, middle = 12, high = 16 }\n"
        '[[line]]\nid = "paint"\ngroup = "finish"\namount = { low = 60, middle = 100, high = 180 }\n'
    )
    build = parse_build(text)
    forecast = simulate(build, trials=65_536, known=KnownFacts(floors={"filler": 70.0}))
    prior = simulate(build, trials=65_536, seed=77).trials
    reached = prior.row("filler") >= 70
    assert forecast.trials.row("filler").min() >= 70
    for row in ("filler", "paint"):
        value, error = mean_of(forecast, row)
        kept = prior.row(row)[reached]
        assert abs(value - kept.mean()) <= 4 * np.hypot(error, kept.std() / np.sqrt(kept.size))
    assert 0.9 < forecast.trials.effective / np.count_nonzero(forecast.trials.weights) <= 1


def test_drawing_at_least_keeps_ranks_and_follows_the_truncated_normal() -> None:
    own = stats.norm.ppf((np.arange(2000) + 0.5) / 2000)
    scores, reach = at_least(own, np.full(2000, 1.2))
    assert np.all(np.diff(scores) >= 0)
    assert reach == pytest.approx(np.full(2000, stats.norm.sf(1.2)))
    assert scores == pytest.approx(stats.truncnorm(1.2, np.inf).ppf((np.arange(2000) + 0.5) / 2000), abs=1e-9)
    assert np.isfinite(at_least(own, np.full(2000, 9.0))[0]).all()


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


def test_more_is_drawn_when_few_trials_agree_and_it_is_said_when_that_is_not_enough() -> None:
    build = normals([(100, 20)] * 4, 0.6)
    floors = {f"n{place}": 133.0 for place in range(4)}
    drawn = simulate(build, trials=2048, known=KnownFacts(floors={"n0": 128.0, "n1": 128.0})).trials
    assert drawn.count > 2048
    assert drawn.count % 2048 == 0
    assert drawn.effective >= LEAST_EFFECTIVE
    assert drawn.rows is not None
    assert drawn.rows.shape[1] == drawn.count
    assert drawn.remarks == ()
    few = simulate(build, trials=1024, known=KnownFacts(floors=floors | {"n0": 157.0}))
    assert few.trials.count == 8 * 1024
    assert few.trials.effective < LEAST_EFFECTIVE
    assert "read these figures as rough" in " ".join(few.remarks)


def test_order_statistics_with_weights_are_refused() -> None:
    forecast = simulate(normals([(100, 20)]), known=KnownFacts(floors={"n0": 110.0}))
    with pytest.raises(SimulationError, match=r"use the error of percentile\(\) instead"):
        forecast.interval(0.9)


@pytest.mark.parametrize("known", [KnownFacts(amounts={"kti": 1.0}), KnownFacts(gates={"kti": True})])
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

    Each of 1,000 builds is drawn from the model itself; of each a random subset is revealed (prices paid in full, in
    part, whether the event happened), and the rest forecast from that.
    """
    plan = compile_plan(parse_build(CALIBRATION))
    truths = run(plan, 16_384, seed=2024)
    generator = np.random.default_rng(99)
    chosen = generator.choice(truths.count, 1000, replace=False)
    ranks, inside = [], 0
    for number, trial in enumerate(chosen):
        amounts: dict[str, float] = {}
        floors: dict[str, float] = {}
        for line in ("kit", "freight", "filler", "paint"):
            amount = float(truths.row(line)[trial])
            kind = generator.random()
            if kind < 0.4 and line != "paint":  # something always stays open
                amounts[line] = amount
            elif (
                kind < 0.6
            ):  # so much is paid already, whatever the amount will be: or else it is paid in full
                part = float(truths.row(line)[generator.integers(truths.count)])
                if amount >= part:
                    floors[line] = part
                else:
                    amounts[line] = amount
        gates = {"refit": bool(truths.gates[0, trial])} if generator.random() < 0.4 else {}
        if gates.get("refit") and generator.random() < 0.5:
            amounts["refit"] = float(truths.row("refit")[trial])
        known = KnownFacts(amounts, floors, gates)
        now = run(plan, 512, seed=number, known=known, keep="totals")
        total = float(truths.totals[trial])
        weights = np.ones(now.count) if now.weights is None else now.weights
        below = weights[now.totals < total].sum() + generator.random() * weights[now.totals == total].sum()
        ranks.append(below / weights.sum())
        low, high = (percentile(now.totals, q, now.weights) for q in (0.1, 0.9))
        inside += low <= total <= high
    counts = np.histogram(ranks, bins=20, range=(0, 1))[0]
    assert stats.chisquare(counts).pvalue > 0.01
    assert 0.77 <= inside / 1000 <= 0.83
