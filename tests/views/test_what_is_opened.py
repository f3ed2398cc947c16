"""What is no plain file is opened by no command, and no ledger or copy leads one to another file."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import signal
import sqlite3
import sys
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from types import FrameType

import pytest

from forecast.errors import LedgerError
from forecast.ledger.attachments import attach_file, verify_attachments
from forecast.ledger.backup import find_copy, restore, verify, write_backup
from forecast.ledger.folder import DEMOS, BuildFolder
from forecast.views.cli import main

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="devices and pipes of POSIX")

SAID = "a device or a pipe, not a plain file"


class TooLong(BaseException):
    """It waits, or reads without end; no handler of errors catches this."""


@pytest.fixture(autouse=True)
def at_once() -> Iterator[None]:
    """Nothing here may take long: what waits for a pipe would wait for ever."""

    def stop(number: int, frame: FrameType | None) -> None:
        raise TooLong

    before = signal.signal(signal.SIGALRM, stop)
    signal.alarm(20)
    yield
    signal.alarm(0)
    signal.signal(signal.SIGALRM, before)


@pytest.fixture
def build(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> BuildFolder:
    """A build with receipts in its ledger."""
    monkeypatch.setenv("FORECAST_HOME", str(tmp_path / "user"))
    shutil.copytree(DEMOS / "half-way-new-zealand", tmp_path / "build")
    folder = BuildFolder.at(tmp_path / "build")
    folder.load()
    return folder


@pytest.fixture(params=["device", "pipe", "link to a device"])
def unfit(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    if request.param == "device":
        return Path("/dev/zero")
    path = tmp_path / "unfit.csv"
    if request.param == "pipe":
        os.mkfifo(path)
    else:
        path.symlink_to("/dev/zero")
    return path


def contents(folder: BuildFolder) -> dict[str, str]:
    return {
        str(path.relative_to(folder.folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.folder.rglob("*"))
        if path.is_file() and not path.name.endswith(("-wal", "-shm"))
    }


COMMANDS: dict[str, Callable[[str, str], list[str]]] = {
    "check": lambda build, unfit: ["check", unfit],
    "budget": lambda build, unfit: ["budget", unfit],
    "new": lambda build, unfit: ["new", f"{build}-new", "--answers", unfit],
    "attach": lambda build, unfit: ["receipt", "attach", build, "1", unfit],
    "import": lambda build, unfit: ["receipt", "import", build, unfit, "--source", "card"],
    "load": lambda build, unfit: ["receipt", "load", build, unfit],
    "statement": lambda build, unfit: ["statement", build, unfit],
    "add-lines": lambda build, unfit: ["add-lines", build, unfit],
    "restore": lambda build, unfit: ["restore", build, unfit],
    "app": lambda build, unfit: ["app", unfit],
}


@pytest.mark.parametrize("command", COMMANDS)
def test_a_file_that_is_none_is_refused_at_once_and_nothing_is_changed(
    command: str, build: BuildFolder, unfit: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = contents(build)
    # A build file with mistakes in it is an answer of 'check'.
    assert main(COMMANDS[command](str(build.folder), str(unfit))) == (1 if command == "check" else 2)
    said = "".join(capsys.readouterr())
    assert SAID in said
    assert str(unfit) in said
    assert "mistake here, not you" not in said
    assert contents(build) == before


@pytest.mark.parametrize("name", ["build.toml", "receipts.db", "receipts.db-wal"])
def test_a_pipe_in_the_place_of_a_builds_own_file_holds_nobody_up(
    build: BuildFolder, name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    for ending in ("-wal", "-shm"):
        build.receipts_db.with_name(build.receipts_db.name + ending).unlink(missing_ok=True)
    shutil.rmtree(build.folder / "backups", ignore_errors=True)
    place = build.folder / name
    place.unlink(missing_ok=True)
    os.mkfifo(place)
    assert main(["budget", str(build.folder)]) == 2
    said = capsys.readouterr().err
    assert SAID in said
    assert str(place) in said


def test_a_pipe_in_the_place_of_receipts_as_text_is_no_ledger(build: BuildFolder) -> None:
    shutil.rmtree(build.folder / "backups", ignore_errors=True)
    for path in build.folder.glob("receipts*"):
        path.unlink()
    os.mkfifo(build.receipts_csv)
    assert build.not_entered() is None


def test_lists_and_drafts_of_the_program_itself_hold_nobody_up(build: BuildFolder, tmp_path: Path) -> None:
    (tmp_path / "user").mkdir(exist_ok=True)
    (tmp_path / "user" / "recent.txt").unlink(missing_ok=True)
    os.mkfifo(tmp_path / "user" / "recent.txt")
    assert main(["demo"]) == 0


LEADS_AWAY = ("../../planted", "../../../planted", "{tmp}/planted", "ab" * 31 + "/x", "AB" * 32)
"""Never further than the test's own folder: a test that fails must not harm the machine it runs on."""


