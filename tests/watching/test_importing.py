from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest
from openpyxl import Workbook

from forecast.buildfile.reader import parse_build
from forecast.errors import ImportRefusedError, LedgerError
from forecast.ledger import Ledger, NewReceipt
from forecast.ledger.matching import Match, SupplierHistory
from forecast.tables.sniff import guess_columns
from forecast.watching.importing import ImportResult, confirm, enter_import, open_import, plan_import
from forecast.watching.oddities import agreed_later_words, oddities

BUILD = parse_build(
    """
[build]
name = "Paint"
currency = "EUR"
country = "IE"
[[line]]
id = "paint"
name = "Paint, two coats"
group = "finish"
amount = { low = 600, middle = 800, high = 1200 }
"""
)
GERMAN = (
    "Konto;DE00 0000\r\n"
    "\r\n"
    "Buchungstag;Empfänger;Betrag;Währung\r\n"
    '23.02.2026;"Müller; Lacke 4411";-1.234,50;EUR\r\n'
    "24.02.2026;Klebeband Nord;-12,50;EUR\r\n"
)
ENGLISH = "Date,Description,Amount\n05/14/2026,TAPE STORE 0042,12.50\n05/15/2026,PRIMER WORLD,1250.00\n"


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    return Ledger(tmp_path / "receipts.db", currency="EUR", who="builder")


def _write(tmp_path: Path, text: str, encoding: str = "utf-8", name: str = "bank.csv") -> Path:
    path = tmp_path / name
    path.write_bytes(text.encode(encoding))
    return path


def _enter(path: Path, ledger: Ledger, default_line: str | None = "misc", **decided: object) -> ImportResult:
    preview = confirm(open_import(path, ledger, source="bank"), **decided)
    return enter_import(plan_import(preview, ledger, default_line=default_line), ledger)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_a_continental_file_is_recognised_in_any_encoding(
    tmp_path: Path, ledger: Ledger, encoding: str
) -> None:
    preview = open_import(_write(tmp_path, GERMAN, encoding), ledger, source="bank")
    assert preview.layout.encoding == encoding
    assert preview.layout.delimiter == ";"
    assert preview.layout.decimal == ","
    assert preview.layout.date_order == "dmy"
    assert preview.layout.spending == "negative"
    assert preview.layout.columns == {
        "date": "Buchungstag", "supplier": "Empfänger", "amount": "Betrag", "currency": "Währung",
    }  # fmt: skip
    assert preview.questions == {}
    assert preview.sample(1)[0]["supplier"] == "Müller; Lacke 4411"
    rows = plan_import(preview, ledger).rows
    assert [(row.number, row.date.isoformat(), row.amount_minor, row.kind) for row in rows] == [
        (4, "2026-02-23", 123_450, "payment"),
        (5, "2026-02-24", 1_250, "payment"),
    ]


def test_an_american_file_is_recognised(tmp_path: Path, ledger: Ledger) -> None:
    preview = open_import(_write(tmp_path, ENGLISH), ledger, source="card")
    layout = preview.layout
    assert (layout.delimiter, layout.decimal, layout.date_order, layout.spending) == (
        ",",
        ".",
        "mdy",
        "positive",
    )
    assert preview.questions == {}


@pytest.mark.parametrize("delimiter", ["\t", "|", ";", ","])
def test_every_delimiter_is_recognised(tmp_path: Path, ledger: Ledger, delimiter: str) -> None:
    text = ENGLISH.replace(",", delimiter)
    assert open_import(_write(tmp_path, text), ledger, source="card").layout.delimiter == delimiter


def test_an_ambiguous_date_order_must_be_decided(tmp_path: Path, ledger: Ledger) -> None:
    path = _write(tmp_path, "Date,Description,Amount\n03/04/2026,Shop,12.50\n05/06/2026,Shop,3.00\n")
    preview = open_import(path, ledger, source="card")
    assert preview.questions["date_order"] == (
        "'03/04/2026' may be 2026-04-03 (dmy) or 2026-03-04 (mdy): say which."
    )
    with pytest.raises(LedgerError, match="say which"):
        plan_import(preview, ledger)
    for order, day in (("dmy", dt.date(2026, 4, 3)), ("mdy", dt.date(2026, 3, 4))):
        assert plan_import(confirm(preview, date_order=order), ledger).rows[0].date == day


