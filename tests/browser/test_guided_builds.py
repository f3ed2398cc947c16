"""Each page's main task on three builds from the guided start, as laptops and phones show them, light and dark.

A build goes through its pages twice: before it is ordered and, with the sum that was paid, afterwards.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from forecast.buildfile.reader import read_build
from forecast.ledger.folder import BuildFolder
from forecast.start import create_build, read_answers
from tests.browser.conftest import Opener, keep, settled
from tests.browser.test_every_page import PAGES, type_into_high
from tests.browser.test_main_tasks import WIDTHS, to

WORLD = {"PL": ("TH", "PLN"), "GB": ("US", "£"), "NL": ("GB", "€")}
"""Where a build is, where its kit comes from, and how money is written there."""
LOOKS = [("laptop", "light"), ("laptop", "dark"), ("phone", "light"), ("phone", "dark")]


@pytest.fixture(scope="module", params=WORLD)
def guided(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> tuple[BuildFolder, str]:
    """Make a build as the guided start makes it; give its folder and its money's sign."""
    origin, sign = WORLD[request.param]
    answers = {"country": request.param, "origin": origin, "panels": ["front", "rear", "skirts", "arches"]}
    folder = tmp_path_factory.mktemp("guided") / request.param
    create_build(folder, read_answers(answers | {"filling": "self", "paint": "shop", "first_build": True}))
    return BuildFolder.at(folder), sign


def go(page: Page, size: str, name: str) -> None:
    """Go to a page as one does at that width, and see that it does not scroll sideways."""
    if size == "phone":
        page.locator(".st-key-phone-nav").get_by_role("link", name=PAGES[name]).click()
        expect(page.get_by_role("heading", level=1, name=PAGES[name])).to_be_visible(timeout=20_000)
        settled(page)
    else:
        to(page, PAGES[name])
    main = "document.querySelector('[data-testid=stMain]')"
    assert page.evaluate(f"{main}.scrollWidth - {main}.clientWidth") <= 1, f"{name} scrolls sideways"


def change_a_range(page: Page, size: str) -> None:
    """Write another high into the first figure of the sheet, or of its cards, and take it back."""
    if size == "phone":
        cards = page.locator(".st-key-sheet-cards")
        cards.locator(".st-key-cards-of button", has_text="Consumables").click()
        cards.locator(".st-key-line-cards button").first.click()
        high = cards.get_by_role("textbox", name="High").first
        expect(high).to_be_visible(timeout=20_000)
        high.fill("987654")
        cards.get_by_role("button", name="Change it").click()
    else:
        expect(page.locator("[data-testid='stDataFrame'] canvas").first).to_be_visible(timeout=20_000)
        type_into_high(page, 0, "987654")
    expect(page.get_by_text("Not saved yet")).to_be_visible(timeout=20_000)


@pytest.mark.parametrize(("size", "look"), LOOKS)
def test_each_page_does_what_one_comes_for(
    visit: Opener, guided: tuple[BuildFolder, str], size: str, look: str
) -> None:
    folder, sign = guided
    ledger = folder.ledger()
    entered = len(ledger.list_receipts())
    money = rf"{re.escape(sign)}\s?[\d,]+"
    page = visit(str(folder.folder), *WIDTHS[size])
    page.emulate_media(color_scheme=look)  # type: ignore[arg-type]
    answer = page.locator(".st-key-answer")
    expect(answer).to_contain_text(re.compile(rf"{money}.* in 80 of 100 builds"), timeout=30_000)
    settled(page)
    for name in ("P50", "P80", "P90"):
        expect(page.get_by_role("row", name=re.compile(f"^{name} {money}")).first).to_be_visible()

    go(page, size, "cost")
    expect(answer).to_contain_text(re.compile(rf"Hold {money}|ends at no more than {money}"), timeout=20_000)
    expect(page.locator("[role='graphics-document']").first).to_be_visible(timeout=20_000)

    go(page, size, "lines")
    written = folder.build_file.read_bytes()
    change_a_range(page, size)
    assert folder.build_file.read_bytes() == written
    page.get_by_role("button", name="Drop them").click()
    expect(page.get_by_text("Not saved yet")).to_have_count(0, timeout=20_000)

    go(page, size, "choose")
    ways = page.get_by_role("table").first
    expect(ways).to_be_visible(timeout=20_000)
    assert ways.get_by_role("row").count() >= 3  # its heading, and two ways at least

    go(page, size, "watch")
    before = answer.inner_text()

    go(page, size, "receipts")
    if entered:  # the first receipt's form stands open by itself
        page.get_by_role("button", name="Enter a receipt").click()
    line = next(one for one in read_build(folder.build_file).line if one.group == "consumables")
    page.get_by_role("combobox", name="For which line").first.fill(line.name)
    page.get_by_role("option", name=line.name, exact=True).click()
    page.keyboard.press("Escape")
    page.get_by_label("Supplier").fill("The paint counter")
    amount = page.get_by_label("Amount", exact=True)
    amount.fill(f"3{entered}.40")
    amount.press("Tab")
    settled(page)
    page.get_by_role("button", name="Save receipt").click()
    expect(page.get_by_text(re.compile("to The paint counter, is entered"))).to_be_visible(timeout=20_000)
    settled(page)
    assert [one.amount_minor for one in ledger.list_receipts()][-1] == 3040 + 100 * entered

    go(page, size, "watch")
    expect(answer).not_to_have_text(before, timeout=20_000)
    expect(answer).to_contain_text("Paid so far")
    keep(page, f"watch-{Path(folder.folder).name}-{size}-{look}")
