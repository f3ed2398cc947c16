"""A bank's or card's file: shown as it was read, changed, and entered all or not at all."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from forecast.ledger.folder import BuildFolder
from forecast.ledger.receipts_csv import receipts_csv
from forecast.ledger.undoing import undo_last
from tests.dashboard.conftest import Run, words
from tests.dashboard.test_receipt_entry import field
from tests.dashboard.test_receipt_list import html, press, unfold

FILE = (
    "Booking date;Payee;Amount;Currency\n"
    "13.05.2026;Paint counter 0042;-148,50;EUR\n"
    "24.05.2026;Tool shop;-20,00;EUR\n"
    "25.05.2026;Paint counter 0043;-61,00;EUR\n"
)


def send(app: AppTest, text: str, name: str = "may.csv") -> AppTest:
    uploader = field(unfold(app, "bank"), "file_uploader", "CSV or XLSX file")
    return uploader.set_value((name, text.encode("cp1252"), "text/csv")).run()  # type: ignore[attr-defined]


def again(app: AppTest, text: str) -> AppTest:
    """Hand the file over once more: without a browser it would be gone after the second run."""
    field(app, "file_uploader", "CSV or XLSX file").set_value(("may.csv", text.encode("cp1252"), "text/csv"))  # type: ignore[attr-defined]
    return app


def choice(app: AppTest, label: str) -> object:
    return field(app, "selectbox", label).value  # type: ignore[attr-defined]


def edit(app: AppTest, changes: dict[int, dict[str, object]]) -> AppTest:
    """Edit the grid of rows, as a browser's edit would stand in the session."""
    key = next(item.proto.id for item in app.main.get("dataframe") if "-rows-" in item.proto.id)
    app.session_state[key[key.index("rows-") :]] = {
        "edited_rows": changes, "added_rows": [], "deleted_rows": [],
    }  # fmt: skip
    return app.run()


@pytest.fixture
def with_history(before_ordering: BuildFolder) -> BuildFolder:
    ledger = before_ordering.ledger()
    ledger.add_receipt("2026-05-02", "Paint counter", 1_000, "EUR", [("primer", 1_000)])
    ledger.add_receipt("2026-05-23", "The tool shop", 2_000, "EUR", [("tools", 2_000)])
    return before_ordering


def test_what_was_recognised_is_shown_and_nothing_is_entered(run: Run, with_history: BuildFolder) -> None:
    app = send(run(with_history.build_file, "receipts"), FILE)
    assert not app.exception
    assert [choice(app, label) for label in ("Encoding", "Between cells", "Decimal mark")] == [
        "utf-8",
        ";",
        ",",
    ]
    assert (choice(app, "Dates are written"), choice(app, "Money spent")) == ("dmy", "negative")
    assert (choice(app, "Date"), choice(app, "Amount")) == ("Booking date", "Amount")
    said = words(app)
    assert "**2 of 3** rows will be entered, **€209.50** in all." in said
    assert "1 held back: tick Enter where it is a payment of its own." in said
    assert len(with_history.ledger().list_receipts()) == 2


def test_the_rows_are_entered_once_by_supplier_history(run: Run, with_history: BuildFolder) -> None:
    app = press(send(run(with_history.build_file, "receipts"), FILE), "Enter 2 receipts")
    assert not app.exception
    assert "Entered from may.csv: 2 receipts. Left out: 1 row. P80 moved by" in words(app)
    ledger = with_history.ledger()
    assert ledger.paid_by_line()["primer"] == 1_000 + 14_850 + 6_100
    assert ledger.source("card") is not None
    app = send(app, FILE)
    assert "Left out as imported before: 2." in words(app)
    assert next(item for item in app.button if item.label == "Enter 0 receipts").disabled


def test_rows_are_chosen_one_by_one(run: Run, with_history: BuildFolder) -> None:
    app = send(run(with_history.build_file, "receipts"), FILE)
    names = {item.id: item.title for item in with_history.read().line}
    app = edit(app, {0: {"Enter": False}, 1: {"Enter": True, "Line": names["tyres"]}})
    assert not app.exception
    assert "**2 of 3** rows will be entered, **€81.00** in all." in words(app)
    app = press(again(app, FILE), "Enter 2 receipts")
    paid = with_history.ledger().paid_by_line()
    assert (paid["primer"], paid["tyres"]) == (1_000 + 6_100, 2_000)


