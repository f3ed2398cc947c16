"""Each page against axe-core, an open checker of the Web Content Accessibility Guidelines, in a real Chromium.

Builds of the guided start are checked in `test_guided_builds`, page by page as they are used, and one half-way in
`test_every_page`.
"""

from __future__ import annotations

import shutil
from pathlib import Path

from playwright.sync_api import Page, expect

from forecast.ledger.folder import DEMOS
from forecast.views.theme import DARK, LIGHT, Palette
from tests.browser.conftest import BEFORE, Dashboards, Opener, findings, settled


def rgb(colour: str) -> str:
    """Write a colour as browsers do."""
    return f"rgb({', '.join(str(int(colour[at : at + 2], 16)) for at in (1, 3, 5))})"


def test_words_and_pictures_turn_with_the_browsers_look(visit: Opener, untouched: str, axe: str) -> None:
    page = visit(untouched, at="start")
    looks: tuple[Palette, ...] = (LIGHT, DARK, LIGHT)
    for look in looks:
        page.emulate_media(color_scheme="dark" if look == DARK else "light")
        captions = page.locator("[data-testid=stCaptionContainer] p")
        expect(captions.first).to_have_css(
            "color", rgb(look.muted), timeout=2_000
        )  # no click, and no new drawing
        assert findings(page, axe) == []
    page.get_by_test_id("stSidebarNav").get_by_role("link", name="Where does it stand?").click()
    for look in looks:
        page.emulate_media(color_scheme="dark" if look == DARK else "light")
        rule = page.locator(".stVegaLiteChart svg text", has_text="P80").last
        expect(rule).to_have_attribute("fill", look.ink, timeout=15_000)


SAID = """place => {
  const shown = getComputedStyle(document.querySelector(`[role=dialog] ${place}`), "::before");
  return shown.visibility === "visible" && parseFloat(shown.fontSize) > 10 ? shown.content : "";
}"""


def test_a_server_that_is_gone_is_told_in_plain_words(
    visit: Opener, dashboards: Dashboards, tmp_path: Path
) -> None:
    build = str(shutil.copytree(DEMOS / BEFORE, tmp_path / BEFORE))
    page: Page = visit(build, alone=True)
    settled(page)
    dashboards.stop(build)
    dialog = page.get_by_role("dialog")
    expect(dialog).to_be_visible(timeout=30_000)
    assert page.evaluate(SAID, "h2") == '"The dashboard does not answer"'
    assert "Nothing that was saved is lost." in page.evaluate(SAID, "h2 + div")
    assert "\u201cforecast app\u201d: this page then comes back" in page.evaluate(SAID, "h2 + div")
    assert dialog.inner_text().strip() == ""  # nothing of the toolkit's own words