@pytest.mark.parametrize("leads", LEADS_AWAY)
def test_a_copy_that_names_a_place_outside_writes_nothing_there(
    build: BuildFolder, tmp_path: Path, leads: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    leads = leads.format(tmp=tmp_path)
    scratch = tmp_path / "scratch" / "deep" / "deeper"
    scratch.mkdir(parents=True)
    monkeypatch.setattr("tempfile.tempdir", str(scratch))
    copy = write_backup(build, tmp_path / "good.zip").path
    bad = tmp_path / "bad.zip"
    with zipfile.ZipFile(copy) as old, zipfile.ZipFile(bad, "w") as new:
        told = json.loads(old.read("copy.json"))
        told["files"][f"attachments/{leads}"] = leads
        told["documents"].append(leads)
        for name in old.namelist():
            new.writestr(name, json.dumps(told) if name == "copy.json" else old.read(name))
        new.writestr(f"attachments/{leads}", b"planted")
    before = sorted(tmp_path.rglob("*"))
    with pytest.raises(LedgerError, match="is no copy of a build, or is damaged"):
        restore(build, find_copy(build, bad))
    assert sorted(tmp_path.rglob("*")) == before


def test_a_ledger_that_names_another_file_as_its_document_gives_it_to_nobody(
    build: BuildFolder, tmp_path: Path
) -> None:
    secret = tmp_path / "secret"
    secret.write_text("not for anybody", encoding="utf-8")
    ledger = build.ledger()
    leads = "../../" + "/" * (64 - len("../../secret")) + "secret"
    assert len(leads) == 64
    connection = sqlite3.connect(build.receipts_db)
    connection.execute(
        "INSERT INTO attachment (receipt_id, sha256, name, size, recorded_at, who)"
        " SELECT receipt_id, ?, 'photo.jpg', 3, recorded_at, who FROM attachment"
        " UNION SELECT id, ?, 'photo.jpg', 3, recorded_at, who FROM receipt LIMIT 1",
        (leads, leads),
    )
    connection.commit()
    connection.close()
    with pytest.raises(LedgerError, match="names no document: another program altered this ledger"):
        write_backup(build, tmp_path / "out.zip")
    assert not (tmp_path / "out.zip").exists()
    (told,) = [one for one in verify_attachments(ledger) if "names no document" in one]
    assert "photo.jpg of receipt" in told
    assert any("names no document" in one for one in verify(build).wrong)


def test_a_document_of_any_size_of_a_photo_is_kept_and_a_larger_one_refused(
    build: BuildFolder, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("forecast.ledger.attachments.LARGEST_DOCUMENT", 20)
    photo = tmp_path / "photo.jpg"
    photo.write_bytes(b"\xff\xd8\xff" + b"0" * 17)
    ledger = build.ledger()
    assert attach_file(ledger, 1, photo).size == 20
    photo.write_bytes(b"\xff\xd8\xff" + b"0" * 18)
    with pytest.raises(LedgerError, match="larger than 20 bytes"):
        attach_file(ledger, 1, photo)
