"""Copies of a build: made by themselves, opened when they are made, and put back as it was."""

from __future__ import annotations

import datetime as dt
import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

from forecast.buildfile.changes import SetBuild
from forecast.buildfile.edit import edit_build
from forecast.errors import ForecastError, LedgerError
from forecast.ledger import backup
from forecast.ledger.attachments import attach_file, attachment_path
from forecast.ledger.backup import (
    KEPT,
    backups_of,
    copies,
    earlier_builds,
    find_copy,
    restore,
    verify,
    write_backup,
)
from forecast.ledger.folder import BuildFolder
from forecast.ledger.undoing import undo_last
from forecast.tables.files import STALE_SECONDS
from tests.ledger.test_exporting import BUILD

ROOT = Path(__file__).resolve().parents[2]
PHOTO = b"\xff\xd8\xff a photo"


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> BuildFolder:
    """A build with a little of everything, whose copy is made anew after every entry."""
    monkeypatch.setattr(backup, "_LEAST_SECONDS", 0.0)
    monkeypatch.setattr(backup, "_SECONDS_A_MEGABYTE", 0.0)
    home = tmp_path / "home"
    home.mkdir()
    (home / "build.toml").write_text(BUILD, encoding="utf-8")
    found = BuildFolder.at(home)
    ledger = found.ledger()
    agreed = ledger.add_commitment("2026-03-01", "Maker", "kit", 900, "EUR")
    ledger.add_receipt(
        "2026-03-02", "Maker", 100, "EUR", [("kit", 100)], kind="deposit", commitment_id=agreed.id
    )
    attach_file(ledger, 1, "photo.jpg", PHOTO)
    ledger.close_line("kit", "2026-03-05")
    undo_last(ledger)
    ledger.add_receipt("2026-03-01", "Shop", 50, "EUR", [("kit", 20), ("kit", 30)], "two\nlines")
    return found


