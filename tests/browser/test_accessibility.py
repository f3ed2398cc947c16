"""Each page against axe-core, an open checker of the Web Content Accessibility Guidelines, in a real Chromium.

Builds of the guided start are checked in `test_guided_builds`, page by page as they are used.
"""

from __future__ import annotations

from playwright.sync_api import expect

from tests.browser.conftest import HALF_WAY, Opener, findings, settled


def test_no_page_of_a_build_half_way_has_a_serious_finding(
    visit: Opener, copies: dict[str, str], axe: str
) -> None:
    page = visit(copies[HALF_WAY])
    page.emulate_media(color_scheme="dark")
    expect(page.get_by_role("heading", level=1)).to_be_visible(timeout=30_000)
    settled(page)
    nav = page.get_by_test_id("stSidebarNav")
    expect(nav.get_by_role("link").nth(4)).to_be_visible(timeout=20_000)
    titles = nav.get_by_role("link").all_inner_texts()
    assert len(titles) >= 5
    found: dict[str, list[tuple[str, str]]] = {}
    for title in titles:
        nav.get_by_role("link", name=title).click()
        expect(page.get_by_role("heading", level=1, name=title)).to_be_visible(timeout=20_000)
        settled(page)
        page.wait_for_timeout(500)  # charts are drawn after the run
        if problems := findings(page, axe):
            found[title] = problems
        wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        assert wide <= 0, f"{title} scrolls sideways"
    assert found == {}
