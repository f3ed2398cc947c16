"""The list of receipts: numbers, finding, opening one, taking back, undoing, carrying elsewhere."""

from __future__ import annotations

import datetime as dt

import pytest
from streamlit.testing.v1 import AppTest

from forecast.ledger import Ledger
from forecast.ledger.folder import BuildFolder
from forecast.ledger.undoing import undo_last
from forecast.words.day_words import short_day
from tests.dashboard.conftest import Run, words
from tests.dashboard.test_receipt_entry import field, fill, save


def html(app: AppTest) -> str:
    return "\n".join(item.proto.body for item in app.main.get("html")).replace("\u00a0", " ")


def press(app: AppTest, label: str) -> AppTest:
    return next(item for item in app.button if item.label == label).click().run()


def by_day(app: AppTest) -> AppTest:
    return field(app, "button_group", "Show").set_value("By day").run()  # type: ignore[attr-defined, no-any-return]


def open_line(app: AppTest, title: str) -> AppTest:
    """Open a line of the list by its name; closed ones stand together behind one row."""
    if not any(f"**{title}**" in item.label for item in app.button):
        app = next(item for item in app.button if item.key == "row-closed").click().run()
    row = next(item for item in app.button if f"**{title}**" in item.label)
    return app if row.label.startswith("*\u25be*") else row.click().run()


def open_receipt(app: AppTest, number: int) -> AppTest:
    """Open a receipt of the list by day."""
    return app.button(key=f"row-receipt-{number}").click().run()


def unfold(app: AppTest, form: str) -> AppTest:
    """Open one of the forms above the list where it is not open."""
    if app.session_state["entering"] == form:
        return app
    return next(item for item in app.button if item.key == f"enter-{form}").click().run()


def test_each_receipt_bears_the_number_of_the_terminal(run: Run, half_way: BuildFolder) -> None:
    page = html(by_day(run(half_way.build_file, "receipts")))
    for receipt in half_way.ledger().list_receipts():
        assert f"{receipt.id}  {receipt.date.day} {receipt.date:%b %Y}</th>" in page


def test_one_is_found_by_a_word_and_opened(run: Run, half_way: BuildFolder) -> None:
    app = by_day(run(half_way.build_file, "receipts"))
    app = field(app, "text_input", "Find").set_value("customs BROKER").run()  # type: ignore[attr-defined]
    (number,) = [one.id for one in half_way.ledger().list_receipts() if one.supplier == "Customs broker"]
    assert [item.key for item in app.button if "row-receipt" in item.key] == [f"row-receipt-{number}"]
    assert f"Parts of receipt {number}" in html(app)
    assert "Paid on" in words(app)
    app = field(app, "text_input", "Find").set_value("no such thing").run()  # type: ignore[attr-defined]
    assert "No receipt has that word." in words(app)


def test_a_row_says_day_supplier_lines_state_and_sum_and_closes_its_lines(
    run: Run, before_ordering: BuildFolder
) -> None:
    ledger = before_ordering.ledger()
    ledger.add_receipt("2026-05-04", "A *tyre* shop", 70_000, "EUR", [("tyres", 70_000)])
    ledger.add_receipt("2026-05-05", "A *tyre* shop", 70_000, "EUR", [("wheels", 70_000)], kind="deposit")
    ledger.add_receipt(
        "2026-05-06", "Maker", 9_000, "GBP", [("tyres", 5_000), ("wheels", 5_500)], paid=(10_500, "EUR")
    )
    titles = {line.id: line.title for line in before_ordering.read().line}
    app = by_day(run(before_ordering.build_file, "receipts"))
    rows = [item.label.replace("\u00a0", " ") for item in app.button if "row-receipt" in (item.key or "")]
    assert rows[0] == (
        f"*▸\u20026 May 2026* **Maker** {titles['tyres']}, {titles['wheels']} · none of its lines closed · no. 3 "
        "`€105.00 (£90.00)`"
    )
    assert rows[1].startswith(f"*▸\u20025 May 2026* **A \\*tyre\\* shop** {titles['wheels']} · deposit, ")
    assert rows[2].endswith("· no. 1 `€700.00`")
    app = press(open_receipt(app, 1), "Close its line: nothing more will come")
    assert ledger.closed_lines() == {"tyres"}
    assert f"“{titles['tyres']}” is closed: nothing more will be paid for it." in words(app)
    assert "· closed · no.\u00a01 `€700.00`" in app.button(key="row-receipt-1").label


