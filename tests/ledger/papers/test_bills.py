"""Bills as text: what is proposed, where it stood, and what is asked instead of guessed."""

from __future__ import annotations

import datetime as dt
import io
import time
from collections.abc import Sequence

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pypdf import PdfReader, PdfWriter

from forecast.errors import LedgerError
from forecast.ledger.papers.fields import read_text
from forecast.ledger.papers.paper import Kind, Paper
from forecast.ledger.papers.read import MOST_PAGES, read_paper
from forecast.words.months import month_of
from tests.ledger.papers.bills import BILLS, TODAY, text_pdf


def read(*lines: str, home: str = "EUR", others: Sequence[str] = (), known: Sequence[str] = ()) -> Paper:
    return read_text([lines], "bill.pdf", "text", home=home, others=others, known=known, today=TODAY)


def said(paper: Paper) -> tuple[str | None, ...]:
    parts = (paper.amount, paper.day, paper.currency, paper.supplier)
    return tuple(None if part is None else part.said for part in parts)


@pytest.mark.parametrize("name", BILLS)
def test_a_bill_in_many_languages_says_sum_day_currency_and_supplier(name: str) -> None:
    bill = BILLS[name]
    paper = read(*bill.lines, home=bill.home)
    assert said(paper) == (bill.amount, bill.day, bill.currency, bill.supplier)
    assert not paper.refund


@pytest.mark.parametrize("name", [name for name in BILLS if "Polish" not in name])  # the PDF's font has no ś
def test_the_same_bill_as_a_pdf_says_the_same(name: str) -> None:
    bill = BILLS[name]
    paper = read_paper("bill.pdf", text_pdf(bill.lines), bill.home)
    assert said(paper) == (bill.amount, bill.day, bill.currency, bill.supplier)
    assert paper.kind == "text"


def test_it_is_said_where_each_thing_stood() -> None:
    paper = read_paper(
        "b.pdf", text_pdf(["A Shop Ltd", "Date 2026-05-31"], ["carried on", "Total   EUR 1,234.50"]), "EUR"
    )
    assert paper.amount is not None
    assert paper.day is not None
    assert paper.supplier is not None
    assert (paper.amount.said, paper.amount.where) == ("1234.50", "“Total EUR 1,234.50” on page 2")
    assert paper.day.where == "“Date 2026-05-31” on page 1"
    assert paper.supplier.where == "“A Shop Ltd” on page 1"


@pytest.mark.parametrize(("kind", "where"), [("text", "“Total 12.50” on page 1"), ("photo", "“Total 12.50”")])
def test_one_photo_has_no_pages_to_tell_apart(kind: Kind, where: str) -> None:
    paper = read_text([["Total 12.50"]], "bill", kind, home="EUR", today=TODAY)
    assert paper.amount is not None
    assert paper.amount.where == where


def test_a_sum_that_can_mean_two_stays_as_it_stands_and_another_number_may_settle_it() -> None:
    assert said(read("Shop", "Total 4.200 EUR"))[0] == "4.200"
    assert said(read("Shop", "Resin 3.900,00", "Total 4.200 EUR"))[0] == "4200.00"
    assert said(read("Shop", "Resin 3.90", "Total 4,200 EUR"))[0] == "4200.00"
    assert said(read("Shop", "Resin 3.90", "Total 4.200 EUR"))[0] == "4.200"  # no bill says 4.20 so
    assert said(read("Shop", "Total 4.200 JPY"))[0] == "4200"  # a yen has no parts


def test_a_day_that_can_mean_two_is_asked_and_another_day_may_settle_it() -> None:
    paper = read("Shop", "Date 03/04/2026", "Total 5.00")
    assert paper.day is None
    assert paper.days == (dt.date(2026, 4, 3), dt.date(2026, 3, 4))
    assert said(read("Shop", "Date 03/04/2026", "Order 25/03/2026"))[1] == "2026-04-03"
    assert said(read("Shop", "Date 03/04/2026", "Order 03/25/2026"))[1] == "2026-03-04"
    assert said(read("Shop", "Date 10/12/2026"))[1] == "2026-10-12"  # the other one lies ahead
    assert said(read("Shop", "Date 03/03/2026"))[1] == "2026-03-03"


def test_of_days_told_alike_the_first_is_the_papers() -> None:
    assert said(read("Shop", "2026-05-03", "Total 5.00", "2026-05-09"))[1] == "2026-05-03"
    assert said(read("Shop", "2026-05-03", "Total 5.00", "Date 2026-05-09"))[1] == "2026-05-09"


def test_a_sign_of_several_currencies_means_one_of_the_builds() -> None:
    assert said(read("Shop", "Total $12.00", home="NZD"))[2] == "NZD"
    assert said(read("Shop", "Total $12.00", home="EUR", others=("USD",)))[2] == "USD"
    assert said(read("Shop", "Total $12.00", home="EUR"))[2] is None
    assert said(read("Shop", "Total 12.00", "All prices in THB"))[2] == "THB"


def test_a_supplier_that_was_paid_before_is_known_again() -> None:
    lines = ("SALES RECEIPT", "Something big on top", "THE  PAINT-COUNTER no 17", "Total 12.00")
    paper = read(*lines, known=("The paint counter", "Other"))
    assert paper.supplier is not None
    assert paper.supplier.said == "The paint counter"
    assert paper.supplier.where.startswith("paid before")
    assert said(read(*lines))[3] == "Something big on top"


