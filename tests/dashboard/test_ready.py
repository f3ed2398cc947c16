"""What the server does before a page is asked for: enough, no more, and the same as the page would."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from forecast.dashboard import state
from forecast.dashboard.shelf import SHELF
from forecast.engine.forecast import Forecast
from forecast.ledger.folder import BuildFolder
from forecast.watching.reforecast import Reforecast
from tests.dashboard.conftest import Run

ROOT = Path(__file__).parents[2]


def in_a_server(code: str) -> str:
    """Run code in a program of its own, as a server is one."""
    return subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT
    ).stdout


def test_the_door_opens_before_commands_models_and_numbers_are_loaded() -> None:
    """All commands were loaded for one name of theirs, and the browser waited as long."""
    loaded = in_a_server("import sys, forecast.dashboard.server; print(*sys.modules)").split()
    assert "forecast.dashboard.ready" in loaded
    assert not {"forecast.views.commands", "forecast.buildfile.schema", "forecast.engine", "pandas"} & set(
        loaded
    )


def test_the_papers_of_other_packages_are_not_read_at_the_start() -> None:
    """Streamlit looks through all of them for components: a fifth of a second, and none is used."""
    start = (
        "import importlib.metadata as papers; read = []; papers.distributions = lambda: read.append(1) or []\n"
        "from streamlit.components.v2.component_manager import BidiComponentManager\n"
        "{}\n"
        "BidiComponentManager().discover_and_register_components(start_file_watching=False); print(len(read))"
    )
    assert in_a_server(start.format("pass")) == "1\n"  # so that this test sees it
    assert in_a_server(start.format("from forecast.dashboard.server import parts; parts()")) == "0\n"


def test_a_streamlit_that_keeps_its_search_elsewhere_starts_as_well() -> None:
    told = in_a_server(
        "import sys; sys.modules['streamlit.components.v2.manifest_scanner'] = None\n"
        "from forecast.dashboard.ready import spare; spare(); print('ready')"
    )
    assert told == "ready\n"


def test_who_calls_is_not_looked_for_at_the_first_thing_drawn() -> None:
    draw = (
        "import inspect, streamlit; seen = []; inspect.stack = lambda: seen.append(1) or [(None, 'app.py')]\n"
        "{}\n"
        "streamlit.html('<p>'); print(len(seen))"
    )
    assert in_a_server(draw.format("pass")) == "1\n"
    assert in_a_server(draw.format("from forecast.dashboard.server import parts; parts()")) == "0\n"


def test_the_first_page_shows_what_was_worked_out_before_it(
    before_ordering: BuildFolder, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The page finds it kept: nothing is simulated a second time."""
    SHELF.forget()
    found = state.foresee(str(before_ordering.build_file))
    assert isinstance(found, Forecast)
    monkeypatch.setattr(state, "simulate", lambda *_, **__: pytest.fail("simulated again"))
    assert not run(before_ordering.build_file, "stand").error


def test_a_build_with_receipts_is_forecast_with_them(half_way: BuildFolder) -> None:
    found = state.foresee(str(half_way.folder))
    assert isinstance(found, Reforecast)
    assert any(line.paid for line in found.lines)


def test_without_a_name_it_is_the_build_opened_last_and_nothing_where_there_is_none(
    half_way: BuildFolder, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("FORECAST_HOME", str(tmp_path / "new"))
    assert state.foresee(None) is None
    assert not (tmp_path / "new").exists()  # a demo is copied by the page that opens it
    state.remember(half_way)
    assert isinstance(state.foresee(None), Reforecast)
