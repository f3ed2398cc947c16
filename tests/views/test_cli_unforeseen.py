"""A bill that nobody told of: it is entered on a line of its own in one go, and counts as what was in no estimate."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import pytest

from forecast.views.cli import main
from forecast.views.commands import common, receipt_add

BUILD = """
[build]
name = "Bills"
currency = "EUR"
country = "IE"
[[line]]
id = "tyres"
group = "wheels"
amount = { low = 300, middle = 400, high = 600 }
# kept
"""


@pytest.fixture
def folder(tmp_path: Path) -> str:
    Path(tmp_path, "build.toml").write_text(BUILD, encoding="utf-8")
    return str(tmp_path)


def run(capsys: pytest.CaptureFixture[str], *words: str, fails: bool = False) -> str:
    assert main([*words]) == (2 if fails else 0)
    printed = capsys.readouterr()
    return (printed.err if fails else printed.out).replace("\u00a0", " ")


def enter(folder: str, name: str = "Port bill") -> list[str]:
    return [
        "receipt",
        "add",
        folder,
        "--amount",
        "185",
        "--supplier",
        "Port",
        "--line",
        name,
        "--date",
        "2026-06-29",
    ]


def lines(folder: str) -> list[dict[str, object]]:
    return list(tomllib.loads(Path(folder, "build.toml").read_text(encoding="utf-8"))["line"])


def test_what_is_for_no_line_says_how_to_enter_it_all_the_same(
    folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    told = run(capsys, *enter(folder), fails=True)
    assert "there is no line or event 'Port bill' in the build." in told
    assert "With --new-line it gets a line of its own." in told
    assert len(lines(folder)) == 1


def test_a_new_line_is_written_and_paid_in_one_go(folder: str, capsys: pytest.CaptureFixture[str]) -> None:
    told = run(capsys, *enter(folder), "--new-line=import", "--all")
    assert "New in the build file: “Port bill”." in told
    assert "€185.00" in told
    assert "# kept" in Path(folder, "build.toml").read_text(encoding="utf-8")
    added = lines(folder)[1]
    assert (added["id"], added["name"], added["group"], added["amount"]) == (
        "port_bill",
        "Port bill",
        "import",
        0,
    )
    run(capsys, *enter(folder), "--new-line", "--sure")  # it is there by now
    assert len(lines(folder)) == 2
    parts = {part["kind"]: part for part in json.loads(run(capsys, "moved", folder, "--json"))["parts"]}
    assert parts["scope added"]["change"]["P80"]["value"] == 370
    assert [title for _, title in parts["scope added"]["because"]] == ["Port bill"]
    assert parts["receipts"]["change"]["P80"]["value"] == 0
    assert "stated range" not in run(capsys, "watch", folder)


def test_who_sits_there_is_asked(
    folder: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    for module in (common, receipt_add):
        monkeypatch.setattr(module, "somebody_there", lambda: True)
    monkeypatch.setattr("builtins.input", lambda: "n")
    run(capsys, *enter(folder), fails=True)
    assert len(lines(folder)) == 1
    monkeypatch.setattr("builtins.input", lambda: "y")
    told = run(capsys, *enter(folder))
    assert "New in the build file: “Port bill”." in told


def test_a_bill_called_as_a_line_that_stands_open_is_asked_about_and_both_ways_are_named(
    folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    bill = enter(folder, "Tyres and skip hire")
    told = run(capsys, *bill, "--new-line", fails=True)
    assert "“Tyres and skip hire” sounds like “Tyres”, which stands open and unpaid" in told
    assert "Is that meant? Nothing was entered. If it is, say so with --sure." in told
    assert told.endswith("To enter it there, without --new-line: --line tyres\n")
    assert len(lines(folder)) == 1
    assert "No receipts yet" in run(capsys, "receipts", folder)
    run(capsys, *bill, "--new-line", "--sure")
    assert len(lines(folder)) == 2


def test_a_receipt_that_is_refused_leaves_the_build_file_alone(
    folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    run(capsys, *enter(folder), "--new-line=nothing", fails=True)
    run(capsys, *enter(folder), "--new-line", "--charged", "12", "--line", "tyres", fails=True)
    assert len(lines(folder)) == 1
    run(capsys, *enter(folder), "--new-line")
    assert lines(folder)[1]["group"] == "other"


def test_what_nobody_foresaw_is_named_at_the_end_the_dearest_first(
    folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """It counted in no number of lines, and stood nowhere where estimates are judged."""
    run(capsys, *enter(folder), "--new-line", "--all")
    assert "Not foreseen: “Port bill”, €185." in run(capsys, "watch", folder)
    dear = ["--amount", "240.50", "--supplier", "Skips", "--line", "Skip hire", "--date", "2026-06-30"]
    run(capsys, "receipt", "add", folder, *dear, "--new-line")
    said = "Not foreseen: “Skip hire”, €240.50; “Port bill”, €185. That makes €425.50 in 2 lines."
    told = run(capsys, "watch", folder)
    assert said in told
    row = next(line for line in told.splitlines() if line.startswith("Skip hire"))
    assert " not foreseen " in row
    assert row.endswith("+€240.50")
    tyres = ["--amount", "410", "--supplier", "Tyres", "--line", "tyres", "--date", "2026-07-01"]
    run(capsys, "receipt", "add", folder, *tyres)
    told = run(capsys, "finish", folder, "--sure")
    assert said in told
    assert "2 lines that were open are closed" in told  # the tyres and the skip; the port's bill was all
    reasons = json.loads(run(capsys, "watch", folder, "--json"))["reasons"]
    assert {one["id"]: one["kind"] for one in reasons} == {
        "skip_hire": "outside",
        "port_bill": "outside",
        "tyres": "paid",
    }
