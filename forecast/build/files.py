"""Writing files: whole or not at all, on the disk when it returns, and one program at a time."""

from __future__ import annotations

import datetime as dt
import hashlib
import os
import re
import shutil
import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import IO

PASSING = ".part"
"""How the names of files end that are still being written."""
STALE_SECONDS = 3600.0
"""A passing file older than this was left by a program that was killed."""
LOCK_SECONDS = 60.0
"""How long a program waits for another one that writes the same file."""


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
    write_file(folder / name, target.read_bytes())
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
        return last if last is not None and _short(file.read_bytes()) == last.next else None
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
