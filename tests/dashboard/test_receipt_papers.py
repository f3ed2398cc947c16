"""What a paper says fills the form, and is saved when the builder says so."""

from __future__ import annotations

import datetime as dt

from streamlit.testing.v1 import AppTest

from forecast.ledger.folder import BuildFolder
from tests.dashboard.conftest import Run, words
from tests.dashboard.test_receipt_documents import upload
from tests.dashboard.test_receipt_entry import field, fill, save
from tests.ledger.papers.bills import text_pdf
from tests.ledger.papers.invoices import CII, UBL, in_pdf, written


def value(app: AppTest, kind: str, label: str) -> object:
    return field(app, kind, label).value  # type: ignore[attr-defined]


def test_an_electronic_invoice_fills_the_form_and_is_entered_when_saved(
    run: Run, before_ordering: BuildFolder
) -> None:
    app = upload(
        run(before_ordering.build_file, "receipts"), ("bill.pdf", in_pdf(written(CII)), "application/pdf")
    )
    assert "bill.pdf holds an electronic invoice, read exactly. Nothing is entered yet." in words(app)
    assert value(app, "text_input", "Amount") == "246.00"
    assert value(app, "text_input", "Supplier") == "Invented Resin Works Ltd"
    assert value(app, "date_input", "Date") == dt.date(2026, 5, 31)
    assert str(value(app, "text_input", "Note")).startswith("Invoice INV-2026/17: Tooling resin")
    assert not before_ordering.has_ledger() or before_ordering.ledger().list_receipts() == ()
    field(app, "multiselect", "For which line").set_value(["tyres"])  # type: ignore[attr-defined]
    app = save(app.run())
    ledger = before_ordering.ledger()
    (receipt,) = ledger.list_receipts()
    assert (receipt.paid_minor, receipt.supplier) == (24_600, "Invented Resin Works Ltd")
    assert [one.name for one in ledger.attachments()] == ["bill.pdf"]
    # The next bill of the same supplier tells its line.
    app = next(item for item in app.button if item.label == "Enter another").click().run()
    app = upload(app, ("next.xml", written(UBL, {"BT-1": "18"}), "text/xml"))
    assert value(app, "multiselect", "For which line") == ["tyres"]


def test_what_was_typed_before_stays(run: Run, before_ordering: BuildFolder) -> None:
    app = fill(run(before_ordering.build_file, "receipts"), ["tyres"], "My resin shop", "240")
    app = upload(app, ("bill.xml", written(UBL), "text/xml"))
    assert value(app, "text_input", "Amount") == "240"
    assert value(app, "text_input", "Supplier") == "My resin shop"
    assert value(app, "date_input", "Date") == dt.date(2026, 5, 31)


def test_a_credit_note_in_another_currency_is_a_refund_in_it(run: Run, before_ordering: BuildFolder) -> None:
    bill = written(UBL, {"BT-3": "381", "BT-5": "THB"})
    app = upload(run(before_ordering.build_file, "receipts"), ("bill.xml", bill, "text/xml"))
    assert value(app, "selectbox", "Currency") == "THB"
    kind = next(item for item in app.get("button_group") if item.label == "Kind")
    assert kind.value == "refund"
    field(app, "text_input", "Charged to you in EUR").set_value("6.40")  # type: ignore[attr-defined]
    field(app, "multiselect", "For which line").set_value(["tyres"])  # type: ignore[attr-defined]
    app = save(app.run())
    assert "Nothing was paid for" in words(app)  # it is asked about first
    save(field(app, "checkbox", "It is meant").check().run())  # type: ignore[attr-defined]
    (receipt,) = before_ordering.ledger().list_receipts()
    assert (receipt.amount_minor, receipt.currency, receipt.paid_minor) == (-24_600, "THB", -640)


def test_a_paper_that_cannot_be_read_is_told_and_can_be_kept(run: Run, before_ordering: BuildFolder) -> None:
    app = fill(run(before_ordering.build_file, "receipts"), ["tyres"], "A shop", "240")
    app = upload(app, ("bill.pdf", b"%PDF-1.4 x", "application/pdf"))
    assert "the PDF cannot be read, or is damaged. It can be kept all the same" in words(app)
    save(app)
    assert [one.name for one in before_ordering.ledger().attachments()] == ["bill.pdf"]


def test_a_bill_whose_sum_and_day_can_mean_two_asks_for_both(run: Run, before_ordering: BuildFolder) -> None:
    bill = text_pdf(["Made-up Wheels Ltd", "Date 03/04/2026", "Total EUR 4.200"])
    app = upload(run(before_ordering.build_file, "receipts"), ("bill.pdf", bill, "application/pdf"))
    assert "Read from bill.pdf: check each figure. Nothing is entered yet." in words(app)
    assert value(app, "text_input", "Amount") == "4.200"
    which, day = app.main.radio
    assert day.label == "Which is meant?" or which.label == "Which day is meant?"
    app = (
        next(item for item in app.main.radio if item.label == "Which day is meant?")
        .set_value(dt.date(2026, 3, 4))
        .run()
    )
    assert value(app, "date_input", "Date") == dt.date(2026, 3, 4)
    app = next(item for item in app.main.radio if "Which is meant?" in item.label).set_value("4200").run()
    field(app, "multiselect", "For which line").set_value(["wheels"])  # type: ignore[attr-defined]
    app = save(app.run())
    if not before_ordering.has_ledger() or not before_ordering.ledger().list_receipts():
        app = save(field(app, "checkbox", "It is meant").check().run())  # type: ignore[attr-defined]
    (receipt,) = before_ordering.ledger().list_receipts()
    assert (receipt.paid_minor, receipt.date, receipt.supplier) == (
        420_000,
        dt.date(2026, 3, 4),
        "Made-up Wheels Ltd",
    )
