"""Own hours fall as the builder says that work is done; a bill that is closed says nothing of the work."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from forecast.ledger.folder import BuildFolder
from forecast.views.cli import main
from forecast.watching.reforecast import reforecast
from forecast.watching.standing import Record

TEXT = """
[build]
name = "Hours"
currency = "EUR"
country = "IE"
[[line]]
id = "fitting"
group = "labour"
own_hours = { low = 20, middle = 30, high = 60 }
[[line]]
id = "filler"
name = "Filler"
group = "consumables"
amount = { low = 40, middle = 60, high = 100 }
own_hours = { low = 40, middle = 60, high = 90 }
[[line]]
id = "tyres"
group = "wheels"
amount = { low = 300, middle = 400, high = 600 }
[[event]]
id = "again"
chance = 0.2
own_hours = 15
"""


@pytest.fixture
def folder(tmp_path: Path) -> BuildFolder:
    Path(tmp_path, "build.toml").write_text(TEXT, encoding="utf-8")
    return BuildFolder.at(tmp_path)


def said(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    assert main([*words]) == 0
    return capsys.readouterr().out.replace("\u00a0", " ")


def test_hours_fall_by_those_of_work_that_is_done(
    folder: BuildFolder, capsys: pytest.CaptureFixture[str]
) -> None:
    where = str(folder.folder)
    folder.ledger().add_receipt("2026-03-01", "somebody", 7_000, "EUR", [("filler", 7_000)])
    said(capsys, "close", where, "filler")
    told = said(capsys, "watch", where, "--trials", "1024")
    assert "are planned in the middle, and none was said to be done." in told  # filler is bought, not worked
    assert f"To say what is done: forecast close {where} fitting\n" in told
    said(capsys, "close", where, "fitting")
    watch = reforecast(folder.read(), folder.ledger(), trials=1024)
    trials = watch.now.trials
    left = trials.row("filler.own_hours") + trials.row("again.own_hours")
    assert np.allclose(watch.hours_left((0.5,))[0].value, np.median(left), atol=0.1)
    assert f"To say what is done: forecast close {where} filler.own_hours\n" in said(capsys, "watch", where)
    told = said(capsys, "close", where, "filler.own_hours")
    assert "“Filler: own work” is done." in told
    assert "nothing more will be paid" not in told
    data = json.loads(said(capsys, "watch", where, "--json"))["own_hours"]
    assert data["left"]["P50"]["value"] == 0
    assert data["left"]["P90"]["value"] == 15  # what may have to be done again
    assert data["done"] == ["fitting.own_hours", "filler.own_hours"]
    said(capsys, "cannot-happen", where, "again")
    assert "planned is done." in said(capsys, "watch", where)
    said(capsys, "undo", where)
    said(capsys, "undo", where)
    assert "left in the middle" in said(capsys, "watch", where)


def test_work_alone_is_done_whether_its_line_or_its_hours_are_named(
    folder: BuildFolder, capsys: pytest.CaptureFixture[str]
) -> None:
    where = str(folder.folder)
    told = said(capsys, "close", where, "fitting.own_hours")
    assert "“Fitting” is done." in told
    assert "paid" not in told
    assert reforecast(folder.read(), folder.ledger(), trials=256).hours_done == ("fitting.own_hours",)
    assert f"To say what is done: forecast close {where} filler.own_hours\n" in said(capsys, "watch", where)
    assert "“Fitting” was closed already." in said(capsys, "close", where, "fitting")
    said(capsys, "reopen", where, "fitting.own_hours")
    assert reforecast(folder.read(), folder.ledger(), trials=256).hours_done == ()


def test_work_alone_that_a_ledger_has_under_its_hours_is_done(folder: BuildFolder) -> None:
    folder.ledger().close_line("fitting.own_hours", "2026-03-01")  # as commands kept it before
    assert reforecast(folder.read(), folder.ledger(), trials=256).hours_done == ("fitting.own_hours",)


def test_work_that_is_done_says_nothing_of_what_its_line_costs(folder: BuildFolder) -> None:
    folder.ledger().close_line("filler.own_hours", "2026-03-01")
    watch = reforecast(folder.read(), folder.ledger(), trials=1024)
    assert next(line for line in watch.lines if line.id == "filler").state == "untouched"
    assert Record.read(folder.ledger()).standing().begun == frozenset()
    assert watch.now.trials.totals.tolist() == watch.before.trials.totals.tolist()
