"""How long a builder waits: ``python -m tests.benchmarks.dashboard [--json] [--runs N]``, in Chromium.

First page: from the server's start to the first answer; ``of which the server's start`` says how much of that passed
before anything could be asked for. Page switch: from the click to the frame in which the other page stands complete.
Edit to new figures: from the Enter key in the sheet of lines to the frame that shows its effect on P80. Both on the
page's own clock: a test that asks again and again whether a text is there yet adds up to half a second of its own.
The modules are compiled before, as they are wherever the program was installed or has run before.
"""

from __future__ import annotations

import argparse
import compileall
import json
import os
import shutil
import socket
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.request
from contextlib import suppress
from pathlib import Path

from playwright.sync_api import Locator, Page, expect, sync_playwright
from playwright.sync_api import TimeoutError as TimeoutError_

from forecast import read_build

ROOT = Path(__file__).parents[2]
LIMITS = {"first page": 3.0, "page switch": 0.4, "edit to new figures": 0.25}
START = "of which the server's start"
ANSWER = ".st-key-answer"
COLUMNS_BEFORE_HIGH = 5
# Notes on the page when a link is clicked, and the first frame in which the page it leads to stands, all of it drawn.
WATCH_SWITCHES = """() => {
  const turn = (window.fcTurn = { clicked: 0, seen: 0, title: "" });
  const there = () => {
    const app = document.querySelector('[data-testid="stApp"]');
    const titles = [...document.querySelectorAll("h1")].map((part) => part.textContent.trim());
    return app.dataset.testScriptState === "notRunning" && titles.length === 1 && titles[0] === turn.title;
  };
  document.addEventListener("click", (event) => {
    const link = event.target.closest('[data-testid="stSidebarNav"] a');
    if (link) Object.assign(turn, { clicked: performance.now(), seen: 0, title: link.textContent.trim() });
  }, true);
  new MutationObserver(() => {
    if (!turn.clicked || turn.seen || !there()) return;
    turn.seen = -1;
    requestAnimationFrame(() => { turn.seen = performance.now(); });
  }).observe(document.documentElement, { subtree: true, childList: true, characterData: true, attributes: true });
}"""
# Notes on the page when Enter is pressed, and the first frame after the tray says something else than it did then.
WATCH_EDITS = """() => {
  const said = () => [...document.querySelectorAll(".st-key-tray p")].map((part) => part.textContent).join(" ");
  const edit = (window.fcEdit = { pressed: 0, seen: 0, text: "" });
  document.addEventListener("keydown", (event) => {
    if (event.key === "Enter") Object.assign(edit, { pressed: performance.now(), seen: 0, text: said() });
  }, true);
  new MutationObserver(() => {
    const now = said();
    if (!edit.pressed || edit.seen || now === edit.text || !now.includes("Not saved yet")) return;
    edit.seen = -1;
    requestAnimationFrame(() => { edit.seen = performance.now(); });
  }).observe(document.body, { subtree: true, childList: true, characterData: true });
}"""


def start(build: Path, home: Path) -> tuple[subprocess.Popen[bytes], str]:
    """Start a dashboard without waiting for it."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    command = [
        sys.executable,
        "-m",
        "streamlit",
        "run",
        "app.py",
        "--server.headless=true",
        f"--server.port={port}",
    ]
    server = subprocess.Popen(
        [*command, "--", str(build)], cwd=ROOT, env=os.environ | {"FORECAST_HOME": str(home)},
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    return server, f"http://127.0.0.1:{port}"


def fill_up(file: Path, lines: int = 60) -> None:
    """Add plain lines until the build has as many as the aims are set for."""
    text = file.read_text(encoding="utf-8")
    for number in range(lines - len(read_build(file).line)):
        text += (
            f'\n[[line]]\nid = "more_{number}"\ngroup = "other"\n'
            f"amount = {{ low = {10 + number}, middle = {20 + number}, high = {45 + number} }}\n"
        )
    file.write_text(text, encoding="utf-8")


def wait(address: str) -> None:
    for _ in range(600):
        with suppress(OSError):
            urllib.request.urlopen(f"{address}/_stcore/health", timeout=2)
            return
        time.sleep(0.02)


def settled(page: Page) -> None:
    page.wait_for_selector('[data-testid="stApp"][data-test-script-state="notRunning"]', timeout=30_000)


def _open_high(page: Page, canvas: Locator) -> Locator:
    """Open the first row's cell under High, wherever that column stands: they are as wide as what stands in them."""
    shown = canvas.locator("table tbody tr").first.locator("td").nth(COLUMNS_BEFORE_HIGH).text_content()
    field = page.locator(".gdg-clip-region :is(input, textarea)")
    for x in range(480, 780, 30):
        canvas.dblclick(position={"x": x, "y": 52}, force=True)
        with suppress(TimeoutError_):
            if field.is_enabled(timeout=1_000) and field.input_value() == shown:
                break
        page.keyboard.press("Escape")
    return field


