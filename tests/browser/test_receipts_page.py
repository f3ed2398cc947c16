"""Receipts in a real browser: with a photo on a phone, and from a bank's file on a laptop."""

from __future__ import annotations

import io
import re
import shutil

import pytest
from PIL import Image, ImageDraw
from playwright.sync_api import Locator, Page, expect

from forecast.ledger.attachments import attachment_path
from forecast.ledger.folder import DEMOS, BuildFolder
from tests.browser.conftest import BEFORE, HALF_WAY, Opener, keep, settled

FILE = (
    "Booking date;Payee;Amount;Currency\n"
    "13.05.2026;Paint counter 0042;-148,50;EUR\n"
    "24.05.2026;Tool shop;-20,00;EUR\n"
    "25.05.2026;Paint counter 0043;-61,00;EUR\n"
)


@pytest.fixture(scope="module")
def build(tmp_path_factory: pytest.TempPathFactory) -> BuildFolder:
    """A build of its own: what is entered here is in nobody else's way."""
    target = tmp_path_factory.mktemp("receipts") / BEFORE
    shutil.copytree(DEMOS / BEFORE, target)
    return BuildFolder.at(target)


def photo() -> bytes:
    picture = Image.new("RGB", (600, 900), "#f4f1ea")
    pen = ImageDraw.Draw(picture)
    for row in range(8):
        pen.rectangle((60, 80 + 90 * row, 380 + 20 * row, 110 + 90 * row), fill="#444444")
    content = io.BytesIO()
    picture.save(content, "JPEG")
    return content.getvalue()


def receipts(visit: Opener, build: BuildFolder, width: int) -> Page:
    page = visit(str(build.folder), width, 900 if width > 640 else 844, at="receipts")
    expect(page.get_by_role("heading", level=1, name="Receipts")).to_be_visible(timeout=30_000)
    expect(page.get_by_text("Close several lines, tell of events")).to_be_visible(timeout=30_000)
    settled(page)
    return page


def take(page: Page, label: str, option: str) -> None:
    box = page.get_by_role("combobox", name=label).first
    box.click()
    box.fill(option)
    page.get_by_role("option", name=re.compile(f"^{option}")).first.click()


def news(page: Page) -> Locator:
    """Give what is said of an entry where it was made: how far it moved P80."""
    return page.get_by_test_id("stAlert").get_by_text(re.compile("P80 (moved|stays)"))


def all_of_it(page: Page, words: str) -> None:
    """Open what stands behind the news, and see that it says all."""
    page.get_by_text("What was entered, and all that it did").click()
    expect(page.get_by_test_id("stExpander").get_by_text(re.compile(words))).to_be_visible(timeout=10_000)
    settled(page)


def test_the_camera_and_the_sum_are_in_sight_at_once_on_a_phone(
    visit: Opener, copies: dict[str, str]
) -> None:
    page = receipts(visit, BuildFolder.at(copies[HALF_WAY]), 390)
    page.get_by_role("button", name="Enter a receipt").click()
    form = page.locator(".st-key-receipt-form")
    camera, amount = (
        form.get_by_role("button", name="Upload", exact=True),
        form.get_by_label(re.compile("^Amount, in ")),
    )
    expect(amount).to_be_visible(timeout=10_000)
    settled(page)
    for place in (camera, amount):  # nothing lies over it, nothing has to be scrolled
        assert place.evaluate(
            "item => { const box = item.getBoundingClientRect();"
            " const top = document.elementFromPoint(box.x + box.width / 2, box.bottom - 4);"
            " return item.contains(top) || top?.contains(item); }"
        )


def test_a_receipt_with_a_photo_takes_a_minute_on_a_phone(visit: Opener, build: BuildFolder) -> None:
    page = receipts(visit, build, 390)
    form = page.locator(".st-key-receipt-form")
    take(page, "For which line", "Filler")
    page.keyboard.press("Escape")
    form.get_by_label("Supplier").fill("Paint counter")
    form.get_by_label(re.compile("^Amount, in ")).fill("86.40")
    form.locator("input[type=file]").set_input_files(
        {"name": "till.jpg", "mimeType": "image/jpeg", "buffer": photo()}
    )
    expect(form.get_by_text("till.jpg")).to_be_visible(timeout=20_000)
    keep(page, "receipts-form-phone")
    page.set_viewport_size({"width": 390, "height": 480})  # as much as a phone's keyboard leaves
    form.get_by_role("button", name="Save receipt").click()
    said = news(page)
    expect(said).to_be_visible(timeout=30_000)
    settled(page)
    expect(said).to_be_in_viewport(ratio=1)
    expect(page.get_by_role("button", name="Enter another")).to_be_visible()
    expect(form).to_have_count(0)
    expect(page.get_by_role("button", name="Take back €86.40 to Paint counter")).to_be_visible()
    all_of_it(page, r"€86.40 to Paint counter on .*Kept with it: till.jpg.")
    page.set_viewport_size({"width": 390, "height": 844})
    wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert wide <= 0, "the page scrolls sideways"
    expect(
        page.get_by_role("button", name=re.compile("^▾\\s*Filler")).first
    ).to_be_visible()  # as it was just saved
    expect(page.get_by_role("img", name="till.jpg of receipt 1")).to_be_visible(timeout=20_000)
    keep(page, "receipts-phone")
    ledger = build.ledger()
    (kept,) = ledger.attachments()
    assert attachment_path(ledger, kept).read_bytes() == photo()
    assert [one.paid_minor for one in ledger.list_receipts()] == [8_640]


