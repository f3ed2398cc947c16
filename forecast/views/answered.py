"""Answers said before, said again while nothing that they follow from has changed.

Most of what a command takes goes into loading libraries and simulating what was simulated a minute ago. So the words of
the commands that only answer are kept in the builder's own folder, under a digest of all that they can follow from:
what was asked and from where, every file in the build's folder, rule files of the builder's own, the day, this machine,
its settings, this program and the libraries beside it. Wherever one of these cannot be told the answer is worked out.
What is kept is bounded, may be thrown away at any time, and is no reason for a command to fail.
"""

from __future__ import annotations

import hashlib
import json
import os
import sys
import time
from contextlib import suppress
from pathlib import Path

from forecast.tables.files import open_regular, read_regular, user_folder, write_file

# As `typing` has it, whose import would be a good part of what a kept answer takes.
TYPE_CHECKING = False

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from typing import Any, TextIO

ANSWERING = frozenset(
    {
        "advise", "afford", "budget", "check", "compare", "earned", "history", "landed", "mix", "moved", "open",
        "quotes", "watch",
    }
)  # fmt: skip
"""Commands that enter nothing and write no file."""

MOST_ANSWERS, MOST_BYTES = 100, 10_000_000
"""So many are kept, and so many bytes of them; those not asked for longest go first."""
_LARGEST_ANSWER = 2_000_000
_LARGEST_FILE = 64_000_000
_MOST_FILES = 2000
_READ = (".toml", ".csv", ".db", ".db-wal", ".db-journal")
"""What an answer is made of: the text of these files counts, not only their size and time."""
_SETTINGS = (
    "COLUMNS", "FORECAST_", "HOME", "LANG", "LC_", "LINES", "MKL", "NO_COLOR", "NPY", "OMP", "OPENBLAS", "PYTHON",
    "SCIPY", "SQLITE", "TERM", "TZ",
)  # fmt: skip


class _Unsure(Exception):
    """It cannot be told what an answer follows from."""


class _Heard:
    """Stands in for a stream, and notes what is written to it."""

    def __init__(self, name: str, stream: TextIO, said: list[tuple[str, str]]) -> None:
        self._name, self._stream, self._said = name, stream, said

    def write(self, text: str) -> int:
        written = self._stream.write(text)
        self._said.append((self._name, text))
        return written

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


def answer(arguments: Sequence[str], work: Callable[[Sequence[str]], int]) -> int:
    """Say what was said before, or work it out.

    Parameters
    ----------
    arguments : sequence of str
        As typed.
    work : callable
        Runs the command and gives its exit code.

    Returns
    -------
    int
        The exit code.
    """
    key = key_of(arguments)
    if key is None:
        return work(arguments)
    file = _folder() / f"{key}.json"
    if (kept := _kept(file)) is not None:
        for name, text in kept[0]:
            (sys.stdout if name == "out" else sys.stderr).write(text)
        with suppress(OSError):
            os.utime(file)
        return kept[1]
    said: list[tuple[str, str]] = []
    streams = sys.stdout, sys.stderr
    sys.stdout, sys.stderr = _Heard("out", sys.stdout, said), _Heard("err", sys.stderr, said)
    try:
        code = work(arguments)
    finally:
        sys.stdout, sys.stderr = streams
    if code in (0, 1) and key_of(arguments) == key:  # else something was written meanwhile
        _keep(file, said, code)
    return code


def key_of(arguments: Sequence[str]) -> str | None:
    """Give the digest of all that an answer follows from; None where there is any doubt, or nothing to keep."""
    if not arguments or arguments[0] not in ANSWERING or "_ARGCOMPLETE" in os.environ:
        return None
    try:
        builds = _builds(arguments[1:])
        digest = hashlib.sha256()
        for part in _circumstances(arguments):
            digest.update(f"{part}\0".encode("utf-8", "surrogatepass"))
        for folder in builds:
            digest.update(f"{folder}\0".encode("utf-8", "surrogatepass"))
            _add_tree(digest, folder)
    except (OSError, ValueError, _Unsure):
        return None
    return digest.hexdigest()


