"""Receipts of lines that were taken out of the build: they keep their names wherever they are told."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from forecast.ledger.folder import BuildFolder
from forecast.tables.files import keep_version
from tests.views.test_cli import BUILD, run

RIVETS = (
    '\n[[line]]\nid = "body_fasteners"\nname = "Rivets, bolts and washers"\ngroup = "hardware"\namount = 90\n'
)
NAME = "“Rivets, bolts and washers”"


@pytest.fixture
def paid(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Path:
    """Give a build of which a line was paid and is in it."""
    text = BUILD.replace("\n[scenario.diy]", f"{RIVETS}\n[scenario.diy]")
    (tmp_path / "build.toml").write_text(text, encoding="utf-8")
    add = ("receipt", "add", str(tmp_path), "--supplier", "A shop", "--amount", "95.60")
    run(capsys, *add, "--line", "body_fasteners")
    return tmp_path


def take_out(folder: Path) -> None:
    """Take the line out as the tray does: the text before it is kept."""
    keep_version(folder / "build.toml", BUILD.encode())
    (folder / "build.toml").write_text(BUILD, encoding="utf-8")


def test_a_line_that_was_taken_out_is_told_by_its_name_everywhere(
    paid: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    take_out(paid)
    assert "Rivets, bolts and washers" in run(capsys, "receipts", str(paid))
    watch = run(capsys, "watch", str(paid))
    assert f"{NAME} is taken out of the build; €95.60 was paid for it and counts." in watch
    assert "not in this scenario" not in watch
    for command in ("receipts", "watch", "moved", "history", "undo"):
        assert "body_fasteners" not in run(capsys, command, str(paid)), command


def test_a_frozen_budget_still_has_its_name(paid: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run(capsys, "freeze", str(paid), "--budget", "4000")
    take_out(paid)
    shutil.rmtree(paid / "backups")
    assert "Rivets, bolts and washers" in run(capsys, "receipts", str(paid))


def test_where_nothing_has_its_name_the_id_is_made_readable(
    paid: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (paid / "build.toml").write_text(BUILD, encoding="utf-8")
    assert "Body fasteners" in run(capsys, "receipts", str(paid))
    told = run(capsys, "watch", str(paid))
    assert "“Body fasteners” is taken out of the build; €95.60 was paid for it and counts." in told


def test_a_damaged_copy_keeps_no_older_one_from_being_read(
    paid: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    take_out(paid)
    keep_version(paid / "build.toml", b"")
    (sorted((paid / "backups").glob("*.toml"))[-1]).write_bytes(b"\xff[[")
    assert "Rivets, bolts and washers" in run(capsys, "receipts", str(paid))
    assert BuildFolder.at(paid).read().line
