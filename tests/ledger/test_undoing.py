"""Taking the last entry back, by new rows."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forecast.errors import LedgerError
from forecast.ledger import Ledger, NewReceipt, kept_open
from forecast.ledger.receipts_csv import load_receipts_csv, receipts_csv
from forecast.ledger.undoing import UNDONE, last_entry, undo_last
from forecast.watching.importing import confirm, enter_import, open_import, plan_import
from forecast.watching.known_facts import known_from
from forecast.watching.standing import Moment, Record
from tests.watching.test_known import PLAN

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
    assert [receipt.splits[0].line_id for receipt in ledger.list_receipts(include_void=True)] == ["kit"]
    undo_last(ledger)
    assert ledger.paid_by_line() == {}
    assert last_entry(ledger) is None
    with pytest.raises(LedgerError, match="all of it is taken back"):
        undo_last(ledger)


def said(ledger: Ledger) -> list[object]:
    """Give all that follows from a ledger: what the engine is told on each day, and every list it can give."""
    record = Record.read(ledger)
    days = [*(Moment(dt.date(2026, 3, number)) for number in range(1, 12)), Moment(dt.date.max)]
    return [
        [known_from(PLAN, standing) for standing in record.standings(days)],
        record,
        ledger.list_receipts(include_void=True),
        ledger.attachments(),
        ledger.lines_by_supplier(),
        ledger.paid_by_line(),
        ledger.committed_by_line(),
        ledger.imported("f" * 64),
    ]


def deposit(ledger: Ledger) -> None:
    number = ledger.list_commitments()[0].id
    ledger.add_receipt(
        "2026-03-04", "Maker", 900, "EUR", [("kit", 900)], kind="deposit", commitment_id=number
    )


def with_all_it_closes(ledger: Ledger) -> None:
    with ledger.together():
        number = pay(ledger, "filler")
        ledger.attach(number, "b" * 64, "photo.jpg", 9)
        ledger.close_line("filler", DAY)
        ledger.mark_event("damage", "happened", DAY)


def imported(ledger: Ledger) -> None:
    with ledger.together():
        for sum_ in (5, 6, 7):
            entry = NewReceipt(DAY, "Shop", sum_, "EUR", (("filler", sum_),), entry_key=f"row {sum_}")
            ledger.add_receipts([entry])
        ledger.remember_source("card", {"date_order": "dmy"})
        if not ledger.imported("f" * 64):
            ledger.note_import("f" * 64, "card.csv", "card", 3)


KINDS: dict[str, tuple[Callable[[Ledger], object], ...]] = {
    "a receipt": (pay,),
    "a refund": (lambda one: one.add_receipt(DAY, "Shop", 300, "EUR", [("kit", 300)], kind="refund"),),
    "a receipt in foreign money": (
        lambda one: one.add_receipt(DAY, "Shop", 30_000, "JPY", [("kit", 20_000)], paid=(20_000, "EUR")),
    ),
    "a receipt with all it closes": (with_all_it_closes,),
    "a bank's file": (imported,),
    "a void": (pay, lambda one: one.void_receipt(1, "entered twice")),
    "a void of what was voided and undone before": (
        pay, lambda one: one.void_receipt(1, "twice"), undo_last, lambda one: one.void_receipt(1, "after all"),
    ),
    "a first word on what is left": (pay, lambda one: one.say_still_to_buy("filler", 500, DAY)),
    "another word on what is left": (
        pay, lambda one: one.say_still_to_buy("filler", 500, DAY), lambda one: one.say_still_to_buy("filler", 9, DAY),
    ),
    "a commitment": (lambda one: one.add_commitment(DAY, "Maker", "kit", 5_000, "EUR"),),
    "a deposit": (lambda one: one.add_commitment(DAY, "Maker", "kit", 5_000, "EUR"), deposit),
    "a settled commitment": (
        lambda one: one.add_commitment(DAY, "Maker", "kit", 5_000, "EUR"), deposit,
        lambda one: one.settle_commitment(1, "2026-03-06"),
    ),
    "a cancelled commitment": (
        lambda one: one.add_commitment(DAY, "Maker", "kit", 5_000, "EUR"),
        lambda one: one.cancel_commitment(1, "2026-03-06"),
    ),
    "a commitment settled again": (
        lambda one: one.add_commitment(DAY, "Maker", "kit", 5_000, "EUR"),
        lambda one: one.settle_commitment(1, "2026-03-06"),
        undo_last,
        lambda one: one.cancel_commitment(1, "2026-03-05"),
    ),
    "a closed line": (pay, lambda one: one.close_line("filler", DAY)),
    "a line opened again": (
        pay, lambda one: one.close_line("filler", DAY), lambda one: one.reopen_line("filler", "2026-03-05"),
    ),
    "an event that happened": (lambda one: one.mark_event("damage", "happened", DAY),),
    "an event that cannot happen": (lambda one: one.mark_event("damage", "cannot-happen", DAY),),
    "an event withdrawn": (
        lambda one: one.mark_event("damage", "cannot-happen", DAY),
        lambda one: one.mark_event("damage", "open", DAY),
    ),
    "a frozen budget": (
        lambda one: one.freeze_baseline(
            5_000, "EUR", fingerprint="", build_text="", seed=1, trials=16, base_by_line={}, date=DAY
        ),
    ),
    "a document": (pay, lambda one: one.attach(1, "a" * 64, "photo.jpg", 9)),
    "a document kept again": (
        pay, lambda one: one.attach(1, "a" * 64, "photo.jpg", 9), undo_last,
        lambda one: one.attach(1, "a" * 64, "photo.jpg", 9),
    ),
}  # fmt: skip


@pytest.mark.parametrize("steps", KINDS.values(), ids=KINDS)
def test_after_undoing_any_entry_all_is_as_it_was_before(
    ledger: Ledger, steps: tuple[Callable[[Ledger], object], ...]
) -> None:
    states = []
    for step in steps:
        if step is undo_last:
            undo_last(ledger)
            assert said(ledger) == states.pop()
        else:
            states.append(said(ledger))
            step(ledger)
            assert said(ledger) != states[-1]
    while states:
        undo_last(ledger)
        assert said(ledger) == states.pop()
    assert last_entry(ledger) is None
    assert ledger.check() == ()
    assert len(ledger.history()) > len(steps)  # nothing is forgotten


@settings(max_examples=25, deadline=None)
@given(data=st.data())
def test_any_entries_are_undone_one_by_one(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    ledger = Ledger(tmp_path_factory.mktemp("undo") / "r.db", currency="EUR")
    with kept_open():  # read after every step, it is opened once
        undo_step_by_step(ledger, data)


def undo_step_by_step(ledger: Ledger, data: st.DataObject) -> None:
    """Enter what is drawn, and take it back entry by entry."""
    states: list[list[object]] = []
    for name in data.draw(st.lists(st.sampled_from(sorted(KINDS)), max_size=6)):
        for step in KINDS[name]:
            before = said(ledger)
            try:
                step(ledger)
            except LedgerError:
                continue  # what another step made impossible
            if step is undo_last:
                assert said(ledger) == states.pop()
            elif said(ledger) != before:
                states.append(before)
    while states:
        undo_last(ledger)
        assert said(ledger) == states.pop()
    assert last_entry(ledger) is None


def test_a_typo_is_in_no_history(ledger: Ledger) -> None:
    """What was never paid moved nothing on any day, whether it was voided or undone."""
    pay(ledger, "kit", 5_000)
    before = said(ledger)[0]
    typo = pay(ledger, "filler", 100_000)
    ledger.void_receipt(typo, "a zero too many", "2026-03-09")
    assert said(ledger)[0] == before
    assert Record.read(ledger).days() == (dt.date.fromisoformat(DAY),)
    pay(ledger, "filler", 90_000)
    undo_last(ledger)
    assert said(ledger)[0] == before


def test_what_earlier_versions_undid_stays_undone(ledger: Ledger) -> None:
    """They undid by rows with a note; frozen from version 0.1."""
    pay(ledger, "kit")
    number = pay(ledger)
    ledger.close_line("filler", DAY)
    ledger.reopen_line("filler", DAY, UNDONE)
    ledger.void_receipt(number, UNDONE)
    entry = last_entry(ledger)
    assert entry is not None
    assert [row["supplier"] for row in entry.rows("receipt")] == ["Shop"]
    assert undo_last(ledger).changes[0].row_id == number - 1
    assert ledger.paid_by_line() == {}
    assert last_entry(ledger) is None


def test_what_was_undone_can_be_entered_again_under_its_own_key(ledger: Ledger) -> None:
    for _ in range(3):
        ledger.add_receipt(DAY, "Shop", 700, "EUR", [("kit", 700)], entry_key="form:1")
        ledger.add_commitment(DAY, "Maker", "kit", 5_000, "EUR", entry_key="form:2")
        assert ledger.paid_by_line() == {"kit": 700}
        assert ledger.committed_by_line() == {"kit": 5_000}
        undo_last(ledger)
        undo_last(ledger)
    assert ledger.paid_by_line() == {}
    assert ledger.list_receipts(include_void=True) == ()


def test_two_cannot_undo_one_entry(ledger: Ledger) -> None:
    pay(ledger)
    entry = last_entry(ledger)
    assert entry is not None
    ledger.undo(entry.changes)
    with pytest.raises(LedgerError, match="that entry is undone already"):
        ledger.undo(entry.changes)


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
        ledger.reopen_line("filler", DAY)
    ledger.close_line("kit", DAY)
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
