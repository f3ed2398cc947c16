"""Taking the last entry back, by new rows."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from forecast.errors import LedgerError
from forecast.spending.importing import confirm, enter_import, open_import, plan_import
from forecast.spending.ledger import Ledger
from forecast.spending.receipts_csv import load_receipts_csv, receipts_csv
from forecast.spending.undoing import UNDONE, last_entry, undo_last

DAY = "2026-03-02"


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    return Ledger(tmp_path / "receipts.db", currency="EUR", who="builder")


def pay(ledger: Ledger, line: str = "filler", minor: int = 1_000) -> int:
    return ledger.add_receipt(DAY, "Shop", minor, "EUR", [(line, minor)]).id


def test_a_receipt_goes_with_the_lines_that_it_closed(ledger: Ledger) -> None:
    pay(ledger, "kit")
    with ledger.together():
        pay(ledger)
        ledger.close_line("filler", DAY)
    entry = undo_last(ledger)
    assert [change.table for change in entry.changes] == ["receipt", "line_mark"]
    assert ledger.paid_by_line() == {"kit": 1_000}
    assert ledger.closed_lines() == frozenset()
    assert [receipt.note for receipt in ledger.list_receipts(include_void=True)] == ["", "", UNDONE]
    undo_last(ledger)
    assert ledger.paid_by_line() == {}
    assert last_entry(ledger) is None
    with pytest.raises(LedgerError, match="all of it is taken back"):
        undo_last(ledger)


def test_what_stood_before_stands_again(ledger: Ledger) -> None:
    ledger.mark_event("damage", "cannot-happen", DAY)
    ledger.mark_event("damage", "open", DAY)
    ledger.say_still_to_buy("filler", 500, DAY)
    ledger.say_still_to_buy("filler", 900, DAY)
    ledger.close_line("filler", DAY)
    ledger.reopen_line("filler", DAY)
    undo_last(ledger)
    assert ledger.closed_lines() == frozenset({"filler"})
    undo_last(ledger)
    assert ledger.closed_lines() == frozenset()
    undo_last(ledger)
    assert ledger.still_to_buy()["filler"].amount_minor == 500
    with pytest.raises(LedgerError, match="was said for the first time"):
        undo_last(ledger)


def test_an_event_returns_to_what_was_said_before(ledger: Ledger) -> None:
    ledger.mark_event("damage", "cannot-happen", DAY)
    ledger.mark_event("damage", "open", DAY)
    undo_last(ledger)
    assert ledger.event_states()["damage"].state == "cannot-happen"
    undo_last(ledger)
    assert ledger.event_states()["damage"].state == "open"


def test_a_commitment_is_off_unless_it_is_paid_against(ledger: Ledger) -> None:
    kit = ledger.add_commitment(DAY, "Maker", "kit", 5_000, "EUR")
    undo_last(ledger)
    assert ledger.list_commitments() == ()
    kit = ledger.add_commitment(DAY, "Maker", "kit", 5_000, "EUR")
    ledger.add_receipt(DAY, "Maker", 900, "EUR", [("kit", 900)], kind="deposit", commitment_id=kit.id)
    undo_last(ledger)
    undo_last(ledger)
    assert ledger.list_commitments() == ()


def test_what_the_ledger_does_not_let_go_is_said(ledger: Ledger) -> None:
    number = pay(ledger)
    ledger.void_receipt(number, "entered twice")
    with pytest.raises(LedgerError, match=f"Receipt {number} was taken back and stays so"):
        undo_last(ledger)
    ledger.freeze_baseline(
        5_000, "EUR", fingerprint="", build_text="", seed=1, trials=16, base_by_line={}, date=DAY
    )
    entry = last_entry(ledger)
    assert entry is not None
    assert "freeze another one" in entry.why_not


def test_nothing_is_undone_that_was_not_shown(ledger: Ledger) -> None:
    pay(ledger)
    shown = last_entry(ledger)
    assert shown is not None
    Ledger(ledger.path, who="phone").close_line("kit", DAY)
    with pytest.raises(LedgerError, match="something else was entered meanwhile"):
        undo_last(ledger, shown.mark)
    assert ledger.closed_lines() == frozenset({"kit"})
    assert ledger.paid_by_line() == {"filler": 1_000}


def test_an_import_is_undone_as_a_whole_and_can_be_entered_again(ledger: Ledger, tmp_path: Path) -> None:
    file = tmp_path / "card.csv"
    rows = [f"2026-03-{1 + number % 28:02d},Shop {number},{number + 1}.00" for number in range(230)]
    file.write_text("Date,Payee,Amount\n" + "\n".join(rows), encoding="utf-8")
    preview = confirm(open_import(file, ledger, source="card"), decimal=".", spending="positive")

    def enter() -> int:
        return len(enter_import(plan_import(preview, ledger, default_line="misc"), ledger).entered)

    total = {"misc": 100 * sum(range(1, 231))}
    assert enter() == 230  # more rows than are looked at in one go
    assert len(undo_last(ledger).rows("receipt")) == 230
    assert ledger.paid_by_line() == {}
    assert enter() == 230
    assert enter() == 0
    assert ledger.paid_by_line() == total


def test_a_row_taken_back_by_hand_is_held_back(ledger: Ledger, tmp_path: Path) -> None:
    file = tmp_path / "card.csv"
    file.write_text("Date,Payee,Amount\n2026-03-14,Shop,10.00\n2026-03-15,Shop,11.00\n", encoding="utf-8")
    preview = open_import(file, ledger, source="card")
    enter_import(plan_import(preview, ledger, default_line="misc"), ledger)
    ledger.void_receipt(1, "not for the car")
    plan = plan_import(preview, ledger, default_line="misc")
    assert [row.state for row in plan.rows] == ["taken-back", "imported"]
    assert plan.rows[0].why == "imported before as receipt 1 and taken back: not for the car"
    assert enter_import(plan, ledger).entered == ()
    (again,) = enter_import(plan, ledger, accept=[2]).entered
    assert again.paid_minor == 1_000
    assert [row.state for row in plan_import(preview, ledger).rows] == ["imported", "imported"]


def test_an_undone_ledger_is_exported_and_read_back(ledger: Ledger, tmp_path: Path) -> None:
    for _ in range(2):
        ledger.close_line("filler", DAY)
        undo_last(ledger)
    ledger.close_line("filler", DAY)
    (tmp_path / "out.csv").write_bytes(receipts_csv(ledger).encode())
    other = Ledger(tmp_path / "other.db", currency="EUR")
    for _ in range(2):
        load_receipts_csv(tmp_path / "out.csv", other)
        assert other.closed_lines() == frozenset({"filler"})
        assert len(other.list_marks()) == 5


def test_rows_of_one_transaction_bear_one_moment(tmp_path: Path) -> None:
    moments = iter(dt.datetime(2026, 1, 1, 0, 0, second, tzinfo=dt.UTC) for second in range(60))
    ledger = Ledger(tmp_path / "receipts.db", currency="EUR", now=lambda: next(moments))
    with ledger.together():
        pay(ledger)
        ledger.close_line("filler", DAY)
    ledger.close_line("kit", DAY)
    told = [change for change in ledger.history() if change.table in ("receipt", "split", "line_mark")]
    assert len({change.at for change in told}) == 2
    assert len({change.at for change in told[:3]}) == 1