def test_the_same_day_either_way_is_no_question(tmp_path: Path, ledger: Ledger) -> None:
    path = _write(tmp_path, "Date,Description,Amount\n04/04/2026,Shop,12.50\n")
    assert open_import(path, ledger, source="card").questions == {}


def test_marks_part_thousands_in_money_without_decimals(tmp_path: Path) -> None:
    path = _write(tmp_path, "Date;Description;Amount\n2026-03-04;Shop;1.250\n2026-03-05;Shop;12.000\n")
    ledger = Ledger(tmp_path / "yen.db", currency="JPY")
    preview = open_import(path, ledger, source="card")
    assert "decimal" not in preview.questions
    assert [row.amount_minor for row in plan_import(preview, ledger).rows] == [1_250, 12_000]


def test_an_ambiguous_decimal_mark_must_be_decided(tmp_path: Path, ledger: Ledger) -> None:
    path = _write(tmp_path, "Date;Description;Amount\n2026-03-04;Shop;1.250\n2026-03-05;Shop;3.000\n")
    preview = open_import(path, ledger, source="card")
    assert preview.questions["decimal"].startswith("'1.250' can mean 1250 or 1.25, and no other sum tells")
    assert plan_import(confirm(preview, decimal=","), ledger).rows[0].amount_minor == 125_000
    with pytest.raises(ImportRefusedError, match="3 digits behind the decimal mark"):
        plan_import(confirm(preview, decimal="."), ledger)


def test_mixed_signs_ask_which_way_money_went(tmp_path: Path, ledger: Ledger) -> None:
    path = _write(tmp_path, "Date,Description,Amount\n2026-03-04,Shop,-12.50\n2026-03-05,Shop,3.00\n")
    preview = open_import(path, ledger, source="card")
    assert "1 of 2 sums have a minus" in preview.questions["spending"]
    kinds = [row.kind for row in plan_import(confirm(preview, spending="negative"), ledger).rows]
    assert kinds == ["payment", "refund"]
    kinds = [row.kind for row in plan_import(confirm(preview, spending="positive"), ledger).rows]
    assert kinds == ["refund", "payment"]


def test_debit_and_credit_columns_are_understood(tmp_path: Path, ledger: Ledger) -> None:
    path = _write(
        tmp_path, "Date,Description,Debit,Credit,Balance\n2026-03-04,Shop,12.50,,1\n2026-03-05,Shop,,3.00,4\n"
    )
    rows = plan_import(open_import(path, ledger, source="bank"), ledger).rows
    assert [(row.kind, row.amount_minor) for row in rows] == [("payment", 1250), ("refund", 300)]


def test_a_spreadsheet_is_read_with_its_own_days_and_numbers(tmp_path: Path, ledger: Ledger) -> None:
    book = Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.append(["Card statement", None, None])
    sheet.append(["Date", "Description", "Amount"])
    sheet.append([dt.datetime(2026, 3, 4, 9, 30), "Shop", 0.1 + 0.2])
    sheet.append([dt.date(2026, 3, 5), "Shop", 1234])
    path = tmp_path / "card.xlsx"
    book.save(path)
    preview = open_import(path, ledger, source="card")
    assert preview.layout.encoding == "xlsx"
    rows = plan_import(preview, ledger).rows
    assert [(row.number, row.date.isoformat(), row.amount_minor) for row in rows] == [
        (3, "2026-03-04", 30),
        (4, "2026-03-05", 123_400),
    ]


def test_importing_the_same_file_twice_changes_nothing(tmp_path: Path, ledger: Ledger) -> None:
    path = _write(tmp_path, GERMAN)
    assert len(_enter(path, ledger).entered) == 2
    before = ledger.history()
    again = _enter(path, ledger)
    assert again.entered == ()
    assert [row.number for row in again.already_imported] == [4, 5]
    assert ledger.history() == before


