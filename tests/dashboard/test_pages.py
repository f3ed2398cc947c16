"""Page logic without a browser: what each page says, and that it says the same as the command line."""

from __future__ import annotations

import re
import shutil
import sys
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from forecast import read_build, simulate
from forecast.spending.folder import DEMOS, BuildFolder
from forecast.spending.receipts_csv import load_receipts_csv
from forecast.views.money import about

ROOT = Path(__file__).parents[2]
PAGES = ("forecast/dashboard/cost.py", "forecast/dashboard/receipts.py", "forecast/dashboard/watch.py")

pytestmark = pytest.mark.filterwarnings(
    "ignore::DeprecationWarning"
)  # raised inside Streamlit's own test runner


def copy_of(name: str, where: Path) -> Path:
    target = where / name
    shutil.copytree(DEMOS / name, target)
    if (target / "receipts.csv").exists():
        load_receipts_csv(target / "receipts.csv", BuildFolder.at(target).ledger())
    return target


def open_app(build: Path, where: Path, monkeypatch: pytest.MonkeyPatch) -> AppTest:
    monkeypatch.setenv("FORECAST_HOME", str(where / "home"))
    monkeypatch.setattr(sys, "argv", ["app.py", str(build)])
    monkeypatch.chdir(ROOT)
    return AppTest.from_file(str(ROOT / "app.py"), default_timeout=60).run()


def words(app: AppTest) -> str:
    text = " ".join(str(item.value) for item in (*app.title, *app.markdown, *app.caption))
    return re.sub(r"\\(.)", r"\1", text).replace("**", "")


@pytest.mark.parametrize("name", ["before-ordering-ireland", "half-way-new-zealand"])
def test_the_first_page_says_what_the_engine_says(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    build = copy_of(name, tmp_path)
    app = open_app(build, tmp_path, monkeypatch)
    assert not app.exception
    said = words(app)
    assert "What will it cost?" in said
    model = read_build(build)
    forecasts = [simulate(model, scenario) for scenario in model.scenario]
    held = [
        about(item.percentile(0.8).value, item.currency, item.percentile(0.8).error) for item in forecasts
    ]
    assert any(f"Hold {figure}: in 8 of 10 builds" in said for figure in held), said[:300]
    assert "all its data are invented" in said


@pytest.mark.parametrize("page", PAGES)
@pytest.mark.parametrize("name", ["before-ordering-ireland", "half-way-new-zealand"])
def test_every_page_opens_without_an_error(
    name: str, page: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    app = open_app(copy_of(name, tmp_path), tmp_path, monkeypatch)
    app.switch_page(page).run()
    assert not app.exception
    assert len(app.title) == 1


def test_a_broken_build_is_said_with_every_mistake(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "build.toml").write_text('[build]\nname = 3\ncurrency = "EURO"\n', encoding="utf-8")
    app = open_app(tmp_path, tmp_path, monkeypatch)
    assert not app.exception
    assert app.title[0].value == "This build file needs mending"
    said = " ".join(str(item.value) for item in (*app.error, *app.markdown, *app.code, *app.warning))
    assert "build.name" in said.replace("\\", "")
    assert "country" in said
