"""What the ledger says on a day, and what the engine is told of it."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from forecast.build.buildfile import parse_build
from forecast.engine.base import base_given
from forecast.engine.known import KnownFacts
from forecast.engine.plan import compile_plan
from forecast.spending.known import Known, known_facts
from forecast.spending.ledger import Ledger
from forecast.spending.standing import Moment, Record

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
    assert facts(ledger) == KnownFacts(floors={"kit": 95.0})


def test_more_back_than_paid_on_an_open_line_is_said(ledger: Ledger) -> None:
    pay(ledger, "kit", 2_000)
    pay(ledger, "kit", 3_050, kind="refund")
    known = known_facts(PLAN, ledger)
    assert "kit" not in known.facts.floors
    assert "10.50 EUR more came back than was paid" in known.remarks[0]
    ledger.close_line("kit", DAY)
    assert known_facts(PLAN, ledger).remarks == ()


def test_what_is_left_to_buy_shrinks_as_it_is_bought(ledger: Ledger) -> None:
    pay(ledger, "filler", 4_000)
    ledger.say_still_to_buy("filler", 3_000, DAY)
    pay(ledger, "filler", 1_000, DAY + timedelta(days=1))
    known = known_facts(PLAN, ledger)
    assert known.facts == KnownFacts(amounts={"filler": 70.0})
    assert known.lines["filler"].still_minor == 2_000


def test_more_than_was_left_to_buy_makes_what_was_paid_the_least_again(ledger: Ledger) -> None:
    pay(ledger, "filler", 4_000)
    ledger.say_still_to_buy("filler", 500, DAY)
    pay(ledger, "filler", 2_000, DAY + timedelta(days=1))
    assert facts(ledger) == KnownFacts(floors={"filler": 60.0})


def test_an_agreed_price_is_the_least_until_it_is_said_to_be_all(ledger: Ledger) -> None:
    agreed = ledger.add_commitment(DAY, "somebody", "filler", 7_000, "EUR")
    assert facts(ledger) == KnownFacts(floors={"filler": 70.0})
    assert known_facts(PLAN, ledger).lines["filler"].state == "committed"
    pay(ledger, "filler", 2_000, kind="deposit", commitment_id=agreed.id)
    assert facts(ledger) == KnownFacts(floors={"filler": 70.0})
    ledger.say_still_to_buy("filler", 5_000, DAY)
    assert facts(ledger) == KnownFacts(amounts={"filler": 70.0})


def test_a_cancelled_commitment_binds_nobody(ledger: Ledger) -> None:
    agreed = ledger.add_commitment(DAY, "somebody", "filler", 7_000, "EUR")
    ledger.cancel_commitment(agreed.id, DAY)
    assert facts(ledger).nothing


def test_money_spent_on_an_event_means_that_it_happened(ledger: Ledger) -> None:
    pay(ledger, "damage", 3_000)
    assert facts(ledger) == KnownFacts(floors={"damage": 30.0})
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
    plain = base_given(PLAN, KnownFacts())
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
        amounts={"kit": 140.0}, floors={"maybe": 30.0}, gates={"damage": True}, fixed={"filler": 0.0}
    )
    assert base_given(PLAN, known) == pytest.approx(
        {"kit": 140, "kit.resale": -10, "fee": 14, "filler": 0, "maybe": 30, "sanding": 0, "damage": 50}
    )


def test_mixed_uplift_of_two_kinds_of_work_as_percentages() -> None:
    """Mott MacDonald 2002 (HM Treasury), worked table: 30 % at 51 and 70 % at 24 make 15.3 + 16.8 = 32.1 %."""
    text = '[build]\nname = "x"\ncurrency = "EUR"\ncountry = "IE"\n'
    for name, cost, uplift in (("odd", 30, 51), ("usual", 70, 24)):
        text += f'[[line]]\nid = "{name}"\ngroup = "other"\namount = {cost}\n'
        text += f'[[line]]\nid = "{name}_uplift"\ngroup = "other"\npercent = {uplift}\nof = ["{name}"]\n'
    base = base_given(compile_plan(parse_build(text)), KnownFacts())
    assert base["odd_uplift"] == pytest.approx(15.3)
    assert base["usual_uplift"] == pytest.approx(16.8)
    assert sum(base.values()) == pytest.approx(132.1)


LINES = st.sampled_from(["kit", "filler", "maybe", "winch"])
ENTRIES = st.lists(
    st.tuples(
        st.sampled_from(["pay", "refund", "close", "reopen", "commit", "still", "event", "void", "cancel"]),
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
    days = [DAY + timedelta(days=number) for number in range(-1, 11)]
    for day, standing in zip(days, Record.read(ledger).standings([Moment(day) for day in days]), strict=True):
        assert standing.paid == ledger.paid_by_line(day)
        assert standing.committed == ledger.committed_by_line(day)
        assert standing.closed == ledger.closed_lines(day)
        marks = {name: mark.state for name, mark in ledger.event_states(day).items() if mark.state != "open"}
        assert standing.events == marks
        still = ledger.still_to_buy(day)
        assert standing.said == {
            name: ledger.paid_by_line(item.date).get(name, 0) + item.amount_minor
            for name, item in still.items()
        }
        known: Known = known_facts(PLAN, ledger, day)
        covered = sum(line.paid_minor for line in known.lines.values()) + known.outside_minor
        assert covered == known.paid_minor == standing.paid_minor
