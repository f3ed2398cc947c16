"""Electronic invoices are read as they were written, by another hand; see `tests.ledger.papers.invoices`."""

from __future__ import annotations

import datetime as dt
import time
from typing import Any

import facturx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forecast.errors import LedgerError
from forecast.ledger.attachments import document_type
from forecast.ledger.papers import read
from forecast.ledger.papers.invoice import CREDIT_CODES, DEEPEST, is_invoice, read_elements
from forecast.ledger.papers.paper import LONGEST_NOTE, Paper
from tests.ledger.papers.invoices import CII, UBL, in_pdf, line, written

BOTH = pytest.mark.parametrize("flavor", [UBL, CII])


def read_paper(name: str, content: bytes) -> Paper:
    return read.read_paper(name, content, "EUR")


def said(paper: Paper) -> tuple[str, ...]:
    parts = (paper.amount, paper.currency, paper.day, paper.supplier, paper.number)
    return tuple(part.said if part else "" for part in parts)


@BOTH
def test_an_invoice_says_sum_currency_day_supplier_number_and_what_was_bought(flavor: str) -> None:
    paper = read_paper("bill.xml", written(flavor))
    assert said(paper) == ("246.00", "EUR", "2026-05-31", "Invented Resin Works Ltd", "INV-2026/17")
    assert paper.items == ("Tooling resin, 5 kg", "Chopped strand mat & tissue")
    assert paper.note == "Invoice INV-2026/17: Tooling resin, 5 kg; Chopped strand mat & tissue"
    assert (paper.kind, paper.refund, paper.remarks, paper.missing) == ("invoice", False, (), ())
    assert paper.amount is not None
    assert paper.amount.where == "amount due for payment (BT-115)"


@BOTH
@settings(max_examples=5, deadline=None)
@given(
    cents=st.integers(0, 10**9), before=st.integers(0, 10**9), day=st.dates(dt.date(2000, 1, 1), dt.date(2099, 12, 31)),
    number=st.from_regex(r"[A-Za-z0-9/-]{1,20}", fullmatch=True),
)  # fmt: skip
def test_it_agrees_with_the_librarys_own_reader(
    flavor: str, cents: int, before: int, day: dt.date, number: str
) -> None:
    due = cents - before
    sums: dict[str, Any] = {
        "BT-1": number, "BT-2": day, "BT-112": f"{cents / 100:.2f}", "BT-113": f"{before / 100:.2f}",
        "BT-115": f"{due / 100:.2f}",
    }  # fmt: skip
    content = written(flavor, sums)
    theirs = facturx.parse_ubl_cii_xml(content)
    paper = read_paper("bill.xml", content)
    assert paper.number is not None
    assert paper.amount is not None
    assert paper.day is not None
    assert (paper.number.said, paper.day.said) == (theirs["BT-1"], theirs["BT-2"].isoformat())
    if due:
        assert paper.amount.said == str(theirs["BT-115"]).removeprefix("-")
        assert paper.refund == (due < 0)
    else:  # nothing is due any more: what was paid is what the receipt is about
        assert paper.amount.said == f"{cents / 100:.2f}"
        assert not paper.refund


@BOTH
@pytest.mark.parametrize("code", ["380", "381", "384", "396"])
def test_a_credit_note_is_money_that_comes_back(flavor: str, code: str) -> None:
    paper = read_paper("bill.xml", written(flavor, {"BT-3": code}))
    assert paper.refund == facturx.is_credit_note({"BT-3": code})
    assert said(paper)[0] == "246.00"
    assert paper.note.startswith("Credit note" if paper.refund else "Invoice")


def test_every_code_of_a_credit_note_is_one_for_the_library() -> None:
    theirs = {str(code) for code in range(1, 1000) if facturx.is_credit_note({"BT-3": str(code)})}
    assert theirs
    assert theirs <= CREDIT_CODES


@BOTH
def test_what_was_paid_before_is_said_and_not_in_the_sum(flavor: str) -> None:
    paper = read_paper("bill.xml", written(flavor, {"BT-113": "100.00", "BT-115": "146.00"}))
    assert said(paper)[0] == "146.00"
    assert paper.remarks == ("100.00 EUR of it were paid before and are not in this sum.",)


@BOTH
def test_currencies_without_cents_are_read_whole(flavor: str) -> None:
    paper = read_paper("bill.xml", written(flavor, {"BT-5": "JPY", "BT-112": "24600", "BT-115": "24600"}))
    assert said(paper)[:2] == ("24600", "JPY")


@pytest.mark.parametrize("name", ["factur-x.xml", "xrechnung.xml", "bill 17.XML"])
def test_an_invoice_packed_into_a_pdf_is_read_as_exactly(name: str) -> None:
    packed = read_paper("bill.pdf", in_pdf(written(CII), name))
    assert packed == read_paper("bill.pdf", written(CII))
    assert packed.kind == "invoice"


