"""From the ledger to what the engine knows, and to where the build ends."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest

from forecast.buildfile.reader import parse_build
from forecast.buildfile.schema import Build
from forecast.decide.mixer import Mixer
from forecast.engine.known import Agreed, PartPaid
from forecast.engine.plan import compile_plan
from forecast.ledger import Ledger
from forecast.watching.known_facts import EXTRAS, SETTLED, forecast_given, known_facts
from forecast.watching.reforecast import reforecast
from forecast.watching.standing import Record
from tests.references.portfolios import PORTFOLIOS, RECEIPT_UPDATE, build_of

TEXT = """\
[build]
name = "x"
currency = "EUR"
country = "IE"
estimating_size = 0  # lines of some ten euro, that say as much of each other as of thousands
budget = 400
[[cause]]
id = "fit"
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
id = "maybe"
group = "other"
chance = 0.5
amount = { low = 10, middle = 20, high = 40 }
[[event]]
id = "damage"
chance = 0.2
cost = { low = 20, middle = 50, high = 100 }
"""


@pytest.fixture
def build() -> Build:
    return parse_build(TEXT)


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    return Ledger(tmp_path / "receipts.db", currency="EUR")


def pay(ledger: Ledger, line: str, minor: int, day: str = "2026-03-01", kind: str = "payment") -> None:
    ledger.add_receipt(day, "somebody", minor, "EUR", [(line, minor)], kind=kind)  # type: ignore[arg-type]


def test_states_and_facts(build: Build, ledger: Ledger) -> None:
    pay(ledger, "kit", 12_000)
    ledger.close_line("kit", "2026-03-01")
    pay(ledger, "filler", 4_000)
    pay(ledger, "filler", 500, kind="refund")
    ledger.add_commitment("2026-03-02", "somebody", "maybe", 2_500, "EUR")
    ledger.mark_event("damage", "cannot-happen", "2026-03-03")
    known = known_facts(compile_plan(build), ledger)
    assert {name: line.state for name, line in known.lines.items()} == {
        "kit": "closed", "fee": "untouched", "filler": "part-bought", "maybe": "committed", "damage": "untouched",
    }  # fmt: skip
    assert known.facts.amounts == {"kit": 120.0}
    assert known.facts.part_paid == {"filler": PartPaid(35.0, SETTLED["several"], back=5.0)}
    assert known.facts.agreed == {"maybe": Agreed(25.0, EXTRAS["fixed"])}
    assert known.facts.gates == {"damage": False}
    assert known.paid_minor == 15_500


def test_one_bill_is_likelier_all_than_one_of_several_and_that_than_a_months_rent(tmp_path: Path) -> None:
    shares = []
    for bought in ("once", "several", "running"):
        build = parse_build(TEXT.replace('id = "kit"\n', f'id = "kit"\nbought = "{bought}"\n'))
        ledger = Ledger(tmp_path / f"{bought}.db", currency="EUR")
        pay(ledger, "kit", 9_000)
        shares.append(known_facts(compile_plan(build), ledger).facts.part_paid["kit"].settled)
    assert 1 > shares[0] > shares[1] > shares[2] > 0


def test_what_is_left_to_buy_makes_a_line_known(build: Build, ledger: Ledger) -> None:
    pay(ledger, "filler", 4_000)
    ledger.say_still_to_buy("filler", 1_000, "2026-03-02")
    assert known_facts(compile_plan(build), ledger).facts.amounts == {"filler": 50.0}


def test_a_line_closed_without_money_was_not_needed(build: Build, ledger: Ledger) -> None:
    ledger.close_line("maybe", "2026-03-01")
    assert known_facts(compile_plan(build), ledger).facts.gates == {"maybe": False}


def test_the_ledger_as_it_stood_on_a_day(build: Build, ledger: Ledger) -> None:
    pay(ledger, "kit", 9_000, "2026-03-01")
    pay(ledger, "kit", 3_000, "2026-04-01")
    from datetime import date

    assert known_facts(compile_plan(build), ledger, date(2026, 3, 15)).facts.part_paid == {
        "kit": PartPaid(90.0, SETTLED["once"])
    }


def test_money_for_what_is_not_in_the_build_is_counted_on_top(build: Build, ledger: Ledger) -> None:
    pay(ledger, "winch", 7_700)
    watch = reforecast(build, ledger, trials=2048)
    assert watch.outside == 77.0
    assert watch.percentile(0.5).value == pytest.approx(watch.now.percentile(0.5).value + 77)
    assert watch.not_in_this_way == {"winch": "Winch"}


def test_without_receipts_nothing_moves(build: Build, ledger: Ledger) -> None:
    watch = reforecast(build, ledger, trials=2048)
    assert np.array_equal(watch.totals, watch.before.trials.totals)


def test_dear_receipts_raise_what_shares_their_cause_and_drag_percentages_along(
    build: Build, ledger: Ledger
) -> None:
    pay(ledger, "kit", 15_000)
    ledger.close_line("kit", "2026-03-01")
    watch = reforecast(build, ledger)
    lines = {line.id: line for line in watch.lines}
    assert lines["kit"].now == (150.0, 150.0, 150.0)
    assert lines["fee"].now == pytest.approx((15.0, 15.0, 15.0))
    assert lines["filler"].mean_now > lines["filler"].mean_before + 5
    assert watch.paid == 150.0
    chance = watch.chance_of_overrun
    assert chance is not None
    assert chance.value > 1 - watch.before.chance_within(400).value


def test_a_cheap_receipt_lowers_what_is_open(build: Build, ledger: Ledger) -> None:
    pay(ledger, "kit", 7_500)
    ledger.close_line("kit", "2026-03-01")
    lines = {line.id: line for line in reforecast(build, ledger).lines}
    assert lines["filler"].mean_now < lines["filler"].mean_before - 2


def test_an_open_line_costs_at_least_what_was_paid(build: Build, ledger: Ledger) -> None:
    pay(ledger, "filler", 6_000)
    watch = reforecast(build, ledger)
    assert watch.now.trials.row("filler").min() >= 60.0 - 1e-9


def test_a_figure_far_outside_its_range_is_said_and_handled(build: Build, ledger: Ledger) -> None:
    pay(ledger, "kit", 500_000)
    ledger.close_line("kit", "2026-03-01")
    watch = reforecast(build, ledger)
    assert any("above anything its stated range allows" in remark for remark in watch.remarks)
    assert np.isfinite(watch.percentile(0.9).value)


def test_two_receipts_through_the_ledger_against_exact_convolution(tmp_path: Path) -> None:
    """Portfolio A at correlation 0.3, as in tests/references/exact_percentiles.json."""
    build = build_of(PORTFOLIOS["A"]["items"], 0.3)
    ledger = Ledger(tmp_path / "receipts.db", currency="NZD")
    for line, amount in (("i0", 420_000), ("i1", 110_000)):
        ledger.add_receipt("2026-03-01", "somebody", amount, "NZD", [(line, amount)])
        ledger.close_line(line, "2026-03-01")
    watch = reforecast(build, ledger, trials=65_536, seed=4)
    for name in ("P10", "P50", "P80", "P90"):
        estimate = watch.percentile(int(name[1:]) / 100)
        assert abs(estimate.value - RECEIPT_UPDATE[name]) < 4 * estimate.error
    assert watch.paid == RECEIPT_UPDATE["spent"]
    assert watch.cost_to_complete(0.8).value == pytest.approx(watch.percentile(0.8).value - 5_300)


def test_a_frozen_budget_stands_before_the_build_files(build: Build, ledger: Ledger) -> None:
    ledger.freeze_baseline(
        35_000, "EUR", fingerprint=build.fingerprint(), build_text=TEXT, seed=1, trials=1024, base_by_line={},
        date="2026-03-01",
    )  # fmt: skip
    assert reforecast(build, ledger, trials=1024).budget == 350.0


def test_nominal_eighty_percent_holds_eighty_through_the_whole_path(tmp_path: Path) -> None:
    """Simulation-based calibration (Talts et al. 2018): builds drawn from the model, receipts for some lines."""
    text = TEXT.replace(
        '[[event]]\nid = "damage"\nchance = 0.2\ncost = { low = 20, middle = 50, high = 100 }\n', ""
    )
    build = parse_build(text)
    plan = compile_plan(build)
    from forecast.engine.trials import run

    truth = run(plan, 512, seed=90)
    order = np.random.default_rng(91).permutation(truth.count)[:300]
    rng = np.random.default_rng(92)
    inside, ranks = 0, []
    Ledger(tmp_path / "empty.db", currency="EUR")
    for number, trial in enumerate(order):
        ledger = Ledger(shutil.copyfile(tmp_path / "empty.db", tmp_path / f"{number}.db"))
        revealed = [line for line in ("kit", "filler") if rng.random() < 0.6]
        for line in revealed:
            minor = max(1, round(float(truth.row(line)[trial]) * 100))
            ledger.add_receipt("2026-03-01", "somebody", minor, "EUR", [(line, minor)])
            ledger.close_line(line, "2026-03-01")
        known = known_facts(plan, ledger)
        trials = run(plan, 1024, seed=1000 + number, known=known.facts)
        low, high = np.quantile(trials.totals, [0.1, 0.9])
        actual = truth.totals[trial]
        inside += low - 0.02 <= actual <= high + 0.02
        # Receipts are whole cents, and a line that is not needed leaves ties: share those out at random.
        below, upto = (float(np.mean(trials.totals < actual + step)) for step in (-0.02, 0.02))
        ranks.append(below + rng.random() * (upto - below))
    share = inside / len(order)
    assert abs(share - 0.8) < 4 * np.sqrt(0.8 * 0.2 / len(order))
    from scipy import stats

    counts = np.histogram(ranks, bins=10, range=(0, 1))[0]
    assert stats.chisquare(counts).pvalue > 0.01


WAYS = """\
[build]
name = "x"
currency = "EUR"
country = "IE"
estimating_size = 0
[[line]]
id = "kit"
group = "kit"
amount = { low = 800, middle = 1000, high = 1500 }
[[line]]
id = "arch_shop"
group = "labour"
package = "arches"
route = "shop"
amount = { low = 300, middle = 900, high = 2400 }
[[line]]
id = "arch_self"
group = "consumables"
package = "arches"
route = "self"
amount = { low = 100, middle = 200, high = 400 }
[scenario.shop]
all = "shop"
[scenario.self]
all = "self"
"""


def test_a_bill_teaches_the_same_whichever_way_is_looked_at(tmp_path: Path) -> None:
    """The kit shares its draws in both ways, and is learnt of from the same bill: every trial of it is the same."""
    build, ledger = parse_build(WAYS), Ledger(tmp_path / "r.db", currency="EUR")
    ledger.add_receipt("2026-03-01", "shop", 4_200_00, "EUR", [("arch_shop", 4_200_00)])
    ledger.close_line("arch_shop", "2026-03-01")
    standing = Record.read(ledger).standing()
    here, there = (forecast_given(build, way, 4096, known=standing) for way in ("shop", "self"))
    kit = here.trials.row("kit")
    np.testing.assert_allclose(there.trials.row("kit"), kit, rtol=1e-12)
    before = forecast_given(build, "self", 4096)
    assert (
        kit.mean() > before.trials.row("kit").mean() + 50
    )  # a dear bill: who guessed that low may have guessed low elsewhere
    assert there.trials.row("arch_self").mean() > 1.05 * before.trials.row("arch_self").mean()
    watch = reforecast(build, ledger, "self", 4096)
    np.testing.assert_allclose(watch.totals, there.trials.totals, rtol=1e-12)
    (cause,) = watch.causes
    assert [title for _, title, _ in cause.taught_by] == ["Arch shop"]


OVERRUN = """
[[event]]
id = "overrun"
chance = 0.4
percent = { low = 5, middle = 15, high = 40 }
of = ["arch_shop"]
"""


@pytest.mark.parametrize("paid", [True, False], ids=["paid", "agreed"])
def test_each_mix_is_the_way_that_takes_the_same_routes_whatever_was_paid_or_agreed(
    tmp_path: Path, paid: bool
) -> None:
    """Money spent on the other way is spent in both, teaches both the same, and bears no share of what goes wrong."""
    build, ledger = parse_build(WAYS + OVERRUN), Ledger(tmp_path / "r.db", currency="EUR")
    if paid:
        ledger.add_receipt("2026-03-01", "shop", 1_700_00, "EUR", [("arch_shop", 1_700_00)])
        ledger.close_line("arch_shop", "2026-03-01")
    else:
        ledger.add_commitment("2026-03-01", "shop", "arch_shop", 1_700_00, "EUR")
    standing = Record.read(ledger).standing()
    mixer = Mixer(build, build.scenario["shop"], 4096, 1, standing)
    plain = {way: forecast_given(build, way, 4096) for way in ("shop", "self")}
    for way in ("shop", "self"):
        alone = forecast_given(build, way, 4096, known=standing)
        np.testing.assert_allclose(mixer.totals({"arches": way}).money, alone.trials.totals, rtol=1e-10)
        learnt = alone.trials.row("kit").mean() - plain[way].trials.row("kit").mean()
        assert learnt > 20  # dearer than it was thought, whichever way is looked at
