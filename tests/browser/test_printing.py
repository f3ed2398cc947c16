"""Pages on paper: what is read is there, what is typed or pressed is not, and nothing is cut off after one sheet."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import HALF_WAY, SCREENSHOTS, Opener, settled
from tests.browser.test_every_page import PAGES
from tests.browser.test_main_tasks import to

NOT_ON_PAPER = "button:visible, input:visible, textarea:visible, canvas:visible, nav:visible"
LEAST_SHEETS = {"stand": 1, "cost": 2, "lines": 1, "choose": 1, "receipts": 2, "watch": 2}


@pytest.mark.parametrize("look", ["light", "dark"])
def test_each_page_prints_what_is_to_be_read(visit: Opener, copies: dict[str, str], look: str) -> None:
    page = visit(copies[HALF_WAY])
    page.emulate_media(color_scheme=look)  # type: ignore[arg-type]
    SCREENSHOTS.mkdir(exist_ok=True)
    for name, title in PAGES.items():
        page.emulate_media(media="screen", color_scheme=look)  # type: ignore[arg-type]
        settled(page)
        to(page, title)
        expect(page.locator("[role='graphics-document']").first).to_be_visible(timeout=20_000)
        settled(page)
        expect(page.locator(".fc-paper-head")).to_be_hidden()

        page.emulate_media(media="print", color_scheme=look)  # type: ignore[arg-type]

        expect(page.locator(".fc-paper-head")).to_contain_text("Box-arch rally coupe")
        expect(page.get_by_role("heading", level=1, name=title)).to_be_visible()
        expect(page.locator("[role='graphics-document']").first).to_be_visible()
        expect(page.locator(NOT_ON_PAPER)).to_have_count(0)
        shades = page.evaluate(
            """() => [".stApp", ".stMain"].map((part) => {
                 const style = getComputedStyle(document.querySelector(part));
                 return [style.backgroundColor, style.color];
               })"""
        )
        assert shades == [["rgb(255, 255, 255)", "rgb(0, 0, 0)"]] * 2
        paper = page.pdf(path=SCREENSHOTS / f"{name}-{look}.pdf", prefer_css_page_size=True, format="A4")
        assert len(re.findall(rb"/Type\s*/Page\b", paper)) >= LEAST_SHEETS[name]


def test_what_is_unfolded_is_printed(visit: Opener, copies: dict[str, str]) -> None:
    page = visit(copies[HALF_WAY], at="watch")
    expect(page.get_by_role("heading", level=1, name="Where does it end?")).to_be_visible(timeout=30_000)
    settled(page)
    folded = page.locator(".stExpander", has_text="The same as a table")
    page.emulate_media(media="print")
    expect(folded).to_be_hidden()
    page.emulate_media(media="screen")
    folded.locator("summary").click()
    page.emulate_media(media="print")
    expect(folded.locator("table")).to_be_visible()
