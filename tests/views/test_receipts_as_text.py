"""Receipts that stand beside a build as text: read where something is asked, entered where the builder says so."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from forecast.ledger.folder import DEMOS, BuildFolder, open_demo
from tests.views.test_cli import BUILD, run

HALF_WAY = "half-way-new-zealand"
TEXT = "date,supplier,amount,line\n2026-03-01,The maker,2600.00,kit\n2026-03-04,Paint counter,61.50,filler\n"


@pytest.fixture
def beside(tmp_path: Path) -> Path:
    """Give a build with receipts as text and no ledger."""
    (tmp_path / "build.toml").write_text(BUILD, encoding="utf-8")
    (tmp_path / "receipts.csv").write_text(TEXT, encoding="utf-8")
    return tmp_path


def files(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir()}


@pytest.mark.parametrize(
    "command", [["watch"], ["receipts"], ["moved"], ["history"], ["earned"], ["agreed"], ["undo", "--look"]]
)
def test_an_answer_counts_them_and_leaves_no_file(
    beside: Path, command: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    said = run(capsys, command[0], str(beside), *command[1:])
    assert "receipts.csv: 2 receipts counted in this answer, and none entered yet." in said
    assert f"forecast receipt load {beside}" in said
    assert files(beside) == {"build.toml", "receipts.csv"}


def test_the_tracked_demo_answers_like_its_copy(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("FORECAST_HOME", str(tmp_path))
    before = files(DEMOS / HALF_WAY)
    tracked = json.loads(run_out(capsys, "watch", str(DEMOS / HALF_WAY)))
    assert tracked["paid"] == pytest.approx(21_106.37)  # the sum of its receipts.csv
    assert tracked == json.loads(run_out(capsys, "watch", str(open_demo(HALF_WAY).folder)))
    assert files(DEMOS / HALF_WAY) == before


def run_out(capsys: pytest.CaptureFixture[str], command: str, folder: str) -> str:
    """Run a command for programs: what is said to people besides goes elsewhere."""
    from forecast.views.cli import main

    assert main([command, folder, "--json"]) == 0
    return capsys.readouterr().out


def test_nothing_is_entered_that_would_hide_them(beside: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for command in (
        ("receipt", "add", str(beside), "--amount", "5", "--supplier", "x", "--line", "kit"),
        ("close", str(beside), "kit"),
        ("agreed", str(beside), "kit", "--amount", "5", "--supplier", "x"),
        ("freeze", str(beside), "--budget", "9000", "--trials", "64"),
    ):
        assert "its receipts are not entered yet" in run(capsys, *command, expect=2)
        assert "receipts.db" not in files(beside)


def test_loading_enters_them_once(beside: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert "2 receipts are new; the ledger holds 2." in run(capsys, "receipt", "load", str(beside))
    assert "0 receipts are new; the ledger holds 2." in run(capsys, "receipt", "load", str(beside))
    run(capsys, "receipt", "add", str(beside), "--amount", "5", "--supplier", "x", "--line", "kit")
    said = run(capsys, "receipts", str(beside))
    assert "3 receipts, €2,666.50 paid." in said
    assert "receipts.csv" not in said


def test_an_export_comes_back_in_another_folder(
    beside: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run(capsys, "receipt", "load", str(beside))
    run(capsys, "close", str(beside), "kit", "--date", "2026-03-05")
    run(capsys, "receipt", "export", str(beside), str(tmp_path / "kept.csv"))
    other = tmp_path / "other"
    other.mkdir()
    (other / "build.toml").write_text(BUILD, encoding="utf-8")
    run(capsys, "receipt", "load", str(other), str(tmp_path / "kept.csv"))
    old, new = BuildFolder.at(beside).ledger(), BuildFolder.at(other).ledger()
    assert new.paid_by_line() == old.paid_by_line() == {"kit": 260_000, "filler": 6_150}
    assert new.closed_lines() == old.closed_lines() == {"kit"}


def test_a_wrong_row_is_named_and_no_ledger_made(beside: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (beside / "receipts.csv").write_text(
        TEXT + "2026-03-05,x,many,kit\n2026-99-05,x,5,kit\n", encoding="utf-8"
    )
    for command in (("receipt", "load"), ("watch",)):
        said = run(capsys, *command, str(beside), expect=2)
        assert "row 4" in said
        assert "row 5" in said
        assert files(beside) == {"build.toml", "receipts.csv"}


def test_another_list_of_that_name_is_none_of_ours(beside: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (beside / "receipts.csv").write_text(
        "Booking date;Payee;Amount\n13.05.2026;Shop;-5,00\n", encoding="utf-8"
    )
    assert "receipts.csv" not in run(capsys, "watch", str(beside))
    run(capsys, "receipt", "add", str(beside), "--amount", "5", "--supplier", "x", "--line", "kit")
    assert "1 receipt, €5.00 paid." in run(capsys, "receipts", str(beside))


def test_looking_at_a_build_without_receipts_makes_no_ledger(
    beside: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (beside / "receipts.csv").unlink()
    run(capsys, "watch", str(beside))
    assert files(beside) == {"build.toml"}
