"""Each page's main task, on copies of both demo builds, at laptop and phone width."""

from __future__ import annotations

import re
from itertools import pairwise
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from forecast.ledger.folder import BuildFolder
from tests.browser.conftest import BEFORE, HALF_WAY, Opener, keep, settled

WIDTHS = {"laptop": (1280, 900), "phone": (390, 844)}


def to(page: Page, name: str) -> None:
    """Go to a page by its link, opening the sidebar where it is folded away."""
    link = page.get_by_test_id("stSidebarNav").get_by_role("link", name=name)
    if not link.is_visible() or (page.viewport_size or {"width": 1280})["width"] < 700:
        opener = page.get_by_test_id("stExpandSidebarButton")
        if opener.is_visible():
            opener.click()
    link.click()
    expect(page.get_by_role("heading", level=1, name=name)).to_be_visible(timeout=20_000)
    settled(page)


@pytest.mark.parametrize("size", WIDTHS)
@pytest.mark.parametrize(("build", "sign"), [(BEFORE, "€"), (HALF_WAY, "NZ$")])
def test_the_first_page_answers_in_a_sentence(
    visit: Opener, copies: dict[str, str], build: str, sign: str, size: str
) -> None:
    page = visit(copies[build], *WIDTHS[size])
    expect(page.get_by_role("heading", level=1, name="Where does it stand?")).to_be_visible(timeout=30_000)
    answer = page.locator(".st-key-answer")
    money = rf"{re.escape(sign)}[\d,]+"
    said = rf"Hold {money}: in 80" if build == BEFORE else rf"it ends at no more than {money} in 80"
    expect(answer).to_contain_text(re.compile(rf"{said} of 100 builds"), timeout=20_000)
    settled(page)  # what stands below the sentence comes when what charts need is loaded
    for name in ("P50", "P80", "P90"):
        expect(page.get_by_role("row", name=re.compile(f"^{name} {money}")).first).to_be_visible()
    expect(page.locator("[role='graphics-document'], canvas, svg.marks").first).to_be_visible()
    wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert wide <= 0, "the page scrolls sideways"
    keep(page, f"stand-{build}-{size}")


@pytest.mark.parametrize("size", WIDTHS)
def test_where_it_ends_is_said_for_the_build_half_way(
    visit: Opener, copies: dict[str, str], size: str
) -> None:
    page = visit(copies[HALF_WAY], *WIDTHS[size])
    settled(page)
    to(page, "Where does it end?")
    expect(page.locator(".st-key-answer")).to_contain_text("budget of NZ$37,000", timeout=20_000)
    settled(page)
    boxes = []
    for name in ("P90", "P80", "Budget", "P50", "Paid"):
        label = page.locator(".st-key-band svg text").filter(has_text=re.compile(f"^{name}$")).last
        box = label.bounding_box()
        assert box is not None
        boxes.append(box)
    boxes.sort(key=lambda box: box["y"])
    for above, below in pairwise(boxes):
        assert above["y"] + above["height"] <= below["y"] + 4, "names of lines stand on one another"
    expect(page.locator(".st-key-moves").get_by_text("since you began on 15 June 2026.")).to_be_visible(
        timeout=20_000
    )
    keep(page, f"watch-{HALF_WAY}-{size}")


def test_a_receipt_is_entered_and_the_forecast_moves(visit: Opener, copies: dict[str, str]) -> None:
    page = visit(copies[BEFORE], at="watch")
    expect(page.get_by_role("heading", level=1, name="Where does it end?")).to_be_visible(timeout=30_000)
    settled(page)
    before = page.locator(".st-key-answer").inner_text()
    assert "Nothing is paid yet" in before
    page.get_by_role("button", name="Enter a receipt").click()
    expect(page.get_by_role("heading", level=1, name="Receipts")).to_be_visible(timeout=20_000)
    settled(page)
    page.get_by_role("combobox", name="For which line").first.fill("Rented")
    page.get_by_role("option", name=re.compile("^Rented")).first.click()
    page.keyboard.press("Escape")
    page.get_by_label("Supplier").fill("The kit maker")
    page.get_by_label(re.compile("^Amount, in ")).fill("3321.50")
    page.get_by_label(re.compile("^Amount, in ")).press("Tab")
    settled(page)
    page.get_by_role("button", name="Save receipt").click()
    expect(page.get_by_text("3,321.50").first).to_be_visible(timeout=20_000)
    settled(page)
    keep(page, f"receipts-{BEFORE}-laptop")
    to(page, "Where does it end?")
    expect(page.locator(".st-key-answer")).to_contain_text("Paid so far: €3,321.50", timeout=20_000)
    assert page.locator(".st-key-answer").inner_text() != before
    assert BuildFolder.at(copies[BEFORE]).ledger().list_receipts()[0].amount_minor == 332_150
    keep(page, f"watch-{BEFORE}-laptop")


def test_another_scenario_changes_the_answer(visit: Opener, copies: dict[str, str]) -> None:
    page = visit(copies[BEFORE])
    settled(page)
    answer = page.locator(".st-key-answer")
    first = answer.inner_text()
    page.get_by_role("combobox", name="Scenario").click()
    page.get_by_role("option", name="The whole conversion farmed out").click()
    expect(answer).not_to_have_text(first, timeout=20_000)


def test_a_broken_build_file_is_said_in_words(visit: Opener, tmp_path: Path) -> None:
    (tmp_path / "build.toml").write_text("[build]\nname = 3\n", encoding="utf-8")
    page = visit(str(tmp_path))
    expect(page.get_by_role("heading", level=1, name="This build file needs mending")).to_be_visible(
        timeout=30_000
    )
    expect(page.get_by_text("Traceback")).to_have_count(0)
