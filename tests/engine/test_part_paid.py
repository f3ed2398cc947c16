"""What a sum paid says when nobody said whether it is all, and what an agreed price says: against closed forms.

Either the sum is the final amount X, or it is a share of X, any share as likely as another. A sum p then has, for its
logarithm, the density f(ln p) or E[p / X; X > p]. For a lognormal X with deviation σ and p at score z both are closed
forms: φ(z) / σ, and exp(σ z + σ² / 2) Φ(−z − σ).
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy import integrate, optimize, stats

from forecast import KnownFacts, simulate
from forecast.buildfile.reader import parse_build
from forecast.buildfile.schema import Build
from forecast.engine.condition import at_least
from forecast.engine.facts import prepare
from forecast.engine.forecast import Forecast
from forecast.engine.known import Agreed, PartPaid
from forecast.engine.margin import Margin
from forecast.engine.plan import compile_plan
from forecast.engine.statistics import mean_estimate
from forecast.figures.shapes import Flat, Gaussian, Shape, Triangle, lognormal
from tests.references.portfolios import EXACTLY, normals

HEAD = f'[build]\nname = "x"\ncurrency = "EUR"\ncountry = "IE"\nestimating = 0\n{EXACTLY}'
SIGMA = 0.4
LOGNORMAL = (
    HEAD
    + f'[[line]]\nid = "kit"\ngroup = "kit"\namount = {{ shape = "lognormal", median = 1000, sigma = {SIGMA} }}\n'
)


def mean_of(forecast: Forecast, row: str) -> tuple[float, float]:
    """Give a row's mean and its standard error over replicates."""
    trials = forecast.trials
    found = mean_estimate(trials.row(row), trials.replicates, trials.weights)
    return found.value, found.error


def more(**paid: float) -> KnownFacts:
    """Give sums paid with more to come."""
    return KnownFacts(part_paid={name: PartPaid(amount, 0.0) for name, amount in paid.items()})


def fade(z: float) -> float:
    """Give how far a sum at score z counts as a share: wholly from P10 on, and hardly at all near nothing."""
    return min(1.0, float(stats.norm.cdf(z)) / 0.1)


class Above:
    """X given that p is paid and any share is as likely as another: its own density times 1 / x above p."""

    def __init__(self, mean: float, sd: float, paid: float) -> None:
        self.own, self.paid = stats.norm(mean, sd), paid
        self.top = max(paid, mean) + 10 * sd
        self.power = fade((paid - mean) / sd)
        self.whole = self._upto(self.top, 0)

    def _upto(self, top: float, moment: int) -> float:
        return float(
            integrate.quad(lambda x: self.own.pdf(x) * x ** (moment - self.power), self.paid, top, limit=200)[
                0
            ]
        )

    def mean(self) -> float:
        return self._upto(self.top, 1) / self.whole

    def ppf(self, q: float) -> float:
        return float(optimize.brentq(lambda x: self._upto(x, 0) / self.whole - q, self.paid + 1e-9, self.top))


def chance_lognormal(z: float, prior: float, sigma: float = SIGMA) -> float:
    """Give the closed form of the chance that a sum paid is all."""
    whole = stats.norm.pdf(z) / sigma
    share = np.exp(sigma * z + sigma**2 / 2) * stats.norm.cdf(-z - sigma)
    return float(prior * whole / (prior * whole + (1 - prior) * share))


# -- more to come


def test_drawing_at_least_keeps_ranks_and_follows_the_truncated_normal() -> None:
    above = 1 - (np.arange(2000) + 0.5) / 2000
    scores = at_least(above, np.full(2000, 1.2))
    assert np.all(np.diff(scores) >= 0)
    assert scores == pytest.approx(stats.truncnorm(1.2, np.inf).ppf((np.arange(2000) + 0.5) / 2000), abs=1e-9)
    assert np.isfinite(at_least(above, np.full(2000, 9.0))).all()


def test_a_line_with_more_to_come_lies_above_what_is_paid() -> None:
    """One line alone, N(100, 20), 110 paid: the normal's density times 1 / x above 110, by quadrature."""
    forecast = simulate(normals([(100, 20)]), trials=65_536, known=more(n0=110.0))
    truth = Above(100, 20, 110)
    value, error = mean_of(forecast, "n0")
    assert abs(value - truth.mean()) <= 4 * error + 0.06  # ln x is taken as straight around the sum paid
    for q in (0.1, 0.5, 0.9):
        found = forecast.percentile(q)
        assert abs(found.value - truth.ppf(q)) <= 4 * found.error + 0.0015 * truth.ppf(q)
    assert forecast.trials.totals.min() >= 110


