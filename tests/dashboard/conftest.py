"""The dashboard without a browser, on copies of the demo builds."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from forecast.dashboard import main
from forecast.dashboard.layout import FOLDS, fold_key
from forecast.ledger.folder import BuildFolder, open_demo

ROOT = Path(__file__).parents[2]
PAGES = {address: title for _, title, address in main.PAGES if address != "start"}
"""What a build that is open has, by address."""
BEFORE, HALF_WAY = "before-ordering-ireland", "half-way-new-zealand"
Run = Callable[[Path, str], AppTest]


@dataclass(frozen=True)
class Shelf:
    """A builder's own data folder, the same for all tests of a process, and both demo builds as they are when opened.

    What the pages keep by build, ledger and place is then found again by the next test on the same demo; whatever a
    test enters makes another state of the ledger, and is simulated anew.
    """

    home: Path
    opened: Path

    def put(self, demo: str) -> BuildFolder:
        """Lay a fresh copy of a demo into the data folder, as if it had just been opened."""
        target = self.home / "demos" / demo
        shutil.copytree(self.opened / demo, target)
        return BuildFolder.at(target)


@pytest.fixture(scope="session", autouse=True)
def no_scan_for_components() -> Iterator[None]:
    """Spare each page the look through all installed packages for components, of which none is used: half its time."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("streamlit.components.v2.manifest_scanner.scan_component_manifests", list)
        yield


@pytest.fixture(scope="session")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> Shelf:
    folder = tmp_path_factory.mktemp("dashboard")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("FORECAST_HOME", str(folder / "opened"))
        for demo in (BEFORE, HALF_WAY):
            open_demo(demo)
    return Shelf(folder / "home", folder / "opened" / "demos")


@pytest.fixture(autouse=True)
def home(shelf: Shelf, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Keep the builder's own data folder out of it, and that of the test before."""
    shutil.rmtree(shelf.home, ignore_errors=True)
    monkeypatch.setenv("FORECAST_HOME", str(shelf.home))
    return shelf.home


@pytest.fixture(autouse=True)
def nobody_waits(monkeypatch: pytest.MonkeyPatch) -> None:
    """Take a likely answer at once: between two runs of a test no time passes. Tests of just that wait."""
    monkeypatch.setattr("forecast.dashboard.receipt_form._SEEN", 0.0)


@pytest.fixture(autouse=True)
def no_mistake_of_the_program(caplog: pytest.LogCaptureFixture) -> Iterator[None]:
    """Fail where a page said that the program made a mistake; a test about just that clears the log."""
    yield
    logged = caplog.get_records("setup") + caplog.get_records("call")
    assert [record.exc_info for record in logged if record.name == "forecast.dashboard"] == []


@pytest.fixture
def before_ordering(home: Path, shelf: Shelf) -> BuildFolder:
    return shelf.put(BEFORE)


@pytest.fixture
def half_way(home: Path, shelf: Shelf) -> BuildFolder:
    return shelf.put(HALF_WAY)


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch) -> Run:
    """Give a function that opens a page of the dashboard on a build."""

    def go(build: Path, page: str = "cost") -> AppTest:
        monkeypatch.setattr(sys, "argv", ["app.py", str(build)])
        app = AppTest.from_file(str(ROOT / "app.py"), default_timeout=60)
        for name in FOLDS:  # what stands in a fold is looked at as if it had been opened
            app.session_state[fold_key(name)] = True
        if page != "stand":  # the page on which a build opens
            app = app.switch_page(f"forecast/dashboard/{page}.py")
        app = app.run()
        assert not app.exception
        return app

    return go


def words(app: AppTest) -> str:
    """Give all that a page says, Markdown's escapes and signs of no width taken out."""
    parts = [item.value for item in (*app.main.markdown, *app.info, *app.success, *app.warning, *app.error)]
    return "\n".join(parts).replace("\\", "").replace("\u2060", "")


def charts(app: AppTest) -> list[str]:
    """Give the Vega-Lite of each chart."""
    found = app.main.get("vega_lite_chart")
    return [item.proto.spec for item in found]
