"""What helps to enter: days held against today, shares, typed statements, the spreadsheet of receipts."""

from __future__ import annotations

import datetime as dt
import io
from pathlib import Path

import pytest
from openpyxl import Workbook, load_workbook

from forecast.buildfile.reader import parse_build
from forecast.errors import ImportRefusedError, LedgerError
from forecast.ledger import Ledger
from forecast.ledger.days import not_ahead
from forecast.ledger.preview import proposed_columns
from forecast.ledger.receipts_xlsx import receipts_xlsx
from forecast.ledger.splitting import reconcile
from forecast.ledger.statement import read_statement, typed_statement
from forecast.watching.estimates import shared_out, unusual
from forecast.watching.importing import open_import, plan_import

TODAY = dt.date(2026, 5, 14)


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    return Ledger(tmp_path / "receipts.db", currency="EUR")


def test_a_day_ahead_is_a_time_zone_and_two_are_a_slip() -> None:
    assert not_ahead(dt.date(2026, 5, 15), TODAY, "receipt") == dt.date(2026, 5, 15)
    with pytest.raises(
        LedgerError, match=r"16\sMay\s2026 lies ahead of today, 14\sMay\s2026\..*is entered as a price agreed"
    ):
        not_ahead(dt.date(2026, 5, 16), TODAY, "receipt")


def test_the_rest_is_shared_evenly_or_by_estimate() -> None:
    assert shared_out(1_000, {"a": 100}, ["b", "c"], "evenly") == (("a", 100), ("b", 450), ("c", 450))
    assert shared_out(1_000, {"a": 100}, ["b", "c"], "by estimate", {"b": 200.0, "c": 100.0}) == (
        ("a", 100), ("b", 600), ("c", 300),
    )  # fmt: skip
    with pytest.raises(LedgerError, match="nothing is left for 'b'"):
        shared_out(1_000, {"a": 1_000}, ["b"], "evenly")
    with pytest.raises(LedgerError, match="'c' has no estimate"):
        shared_out(1_000, {}, ["b", "c"], "by estimate", {"b": 200.0})


def test_a_typed_statement_is_read_line_by_line() -> None:
    rows = typed_statement(
        "Kit panels  2,500.00\n\nCrate; 150\nSubtotal goods 2,660.00\nFreight\t600.00\nTOTAL 3250.00 EUR\n",
        "EUR",
    )
    assert [(row.label, row.amount_minor, row.kind) for row in rows] == [
        ("Kit panels", 250_000, "item"),
        ("Crate", 15_000, "item"),
        ("Subtotal goods", 266_000, "subtotal"),
        ("Freight", 60_000, "item"),
        ("TOTAL", 325_000, "total"),
    ]
    assert [item.difference for item in reconcile(rows).disagreements] == [1_000]
    with pytest.raises(ImportRefusedError, match=r"line 1: 'Crate'.*\n.*line 3") as caught:
        typed_statement("Crate\nKit 5\nx 1.2.3", "EUR")
    assert len(caught.value.problems) == 2
    with pytest.raises(LedgerError, match="there is no line in it"):
        typed_statement("  \n", "EUR")


def test_a_statement_is_read_as_people_write_sums() -> None:
    rows = typed_statement("Kit; 65 000\nCrate € 1.250,-\nFreight 1.250\nLamps\t2,5", "EUR")
    assert [row.amount_minor for row in rows] == [6_500_000, 125_000, 125_000, 250]
    assert [row.label for row in rows] == ["Kit", "Crate", "Freight", "Lamps"]
    with pytest.raises(
        ImportRefusedError, match=r"line 2: '1.250' can mean 1250 or 1.25. Write 1250, or 1.25."
    ):
        typed_statement("Kit 65\nFreight 1.250", "EUR")
    for line in (
        "Wheels 17 250.00",
        "Crate 65 000",
    ):  # a name that ends in digits, or a sum with a space in it?
        with pytest.raises(ImportRefusedError, match=f"'{line}'. Write a name, then its sum: Crate; 150.00"):
            typed_statement(line, "EUR")
    assert typed_statement("Wheels 17; 250.00", "EUR")[0].label == "Wheels 17"
    file = b"label;amount\nkit;1.250\ncrate;3,50\n"  # the second settles what the first means
    assert [row.amount_minor for row in read_statement("a.csv", "EUR", file)] == [125_000, 350]
    with pytest.raises(ImportRefusedError, match=r"row 2, column amount: '1.250' can mean 1250 or 1.25"):
        read_statement("a.csv", "EUR", b"label;amount\nkit;1.250\n")


