"""Where the build ends: against the conditional normal, in reasons, against the budget, and calibrated."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest

from forecast.buildfile.reader import parse_build
from forecast.engine.plan import compile_plan
from forecast.engine.trials import run
from forecast.ledger import Ledger
from forecast.watching.known_facts import SETTLED
from forecast.watching.reforecast import Reforecast, reforecast
from tests.references.portfolios import normals

DAY = "2026-03-01"

TEXT = """\
[build]
name = "x"
currency = "EUR"
country = "IE"
estimating_size = 0  # lines of some ten euro, that say as much of each other as of thousands
budget = 420
[[cause]]
id = "fit"
name = "How badly the kit fits"
[[line]]
id = "kit"
group = "kit"
amount = { low = 80, middle = 100, high = 150, causes = { fit = "strong" } }
[[line]]
id = "fee"
group = "import"
percent = 10
of = ["kit"]
[[line]]
id = "filler"
group = "consumables"
quantity = { low = 3, middle = 5, high = 9, causes = { fit = "strong" } }
price = { low = 9, middle = 12, high = 16 }
[[line]]
id = "paint"
group = "finish"
amount = { low = 60, middle = 100, high = 180 }
[[line]]
id = "seats"
group = "other"
amount = { low = 20, middle = 25, high = 30 }
[[event]]
id = "damage"
chance = 0.3
causes = { fit = "moderate" }
cost = { low = 20, middle = 50, high = 100 }
"""
BUILD = parse_build(TEXT)


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    return Ledger(tmp_path / "receipts.db", currency="EUR")


def buy(ledger: Ledger, line: str, minor: int, *, close: bool = True) -> None:
    ledger.add_receipt(DAY, "somebody", minor, "EUR", [(line, minor)])
    if close:
        ledger.close_line(line, DAY)


def spread(watch: Reforecast, line: str) -> tuple[float, float]:
    """Give mean and standard deviation of a line."""
    amounts = watch.now.trials.row(line)
    return float(amounts.mean()), float(amounts.std())


# Three normals, means 100, 200, 300, standard deviations 20, 40, 60, every correlation 0.3; values by
# mu2 + S21 S11^-1 (x - mu1), the conditional normal.
NORMALS = normals([(100, 20), (200, 40), (300, 60)], 0.3)


def test_one_receipt_against_the_conditional_normal(ledger: Ledger) -> None:
    buy(ledger, "n0", 13_000)
    watch = reforecast(NORMALS, ledger, trials=65_536)
    assert spread(watch, "n1") == pytest.approx((218, 38.157568), abs=0.25)
    assert spread(watch, "n2") == pytest.approx((327, 57.236352), abs=0.4)
    rows = watch.now.trials
    correlation = float(np.corrcoef(rows.row("n1"), rows.row("n2"))[0, 1])
    assert correlation == pytest.approx(0.230769, abs=4 * 0.95 / np.sqrt(65_536))
    assert abs(watch.mean.value - 675) < 4 * watch.mean.error + 1e-6
    for share, value in ((0.8, 738.763571), (0.9, 772.093919)):
        found = watch.percentile(share)
        assert abs(found.value - value) < 4 * found.error
    assert abs(watch.before.percentile(0.9).value - 716.332133) < 4 * watch.before.percentile(0.9).error


def test_a_second_receipt_against_the_conditional_normal(ledger: Ledger) -> None:
    buy(ledger, "n0", 13_000)
    buy(ledger, "n1", 19_000)
    watch = reforecast(NORMALS, ledger, trials=65_536)
    mean, sd = spread(watch, "n2")
    assert abs(mean - 317.307692) < 4 * watch.mean.error + 1e-6
    assert sd == pytest.approx(55.691458, abs=0.4)
    assert watch.lines[0].score == pytest.approx(1.5)


def test_reasons_add_up_to_how_far_the_mean_moved(ledger: Ledger) -> None:
    buy(ledger, "kit", 15_000)
    buy(ledger, "paint", 9_000, close=False)
    buy(ledger, "winch", 2_000)
    ledger.close_line("seats", DAY)
    ledger.mark_event("damage", "happened", DAY)
    watch = reforecast(BUILD, ledger, trials=4096)
    kinds = {reason.id: reason.kind for reason in watch.reasons}
    assert kinds == {
        "kit": "paid", "fee": "follows", "filler": "learned", "paint": "part-bought", "winch": "outside",
        "seats": "dropped", "damage": "happened",
    }  # fmt: skip
    moved = watch.mean.value - watch.before.mean.value
    assert sum(reason.amount for reason in watch.reasons) == pytest.approx(moved, abs=1e-9)
    assert [abs(reason.amount) for reason in watch.reasons] == sorted(
        (abs(reason.amount) for reason in watch.reasons), reverse=True
    )


def test_dear_and_cheap_receipts_are_explained_by_their_cause(ledger: Ledger, tmp_path: Path) -> None:
    buy(ledger, "kit", 16_000)
    dear = reforecast(BUILD, ledger, trials=4096)
    other = Ledger(tmp_path / "cheap.db", currency="EUR")
    buy(other, "kit", 7_500)
    cheap = reforecast(BUILD, other, trials=4096)
    for watch, sign in ((dear, 1), (cheap, -1)):
        fit = next(cause for cause in watch.causes if cause.id == "fit")
        assert fit.title == "How badly the kit fits"
        assert fit.mean * sign > 0.5
        assert fit.sd < 1
        assert fit.taught_by == (("kit", "Kit", pytest.approx(fit.mean)),)
        assert "filler" in fit.moves
        assert fit.effect * sign > 3
        filler = next(reason for reason in watch.reasons if reason.id == "filler")
        assert filler.because == ("fit", "own_estimating")


def test_contingency_left_and_needed_stand_on_the_same_base(ledger: Ledger) -> None:
    buy(ledger, "kit", 15_000)
    ledger.add_commitment(DAY, "somebody", "paint", 13_000, "EUR")
    watch = reforecast(BUILD, ledger, trials=4096)
    assert watch.open_base == pytest.approx(15 + 60 + 130 + 25)
    assert watch.contingency_left == pytest.approx(420 - 150 - watch.open_base)
    assert watch.committed == 130
    needed = watch.contingency_needed(0.8)
    assert needed.value + watch.open_base + watch.paid == pytest.approx(watch.percentile(0.8).value)


def test_overrun_and_what_more_money_buys(ledger: Ledger) -> None:
    buy(ledger, "kit", 15_000)
    watch = reforecast(BUILD, ledger, trials=4096)
    over = watch.totals[watch.totals > 420]
    assert watch.chance_of_overrun is not None
    assert watch.chance_of_overrun.value == pytest.approx(over.size / watch.totals.size)
    assert watch.median_overrun is not None
    assert watch.median_overrun.value == pytest.approx(float(np.median(over)) - 420, abs=0.2)
    bought, left = watch.bought_by(30), watch.chance_with(30)
    assert bought is not None
    assert left is not None
    assert bought.value == pytest.approx(watch.chance_of_overrun.value - left.value)
    assert 0 < bought.error < 0.02


def test_the_error_of_the_median_overrun_is_that_of_other_seeds(ledger: Ledger) -> None:
    """Thirty seeds: their spread, itself known to 13 %, beside the error that each of them states."""
    watches = [reforecast(BUILD, ledger, trials=2048, seed=seed) for seed in range(30)]
    found = [watch.median_overrun for watch in watches if watch.median_overrun is not None]
    assert len(found) == 30
    spread = float(np.std([one.value for one in found], ddof=1))
    stated = float(np.sqrt(np.mean([one.error**2 for one in found])))
    assert stated / spread == pytest.approx(1, abs=0.4)


def test_without_a_budget_there_is_no_overrun(ledger: Ledger) -> None:
    build = parse_build(TEXT.replace("budget = 420\n", ""))
    watch = reforecast(build, ledger, trials=256)
    assert (
        watch.chance_of_overrun is watch.median_overrun is watch.contingency_left is watch.bought_by() is None
    )


def test_giving_a_line_up_leaves_the_others_as_they_were(ledger: Ledger) -> None:
    ledger.close_line("kit", DAY)
    watch = reforecast(BUILD, ledger, trials=1024)
    np.testing.assert_array_equal(watch.now.trials.row("filler"), watch.before.trials.row("filler"))
    assert watch.now.trials.row("fee").max() == 0.0
    assert watch.causes == ()


def test_the_scenario_of_the_baseline_is_in_force(ledger: Ledger) -> None:
    text = TEXT + '[scenario.self]\nall = "self"\n[scenario.away]\nall = "shop"\n'
    ledger.freeze_baseline(
        40_000, "EUR", fingerprint="f", build_text="", seed=1, trials=16, base_by_line={}, scenario="away", date=DAY
    )  # fmt: skip
    assert reforecast(parse_build(text), ledger, trials=64).now.plan.scenario == "away"
    assert reforecast(parse_build(text), ledger, "self", trials=64).now.plan.scenario == "self"


def reveal(ledger: Ledger, truth: dict[str, float], rng: np.random.Generator) -> None:
    """Enter some of what is true of a simulated build, each line and event chosen without looking at it.

    Some lines are closed. For some others something is paid and nothing is said: all of it as often as the model thinks
    for lines bought that way, else a share of it, any share as likely as another.
    """
    for line, way in (("kit", "once"), ("filler", "several"), ("seats", "once"), ("paint", "once")):
        luck, cost = rng.random(), truth[line]
        if luck < (0.0 if line == "paint" else 0.4):
            buy(ledger, line, max(1, round(100 * cost)))
        elif luck < 0.7:
            paid = cost if rng.random() < SETTLED[way] else cost * rng.random()
            buy(ledger, line, max(1, round(100 * paid)), close=False)
    if rng.random() < 0.5:
        ledger.mark_event("damage", "happened" if truth["damage"] > 0 else "cannot-happen", DAY)


def test_nominal_eighty_percent_holds_eighty_through_the_whole_path(tmp_path: Path) -> None:
    """Simulation-based calibration (Talts et al. 2018): 500 builds drawn from the model, their receipts entered."""
    build = parse_build(TEXT.replace("[[cause]]", "learn_ranges = false\n[[cause]]", 1))
    truth = run(compile_plan(build), 4096, seed=90)  # as many as this by the engine alone: 0.788 inside
    rng = np.random.default_rng(92)
    Ledger(tmp_path / "empty.db", currency="EUR")
    count, ranks = 500, []
    for number, trial in enumerate(rng.choice(truth.count, count, replace=False)):
        ledger = Ledger(shutil.copyfile(tmp_path / "empty.db", tmp_path / f"{number}.db"))
        costs = {row.id: float(truth.row(row.id)[trial]) for row in truth.plan.rows}
        with ledger.together():
            reveal(ledger, costs, rng)
        watch = reforecast(build, ledger, trials=512, seed=1000 + number)
        actual = float(truth.totals[trial])
        weights = watch.now.trials.weights
        below, upto = (
            float(np.average(watch.totals < actual + cents, weights=weights)) for cents in (-0.03, 0.03)
        )
        ranks.append(below + rng.random() * (upto - below))  # receipts are whole cents: a tie is shared out
    inside = np.mean((np.array(ranks) >= 0.1) & (np.array(ranks) <= 0.9))
    assert abs(inside - 0.8) <= 0.03
    from scipy import stats

    assert stats.chisquare(np.histogram(ranks, bins=10, range=(0, 1))[0]).pvalue > 0.01


ABROAD = """\
[build]
name = "x"
currency = "PLN"
country = "PL"
[currency.THB]
rate = {rate}
margin = 2
[[line]]
id = "kit"
group = "kit"
amount = {{ {price}, currency = "THB" }}
[[line]]
id = "tax"
group = "import"
percent = 23
of = ["kit"]
"""


@pytest.mark.parametrize("rate", ["0.1167", "{ low = 0.1132, middle = 0.1167, high = 0.1202 }"])
@pytest.mark.parametrize("charged", [1_800_00, 2_380_68, 3_000_00])
def test_a_deposit_abroad_counts_at_the_rate_it_was_paid_at(tmp_path: Path, rate: str, charged: int) -> None:
    """Closed form: what was charged for a part, and the rest at the rate planned, with the card's margin."""
    build = parse_build(ABROAD.format(rate=rate, price="shape = 'uniform', min = 64999, max = 65001"))
    ledger = Ledger(tmp_path / "r.db", currency="PLN")
    charge = (charged, "PLN")
    ledger.add_receipt(DAY, "yard", 20_000_00, "THB", [("kit", charged)], paid=charge, kind="deposit")
    ledger.expect_more("kit", DAY)
    watch = reforecast(build, ledger, trials=4096)
    kit = charged / 100 + 45_000 * 0.1167 * 1.02
    error = 3 * watch.percentile(0.5).error
    assert watch.lines[0].now[1] == pytest.approx(kit, abs=error + 0.3)
    assert watch.lines[1].now[1] == pytest.approx(0.23 * kit, abs=error + 0.3)
    assert watch.base_given["kit"] == pytest.approx(kit, abs=1.0)
    planned = 20_000 * 0.1167 * 1.02
    assert watch.known.facts.part_paid["kit"].paid == pytest.approx(planned)  # judged as if paid as planned