def test_a_photo_is_added_later(run: Run, half_way: BuildFolder) -> None:
    app = by_day(run(half_way.build_file, "receipts"))
    last = half_way.ledger().list_receipts()[-1]
    app = open_receipt(app, last.id)
    sent = field(app, "file_uploader", "Photo or PDF to keep with it")
    app = press(
        sent.set_value(("late.jpg", b"\xff\xd8\xff\xe0 a photo", "image/jpeg")).run(),
        "Keep it with this receipt",
    )  # type: ignore[attr-defined]
    assert [item.name for item in half_way.ledger().attachments(last.id)] == ["late.jpg"]
    assert "late.jpg" in html(app)
    assert f"late.jpg is kept with receipt {last.id}." in words(app)


def test_what_was_taken_back_is_struck_and_says_why(run: Run, half_way: BuildFolder) -> None:
    ledger = half_way.ledger()
    last = ledger.list_receipts()[-1]
    ledger.void_receipt(last.id, "entered twice")
    app = by_day(run(half_way.build_file, "receipts"))
    assert "entered twice" not in html(app)
    app = next(item for item in app.toggle if item.label == "Show what was taken back").set_value(True).run()
    assert '<tr class="fc-void">' in html(app)
    assert "Taken back: entered twice" in html(app)


def test_what_was_undone_is_listed_as_the_terminal_lists_it(run: Run, half_way: BuildFolder) -> None:
    ledger = half_way.ledger()
    added = ledger.add_receipt("2026-05-04", "Wrong shop", 12_345, "NZD", [("wheels", 12_345)])
    undo_last(ledger)
    app = by_day(run(half_way.build_file, "receipts"))
    assert "Wrong shop" not in html(app)
    app = next(item for item in app.toggle if item.label == "Show what was taken back").set_value(True).run()
    app = app.button(key=f"row-receipt-taken-{added.id}").click().run()
    day = short_day(dt.date.today())
    assert f"Undone on {day}" in words(app)
    assert f"Undone on {day.replace(chr(160), chr(32))}" in html(app)
    assert f"undone on {day}" in app.button(key=f"row-receipt-taken-{added.id}").label
    assert not [item for item in app.button if item.label == "Close its line: nothing more will come"]


def test_a_sentence_that_ends_in_an_abbreviation_has_one_full_stop(
    run: Run, before_ordering: BuildFolder
) -> None:
    """It read "at Lakier sp. z o.o..", and three dots that somebody wrote became one."""
    before_ordering.ledger().add_receipt(
        "2026-05-04", "Lakier sp. z o.o.", 70_000, "EUR", [("tyres", 70_000)], note="the rest later..."
    )
    said = words(open_receipt(by_day(run(before_ordering.build_file, "receipts")), 1))
    assert "at Lakier sp. z o.o. the rest later... Entered by" in said.replace("\\", "")


def small(app: AppTest) -> list[str]:
    """Give the small lines of a page, Markdown's escapes taken out."""
    return [item.value.replace("\\", "") for item in app.main.caption]


def test_the_last_entry_is_undone_by_a_button(run: Run, before_ordering: BuildFolder) -> None:
    app = save(fill(run(before_ordering.build_file, "receipts"), ["tyres"], "A shop", "700"))
    assert "Entered last: receipt 1 of A shop, €700.00 and Tyres closed." in small(app)
    app = press(app, "Take back €700.00 to A shop")
    assert "Taken back: receipt 1 of A shop, €700.00 and Tyres closed. P80 moved by" in words(app)
    assert before_ordering.ledger().list_receipts() == ()
    assert before_ordering.ledger().closed_lines() == frozenset()
    assert not [item for item in app.button if item.label.startswith("Take back")]


