"""Takes the README's three pictures again: ``python -m tests.browser.pictures``; needs Debian's chromium.

Each shows a page on a copy of a demo build, as the page stands, into ``.readme/``.
"""

from __future__ import annotations

import os
import shutil
import sys
import tempfile
from pathlib import Path

from playwright.sync_api import expect, sync_playwright

from forecast.ledger.folder import DEMOS, BuildFolder
from tests.benchmarks.dashboard import settled, start, wait

ROOT = Path(__file__).parents[2]
PICTURES = (
    ("cost", "before-ordering-ireland", "What will it cost?", 820),
    ("choose", "before-ordering-ireland", "Do it or farm it out?", 820),
    ("watch", "half-way-new-zealand", "Where does it end?", 760),
)
"""Name, demo build, page, and height in pixels."""


def main() -> int:
    """Take the pictures."""
    target = ROOT / ".readme"
    target.mkdir(exist_ok=True)
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    with tempfile.TemporaryDirectory() as home, sync_playwright() as playwright:
        os.environ["FORECAST_HOME"] = home
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        for name, demo, title, height in PICTURES:
            build = Path(home) / name / demo
            shutil.copytree(DEMOS / demo, build)
            if BuildFolder.at(build).not_entered() is not None:
                BuildFolder.at(build).load()
            server, address = start(build, Path(home))
            try:
                wait(address)
                page = browser.new_page(viewport={"width": 1180, "height": height}, color_scheme="light")
                page.goto(address)
                expect(page.get_by_role("heading", level=1)).to_be_visible(timeout=30_000)
                settled(page)
                page.get_by_test_id("stSidebarNav").get_by_role("link", name=title).click()
                expect(page.get_by_role("heading", level=1, name=title)).to_be_visible(timeout=30_000)
                expect(page.locator("svg.marks, canvas.marks").first).to_be_visible(timeout=30_000)
                settled(page)
                page.wait_for_timeout(1_500)  # fades
                page.screenshot(path=target / f"{name}.png")
            finally:
                server.terminate()
                server.wait(timeout=10)
        browser.close()
    print(f"{len(PICTURES)} pictures in {target}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
