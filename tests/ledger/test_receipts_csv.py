from __future__ import annotations

import csv
import io
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl import load_workbook

from forecast.errors import ImportRefusedError, LedgerError
from forecast.ledger import Ledger
from forecast.ledger.receipts_csv import COLUMNS, is_ledger_text, load_receipts_csv, receipts_csv
from forecast.ledger.receipts_xlsx import receipts_xlsx
from forecast.ledger.undoing import undo_last

BY_HAND = """\
date,receipt,kind,supplier,amount,currency,line,charged,charged_currency,against,note
2026-01-10,kit-order,commitment,Kit maker,500000,JPY,kit,3000.00,EUR,,front and rear
2026-01-12,,deposit,Kit maker,150000,JPY,kit,950.00,EUR,kit-order,
2026-02-01,7,,Paint shop,64.00,EUR,primer,,,,two tins
2026-02-01,7,,Paint shop,-4.00,EUR,primer,,,,
2026-02-01,7,,Paint shop,12.50,EUR,tape,,,,
2026-02-03,8,payment,Other shop,1.00,EUR,tape,,,,
2026-02-04,8,void,,,,,,,,entered twice
2026-02-05,9,refund,Paint shop,32.00,EUR,primer,,,,one tin back
2026-02-20,kit-order,settled,,,,,,,,
2026-02-21,,close,,,,tape,,,,
2026-02-22,,reopen,,,,tape,,,,
2026-02-23,,happened,,,,damage,,,,
2026-02-23,,cannot-happen,,,,storage,,,,
2026-02-24,,event-open,,,,damage,,,,
2026-02-25,,still-to-buy,,40.00,EUR,primer,,,,
2026-02-26,,freeze,,9450.00,EUR,,,,,agreed
"""