def edit(page: Page, text: str) -> float:
    """Type another high into the first row of the sheet, and wait for the effect on P80."""
    canvas = page.locator("[data-testid='stDataFrame'] canvas").first
    canvas.scroll_into_view_if_needed()
    field = _open_high(page, canvas)
    field.fill(text, timeout=10_000)
    field.press("Enter")
    page.wait_for_function("window.fcEdit.seen > 0", timeout=20_000)
    took = page.evaluate("(window.fcEdit.seen - window.fcEdit.pressed) / 1000")
    page.mouse.move(5, 5)
    settled(page)
    page.wait_for_timeout(300)  # the grid draws once more
    return float(took)


def measure(build: Path, home: Path, runs: int) -> dict[str, list[float]]:
    """Measure each wait several times."""
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    found: dict[str, list[float]] = {name: [] for name in (*LIMITS, START)}
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        for run in range(runs):
            began = time.perf_counter()
            server, address = start(build, home)
            try:
                wait(address)
                found[START].append(time.perf_counter() - began)
                page = browser.new_page(
                    viewport={"width": 1280, "height": 900}, bypass_csp=True
                )  # its own waits are text
                page.goto(address)
                expect(page.locator(ANSWER)).to_contain_text("Hold", timeout=30_000)
                found["first page"].append(time.perf_counter() - began)
                settled(page)
                page.evaluate(WATCH_SWITCHES)
                for title in (
                    "Receipts",
                    "Do it or farm it out?",
                    "What will it cost?",
                    "Receipts",
                    "What will it cost?",
                ):
                    page.get_by_test_id("stSidebarNav").get_by_role("link", name=title).click()
                    page.wait_for_function("window.fcTurn.seen > 0", timeout=20_000)
                    took = page.evaluate("(window.fcTurn.seen - window.fcTurn.clicked) / 1000")
                    found["page switch"].append(float(took))
                    expect(page.get_by_role("heading", level=1, name=title)).to_be_visible()
                    settled(page)
                page.get_by_test_id("stSidebarNav").get_by_role("link", name="The lines").click()
                expect(page.locator("[data-testid='stDataFrame'] canvas").first).to_be_visible(timeout=20_000)
                settled(page)
                page.evaluate(WATCH_EDITS)
                for step in range(3):
                    found["edit to new figures"].append(edit(page, str(400_000 + 20_000 * (3 * run + step))))
                page.close()
            finally:
                server.terminate()
                server.wait(timeout=10)
        browser.close()
    return found


def main() -> int:
    """Print medians."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--json", action="store_true", help="for programs")
    parser.add_argument("--runs", type=int, default=3, help="how often the server is started (3)")
    options = parser.parse_args()
    compileall.compile_dir(ROOT / "forecast", quiet=1)
    with tempfile.TemporaryDirectory() as folder:
        build = Path(folder) / "build"
        shutil.copytree(ROOT / "scenarios" / "before-ordering-ireland", build)
        fill_up(build / "build.toml")
        found = measure(build, Path(folder) / "home", options.runs)
    medians = {name: statistics.median(times) for name, times in found.items()}
    if options.json:
        print(json.dumps({"median_seconds": medians, "limits": LIMITS, "all": found}, indent=2))
    else:
        for name, median in medians.items():
            aim = f"   (aim {LIMITS[name]:.2f} s)" if name in LIMITS else ""
            print(f"{name:28} {median:5.2f} s{aim}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
