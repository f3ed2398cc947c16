"""What is written where the builder says never falls on a build's own files."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from forecast.errors import LedgerError
from forecast.ledger.attachments import attach_file
from forecast.ledger.folder import BuildFolder

BUILD = """[build]
name = "Coupe"
currency = "EUR"
country = "IE"
[[line]]
id = "kit"
group = "kit"
amount = 2500
"""


@pytest.fixture
def folder(tmp_path: Path) -> BuildFolder:
    home = tmp_path / "home"
    home.mkdir()
    (home / "build.toml").write_text(BUILD, encoding="utf-8")
    found = BuildFolder.at(home)
    ledger = found.ledger()
    ledger.add_receipt("2026-03-02", "Maker", 100, "EUR", [("kit", 100)])
    attach_file(ledger, 1, "photo.jpg", b"\xff\xd8\xff a photo")
    return found


def content(home: Path) -> dict[str, bytes]:
    return {str(path.relative_to(home)): path.read_bytes() for path in home.rglob("*") if path.is_file()}


def linked(make: Callable[[Path, Path], None], what: str) -> Callable[[Path], Path]:
    def target(home: Path) -> Path:
        make(home / what, home.parent / "out.csv")
        return home.parent / "out.csv"

    return target


def photo(home: Path) -> Path:
    return next(path for path in (home / "attachments").rglob("*") if path.is_file())


def soft(own: Path, link: Path) -> None:
    link.symlink_to(own)


OWN: dict[str, Callable[[Path], Path]] = {
    "the build file": lambda home: home / "build.toml",
    "the ledger": lambda home: home / "receipts.db",
    "its log, not there yet": lambda home: home / "receipts.db-wal",
    "another spelling": lambda home: home / ".." / home.name / "." / "BUILD.toml",
    "the ledger of a build beside it": lambda home: home / "two-receipts.db",
    "a document": photo,
    "a new file among documents": lambda home: home / "attachments" / "out.csv",
    "a new file among copies": lambda home: home / "backups" / "out.csv",
    "a link to the build file": linked(soft, "build.toml"),
    "a link to what is not there yet": linked(soft, "receipts.db-journal"),
    "a hard link to the ledger": linked(os.link, "receipts.db"),
    "a hard link to the build file": linked(os.link, "build.toml"),
}


@pytest.mark.skipif(sys.platform == "win32", reason="links need rights of their own there")
@pytest.mark.parametrize("own", OWN.values(), ids=OWN)
@pytest.mark.parametrize("replace", [False, True])
def test_own_files_are_never_written_over(
    folder: BuildFolder, own: Callable[[Path], Path], replace: bool
) -> None:
    before = content(folder.folder)
    with pytest.raises(
        LedgerError, match=r"is one of the build's own files or stands among them\. Nothing was"
    ):
        folder.export(own(folder.folder), b"receipts", replace=replace)
    assert content(folder.folder) == before


def test_a_file_that_is_there_is_replaced_only_when_that_is_asked_for(
    folder: BuildFolder, tmp_path: Path
) -> None:
    target = tmp_path / "out.csv"
    assert folder.export(target, b"one") == target.resolve()
    with pytest.raises(LedgerError, match=r"out\.csv: is there already\. Add --replace to write over it"):
        folder.export(target, b"two")
    assert target.read_bytes() == b"one"
    folder.export(target, b"two", replace=True)
    assert target.read_bytes() == b"two"
    assert folder.export(folder.folder / "receipts.csv", b"in the build's folder").exists()


def test_other_builds_folders_and_devices_are_refused(folder: BuildFolder, tmp_path: Path) -> None:
    other = tmp_path / "other"
    other.mkdir()
    (other / "build.toml").write_text(BUILD, encoding="utf-8")
    BuildFolder.at(other).ledger().close_line("kit")
    for name in ("build.toml", "receipts.db"):
        with pytest.raises(LedgerError, match="is a build file or a ledger of some build"):
            folder.export(other / name, b"receipts", replace=True)
    with pytest.raises(LedgerError, match=r"is a folder\. Give the name of the file"):
        folder.export(other, b"receipts", replace=True)
    with pytest.raises(LedgerError, match=r"cannot be written \(there is no such file\)"):
        folder.export(tmp_path / "nowhere" / "out.csv", b"receipts")
    if sys.platform != "win32":
        with pytest.raises(LedgerError, match="is no plain file"):
            folder.export("/dev/null", b"receipts", replace=True)
