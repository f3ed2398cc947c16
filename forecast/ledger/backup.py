"""Copies of a build, and putting one back: the build file, the ledger and its documents.

A copy is one ZIP file, which any computer opens: ``build.toml``, ``receipts.db``, documents under ``attachments/`` and
``copy.json``, which says what is in it and the hash of each. Those that are made by themselves, one for each day on
which something is entered, stand in the folder ``backups`` beside the build; they hold no documents, which are kept
there once for all. Every copy is opened and checked when it is made, and again before anything of it is put back.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import re
import shutil
import tempfile
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from forecast.errors import ForecastError, LedgerError
from forecast.ledger import Ledger, let_go
from forecast.ledger.attachments import FOLDER, complaint_of, folder_of, place_of, verify_attachments
from forecast.ledger.folder import BuildFolder
from forecast.tables.files import (
    BACKUPS,
    LARGEST_TEXT,
    UnfitFileError,
    in_words,
    keep_version,
    locked,
    open_regular,
    read_regular,
    sweep,
    versions,
    write_file,
)
from forecast.words.day_words import short_moment

KEPT = 10
"""Copies that are kept of those made by themselves."""
_SECONDS_A_MEGABYTE = 30.0
"""Today's copy is made anew after so long for each megabyte of the ledger: entering is never kept waiting."""
_LEAST_SECONDS = 2.0
_MOST_DOCUMENTS = 50_000_000
"""Bytes of documents copied after one entry; the rest follow after the next ones."""
_UNPACKED, _PACKED_AT_MOST = 100_000_000, 100
"""Bytes that any copy may come to unpacked, and how many times its own size a larger one may."""
_CONTENTS = "copy.json"
_BUILD, _LEDGER = "build.toml", "receipts.db"


@dataclass(frozen=True)
class Copy:
    """A copy of a build, or an earlier text of its file.

    Attributes
    ----------
    path : pathlib.Path
    made : datetime.datetime
        In local time.
    receipts : int or None
        How many its ledger holds; None where it has no ledger.
    documents : tuple of str
        Hashes of the documents that belong to it.
    only_build : bool
        Whether it is a build file alone.
    """

    path: Path
    made: dt.datetime
    receipts: int | None
    documents: tuple[str, ...] = ()
    only_build: bool = False

    @property
    def name(self) -> str:
        """By which it can be asked for."""
        return self.path.stem


@dataclass(frozen=True)
class Restored:
    """What was put back.

    Attributes
    ----------
    copy : Copy
    build, ledger : bool
    documents : int
        That were missing or damaged.
    before : pathlib.Path or None
        A copy of how all stood before; None where there was nothing.
    missing : tuple of str
        Documents that stand nowhere any more.
    """

    copy: Copy
    build: bool
    ledger: bool
    documents: int
    before: Path | None
    missing: tuple[str, ...]


def backups_of(folder: BuildFolder) -> Path:
    """Give the folder of the copies that are made by themselves, whether or not it exists yet."""
    return folder.folder / BACKUPS


def copies(folder: BuildFolder) -> tuple[Copy, ...]:
    """List the copies made by themselves that can be read, the newest first."""
    found = []
    for path in _files(folder):
        with suppress(ForecastError):
            found.append(_read_contents(path)[0])
    return tuple(sorted(found, key=lambda copy: copy.made, reverse=True))


def _files(folder: BuildFolder, kind: str = "(before-)?") -> list[Path]:
    """List the files of copies made by themselves, the oldest first; those of builds beside it are not among them."""
    name = re.compile(re.escape(_prefix(folder)) + kind + r"\d{4}-\d\d-\d\d(-\d{6}-\d{6})?\.zip")
    with suppress(OSError):
        return sorted(path for path in backups_of(folder).iterdir() if name.fullmatch(path.name))
    return []


def earlier_builds(folder: BuildFolder) -> tuple[Copy, ...]:
    """List the earlier texts of the build file, the newest first."""
    return tuple(Copy(one.path, one.made, None, (), True) for one in reversed(versions(folder.build_file)))


def write_backup(folder: BuildFolder, target: str | Path, *, replace: bool = False) -> Copy:
    """Write a copy of all that belongs to a build, documents as well, where the builder says; and open it again.

    Raises
    ------
    ForecastError
        If something of the build cannot be read, or the copy cannot be written or does not open.
    """
    with tempfile.TemporaryDirectory(prefix="forecast-") as scratch:
        draft = Path(scratch) / "copy.zip"
        with locked_folder(folder):
            _pack(folder, draft, documents=True)
        _must_open(draft)
        with open_regular(draft) as file:
            path = folder.export(target, file, replace=replace)
    return _must_open(path)


