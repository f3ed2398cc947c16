"""What the ledger says on a day, and what the engine is told of it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from forecast.buildfile.reader import parse_build
from forecast.engine.facts import prepare
from forecast.engine.known import Agreed, Foreign, KnownFacts, PartPaid
from forecast.engine.plan import compile_plan
from forecast.ledger import Ledger, kept_open
from forecast.ledger.records import AgreementKind
from forecast.watching.known_facts import EXTRAS, SETTLED, KnownByNow, known_facts
from forecast.watching.standing import Moment, Record

BUILD = parse_build("""\
[build]
name = "x"
currency = "EUR"
country = "IE"
[[line]]
id = "kit"
group = "kit"
amount = { low = 80, middle = 100, high = 150 }
resale = 10
[[line]]
id = "fee"
group = "import"
percent = 10
of = ["kit"]
[[line]]
id = "filler"
group = "consumables"
amount = { low = 30, middle = 60, high = 90 }
own_hours = { low = 5, middle = 9, high = 20 }
[[line]]
id = "maybe"
group = "other"
chance = 0.5
amount = { low = 10, middle = 20, high = 40 }
[[line]]
id = "sanding"
group = "labour"
own_hours = { low = 5, middle = 9, high = 20 }
[[event]]
id = "damage"
chance = 0.2
cost = { low = 20, middle = 50, high = 100 }
""")
PLAN = compile_plan(BUILD)
DAY = date(2026, 3, 1)


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    return Ledger(tmp_path / "receipts.db", currency="EUR")


def pay(ledger: Ledger, line: str, minor: int, day: date = DAY, kind: str = "payment", **more: int) -> None:
    ledger.add_receipt(day, "somebody", minor, "EUR", [(line, minor)], kind=kind, **more)  # type: ignore[arg-type]


def facts(ledger: Ledger) -> KnownFacts:
    return known_facts(PLAN, ledger).facts


def test_a_line_given_up_costs_nothing_and_teaches_nothing(ledger: Ledger) -> None:
    ledger.close_line("filler", DAY)
    known = known_facts(PLAN, ledger)
    assert known.dropped == {"filler"}
    assert known.facts == KnownFacts(fixed={"filler": 0.0, "filler.own_hours": 0.0})


@pytest.mark.parametrize(
    "say",
    [
        lambda ledger: pay(ledger, "kit", 500),
        lambda ledger: ledger.add_commitment(DAY, "Maker", "kit", 900, "EUR"),
        lambda ledger: ledger.close_line("filler", DAY),
        lambda ledger: ledger.expect_more("filler", DAY),
        lambda ledger: ledger.say_still_to_buy("filler", 500, DAY),
        lambda ledger: ledger.mark_event("damage", "cannot-happen", DAY),
    ],
    ids=["paid", "agreed", "closed", "more", "left", "event"],
)
def test_any_word_alone_is_something_that_a_forecast_depends_on(
    ledger: Ledger, say: Callable[[Ledger], object]
) -> None:
    assert not Record.read(ledger).standing().says_something
    say(ledger)
    assert Record.read(ledger).standing().says_something


def test_a_line_refunded_whole_was_given_up(ledger: Ledger) -> None:
    pay(ledger, "kit", 9_000)
    pay(ledger, "kit", 9_000, kind="refund")
    ledger.close_line("kit", DAY)
    assert facts(ledger) == KnownFacts(fixed={"kit": 0.0})


def test_a_line_that_may_not_be_needed_was_not(ledger: Ledger) -> None:
    ledger.close_line("maybe", DAY)
    known = known_facts(PLAN, ledger)
    assert known.facts == KnownFacts(gates={"maybe": False})
    assert known.dropped == {"maybe"}


def test_closing_a_line_of_own_hours_leaves_the_hours(ledger: Ledger) -> None:
    ledger.close_line("sanding", DAY)
    known = known_facts(PLAN, ledger)
    assert known.facts.nothing
    assert known.dropped == frozenset()


def test_a_refund_makes_what_was_paid_smaller(ledger: Ledger) -> None:
    pay(ledger, "kit", 12_000)
    pay(ledger, "kit", 2_500, kind="refund")
    assert facts(ledger) == KnownFacts(part_paid={"kit": PartPaid(95.0, SETTLED["once"], back=25.0)})


def test_a_refund_taken_back_came_back_never(ledger: Ledger) -> None:
    pay(ledger, "kit", 12_000)
    pay(ledger, "kit", 2_500, kind="refund")
    ledger.void_receipt(2, "a slip")
    assert facts(ledger) == KnownFacts(part_paid={"kit": PartPaid(120.0, SETTLED["once"])})


def test_more_back_than_paid_on_an_open_line_is_said(ledger: Ledger) -> None:
    pay(ledger, "kit", 2_000)
    pay(ledger, "kit", 3_050, kind="refund")
    known = known_facts(PLAN, ledger)
    assert known.facts.nothing
    assert "€10.50 more came back than was paid" in known.remarks[0]
    ledger.close_line("kit", DAY)
    assert known_facts(PLAN, ledger).remarks == ()


def test_what_is_left_to_buy_shrinks_as_it_is_bought(ledger: Ledger) -> None:
    pay(ledger, "filler", 4_000)
    ledger.say_still_to_buy("filler", 3_000, DAY)
    pay(ledger, "filler", 1_000, DAY + timedelta(days=1))
    known = known_facts(PLAN, ledger)
    assert known.facts == KnownFacts(amounts={"filler": 70.0})
    assert known.lines["filler"].still_minor == 2_000


def test_more_than_was_left_to_buy_leaves_open_whether_it_is_all(ledger: Ledger) -> None:
    pay(ledger, "filler", 4_000)
    ledger.say_still_to_buy("filler", 500, DAY)
    pay(ledger, "filler", 2_000, DAY + timedelta(days=1))
    assert facts(ledger) == KnownFacts(part_paid={"filler": PartPaid(60.0, SETTLED["several"])})


def test_a_price_agreed_for_one_of_several_goes_may_be_all_or_not(ledger: Ledger) -> None:
    ledger.add_commitment(DAY, "somebody", "filler", 7_000, "EUR")
    towards = KnownFacts(part_paid={"filler": PartPaid(70.0, SETTLED["several"])})
    assert facts(ledger) == towards
    assert known_facts(PLAN, ledger).lines["filler"].state == "committed"
    pay(ledger, "filler", 2_000, kind="deposit")
    assert facts(ledger) == towards
    ledger.say_still_to_buy("filler", 5_000, DAY)
    assert facts(ledger) == KnownFacts(amounts={"filler": 70.0})


@pytest.mark.parametrize("kind", ["fixed", "estimate"])
def test_a_price_agreed_for_what_is_bought_once_is_its_price(ledger: Ledger, kind: AgreementKind) -> None:
    agreed = ledger.add_commitment(DAY, "somebody", "kit", 12_000, "EUR", kind=kind)
    assert agreed.kind == kind
    price = KnownFacts(agreed={"kit": Agreed(120.0, EXTRAS[kind])})
    assert facts(ledger) == price
    pay(ledger, "kit", 3_000, kind="deposit")
    assert facts(ledger) == price  # a deposit to the same supplier counts against it by itself
    assert known_facts(PLAN, ledger).lines["kit"].committed_minor == 9_000
    pay(ledger, "kit", 9_000, kind="balance")
    assert facts(ledger) == KnownFacts(amounts={"kit": 120.0})
    assert known_facts(PLAN, ledger).lines["kit"].state == "closed"


def test_more_than_agreed_is_what_it_cost(ledger: Ledger) -> None:
    ledger.add_commitment(DAY, "somebody", "kit", 12_000, "EUR")
    pay(ledger, "kit", 13_500)
    assert facts(ledger) == KnownFacts(amounts={"kit": 135.0})


def test_what_somebody_else_is_paid_comes_on_top_of_what_is_agreed(ledger: Ledger) -> None:
    ledger.add_commitment(DAY, "somebody", "kit", 12_000, "EUR")
    ledger.add_receipt(DAY, "other", 1_000, "EUR", [("kit", 1_000)])
    assert facts(ledger) == KnownFacts(agreed={"kit": Agreed(130.0, EXTRAS["fixed"])})


def test_two_agreements_for_one_line_may_grow_as_the_looser_may(ledger: Ledger) -> None:
    ledger.add_commitment(DAY, "somebody", "kit", 12_000, "EUR", kind="estimate")
    ledger.add_commitment(DAY, "other", "kit", 1_000, "EUR", kind="fixed")
    assert facts(ledger) == KnownFacts(agreed={"kit": Agreed(130.0, EXTRAS["estimate"])})


def test_more_to_come_is_believed_over_any_way_of_buying_until_it_is_taken_back(ledger: Ledger) -> None:
    pay(ledger, "kit", 9_500)
    assert ledger.expect_more("kit", DAY).state == "more"
    assert facts(ledger) == KnownFacts(part_paid={"kit": PartPaid(95.0, 0.0)})
    assert "kit" not in ledger.closed_lines(DAY)
    ledger.reopen_line("kit", DAY)
    assert facts(ledger) == KnownFacts(part_paid={"kit": PartPaid(95.0, SETTLED["once"])})
    ledger.close_line("kit", DAY)
    assert facts(ledger) == KnownFacts(amounts={"kit": 95.0})


def test_more_to_come_on_top_of_an_agreed_price(ledger: Ledger) -> None:
    ledger.add_commitment(DAY, "somebody", "kit", 12_000, "EUR")
    ledger.expect_more("kit", DAY)
    assert facts(ledger) == KnownFacts(part_paid={"kit": PartPaid(120.0, 0.0)})
    pay(ledger, "kit", 12_000)
    assert facts(ledger) == KnownFacts(part_paid={"kit": PartPaid(120.0, 0.0)})
    assert known_facts(PLAN, ledger).lines["kit"].state == "part-bought"


def test_what_was_paid_abroad_is_known_in_the_suppliers_money_too(ledger: Ledger) -> None:
    ledger.add_receipt(DAY, "somebody", 20_000, "JPY", [("kit", 11_800)], paid=(11_800, "EUR"))
    ledger.close_line("kit", DAY)
    assert facts(ledger) == KnownFacts(amounts={"kit": 118.0}, foreign={"kit": Foreign("JPY", 20_000.0)})
    pay(ledger, "kit", 500)  # some of it in the build's own money: no one sum in yen says it all
    assert facts(ledger) == KnownFacts(amounts={"kit": 123.0})


def test_a_balance_abroad_is_taken_at_the_rate_of_the_deposit(ledger: Ledger) -> None:
    ledger.add_commitment(DAY, "somebody", "kit", 20_000, "JPY", expected_minor=12_000)
    ledger.add_receipt(DAY, "somebody", 5_000, "JPY", [("kit", 3_100)], paid=(3_100, "EUR"), kind="deposit")
    known = facts(ledger)
    # A quarter is paid at a dearer rate; three quarters are still expected at 90.
    assert known.agreed == {"kit": Agreed(121.0, EXTRAS["fixed"])}
    assert known.foreign["kit"].amount == pytest.approx(5_000 * 121 / 31)


def test_a_cancelled_commitment_binds_nobody(ledger: Ledger) -> None:
    agreed = ledger.add_commitment(DAY, "somebody", "filler", 7_000, "EUR")
    ledger.cancel_commitment(agreed.id, DAY)
    assert facts(ledger).nothing


def test_money_spent_on_an_event_means_that_it_happened(ledger: Ledger) -> None:
    pay(ledger, "damage", 3_000)
    assert facts(ledger) == KnownFacts(part_paid={"damage": PartPaid(30.0, SETTLED["several"])})
    ledger.mark_event("damage", "happened", DAY)
    ledger.close_line("damage", DAY)
    assert facts(ledger) == KnownFacts(amounts={"damage": 30.0}, gates={"damage": True})


def test_an_event_that_cannot_happen_but_cost_is_over_and_said(ledger: Ledger) -> None:
    pay(ledger, "damage", 3_000)
    ledger.mark_event("damage", "cannot-happen", DAY)
    known = known_facts(PLAN, ledger)
    assert known.facts == KnownFacts(amounts={"damage": 30.0})
    assert any("Damage" in remark for remark in known.remarks)


def test_an_event_of_another_scenario_is_said(ledger: Ledger) -> None:
    ledger.mark_event("hail", "happened", DAY)
    known = known_facts(PLAN, ledger)
    assert known.facts.nothing
    assert any("hail" in remark for remark in known.remarks)


def test_money_outside_the_estimate_is_kept_apart(ledger: Ledger) -> None:
    pay(ledger, "winch", 7_700)
    known = known_facts(PLAN, ledger)
    assert known.facts.nothing
    assert (known.outside, known.outside_minor, known.paid) == ({"winch": 7_700}, 7_700, 77.0)


def test_base_with_known_amounts_drags_percentages_along() -> None:
    plain = PLAN.base_estimate()
    assert plain == {
        "kit": 100,
        "kit.resale": -10,
        "fee": 10,
        "filler": 60,
        "maybe": 0,
        "sanding": 0,
        "damage": 0,
    }
    known = KnownFacts(
        amounts={"kit": 140.0},
        part_paid={"maybe": PartPaid(30.0, 0.0)},
        gates={"damage": True},
        fixed={"filler": 0.0},
    )
    assert PLAN.base_estimate(known) == pytest.approx(
        {"kit": 140, "kit.resale": -10, "fee": 14, "filler": 0, "maybe": 30, "sanding": 0, "damage": 50}
    )


def test_base_of_what_is_paid_in_part_or_agreed() -> None:
    """As far as a sum is likely to be all it counts as paid, for the rest at the middle, or what is paid if more."""
    known = KnownFacts(
        part_paid={"kit": PartPaid(90.0, 0.9), "filler": PartPaid(75.0, 0.6)},
        agreed={"maybe": Agreed(30.0, 0.4)},
    )
    ready = prepare(PLAN, known, 1)
    chance = ready.partial["kit"].settled
    assert 0.9 < chance < 1
    found = PLAN.base_estimate(known, ready)
    assert found["kit"] == pytest.approx(chance * 90 + (1 - chance) * 100)
    assert found["fee"] == pytest.approx(0.1 * found["kit"])
    assert (found["filler"], found["maybe"]) == (pytest.approx(75), 30)


def test_mixed_uplift_of_two_kinds_of_work_as_percentages() -> None:
    """Mott MacDonald 2002 (HM Treasury), worked table: 30 % at 51 and 70 % at 24 make 15.3 + 16.8 = 32.1 %."""
    text = '[build]\nname = "x"\ncurrency = "EUR"\ncountry = "IE"\n'
    for name, cost, uplift in (("odd", 30, 51), ("usual", 70, 24)):
        text += f'[[line]]\nid = "{name}"\ngroup = "other"\namount = {cost}\n'
        text += f'[[line]]\nid = "{name}_uplift"\ngroup = "other"\npercent = {uplift}\nof = ["{name}"]\n'
    base = compile_plan(parse_build(text)).base_estimate()
    assert base["odd_uplift"] == pytest.approx(15.3)
    assert base["usual_uplift"] == pytest.approx(16.8)
    assert sum(base.values()) == pytest.approx(132.1)


LINES = st.sampled_from(["kit", "filler", "maybe", "winch"])
ENTRIES = st.lists(
    st.tuples(
        st.sampled_from(
            ["pay", "refund", "close", "reopen", "more", "commit", "still", "event", "void", "cancel"]
        ),
        LINES,
        st.integers(0, 9),
        st.integers(1, 20_000),
    ),
    max_size=25,
)


def enter(ledger: Ledger, entries: list[tuple[str, str, int, int]]) -> None:
    """Enter all of that; what is said late is no mistake."""
    receipts, agreed = [], []
    for kind, line, days, minor in entries:
        day = DAY + timedelta(days=days)
        match kind:
            case "pay" | "refund":
                word = "payment" if kind == "pay" else "refund"
                against = agreed[-1].id if agreed and minor % 2 else None
                receipts.append(
                    ledger.add_receipt(
                        day,
                        "s",
                        minor,
                        "EUR",
                        [(line, minor)],
                        kind=word,
                        commitment_id=against,  # type: ignore[arg-type]
                    )
                )
            case "void" if receipts:
                last = receipts.pop()
                ledger.void_receipt(last.id, "wrong", max(day, last.date))
            case "close":
                ledger.close_line(line, day, anyway=True)
            case "reopen":
                ledger.reopen_line(line, day, anyway=True)
            case "more":
                ledger.expect_more(line, day, anyway=True)
            case "commit":
                agreed.append(ledger.add_commitment(day, "s", line, minor, "EUR"))
            case "cancel" if agreed:
                one = agreed.pop()
                ledger.cancel_commitment(one.id, max(day, one.date))
            case "still":
                ledger.say_still_to_buy(line, minor, day, anyway=True)
            case "event":
                state = ("open", "happened", "cannot-happen")[minor % 3]
                ledger.mark_event("damage", state, day, anyway=True)  # type: ignore[arg-type]


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(ENTRIES)
def test_one_reading_for_many_days_agrees_with_the_ledger_on_each(
    tmp_path_factory: pytest.TempPathFactory, entries: list[tuple[str, str, int, int]]
) -> None:
    ledger = Ledger(tmp_path_factory.mktemp("ledger") / "r.db", currency="EUR")
    with ledger.together():
        enter(ledger, entries)
    with kept_open():
        read_each_day(ledger)


def read_each_day(ledger: Ledger) -> None:
    """Hold what one reading gives for each of some days against what the ledger says of it."""
    days = [DAY + timedelta(days=number) for number in range(-1, 11)]
    for day, standing in zip(days, Record.read(ledger).standings([Moment(day) for day in days]), strict=True):
        assert standing.paid == ledger.paid_by_line(day)
        assert standing.committed == ledger.committed_by_line(day)
        assert standing.closed == ledger.closed_lines(day)
        said = {
            mark.subject: mark.state
            for kind, mark in ledger.list_marks()
            if kind == "line" and mark.date <= day
        }
        assert standing.more == {name for name, state in said.items() if state == "more"}
        marks = {name: mark.state for name, mark in ledger.event_states(day).items() if mark.state != "open"}
        assert standing.events == marks
        still = ledger.still_to_buy(day)
        assert standing.said == {
            name: ledger.paid_by_line(item.date).get(name, 0) + item.amount_minor
            for name, item in still.items()
        }
        known: KnownByNow = known_facts(PLAN, ledger, day)
        covered = sum(line.paid_minor for line in known.lines.values()) + known.outside_minor
        assert covered == known.paid_minor == standing.paid_minor
