"""How wide ranges should have been, learnt from closed lines: against numerical integration and closed forms.

Own ranges are κ times as wide as stated. Scores of closed lines are then normal with covariance κ² (Λ Λᵀ + Ψ), and κ's
posterior is its prior times that density, here integrated by quadrature.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from scipy import integrate, optimize, stats

from forecast import KnownFacts, simulate
from forecast.buildfile.reader import parse_build
from forecast.buildfile.schema import Build
from forecast.engine.condition import (
    HEARD_FROM,
    HEARD_WHOLLY,
    TAILS,
    WIDTH_ABOVE,
    WIDTH_BELOW,
    WIDTH_BEND,
    WIDTH_CLIP,
    WIDTH_MODE,
    Width,
    posterior,
    regressed_loadings,
    trusted,
)
from forecast.engine.known import PartPaid
from forecast.engine.margin import SPAN
from forecast.engine.plan import compile_plan
from forecast.engine.trials import run
from forecast.watching.reasons import learned_causes
from tests.references.portfolios import normals

ENDS = (WIDTH_MODE - 0.8, WIDTH_MODE + 2.0)
"""Of ln κ: farther out is next to nothing."""
EDGES = (0.9, 1.3)

Density = Callable[[float], float]


def prior(log: float) -> float:
    away = log - WIDTH_MODE
    if away < 0:
        return float(np.exp(-0.5 * (away / WIDTH_BELOW) ** 2))
    over = away / WIDTH_ABOVE - WIDTH_BEND  # from the bend on it goes on as steep as it is there
    return float(np.exp(-0.5 * min(over + WIDTH_BEND, WIDTH_BEND) ** 2 - WIDTH_BEND * max(over, 0.0)))


def expected(of: Density, likelihood: Density) -> float:
    """Give the posterior mean of a function of κ."""

    def whole(what: Density) -> float:
        return float(
            integrate.quad(
                lambda log: what(np.exp(log)) * likelihood(np.exp(log)) * prior(log),
                *ENDS,
                points=[WIDTH_MODE, WIDTH_MODE + WIDTH_BEND * WIDTH_ABOVE, *np.log(EDGES)],
            )[0]
        )

    return whole(of) / whole(lambda _: 1.0)


def learnt(scores: list[float], **more: list[float]) -> Width:
    found = posterior([[0.0]] * len(scores), scores, 1, own=[True] * len(scores), **more)
    assert found is not None
    assert found.width is not None
    return found.width


def heard(closed: float) -> float:
    """Give what ln κ is taken by after so many closed lines."""
    return float(np.clip((closed - HEARD_FROM) / (HEARD_WHOLLY - HEARD_FROM), 0, 1))


def check(width: Width, likelihood: Density) -> None:
    width = replace(width, heard=1.0)
    assert width.inverse_mean == pytest.approx(expected(lambda k: 1 / k, likelihood), rel=2e-3)
    drawn = width.at(stats.norm.ppf((np.arange(20_000) + 0.5) / 20_000))
    for power in (1, 2):
        truth = expected(lambda k, power=power: k**power, likelihood)  # type: ignore[misc]
        assert np.mean(drawn**power) == pytest.approx(truth, rel=3e-3)
    for edge in EDGES:
        below = expected(lambda k, edge=edge: float(k < edge), likelihood)  # type: ignore[misc]
        assert np.mean(drawn < edge) == pytest.approx(below, abs=5e-3)


@pytest.mark.parametrize(
    "scores", [[0.0], [2.0], [0.1, -0.2, 0.3, 0.0, -0.1], [1.9, -2.4, 2.8, -0.3, 1.5, -2.2, 0.6, 3.0]]
)
def test_width_learnt_from_scores(scores: list[float]) -> None:
    check(learnt(scores), lambda k: float(np.prod(stats.norm.pdf(scores, 0, k))))


def test_width_learnt_from_scores_that_share_a_cause() -> None:
    loadings = np.array([[0.5, 0.0], [0.5, 0.7], [0.5, -0.3]])
    scores = [1.8, 2.6, 1.1]
    covariance = loadings @ loadings.T + np.diag(1 - np.sum(loadings**2, axis=1))
    found = posterior(loadings.tolist(), scores, 2, own=[True] * 3)
    assert found is not None
    assert found.width is not None
    check(found.width, lambda k: float(stats.multivariate_normal.pdf(scores, np.zeros(3), k**2 * covariance)))


def test_what_counts_in_part_teaches_in_part() -> None:
    """A sum that is likely all, with that chance; a small line's, by the noise that its smallness adds."""
    scores, weights, noise = [2.5, -2.0, 0.4], [0.5, 1.0, 0.8], [0.0, 3.0, 1.0]
    power = np.array(weights) / (1 + np.array(noise))
    check(
        learnt(scores, weights=weights, evidence=noise),
        lambda k: float(np.prod(stats.norm.pdf(scores, 0, k) ** power)),
    )