def test_rows_without_a_line_wait_for_one(run: Run, before_ordering: BuildFolder) -> None:
    app = send(run(before_ordering.build_file, "receipts"), FILE)
    assert "**0 of 3** rows will be entered" in words(app)
    assert "3 wait for a line." in words(app)
    app = field(app, "selectbox", "Line for the rows that nothing else tells").set_value("tyres").run()  # type: ignore[attr-defined]
    app = press(again(app, FILE), "Enter 3 receipts")
    assert before_ordering.ledger().paid_by_line() == {"tyres": 14_850 + 2_000 + 6_100}


def test_what_the_file_leaves_open_is_asked(run: Run, with_history: BuildFolder) -> None:
    text = "Date,Payee,Amount\n03/04/2026,Paint counter,12.50\n"
    app = send(run(with_history.build_file, "receipts"), text)
    assert choice(app, "Dates are written") is None
    assert "'03/04/2026' may be" in words(app)
    assert not [item for item in app.button if item.key == "import-enter"]
    field(app, "selectbox", "Dates are written").set_value("mdy")  # type: ignore[attr-defined]
    app = again(app, text).run()
    press(again(app, text), "Enter 1 receipt")
    assert "2026-03-04" in {str(one.date) for one in with_history.ledger().list_receipts()}


def test_columns_are_mapped_by_hand_and_remembered(run: Run, with_history: BuildFolder) -> None:
    text = "When,Whom,How much\n2026-05-14,Paint counter,12.50\n"
    app = send(run(with_history.build_file, "receipts"), text)
    assert "Say which column holds: Date, Supplier, Amount" in words(app)
    for label, heading in (("Date", "When"), ("Supplier", "Whom"), ("Amount", "How much")):
        field(app, "selectbox", label).set_value(heading)  # type: ignore[attr-defined]
    app = press(again(again(app, text).run(), text), "Enter 1 receipt")
    app = send(app, text.replace("12.50", "14.50"))
    assert (choice(app, "Date"), choice(app, "Supplier"), choice(app, "Amount")) == (
        "When",
        "Whom",
        "How much",
    )
    assert "as it was confirmed before" in words(app)


def test_bad_rows_are_named_and_stay_out_while_the_good_ones_are_taken(
    run: Run, with_history: BuildFolder
) -> None:
    text = FILE + "26.05.2026;;-5,00;EUR\n27.05.2026;Shop;-5,00;JPY\n"
    app = send(run(with_history.build_file, "receipts"), text)
    assert "**2** rows stay out, for what is wrong there." in words(app)
    shown = html(app)
    assert "row 5, column Payee" in shown
    assert "JPY, but the build counts in EUR" in shown
    app = press(again(app, text), "Enter 2 receipts")
    assert with_history.ledger().paid_by_line()["primer"] == 1_000 + 14_850 + 6_100
    assert len(with_history.ledger().list_receipts()) == 4


def test_a_file_without_a_good_row_is_refused(run: Run, with_history: BuildFolder) -> None:
    text = FILE.split("\n")[0] + "\n26.05.2026;;-5,00;EUR\n27.05.2026;;-7,00;EUR\n"
    app = send(run(with_history.build_file, "receipts"), text)
    assert "nothing was imported" in words(app)
    assert len(with_history.ledger().list_receipts()) == 2


def test_a_row_is_mended_where_it_stands_and_not_entered_twice(run: Run, with_history: BuildFolder) -> None:
    app = send(run(with_history.build_file, "receipts"), FILE)
    changes: dict[int, dict[str, object]] = {
        0: {"Supplier": "Paint counter", "Sum": "1.148,50", "Date": "2026-05-12"}, 2: {"Enter": False},
    }  # fmt: skip
    app = press(again(edit(app, changes), FILE), "Enter 1 receipt")
    found = next(one for one in with_history.ledger().list_receipts() if one.paid_minor == 114_850)
    assert (found.supplier, found.date.isoformat()) == ("Paint counter", "2026-05-12")
    assert found.entry_key.startswith("import:card:")
    app = send(app, FILE)
    assert "Left out as imported before: 1." in words(app)


def test_what_is_typed_over_a_row_and_cannot_be_is_told(run: Run, with_history: BuildFolder) -> None:
    app = send(run(with_history.build_file, "receipts"), FILE)
    changes: dict[int, dict[str, object]] = {0: {"Sum": "4.200"}, 2: {"Date": "03/04/2026"}}
    app = edit(app, changes)
    assert "Row 2: '4.200' can mean 4200 or 4.2" in words(app)
    assert "Row 4: '03/04/2026' can mean two days. Write it as 2026-05-31." in words(app)
    assert "**0 of 3** rows will be entered" in words(app)


