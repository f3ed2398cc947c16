"""Reading and writing files.

Read is only what is a plain file of a size that can be meant: a device or a pipe would never end, or never begin. What
is written is there whole or not at all, on the disk when it returns, and by one program at a time.
"""

from __future__ import annotations

import datetime as dt
import errno
import hashlib
import os
import re
import shutil
import stat
import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from io import BufferedReader
from pathlib import Path
from typing import IO

PASSING = ".part"
"""How the names of files end that are still being written."""
STALE_SECONDS = 3600.0
"""A passing file older than this was left by a program that was killed."""
LOCK_SECONDS = 60.0
"""How long a program waits for another one that writes the same file."""


class UnfitFileError(OSError):
    """A path that is no plain file, or one larger than anything meant.

    Attributes
    ----------
    strerror : str
        Which of them, in words.
    """

    strerror: str


_REASONS = {
    errno.ENOENT: "there is no such file",
    errno.EACCES: "you may not open it",
    errno.EPERM: "you may not open it",
    errno.EISDIR: "it is a folder",
    errno.ENOTDIR: "what stands before its name is no folder",
    errno.ENOSPC: "the disk is full",
    errno.EROFS: "nothing can be written on that disk",
    errno.ENAMETOOLONG: "its name is too long",
}
"""What a system says in its own words, as a person would say it."""


def why_not(error: OSError) -> str:
    """Say in words why a file could not be read or written."""
    said = error.strerror or str(error)
    return said if isinstance(error, UnfitFileError) else _REASONS.get(error.errno or 0, said)


def in_words(size: int) -> str:
    """Give a number of bytes as a person would write it, such as 5 MB."""
    for unit, name in ((1_000_000_000, "GB"), (1_000_000, "MB"), (1000, "kB")):
        if size >= unit:
            return f"{size / unit:.3g} {name}"
    return f"{size} bytes"


def open_regular(path: str | Path, limit: int | None = None) -> BufferedReader:
    """Open a plain file to read it; everything that reads a file of the builder's goes through this.

    Links are followed. It never waits: a pipe that nobody writes to would keep a program for ever, and a device such as
    ``/dev/zero`` has no end.

    Parameters
    ----------
    path : str or pathlib.Path
    limit : int, optional
        Bytes: a larger file is refused. Only what is read piece by piece does without.

    Raises
    ------
    UnfitFileError
        If it is no plain file, or too large.
    OSError
        If it is not there or may not be read.
    """
    name = os.fspath(path)
    _refuse_unfit(
        os.stat(name), name, limit
    )  # before it is opened: opening a device can already do something
    flags = os.O_RDONLY
    for flag in ("O_NONBLOCK", "O_NOCTTY", "O_CLOEXEC", "O_BINARY"):  # what there is of them on this system
        flags |= getattr(os, flag, 0)
    handle = os.open(name, flags)
    try:
        _refuse_unfit(os.fstat(handle), name, limit)  # another may have taken its place meanwhile
        return os.fdopen(handle, "rb")
    except BaseException:
        os.close(handle)
        raise


def read_regular(path: str | Path, limit: int) -> bytes:
    """Read all of a plain file; see `open_regular`.

    Parameters
    ----------
    path : str or pathlib.Path
    limit : int
        Bytes: a larger file is refused, and no more is ever read.
    """
    with open_regular(path, limit) as file:
        content = file.read(limit + 1)
    if len(content) > limit:  # it grew, or the system does not say how large it is
        raise _too_large(os.fspath(path), limit)
    return content


def check_regular(path: str | Path) -> None:
    """Refuse what is no plain file, without opening it: see `open_regular`. What is not there passes.

    For a file that another library opens. Opening and closing it here would take away the locks that SQLite holds.
    """
    with suppress(FileNotFoundError):
        _refuse_unfit(os.stat(path), os.fspath(path), None)


def _refuse_unfit(status: os.stat_result, name: str, limit: int | None) -> None:
    if stat.S_ISDIR(status.st_mode):
        raise UnfitFileError(errno.EISDIR, "a folder, not a file", name)
    if not stat.S_ISREG(status.st_mode):
        raise UnfitFileError(errno.EINVAL, "a device or a pipe, not a plain file", name)
    if limit is not None and status.st_size > limit:
        raise _too_large(name, limit)


def _too_large(name: str, limit: int) -> UnfitFileError:
    return UnfitFileError(errno.EFBIG, f"larger than {in_words(limit)}", name)


def write_file(target: Path, content: bytes | IO[bytes], *, replace: bool = True) -> None:
    """Write a file whole or not at all; once this returns it is on the disk under its name.

    It is written beside its place under a passing name and takes its own at the end. A link stays a link, and the
    permissions of a file that is replaced stay as they are.

    Parameters
    ----------
    target : pathlib.Path
    content : bytes or binary file
        A file is read to its end.
    replace : bool
        Without it a file that is there, or that appears meanwhile, is left alone.

    Raises
    ------
    FileExistsError
        If there is such a file and it is not to be replaced.
    OSError
        If it cannot be written; what was there before is there still.
    """
    target = target.resolve()
    sweep(target.parent)
    passing = target.parent / f".{target.name[:60]}-{uuid.uuid4().hex[:12]}{PASSING}"
    try:
        with passing.open("xb") as file:  # unlike a temporary file it gets the permissions of any new one
            if isinstance(content, bytes):
                file.write(content)
            else:
                shutil.copyfileobj(content, file, 1 << 20)
            file.flush()
            os.fsync(file.fileno())
        if replace:
            if target.exists():
                passing.chmod(target.stat().st_mode & 0o777)
            passing.replace(target)
        else:
            _take_free_name(passing, target)
    finally:
        passing.unlink(missing_ok=True)
    flush_folder(target.parent)