def test_an_overlapping_file_adds_only_what_is_new(tmp_path: Path, ledger: Ledger) -> None:
    _enter(_write(tmp_path, GERMAN), ledger)
    longer = GERMAN + "24.02.2026;Klebeband Nord;-12,50;EUR\r\n25.02.2026;Klebeband Nord;-7,00;EUR\r\n"
    result = _enter(_write(tmp_path, longer, name="longer.csv"), ledger)
    # The second roll of tape on the same day is a payment of its own.
    assert [receipt.paid_minor for receipt in result.entered] == [1250, 700]
    assert len(ledger.list_receipts()) == 4


def test_a_voided_import_does_not_come_back(tmp_path: Path, ledger: Ledger) -> None:
    path = _write(tmp_path, GERMAN)
    ledger.void_receipt(_enter(path, ledger).entered[0].id, "private")
    assert _enter(path, ledger).entered == ()
    assert len(ledger.list_receipts()) == 1


def test_one_bad_row_imports_none_and_every_bad_row_is_named(tmp_path: Path, ledger: Ledger) -> None:
    text = (
        "Date,Description,Amount,Currency\n"
        "2026-03-04,Shop,12.50,EUR\n"
        "2026-02-30,Shop,12.50,EUR\n"
        "2026-03-04,,12.50,EUR\n"
        "2026-03-04,Shop,twelve,EUR\n"
        "2026-03-04,Shop,12.50,USD\n"
        "2026-03-04,Shop,0.00,EUR\n"
        "2026-03-04\n"
    )
    path = _write(tmp_path, text)
    preview = open_import(path, ledger, source="card", date_order="ymd")
    with pytest.raises(ImportRefusedError) as refused:
        plan_import(preview, ledger)
    places = [problem.where.split(",")[0] for problem in refused.value.problems]
    assert list(dict.fromkeys(places)) == ["row 3", "row 4", "row 5", "row 6", "row 7", "row 8"]
    assert "bank.csv: nothing was imported" in str(refused.value)
    assert "'2026-02-30' is no day" in str(refused.value)
    assert "USD, but the build counts in EUR" in str(refused.value)
    assert ledger.list_receipts() == ()


def test_nothing_is_entered_when_the_ledger_refuses_one_row(tmp_path: Path, ledger: Ledger) -> None:
    path = _write(tmp_path, GERMAN)
    plan = plan_import(open_import(path, ledger, source="bank"), ledger)
    with pytest.raises(LedgerError, match="without a line"):
        enter_import(plan, ledger, lines={4: "paint", 5: " "})
    assert ledger.list_receipts() == ()
    assert ledger.source("bank") is None


def test_suppliers_are_matched_by_what_they_were_paid_for(tmp_path: Path, ledger: Ledger) -> None:
    for number in range(3):
        ledger.add_receipt(
            f"2025-01-0{number + 1}", "Klebeband Nord", 100 + number, "EUR", [("tape", 100 + number)]
        )
    ledger.add_receipt("2025-01-09", "Klebeband Nord", 999, "EUR", [("sheets", 999)])
    plan = plan_import(open_import(_write(tmp_path, GERMAN), ledger, source="bank"), ledger)
    assert [(row.state, row.line_id) for row in plan.rows] == [("unmatched", None), ("new", "tape")]
    assert plan.rows[1].why == "3 of 4 earlier receipts of this supplier"
    result = enter_import(plan, ledger, lines={4: "paint"})
    assert [receipt.splits[0].line_id for receipt in result.entered] == ["paint", "tape"]


def test_receipts_under_all_spellings_of_a_supplier_count(tmp_path: Path, ledger: Ledger) -> None:
    """A shop that a card names with the branch's number: two receipts each for tape, three in all for sheets."""
    for place, supplier in enumerate(("Klebeband Nord", "KLEBEBAND NORD 12", "Klebeband Nord 7")):
        for line in ("tape", "tape", "sheets"):
            minor = 100 + place
            ledger.add_receipt("2025-01-01", supplier, minor, "EUR", [(line, minor)])
    row = plan_import(open_import(_write(tmp_path, GERMAN), ledger, source="bank"), ledger).rows[1]
    assert (row.line_id, row.why) == ("tape", "6 of 9 earlier receipts of this supplier")


