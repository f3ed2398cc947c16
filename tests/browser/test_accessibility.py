"""Each page against axe-core, an open checker of the Web Content Accessibility Guidelines, in a real Chromium.

Its npm package is fetched by ``.ci/run``; at home: ``npm install --no-save --prefix .axe axe-core``.
"""

from __future__ import annotations

import os
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from forecast.start import read_answers, write_build
from tests.browser.conftest import HALF_WAY, ROOT, Opener, settled

AXE = ROOT / ".axe" / "node_modules" / "axe-core" / "axe.min.js"
STREAMLITS_OWN: dict[str, tuple[str, ...]] = {}
"""What Streamlit itself causes: rule, and what marks the element in its HTML. Nothing, with Streamlit 1.67."""


@pytest.fixture(scope="module")
def axe() -> str:
    if not AXE.is_file():
        message = "no axe-core here: npm install --no-save --prefix .axe axe-core"
        if os.environ.get("CI"):
            pytest.fail(message)
        pytest.skip(message)
    return AXE.read_text(encoding="utf-8")


def findings(page: Page, axe: str) -> list[tuple[str, str]]:
    """Give rule and element of each serious or critical finding that is not Streamlit's own."""
    if not page.evaluate("'axe' in window"):  # pages are exchanged within one document
        page.evaluate(axe)
    result: dict[str, Any] = page.evaluate("() => axe.run(document, {resultTypes: ['violations']})")
    found = []
    for violation in result["violations"]:
        if violation["impact"] not in ("serious", "critical"):
            continue
        for node in violation["nodes"]:
            marks = STREAMLITS_OWN.get(violation["id"], ())
            if not any(mark in node["html"] for mark in marks):
                found.append((violation["id"], node["html"][:300]))
    return found


GUIDED: dict[str, dict[str, Any]] = {
    "Poland from Thailand": {"country": "PL", "origin": "TH", "kit_price": "65 000 THB", "paint": "shop"},
    "Britain from the United States": {
        "country": "GB",
        "origin": "US",
        "kit_price": "2 400 USD",
        "filling": "self",
    },
    "the Netherlands from Britain": {
        "country": "NL",
        "origin": "GB",
        "kit_price": "1 850 GBP",
        "first_build": True,
    },
}
"""Answers of builds made by the guided start; all else is its default."""


@pytest.fixture(scope="session")
def builds(copies: dict[str, str], tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """Give the demos, and builds as the guided start writes them: longer, with everything open."""
    made = dict(copies)
    for name, answers in GUIDED.items():
        folder = tmp_path_factory.mktemp("guided")
        (folder / "build.toml").write_text(write_build(read_answers(answers)), encoding="utf-8")
        made[name] = str(folder)
    return made


@pytest.mark.parametrize(
    ("build", "look", "width"),
    [
        (HALF_WAY, "dark", 1280),
        ("Poland from Thailand", "dark", 390), ("Britain from the United States", "light", 1280),
        ("the Netherlands from Britain", "light", 390),
    ],
)  # fmt: skip
def test_no_page_has_a_serious_finding(
    visit: Opener, builds: dict[str, str], axe: str, build: str, look: str, width: int
) -> None:
    page = visit(builds[build], width, 900)
    page.emulate_media(color_scheme=look)  # type: ignore[arg-type]
    expect(page.get_by_role("heading", level=1)).to_be_visible(timeout=30_000)
    settled(page)
    nav = page.get_by_test_id("stSidebarNav") if width > 640 else page.locator(".st-key-phone-nav")
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