def keep_copy(folder: BuildFolder) -> None:
    """Make today's copy, or make it anew where it is old; never a reason for an entry to fail.

    What goes wrong here is told by `verify`, which says of when the newest copy is.
    """
    with suppress(ForecastError, OSError):
        made = backups_of(folder) / f"{_prefix(folder)}{dt.date.today().isoformat()}.zip"
        if made.exists() and not _is_due(folder, made):
            return
        ledger = Ledger(folder.receipts_db)
        if all(change.table == "setting" for change in ledger.recent(2)):
            return
        with locked_folder(folder):
            if made.exists() and not _is_due(folder, made):
                return  # another program made it meanwhile
            _keep(folder, made)
            _keep_documents(folder, ledger)
            for old in [*_files(folder, "")[:-KEPT], *_files(folder, "before-")[:-KEPT]]:
                old.unlink()


def _is_due(folder: BuildFolder, made: Path) -> bool:
    age = dt.datetime.now().timestamp() - made.stat().st_mtime
    size = folder.receipts_db.stat().st_size / 1e6
    return not 0 <= age < max(_LEAST_SECONDS, _SECONDS_A_MEGABYTE * size)


def _keep(folder: BuildFolder, target: Path) -> None:
    """Write a copy without documents, and only take its name when it opens."""
    target.parent.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory(prefix="forecast-") as scratch:
        draft = Path(scratch) / "copy.zip"
        _pack(folder, draft, documents=False)
        _must_open(draft)
        with open_regular(draft) as file:
            write_file(target, file)


def _keep_documents(folder: BuildFolder, ledger: Ledger) -> None:
    """Keep each document once beside the copies."""
    done = 0
    for sha256 in dict.fromkeys(item.sha256 for item in ledger.attachments()):
        kept, original = place_of(_kept_documents(folder), sha256), place_of(folder_of(ledger), sha256)
        if kept.exists() or not original.exists():
            continue
        kept.parent.mkdir(parents=True, exist_ok=True)
        with open_regular(original) as file:
            write_file(kept, file)
        done += original.stat().st_size
        if done > _MOST_DOCUMENTS:
            return


def _kept_documents(folder: BuildFolder) -> Path:
    return backups_of(folder) / FOLDER


def _prefix(folder: BuildFolder) -> str:
    return folder.receipts_db.name.removesuffix("receipts.db")


@contextmanager
def locked_folder(folder: BuildFolder) -> Iterator[None]:
    """Let nobody write the build file meanwhile.

    Raises
    ------
    LedgerError
        If another program writes it all the while, or there is no writing in its folder.
    """
    try:
        with locked(folder.build_file):
            yield
    except ForecastError:
        raise
    except OSError as error:
        message = (
            f"{folder.folder}: {error.strerror or 'another program is saving here'}. Nothing was changed."
        )
        raise LedgerError(message) from error


def _pack(folder: BuildFolder, target: Path, *, documents: bool) -> None:
    """Write the ZIP file."""
    hashes: dict[str, str] = {}
    receipts: int | None = None
    kept: list[str] = []
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:

        def put(name: str, path: Path) -> None:
            with open_regular(path) as file:
                hashes[name] = hashlib.file_digest(file, "sha256").hexdigest()
            archive.write(path, name)

        if folder.build_file.exists():
            put(_BUILD, folder.build_file)
        if folder.has_ledger():
            ledger = Ledger(folder.receipts_db)
            copy = target.with_name(_LEDGER)
            ledger.copy_to(copy)
            put(_LEDGER, copy)
            read = Ledger(copy)
            receipts = len(read.list_receipts())
            kept = list(dict.fromkeys(item.sha256 for item in read.attachments()))
            if documents:
                for sha256 in kept:
                    path = place_of(folder_of(ledger), sha256)
                    if path.exists():
                        put(f"{FOLDER}/{sha256}", path)
        contents = {
            "made": dt.datetime.now().astimezone().isoformat(timespec="seconds"),
            "receipts": receipts,
            "documents": kept,
            "files": hashes,
        }
        archive.writestr(_CONTENTS, json.dumps(contents, indent=1))


