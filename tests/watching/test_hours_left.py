"""Own hours fall as the builder says that work is done; a bill that is closed says nothing of the work."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from forecast.ledger.folder import BuildFolder
from forecast.views.cli import main
from forecast.views.sentences import hours_left_sentence
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
    assert f"To say what is done, by its name, such as: forecast close {where} fitting\n" in told
    said(capsys, "close", where, "fitting")
    watch = reforecast(folder.read(), folder.ledger(), trials=1024)
    trials = watch.now.trials
    left = trials.row("filler.own_hours") + trials.row("again.own_hours")
    assert np.allclose(watch.hours_left((0.5,))[0].value, np.median(left), atol=0.1)
    assert f"To say what is done, by its name, such as: forecast close {where} filler.own_hours\n" in said(
        capsys, "watch", where
    )
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
    assert f"To say what is done, by its name, such as: forecast close {where} filler.own_hours\n" in said(
        capsys, "watch", where
    )
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


LEARNT = (
    TEXT.replace('country = "IE"', 'country = "IE"\nestimating = 0.8')
    .replace("low = 300", "low = 3000")
    .replace("middle = 400, high = 600", "middle = 4000, high = 6000")
)


def hours_said(folder: BuildFolder, capsys: pytest.CaptureFixture[str]) -> str:
    told = said(capsys, "watch", str(folder.folder))
    return next(line for line in told.splitlines() if line.startswith("Own work: "))


def test_what_was_planned_stays_and_it_is_said_why_hours_look_otherwise_now(
    folder: BuildFolder, capsys: pytest.CaptureFixture[str]
) -> None:
    """It was said to be planned what the bills made of it, another sum after each, and nothing said why."""
    folder.build_file.write_text(LEARNT, encoding="utf-8")
    ledger = folder.ledger()
    planned = hours_said(folder, capsys).partition(" are planned")[0]
    assert planned == "Own work: 95 h"
    ledger.add_receipt("2026-03-01", "somebody", 650_000, "EUR", [("tyres", 650_000)])
    ledger.close_line("tyres", "2026-03-01")
    told = hours_said(folder, capsys)
    assert told.startswith(f"{planned} are planned in the middle, and none was said to be done.")
    now = reforecast(folder.read(), ledger).now.hours((0.5,))[0].value
    assert now > 100
    assert (
        f" By how your bills stand to your estimates, all of it looks like {5 * round(now / 5)} h now."
        in told
    )


def test_hours_that_moved_with_what_cannot_come_say_so(
    folder: BuildFolder, capsys: pytest.CaptureFixture[str]
) -> None:
    text = TEXT.replace("chance = 0.2", "chance = 0.8").replace("own_hours = 15", "own_hours = 60")
    folder.build_file.write_text(text, encoding="utf-8")
    before = hours_said(folder, capsys)
    assert "looks like" not in before
    said(capsys, "cannot-happen", str(folder.folder), "again")
    told = hours_said(folder, capsys)
    assert told.partition(" are planned")[0] == before.partition(" are planned")[0]
    assert " By what cannot come any more, all of it looks like 95 h now." in told


def test_a_move_of_hours_within_the_simulations_error_is_not_told(folder: BuildFolder) -> None:
    folder.ledger().add_receipt("2026-03-01", "somebody", 41_000, "EUR", [("tyres", 41_000)])
    watch = reforecast(folder.read(), folder.ledger(), trials=256)
    assert "looks like" not in hours_left_sentence(watch, "")
