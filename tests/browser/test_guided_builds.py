"""Each page's main task on three builds from the guided start, at laptop and phone width, in light and dark."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from forecast.buildfile.reader import read_build
from forecast.ledger.folder import BuildFolder
from forecast.start import create_build, read_answers
from tests.browser.conftest import Opener, findings, keep, settled
from tests.browser.test_every_page import PAGES as PAGES_OF_A_BUILD
from tests.browser.test_every_page import type_into_high
from tests.browser.test_main_tasks import WIDTHS, to

PAGES = {"start": "Start or open a build"} | PAGES_OF_A_BUILD
WORLD: dict[str, tuple[dict[str, Any], str]] = {
    "PL": ({"origin": "TH", "kit_price": "65 000 THB", "paint": "shop"}, "PLN"),
    "GB": ({"origin": "US", "kit_price": "2 400 USD", "filling": "self"}, "£"),
    "NL": ({"origin": "GB", "kit_price": "1 850 GBP", "first_build": True}, "€"),
}
"""By where a build is: where its kit comes from and what else is answered; how money is written."""
LOOKS = {
    "PL": {"laptop": ("light",), "phone": ("light", "dark")},
    "GB": {"laptop": ("dark", "light"), "phone": ("light",)},
    "NL": {"laptop": ("light",), "phone": ("dark", "light")},
}
"""How pages are looked at, by build and width, the first first: PL and NL are held against the guidelines in turns."""


@pytest.fixture(scope="module", params=WORLD)
def guided(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> tuple[BuildFolder, str]:
    """Make a build as the guided start makes it; give its folder and its money's sign."""
    answers, sign = WORLD[request.param]
    folder = tmp_path_factory.mktemp("guided") / request.param
    create_build(folder, read_answers({"country": request.param} | answers))
    return BuildFolder.at(folder), sign


def go(page: Page, size: str, name: str, looks: tuple[str, ...], axe: str) -> None:
    """Go to a page as one does at that width, and see what is the same for all."""
    if size == "phone":
        page.locator(".st-key-phone-nav").get_by_role("link", name=PAGES[name]).click()
        expect(page.get_by_role("heading", level=1, name=PAGES[name])).to_be_visible(timeout=20_000)
        settled(page)
    else:
        to(page, PAGES[name])
    seen(page, name, looks, axe)


LIGHT = """light => {
  const paper = getComputedStyle(document.querySelector('[data-testid=stApp]')).backgroundColor;
  const [red, green, blue] = paper.match(/\\d+/g).map(Number);
  return (red + green + blue > 3 * 128) === light;
}"""
"""Whether the paper is light, or dark."""


DARK = "matchMedia('(prefers-color-scheme: dark)').matches"


def seen(page: Page, name: str, looks: tuple[str, ...], axe: str) -> None:
    """See in both looks that nothing scrolls sideways, and in the last that what the guidelines ask for is there.

    It begins with the look in force: so each turns the page once, and the guidelines are asked in both by turns.
    """
    main = "document.querySelector('[data-testid=stMain]')"
    in_force = "dark" if page.evaluate(DARK) else "light"
    for look in sorted(looks, key=lambda look: look != in_force):
        page.emulate_media(color_scheme=look)  # type: ignore[arg-type]
        page.wait_for_function(LIGHT, arg=look == "light", timeout=10_000)
        wide = page.evaluate(f"{main}.scrollWidth - {main}.clientWidth")
        assert wide <= 1, f"{name} scrolls sideways in {look}"
    if len(looks) > 1:
        page.wait_for_timeout(500)  # charts are drawn after the run
        assert findings(page, axe) == [], name


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
        type_into_high(page, 1, "987654")  # the kit has one price
    expect(page.get_by_text("Not saved yet")).to_be_visible(timeout=20_000)


def test_each_page_does_what_one_comes_for(visit: Opener, guided: tuple[BuildFolder, str], axe: str) -> None:
    folder, sign = guided
    page = visit(str(folder.folder))
    money = rf"{re.escape(sign)}\s?[\d,]+"
    expect(page.locator(".st-key-answer")).to_contain_text(
        re.compile(rf"Hold {money}: in 80 of 100 builds"), timeout=30_000
    )
    settled(page)
    for size, (width, height) in WIDTHS.items():
        page.set_viewport_size({"width": width, "height": height})
        each_page(page, folder, size, money, LOOKS[Path(folder.folder).name][size], axe)


def each_page(
    page: Page, folder: BuildFolder, size: str, money: str, looks: tuple[str, ...], axe: str
) -> None:
    """Do on each page what one comes for, at one width."""
    answer = page.locator(".st-key-answer")
    ledger = folder.ledger()
    entered = len(ledger.list_receipts())
    page.emulate_media(color_scheme=looks[0])  # type: ignore[arg-type]
    page.wait_for_function(LIGHT, arg=looks[0] == "light", timeout=10_000)
    go(page, size, "start", looks, axe)
    go(page, size, "stand", looks, axe)
    for name in ("P50", "P80", "P90"):
        expect(page.get_by_role("row", name=re.compile(f"^{name} {money}")).first).to_be_visible()

    go(page, size, "cost", looks, axe)
    expect(answer).to_contain_text(re.compile(rf"Hold {money}|ends at no more than {money}"), timeout=20_000)
    expect(page.locator("[role='graphics-document']").first).to_be_visible(timeout=20_000)

    go(page, size, "lines", looks, axe)
    written = folder.build_file.read_bytes()
    change_a_range(page, size)
    assert folder.build_file.read_bytes() == written
    page.get_by_role("button", name="Drop them").click()
    expect(page.get_by_text("Not saved yet")).to_have_count(0, timeout=20_000)

    go(page, size, "choose", looks, axe)
    ways = page.get_by_role("table").first
    expect(ways).to_be_visible(timeout=20_000)
    assert ways.get_by_role("row").count() >= 3  # its heading, and two ways at least

    go(page, size, "watch", looks, axe)
    before = answer.inner_text()

    go(page, size, "receipts", looks, axe)
    if not page.locator(".st-key-receipt-form").is_visible():  # after the first receipt it is asked for
        page.get_by_role("button", name=re.compile("^Enter a(nother| receipt)$")).click()
        expect(page.get_by_role("button", name="Save receipt")).to_be_visible(timeout=20_000)
        settled(page)
    line = next(one for one in read_build(folder.build_file).line if one.group == "consumables")
    box = page.get_by_role("combobox", name="For which line").first
    box.click()  # the page scrolls to it first: a list that is open would be shut by that
    box.fill(line.name)
    page.get_by_role("option", name=line.name, exact=True).click()
    page.keyboard.press("Escape")
    page.get_by_label("Supplier").fill("The paint counter")
    amount = page.get_by_label(re.compile("^Amount, in "))
    amount.fill(f"3{entered}.40")
    amount.press("Tab")
    settled(page)
    page.get_by_role("button", name="Save receipt").click()
    expect(page.get_by_test_id("stAlertContentSuccess")).to_contain_text(
        re.compile(r"to The paint counter( on \d+|\.)"), timeout=20_000
    )
    settled(page)
    assert [one.amount_minor for one in ledger.list_receipts()][-1] == 3040 + 100 * entered

    go(page, size, "watch", looks, axe)
    expect(answer).not_to_have_text(before, timeout=20_000)
    expect(answer).to_contain_text("Paid so far")
    keep(page, f"watch-{Path(folder.folder).name}-{size}")