def test_what_is_paid_towards_more_teaches_the_others_nothing() -> None:
    build = normals([(100, 20), (200, 40), (300, 60)], 0.6)
    before, after = (
        simulate(build, trials=4096, known=known).trials for known in (None, more(n0=160.0, n1=20.0))
    )
    assert np.array_equal(before.row("n2"), after.row("n2"))
    assert after.weights is None
    assert after.conditions is not None
    assert after.conditions.posterior is None


def test_with_more_to_come_a_line_still_hears_what_others_taught() -> None:
    """Two normals at correlation ρ, the other closed at score 1.5: given the cause the line's normal counts by 1 / x.

    E[line] = ∫ E[N(λ f, 1 − ρ) / x above the bound] dN(f; λ 1.5, 1 − ρ), with λ = √ρ, by quadrature.
    """
    rho, bound = 0.5, 0.8
    known = KnownFacts(amounts={"n0": 130.0}, part_paid={"n1": PartPaid(200 + 40 * bound, 0.0)})
    forecast = simulate(normals([(100, 20), (200, 40)], rho), trials=65_536, known=known)
    weight, root = np.sqrt(1 - rho), np.sqrt(rho)

    def given(f: float) -> float:
        line = Above(200 + 40 * root * f, 40 * weight, 200 + 40 * bound)
        line.power = fade(bound)  # by the line alone
        line.whole = line._upto(line.top, 0)
        return line.mean() * float(stats.norm.pdf(f, root * 1.5, weight))

    truth = integrate.quad(given, -4, 6)[0]
    value, error = mean_of(forecast, "n1")
    assert abs(value - truth) <= 4 * error + 0.05


def test_more_to_come_on_quantity_times_price() -> None:
    """A product of two lognormals is lognormal: so is the rest of a line paid in part, above what is paid."""
    text = HEAD + (
        '[[line]]\nid = "filler"\ngroup = "consumables"\n'
        'quantity = { shape = "lognormal", median = 5, sigma = 0.4 }\n'
        'price = { shape = "lognormal", median = 12, sigma = 0.3 }\n'
    )
    forecast = simulate(parse_build(text), trials=65_536, known=more(filler=70.0))
    z = np.log(70 / 60) / 0.5
    truth = 60 * np.exp(
        0.5 * (stats.truncnorm(z + 0.5, np.inf).ppf([0.1, 0.5, 0.9]) - 0.5)
    )  # 1 / x shifts by σ
    assert forecast.trials.row("filler").min() >= 70
    for q, wanted in zip((0.1, 0.5, 0.9), truth, strict=True):
        found = forecast.percentile(q)
        # The bound's score is a rank among 4,096 prior trials: its standard error moves the whole.
        rank = 60 * 0.5 * np.sqrt(stats.norm.cdf(z) * stats.norm.sf(z) / 4096) / stats.norm.pdf(z)
        assert abs(found.value - wanted) <= 4 * np.hypot(found.error, rank)


# -- settled or not


def test_beyond_four_scores_a_margin_goes_on_as_steep_as_from_three_to_four() -> None:
    """Of N(100, 10²): 130 and 140 at scores 3 and 4, so 140² / 130 at 5; 70 and 60 downwards, so 60² / 70."""
    margin = Margin.of_shape(Gaussian(100, 10))
    inside, beyond = np.array([-4.0, -3, 0, 3, 4]), np.array([-5.0, 5, 6])
    assert margin.amount(inside) == pytest.approx([60, 70, 100, 130, 140], rel=1e-12)
    assert margin.amount(beyond) == pytest.approx([60**2 / 70, 140**2 / 130, 140**3 / 130**2], rel=1e-12)
    assert margin.score(margin.amount(beyond)) == pytest.approx(beyond, rel=1e-9)


