"""Which way is the plan: every answer is of it, in the terminal and on the pages, until another is asked for."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from forecast.buildfile.reader import read_build
from forecast.ledger.folder import BuildFolder
from forecast.start import create_build, read_answers
from forecast.watching.reforecast import reforecast, scenario_in_force
from tests.views.test_cli import run

Capture = pytest.CaptureFixture[str]


@pytest.fixture
def folder(tmp_path: Path) -> str:
    create_build(tmp_path / "build", read_answers({"country": "NL", "origin": "GB", "paint": "shop"}))
    return str(tmp_path / "build")


def way_of(folder: str, capsys: Capture, *command: str) -> object:
    return json.loads(run(capsys, command[0], folder, *command[1:], "--json"))["scenario"]


def make_plan(folder: str, way: str) -> None:
    file = Path(folder) / "build.toml"
    text = file.read_text("utf-8")
    assert "\nway = " not in text
    file.write_text(text.replace("\ncurrency = ", f'\nway = "{way}"\ncurrency = ', 1), encoding="utf-8")


def test_every_answer_is_of_the_plan_that_the_file_names(folder: str, capsys: Capture) -> None:
    assert scenario_in_force(read_build(folder), None, None) == "mixed"  # the first
    make_plan(folder, "diy")
    assert way_of(folder, capsys, "budget") == "diy"
    assert way_of(folder, capsys, "budget", "--scenario", "mixed") == "mixed"
    assert ", All by yourself\n" in run(capsys, "budget", folder)


def test_what_is_opened_is_the_base_estimate_of_the_budget(folder: str, capsys: Capture) -> None:
    for way in ("mixed", "diy", "outsourced"):
        run(capsys, "freeze", folder, "--budget", "30000", "--scenario", way)
        opened = json.loads(run(capsys, "open", folder, "--json"))
        base = json.loads(run(capsys, "budget", folder, "--json"))["base_estimate"]
        assert opened["total"] == pytest.approx(base, abs=0.01), way


def test_a_budget_is_frozen_for_a_way_which_is_then_the_plan(folder: str, capsys: Capture) -> None:
    said = run(capsys, "freeze", folder, "--budget", "30000", "--scenario", "outsourced")
    assert "€30,000 for the way “All farmed out”. From now on the build is measured against it. It is" in said
    assert way_of(folder, capsys, "budget") == "outsourced"
    make_plan(folder, "diy")  # what the builder says afterwards
    assert way_of(folder, capsys, "budget") == "diy"
    run(capsys, "freeze", folder, "--budget", "30000")
    assert BuildFolder.at(folder).ledger().baseline().scenario == "diy"  # type: ignore[union-attr]
    run(capsys, "freeze", folder, "--budget", "30000", "--scenario", "mixed")
    assert way_of(folder, capsys, "budget") == "mixed"
    assert read_build(folder).build.way == "mixed"


def test_a_frozen_budget_is_as_often_enough_as_every_other_answer_says(folder: str, capsys: Capture) -> None:
    line = next(
        line.id for line in read_build(folder).line if line.route == "shop" and line.package == "paint"
    )
    run(capsys, "agreed", folder, line, "--amount", "9000", "--supplier", "Sprayer", "--sure")
    said = run(capsys, "freeze", folder, "--budget", "26000", "--scenario", "mixed")
    build, ledger = read_build(folder), BuildFolder.at(folder).ledger()
    over = reforecast(build, ledger).chance_of_overrun
    assert over is not None
    told = re.search(r"enough in (\d+) of 100", said)
    assert told is not None
    assert int(told[1]) == pytest.approx(100 * (1 - over.value), abs=0.51)


def test_a_plan_that_is_no_way_is_told(folder: str, capsys: Capture) -> None:
    make_plan(folder, "mixd")
    said = run(capsys, "check", folder, expect=1)
    assert "the build has no scenario 'mixd'. Did you mean 'mixed'?" in said
