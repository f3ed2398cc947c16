from __future__ import annotations

import sqlite3
from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from forecast.errors import LedgerError, UnbalancedError
from forecast.ledger import Ledger, NewReceipt, Split

NOON = datetime(2026, 5, 3, 12, tzinfo=UTC)


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    return Ledger(tmp_path / "receipts.db", currency="EUR", who="builder", now=lambda: NOON)


def test_a_receipt_is_kept_as_entered(ledger: Ledger) -> None:
    receipt = ledger.add_receipt(
        "2026-05-02", " Paint shop ", 1000, "EUR", [("primer", 400), Split("tape", 600)], "two tins"
    )
    assert ledger.list_receipts() == (receipt,)
    assert receipt.date == date(2026, 5, 2)
    assert receipt.supplier == "Paint shop"
    assert receipt.splits == (Split("primer", 400), Split("tape", 600))
    assert receipt.recorded_at == NOON
    assert receipt.who == "builder"
    assert receipt.rate is None
    assert ledger.paid_by_line() == {"primer": 400, "tape": 600}


def test_splits_that_do_not_add_up_are_refused_with_the_difference(ledger: Ledger) -> None:
    with pytest.raises(
        UnbalancedError, match=r"add up to 9\.99 EUR, the receipt is 10\.00 EUR: 0\.01 EUR missing"
    ):
        ledger.add_receipt("2026-05-02", "Shop", 1000, "EUR", [("a", 999)])
    with pytest.raises(UnbalancedError, match=r"0\.50 EUR too much"):
        ledger.add_receipt("2026-05-02", "Shop", 1000, "EUR", [("a", 1050)])
    assert ledger.list_receipts() == ()


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=30, deadline=None)
@given(
    parts=st.lists(st.integers(-500, 10**9), min_size=1, max_size=8).filter(lambda parts: sum(parts) > 0),
    off_by=st.integers(-3, 3),
)
def test_only_splits_that_add_up_are_kept(ledger: Ledger, parts: list[int], off_by: int) -> None:
    before = len(ledger.list_receipts())
    total, splits = sum(parts) + off_by, [(f"line{number}", part) for number, part in enumerate(parts)]
    if total <= 0:
        return
    if off_by:
        with pytest.raises(UnbalancedError):
            ledger.add_receipt("2026-05-02", "Shop", total, "EUR", splits)
    else:
        ledger.add_receipt("2026-05-02", "Shop", total, "EUR", splits)
    assert len(ledger.list_receipts()) == before + (not off_by)
    assert ledger.check() == ()


@pytest.mark.parametrize(
    ("changed", "why"),
    [
        ({"date": "2026-02-30"}, "is no day"),
        ({"date": "3.5.2026"}, "is no day"),
        ({"supplier": " "}, "no supplier"),
        ({"amount_minor": 0, "splits": [("a", 0)]}, "above zero"),
        (
            {"amount_minor": -5, "splits": [("a", -5)]},
            "amount is -0.05 EUR. If it came back, enter 0.05 EUR as a refund",
        ),
        (
            {"amount_minor": -(10**40), "splits": [("a", -(10**40))]},
            "amount is too large a sum. Write a sum above zero.*; money that came back is a refund",
        ),
        ({"amount_minor": 10.0}, "Write a sum above zero"),
        ({"amount_minor": "1000"}, "Write a sum above zero"),
        ({"amount_minor": True, "splits": [("a", True)]}, "Write a sum above zero"),
        ({"splits": [("a", 1000.0)]}, "Write it as a sum"),
        ({"splits": [("", 1000)]}, "without a line"),
        ({"splits": []}, "no line"),
        ({"currency": "EURO"}, "no such code"),
        ({"currency": "JPY"}, "paid in JPY, but the build counts in EUR"),
        ({"kind": "gift"}, "Legal are payment"),
        ({"commitment_id": 9}, "no commitment 9"),
    ],
)
def test_a_receipt_that_cannot_be_true_is_refused(ledger: Ledger, changed: dict[str, Any], why: str) -> None:
    entry: dict[str, Any] = {
        "date": "2026-05-02", "supplier": "Shop", "amount_minor": 1000, "currency": "EUR", "splits": [("a", 1000)],
    }  # fmt: skip
    with pytest.raises(LedgerError, match=why):
        ledger.add_receipt(**(entry | changed))
    assert ledger.list_receipts() == ()


def test_what_the_card_was_charged_gives_the_real_rate(ledger: Ledger) -> None:
    receipt = ledger.add_receipt(
        "2026-05-02", "Kit maker", 300_000, "JPY", [("kit", 189_000)], paid=(189_000, "EUR")
    )
    assert receipt.rate == Decimal("0.0063")
    assert receipt.paid_minor == 189_000
    assert ledger.paid_by_line() == {"kit": 189_000}
    with pytest.raises(UnbalancedError):  # splits are of what was charged
        ledger.add_receipt(
            "2026-05-02", "Kit maker", 300_000, "JPY", [("kit", 300_000)], paid=(189_000, "EUR")
        )