def _file(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "receipts.csv"
    path.write_text(text, encoding="utf-8")
    return path


def export(ledger: Ledger, target: Path) -> None:
    target.write_bytes(receipts_csv(ledger).encode())


def test_a_file_written_by_hand_is_read(tmp_path: Path) -> None:
    ledger = Ledger(tmp_path / "receipts.db", currency="EUR")
    loaded = load_receipts_csv(_file(tmp_path, BY_HAND), ledger)
    assert loaded.counts["payment"] == 2
    assert ledger.paid_by_line() == {"kit": 95_000, "primer": 2800, "tape": 1250}
    assert ledger.committed_by_line("2026-02-19") == {"kit": 210_000}
    assert ledger.committed_by_line() == {}
    assert ledger.closed_lines("2026-02-21") == {"tape"}
    assert ledger.closed_lines() == frozenset()
    assert {name: mark.state for name, mark in ledger.event_states().items()} == {
        "damage": "open",
        "storage": "cannot-happen",
    }
    assert ledger.still_to_buy()["primer"].amount_minor == 4000
    baseline = ledger.baseline()
    assert baseline is not None
    assert baseline.budget_minor == 945_000
    assert ledger.check() == ()


def test_loading_a_file_again_changes_nothing(tmp_path: Path) -> None:
    ledger = Ledger(tmp_path / "receipts.db", currency="EUR")
    path = _file(tmp_path, BY_HAND)
    load_receipts_csv(path, ledger)
    before = ledger.history()
    load_receipts_csv(path, ledger)
    assert ledger.history() == before


def test_export_and_load_give_the_same_ledger(tmp_path: Path) -> None:
    first = Ledger(tmp_path / "first.db", currency="EUR")
    load_receipts_csv(_file(tmp_path, BY_HAND), first)
    first.freeze_baseline(
        950_000, "EUR", fingerprint="abc", build_text='[build]\nname = "Coupé, \'long\'"\n', seed=3, trials=4096,
        base_by_line={"kit": 300_000}, scenario="diy", date="2026-03-01",
    )  # fmt: skip
    export(first, tmp_path / "out.csv")
    assert len((tmp_path / "out.csv").read_text(encoding="utf-8").splitlines()) == 18
    second = Ledger(tmp_path / "second.db", currency="EUR")
    load_receipts_csv(tmp_path / "out.csv", second)
    export(second, tmp_path / "again.csv")
    assert (tmp_path / "out.csv").read_bytes() == (tmp_path / "again.csv").read_bytes()
    assert second.paid_by_line() == first.paid_by_line()
    newest, original = second.baseline(), first.baseline()
    assert newest is not None
    assert original is not None
    assert (newest.build_text, newest.base_by_line) == (original.build_text, original.base_by_line)
    # Into the ledger that it came from it brings nothing new.
    before = first.history()
    load_receipts_csv(tmp_path / "out.csv", first)
    assert first.history() == before


def test_all_that_may_be_said_on_one_day_is_exported_and_read_back(tmp_path: Path) -> None:
    first = Ledger(tmp_path / "first.db", currency="EUR")
    agreed = first.add_commitment("2026-05-02", "Shop", "paint", 900, "EUR")
    paid = first.add_receipt("2026-05-02", "Shop", 500, "EUR", [("paint", 500)], commitment_id=agreed.id)
    first.void_receipt(paid.id, "twice", "2026-05-02")
    first.settle_commitment(agreed.id, "2026-05-02")
    first.say_still_to_buy("filler", 700, "2026-05-02")
    first.say_still_to_buy("tape", 300, "2026-05-02")
    first.close_line("kit", "2026-05-02")
    first.mark_event("damage", "cannot-happen", "2026-05-02")
    export(first, tmp_path / "out.csv")
    second = Ledger(tmp_path / "second.db", currency="EUR")
    load_receipts_csv(tmp_path / "out.csv", second)
    export(second, tmp_path / "again.csv")
    assert (tmp_path / "out.csv").read_bytes() == (tmp_path / "again.csv").read_bytes()
    assert {mark.subject for _, mark in second.list_marks()} == {"kit", "damage"}
    assert [(left.line_id, left.amount_minor) for left in second.list_still_to_buy()] == [
        ("filler", 700),
        ("tape", 300),
    ]


@pytest.mark.parametrize("void_on", ["2026-05-02", "2026-05-09"])
def test_what_was_entered_anew_after_a_mistake_stands_after_it_when_read_back(
    tmp_path: Path, void_on: str
) -> None:
    first, second = (Ledger(tmp_path / f"{name}.db", currency="EUR") for name in ("first", "second"))
    first.add_receipt("2026-05-02", "Paint counter", 700, "EUR", [("tape", 700)])
    wrong = first.add_receipt("2026-05-02", "Shop", 5000, "EUR", [("paint", 5000)])
    first.void_receipt(wrong.id, "ten times too much", void_on)
    for day in ("2026-05-01", "2026-05-02", "2026-05-09"):
        first.add_receipt(day, "Shop", 500, "EUR", [("paint", 500)])
    export(first, tmp_path / "out.csv")
    load_receipts_csv(tmp_path / "out.csv", second)
    assert image(second) == image(first)


def test_a_void_that_stands_before_what_it_takes_back_is_read_all_the_same(tmp_path: Path) -> None:
    rows = "date,receipt,kind,supplier,amount,currency,line,note\n"
    rows += "2026-05-02,a,void,,,,,twice\n2026-05-02,a,,Shop,5.00,EUR,paint,\n"
    ledger = Ledger(tmp_path / "receipts.db", currency="EUR")
    load_receipts_csv(_file(tmp_path, rows), ledger)
    assert ledger.list_receipts() == ()
    assert len(ledger.list_receipts(include_void=True)) == 2


ODD = (
    "=HYPERLINK(1)", "'=1", "''@x", "-5", "+1", " a ", "a\rb", "a\r\nb", "a\0b", "\x1b[31m", "\udcff", "\ufeffx", '"',
    "a,b;c\td",
)  # fmt: skip
ANY_TEXT = st.text(st.characters(), max_size=12) | st.sampled_from(ODD)
"""All there is, lone surrogates and control characters among it."""
MINOR = st.integers(1, 10**9)
KINDS = st.sampled_from(
    ["payment", "refund", "deposit", "balance", "void", "commitment", "settled", "cancelled", "close", "reopen",
     "happened", "cannot-happen", "event-open", "still-to-buy", "freeze", "undo"]
)  # fmt: skip


def image(ledger: Ledger) -> list[object]:
    """Give all that a ledger says, with keys for numbers; not who said it and when."""
    receipts, agreed = ledger.list_receipts(include_void=True), ledger.list_commitments(include_ended=True)
    keys = {item.id: item.entry_key for item in agreed} | {None: None}
    names = {item.id: item.entry_key for item in receipts} | {None: None}
    return [
        ledger.currency,
        [
            (item.entry_key, item.date, item.supplier, item.amount_minor, item.currency, item.kind, item.splits,
             item.note, item.charged_minor, item.charged_currency, keys[item.commitment_id], names[item.voids],
             names[item.voided_by])
            for item in receipts
        ],
        [
            (item.entry_key, item.date, item.supplier, item.line_id, item.amount_minor, item.currency,
             item.expected_minor, item.note, item.state, item.ended, item.paid_minor)
            for item in agreed
        ],
        [(kind, mark.subject, mark.state, mark.date, mark.note) for kind, mark in ledger.list_marks()],
        [(item.line_id, item.amount_minor, item.date, item.note) for item in ledger.list_still_to_buy()],
        [
            (item.entry_key, item.date, item.budget_minor, item.currency, item.fingerprint, item.build_text, item.seed,
             item.trials, item.base_by_line, item.scenario, item.note)
            for item in ledger.list_baselines()
        ],
    ]  # fmt: skip


def say(ledger: Ledger, kind: str, text: Callable[[], str], minor: int, day: str) -> None:
    """Enter something of a kind; what the ledger refuses is left out."""
    receipts, agreed = ledger.list_receipts(), ledger.list_commitments()
    match kind:
        case "void":
            ledger.void_receipt(receipts[-1].id, text(), max(day, str(receipts[-1].date)))
        case "commitment":
            own = minor % 2 == 0
            ledger.add_commitment(
                day,
                text(),
                text(),
                minor,
                "EUR" if own else "KWD",
                text(),
                expected_minor=None if own else minor,
            )
        case "settled":
            ledger.settle_commitment(agreed[-1].id, day, text())
        case "cancelled":
            ledger.cancel_commitment(agreed[-1].id, day, text())
        case "close":
            ledger.close_line(text(), day, text(), anyway=True)
        case "reopen":
            ledger.reopen_line(text(), day, text(), anyway=True)
        case "happened" | "cannot-happen":
            ledger.mark_event(text(), kind, day, text(), anyway=True)  # type: ignore[arg-type]
        case "event-open":
            ledger.mark_event(text(), "open", day, text(), anyway=True)
        case "still-to-buy":
            ledger.say_still_to_buy(text(), minor, day, text(), anyway=True)
        case "freeze":
            ledger.freeze_baseline(
                minor, "EUR", fingerprint="f", build_text=text().encode(errors="ignore").decode(), seed=1, trials=16,
                base_by_line={"a": minor}, date=day, note=text(),
            )  # fmt: skip
        case "undo":
            undo_last(ledger)
        case _:
            splits = [(text(), minor), (text(), 2 * minor), (text(), -1)]
            against = agreed[-1].id if agreed else None
            paid = None if minor % 2 else (3 * minor - 1, "EUR")
            amount, currency = (3 * minor - 1, "EUR") if paid is None else (minor, "KWD")
            ledger.add_receipt(
                day, text(), amount, currency, splits, text(), paid=paid, kind=kind, commitment_id=against  # type: ignore[arg-type]
            )  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_whatever_a_ledger_says_is_read_back(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    folder = tmp_path_factory.mktemp("trip")
    first, second = (Ledger(folder / f"{name}.db", currency="EUR") for name in ("first", "second"))
    days = st.sampled_from(["2026-05-02", "2026-05-03", "2026-05-09"])
    for kind in data.draw(st.lists(KINDS, max_size=8)):
        try:
            say(first, kind, lambda: data.draw(ANY_TEXT), data.draw(MINOR), data.draw(days))
        except (LedgerError, IndexError):  # an empty name, or nothing there to void or to settle
            continue
    export(first, folder / "out.csv")
    load_receipts_csv(folder / "out.csv", second)
    assert image(second) == image(first)
    before = first.history()
    load_receipts_csv(folder / "out.csv", first)
    assert first.history() == before
    load_workbook(io.BytesIO(receipts_xlsx(first, "EUR")))
    live = [
        cell
        for row in csv.reader(io.StringIO(receipts_csv(first)))
        for cell in row
        if cell[:1] in ("=", "@", "+")
    ]
    assert live == []


def test_text_is_cleaned_where_it_enters(tmp_path: Path) -> None:
    ledger = Ledger(tmp_path / "receipts.db", currency="EUR")
    receipt = ledger.add_receipt(
        "2026-05-02", " Shop\0\x1b[31m\r\n& sons ", 100, "EUR", [("tape\t", 100)], "one\r\ntwo\x07\udcff "
    )
    assert (receipt.supplier, receipt.splits[0].line_id, receipt.note) == (
        "Shop & sons",
        "tape",
        "one\ntwo\ufffd",
    )
    with pytest.raises(LedgerError, match="no supplier"):
        ledger.add_receipt("2026-05-02", "\x07", 100, "EUR", [("tape", 100)])


def test_what_an_earlier_version_took_in_is_exported_all_the_same(tmp_path: Path) -> None:
    ledger, second = (Ledger(tmp_path / f"{name}.db", currency="EUR") for name in ("first", "second"))
    with ledger._writing() as connection:
        connection.execute(
            "INSERT INTO receipt (entry_key, as_of, supplier, kind, amount_minor, currency, note, recorded_at, who)"
            " VALUES ('k', '2026-05-02', ' =Shop' || char(7), 'payment', 100, 'EUR', 'a' || char(13, 0) || 'b', ?, ?)",
            ledger._stamp(),
        )
        connection.execute("INSERT INTO split (receipt_id, line_id, amount_minor) VALUES (1, 'tape', 100)")
    export(ledger, tmp_path / "out.csv")
    assert "'=Shop" in (tmp_path / "out.csv").read_text(encoding="utf-8")
    load_receipts_csv(tmp_path / "out.csv", second)
    assert [(item.supplier, item.note) for item in second.list_receipts()] == [("=Shop", "a\nb")]
    sheet = load_workbook(io.BytesIO(receipts_xlsx(ledger, "EUR")))["Receipts"]
    assert (sheet.cell(2, 3).value, sheet.cell(2, 8).value) == ("=Shop", "a\nb")


def test_the_largest_build_file_is_kept_and_read_back(tmp_path: Path) -> None:
    ledger, second = (Ledger(tmp_path / f"{name}.db", currency="EUR") for name in ("first", "second"))
    ledger.freeze_baseline(
        100, "EUR", fingerprint="", build_text='# "a comment"\n' * 400_000, seed=1, trials=16, base_by_line={}
    )
    export(ledger, tmp_path / "out.csv")
    assert is_ledger_text(tmp_path / "out.csv")
    load_receipts_csv(tmp_path / "out.csv", second)
    assert image(second) == image(ledger)


def test_one_bad_row_loads_none_and_every_bad_row_is_named(tmp_path: Path) -> None:
    ledger = Ledger(tmp_path / "receipts.db", currency="EUR")
    text = (
        "date,receipt,kind,supplier,amount,currency,line,against\n"
        "2026-02-01,1,,Shop,64.00,EUR,primer,\n"
        "2026-02-31,2,,Shop,64.00,EUR,primer,\n"
        "2026-02-01,3,gift,Shop,64.00,EUR,primer,\n"
        "2026-02-01,4,,Shop,x,EUR,primer,\n"
        "2026-02-01,5,void,,,,,\n"
        "2026-02-01,6,,Shop,1.00,EUR,primer,nothing\n"
        "2026-02-01,7,,Shop,1.00,EUR,primer,\n"
        "2026-02-02,7,,Shop,1.00,EUR,primer,\n"
    )
    with pytest.raises(ImportRefusedError) as refused:
        load_receipts_csv(_file(tmp_path, text), ledger)
    places = sorted(problem.where.split(",")[0] for problem in refused.value.problems)
    assert places == ["row 3", "row 4", "row 5", "row 6", "row 7", "row 8"]
    assert "row 9, column date: '2026-02-02' differs" in str(refused.value)
    assert ledger.list_receipts() == ()


def test_an_unknown_column_is_refused_with_the_legal_ones(tmp_path: Path) -> None:
    ledger = Ledger(tmp_path / "receipts.db", currency="EUR")
    with pytest.raises(LedgerError, match="column 'colour'. Legal columns are " + ", ".join(COLUMNS)):
        load_receipts_csv(_file(tmp_path, "date,colour,size\n"), ledger)
    with pytest.raises(LedgerError, match="no column 'date'"):
        load_receipts_csv(_file(tmp_path, "supplier,amount\n"), ledger)
