from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forecast.errors import ImportRefusedError, LedgerError
from forecast.spending.ledger import Ledger
from forecast.spending.receipts_csv import COLUMNS, load_receipts_csv, receipts_csv

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
    assert ledger.committed_by_line("2026-02-19") == {"kit": 205_000}
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


TEXT = st.text(st.characters(codec="utf-8", exclude_categories=("C", "Z")), min_size=1, max_size=12)


@settings(max_examples=40, deadline=None)
@given(
    entries=st.lists(
        st.tuples(
            TEXT, TEXT, st.lists(st.tuples(TEXT, st.integers(1, 10**9)), min_size=1, max_size=4),
            st.sampled_from(["payment", "refund", "deposit", "balance"]), st.none() | st.integers(1, 10**9),
        ),
        max_size=6,
    )
)  # fmt: skip
def test_any_receipts_survive_the_round_trip(
    tmp_path_factory: pytest.TempPathFactory,
    entries: list[tuple[str, str, list[tuple[str, int]], str, int | None]],
) -> None:
    folder = tmp_path_factory.mktemp("trip")
    first, second = (Ledger(folder / f"{name}.db", currency="EUR") for name in ("first", "second"))
    for supplier, note, splits, kind, foreign in entries:
        total = sum(amount for _, amount in splits)
        amount, currency, paid = (total, "EUR", None) if foreign is None else (foreign, "KWD", (total, "EUR"))
        first.add_receipt("2026-05-02", supplier, amount, currency, splits, note, paid=paid, kind=kind)  # type: ignore[arg-type]
    export(first, folder / "out.csv")
    load_receipts_csv(folder / "out.csv", second)
    kept = [
        (item.entry_key, item.date, item.supplier, item.amount_minor, item.currency, item.kind, item.splits,
         item.note, item.charged_minor, item.charged_currency)
        for ledger in (first, second) for item in ledger.list_receipts()
    ]  # fmt: skip
    assert kept[: len(entries)] == kept[len(entries) :]


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
        load_receipts_csv(_file(tmp_path, "date,colour\n"), ledger)
    with pytest.raises(LedgerError, match="no column 'date'"):
        load_receipts_csv(_file(tmp_path, "supplier,amount\n"), ledger)