def test_a_refund_takes_off(ledger: Ledger) -> None:
    ledger.add_receipt("2026-05-02", "Shop", 1000, "EUR", [("a", 1000)])
    refund = ledger.add_receipt("2026-05-03", "Shop", 300, "EUR", [("a", 300)], kind="refund")
    assert refund.amount_minor == -300
    assert refund.splits == (Split("a", -300),)
    assert ledger.paid_by_line() == {"a": 700}
    assert ledger.paid_by_line("2026-05-02") == {"a": 1000}


def test_a_void_is_a_new_row_and_what_it_takes_back_counts_on_no_day(ledger: Ledger) -> None:
    receipt = ledger.add_receipt("2026-04-01", "Shop", 1000, "EUR", [("a", 400), ("b", 600)])
    void = ledger.void_receipt(receipt.id, "entered twice", "2026-04-10")
    assert void.amount_minor == -1000
    assert void.note == "entered twice"
    assert ledger.list_receipts() == ()
    assert ledger.list_receipts("2026-04-09") == ()
    assert [row.id for row in ledger.list_receipts(include_void=True)] == [receipt.id, void.id]
    assert ledger.list_receipts(include_void=True)[0].voided_by == void.id
    assert ledger.paid_by_line() == {}
    assert ledger.paid_by_line("2026-04-09") == {}
    with pytest.raises(LedgerError, match=f"voided already, by row {void.id}"):
        ledger.void_receipt(receipt.id, "again")
    with pytest.raises(LedgerError, match="is itself a void"):
        ledger.void_receipt(void.id, "undo")
    assert ledger.check() == ()


def test_a_void_needs_a_receipt_a_reason_and_a_day_not_before_it(ledger: Ledger) -> None:
    receipt = ledger.add_receipt("2026-04-05", "Shop", 1000, "EUR", [("a", 1000)])
    with pytest.raises(LedgerError, match="no receipt 99"):
        ledger.void_receipt(99, "x")
    with pytest.raises(LedgerError, match="for a reason"):
        ledger.void_receipt(receipt.id, " ")
    with pytest.raises(LedgerError, match="on or after"):
        ledger.void_receipt(receipt.id, "x", "2026-04-04")


def test_entering_the_same_key_again_changes_nothing(ledger: Ledger) -> None:
    first = ledger.add_receipt("2026-05-02", "Shop", 1000, "EUR", [("a", 1000)], entry_key="till 7")
    assert ledger.add_receipt("2026-05-02", "Shop", 1000, "EUR", [("a", 1000)], entry_key="till 7") == first
    assert len(ledger.list_receipts()) == 1
    with pytest.raises(LedgerError, match="there already with other figures"):
        ledger.add_receipt("2026-05-02", "Shop", 1001, "EUR", [("a", 1001)], entry_key="till 7")


def test_many_receipts_are_entered_all_or_none(ledger: Ledger) -> None:
    good = NewReceipt("2026-05-02", "Shop", 1000, "EUR", (("a", 1000),))
    foreign = NewReceipt("2026-05-02", "Shop", 1000, "USD", (("a", 1000),))
    with pytest.raises(LedgerError, match="paid in USD"):
        ledger.add_receipts([good, good, foreign])
    assert ledger.list_receipts() == ()
    assert len(ledger.add_receipts([good] * 60)) == 60
    assert len(ledger.list_receipts()) == 60


def test_calls_made_together_are_kept_together(ledger: Ledger) -> None:
    def fail_halfway() -> None:
        with ledger.together():
            ledger.add_receipt("2026-05-02", "Shop", 1000, "EUR", [("a", 1000)])
            ledger.close_line("a")
            assert len(ledger.list_receipts()) == 1
            message = "halfway"
            raise RuntimeError(message)

    with pytest.raises(RuntimeError, match="halfway"):
        fail_halfway()
    assert ledger.list_receipts() == ()
    assert ledger.closed_lines() == frozenset()


def test_rows_can_neither_be_altered_nor_deleted(ledger: Ledger) -> None:
    ledger.add_receipt("2026-05-02", "Shop", 1000, "EUR", [("a", 1000)])
    connection = sqlite3.connect(ledger.path)
    try:
        for table in ("receipt", "split", "change"):
            for statement in (f"DELETE FROM {table}", f"UPDATE {table} SET id = id + 1"):
                with pytest.raises(sqlite3.IntegrityError, match="correct them by a new row"):
                    connection.execute(statement)
    finally:
        connection.close()


def test_the_history_tells_who_wrote_every_row(ledger: Ledger) -> None:
    receipt = ledger.add_receipt("2026-05-02", "Shop", 1000, "EUR", [("a", 400), ("b", 600)])
    other = Ledger(ledger.path, who="helper", now=lambda: NOON)
    void = other.void_receipt(receipt.id, "wrong shop")
    changes = ledger.history("receipt")
    assert [(change.who, change.row_id, change.action) for change in changes] == [
        ("builder", receipt.id, "insert"),
        ("helper", void.id, "insert"),
    ]
    assert changes[0].after is not None
    assert changes[0].after["supplier"] == "Shop"
    assert [change.who for change in ledger.history("split")] == ["builder"] * 2 + ["helper"] * 2
    assert ledger.history("receipt", void.id) == changes[1:]


