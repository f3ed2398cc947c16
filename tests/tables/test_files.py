"""Files are written whole or not at all, by one program at a time."""

from __future__ import annotations

import io
import os
import stat
import sys
import threading
import time
from pathlib import Path

import pytest

from forecast.tables.files import STALE_SECONDS, UnfitFileError, locked, read_regular, sweep, write_file

posix = pytest.mark.skipif(sys.platform == "win32", reason="permissions and links of POSIX")


def names(folder: Path) -> list[str]:
    return sorted(os.listdir(folder))


def test_a_file_is_replaced_whole_and_nothing_is_left_beside_it(tmp_path: Path) -> None:
    file = tmp_path / "a.csv"
    for content in (b"one", io.BytesIO(b"two, read from a file")):
        write_file(file, content)
    assert file.read_bytes() == b"two, read from a file"
    assert names(tmp_path) == ["a.csv"]


@posix
def test_links_and_permissions_stay_and_a_new_file_gets_the_usual_ones(tmp_path: Path) -> None:
    file, link = tmp_path / "a.csv", tmp_path / "link.csv"
    old = os.umask(0o027)
    try:
        write_file(file, b"one")
    finally:
        os.umask(old)
    assert stat.S_IMODE(file.stat().st_mode) == 0o640
    link.symlink_to(file)
    file.chmod(0o604)
    write_file(link, b"two")
    assert link.is_symlink()
    assert file.read_bytes() == b"two"
    assert stat.S_IMODE(file.stat().st_mode) == 0o604


def test_a_file_that_is_there_is_left_alone_where_it_is_not_to_be_replaced(tmp_path: Path) -> None:
    file = tmp_path / "a.csv"
    write_file(file, b"one", replace=False)
    with pytest.raises(FileExistsError):
        write_file(file, b"two", replace=False)
    assert file.read_bytes() == b"one"
    assert names(tmp_path) == ["a.csv"]


def test_a_disk_that_refuses_leaves_what_was_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = tmp_path / "a.csv"
    write_file(file, b"one")

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space left"):
        write_file(file, b"two")
    assert file.read_bytes() == b"one"
    assert names(tmp_path) == ["a.csv"]


@posix
def test_the_folder_is_synced_after_the_name_is_taken(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    synced: list[tuple[bool, bool]] = []
    fsync = os.fsync

    def noting(handle: int) -> None:
        synced.append((stat.S_ISDIR(os.fstat(handle).st_mode), (tmp_path / "a.csv").exists()))
        fsync(handle)

    monkeypatch.setattr(os, "fsync", noting)
    write_file(tmp_path / "a.csv", b"one")
    assert synced == [(False, False), (True, True)]


def test_what_killed_programs_left_is_swept_and_nothing_else(tmp_path: Path) -> None:
    old = time.time() - STALE_SECONDS - 60
    for name in (".a.csv-123.part", ".incoming-x", ".export-y", ".hidden", "b.part", ".young.part"):
        (tmp_path / name).write_bytes(b"half")
        if name != ".young.part":
            os.utime(tmp_path / name, (old, old))
    write_file(tmp_path / "a.csv", b"one")
    assert names(tmp_path) == [".hidden", ".young.part", "a.csv", "b.part"]
    assert sweep(tmp_path, 0) == (tmp_path / ".young.part",)


def test_one_waits_for_the_other_and_not_for_ever(tmp_path: Path) -> None:
    file = tmp_path / "a.csv"
    inside, seen = threading.Event(), []

    def hold() -> None:
        with locked(file):
            inside.set()
            time.sleep(0.3)
            seen.append("first")

    thread = threading.Thread(target=hold)
    thread.start()
    assert inside.wait(10)
    with pytest.raises(TimeoutError), locked(file, 0.05):
        pass
    with locked(file):
        seen.append("second")
    thread.join()
    assert seen == ["first", "second"]


@posix
def test_only_plain_files_are_read_and_nothing_waits(tmp_path: Path) -> None:
    pipe, plain, link = tmp_path / "pipe", tmp_path / "plain", tmp_path / "link"
    os.mkfifo(pipe)
    plain.write_bytes(b"12345")
    link.symlink_to(plain)
    assert read_regular(plain, 5) == read_regular(link, 5) == b"12345"
    for path, said in (
        (pipe, "a device or a pipe, not a plain file"),
        ("/dev/zero", "a device or a pipe, not a plain file"),
        (tmp_path, "a folder, not a file"),
        (plain, "larger than 4 bytes"),
    ):
        with pytest.raises(UnfitFileError) as raised:
            read_regular(path, 4)
        assert raised.value.strerror == said
        assert raised.value.filename == str(path)
    with pytest.raises(FileNotFoundError):
        read_regular(tmp_path / "none", 4)


@pytest.mark.skipif(not Path("/proc/self/maps").exists(), reason="a file whose size the system does not say")
def test_no_more_than_the_limit_is_read_of_a_file_that_does_not_say_its_size() -> None:
    assert Path("/proc/self/maps").stat().st_size == 0
    with pytest.raises(UnfitFileError, match="larger than 100 bytes"):
        read_regular("/proc/self/maps", 100)


@posix
def test_what_takes_the_place_of_a_file_meanwhile_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pipe, plain = tmp_path / "pipe", tmp_path / "plain"
    os.mkfifo(pipe)
    plain.write_bytes(b"1")
    real = os.open
    monkeypatch.setattr(os, "open", lambda path, flags: real(pipe, flags))
    with pytest.raises(UnfitFileError, match="a device or a pipe"):
        read_regular(plain, 5)