def test_undo_means_what_was_shown(run: Run, before_ordering: BuildFolder) -> None:
    """Another window enters something between the look and the click: the click on the old entry does nothing."""
    app = save(fill(run(before_ordering.build_file, "receipts"), ["tyres"], "A shop", "700"))
    phone = Ledger(before_ordering.receipts_db, who="phone")
    phone.add_receipt("2026-05-01", "Another shop", 900, "EUR", [("wheels", 900)])
    app = press(app, "Take back €700.00 to A shop")
    assert len(before_ordering.ledger().list_receipts()) == 2
    assert "Entered last: receipt 2 of Another shop, €9.00." in small(app)


def test_the_ledger_is_offered_for_download(run: Run, half_way: BuildFolder) -> None:
    app = run(half_way.build_file, "receipts")
    labels = {item.label for item in app.get("download_button")}
    assert {"The ledger as CSV", "The receipts as XLSX"} <= labels


def test_a_line_opens_where_it_stands_and_is_closed_and_opened_there(run: Run, half_way: BuildFolder) -> None:
    ledger = half_way.ledger()
    title = next(line.title for line in half_way.read().line if line.id == "filler")
    app = open_line(run(half_way.build_file, "receipts"), title)
    app = press(app, "Close it: nothing more will come")
    assert "filler" in ledger.closed_lines()
    assert f"“{title}” is closed" in words(app)
    app = press(open_line(app, title), "Open it again")
    assert "filler" not in ledger.closed_lines()


def test_one_search_finds_a_line_without_receipts_too(run: Run, half_way: BuildFolder) -> None:
    ledger = half_way.ledger()
    untouched = next(
        line
        for line in half_way.read().line
        if line.id not in ledger.paid_by_line() and line.id not in ledger.line_states()
    )
    app = run(half_way.build_file, "receipts")
    app = field(app, "text_input", "Find").set_value(untouched.title.upper()).run()  # type: ignore[attr-defined]
    assert any(f"**{untouched.title}**" in item.label for item in app.button)
    app = field(app, "text_input", "Find").set_value("customs broker").run()  # type: ignore[attr-defined]
    rows = [item.label for item in app.button if str(item.key).startswith("row-line-")]
    paid_to = {
        split.line_id
        for one in ledger.list_receipts()
        if one.supplier == "Customs broker"
        for split in one.splits
    }
    assert len(rows) >= len(paid_to) > 0
    assert len(rows) < len(ledger.paid_by_line())


def test_at_most_three_folds_stand_on_the_page(
    run: Run, half_way: BuildFolder, before_ordering: BuildFolder
) -> None:
    for build in (half_way, before_ordering):
        app = run(build.build_file, "receipts")
        for form in ("receipt", "price", "bank"):
            app = unfold(app, form)
            assert len(app.main.expander) <= 3, form


def test_on_paper_the_lines_are_a_table(run: Run, half_way: BuildFolder) -> None:
    assert "What was paid, line by line" in html(run(half_way.build_file, "receipts"))


@pytest.mark.parametrize("by", ["By day", "By line"])
def test_all_of_a_long_list_is_one_tap_away(run: Run, before_ordering: BuildFolder, by: str) -> None:
    lines = [line.id for line in before_ordering.read().line][:40]
    ledger = before_ordering.ledger()
    for line in lines:
        ledger.add_receipt("2026-10-01", f"Shop of {line}", 1_000, "EUR", [(line, 1_000)])
    app = run(before_ordering.build_file, "receipts")
    app = next(item for item in app.main.get("button_group") if by in item.options).set_value(by).run()
    rows = len([item for item in app.button if str(item.key).startswith("row-")])
    assert f"of these {len(lines)} are shown" in words(app)
    app = press(app, f"Show all {len(lines)}")
    assert "are shown; find others by a word" not in words(app)
    assert len([item for item in app.button if str(item.key).startswith("row-")]) == rows + len(lines) - 30