def rows(folder: BuildFolder) -> dict[str, list[tuple[object, ...]]]:
    """Give every row of every table."""
    connection = sqlite3.connect(folder.receipts_db)
    try:
        names = [row[0] for row in connection.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")]
        return {name: connection.execute(f"SELECT * FROM {name} ORDER BY 1").fetchall() for name in names}
    finally:
        connection.close()


def lose(folder: BuildFolder) -> None:
    for ending in ("", "-wal", "-shm"):
        folder.receipts_db.with_name(f"receipts.db{ending}").unlink(missing_ok=True)


def empty(folder: BuildFolder) -> None:
    lose(folder)
    folder.receipts_db.touch()


def scribble(folder: BuildFolder) -> None:
    lose(folder)
    folder.receipts_db.write_bytes(b"no ledger any more " * 1000)


def alter(folder: BuildFolder, statement: str = "UPDATE split SET amount_minor = 5 WHERE id = 1") -> None:
    """Change a row behind the ledger's back, as another program could."""
    connection = sqlite3.connect(folder.receipts_db, isolation_level=None)
    table = statement.split()[1 if statement.startswith("UPDATE") else 2]
    connection.execute(f"DROP TRIGGER IF EXISTS {table}_no_update")
    connection.execute(f"DROP TRIGGER IF EXISTS {table}_no_delete")
    connection.execute(statement)
    connection.close()


def test_each_day_on_which_something_is_entered_leaves_a_copy_and_ten_are_kept(
    folder: BuildFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert [copy.name for copy in copies(folder)] == [dt.date.today().isoformat()]

    class Day(dt.date):
        days = 0

        @classmethod
        def today(cls) -> dt.date:
            return dt.date(2026, 6, 1) + dt.timedelta(days=cls.days)

    monkeypatch.setattr(backup.dt, "date", Day)
    for path in backups_of(folder).glob("*.zip"):
        path.unlink()
    for day in range(KEPT + 3):
        Day.days = day
        folder.ledger().add_receipt("2026-03-03", "Shop", 1, "EUR", [("kit", 1)])
        folder.ledger().add_receipt("2026-03-03", "Shop", 1, "EUR", [("kit", 1)])
    found = copies(folder)
    assert sorted(copy.name for copy in found) == [f"2026-06-{day:02d}" for day in range(4, 4 + KEPT)]
    assert sorted(copy.receipts or 0 for copy in found) == [2 + 2 * day for day in range(4, 4 + KEPT)]
    assert verify(folder).wrong == ()
    assert len(verify(folder).copies) == KEPT


def test_entering_is_not_kept_waiting_by_copies(folder: BuildFolder, monkeypatch: pytest.MonkeyPatch) -> None:
    """A copy that is younger than the size of the ledger asks for stays."""
    monkeypatch.setattr(backup, "_LEAST_SECONDS", 60.0)
    before = copies(folder)
    folder.ledger().add_receipt("2026-03-03", "Shop", 1, "EUR", [("kit", 1)])
    assert copies(folder) == before
    old = time.time() - 61
    os.utime(before[0].path, (old, old))
    folder.ledger().add_receipt("2026-03-03", "Shop", 1, "EUR", [("kit", 1)])
    assert copies(folder)[0].receipts == (before[0].receipts or 0) + 2


@pytest.mark.parametrize("harm", [lose, empty, scribble, alter])
def test_a_ledger_that_is_gone_or_damaged_is_said_to_be_and_put_back(
    folder: BuildFolder, harm: Callable[[BuildFolder], None]
) -> None:
    before, name = rows(folder), copies(folder)[0].name
    harm(folder)
    for look in (folder.ledger, folder.ledger_to_read):
        with pytest.raises(LedgerError) as told:
            look()
        words = {lose: "is gone", empty: "was emptied", scribble: "is damaged", alter: "its parts are 0.05"}
        assert words[harm] in str(told.value)
        if harm in (lose, empty):
            assert (
                f"holds 2 receipts. To put it back: forecast restore {folder.folder} {name} --ledger"
                in str(told.value)
            )
    assert verify(folder).wrong != ()
    (folder.folder / "build.toml").write_text(BUILD.replace("2500", "2600"), encoding="utf-8")
    done = restore(folder, find_copy(folder, name), build=False)
    assert (done.ledger, done.build, done.missing) == (True, False, ())
    assert rows(folder) == before
    assert "2600" in folder.build_file.read_text(encoding="utf-8")
    assert verify(folder).wrong == ()
    if harm in (scribble, alter):  # what was there is not thrown away
        assert done.before is not None
        assert done.before.exists()
    folder.ledger().add_receipt("2026-03-03", "Shop", 1, "EUR", [("kit", 1)])
    assert len(folder.ledger().list_receipts()) == 3


def test_restoring_can_be_taken_back(folder: BuildFolder) -> None:
    first = copies(folder)[0]
    kept = folder.folder.parent / "kept.zip"
    shutil.copyfile(first.path, kept)
    folder.ledger().close_line("kit", "2026-03-08")
    edit_build(folder.build_file, [SetBuild("budget", 7000)])
    before = rows(folder), folder.build_file.read_bytes()
    done = restore(folder, find_copy(folder, kept))
    assert folder.ledger().closed_lines() == frozenset()
    assert folder.build_file.read_text(encoding="utf-8") == BUILD
    assert done.before is not None
    restore(folder, find_copy(folder, done.before.stem))
    assert (rows(folder), folder.build_file.read_bytes()) == before


def test_a_backup_holds_all_and_makes_the_build_anew_elsewhere(folder: BuildFolder, tmp_path: Path) -> None:
    made = write_backup(folder, tmp_path / "kept.zip")
    assert (made.receipts, len(made.documents)) == (2, 1)
    with pytest.raises(LedgerError, match="is there already"):
        write_backup(folder, tmp_path / "kept.zip")
    before = rows(folder)
    shutil.rmtree(folder.folder)
    other = BuildFolder(tmp_path / "elsewhere" / "coupe" / "build.toml")
    done = restore(other, find_copy(other, tmp_path / "kept.zip"))
    assert (done.build, done.ledger, done.documents, done.before) == (True, True, 1, None)
    assert rows(other) == before
    assert other.read().name == "Coupe"
    ledger = other.ledger()
    assert attachment_path(ledger, ledger.attachments()[0]).read_bytes() == PHOTO
    assert verify(other).wrong == ()


def test_documents_are_kept_beside_the_copies_and_put_back(folder: BuildFolder) -> None:
    ledger = folder.ledger()
    path = attachment_path(ledger, ledger.attachments()[0])
    path.write_bytes(b"altered")
    assert "its content is not what was attached" in verify(folder).wrong[0]
    assert "forecast restore" in verify(folder).wrong[0]
    assert restore(folder, copies(folder)[0]).documents == 1
    assert path.read_bytes() == PHOTO
    shutil.rmtree(folder.folder / "attachments")
    shutil.rmtree(backups_of(folder) / "attachments")
    assert len(restore(folder, copies(folder)[0]).missing) == 1


@pytest.mark.parametrize(
    ("statement", "words"),
    [
        (
            "UPDATE split SET amount_minor = 5 WHERE id = 1",
            "receipt 1 of Maker, 2026-03-02: 1.00 EUR paid, but",
        ),
        ("UPDATE receipt SET note = 'x' WHERE id = 2", "table receipt, row 2: is not what was entered"),
        ("UPDATE commitment SET line_id = 'x'", "table commitment, row 1: is not what was entered"),
        ("DELETE FROM commitment", "table commitment, row 1: is gone"),
        ("INSERT INTO undone VALUES (99, 'x', 1, 'now', 'me')", ""),
    ],
)
def test_what_another_program_altered_is_named_row_by_row(
    folder: BuildFolder, statement: str, words: str
) -> None:
    assert folder.ledger().check() == ()
    alter(folder, statement)
    wrong = "\n".join(verify(folder).wrong)
    assert words in wrong
    assert bool(wrong) is bool(
        words
    )  # the last one is entered as the ledger would: with its line in the history


def test_a_receipt_that_was_altered_can_be_taken_back_to_go_on(folder: BuildFolder) -> None:
    alter(folder)
    with pytest.raises(LedgerError, match="nothing is added up"):
        folder.ledger()
    folder.ledger(anyway=True).void_receipt(1, "altered")
    assert folder.ledger().paid_by_line() == {"kit": 50}


def test_a_damaged_copy_is_refused_and_nothing_is_changed(folder: BuildFolder, tmp_path: Path) -> None:
    before = rows(folder), folder.build_file.read_bytes()
    whole = write_backup(folder, tmp_path / "kept.zip").path.read_bytes()
    cut, other, none = tmp_path / "cut.zip", tmp_path / "other.zip", tmp_path / "none.zip"
    cut.write_bytes(whole[: len(whole) // 2])
    with zipfile.ZipFile(tmp_path / "kept.zip") as source, zipfile.ZipFile(other, "w") as target:
        for name in source.namelist():
            content = source.read(name)
            target.writestr(name, content.replace(b"Coupe", b"Other") if name == "build.toml" else content)
    none.write_text("no archive", encoding="utf-8")
    for path in (cut, other, none):
        with pytest.raises(LedgerError, match=r"Nothing was changed\. Choose another one"):
            restore(folder, find_copy(folder, path))
    with pytest.raises(LedgerError, match=r"there is no such copy\. There are 2"):
        find_copy(folder, "yesterday")
    assert (rows(folder), folder.build_file.read_bytes()) == before
    harmed = copies(folder)[0].path
    harmed.write_bytes(harmed.read_bytes()[:-40])
    assert f"{harmed}: is no copy of a build, or is damaged" in verify(folder).wrong[0]


@pytest.mark.parametrize("name", ["../outside.toml", "/tmp/outside.toml", "attachments/../../outside"])
def test_a_copy_writes_nowhere_but_where_it_belongs(folder: BuildFolder, tmp_path: Path, name: str) -> None:
    bad = tmp_path / "bad.zip"
    with zipfile.ZipFile(bad, "w") as archive:
        archive.writestr(name, b"x")
        archive.writestr("copy.json", '{"made": "2026-01-01T00:00:00", "receipts": null, "documents": [], "files": {"'
                         + name + '": "' + "0" * 64 + '"}}')  # fmt: skip
    with pytest.raises(LedgerError, match="the copy is damaged"):
        restore(folder, find_copy(folder, bad))
    assert not (tmp_path / "outside.toml").exists()


def test_earlier_texts_of_the_build_file_are_kept_with_their_day(folder: BuildFolder) -> None:
    for budget in range(5000, 5025):
        edit_build(folder.build_file, [SetBuild("budget", budget)])
    found = earlier_builds(folder)
    assert len(found) == 20
    assert "budget = 5023" in found[0].path.read_text(encoding="utf-8")
    done = restore(folder, find_copy(folder, found[3].name))
    assert (done.build, done.ledger) == (True, False)
    assert folder.read().build.budget == 5020
    assert "budget = 5024" in earlier_builds(folder)[0].path.read_text(encoding="utf-8")


def test_builds_in_one_folder_have_copies_of_their_own(folder: BuildFolder) -> None:
    (folder.folder / "two.toml").write_text(BUILD, encoding="utf-8")
    two = BuildFolder(folder.folder / "two.toml")
    two.ledger().add_receipt("2026-03-03", "Shop", 7, "EUR", [("kit", 7)])
    assert [copy.receipts for copy in copies(two)] == [1]
    assert [copy.receipts for copy in copies(folder)] == [2]


def test_an_entry_does_not_fail_for_want_of_a_copy(folder: BuildFolder) -> None:
    shutil.rmtree(backups_of(folder))
    backups_of(folder).write_text("in the way", encoding="utf-8")
    folder.ledger().add_receipt("2026-03-03", "Shop", 7, "EUR", [("kit", 7)])
    assert len(folder.ledger().list_receipts()) == 3


def test_a_build_without_receipts_is_whole_and_has_none(tmp_path: Path) -> None:
    (tmp_path / "build.toml").write_text(BUILD, encoding="utf-8")
    found = verify(BuildFolder.at(tmp_path))
    assert (found.wrong, found.receipts, found.documents) == ((), 0, 0)


def test_what_killed_programs_left_is_swept(folder: BuildFolder) -> None:
    old = time.time() - STALE_SECONDS - 60
    places = [folder.folder, folder.folder / "attachments", backups_of(folder)]
    for place in places:
        (place / ".x-1.part").write_bytes(b"half")
        os.utime(place / ".x-1.part", (old, old))
    assert len(verify(folder).swept) == 3
    assert verify(folder).swept == ()


LOOP = """
import sys
from pathlib import Path
from forecast.watching import backup
from forecast.ledger.folder import BuildFolder
folder, one, two = BuildFolder.at(sys.argv[1]), Path(sys.argv[2]), Path(sys.argv[3])
print("ready", flush=True)
while True:
    for path in (one, two):
        backup.restore(folder, backup.find_copy(folder, path))
        backup.write_backup(folder, Path(sys.argv[4]), replace=True)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="sends a signal of POSIX")
def test_a_restore_that_is_killed_leaves_one_ledger_or_the_other(folder: BuildFolder, tmp_path: Path) -> None:
    one, two, out = tmp_path / "one.zip", tmp_path / "two.zip", tmp_path / "out.zip"
    write_backup(folder, one)
    states = [rows(folder)["receipt"]]
    for number in range(40):
        folder.ledger().add_receipt("2026-03-04", f"Shop {number}", 9, "EUR", [("kit", 9)])
    write_backup(folder, two)
    write_backup(folder, out)
    states.append(rows(folder)["receipt"])
    chance = random.Random(3)
    for _ in range(4):
        script = subprocess.Popen(
            [sys.executable, "-c", LOOP, str(folder.folder), str(one), str(two), str(out)], cwd=ROOT,
            stdout=subprocess.PIPE, text=True,
        )  # fmt: skip
        assert script.stdout is not None
        script.stdout.readline()
        time.sleep(chance.uniform(0.05, 1.0))
        script.send_signal(signal.SIGKILL)
        script.communicate()
        assert folder.ledger().check() == ()
        assert rows(folder)["receipt"] in states
        assert find_copy(folder, out).receipts in (2, 42)  # the backup is the one before or the new one
        with pytest.raises(ForecastError):
            find_copy(folder, "nothing")
    restore(folder, find_copy(folder, two))
    assert rows(folder)["receipt"] == states[1]