def test_one_line_alone_makes_no_range_wider_and_four_are_heard_in_full() -> None:
    scores = [2.0, -2.5, 2.2, 1.8, -2.0]
    for closed, share in ((1, 0.0), (2, 1 / 3), (3, 2 / 3), (4, 1.0), (5, 1.0)):
        width = learnt(scores[:closed])
        assert width.heard == pytest.approx(share)
        assert width.middle == pytest.approx(replace(width, heard=1.0).middle ** share)
    assert learnt(scores[:4], weights=[0.5] * 4).heard == pytest.approx(1 / 3)


def test_a_range_that_was_wrong_counts_as_far_outside_and_no_farther() -> None:
    assert np.array_equal(learnt([50.0]).chances, learnt([WIDTH_CLIP]).chances)
    four = [learnt([one, 0.5, -0.5, 0.5]).middle for one in (WIDTH_CLIP, 3.0, 1.5)]
    assert four[0] > four[1] > four[2]


def test_before_anything_is_closed_ranges_hold_what_they_say() -> None:
    held = expected(
        lambda k: float(stats.norm.cdf(1.2815516 / k) - stats.norm.cdf(-1.2815516 / k)), lambda _: 1.0
    )
    assert held == pytest.approx(0.8, abs=0.01)
    check(Width.unknown(), lambda _: 1.0)


def test_scores_of_others_ranges_say_nothing_of_ones_own() -> None:
    found = posterior([[0.5]], [3.0], 1)
    assert found is not None
    assert found.width is None
    both = posterior([[0.5], [0.0]], [3.0, 1.0], 1, own=[False, True])
    assert both is not None
    assert both.width is not None
    assert np.array_equal(both.width.chances, learnt([1.0]).chances)


# -- drawn


def learning(build: Build) -> Build:
    return build.model_copy(update={"build": build.build.model_copy(update={"learn_ranges": True})})


DEAR_SCORES = (2.5, -1.5, 2.0)
DEAR = KnownFacts(amounts={"n0": 150.0, "n1": 255.0, "n3": 140.0})


def test_open_ranges_are_drawn_as_wide_as_learnt_and_stay_paired() -> None:
    """Without causes a normal line's deviation grows by √E[κ²]; before and after it correlate at E[κ] / √E[κ²]."""
    build = learning(normals([(100, 20), (300, 30), (500, 50), (100, 20)]))
    before, after = (simulate(build, trials=65_536, known=known).trials.row("n2") for known in (None, DEAR))

    def likelihood(k: float) -> float:
        return float(np.prod(stats.norm.pdf(DEAR_SCORES, 0, k)))

    first, second = (expected(lambda k, power=power: k ** (heard(3) * power), likelihood) for power in (1, 2))  # type: ignore[misc]
    assert second > 1.3
    assert after.mean() == pytest.approx(500, abs=4 * after.std() / np.sqrt(after.size))
    assert after.std() == pytest.approx(50 * np.sqrt(second), rel=0.02)
    assert np.corrcoef(before, after)[0, 1] == pytest.approx(first / np.sqrt(second), abs=0.01)


def test_what_others_taught_moves_the_mean_as_if_nothing_were_learnt_of_ranges() -> None:
    """Wider ranges teach the cause less, and are moved the more by it: E[line | z] = mean + sd · ρ z whatever κ is.

    Its variance is E[κ²] (1 − ρ (1, 1, 1) C⁻¹ (1, 1, 1)ᵀ ρ) sd², C with ρ off its diagonal; Σz counts ρ / (1 + 2ρ). So
    it is where each lies within a deviation of what the others say.
    """
    rho, scores = 0.3, (0.5, -0.25, 0.4)
    build = learning(normals([(100, 20), (200, 40), (300, 60), (100, 10)], rho))
    amounts = {"n0": 110.0, "n2": 285.0, "n3": 104.0}
    after = simulate(build, trials=65_536, known=KnownFacts(amounts=amounts)).trials.row("n1")
    covariance = np.full((3, 3), rho) + (1 - rho) * np.eye(3)
    second = expected(
        lambda k: k ** (2 * heard(3)),
        lambda k: float(stats.multivariate_normal.pdf(scores, np.zeros(3), k**2 * covariance)),
    )
    taught = rho / (1 + 2 * rho)
    mean = 200 + 40 * taught * sum(scores)
    assert after.mean() == pytest.approx(mean, abs=4 * after.std() / np.sqrt(after.size))
    assert after.std() == pytest.approx(40 * np.sqrt(second * (1 - 3 * rho * taught)), rel=0.02)