def test_a_statement_is_read_from_a_spreadsheet() -> None:
    book = Workbook()
    sheet = book.active
    assert sheet is not None
    for row in (("Label", "Amount", "Kind"), ("kit", 2500.1, None), ("all", 2500.1, "total")):
        sheet.append(row)
    content = io.BytesIO()
    book.save(content)
    rows = read_statement("sent.xlsx", "EUR", content.getvalue())
    assert [(row.label, row.amount_minor, row.kind) for row in rows] == [
        ("kit", 250_010, "item"), ("all", 250_010, "total"),
    ]  # fmt: skip
    with pytest.raises(ImportRefusedError, match="row 2, column kind: 'sum'"):
        read_statement("sent.csv", "EUR", b"label,amount,kind\nkit,5,sum\n")
    with pytest.raises(LedgerError, match="its first row must name the columns label, amount"):
        read_statement("sent.csv", "EUR", b"what,sum\nkit,5\n")


def test_rows_that_lie_ahead_or_name_no_line_are_refused_together(ledger: Ledger) -> None:
    rows = ("2026-05-14,Shop,1.50,filler", "2026-06-14,Shop,2.50,filler", "2026-05-01,Shop,3.50,filer")
    content = "\n".join(("Date,Payee,Amount,Line", *rows)).encode()
    preview = open_import("card.csv", ledger, source="card", content=content)
    with pytest.raises(ImportRefusedError) as caught:
        plan_import(preview, ledger, legal=["filler", "kit"], today=TODAY)
    assert [str(problem) for problem in caught.value.problems] == [
        "row 3, column Date: 14\u00a0Jun\u00a02026 lies ahead of today, 14\u00a0May\u00a02026. "
        "Correct it, or choose another order of dates.",
        "row 4, column Line: there is no line 'filer' in the build. Did you mean 'filler'?",
    ]


def test_a_supplier_whose_line_is_gone_is_asked_for(ledger: Ledger) -> None:
    ledger.add_receipt("2026-05-01", "Shop", 100, "EUR", [("old", 100)])
    preview = open_import(
        "card.csv", ledger, source="card", content=b"Date,Payee,Amount\n2026-05-14,Shop,1.50\n"
    )
    (row,) = plan_import(preview, ledger, legal=["filler"]).rows
    assert (row.state, row.why) == ("unmatched", "earlier receipts were for 'old', which is no line any more")


def test_headings_in_no_known_words_can_be_mapped_by_hand(ledger: Ledger) -> None:
    content = b"When,Whom,How much\n2026-05-14,Shop,1.50\n2026-05-15,Shop,2.50\n"
    names, columns = proposed_columns("card.csv", ledger, source="card", content=content)
    assert names == ("When", "Whom", "How much")
    assert "date" not in columns
    with pytest.raises(LedgerError, match="no column says when it was paid"):
        open_import("card.csv", ledger, source="card", content=content)
    chosen = {"date": "When", "supplier": "Whom", "amount": "How much"}
    preview = open_import("card.csv", ledger, source="card", content=content, columns=chosen)
    assert [row.amount_minor for row in plan_import(preview, ledger).rows] == [150, 250]