def test_a_line_that_may_come_to_nothing_has_a_margin_all_the_same() -> None:
    """Nothing in 30 of 100 trials, else 101, 102, … 170: the median is 120.5."""
    margin = Margin.of_trials(np.concatenate([np.zeros(30), np.arange(101.0, 171.0)]))
    assert np.all(np.diff(margin.logs) > 0)
    assert margin.amount(np.zeros(1)) == pytest.approx([120.5])
    assert margin.amount(np.array([-3.0]))[0] < 1


@pytest.mark.parametrize("prior", [0.25, 0.6, 0.9])
def test_the_chance_of_being_settled_against_the_lognormals_closed_form(prior: float) -> None:
    margin = Margin.of_shape(lognormal(1000, SIGMA))
    for z in np.linspace(-6, 6, 25):
        found = margin.settled(1000 * float(np.exp(SIGMA * z)), prior)
        assert found == pytest.approx(chance_lognormal(float(z), prior), abs=2e-3)


@pytest.mark.parametrize(("mean", "sd"), [(0.8, 0.7), (-0.5, 0.9), (0.3, 1.4)])
def test_the_chance_of_being_settled_in_the_light_of_other_receipts(mean: float, sd: float) -> None:
    """Others' receipts move the score to N(mean, sd²): a lognormal of deviation σ sd around exp(σ mean)."""
    margin = Margin.of_shape(lognormal(1000, SIGMA))
    for z in np.linspace(-3, 4, 15):
        found = margin.settled(1000 * float(np.exp(SIGMA * z)), 0.6, mean, sd)
        assert found == pytest.approx(chance_lognormal((z - mean) / sd, 0.6, SIGMA * sd), abs=3e-3)


@pytest.mark.parametrize("prior", [0.25, 0.9])
@pytest.mark.parametrize(
    ("shape", "law"),
    [
        (Gaussian(100, 20), stats.norm(100, 20)),
        (Gaussian(100, 3), stats.norm(100, 3)),
        (Triangle(60, 80, 160), stats.triang(0.2, 60, 100)),
        (Flat(100, 200), stats.uniform(100, 100)),
    ],
)
def test_the_chance_of_being_settled_against_numerical_integration(
    shape: Shape, law: Any, prior: float
) -> None:
    """Wide or narrow, with tails or with edges, from P5 to P95."""
    margin = Margin.of_shape(shape)
    for paid in np.linspace(*law.ppf([0.05, 0.95]), 9):
        whole = paid * law.pdf(paid)
        share = paid * integrate.quad(lambda x: law.pdf(x) / x, paid, law.ppf(1 - 1e-12))[0]
        truth = prior * whole / (prior * whole + (1 - prior) * share)
        assert margin.settled(float(paid), prior) == pytest.approx(truth, abs=0.005)


@pytest.mark.parametrize("seed", range(8))
def test_beyond_all_prior_trials_scores_go_on_as_near_their_ends(seed: int) -> None:
    """Four of 4,096 trials lie beyond ±3.1: what lies farther is judged by the last unit of score, not by chance."""
    drawn = 1000 * np.exp(SIGMA * np.random.default_rng(seed).standard_normal(4096))
    margin = Margin.of_trials(drawn)
    error = np.sqrt(stats.norm.sf(3) / 4096) / stats.norm.pdf(
        3
    )  # of the score at the end of the table, and of its slope
    for z in (-5.0, -4.0, 4.0, 5.0):
        amount = 1000 * np.exp(SIGMA * z)
        score = margin.score(np.array([amount]))
        assert score[0] == pytest.approx(z, abs=4 * error * (abs(z) - 2))
        assert margin.amount(score)[0] == pytest.approx(amount)


def test_a_range_that_may_be_too_narrow_is_judged_by_the_mixture() -> None:
    """Settled at the mean density over widths, or a share of X: E[p / X; X > p] over the same widths, by quadrature."""
    widths, paid, prior = np.array([0.6, 1.0, 2.2]), 1000 * float(np.exp(-2.5 * SIGMA)), 0.9
    shape = lognormal(1000, SIGMA)
    found = Margin.of_shape(shape).settled(paid, prior, widths=widths)
    whole = np.mean(stats.norm.pdf(-2.5 / widths) / widths) / SIGMA
    share = np.mean(
        [np.exp(-2.5 * SIGMA + (SIGMA * k) ** 2 / 2) * stats.norm.cdf(2.5 / k - SIGMA * k) for k in widths]
    )
    truth = prior * whole / (prior * whole + (1 - prior) * share)
    assert found == pytest.approx(truth, abs=0.005)
    assert Margin.of_shape(shape).settled(paid, prior) < truth - 0.1