def _builds(words: Sequence[str]) -> list[Path]:
    """Give the folders of the builds that words may name: of one that is left out too."""
    folders: list[Path] = []
    for word in (".", *words):
        path = Path(word)
        if word.endswith(".toml") and path.is_file():
            folders.append(path.parent.resolve())
        elif (path / "build.toml").is_file():
            folders.append(path.resolve())
        elif word != "." and path.exists():
            raise _Unsure  # it may be meant as a file, and what is in it may count
    rules = os.environ.get("FORECAST_RULES", "").strip()
    if rules:
        folders.append(Path(rules).expanduser().resolve(strict=True))
    kept = _folder().resolve()
    if not folders or any(folder in (kept, *kept.parents) for folder in folders):
        raise _Unsure  # nothing is ever written into a build's folder
    return folders


def _circumstances(arguments: Sequence[str]) -> Iterator[object]:
    """Give what else an answer may follow from: the day, the machine, its settings, this program, its libraries."""
    yield from (len(arguments), *arguments, os.getcwd())
    yield from (time.strftime("%Y-%m-%d"), time.tzname, time.timezone, sys.version, sys.platform)
    yield from (*os.uname(),) if hasattr(os, "uname") else (os.environ.get("COMPUTERNAME"),)
    yield from (stream.isatty() for stream in (sys.stdin, sys.stdout, sys.stderr))
    yield from sorted(item for item in os.environ.items() if item[0].startswith(_SETTINGS))
    package = Path(__file__).parents[1]
    for name, status in _files(package):
        yield name, status.st_size, status.st_mtime_ns
    for folder in sys.path:
        if os.path.isdir(folder) and os.path.basename(folder) in ("site-packages", "dist-packages"):
            with os.scandir(folder) as entries:
                infos = [(entry.name, entry.stat().st_mtime_ns) for entry in entries if "-info" in entry.name]
            yield folder, sorted(infos)


def _add_tree(digest: hashlib._Hash, folder: Path) -> None:
    """Add every file of a folder by name, size and time, and by its text where an answer is made of that."""
    for name, status in _files(folder):
        digest.update(f"{name}\0{status.st_size}\0{status.st_mtime_ns}\0".encode("utf-8", "surrogatepass"))
        if "/" not in name and name.endswith(_READ):
            if status.st_size > _LARGEST_FILE:
                raise _Unsure
            with open_regular(folder / name, _LARGEST_FILE) as file:
                digest.update(hashlib.file_digest(file, "sha256").digest())


def _files(folder: Path) -> list[tuple[str, os.stat_result]]:
    """List what stands in a folder, whatever the order in which the system gives it, without Python's own files."""
    found: list[tuple[str, os.stat_result]] = []
    todo = [("", os.fspath(folder))]
    while todo:
        above, place = todo.pop()
        with os.scandir(place) as entries:
            for entry in entries:
                if entry.name == "__pycache__":
                    continue
                name = f"{above}{entry.name}"
                if entry.is_dir():
                    todo.append((f"{name}/", entry.path))
                found.append((name, entry.stat()))
                if len(found) > _MOST_FILES:
                    raise _Unsure
    return sorted(found, key=lambda item: item[0])


def _folder() -> Path:
    return user_folder() / "answers"


def _digest(said: object, code: int) -> str:
    return hashlib.sha256(json.dumps([said, code]).encode()).hexdigest()


def _kept(file: Path) -> tuple[list[tuple[str, str]], int] | None:
    """Read an answer that was kept; None where there is none, or it is damaged."""
    try:
        read = json.loads(read_regular(file, 2 * _LARGEST_ANSWER))
        said, code, whole = read["said"], read["code"], read["whole"]
        if whole != _digest(said, code):
            return None
        return [(name, text) for name, text in said], int(code)
    except (OSError, ValueError, KeyError, TypeError):
        return None


def _keep(file: Path, said: list[tuple[str, str]], code: int) -> None:
    """Keep an answer, where that can be done, and let go of the oldest."""
    if sum(len(text) for _, text in said) > _LARGEST_ANSWER:
        return
    text = json.dumps({"said": said, "code": code, "whole": _digest(said, code)})
    with suppress(OSError):
        file.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        write_file(file, text.encode())
        _sweep(file.parent)


def _sweep(folder: Path) -> None:
    with os.scandir(folder) as entries:
        kept = sorted(
            ((entry.stat(), entry.path) for entry in entries), key=lambda item: -item[0].st_mtime_ns
        )
    size = 0
    for place, (status, path) in enumerate(kept):
        size += status.st_size
        if place >= MOST_ANSWERS or size > MOST_BYTES:
            os.unlink(path)