def _take_free_name(passing: Path, target: Path) -> None:
    """Give a finished file its name, and fail where the name was taken meanwhile."""
    try:
        os.link(passing, target)
    except FileExistsError:
        raise
    except OSError:  # a file system without hard links
        with target.open("xb"):
            pass
        passing.replace(target)


def flush_folder(folder: Path) -> None:
    """Make a new name safe against power loss; a system that cannot open folders keeps names by itself."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def sweep(folder: Path, older_than: float = STALE_SECONDS) -> tuple[Path, ...]:
    """Delete what killed programs left half-written in a folder, and give it.

    Parameters
    ----------
    folder : pathlib.Path
    older_than : float
        Seconds: a younger file may be one that is being written.
    """
    gone = []
    with os.scandir(folder) as entries:
        # Names that earlier versions gave are swept as well.
        stray = [
            Path(entry.path)
            for entry in entries
            if entry.name.startswith(".")
            and (entry.name.endswith(PASSING) or entry.name.startswith((".incoming-", ".export-")))
            and entry.is_file(follow_symlinks=False)
        ]
    for path in stray:
        try:
            if time.time() - path.stat().st_mtime >= older_than:
                path.unlink()
                gone.append(path)
        except OSError:  # another program sweeps too, or it is not ours to delete
            continue
    return tuple(gone)


LARGEST_TEXT = 1_000_000
"""Bytes; a build file beyond this is not one: a thousand lines with a paragraph each are half of it."""
VERSIONS = 20
"""Earlier texts of a build file that are kept."""
BACKUPS = "backups"
"""Folder beside a build file in which its earlier texts and copies stand."""


@dataclass(frozen=True)
class Version:
    """An earlier text of a build file.

    Attributes
    ----------
    path : pathlib.Path
    made : datetime.datetime
        When another text took its place; local time.
    next : str
        Begin of the hash of the text that took its place.
    undone : bool
        Whether it went when a change was undone, so that undoing again does not bring it back.
    """

    path: Path
    made: dt.datetime
    next: str
    undone: bool = False


def keep_version(file: Path, new: bytes, *, undone: bool = False) -> None:
    """Keep what stands in a build file before other text takes its place; the oldest of more than twenty goes.

    Parameters
    ----------
    file : pathlib.Path
    new : bytes
        What will stand there.
    undone : bool
        Whether what stands there goes because a change is undone.
    """
    target = file.resolve()
    folder = target.parent / BACKUPS
    folder.mkdir(exist_ok=True)
    stamp = dt.datetime.now().strftime(_STAMP)
    name = f"{target.stem}-{stamp}-{_short(new)}{'-undone' if undone else ''}.toml"
    with open_regular(target) as before:
        write_file(folder / name, before)
    for old in versions(file)[:-VERSIONS]:
        old.path.unlink(missing_ok=True)


def versions(file: Path) -> tuple[Version, ...]:
    """List the earlier texts of a build file, the oldest first."""
    target = file.resolve()
    found = []
    with suppress(OSError):
        for path in (target.parent / BACKUPS).glob("*.toml"):
            match = _VERSION.fullmatch(path.name)
            if match and match["stem"] == target.stem:
                made = dt.datetime.strptime(match["stamp"], _STAMP).astimezone()
                found.append(Version(path, made, match["next"], bool(match["undone"])))
    return tuple(sorted(found, key=lambda one: one.path.name))


def version_before(file: Path) -> Version | None:
    """Give the text that the last save took the place of; None where what stands there was written by other means."""
    last = next((one for one in reversed(versions(file)) if not one.undone), None)
    try:
        return last if last is not None and _short(read_regular(file, LARGEST_TEXT)) == last.next else None
    except OSError:
        return None


def _short(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()[:16]


_STAMP = "%Y-%m-%d-%H%M%S-%f"
_VERSION = re.compile(
    r"(?P<stem>.+)-(?P<stamp>\d{4}-\d\d-\d\d-\d{6}-\d{6})-(?P<next>[0-9a-f]{16})(?P<undone>-undone)?\.toml"
)


@contextmanager
def locked(path: Path, seconds: float = LOCK_SECONDS) -> Iterator[None]:
    """Let one program at a time read, compare and replace what belongs to a file.

    The lock is a file beside it, ``.NAME.lock``, which stays; the system gives the lock up when a program ends, however
    it ends. It must not be asked for again inside.

    Raises
    ------
    TimeoutError
        If another program keeps it longer than that.
    OSError
        If there is no writing in that folder.
    """
    from filelock import FileLock  # loaded late: most commands only read

    target = path.resolve()
    with FileLock(target.parent / f".{target.name}.lock", timeout=seconds, poll_interval=0.01):
        yield


def user_folder() -> Path:
    """Give the folder for a builder's own data; the environment variable FORECAST_HOME overrides it."""
    chosen = os.environ.get("FORECAST_HOME")
    if chosen:
        return Path(chosen)
    from platformdirs import user_data_path

    return user_data_path("forecast", appauthor=False)
