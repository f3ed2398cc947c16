"""The dashboard without a browser, on copies of the demo builds."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from forecast.spending.folder import BuildFolder, open_demo

ROOT = Path(__file__).parents[2]
PAGES = {
    "cost": "What will it cost?",
    "lines": "The lines",
    "choose": "Do it or farm it out?",
    "receipts": "Receipts",
    "watch": "Where does it end?",
}
BEFORE, HALF_WAY = "before-ordering-ireland", "half-way-new-zealand"
Run = Callable[[Path, str], AppTest]


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Keep the builder's own data folder out of it."""
    monkeypatch.setenv("FORECAST_HOME", str(tmp_path / "home"))
    return tmp_path / "home"


@pytest.fixture(autouse=True)
def no_mistake_of_the_program(caplog: pytest.LogCaptureFixture) -> Iterator[None]:
    """Fail where a page said that the program made a mistake; a test about just that clears the log."""
    yield
    logged = caplog.get_records("setup") + caplog.get_records("call")
    assert [record.exc_info for record in logged if record.name == "forecast.dashboard"] == []


@pytest.fixture
def before_ordering() -> BuildFolder:
    return open_demo(BEFORE)


@pytest.fixture
def half_way() -> BuildFolder:
    return open_demo(HALF_WAY)


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch) -> Run:
    """Give a function that opens a page of the dashboard on a build."""

    def go(build: Path, page: str = "cost") -> AppTest:
        monkeypatch.setattr(sys, "argv", ["app.py", str(build)])
        app = AppTest.from_file(str(ROOT / "app.py"), default_timeout=60).run()
        if page != "cost":
            app = app.switch_page(f"forecast/dashboard/{page}.py").run()
        assert not app.exception
        return app

    return go


def words(app: AppTest) -> str:
    """Give all that a page says, Markdown's escapes taken out."""
    parts = [item.value for item in (*app.main.markdown, *app.info, *app.success, *app.warning, *app.error)]
    return "\n".join(parts).replace("\\", "")


def charts(app: AppTest) -> list[str]:
    """Give the Vega-Lite of each chart."""
    found = app.main.get("vega_lite_chart")
    return [item.proto.spec for item in found]