def test_what_taught_a_cause_still_adds_up() -> None:
    plan = compile_plan(learning(normals([(100, 20), (200, 40), (300, 60)], 0.3)))
    [cause] = learned_causes(plan, KnownFacts(amounts={"n0": 150.0, "n1": 210.0}), 1)
    assert sum(move for _, move in cause.taught_by) == pytest.approx(cause.mean, abs=1e-12)


# -- a price far outside its range


def misfit(residual: float) -> float:
    """Give what a guess's error adds to minus the logarithm of the density: normal within one, of a t beyond."""
    if abs(residual) <= 1:
        return 0.5 * residual**2
    return 0.5 + 0.5 * (TAILS + 1) * float(np.log((TAILS + residual**2) / (TAILS + 1)))


@pytest.mark.parametrize(
    "scores", [[0.8], [2.0], [3.5], [-6.0], [3.0, -0.5], [2.5, 2.2, 1.9], [6.0, 0.1, -0.2, 0.3]]
)
def test_the_mean_is_the_mode_under_tails_of_a_t(scores: list[float]) -> None:
    """Against a general-purpose minimiser (SciPy), at the width that they were judged by."""
    loading, count = 0.5, len(scores)
    found = posterior([[loading]] * count, scores, 1, own=[True] * count)
    assert found is not None
    all_of_them = np.ones(count, dtype=bool)
    _, scale = trusted(
        np.full((count, 1), loading),
        np.array(scores),
        np.ones(count),
        np.zeros(count),
        all_of_them,
        all_of_them,
    )
    alone = np.sqrt(1 - loading**2)

    def against(cause: float) -> float:
        return 0.5 * cause**2 + sum(misfit((z / scale - loading * cause) / alone) for z in scores)

    best = optimize.minimize_scalar(against, bounds=(-4, 4), method="bounded", options={"xatol": 1e-9})
    assert found.own[0] / scale == pytest.approx(best.x, abs=1e-3)
    assert found.moves.sum() == pytest.approx(found.own[0])


def test_one_price_far_outside_its_range_says_little_of_the_others_and_several_say_much() -> None:
    """With normal errors the cause would rise by half of each score's: by 3 here, for a price typed ten times over."""

    def taught(*scores: float) -> float:
        found = posterior([[0.5]] * len(scores), list(scores), 1, own=[True] * len(scores))
        assert found is not None
        return float(found.own[0])

    assert taught(0.8) == pytest.approx(0.4)
    alone = [taught(score) for score in (1.0, 2.0, 3.0, 6.0)]
    assert alone[1] > alone[0]
    assert alone[3] < alone[2] < 0.8  # the farther out, the more it is its own affair
    assert taught(3.0, 3.0, 3.0, 3.0) > 3 * alone[2] * 0.8
    assert taught(6.0, 0.0, 0.0, 0.0) < 0.25


def test_what_is_no_guess_of_ones_own_teaches_as_far_as_it_lies() -> None:
    found = posterior([[0.5]], [3.0], 1)
    assert found is not None
    assert found.mean[0] == pytest.approx(0.5 * 3.0)


def test_a_line_paid_in_part_is_as_wide_as_the_others() -> None:
    """With more to come: above what is paid, of a normal κ times as wide, its density times 1 / x, mixed over κ."""
    build = learning(normals([(100, 20), (500, 50), (300, 30), (100, 20)]))
    known = KnownFacts(
        amounts={"n0": 150.0, "n2": 255.0, "n3": 140.0}, part_paid={"n1": PartPaid(530.0, 0.0)}
    )
    drawn = simulate(build, trials=65_536, known=known).trials.row("n1")

    def above(k: float) -> float:
        width = 50 * k ** heard(3)
        weight = [
            integrate.quad(
                lambda x, power=power: stats.norm.pdf(x, 500, width) * x**power, 530, 530 + 9 * width
            )[0]  # type: ignore[misc]
            for power in (0, -1)
        ]
        return float(weight[0] / weight[1])

    truth = expected(above, lambda k: float(np.prod(stats.norm.pdf(DEAR_SCORES, 0, k))))
    assert drawn.mean() == pytest.approx(truth, abs=4 * drawn.std() / np.sqrt(drawn.size) + 0.1)


def test_rates_of_exchange_and_events_are_as_stated() -> None:
    text = """
[build]
name = "x"
currency = "EUR"
country = "IE"
[currency.JPY]
rate = { low = 0.0058, middle = 0.0062, high = 0.0066 }
volatility = 0.1
[[line]]
id = "kit"
group = "kit"
amount = { low = 400000, middle = 500000, high = 700000, currency = "JPY" }
[[line]]
id = "wheels"
group = "wheels"
amount = { low = 400, middle = 500, high = 700 }
[[event]]
id = "storm"
chance = 0.3
cost = 10
"""
    plan = compile_plan(parse_build(text))
    own = {item.id: item.own for item in plan.inputs}
    assert own["kit.amount"]
    assert own["wheels.amount"]
    assert not any(mine for name, mine in own.items() if name.startswith("fx."))
    known = KnownFacts(amounts={"wheels": 1500.0})
    forecasts = [simulate(parse_build(text), trials=4096, known=facts).trials for facts in (None, known)]
    assert np.array_equal(forecasts[0].gates, forecasts[1].gates)
    off = parse_build(text.replace('country = "IE"', 'country = "IE"\nlearn_ranges = false'))
    assert not any(item.own for item in compile_plan(off).inputs)


