"""``forecast add-lines``, and how a list's file is read."""

from __future__ import annotations

import json
from pathlib import Path

import openpyxl
import pytest

from forecast.buildfile.reader import read_build
from forecast.errors import BuildFileError
from forecast.views.cli import main
from forecast.views.listing_words import check_decided, open_list

BUILD = """\
# Mine.
[build]
name = "Coupe"
currency = "EUR"
country = "IE"

[[line]]
id = "kit"
group = "kit"
amount = 2500
"""
GERMAN = """\
Bezeichnung;Gruppe;Menge;Einheit;Preis
Spachtel für Türen;consumables;3,5;kg;12,90
Lackierer;finish;;;1.850,00
"""


@pytest.fixture
def build(tmp_path: Path) -> Path:
    (tmp_path / "car").mkdir()
    (tmp_path / "car" / "build.toml").write_text(BUILD, encoding="utf-8")
    return tmp_path / "car"


def write(tmp_path: Path, text: str, encoding: str = "utf-8") -> Path:
    file = tmp_path / "list.csv"
    file.write_bytes(text.encode(encoding))
    return file


def run(capsys: pytest.CaptureFixture[str], *arguments: str, expect: int = 0) -> str:
    code = main(arguments)
    captured = capsys.readouterr()
    assert code == expect, captured.err
    return captured.out if "--json" in arguments else captured.out + captured.err


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16"])
def test_encoding_delimiter_and_decimal_comma_are_recognised(tmp_path: Path, encoding: str) -> None:
    found = open_list(write(tmp_path, GERMAN, encoding), "EUR")
    assert (found.delimiter, found.decimal, found.open_decimal) == (";", ",", False)
    filler, paint = found.rows
    assert filler.name == "Spachtel für Türen"
    assert filler.table["quantity"] == {"value": 3.5, "unit": "kg"}
    assert filler.table["price"]["middle"] == 12.9
    assert paint.table["amount"]["middle"] == 1850


def test_a_spreadsheet_is_read_as_it_is(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    for row in (["My parts"], [], ["Name", "Low", "Likely", "High", "Chance"], ["Discs", 40, 60.5, 120, 0.5]):
        sheet.append(row)
    book.save(tmp_path / "list.xlsx")
    (row,) = open_list(tmp_path / "list.xlsx", "EUR").rows
    assert row.number == 4
    assert row.table["amount"] == {"low": 40, "middle": 60.5, "high": 120}
    assert row.table["chance"] == 0.5


def test_numbers_with_two_readings_are_asked_about(tmp_path: Path) -> None:
    file = write(tmp_path, "name,cost\nA,1.250\nB,3.000\n")
    found = open_list(file, "EUR")
    with pytest.raises(BuildFileError, match="Say which mark is the decimal one"):
        check_decided(found)
    decided = open_list(file, "EUR", decimal=",", known=True)
    check_decided(decided)
    assert [row.table["amount"] for row in decided.rows] == [1250, 3000]


def test_the_preview_changes_nothing(tmp_path: Path, build: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = run(capsys, "add-lines", str(build), str(write(tmp_path, GERMAN)))
    assert "2 of 2 rows would become lines." in text
    assert "decimal mark ','" in text
    assert "price of one from 'Preis'" in text
    assert "add --enter" in text
    assert (build / "build.toml").read_text(encoding="utf-8") == BUILD


def test_lines_are_added_and_the_rest_of_the_file_stays(
    tmp_path: Path, build: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    list_ = str(write(tmp_path, GERMAN))
    data = json.loads(run(capsys, "add-lines", str(build), list_, "--enter", "--known", "--json"))
    assert data["added"] == ["spachtel_fur_turen", "lackierer"]
    text = (build / "build.toml").read_text(encoding="utf-8")
    assert text.startswith(BUILD.rstrip("\n"))
    assert read_build(build).line[2].name == "Lackierer"
    again = run(capsys, "add-lines", str(build), list_, "--enter", expect=2)
    assert "2 mistakes" in again
    assert "'Lackierer' is in the build already" in again


def test_all_or_nothing(tmp_path: Path, build: Path, capsys: pytest.CaptureFixture[str]) -> None:
    list_ = str(write(tmp_path, "name,cost\nDiscs,60\nFilm,abc\n,5\n"))
    text = run(capsys, "add-lines", str(build), list_, "--enter", expect=2)
    assert "row 3, column 'cost': found 'abc'" in text
    assert "row 4, column 'name': is empty" in text
    assert (build / "build.toml").read_text(encoding="utf-8") == BUILD
    rows = json.loads(run(capsys, "add-lines", str(build), list_, "--json"))["rows"]
    assert [row["state"] for row in rows] == ["new", "bad", "bad"]
    run(capsys, "add-lines", str(build), list_, "--enter", "--leave-out", "3", "--leave-out", "4")
    assert [line.id for line in read_build(build).line] == ["kit", "discs"]


def test_a_list_makes_a_new_build(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    list_ = str(write(tmp_path, GERMAN))
    folder = str(tmp_path / "new")
    text = run(capsys, "add-lines", folder, list_, "--new", "--enter", expect=2)
    assert "currency: missing" in text
    assert "country: missing" in text
    new = ("--new", "--name", "Wide", "--currency", "EUR", "--country", "IE", "--enter")
    assert "2 lines are added" in run(capsys, "add-lines", folder, list_, *new)
    assert read_build(folder).name == "Wide"
    assert "Hold €" in run(capsys, "budget", folder, "--trials", "1024")
    assert "is there already" in run(capsys, "add-lines", folder, list_, *new, expect=2)


def test_columns_can_be_told(tmp_path: Path, build: Path, capsys: pytest.CaptureFixture[str]) -> None:
    list_ = str(write(tmp_path, "Thing,Name,Guess\nDiscs,Joe,60\n"))
    told = ("--column", "name=Thing", "--column", "middle=Guess", "--enter")
    text = run(capsys, "add-lines", str(build), list_, expect=2)
    assert "no row of headings" in text or "no column says what a line costs" in text
    run(capsys, "add-lines", str(build), list_, *told)
    assert read_build(build).line[1].name == "Discs"
    assert "write it as ROLE=HEADING" in run(
        capsys, "add-lines", str(build), list_, "--column", "name", expect=2
    )


def test_currency_and_country_are_not_taken_for_a_build_that_has_its_own(
    tmp_path: Path, build: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    list_ = str(write(tmp_path, GERMAN))
    assert "add --new" in run(capsys, "add-lines", str(build), list_, "--currency", "USD", expect=2)


def test_a_list_that_is_not_there_is_told(
    tmp_path: Path, build: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert "cannot be read" in run(capsys, "add-lines", str(build), str(tmp_path / "no.csv"), expect=2)