def test_what_was_said_to_be_all_or_not_is_not_judged() -> None:
    margin = Margin.of_shape(Gaussian(100, 20))
    for paid in (1.0, 100.0, 500.0):
        assert margin.settled(paid, 0.0) == 0
        assert margin.settled(paid, 1.0) == 1


@pytest.mark.parametrize("prior", [0.25, 0.9])
def test_a_line_paid_in_part_is_the_mixture(prior: float) -> None:
    """Settled in as many trials as the closed form says, at what was paid; else lognormal above it."""
    for z in (-0.7, 0.0, 1.5):
        paid = 1000 * float(np.exp(SIGMA * z))
        known = KnownFacts(part_paid={"kit": PartPaid(paid, prior)})
        forecast = simulate(parse_build(LOGNORMAL), trials=65_536, known=known)
        drawn = forecast.trials.row("kit")
        chance = chance_lognormal(z, prior)
        assert np.mean(drawn == paid) == pytest.approx(
            chance, abs=4 * np.sqrt(chance * (1 - chance) / drawn.size) + 2e-3
        )
        rest = drawn[drawn > paid]
        shift = fade(z) * SIGMA  # 1 / x times a lognormal's density is one with its score so much lower
        wanted = 1000 * np.exp(SIGMA * (stats.truncnorm(z + shift, np.inf).ppf([0.1, 0.5, 0.9]) - shift))
        assert np.quantile(rest, [0.1, 0.5, 0.9]) == pytest.approx(wanted, rel=0.02)


@pytest.mark.parametrize(
    ("back", "judged_by"), [(0.0, 800.0), (250.0, 1050.0), (799.0, 1599.0), (800.0, 800.0)]
)
def test_what_came_back_makes_a_sum_look_no_less_settled(back: float, judged_by: float) -> None:
    """A price reduced afterwards is judged by what was paid before; what came back for the most part is not."""
    prior = 0.9
    known = KnownFacts(part_paid={"kit": PartPaid(800.0, prior, back=back)})
    drawn = simulate(parse_build(LOGNORMAL), trials=65_536, known=known).trials.row("kit")
    chances = [chance_lognormal(float(np.log(sum_ / 1000)) / SIGMA, prior) for sum_ in (800.0, judged_by)]
    assert max(chances) > 0.5
    assert np.mean(drawn == 800.0) == pytest.approx(max(chances), abs=0.01)


def test_a_sum_likely_to_be_all_teaches_as_far_as_it_is_likely() -> None:
    """Closed, its score 1 moves the cause to √ρ; P(settled) times the precision moves it so much less."""
    rho, paid = 0.3, 120.0
    plan = compile_plan(normals([(100, 20), (200, 40)], rho))
    closed = prepare(plan, KnownFacts(amounts={"n0": paid}), 1).posterior
    unsure = prepare(plan, KnownFacts(part_paid={"n0": PartPaid(paid, 0.9)}), 1)
    assert closed is not None
    assert unsure.posterior is not None
    assert closed.mean[0] == pytest.approx(np.sqrt(rho))
    precision = unsure.partial["n0"].settled / (1 - rho)
    assert unsure.posterior.mean[0] == pytest.approx(precision * np.sqrt(rho) / (1 + precision * rho))


PARTS = parse_build(
    '[build]\nname = "x"\ncurrency = "EUR"\ncountry = "IE"\n'
    '[[line]]\nid = "kit"\ngroup = "kit"\namount = { low = 800, middle = 1000, high = 1500 }\n'
    '[[line]]\nid = "paint"\ngroup = "finish"\namount = { low = 300, middle = 500, high = 900 }\n'
    '[[line]]\nid = "filler"\ngroup = "consumables"\nquantity = { low = 3, middle = 5, high = 9 }\n'
    "price = { low = 9, middle = 12, high = 16 }\n"
)