@pytest.mark.parametrize("money", ["EUR", "GBP"])
def test_which_quote_is_taken_says_nothing_of_the_builders_guesses(tmp_path: Path, money: str) -> None:
    """The cheaper of two quotes lowered P80 by seven times what it saved, as if all estimates had come in high."""
    text = """
[build]
name = "quotes"
currency = "EUR"
country = "IE"
estimating = 0.25
estimating_size = 0
[currency.GBP]
rate = 1.2
volatility = 0.08
[[line]]
id = "paint"
group = "finish"
amount = { quotes = [5200, 6100], currency = "MONEY" }
""".replace("MONEY", money)
    text += "".join(
        f'[[line]]\nid = "other{place}"\ngroup = "other"\namount = {{ low = 800, middle = 1200, high = 2100 }}\n'
        for place in range(8)
    )
    build, ends = parse_build(text), []
    for price in (5200, 6100):
        ledger = Ledger(tmp_path / f"{price}.db", currency="EUR")
        if money == "EUR":
            ledger.add_commitment("2026-05-02", "Shop", "paint", 100 * price, "EUR")
        else:
            charged = 120 * price
            ledger.add_receipt(
                "2026-05-02", "Shop", 100 * price, money, [("paint", charged)], paid=(charged, "EUR")
            )
            ledger.close_line("paint", "2026-05-02")
        ends.append(reforecast(build, ledger, trials=4096).percentile(0.8).value)
    assert ends[1] - ends[0] == pytest.approx(900 if money == "EUR" else 1080, rel=0.25)