def _read_contents(path: Path) -> tuple[Copy, dict[str, str]]:
    """Read what a copy says of itself."""
    try:
        with open_regular(path) as packed, zipfile.ZipFile(packed) as archive:
            if archive.getinfo(_CONTENTS).file_size > LARGEST_TEXT:
                raise ValueError(_CONTENTS)
            found: dict[str, Any] = json.loads(archive.read(_CONTENTS))
        made = dt.datetime.fromisoformat(found["made"]).astimezone()
        documents = tuple(str(sha256) for sha256 in found["documents"])
        files = {str(name): str(sha256) for name, sha256 in found["files"].items()}
        receipts = None if found["receipts"] is None else int(found["receipts"])
        for sha256 in (*documents, *files.values()):
            place_of(Path(), sha256)
        return Copy(path, made, receipts, documents), files
    except UnfitFileError as error:
        message = f"{path}: cannot be read ({error.strerror}). Nothing was changed. Choose another one."
        raise LedgerError(message) from error
    except Exception as error:  # what a damaged one raises depends on where it is damaged
        message = f"{path}: is no copy of a build, or is damaged. Nothing was changed. Choose another one."
        raise LedgerError(message) from error


def _must_open(path: Path) -> Copy:
    """Open a copy and check all that is in it.

    Raises
    ------
    LedgerError
        If anything of it is damaged.
    """
    with tempfile.TemporaryDirectory(prefix="forecast-") as scratch:
        return _unpack(path, Path(scratch))


def _unpack(path: Path, target: Path) -> Copy:
    """Write what is in a copy to a folder, each file checked against its hash and the ledger opened."""
    copy, files = _read_contents(path)
    try:
        with open_regular(path) as packed, zipfile.ZipFile(packed) as archive:
            unpacked = sum(
                item.file_size for item in archive.infolist()
            )  # no more than this is ever unpacked
            most = max(_UNPACKED, _PACKED_AT_MOST * path.stat().st_size)
            if unpacked > most:
                message = f"it would come to {in_words(unpacked)}"
                raise ValueError(message)
            for name, sha256 in files.items():
                wanted = place_of(target / FOLDER, sha256) if name.startswith(f"{FOLDER}/") else target / name
                if name not in (_BUILD, _LEDGER, f"{FOLDER}/{sha256}"):
                    raise ValueError(name)
                wanted.parent.mkdir(parents=True, exist_ok=True)
                with archive.open(name) as part, wanted.open("wb") as file:
                    shutil.copyfileobj(part, file, 1 << 20)
                with open_regular(wanted) as file:
                    if hashlib.file_digest(file, "sha256").hexdigest() != sha256:
                        raise ValueError(name)
        if _LEDGER in files:
            complaints = Ledger(target / _LEDGER).check()
            if complaints:
                raise ValueError(complaints[0])
    except Exception as error:  # as above: of the archive, of what packs it, of the ledger in it
        message = f"{path}: the copy is damaged ({error}). Nothing was changed. Choose another one."
        raise LedgerError(message) from error
    return copy


def find_copy(folder: BuildFolder, wanted: str | Path) -> Copy:
    """Find a copy by its name, or by the path of a file.

    Raises
    ------
    LedgerError
        If there is none.
    """
    known = [*copies(folder), *earlier_builds(folder)]
    for copy in known:
        if str(wanted) in (copy.name, str(copy.path)):
            return copy
    path = Path(wanted)
    if path.exists():
        return _read_contents(path)[0]
    names = ", ".join(copy.name for copy in known[:5]) or "none yet"
    message = f"{wanted}: there is no such copy. There are {names}; or give the path of a backup."
    raise LedgerError(message)


def restore(folder: BuildFolder, copy: Copy, *, build: bool = True, ledger: bool = True) -> Restored:
    """Put a copy back; how all stood before is kept as a copy of its own first.

    Parameters
    ----------
    folder : BuildFolder
        Made where it does not exist.
    copy : Copy
    build, ledger : bool
        What of it is put back; documents go with the ledger, and none is ever taken away.

    Raises
    ------
    ForecastError
        If the copy is damaged, or something cannot be written.
    """
    with tempfile.TemporaryDirectory(prefix="forecast-") as scratch:
        source = Path(scratch)
        if copy.only_build:
            (source / _BUILD).write_bytes(read_regular(copy.path, LARGEST_TEXT))
        else:
            _unpack(copy.path, source)
        build, ledger = build and (source / _BUILD).exists(), ledger and (source / _LEDGER).exists()
        folder.folder.mkdir(parents=True, exist_ok=True)
        with locked_folder(folder):
            before = _put_by(folder, ledger=ledger)
            done, missing = 0, []
            if ledger:
                for sha256 in copy.documents:
                    told = _put_document_back(folder, source, sha256)
                    done += told is True
                    missing += [sha256] if told is None else []
                Ledger.put_back(folder.receipts_db, source / _LEDGER)
            if build:
                text = read_regular(source / _BUILD, LARGEST_TEXT)
                if folder.build_file.exists():
                    keep_version(folder.build_file, text)
                write_file(folder.build_file, text)
    return Restored(copy, build, ledger, done, before, tuple(missing))


