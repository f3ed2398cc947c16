"""A build's folder: the build file, its ledger and its attachments; and the demo builds, opened as copies."""

from __future__ import annotations

import atexit
import os
import shutil
import tempfile
import traceback
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from forecast.buildfile.reader import build_path, read_build
from forecast.buildfile.schema import Build
from forecast.errors import LedgerError
from forecast.ledger import Ledger
from forecast.tables.files import BACKUPS, locked, open_regular, read_regular, why_not, write_file
from forecast.tables.files import user_folder as user_folder
from forecast.words.day_words import short_moment

_PACKAGE = Path(__file__).resolve().parents[1]
TOP = beside if (beside := _PACKAGE / "beside").is_dir() else _PACKAGE.parent
"""Where the demos and the dashboard's starter stand: beside the package in a checkout; a wheel has them inside it."""
DEMOS = TOP / "scenarios"
"""Where the demo builds stand as text."""


_OWN_FOLDERS = ("attachments", BACKUPS)
_OWN_ENDINGS = (".toml", "receipts.db", "receipts.db-wal", "receipts.db-shm", "receipts.db-journal")
_LARGEST_LIST = 1_000_000
_DATABASE = b"SQLite format 3\0"


def _same(one: Path, other: Path) -> bool:
    """Tell whether two folders are one, in whatever way each is spelt."""
    return one == other or (one.exists() and other.exists() and one.samefile(other))


def _within(place: Path, folder: Path) -> bool:
    return any(_same(above, folder) for above in place.parents)


def _is_there(target: Path) -> LedgerError:
    return LedgerError(f"{target}: is there already. Add --replace to write over it, or choose another name.")