def test_the_first_tap_saves_while_the_box_of_lines_has_the_focus(visit: Opener, build: BuildFolder) -> None:
    page = receipts(visit, build, 390)
    page.get_by_role("button", name=re.compile("^Enter (a receipt|another)$")).click()
    form = page.locator(".st-key-receipt-form")
    form.get_by_label("Supplier").fill("Resin counter")
    form.get_by_label(re.compile("^Amount, in ")).fill("61.20")
    take(page, "For which line", "Resin, mat and catalyst for joints")  # so long that it fills a row
    expect(form.get_by_text("Is that all for Resin, mat and catalyst for joints?")).to_be_visible()
    settled(page)
    page.keyboard.press("Escape")
    box = page.get_by_role("combobox", name="For which line")
    expect(page.get_by_role("listbox")).to_have_count(0)
    expect(box).to_be_focused()
    save = form.locator(".st-key-save-receipt button")
    save.evaluate("button => button.scrollIntoView({ block: 'center' })")
    place = save.bounding_box()
    assert place is not None
    middle = place["x"] + place["width"] / 2, place["y"] + place["height"] / 2
    page.mouse.move(*middle)
    page.mouse.down()
    page.wait_for_timeout(80)  # as long as a finger rests
    page.mouse.up()
    expect(news(page)).to_be_visible(timeout=15_000)
    all_of_it(page, r"€61.20 to Resin counter on ")
    settled(page)
    links = page.locator(".st-key-phone-nav").get_by_role("link")
    expect(links).to_have_count(7)
    for link in links.all():  # the page one is on is in sight after a run too, and so are all others
        expect(link).to_be_in_viewport(ratio=1)


def test_a_banks_file_is_shown_as_it_was_read_then_entered(visit: Opener, build: BuildFolder) -> None:
    ledger = build.ledger()
    before = ledger.paid_by_line().get("primer", 0)
    ledger.add_receipt("2026-05-02", "Paint counter", 1_000, "EUR", [("primer", 1_000)], entry_key="a")
    ledger.add_receipt("2026-05-03", "Paint counter", 1_000, "EUR", [("primer", 1_000)], entry_key="b")
    ledger.add_receipt("2026-05-23", "The tool shop", 2_000, "EUR", [("tyres", 2_000)], entry_key="c")
    page = receipts(visit, build, 1280)
    page.get_by_role("button", name="A bank's file").click()
    expect(page.get_by_role("textbox", name="Your name for the account")).to_be_visible()
    page.locator(".st-key-bank-form input[type=file]").set_input_files(
        {"name": "may.csv", "mimeType": "text/csv", "buffer": FILE.encode()}
    )
    expect(page.get_by_text("2 of 3 rows will be entered, €209.50 in all.")).to_be_visible(timeout=30_000)
    expect(page.get_by_text("How it was read, as recognised; change what is wrong.")).to_be_visible()
    expect(page.get_by_text("1 held back: tick Enter where it is a payment of its own.")).to_be_visible()
    keep(page, "receipts-import-laptop")
    page.get_by_role("button", name="Enter 2 receipts").click()
    expect(news(page)).to_be_visible(timeout=30_000)
    all_of_it(page, r"Entered from may.csv: 2 receipts. Left out: 1 row.")
    assert ledger.paid_by_line()["primer"] - before == 2_000 + 14_850 + 6_100
    settled(page)
    page.get_by_role("button", name="Take back 2 receipts").click()
    expect(page.get_by_text("Taken back: 2 receipts, the first of Paint counter 0042").last).to_be_attached(
        timeout=30_000
    )
    expect(news(page)).to_be_visible()
    assert ledger.paid_by_line()["primer"] - before == 2_000
    settled(page)
    keep(page, "receipts-laptop")