def test_a_name_of_three_letters_is_too_short_to_be_known_among_other_words() -> None:
    assert said(read("A Shop Ltd", "oak boards", "Total 12.00", known=("Oak",)))[3] == "A Shop Ltd"
    assert said(read("A Shop Ltd", "oaks boards", "Total 12.00", known=("Oaks",)))[3] == "Oaks"


@pytest.mark.parametrize(
    ("line", "name"),
    [
        ("Oak", "Oak"), ("Ok", None),  # two letters are a slip of the reader more often than a name
        ("Oak 4", "Oak 4"), ("Oak 42", None),  # more digits are a number of something
        ("Plainly Invented " * 3, ("Plainly Invented " * 3).strip()), ("Plainly Invented " * 4, None),
    ],
)  # fmt: skip
def test_a_supplier_has_three_letters_twice_as_many_as_digits_and_one_line(
    line: str, name: str | None
) -> None:
    assert said(read(line, "Total 5.00"))[3] == name


def test_a_line_that_begins_as_a_heading_does_names_no_supplier_but_a_first_name_may() -> None:
    assert (
        said(read("Kunde Max Muster", "Plainly Invented Paints", "Total 5.00"))[3]
        == "Plainly Invented Paints"
    )
    assert said(read("Bill Muster", "Plainly Invented Paints", "Total 5.00"))[3] == "Bill Muster"


def test_without_a_word_for_the_total_the_largest_sum_is_proposed_and_said_to_be_so() -> None:
    paper = read("Shop", "Resin 20.00", "Tape 4.50", "Cash 50.00", "Call 555.0100")
    assert paper.amount is not None
    assert paper.amount.said == "20.00"
    assert paper.amount.where.startswith("the largest sum, as no line names a total: ")


@pytest.mark.parametrize(
    "beside",
    [
        "Sub total 100.00",
        "Total discount 400.00",
        "Total items 400.00",
        "Net total 400.00",
        "Total VAT 400.00",
    ],
)
def test_a_part_or_what_is_taken_off_is_not_the_total(beside: str) -> None:
    assert said(read("Shop", beside, "Total 90.00"))[0] == "90.00"


def test_nothing_is_proposed_where_nothing_stands() -> None:
    assert said(read("...", "--- 17 ---")) == (None, None, None, None)
    assert read("...").missing == ("sum", "day", "supplier")


def test_a_credit_note_is_told_by_its_heading_alone() -> None:
    assert read("A Shop Ltd", "Credit note 17", "Total 12.00").refund
    assert not read(
        "A Shop Ltd", "Total 12.00", "A refund needs this receipt and the thing within two weeks"
    ).refund


@pytest.mark.parametrize(
    "word", ["May", "mai", "März", "août", "Sept.", "grudnia", "maggio", "KVĚTEN", "januari"]
)
def test_months_are_known_by_name(word: str) -> None:
    assert month_of(word) in (1, 3, 5, 8, 9, 12)


def test_a_name_of_two_months_names_none() -> None:
    assert month_of("listopad") is None  # October in Croatian, November in Polish and Czech
    assert month_of("total") is None


SIGNS = "Total 0123456789.,-'€$/:#INVOICEdate May \t£kr%\u0663\u00b2"


@settings(max_examples=150, deadline=None)
@given(
    st.lists(
        st.text(st.sampled_from("Total 0123456789.,-'€$/:#INVOICEdate May \t£kr%\u0663\u00b2"), max_size=60),
        max_size=8,
    )
)
def test_whatever_stands_there_is_read_or_left(lines: list[str]) -> None:
    paper = read(*lines)
    assert paper.amount is None or any(sign.isdigit() for sign in paper.amount.said)


@pytest.mark.parametrize(
    "unit", ["1.", "1 ", "1/", "Invoice-", "a ", ". ", "$1,", "2026-", "Total ", "12 May "]
)
def test_a_page_made_to_take_long_takes_no_time(unit: str) -> None:
    began = time.process_time()
    text = unit * (60_000 // len(unit))
    read(text)
    read(*(text[place : place + 390] for place in range(0, len(text), 390)))
    assert time.process_time() - began < 8


def test_a_picture_in_a_pdf_is_said_to_be_one() -> None:
    paper = read_paper("scan.pdf", text_pdf([]), "EUR")
    assert paper.remarks == ("It holds a picture and no text.",)
    assert paper.missing == ("sum", "day", "supplier")


def test_only_the_first_pages_are_read() -> None:
    pages = [["A Shop Ltd"], *([["more"]] * (MOST_PAGES - 1)), ["Total 12.00"]]
    assert read_paper("b.pdf", text_pdf(*pages), "EUR").amount is None
    assert read_paper("b.pdf", text_pdf(*pages[1:]), "EUR").amount is not None


def test_a_locked_pdf_is_told() -> None:
    writer = PdfWriter(clone_from=PdfReader(io.BytesIO(text_pdf(["Total 12.00"]))))
    writer.encrypt("secret", algorithm="RC4-128")
    whole = io.BytesIO()
    writer.write(whole)
    with pytest.raises(LedgerError, match=r"bill\.pdf: is locked with a password\."):
        read_paper("bill.pdf", whole.getvalue(), "EUR")