@dataclass(frozen=True)
class BuildFolder:
    """One build on disk.

    Attributes
    ----------
    build_file : pathlib.Path
    """

    build_file: Path

    @classmethod
    def at(cls, path: str | Path) -> BuildFolder:
        """Give the folder of a build file, or of the folder that holds one."""
        return cls(build_path(path))

    @property
    def folder(self) -> Path:
        """Where everything of the build stands."""
        return self.build_file.parent

    @property
    def is_demo(self) -> bool:
        """Whether it is the copy of a demo."""
        return self.folder.parent == (user_folder() / "demos").resolve()

    @property
    def receipts_db(self) -> Path:
        """The ledger's file: beside ``build.toml`` it is ``receipts.db``, beside another file it bears its name."""
        stem = "" if self.build_file.name == "build.toml" else f"{self.build_file.stem}-"
        return self.folder / f"{stem}receipts.db"

    def read(self) -> Build:
        """Read the build file; see `read_build`."""
        return read_build(self.build_file)

    @property
    def receipts_csv(self) -> Path:
        """Where the ledger stands as text, if it does: beside the ledger's file, with the same name."""
        return self.receipts_db.with_suffix(".csv")

    def ledger(self, *, anyway: bool = False) -> Ledger:
        """Open the ledger to enter something, made on first use.

        Parameters
        ----------
        anyway : bool
            Also where receipts are no longer the sum of their parts: to mend that.

        Raises
        ------
        LedgerError
            When it cannot be opened or made, keeps another currency than the build, or would be made beside
            receipts that stand there as text: these would no longer be counted.
        """
        if self.not_entered() is not None:
            message = (
                f"{self.receipts_csv}: its receipts are not entered yet, and a ledger of others would hide them. "
                "Enter them first, with 'forecast receipt load' or on the page of receipts, or give the file another "
                "name."
            )
            raise LedgerError(message)
        return self._open(anyway=anyway)

    def _open(self, currency: str | None = None, *, anyway: bool = False) -> Ledger:
        """Open the ledger that is there, or make one.

        Raises
        ------
        LedgerError
            When it cannot be opened, or was altered so that receipts are no longer the sum of their parts: then nothing
            can be added up, and only looking at it `anyway`, to mend it, is left.
        """
        from forecast.ledger.backup import keep_copy

        self.has_ledger()
        currency = currency or self.read().build.currency
        ledger = Ledger(self.receipts_db, currency=currency, after=lambda: keep_copy(self))
        complaints = () if anyway else ledger.check_sums()
        if complaints:
            message = (
                f"{self.receipts_db}: {complaints[0]}. Another program altered the file, so nothing is added up. "
                f"'forecast verify {self.folder}' says all that is wrong and how to put a copy back; or take the "
                "receipt back with 'forecast receipt void', and enter it again."
            )
            raise LedgerError(message)
        return ledger

    def ledger_to_read(self, currency: str | None = None, *, anyway: bool = False) -> Ledger:
        """Open the ledger to look at it; where there is none, one that is gone with this program and leaves no file.

        That one holds what `not_entered` names, and nothing else.

        Parameters
        ----------
        currency : str, optional
            The build's, where it was read already.
        anyway : bool
            Also where receipts are no longer the sum of their parts.

        Raises
        ------
        LedgerError
            When it cannot be opened, or a row of the text is wrong.
        """
        if self.has_ledger():
            return self._open(currency, anyway=anyway)
        return self.passing_ledger(self.not_entered())

    def passing_ledger(self, text: str | Path | None, content: bytes | None = None) -> Ledger:
        """Make a ledger of a text that is gone when the program ends; see `load`."""
        from forecast.ledger.receipts_csv import load_receipts_csv

        scratch = tempfile.mkdtemp(prefix="forecast-")
        atexit.register(shutil.rmtree, scratch, ignore_errors=True)
        ledger = Ledger(Path(scratch) / "receipts.db", currency=self.read().build.currency)
        if text is not None:
            load_receipts_csv(text, ledger, content)
        return ledger

    def not_entered(self) -> Path | None:
        """Give the file in which receipts stand as text while no ledger holds them; None where all is entered."""
        from forecast.ledger.receipts_csv import is_ledger_text

        waits = not self.has_ledger() and is_ledger_text(self.receipts_csv)
        return self.receipts_csv if waits else None

    def load(self, text: str | Path | None = None, content: bytes | None = None) -> int:
        """Enter a ledger that stands as text: all of it, or nothing. Entering it again changes nothing.

        Parameters
        ----------
        text : str or Path, optional
            As ``forecast receipt export`` writes it; `receipts_csv` when left out.
        content : bytes, optional
            What stands in it, where it was sent and not read from this disk.

        Returns
        -------
        int
            How many receipts are new.

        Raises
        ------
        LedgerError
            When a row is wrong: every such row is named.
        """
        from forecast.ledger.receipts_csv import load_receipts_csv

        path = Path(text) if text is not None else self.receipts_csv
        if not self.has_ledger():
            self.passing_ledger(
                path, content
            )  # what is wrong in it is said before a ledger is made, that would hide it
        ledger = self._open()
        before = len(ledger.list_receipts(include_void=True))
        load_receipts_csv(path, ledger, content)
        return len(ledger.list_receipts(include_void=True)) - before

    def has_ledger(self) -> bool:
        """Tell whether anything was ever entered.

        Raises
        ------
        LedgerError
            When something was, as a copy shows, but the ledger is gone or was emptied.
        """
        there = self.receipts_db.exists()
        if there and self.receipts_db.stat().st_size:
            return True
        from forecast.ledger.backup import copies

        held = next((copy for copy in copies(self) if copy.receipts is not None), None)
        if held is not None:
            count = f"{held.receipts} {'receipt' if held.receipts == 1 else 'receipts'}"
            message = (
                f"{self.receipts_db}: {'was emptied' if there else 'is gone'}. Its last copy, of "
                f"{short_moment(held.made)}, holds {count}. To put it back: forecast restore {self.folder} "
                f"{held.name} --ledger. To begin anew instead, move the folder {self.folder / BACKUPS} away."
            )
            raise LedgerError(message)
        return there

    def export(self, target: str | Path, content: bytes | IO[bytes], *, replace: bool = False) -> Path:
        """Write a file for the builder, whole or not at all, and never over a build's own files.

        Every command that writes a file where the builder says goes through this.

        Parameters
        ----------
        target : str or pathlib.Path
        content : bytes or binary file
        replace : bool
            Whether a file that is there may be replaced.

        Returns
        -------
        pathlib.Path
            The file, links followed.

        Raises
        ------
        LedgerError
            When it is one of the build's own files, is there and not to be replaced, or cannot be written.
        """
        target = Path(target)
        try:
            place = target.resolve()
            self._refuse_target(target, place, replace=replace)
            write_file(place, content, replace=replace)
        except FileExistsError:
            raise _is_there(target) from None
        except OSError as error:
            message = f"{target}: cannot be written ({why_not(error)}). Choose a folder where you may write."
            raise LedgerError(message) from error
        return place

    def _refuse_target(self, target: Path, place: Path, *, replace: bool) -> None:
        """Refuse what must not be written over, however its name is spelt or linked to."""
        if self._is_own(place):
            message = (
                f"{target}: is one of the build's own files or stands among them. Nothing was written. "
                "Choose another name, or a folder outside the build's."
            )
            raise LedgerError(message)
        if not place.exists():
            return
        if not place.is_file():
            what = "a folder" if place.is_dir() else "no plain file"
            message = f"{target}: is {what}. Give the name of the file to write."
            raise LedgerError(message)
        with open_regular(place) as file:
            foreign = file.read(len(_DATABASE)) == _DATABASE
        if foreign or place.suffix.casefold() == ".toml":
            message = f"{target}: is a build file or a ledger of some build. Nothing was written. Choose another name."
            raise LedgerError(message)
        if not replace:
            raise _is_there(target)

    def _is_own(self, place: Path) -> bool:
        """Tell whether a path, links followed, means a file of this build or of one beside it."""
        home = self.folder.resolve()
        inside = [home / name for name in _OWN_FOLDERS]
        if any(_within(place, folder) for folder in inside):
            return True
        names = {self.build_file.name.casefold(), self.receipts_db.name.casefold()}
        if _same(place.parent, home):
            name = place.name.casefold()
            if name in names or name.startswith(".") or name.endswith(_OWN_ENDINGS):
                return True
        if not place.exists():
            return False
        own = [path for path in home.iterdir() if path.name.casefold().endswith(_OWN_ENDINGS)]
        own += [path for folder in inside for path in folder.rglob("*")]
        return any(path.is_file() and path.samefile(place) for path in [self.build_file, *own])