def test_other_attachments_of_a_pdf_are_passed_over() -> None:
    assert read_paper("bill.pdf", in_pdf(b"<order>246.00</order>", "order.xml")).kind == "text"


def test_the_note_of_a_long_invoice_stays_short() -> None:
    items = [line(str(number), f"Thing {number} of a long list", "1.00") for number in range(1, 200)]
    note = read_paper("bill.xml", written(UBL, {"BG-25": items})).note
    assert len(note) <= LONGEST_NOTE
    assert note.startswith("Invoice INV-2026/17: Thing 1 of a long list; ")
    count = note.count("; ")
    assert note.endswith(f"; and {199 - count} more")


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        (">2026-05-31<", ">31 May<", "'31 May' is no day (BT-2)"),
        (">246.00</cbc:PayableAmount>", ">1,246.00</cbc:PayableAmount>", "'1,246.00' is no sum"),
        (">246.00</cbc:PayableAmount>", ">246.001</cbc:PayableAmount>", "has 3 digits behind the decimal mark"),
        (">246.00</cbc:PayableAmount>", f">{10**40}</cbc:PayableAmount>", "too large a sum"),
        ("PayableAmount", "SomethingElse", "without the amount due for payment (BT-115)"),
        (">EUR<", ">EUX<", "no such code"),
        (">EUR<", ">USD<", "a sum is in EUR, and the invoice in USD"),
        ("RegistrationName", "SomethingElse", "without the name of the seller (BT-27)"),
        ("</Invoice>", "", "is no whole XML"),
        ('encoding="UTF-8"', 'encoding="x-none"', "is no whole XML"),
    ],
)  # fmt: skip
def test_what_is_not_by_the_standard_is_told_in_words(old: str, new: str, told: str) -> None:
    content = written(UBL).decode().replace("'", '"')
    assert old in content
    with pytest.raises(LedgerError) as caught:
        read_paper("bill.xml", content.replace(old, new).encode())
    assert told in str(caught.value)
    assert str(caught.value).startswith("bill.xml: ")
    assert "by hand" in str(caught.value)


def test_an_order_or_a_page_is_no_invoice() -> None:
    for content in (b"<order/>", b"<!DOCTYPE html><html></html>", b"<?xml version='1.0'?><Invoice/>"):
        assert not is_invoice(content)
        with pytest.raises(LedgerError, match="is neither a picture nor a PDF"):
            read_paper("order.xml", content)


def test_an_invoice_can_be_kept_with_its_receipt() -> None:
    assert document_type(written(UBL)) == document_type(written(CII)[:4096]) == "application/xml"


SPACE = 'xmlns="urn:oasis:names:specification:ubl:schema:xsd:Invoice-2"'


@pytest.mark.parametrize(
    ("content", "told"),
    [
        # Entities that grow a thousandfold, and one that names another file: both need a document type.
        (f'<!DOCTYPE a [<!ENTITY a "aa"><!ENTITY b "{"&a;" * 1000}">]><a {SPACE}>&b;</a>', "document type"),
        (f'<!DOCTYPE Invoice SYSTEM "file:///etc/hostname"><Invoice {SPACE}/>', "document type"),
        (f"<Invoice {SPACE}>&undefined;</Invoice>", "no whole XML"),
        (f"<Invoice {SPACE}>{'<a>' * (DEEPEST + 1)}", "more elements, or deeper ones"),
        (f"<Invoice {SPACE}>{'<a>' * 200_000}", "more elements, or deeper ones"),
        (f"<Invoice {SPACE}>{'<a/>' * 400_000}</Invoice>", "more elements, or deeper ones"),
    ],
)  # fmt: skip
def test_a_file_made_to_do_harm_is_refused_at_once(content: str, told: str) -> None:
    began = time.process_time()
    with pytest.raises(LedgerError, match=told):
        read_paper("bill.xml", content.encode())
    assert time.process_time() - began < 5


def test_a_packed_document_takes_no_room() -> None:
    content = f"<Invoice {SPACE}><ID>{'x' * 3_000_000}</ID></Invoice>".encode()
    assert len(read_elements(content, "bill.xml").words("ID")) <= 20_000


def test_a_file_past_all_papers_is_refused() -> None:
    with pytest.raises(LedgerError, match="larger than 25 MB"):
        read_paper("bill.xml", b"<" * 25_000_001)


@pytest.mark.parametrize("cut", [0.3, 0.6, 0.9])
def test_half_a_pdf_is_told_or_read_without_what_is_gone(cut: float) -> None:
    whole = in_pdf(written(CII))
    told = ""
    try:
        told = read_paper("bill.pdf", whole[: int(len(whole) * cut)]).kind
    except LedgerError as error:
        told = str(error)
    assert told in ("text", "invoice") or told.startswith("bill.pdf: the PDF cannot be read, or is damaged.")