# -- rows that several inputs decide


def test_loadings_of_a_product_of_lognormals() -> None:
    """ln(quantity · price) has the deviation σ = √(s² + t² + 2 s t a·b) and loads (s a + t b) / σ on the causes."""
    rng = np.random.default_rng(5)
    causes = rng.standard_normal((3, 4096))
    s, t, a, b = 0.45, 0.25, np.array([0.7, 0.0, 0.0]), np.array([0.3, 0.6, 0.0])
    own = rng.standard_normal((2, 4096))
    scores = [load @ causes + np.sqrt(1 - load @ load) * e for load, e in zip((a, b), own, strict=True)]
    amounts = 20 * np.exp(s * scores[0]) * 60 * np.exp(t * scores[1])
    sigma = np.sqrt(s**2 + t**2 + 2 * s * t * (a @ b))
    truth = (s * a + t * b) / sigma
    found = regressed_loadings(amounts, causes)
    assert found[:2] == pytest.approx(truth[:2], abs=4 * np.sqrt((1 - truth @ truth) / 4096))
    assert found[2] == 0  # less than two standard errors of nothing


POWERS = (2.0, -0.3, 0.5, 1.2)


def test_the_tail_of_a_wider_range_goes_straight_on_and_what_spans_twentyfold_is_not_widened() -> None:
    """A lognormal line, its mean mixed over κ by quadrature: exact below a score of 3.5, straight above it.

    κ counts until P90 is twenty times P10; a range that spans more is drawn as it was written.
    """
    text = """
[build]
name = "x"
currency = "EUR"
country = "IE"
estimating = 0
[[line]]
id = "known0"
group = "kit"
amount = { low = 1000, middle = 1200, high = 1440 }
[[line]]
id = "known1"
group = "kit"
amount = { low = 1000, middle = 1200, high = 1440 }
[[line]]
id = "known2"
group = "kit"
amount = { low = 1000, middle = 1200, high = 1440 }
[[line]]
id = "known3"
group = "kit"
amount = { low = 1000, middle = 1200, high = 1440 }
[[line]]
id = "open"
group = "other"
amount = { low = 200, middle = 400, high = 800 }
[[line]]
id = "guess"
group = "other"
amount = { low = 20, middle = 100, high = 500 }
"""
    sigma = np.log(2) / stats.norm.ppf(0.9)
    widest = np.log(SPAN) / np.log(800 / 200)
    scores = stats.norm.ppf(0.9) * np.array(POWERS)
    plan = compile_plan(
        parse_build(text.replace("estimating = 0\n", "estimating = 0\nestimating_size = 0\n"))
    )
    known = KnownFacts(amounts={f"known{place}": 1200 * 1.2**power for place, power in enumerate(POWERS)})
    trials = run(plan, 65_536, known=known)
    drawn = trials.row("open")

    def mean(k: float) -> float:
        k = min(k, widest)
        below = 400 * np.exp(0.5 * (sigma * k) ** 2) * stats.norm.cdf(3.5 / k - sigma * k)
        over = k * stats.norm.pdf(3.5 / k) - 3.5 * stats.norm.sf(3.5 / k)
        end = 400 * np.exp(3.5 * sigma)
        slope = end * (1 - np.exp(-0.05 * sigma)) / 0.05
        return float(below + end * stats.norm.sf(3.5 / k) + slope * over)

    truth = expected(mean, lambda k: float(np.prod(stats.norm.pdf(scores, 0, k))))
    assert drawn.std() < 4 * truth  # untamed it is thousands of times that, and its error would hide anything
    assert drawn.mean() == pytest.approx(truth, abs=5 * drawn.std() / np.sqrt(drawn.size))
    untamed = expected(
        lambda k: 400 * float(np.exp(0.5 * (sigma * k) ** 2)),
        lambda k: float(np.prod(stats.norm.pdf(scores, 0, k))),
    )
    assert untamed > truth + 5 * drawn.std() / np.sqrt(drawn.size)
    as_written = np.abs(np.log(run(plan, 65_536).row("guess") / 100))
    with_known = np.abs(np.log(trials.row("guess") / 100))
    assert np.all(with_known <= as_written + 1e-12)  # narrower where κ is below one
    assert np.mean(with_known < as_written - 1e-12) < 0.25
