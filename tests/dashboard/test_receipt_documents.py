"""Photos and PDFs with receipts, dates, splits and commitments: the rest of the form."""

from __future__ import annotations

import datetime as dt
import io

from PIL import Image
from streamlit.testing.v1 import AppTest
from streamlit.testing.v1.element_tree import ButtonGroup

from forecast.ledger.attachments import attachment_path
from forecast.ledger.folder import BuildFolder
from forecast.watching.estimates import middle_figures
from forecast.words.money import exact
from tests.dashboard.conftest import Run, words
from tests.dashboard.test_receipt_entry import field, fill, save
from tests.dashboard.test_receipt_list import open_line


def photo() -> bytes:
    content = io.BytesIO()
    Image.new("RGB", (40, 30), "white").save(content, "JPEG")
    return content.getvalue()


def upload(app: AppTest, *files: tuple[str, bytes, str]) -> AppTest:
    field(app, "file_uploader", "Photo or PDF of it").set_value(list(files))  # type: ignore[attr-defined]
    return app.run()


def test_a_photo_is_kept_with_its_receipt_and_shown(run: Run, before_ordering: BuildFolder) -> None:
    app = fill(run(before_ordering.build_file, "receipts"), ["tyres"], "A tyre shop", "700")
    app = save(
        upload(app, ("till.jpg", photo(), "image/jpeg"), ("page 2.pdf", b"%PDF-1.4 x", "application/pdf"))
    )
    assert "Kept with it: till.jpg and 1 more." in words(app)
    ledger = before_ordering.ledger()
    first, second = ledger.attachments(1)
    assert (first.name, second.name) == ("till.jpg", "page 2.pdf")
    assert attachment_path(ledger, first).read_bytes() == photo()
    app = open_line(app, "Tyres")
    assert {item.label for item in app.get("download_button")} >= {"Download till.jpg", "Download page 2.pdf"}
    assert len(app.get("image")) == 1


def test_what_is_no_picture_is_refused_and_the_receipt_with_it(
    run: Run, before_ordering: BuildFolder
) -> None:
    app = fill(run(before_ordering.build_file, "receipts"), ["tyres"], "A tyre shop", "700")
    app = save(upload(app, ("till.jpg", photo(), "image/jpeg"), ("bill.jpg", b"MZ a program", "image/jpeg")))
    assert "bill.jpg: is neither a picture nor a PDF by its content" in words(app)
    assert not before_ordering.has_ledger() or before_ordering.ledger().list_receipts() == ()
    assert not (before_ordering.folder / "attachments").exists()
    assert field(app, "text_input", "Amount").value == "700"  # type: ignore[attr-defined]


def test_a_date_ahead_is_refused_with_what_to_do(run: Run, before_ordering: BuildFolder) -> None:
    app = fill(run(before_ordering.build_file, "receipts"), ["tyres"], "A tyre shop", "700")
    field(app, "date_input", "Date").set_value(dt.date.today() + dt.timedelta(days=30))  # type: ignore[attr-defined]
    app = save(app.run())
    assert "lies ahead of today" in words(app)
    assert "What is agreed and not paid yet is entered as a price agreed." in words(app)
    assert not before_ordering.has_ledger() or before_ordering.ledger().list_receipts() == ()


def test_the_parts_of_several_lines_are_shown_as_they_are_typed(
    run: Run, before_ordering: BuildFolder
) -> None:
    app = fill(run(before_ordering.build_file, "receipts"), ["tyres", "wheels"], "A shop", "")
    captions = [item.value for item in app.main.caption]
    assert "What each line gets stands here once there is an amount." in captions
    app = fill(app, ["tyres", "wheels"], "A shop", "1000")
    estimates = middle_figures(before_ordering.read())
    tyres = round(100_000 * estimates["tyres"] / (estimates["tyres"] + estimates["wheels"]))
    shown = f"Tyres **{exact(tyres, 'EUR')}**; Wheels **{exact(100_000 - tyres, 'EUR')}**"
    assert shown in [item.value for item in app.main.caption]
    assert way_of(app).value == "by estimate"
    app = way_of(app).set_value("evenly").run()
    assert "Tyres **€500.00**; Wheels **€500.00**" in [item.value for item in app.main.caption]
    app = save(app)
    (receipt,) = before_ordering.ledger().list_receipts()
    assert {split.line_id: split.amount_minor for split in receipt.splits} == {
        "tyres": 50_000,
        "wheels": 50_000,
    }


def way_of(app: AppTest) -> ButtonGroup[str]:
    return next(item for item in app.get("button_group") if item.label == "Parts left empty share the rest")  # type: ignore[return-value]


def test_a_bill_for_a_line_without_an_estimate_is_shared_evenly(
    run: Run, before_ordering: BuildFolder
) -> None:
    build, estimates = before_ordering.read(), middle_figures(before_ordering.read())
    absent = next(line.id for line in build.line if line.id not in estimates)
    app = fill(run(before_ordering.build_file, "receipts"), ["tyres", "wheels"], "A shop", "1000")
    assert way_of(app).value == "by estimate"
    assert way_of(fill(app, ["tyres", absent], "A shop", "1000")).value == "evenly"


def test_a_receipt_is_paid_against_a_commitment(run: Run, half_way: BuildFolder) -> None:
    ledger = half_way.ledger()
    (open_one,) = ledger.list_commitments()
    app = fill(run(half_way.build_file, "receipts"), [open_one.line_id], open_one.supplier, "1000")
    app = field(app, "selectbox", "Paid against a price agreed").set_value(open_one.id).run()  # type: ignore[attr-defined]
    app = save(app)
    assert not app.exception
    (after,) = ledger.list_commitments()
    assert after.outstanding_minor == open_one.outstanding_minor - 100_000


def test_a_receipt_of_a_day_before_the_price_is_asked_about_and_says_where_it_is_chosen(
    run: Run, before_ordering: BuildFolder
) -> None:
    ledger = before_ordering.ledger()
    ledger.add_commitment(dt.date.today(), "A tyre shop", "tyres", 70_000, "EUR")
    app = fill(run(before_ordering.build_file, "receipts"), ["tyres"], "A tyre shop", "700")
    day = dt.date.today() - dt.timedelta(days=30)
    app = save(field(app, "date_input", "Date").set_value(day).run())  # type: ignore[attr-defined]
    assert "which is after the day of this receipt" in words(app)
    assert "choose that price at “Paid against a price agreed” under “The rest”." in words(app)
    assert ledger.list_receipts() == ()
    app = field(app, "selectbox", "Paid against a price agreed").set_value(1).run()  # type: ignore[attr-defined]
    app = save(app)
    assert ledger.list_commitments() == ()  # nothing is to pay any more
    assert ledger.paid_by_line() == {"tyres": 70_000}


def test_a_refund_comes_off(run: Run, before_ordering: BuildFolder) -> None:
    app = save(fill(run(before_ordering.build_file, "receipts"), ["tyres"], "A shop", "700"))
    app = fill(app, ["tyres"], "A shop", "50")
    kind = next(item for item in app.get("button_group") if item.label == "Kind")
    app = save(kind.set_value("refund").run())
    assert before_ordering.ledger().paid_by_line() == {"tyres": 65_000}
    assert "**€650.00** paid so far, in 2 receipts." in words(app)