def agree(
    ledger: Ledger, minor: int, supplier: str = "Maker", line: str = "kit", day: str = "2026-05-01"
) -> int:
    return ledger.add_commitment(day, supplier, line, minor, "EUR").id


def test_a_receipt_counts_against_what_is_agreed_with_its_supplier_for_its_line(ledger: Ledger) -> None:
    agreed = agree(ledger, 50_000)
    agree(ledger, 9_000, line="paint")
    deposit = ledger.add_receipt("2026-05-02", "maker", 20_000, "EUR", [("kit", 20_000)], kind="deposit")
    assert deposit.commitment_id == agreed
    assert ledger.committed_by_line() == {"kit": 30_000, "paint": 9_000}
    others = (
        ("2026-05-02", "Shop", [("kit", 500)], False),  # somebody else
        ("2026-05-02", "Maker", [("wheels", 500)], False),  # another line
        ("2026-04-30", "Maker", [("kit", 500)], False),  # before it was agreed
        ("2026-05-02", "Maker", [("kit", 300), ("paint", 200)], False),  # a bill over several lines
        ("2026-05-02", "Maker", [("kit", 500)], True),  # said to be apart
    )
    for day, supplier, splits, apart in others:
        other = ledger.add_receipt(day, supplier, 500, "EUR", splits, apart=apart)
        assert other.commitment_id is None
    assert ledger.committed_by_line() == {"kit": 30_000, "paint": 9_000}


def test_a_refund_opens_again_what_was_paid_against_an_agreement(ledger: Ledger) -> None:
    agree(ledger, 50_000)
    ledger.add_receipt("2026-05-02", "Maker", 20_000, "EUR", [("kit", 20_000)], kind="deposit")
    ledger.add_receipt("2026-05-03", "Maker", 5_000, "EUR", [("kit", 5_000)], kind="refund")
    assert ledger.committed_by_line() == {"kit": 35_000}


def test_an_agreement_that_ended_takes_no_more(ledger: Ledger) -> None:
    agreed = agree(ledger, 50_000)
    ledger.cancel_commitment(agreed, "2026-05-03")
    for day, against in (("2026-05-02", agreed), ("2026-05-03", None), ("2026-05-04", None)):
        receipt = ledger.add_receipt(day, "Maker", 100, "EUR", [("kit", 100)])
        assert receipt.commitment_id == against


@pytest.mark.parametrize(
    ("agreed", "paid", "same"),
    [
        ("Foam & Fibre Ltd.", "foam and fibre Limited", True),
        ("Foam & Fibre", "FOAM & FIBRE GMBH", True),
        ("Foam Ltd", "Fibre Ltd", False),
        ("Co", "Ltd", False),  # nothing but legal forms names nobody
        ("Co", " co ", True),
    ],
)
def test_a_supplier_is_known_whatever_its_legal_form(
    ledger: Ledger, agreed: str, paid: str, same: bool
) -> None:
    agreement = ledger.add_commitment("2026-05-02", agreed, "primer", 500, "EUR")
    receipt = ledger.add_receipt("2026-05-03", paid, 100, "EUR", [("primer", 100)])
    assert (receipt.commitment_id == agreement.id) is same


def test_what_is_paid_in_full_leaves_the_next_receipt_to_the_next_agreement(ledger: Ledger) -> None:
    first, second = agree(ledger, 50_000), agree(ledger, 8_000)
    paid = [ledger.add_receipt("2026-05-02", "Maker", 50_000, "EUR", [("kit", 50_000)], entry_key="whole")]
    paid.append(ledger.add_receipt("2026-05-03", "Maker", 8_000, "EUR", [("kit", 8_000)]))
    assert [one.commitment_id for one in paid] == [first, second]
    assert ledger.committed_by_line() == {}
    again = ledger.add_receipt("2026-05-02", "Maker", 50_000, "EUR", [("kit", 50_000)], entry_key="whole")
    assert again == paid[0]  # the same entry once more is still the same


def test_suppliers_are_counted_by_line_without_voids(ledger: Ledger) -> None:
    ledger.add_receipt("2026-05-02", "Shop", 1000, "EUR", [("a", 400), ("b", 600)])
    ledger.void_receipt(ledger.add_receipt("2026-05-02", "Shop", 5, "EUR", [("b", 5)]).id, "typo")
    assert ledger.lines_by_supplier() == {"Shop": {"a": 1, "b": 1}}


def test_the_first_receipt_settles_the_currency(tmp_path: Path) -> None:
    ledger = Ledger(tmp_path / "new.db")
    assert ledger.currency is None
    ledger.add_receipt("2026-05-02", "Shop", 1000, "JPY", [("a", 1000)])
    assert ledger.currency == "JPY"
    with pytest.raises(LedgerError, match="keeps its sums in JPY, the build in EUR"):
        Ledger(ledger.path, currency="EUR")