@pytest.mark.parametrize("prior", [0.0, 0.25, 0.6, 0.9])
@pytest.mark.parametrize(("line", "middle"), [("kit", 1000), ("filler", 60)])
def test_a_cent_more_moves_the_forecast_by_some_cents_at_most(line: str, middle: int, prior: float) -> None:
    """From a tenth of the middle to five times it: no jump, wherever one looks."""
    jumps = []
    for paid in np.round(np.geomspace(0.1 * middle, 5 * middle, 25), 2):
        figures = []
        for sum_ in (paid, paid + 0.01):
            known = KnownFacts(part_paid={line: PartPaid(float(sum_), prior)})
            found = simulate(PARTS, trials=2048, known=known)
            figures.append((found.mean.value, *(found.percentile(q).value for q in (0.5, 0.8, 0.9))))
        jumps.append(np.subtract(figures[1], figures[0]))
    assert np.abs(np.array(jumps)[:, 0]).max() < 0.1  # one trial of 2,048 may settle
    assert np.min(jumps) > -0.5
    assert np.max(jumps) < 0.5


@pytest.mark.parametrize("prior", [0.6, 0.9])
def test_far_beyond_its_range_a_sum_is_all_and_a_little_more(prior: float) -> None:
    """The rest of a thin tail is short: what was paid, and at most a little more, whether it is settled or not."""
    for z in (4.0, 5.0, 6.0):
        paid = 1000 * float(np.exp(SIGMA * z))
        known = KnownFacts(part_paid={"kit": PartPaid(paid, prior)})
        forecast = simulate(parse_build(LOGNORMAL), trials=4096, known=known)
        assert forecast.trials.totals.min() >= paid
        tail = np.exp(SIGMA**2 / 2) * stats.norm.cdf(SIGMA - z) / stats.norm.sf(z) * 1000
        assert forecast.mean.value <= tail * 1.01
        assert forecast.trials.conditions is not None
        assert forecast.trials.conditions.partial["kit"].settled == pytest.approx(
            chance_lognormal(z, prior), abs=5e-3
        )


# -- agreed prices


@pytest.mark.parametrize("chance", [0.0, 0.1, 0.4])
def test_an_agreed_price_is_the_price_and_sometimes_extras(chance: float) -> None:
    """Extras come in that share of trials, lognormal with median 10 % and deviation 0.63 of the logarithm."""
    known = KnownFacts(agreed={"n0": Agreed(130.0, chance)})
    drawn = simulate(normals([(100, 20)]), trials=65_536, known=known).trials.row("n0")
    assert drawn.min() == 130
    assert np.mean(drawn > 130) == pytest.approx(chance, abs=4 * np.sqrt(chance * (1 - chance) / drawn.size))
    mean = 130 * (1 + chance * 0.1 * np.exp(0.63**2 / 2))
    assert drawn.mean() == pytest.approx(mean, rel=1e-3)
    if chance:
        share = drawn[drawn > 130] / 130 - 1
        wanted = 0.1 * np.exp(0.63 * stats.norm.ppf([0.1, 0.5, 0.9]))
        assert np.quantile(share, [0.1, 0.5, 0.9]) == pytest.approx(wanted, rel=0.05)
        assert wanted[[0, 2]] == pytest.approx([0.045, 0.224], abs=5e-4)


def test_an_agreed_price_teaches_as_the_same_price_paid_does() -> None:
    build = normals([(100, 20), (200, 40)], 0.3)
    known = (KnownFacts(agreed={"n0": Agreed(130.0, 0.1)}), KnownFacts(amounts={"n0": 130.0}))
    one, other = (simulate(build, trials=4096, known=facts).trials.row("n1") for facts in known)
    assert np.array_equal(one, other)


def test_what_follows_from_a_line_follows_what_is_drawn_for_it() -> None:
    """Ten percent of a line are ten percent of what it costs in the end: settled, with more to come, with extras."""
    text = LOGNORMAL + '[[line]]\nid = "fee"\ngroup = "import"\npercent = 10\nof = ["kit"]\n'
    build: Build = parse_build(text)
    for known in (
        KnownFacts(part_paid={"kit": PartPaid(900.0, 0.6)}),
        KnownFacts(agreed={"kit": Agreed(900.0, 0.4)}),
    ):
        trials = simulate(build, trials=4096, known=known).trials
        assert trials.row("fee") == pytest.approx(0.1 * trials.row("kit"))
        assert np.ptp(trials.row("fee")) > 0