def test_money_back_is_held_against_all_that_was_paid_before_it(tmp_path: Path, ledger: Ledger) -> None:
    """Two payments of 100 allow 150 back and then 50; the cent more after that is asked about."""
    text = "Date,Description,Debit,Credit,Balance\n"
    text += "2026-03-04,Shop,100.00,,1\n2026-03-05,Shop,100.00,,1\n"
    text += "2026-03-06,Shop,,150.00,1\n2026-03-07,Shop,,50.00,1\n2026-03-08,Shop,,0.01,1\n"
    preview = open_import(_write(tmp_path, text), ledger, source="bank")
    rows = plan_import(preview, ledger, default_line="misc").rows
    assert [row.state for row in rows] == ["new", "new", "new", "new", "asked"]
    assert rows[-1].why == "more comes back for 'misc' than was paid"


def test_a_payment_older_than_the_price_agreed_is_asked_about_as_by_hand(
    tmp_path: Path, ledger: Ledger
) -> None:
    """One on the day of the agreement or after it counts against the price, and is entered."""
    ledger.add_commitment("2026-03-05", "Auto Lak", "paint", 900_00, "EUR")
    text = "Date,Description,Debit,Credit,Balance\n"
    text += "2026-03-04,Auto Lak,100.00,,1\n2026-03-05,Auto Lak,200.00,,1\n2026-03-04,Another,50.00,,1\n"
    preview = open_import(_write(tmp_path, text), ledger, source="bank")
    plan = plan_import(preview, ledger, default_line="paint")
    assert [row.state for row in plan.rows] == ["asked", "new", "new"]
    older = NewReceipt("2026-03-04", "Auto Lak", 100_00, "EUR", (("paint", 100_00),))
    (odd,) = oddities(BUILD, ledger, older)
    assert plan.rows[0].why.startswith(agreed_later_words(odd, "'paint'", "EUR"))
    assert "€900.00 of which is still to pay, but comes on top. To count it against" in plan.rows[0].why
    titled = plan_import(preview, ledger, default_line="paint", build=BUILD).rows[0].why
    assert "the price for “Paint, two coats” is agreed with Auto Lak since 5\u00a0Mar\u00a02026" in titled
    enter_import(plan, ledger)
    assert ledger.paid_by_line() == {"paint": 250_00}
    assert [one.outstanding_minor for one in ledger.list_commitments()] == [700_00]
    enter_import(plan_import(preview, ledger, default_line="paint"), ledger, accept=[plan.rows[0].number])
    assert [one.outstanding_minor for one in ledger.list_commitments()] == [
        700_00
    ]  # it is meant to come on top
    assert ledger.paid_by_line() == {"paint": 350_00}


def test_a_supplier_paid_for_many_things_is_not_guessed(tmp_path: Path, ledger: Ledger) -> None:
    for line in ("tape", "sheets"):
        ledger.add_receipt("2025-01-01", "KLEBEBAND NORD", 100, "EUR", [(line, 100)])
    row = plan_import(open_import(_write(tmp_path, GERMAN), ledger, source="bank"), ledger).rows[1]
    assert (row.state, row.line_id) == ("unmatched", None)
    assert row.why == "earlier receipts of this supplier were for sheets, tape"


def test_a_card_name_with_numbers_and_town_is_the_same_supplier(tmp_path: Path, ledger: Ledger) -> None:
    ledger.add_receipt("2025-01-01", "Tape Store", 100, "EUR", [("tape", 100)])
    plan = plan_import(open_import(_write(tmp_path, ENGLISH), ledger, source="card"), ledger)
    assert plan.rows[0].line_id == "tape"


def test_probable_duplicates_are_held_back_one_for_one(tmp_path: Path, ledger: Ledger) -> None:
    by_hand = ledger.add_receipt("2026-02-22", "Tape man", 1250, "EUR", [("tape", 1250)])
    text = GERMAN + "24.02.2026;Klebeband Nord;-12,50;EUR\r\n"
    plan = plan_import(
        open_import(_write(tmp_path, text), ledger, source="bank"), ledger, default_line="misc"
    )
    assert [row.state for row in plan.rows] == ["new", "duplicate", "new"]
    assert f"receipt {by_hand.id} of Tape man, 22\u00a0Feb\u00a02026" in plan.rows[1].why
    result = enter_import(plan, ledger, leave_out=[4])
    assert [row.number for row in result.held_back] == [5]
    assert [row.number for row in result.unmatched] == [4]
    accepted = enter_import(plan, ledger, leave_out=[4], accept=[5])
    assert len(accepted.entered) == 2  # the row entered before is given again, not entered again
    assert len(ledger.list_receipts()) == 3


