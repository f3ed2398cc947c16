"""Copies of a build on the command line."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from forecast.ledger.folder import BuildFolder
from tests.views.test_cli import BUILD, run


@pytest.fixture
def folder(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> str:
    home = tmp_path / "my build"
    home.mkdir()
    (home / "build.toml").write_text(BUILD, encoding="utf-8")
    run(capsys, "receipt", "add", str(home), "--amount", "100", "--supplier", "Shop", "--line", "kit")
    return str(home)


def test_a_ledger_that_was_deleted_is_never_a_new_one(
    folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert "All is whole: the build file, 1 receipt row by row" in run(capsys, "verify", folder)
    (Path(folder) / "receipts.db").unlink()
    for command in ("watch", "receipts", "moved", "history", "earned", "budget", "undo", "agreed"):
        assert "receipts.db: is gone. Its last copy, of" in run(capsys, command, folder, expect=2)
    assert not (Path(folder) / "receipts.db").exists()
    assert "1 thing is wrong" in run(capsys, "verify", folder, expect=1)
    (copy,) = json.loads(run(capsys, "restore", folder, "--json"))["copies"]
    assert "Holds" in (listed := run(capsys, "restore", folder))
    assert f"{copy['name']}" in listed
    assert "the build file, 1 receipt" in listed
    told = run(capsys, "restore", folder, copy["name"], "--ledger")
    assert "the ledger. The ledger holds 1 receipt." in told
    assert json.loads(run(capsys, "receipts", folder, "--json"))["count"] == 1


def test_a_backup_is_carried_elsewhere(
    folder: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    kept = str(tmp_path / "kept.zip")
    assert "It was opened again and is whole" in run(capsys, "backup", folder, kept)
    assert "is there already. Add --replace" in run(capsys, "backup", folder, kept, expect=2)
    run(capsys, "backup", folder, kept, "--replace")
    assert "is one of the build's own files" in run(
        capsys, "backup", folder, str(Path(folder) / "build.toml"), "--replace", expect=2
    )
    other = str(tmp_path / "other" / "build.toml")
    assert "Put back as of" in run(capsys, "restore", other, kept)
    assert len(BuildFolder.at(other).ledger().list_receipts()) == 1
    assert "there is no such copy" in run(capsys, "restore", folder, "yesterday", expect=2)
    assert "No copies yet" in run(capsys, "restore", str(tmp_path))