def _put_by(folder: BuildFolder, *, ledger: bool) -> Path | None:
    """Keep how all stands before something is put back; a ledger that is no database any more is moved away."""
    stamp = dt.datetime.now().strftime("%Y-%m-%d-%H%M%S-%f")
    backups_of(folder).mkdir(exist_ok=True)
    target = backups_of(folder) / f"{_prefix(folder)}before-{stamp}.zip"
    try:
        if not folder.build_file.exists() and not folder.receipts_db.exists():
            return None
        _keep(folder, target)
        return target
    except ForecastError:
        if not ledger:
            return None
    moved = None
    let_go()  # some systems move no file that is open
    for ending in ("", "-wal", "-shm"):
        file = folder.receipts_db.with_name(folder.receipts_db.name + ending)
        if file.exists() and (ending or file.stat().st_size):
            moved = backups_of(folder) / f"{_prefix(folder)}damaged-{stamp}{ending}"
            file.rename(moved)
    return moved


def _put_document_back(folder: BuildFolder, source: Path, sha256: str) -> bool | None:
    """Give whether a document had to be put back; None where it stands nowhere any more."""
    target = place_of(folder.folder / FOLDER, sha256)
    if complaint_of(target, sha256) is None:
        return False
    for place in (source / FOLDER, _kept_documents(folder)):
        kept = place_of(place, sha256)
        if complaint_of(kept, sha256) is None:
            target.parent.mkdir(parents=True, exist_ok=True)
            with open_regular(kept) as file:
                write_file(target, file)
            return True
    return None


@dataclass(frozen=True)
class Verified:
    """What was looked at and found.

    Attributes
    ----------
    wrong : tuple of str
        What is damaged or missing, and what to do; empty when all is well.
    receipts, documents : int
    copies : tuple of Copy
        Of those made by themselves, all that open.
    swept : tuple of pathlib.Path
        Half-written files of programs that were killed, deleted now.
    """

    wrong: tuple[str, ...]
    receipts: int
    documents: int
    copies: tuple[Copy, ...]
    swept: tuple[Path, ...]


def verify(folder: BuildFolder) -> Verified:
    """Look whether all of a build is whole: the file, the ledger row by row, every document and every copy."""
    wrong: list[str] = []
    receipts = documents = 0
    good: list[Copy] = []
    for path in reversed(_files(folder)):
        try:
            good.append(_must_open(path))
        except ForecastError as error:
            wrong.append(f"{error} Delete that file.")
    try:
        folder.read()
    except ForecastError as error:
        wrong.append(str(error))
    try:
        if folder.has_ledger():
            ledger = Ledger(folder.receipts_db)
            wrong += [
                f"{folder.receipts_db}: {complaint}. {_mend(folder, good)}" for complaint in ledger.check()
            ]
            wrong += [f"{complaint}. {_mend(folder, good)}" for complaint in verify_attachments(ledger)]
            receipts, documents = len(ledger.list_receipts()), len(ledger.attachments())
    except ForecastError as error:
        wrong.append(str(error))
    return Verified(tuple(wrong), receipts, documents, tuple(good), _sweep_all(folder))


def _mend(folder: BuildFolder, good: list[Copy]) -> str:
    if not good:
        return "There is no copy of it here: put one back from a backup of your own."
    newest = max(good, key=lambda copy: copy.made)
    return f"To put it back as of {short_moment(newest.made)}: forecast restore {folder.folder} {newest.name} --ledger"


def _sweep_all(folder: BuildFolder) -> tuple[Path, ...]:
    homes = [folder.folder]
    for home in (folder.folder / FOLDER, backups_of(folder)):
        homes += [home, *(path for path in home.rglob("*") if path.is_dir())]
    swept: list[Path] = []
    for home in homes:
        with suppress(OSError):
            swept += sweep(home)
    return tuple(swept)