def test_the_layout_is_remembered_for_its_source(tmp_path: Path, ledger: Ledger) -> None:
    text = "Date,Description,Amount,Reference\n03/04/2026,card payment,12.50,Shop\n"
    preview = open_import(_write(tmp_path, text), ledger, source="card")
    columns = {"date": "Date", "supplier": "Reference", "amount": "Amount"}
    plan = plan_import(confirm(preview, date_order="mdy", columns=columns), ledger, default_line="misc")
    enter_import(plan, ledger)
    later = _write(tmp_path, text.replace("03/04", "05/06"), name="later.csv")
    again = open_import(later, ledger, source="card")
    assert again.remembered
    assert again.questions == {}
    row = plan_import(again, ledger).rows[0]
    assert (row.date, row.supplier, row.line_id) == (dt.date(2026, 5, 6), "Shop", "misc")
    assert "date_order" in open_import(later, ledger, source="another card").questions


def test_a_file_names_its_lines_itself(tmp_path: Path, ledger: Ledger) -> None:
    path = _write(tmp_path, "Date,Description,Amount,Line\n2026-03-04,Shop,12.50,primer\n")
    row = plan_import(open_import(path, ledger, source="own"), ledger).rows[0]
    assert (row.state, row.line_id) == ("new", "primer")


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b"", "the file is empty"),
        (b"  \n \n", "the file is empty"),
        (b"\x00\x01\x02\x03" * 50, "the file is no text"),
        (b"2026-03-04,Shop,12.50\n", "no row of headings"),
        (b"Date,Description\n2026-03-04,Shop\n", "no column says how much"),
        (b"Date,Amount\n2026-03-04,1.00\n", "no column says who was paid"),
        (b"PK\x03\x04 not a spreadsheet at all", "the spreadsheet cannot be read"),
    ],
)
def test_a_file_that_cannot_be_used_is_refused_in_words(
    tmp_path: Path, ledger: Ledger, content: bytes, why: str
) -> None:
    path = tmp_path / "bank.csv"
    path.write_bytes(content)
    with pytest.raises(LedgerError, match=f"bank.csv: .*{why}"):
        open_import(path, ledger, source="bank")


def test_a_missing_file_is_refused_in_words(tmp_path: Path, ledger: Ledger) -> None:
    with pytest.raises(LedgerError, match="cannot be read"):
        open_import(tmp_path / "nowhere.csv", ledger, source="bank")


def test_only_what_there_is_can_be_decided(tmp_path: Path, ledger: Ledger) -> None:
    preview = open_import(_write(tmp_path, GERMAN), ledger, source="bank")
    with pytest.raises(LedgerError, match="Legal are columns, date_order, decimal, spending"):
        confirm(preview, colour="red")
    with pytest.raises(LedgerError, match="Legal are ymd, dmy, mdy"):
        confirm(preview, date_order="ydm")
    with pytest.raises(LedgerError, match="no column is headed 'Summe'"):
        confirm(preview, columns={"date": "Buchungstag", "supplier": "Empfänger", "amount": "Summe"})
    with pytest.raises(LedgerError, match="row 99 is no payment of this file"):
        enter_import(plan_import(preview, ledger), ledger, lines={99: "x"})


