"""What the terminal says of a word that is none of its commands, of quotes that are not there, and before it ends."""

from __future__ import annotations

from pathlib import Path

import pytest

from forecast.ledger.folder import BuildFolder
from forecast.views.cli import main
from forecast.words.money import hours

BUILD = """
[build]
name = "Small"
currency = "GBP"
country = "GB"

[[line]]
id = "paint"
name = "Paint"
group = "finish"
amount = { low = 100, high = 200 }
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> BuildFolder:
    monkeypatch.setenv("FORECAST_HOME", str(tmp_path / "home"))
    (tmp_path / "car").mkdir()
    (tmp_path / "car" / "build.toml").write_text(BUILD, encoding="utf-8")
    return BuildFolder.at(tmp_path / "car")


@pytest.mark.parametrize(
    ("written", "meant"), [("wach", "watch"), ("recipt", "receipt"), ("budgt", "budget")]
)
def test_a_slip_in_a_command_is_told_with_the_nearest_one(
    written: str, meant: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit):
        main([written])
    said = capsys.readouterr().err
    assert f"there is no command '{written}'. Did you mean '{meant}'?" in said
    assert "choose from" not in said


def test_a_word_like_no_command_is_told_without_all_of_them(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["xyzzy"])
    assert capsys.readouterr().err == (
        "forecast: there is no command 'xyzzy'. 'forecast --help' explains it.\n"
    )


def test_where_quotes_are_entered_is_said_before_how_options_are_written(
    folder: BuildFolder, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["quotes", str(folder.folder)]) == 2
    said = capsys.readouterr().err
    assert said.index("on the page The lines, under Add lines or quotes") < said.index("[[option]]")


def test_a_build_that_is_not_there_names_the_command_in_the_terminal_alone(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["budget", str(tmp_path / "none")]) == 2
    assert "To begin one there: 'forecast new'." in capsys.readouterr().err


@pytest.mark.parametrize("more", [[], ["--json"]])
def test_nothing_ends_unasked_where_nobody_sits(
    folder: BuildFolder, more: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert (
        main(["receipt", "add", str(folder.folder), "--line", "Paint", "--amount", "150", "--supplier", "X"])
        == 0
    )
    assert main(["finish", str(folder.folder), *more]) == 2
    assert "Is the build done? Nothing was entered. If it is, say so with --sure." in capsys.readouterr().err
    assert folder.ledger().closed_lines() == frozenset()
    assert main(["finish", str(folder.folder), "--sure", *more]) == 0
    assert folder.ledger().closed_lines() == {"paint"}
    assert main(["finish", str(folder.folder), *more]) == 0  # nothing is left to ask about


def test_fewer_hours_bear_the_minus_that_money_bears() -> None:
    assert hours(-4.2) == "−4\u00a0h"


def test_a_file_that_is_not_there_is_told_in_a_persons_words(
    folder: BuildFolder, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["statement", str(folder.folder), "none.csv"]) == 2
    said = capsys.readouterr().err
    assert "none.csv: cannot be read (there is no such file)." in said
    assert main(["watch", str(folder.folder), "--scenario", "nobody"]) == 2
    assert "Legal" not in capsys.readouterr().err
