"""A real dashboard in a real Chromium; here a skip is allowed at home, and a failure where CI is set."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect, sync_playwright

from forecast.ledger.folder import DEMOS, BuildFolder, remember

ROOT = Path(__file__).parents[2]
SCREENSHOTS = ROOT / ".screenshots"
Opener = Callable[..., Page]
BEFORE, HALF_WAY = "before-ordering-ireland", "half-way-new-zealand"


def _chromium() -> str:
    found = shutil.which("chromium") or shutil.which("chromium-browser")
    if found is None:
        message = "no chromium here: install Debian's package chromium to run the browser tests"
        if os.environ.get("CI"):
            pytest.fail(message)
        pytest.skip(message)
    return found


@pytest.fixture(scope="session")
def browser_() -> Iterator[Browser]:
    arguments = [
        "--no-sandbox",
        "--disable-gpu",
        "--no-first-run",
        "--disable-background-networking",
        "--disable-sync",
    ]
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=_chromium(), args=arguments)
        yield browser
        browser.close()


class Dashboards:
    """Dashboards that run, each with a builder's data folder of its own.

    One is shared by all builds that are only looked at in turn: to start one, and to have a browser fetch and compile
    its scripts, costs more than most tests. Those that end theirs, or look at how one starts, have one of their own.
    """

    def __init__(self, homes: pytest.TempPathFactory) -> None:
        self.homes = homes
        self.running: dict[str, tuple[subprocess.Popen[bytes], str]] = {}
        self.kept: list[Path] = []
        self.shared: Path | None = None

    def opened(self, build: str) -> str:
        """Make a build the one that was open last, which a new window shows, and give the address of the shared one."""
        if self.shared is None:
            self.shared = self.homes.mktemp("shared-home")
        with pytest.MonkeyPatch.context() as patch:
            patch.setenv("FORECAST_HOME", str(self.shared))
            remember(BuildFolder.at(build))
        return self._start("shared", [], self.shared)

    def start(self, build: str) -> str:
        """Start one on a build, or on none with "", unless it runs already, and give its address."""
        return self._start(build, ["--", build] if build else [], None)

    def _start(self, name: str, arguments: list[str], home: Path | None) -> str:
        if name in self.running:
            return self.running[name][1]
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        command = [
            sys.executable, "-m", "streamlit", "run", "app.py", "--server.headless=true", f"--server.port={port}",
            "--server.address=127.0.0.1", "--browser.gatherUsageStats=false", "--server.fileWatcherType=none",
            *arguments,
        ]  # fmt: skip
        self.kept.append(home or self.homes.mktemp("home"))
        server = subprocess.Popen(
            command, cwd=ROOT, env=os.environ | {"FORECAST_HOME": str(self.kept[-1])},
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        address = f"http://127.0.0.1:{port}"
        for _ in range(300):
            with suppress(OSError):
                urllib.request.urlopen(f"{address}/_stcore/health", timeout=2)
                self.running[name] = (server, address)
                return address
            time.sleep(0.1)
        server.kill()
        pytest.fail("the dashboard did not start")

    def forget_answers(self) -> None:
        """Forget what another test answered in the guided start, so that each begins at its first question."""
        for home in self.kept:
            (home / "guided-start.toml").unlink(missing_ok=True)

    def stop(self, build: str) -> None:
        """Stop the one on a build."""
        server, _ = self.running.pop(build)
        server.terminate()
        server.wait(timeout=10)


@pytest.fixture(scope="session")
def dashboards(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Dashboards]:
    found = Dashboards(tmp_path_factory)
    yield found
    for build in tuple(found.running):
        found.stop(build)


@pytest.fixture(scope="session")
def copies(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """Copy the demo builds, with their receipts in a ledger; only the one before ordering gets further entries."""
    found = {}
    for name in (BEFORE, HALF_WAY):
        target = tmp_path_factory.mktemp("builds") / name
        shutil.copytree(DEMOS / name, target)
        folder = BuildFolder.at(target)
        if folder.not_entered() is not None:
            folder.load()
        found[name] = str(target)
    return found


@pytest.fixture(scope="session")
def untouched(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Copy the demo build before ordering, for tests that enter nothing."""
    target = tmp_path_factory.mktemp("untouched") / BEFORE
    shutil.copytree(DEMOS / BEFORE, target)
    return str(target)


@pytest.fixture(scope="session")
def profile(browser_: Browser) -> Iterator[BrowserContext]:
    """Give what a browser remembers, to all tests in turn.

    So the scripts of a dashboard's pages are fetched and compiled once: a third of what opening one takes.
    """
    # What fades and slides is drawn many times over, without a graphics card by the processor.
    context = browser_.new_context(reduced_motion="reduce")
    yield context
    context.close()


@pytest.fixture
def visit(browser_: Browser, profile: BrowserContext, dashboards: Dashboards) -> Iterator[Opener]:
    """Give a function that opens a build, on the page at an address of its own or on the first.

    It opens in the dashboard that all builds share, or, ``alone`` and where there is no build, in one of its own. A
    second window of a test is another browser's. Afterwards no error and no request to elsewhere may have been.
    """
    errors: list[str] = []
    elsewhere: list[str] = []
    pages: list[Page] = []
    dashboards.forget_answers()

    def go(build: str, width: int = 1280, height: int = 900, at: str = "", *, alone: bool = False) -> Page:
        context = browser_.new_context(reduced_motion="reduce") if pages else profile
        page = context.new_page()
        pages.append(page)
        page.set_viewport_size({"width": width, "height": height})
        page.on("pageerror", lambda error: errors.append(str(error)))
        page.on(
            "request",
            lambda request: (
                None
                if request.url.startswith(("http://127.0.0.1", "ws://127.0.0.1", "data:", "blob:"))
                else elsewhere.append(request.url)
            ),
        )
        address = dashboards.start(build) if alone or not build else dashboards.opened(build)
        page.goto(f"{address}/{at}")
        expect(page.get_by_role("heading", level=1)).to_be_visible(timeout=60_000)  # a dashboard's first page
        return page

    yield go
    told = [page.inner_text("body") for page in pages]
    for page in pages:
        if page.context is profile:
            if page.url.startswith("http"):  # else nothing was opened, and nothing can be remembered
                page.evaluate("localStorage.clear()")
            profile.clear_cookies()
            page.close()
        else:
            page.context.close()
    assert not any("The program made a mistake" in text for text in told)
    assert errors == []
    assert elsewhere == []


def settled(page: Page) -> None:
    """Wait until a run of the page has ended."""
    page.wait_for_selector('[data-testid="stApp"][data-test-script-state="notRunning"]', timeout=30_000)


def keep(page: Page, name: str) -> None:
    """Keep a screenshot to look at."""
    SCREENSHOTS.mkdir(exist_ok=True)
    page.screenshot(path=SCREENSHOTS / f"{name}.png", full_page=True)


AXE = ROOT / ".axe" / "node_modules" / "axe-core" / "axe.min.js"
STREAMLITS_OWN: dict[str, tuple[str, ...]] = {}
"""What Streamlit itself causes: rule, and what marks the element in its HTML. Nothing, with Streamlit 1.67."""


@pytest.fixture(scope="session")
def axe() -> str:
    """Give axe-core, which ``.ci/run`` fetches; at home: ``npm install --no-save --prefix .axe axe-core``."""
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