def test_the_spreadsheet_of_receipts_adds_up_to_what_was_paid(ledger: Ledger) -> None:
    ledger.add_receipt("2026-05-01", "=Shop", 300, "EUR", [("a", 100), ("b", 200)], "=1+1")
    ledger.add_receipt("2026-05-02", "Maker", 50_000, "JPY", [("a", 30_000)], paid=(30_000, "EUR"))
    ledger.add_receipt("2026-05-03", "Shop", 50, "EUR", [("b", 50)], kind="refund")
    ledger.void_receipt(1, "twice")
    book = load_workbook(io.BytesIO(receipts_xlsx(ledger, "EUR", {"a": "Part A"})))
    first, *rows = book["Receipts"].iter_rows(values_only=True)
    assert first[5] == "Amount EUR"
    assert [(row[0], row[2], row[4], float(row[5])) for row in rows] == [  # type: ignore[arg-type]
        (1, "=Shop", "Part A", 0.0), (1, "=Shop", "b", 0.0), (2, "Maker", "Part A", 300.0), (3, "Shop", "b", -0.5),
    ]  # fmt: skip
    assert sum(float(row[5]) for row in rows) * 100 == sum(ledger.paid_by_line().values())  # type: ignore[arg-type]
    assert rows[0][8] is not None
    assert "twice" in str(rows[0][8])
    assert rows[2][6] == "50000 JPY"
    assert [cell.data_type for cell in book["Receipts"][2]][2] == "s"


def test_a_row_that_ends_before_its_sum_is_named_and_the_others_are_read() -> None:
    """In a file whose sums stand last, a row may break off after its name."""
    file = b"label,kind,amount\nkit,item,1250.00\nlamps\n"
    with pytest.raises(ImportRefusedError) as refused:
        read_statement("sent.csv", "EUR", file)
    assert [problem.where for problem in refused.value.problems] == ["row 3, column amount"]
    assert [row.label for row in read_statement("sent.csv", "EUR", file.replace(b"lamps\n", b"\n"))] == [
        "kit"
    ]


def test_a_row_that_ends_before_its_label_is_told_with_its_place() -> None:
    with pytest.raises(ImportRefusedError, match="row 3, column label: missing") as caught:
        read_statement("s.csv", "EUR", b"amount;label\n12;Crate\n7\n")
    assert "1 mistake" in str(caught.value)


RANGES = """
[build]
name = "Bills"
currency = "EUR"
country = "IE"
estimating = 0
[[line]]
id = "freight"
group = "freight"
bought = "once"
quantity = { low = 1, middle = 2, high = 4 }
price = { low = 40, middle = 80, high = 160 }
[[line]]
id = "discs"
group = "consumables"
bought = "several"
quantity = { low = 1, middle = 2, high = 4 }
price = { low = 40, middle = 80, high = 160 }
[[line]]
id = "approval"
group = "other"
bought = "once"
amount = { low = 30, middle = 300, high = 1200 }
[[line]]
id = "permits"
group = "other"
bought = "once"
amount = { low = 20, middle = 100, high = 500 }
[[line]]
id = "crate"
group = "freight"
bought = "once"
amount = { low = 48.28, middle = 140, high = 406 }
[[line]]
id = "mirrors"
group = "hardware"
bought = "once"
amount = { low = 95, middle = 100, high = 106 }
[[line]]
id = "filler"
group = "consumables"
bought = "several"
amount = { low = 50, middle = 100, high = 200 }
"""


@pytest.mark.parametrize(
    ("line", "usual", "odd"),
    [
        # Two lognormals of sigma ln 2 / 1.28155 multiply to one of sqrt(2) times that, 0.76490; its P97.5 is
        # 160 * exp(1.95996 * 0.76490) = 716, five middles are 800 (by trials some more), and three times the high of
        # either at once would make 1,920: a slip of ten in a bill like the middle, 1,600, was let through in goes.
        ("freight", 790, 815),
        ("discs", 790, 815),
        ("approval", 2_480, 2_520),  # P97.5 is 300 * 4 ** (1.95996 / 1.28155) = 2,500, nine middles 2,700
        ("permits", 895, 907),  # nine middles are 900, but P96 is 100 * 5 ** (1.75069 / 1.28155) = 901
        ("crate", 700, 780),  # P97.5 is 140 * 2.9 ** (1.95996 / 1.28155) = 713
        ("mirrors", 212, 213),  # twice the high, though 1 of 100 builds pays more than 108
        ("filler", 499, 501),  # bought in several goes: five middles
    ],
)
def test_one_bill_far_outside_its_range_is_asked_about_and_somewhat_above_its_high_is_not(
    line: str, usual: int, odd: int
) -> None:
    build = parse_build(RANGES)
    assert unusual(build, [(line, 100 * usual)]) == ()
    assert [one.paid for one in unusual(build, [(line, 100 * odd)])] == [odd]
