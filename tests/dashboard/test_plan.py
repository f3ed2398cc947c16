"""Looking at another way than the plan, and making it the plan."""

from __future__ import annotations

from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from forecast.buildfile.choosing import scenario_title
from forecast.buildfile.reader import read_build
from forecast.start import create_build, read_answers
from tests.dashboard.conftest import Run
from tests.views.test_cli import run as terminal


def sidebar(app: AppTest) -> str:
    return "\n".join(item.value for item in app.sidebar.caption).replace("\\", "")


def test_a_way_that_is_only_looked_at_can_be_made_the_plan(tmp_path: Path, run: Run) -> None:
    create_build(tmp_path / "build", read_answers({"country": "NL", "origin": "GB", "paint": "shop"}))
    file = tmp_path / "build" / "build.toml"
    app = run(file, "stand")
    assert "Only looked at" not in sidebar(app)
    app.sidebar.selectbox(key=f"scenario-{file}").set_value("diy").run()
    assert "Only looked at: your plan is “Mixed”." in sidebar(app)
    app.button(key="make-plan").click().run()
    assert read_build(file).build.way == "diy"
    assert "Only looked at" not in sidebar(app)
    own = scenario_title(read_build(file), "diy")
    assert [item.value for item in app.sidebar.success] == [f"\u201c{own}\u201d is your plan now."]
    assert not app.run().sidebar.success  # said once


def test_the_plan_is_marked_among_the_ways(
    tmp_path: Path, run: Run, capsys: pytest.CaptureFixture[str]
) -> None:
    create_build(tmp_path / "build", read_answers({"country": "NL", "origin": "GB", "paint": "shop"}))
    file = tmp_path / "build" / "build.toml"
    compared = terminal(capsys, "compare", str(file))
    assert [line.split("  ")[0] for line in compared.splitlines() if ", your plan" in line] == [
        "Mixed, your plan"
    ]
    shown = "\n".join(str(item.value) for item in run(file, "choose").html)
    assert shown.count(", your plan") == shown.count("Mixed, your plan") > 0


def test_ways_and_mixes_are_told_whichever_way_is_the_plan(tmp_path: Path, run: Run) -> None:
    create_build(tmp_path / "build", read_answers({"country": "NL", "origin": "GB", "paint": "shop"}))
    file = tmp_path / "build" / "build.toml"
    file.write_text(
        file.read_text("utf-8").replace("\ncurrency = ", '\nway = "diy"\ncurrency = ', 1), "utf-8"
    )
    app = run(file, "choose")
    assert not app.error
    assert not app.exception
    assert "Your own mix" in [item.value for item in app.subheader]


def test_a_name_longer_than_its_field_stands_in_full_below_it(tmp_path: Path, run: Run) -> None:
    create_build(tmp_path / "build", read_answers({"country": "NL", "origin": "GB", "paint": "shop"}))
    file = tmp_path / "build" / "build.toml"
    name = "Arches, paint and electrics by three different shops"
    file.write_text(file.read_text("utf-8").replace('name = "Mixed"', f'name = "{name}"'), "utf-8")
    app = run(file, "stand")
    assert name in app.sidebar.selectbox[0].options
    assert sidebar(app).count(name) == 1
    app.sidebar.selectbox[0].set_value("diy").run()
    assert sidebar(app).count(name) == 1  # as the plan that is not looked at