def demos() -> tuple[str, ...]:
    """Name the demo builds."""
    return tuple(sorted(folder.name for folder in DEMOS.iterdir() if (folder / "build.toml").exists()))


def open_demo(name: str, *, afresh: bool = False) -> BuildFolder:
    """Open a demo build as a copy in the user's data folder, its receipts loaded into a ledger.

    Parameters
    ----------
    name : str
        One of `demos`.
    afresh : bool
        Start over: the copy is put aside under another name and made anew.

    Raises
    ------
    LedgerError
        When there is no such demo, or the copy cannot be made.
    """
    if name not in demos():
        message = f"demo {name!r}: there is none of that name. There are {', '.join(demos())}."
        raise LedgerError(message)
    source, target = DEMOS / name, user_folder() / "demos" / name
    try:
        if afresh and target.exists():
            _put_aside(target)
        if not (target / "build.toml").exists():
            _copy_demo(source, target)
            folder = BuildFolder(target / "build.toml")
            if folder.not_entered() is not None:
                folder.load()
    except OSError as error:
        message = f"{target}: {why_not(error)}. Set FORECAST_HOME to a folder that can be written."
        raise LedgerError(message) from None
    return BuildFolder(target / "build.toml")


def _copy_demo(source: Path, target: Path) -> None:
    """Copy under another name first, so that a copy cut short is never taken for a whole one."""
    unfinished = target.with_name(f".{target.name}-{os.getpid()}")
    target.parent.mkdir(parents=True, exist_ok=True)
    shutil.rmtree(unfinished, ignore_errors=True)
    unfinished.mkdir()
    for file in source.iterdir():  # the text alone: a ledger that somebody tried things on there stays there
        if file.suffix in (".toml", ".csv"):
            shutil.copyfile(file, unfinished / file.name)
    if target.exists():
        _put_aside(target)
    unfinished.rename(target)


def _put_aside(folder: Path) -> None:
    number = 1
    while (aside := folder.with_name(f"{folder.name}-before-{number}")).exists():
        number += 1
    folder.rename(aside)


def _recent_file() -> Path:
    return user_folder() / "recent.txt"


def recent_folders() -> tuple[BuildFolder, ...]:
    """List the builds opened lately, the last one first, without those that are gone."""
    try:
        lines = read_regular(_recent_file(), _LARGEST_LIST).decode().splitlines()
    except (OSError, UnicodeDecodeError):
        return ()
    return tuple(BuildFolder(Path(line)) for line in lines if line and Path(line).exists())


def remember(folder: BuildFolder, most: int = 12) -> None:
    """Put a build at the head of the recent ones; a folder that cannot be written is no reason to fail."""
    own = str(folder.build_file.resolve())
    with suppress(OSError):
        _recent_file().parent.mkdir(parents=True, exist_ok=True)
        with locked(_recent_file()):  # two programs may open builds at the same time
            paths = dict.fromkeys([own, *(str(old.build_file) for old in recent_folders())])
            write_file(_recent_file(), ("\n".join(list(paths)[:most]) + "\n").encode())


def write_down(error: BaseException) -> Path | None:
    """Keep the details of a mistake of the program for whoever mends it; the last one replaces the one before.

    Returns
    -------
    pathlib.Path or None
        Where they stand; None where they could not be written.
    """
    file = user_folder() / "mistake.txt"
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text("".join(traceback.format_exception(error)), encoding="utf-8", errors="replace")
    except OSError:
        return None
    return file
