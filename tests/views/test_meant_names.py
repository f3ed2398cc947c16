"""Names as they are typed: of lines, those of the plan in force first; of ways, by what every answer calls them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from forecast.views.cli import main

BUILD = """
[build]
name = "Two ways"
currency = "GBP"
country = "GB"

[scenario.mixed]
name = "Mixed"
routes = { paint = "shop" }

[scenario.all_shop]
name = "All farmed out"
all = "shop"

[[line]]
id = "resin"
name = "Resin, mat and catalyst"
group = "consumables"
amount = { low = 80, high = 160 }

[[line]]
id = "shop_resin"
name = "Adhesive and resin, added to the shop's bill"
group = "labour"
package = "fitting"
route = "shop"
amount = { low = 100, high = 200 }

[[line]]
id = "fit"
name = "Fitting"
group = "labour"
package = "fitting"
route = "self"
amount = { low = 10, high = 20 }

[[line]]
id = "paint"
name = "Paint by a shop"
group = "labour"
package = "paint"
route = "shop"
amount = { low = 1000, high = 2000 }

[[line]]
id = "tape"
name = "Tape and paper"
group = "consumables"
amount = { low = 10, high = 20 }

[[line]]
id = "more_tape"
name = "Tape, fine"
group = "consumables"
amount = { low = 10, high = 20 }
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    monkeypatch.setenv("FORECAST_HOME", str(tmp_path / "home"))
    (tmp_path / "car").mkdir()
    (tmp_path / "car" / "build.toml").write_text(BUILD, encoding="utf-8")
    return str(tmp_path / "car")


def say(capsys: pytest.CaptureFixture[str], *arguments: str, expect: int = 0) -> str:
    code = main(list(arguments))
    told = capsys.readouterr()
    assert code == expect, told.err
    return told.out + told.err


def test_a_name_means_the_line_that_counts_in_the_plan(
    folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert "“Resin, mat and catalyst” is not needed" in say(capsys, "close", folder, "Resin")
    assert "can mean Tape and paper (tape); Tape, fine" in say(capsys, "close", folder, "Tape", expect=2)
    assert "added to the shop's bill” is not needed" in say(capsys, "close", folder, "Resin, added")
    say(capsys, "undo", folder)
    say(capsys, "undo", folder)
    say(capsys, "freeze", folder, "--budget", "5000", "--scenario", "all farmed out")
    said = say(capsys, "receipt", "add", folder, "--line", "Resin", "--amount", "90", "--supplier", "X", "--sure",
               expect=2)  # fmt: skip
    assert "Resin, mat and catalyst (resin); Adhesive and resin" in said  # both count there


@pytest.mark.parametrize("written", ["Mixed", "mixed", "MIXED"])
@pytest.mark.parametrize(
    "command", [["budget"], ["watch"], ["freeze", "--budget", "2000"], ["open"], ["advise"]]
)
def test_a_way_is_taken_by_what_it_is_called(
    folder: str, command: list[str], written: str, capsys: pytest.CaptureFixture[str]
) -> None:
    say(capsys, command[0], folder, *command[1:], "--scenario", written)


def test_ways_are_compared_by_what_they_are_called_and_one_that_is_not_there_is_told(
    folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    found = json.loads(say(capsys, "compare", folder, "Mixed", "All farmed out", "--json"))
    assert [item["id"] for item in found["scenarios"]] == ["mixed", "all_shop"]
    said = say(capsys, "budget", folder, "--scenario", "All farmd out", expect=2)
    assert "no scenario 'All farmd out'. Did you mean 'All farmed out'?" in said


def test_the_budget_is_headed_by_the_name_of_its_way(folder: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert "\nTwo ways, All farmed out\n" in say(capsys, "budget", folder, "--scenario", "all_shop")