def test_a_row_is_split_over_lines_and_the_empty_part_takes_the_rest(
    run: Run, with_history: BuildFolder
) -> None:
    app = send(run(with_history.build_file, "receipts"), FILE)
    app = field(app, "multiselect", "Rows that pay for several lines").set_value([2]).run()  # type: ignore[attr-defined]
    app = field(again(app, FILE), "multiselect", "Lines of row 2").set_value(["primer", "tyres"]).run()  # type: ignore[attr-defined]
    part = next(item for item in again(app, FILE).text_input if item.label.startswith("Tyres, row 2"))
    app = part.set_value("48.50").run()
    app = press(again(app, FILE), "Enter 2 receipts")
    receipt = next(one for one in with_history.ledger().list_receipts() if one.paid_minor == 14_850)
    assert {split.line_id: split.amount_minor for split in receipt.splits} == {
        "primer": 10_000,
        "tyres": 4_850,
    }


def test_what_is_no_table_is_said(run: Run, before_ordering: BuildFolder) -> None:
    app = send(run(before_ordering.build_file, "receipts"), "hello\n")
    assert "may.csv: no row of headings was found" in words(app)


@pytest.mark.parametrize("page", ["receipts", "watch"])
def test_receipts_beside_the_build_as_text_are_entered_with_a_click(
    half_way: BuildFolder, run: Run, page: str
) -> None:
    held = half_way.ledger().paid_by_line()
    for file in half_way.folder.glob("receipts.db*"):
        file.unlink()
    shutil.rmtree(
        half_way.folder / "backups"
    )  # nothing was ever entered: a ledger that is gone is said to be
    app = run(half_way.folder, page)
    assert "No receipts here yet: those in **receipts.csv** beside the build are not entered." in words(app)
    assert not half_way.has_ledger()
    app = press(app, "Enter them")
    assert not app.exception
    assert half_way.ledger().paid_by_line() == held
    assert "NZ$21,1" in words(app)


def test_a_downloaded_ledger_is_read_back_as_what_it_is(
    run: Run, with_history: BuildFolder, tmp_path: Path
) -> None:
    ledger = with_history.ledger()
    text = receipts_csv(ledger)
    undo_last(ledger)
    app = run(with_history.build_file, "receipts")
    app = send(app, text, "ledger.csv")
    assert not app.exception
    assert "is a whole ledger" in words(app)
    assert "with 2 receipts" in words(app)
    field(app, "file_uploader", "CSV or XLSX file").set_value(("ledger.csv", text.encode(), "text/csv"))  # type: ignore[attr-defined]
    app = press(app, "Enter what is not there")
    assert not app.exception
    assert ledger.paid_by_line() == {"primer": 1_000, "tools": 2_000}
    assert "1 receipt is new" in words(app)


def test_whether_a_payment_is_all_stands_in_the_file_or_is_chosen(
    run: Run, with_history: BuildFolder
) -> None:
    text = FILE.replace("Currency\n", "Currency;Settled\n", 1).replace(";EUR\n", ";EUR;yes\n", 1)
    app = send(run(with_history.build_file, "receipts"), text.replace(";EUR\n", ";EUR;\n"))
    names = {item.id: item.title for item in with_history.read().line}
    app = edit(app, {1: {"Enter": True, "Line": names["tyres"], "All?": "no"}})
    app = press(again(app, text.replace(";EUR\n", ";EUR;\n")), "Enter 3 receipts")
    assert not app.exception
    states = {line: mark.state for line, mark in with_history.ledger().line_states().items()}
    assert states["tyres"] == "more"
    assert f"More is to come for “{names['tyres']}”." in words(app)
    assert states["primer"] == "closed"  # a later payment of which nothing is said leaves it so


def test_suppliers_called_like_one_with_a_price_agreed_are_asked_about_once(
    run: Run, with_history: BuildFolder
) -> None:
    with_history.ledger().add_commitment("2026-05-01", "Paint counter", "primer", 30_000, "EUR")
    app = send(run(with_history.build_file, "receipts"), FILE)
    assert "3 held back" in words(app)
    (which,) = (item for item in app.main.radio if "do you mean Paint counter?" in item.label)
    assert which.label.replace("\\", "").startswith(
        "Rows 2 and 4 are of Paint counter 0042 and Paint counter 0043"
    )
    which.set_value("Yes, it is Paint counter")
    app = press(again(app.run(), FILE), "Enter 2 receipts")
    assert not app.exception
    ledger = with_history.ledger()
    assert [one.supplier for one in ledger.list_receipts()].count("Paint counter") == 3
    assert [one.outstanding_minor for one in ledger.list_commitments()] == [30_000 - 14_850 - 6_100]