@pytest.mark.parametrize(
    ("header", "expected"),
    [
        (
            "Value date,Date,Amount in EUR,Amount",
            {"date": 1, "amount": 3},
        ),  # a heading of just that word is meant
        ("Date of the card,Amount in EUR", {"date": 0, "amount": 1}),
        ("Date,Update,Tariff", {"date": 0}),
        ("Date,Amount,Debit", {"date": 0, "amount": 1}),  # the last one says which way the money went
        ("Date,Debit,Credit,Amount", {"date": 0, "debit": 1, "credit": 2}),
        ("Date,Debit", {"date": 0, "debit": 1}),
        ("Dato,Beløb", {"date": 0, "amount": 1}),  # a letter that has no accent to take off
    ],
)
def test_a_column_is_known_by_its_heading(header: str, expected: dict[str, int]) -> None:
    assert guess_columns(header.split(",")) == expected


@pytest.mark.parametrize("more", ["filler", "wax"])
def test_the_line_that_more_than_half_of_the_receipts_were_for_is_proposed(more: str) -> None:
    assert SupplierHistory({"Tin Shop": {"primer": 1, more: 2}}).match("tin shop") == Match(
        more, "2 of 3 earlier receipts of this supplier"
    )
    alike = SupplierHistory({"Tin Shop": {"primer": 2, more: 2}}).match("tin shop")
    assert alike.line_id is None


def test_a_row_that_ends_early_is_shown_without_what_it_lacks(tmp_path: Path, ledger: Ledger) -> None:
    text = "Date,Description,Amount,Memo\n2026-05-14,Tape,12.50,two rolls\n2026-05-15,Primer,30.00\n"
    first, second = open_import(_write(tmp_path, text), ledger, source="bank").sample()
    assert first == {"date": "2026-05-14", "supplier": "Tape", "amount": "12.50", "note": "two rolls"}
    assert second == {"date": "2026-05-15", "supplier": "Primer", "amount": "30.00"}


LIKE = (
    "Date,Description,Amount\n2026-05-14,DE VRIES SPUITERIJ,400.00\n2026-05-15,DE VRIES 0042,300.00\n"
    "2026-05-16,TAPE STORE,12.50\n"
)


def test_suppliers_called_like_one_with_a_price_agreed_are_asked_about_once(
    tmp_path: Path, ledger: Ledger
) -> None:
    """By what finds it for a receipt that is entered by hand."""
    ledger.add_commitment("2026-05-01", "De Vries", "paint", 80_000, "EUR")
    preview = confirm(open_import(_write(tmp_path, LIKE), ledger, source="card"), spending="positive")
    plan = plan_import(preview, ledger, default_line="paint", build=BUILD)
    (one,) = plan.like
    assert (one.odd.supplier, one.rows) == ("De Vries", (2, 3))
    assert one.names == ("DE VRIES SPUITERIJ", "DE VRIES 0042")
    by_hand = NewReceipt("2026-05-14", "DE VRIES SPUITERIJ", 40_000, "EUR", (("paint", 40_000),))
    assert one.odd in oddities(BUILD, ledger, by_hand)
    assert [row.state for row in plan.rows] == ["asked", "asked", "new"]
    assert plan.rows[0].why == "called like De Vries, with whom a price is agreed"
    without_line = plan_import(preview, ledger, build=BUILD)
    assert [row.state for row in without_line.rows] == ["asked", "asked", "unmatched"]


@pytest.mark.parametrize(
    ("same", "suppliers", "left"),
    [(True, ["De Vries"] * 2, 10_000), (False, ["DE VRIES SPUITERIJ", "DE VRIES 0042"], 80_000)],
)
def test_what_was_answered_of_a_supplier_holds_for_all_its_rows(
    tmp_path: Path, ledger: Ledger, same: bool, suppliers: list[str], left: int
) -> None:
    ledger.add_commitment("2026-05-01", "De Vries", "paint", 80_000, "EUR")
    preview = confirm(open_import(_write(tmp_path, LIKE), ledger, source="card"), spending="positive")
    plan = plan_import(preview, ledger, default_line="paint", build=BUILD, same={"De Vries": same})
    assert len(plan.like) == 1  # the answer can still be changed
    result = enter_import(plan, ledger, build=BUILD, leave_out=[4])
    assert [one.supplier for one in result.entered] == suppliers
    assert [one.outstanding_minor for one in ledger.list_commitments()] == [left]
    again = plan_import(preview, ledger, default_line="paint", build=BUILD)
    assert [row.state for row in again.rows] == ["imported", "imported", "new"]
