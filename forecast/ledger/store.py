"""The file beneath the ledger: a connection per call, whole transactions, and failures in plain words."""

from __future__ import annotations

import getpass
import sqlite3
import threading
import time
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, date, datetime
from pathlib import Path
from typing import NoReturn

from forecast.errors import LedgerError
from forecast.ledger.migrations import MIGRATIONS, migrate, refuse_strangers, version_of
from forecast.ledger.opened import reading
from forecast.ledger.place import database_uri
from forecast.ledger.stored import StoredValueError, stored_currency
from forecast.tables.files import check_regular
from forecast.words.minor_units import exponent
from forecast.words.text import plain

BUSY_SECONDS = 60.0
"""How long a call waits for other writers before it gives up."""

ALL_DAYS = "9999-12-31"
"""No entry is of a later day."""


def _utc_now() -> datetime:
    return datetime.now(UTC)


def _login_name() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):  # no user database, as in some containers
        return "builder"


class Store:
    """A ledger file, created when it does not exist.

    Parameters
    ----------
    path : str or Path
        Usually ``receipts.db`` in the build's folder.
    currency : str, optional
        The build's currency. Kept in the file; a file that has another one is refused. Without it, the first
        receipt decides.
    who : str, optional
        Whose name the history gets; the login name when left out.
    now : callable, optional
        The clock, giving an aware datetime.
    after : callable, optional
        Called after every transaction that wrote something, when all of it is on the disk.

    Raises
    ------
    LedgerError
        If the file cannot be opened, is damaged, is no ledger, or was written by a newer version.
    """

    def __init__(
        self,
        path: str | Path,
        *,
        currency: str | None = None,
        who: str | None = None,
        now: Callable[[], datetime] = _utc_now,
        after: Callable[[], None] | None = None,
    ) -> None:
        self.path = Path(path)
        self.who = clean(who if who is not None else _login_name())
        self._now = now
        self._after = after
        self._together = threading.local()
        for ending in ("", "-wal", "-shm", "-journal"):
            try:
                check_regular(f"{self.path}{ending}")
            except OSError as error:
                found = f"cannot be opened ({error.strerror})"
                message = f"{self.path}{ending}: {found}. Nothing was changed. Move it away."
                raise LedgerError(message) from None
        with self._translated("open"):
            connection = self._connect(create=True)
            try:
                if not connection.execute("PRAGMA query_only").fetchone()[0]:
                    if version_of(connection) == 0:
                        refuse_strangers(connection, str(self.path))
                        _use_wal(connection)
                    migrate(connection, str(self.path))
            finally:
                connection.close()
        if currency is not None:
            exponent(currency)
            known = self.currency
            if known is None:
                with self._writing() as connection:
                    self._settle_currency(connection, currency)
            elif known != currency:
                self._refuse(
                    f"keeps its sums in {known}, the build in {currency}", "Use one currency for both"
                )

    @property
    def currency(self) -> str | None:
        """The build's currency, in which splits are kept; None before it is known."""
        with self._reading() as connection:
            row = connection.execute("SELECT value FROM setting WHERE key = 'currency'").fetchone()
            return None if row is None else stored_currency(row[0])

    # Connections and transactions ------------------------------------------------------------------------

    def _connect(self, *, create: bool = False) -> sqlite3.Connection:
        """Open the file with everything that keeps receipts safe switched on."""
        mode = "rwc" if create else "rw"
        uri = database_uri(self.path.absolute())
        try:
            connection = sqlite3.connect(
                f"{uri}?mode={mode}", uri=True, timeout=BUSY_SECONDS, isolation_level=None
            )
            try:
                connection.execute("PRAGMA synchronous = FULL")
                connection.execute("PRAGMA foreign_keys = ON")
                connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()
            except BaseException:
                connection.close()
                raise
        except sqlite3.OperationalError as error:
            if _is_read_only(error) and self.path.is_file() and not Path(f"{self.path}-wal").exists():
                return self._connect_read_only()
            raise
        return connection

    def _connect_read_only(self) -> sqlite3.Connection:
        """Open a file in a folder that cannot be written, where WAL has no place for its index.

        With no log beside it the file is complete in itself and can be read as it stands.
        """
        uri = f"{database_uri(self.path.absolute())}?mode=ro&immutable=1"
        connection = sqlite3.connect(uri, uri=True, isolation_level=None)
        if 0 < version_of(connection) < len(MIGRATIONS):  # brought up to date where that can be: in memory
            memory = sqlite3.connect(":memory:", isolation_level=None)
            connection.backup(memory)
            connection.close()
            connection = memory
            migrate(connection, str(self.path))
        connection.execute("PRAGMA query_only = ON")
        return connection

    @contextmanager
    def together(self) -> Iterator[None]:
        """Make all calls inside one transaction: everything that they write is kept, or nothing.

        Raises
        ------
        LedgerError
            If the file cannot be written; and whatever is raised inside, after which nothing was kept.
        """
        if self._shared() is not None:
            yield
            return
        with self._writing() as connection:
            self._together.connection = connection
            try:
                yield
            finally:
                self._together.connection = None

    def _shared(self) -> sqlite3.Connection | None:
        found: sqlite3.Connection | None = getattr(self._together, "connection", None)
        return found

    @contextmanager
    def _reading(self) -> Iterator[sqlite3.Connection]:
        """Give a connection that sees one moment of the file."""
        if (shared := self._shared()) is not None:
            yield shared
            return
        with self._translated("read"), reading(self.path, self._connect) as connection:
            yield connection

    @contextmanager
    def _writing(self) -> Iterator[sqlite3.Connection]:
        """Give a connection inside a transaction: all that is done is kept, or nothing."""
        if (shared := self._shared()) is not None:
            yield shared
            return
        with self._translated("write"):
            connection = self._connect()
            try:
                connection.execute("BEGIN IMMEDIATE")
                self._together.moment = self._now()  # all rows of one transaction bear the same moment
                yield connection
                connection.execute("COMMIT")
            except BaseException:
                if connection.in_transaction:
                    # Closing rolls back as well; a failing ROLLBACK must not hide what went wrong first.
                    with suppress(sqlite3.Error):
                        connection.execute("ROLLBACK")
                raise
            finally:
                self._together.moment = None
                connection.close()
        if self._after is not None:
            self._after()

    @contextmanager
    def _translated(self, doing: str) -> Iterator[None]:
        try:
            yield
        except sqlite3.Error as error:
            message = f"{self.path}: {explain(error, doing)}"
            raise LedgerError(message) from error
        except (
            StoredValueError,
            UnicodeDecodeError,  # SQLite quotes a damaged table's text in what it complains of
        ) as error:
            message = f"{self.path}: {explain(_damaged(error), doing)}"
            raise LedgerError(message) from error

    # Copies ----------------------------------------------------------------------------------------------

    def copy_to(self, target: Path) -> None:
        """Write all that is in the ledger at this moment to another file, whole in itself.

        Raises
        ------
        LedgerError
            If it cannot be read, or the copy not be written.
        """
        with self._reading() as connection, self._translated("copy"):
            copy = sqlite3.connect(target)
            try:
                connection.backup(copy)
                copy.execute("PRAGMA journal_mode = DELETE")
            finally:
                copy.close()

    @staticmethod
    def put_back(path: Path, source: Path) -> None:
        """Put the content of a copy in the place of what a ledger's file holds, in one transaction.

        Programs that have the file open see it before or after. A file that is no database any more is for the caller
        to move away first.

        Raises
        ------
        LedgerError
            If it cannot be done; the file is then as it was.
        """
        try:
            copy = sqlite3.connect(f"{database_uri(source.absolute())}?mode=ro", uri=True)
            target = sqlite3.connect(path, timeout=BUSY_SECONDS)
            try:
                target.execute("PRAGMA synchronous = FULL")
                copy.backup(target)
                _use_wal(target)
            finally:
                target.close()
                copy.close()
        except sqlite3.Error as error:
            message = f"{path}: {explain(error, 'write')}"
            raise LedgerError(message) from error

    # Small helpers for the parts above ----------------------------------------------------------------------

    def _stamp(self) -> tuple[str, str]:
        moment: datetime = getattr(self._together, "moment", None) or self._now()
        return moment.astimezone(UTC).isoformat(timespec="microseconds"), self.who

    def _today(self) -> date:
        return self._now().astimezone().date()

    def _day(self, given: date | str | None, where: str = "date") -> str:
        """Give a day as ISO text; today when nothing was given."""
        if given is None:
            given = self._today()
        return iso_day(given, where)

    def _refuse(self, found: str, mend: str) -> NoReturn:
        message = f"{self.path}: {found}. {mend}."
        raise LedgerError(message)

    def _settle_currency(self, connection: sqlite3.Connection, currency: str) -> str:
        """Give the build's currency, keeping the given one where none is known yet."""
        row = connection.execute("SELECT value FROM setting WHERE key = 'currency'").fetchone()
        if row is not None:
            return stored_currency(row[0])
        connection.execute(
            "INSERT INTO setting (key, id, value, recorded_at, who) VALUES ('currency', 1, ?, ?, ?)",
            (currency, *self._stamp()),
        )
        return currency


def stands(table: str, row: str = "id") -> str:
    """Give the condition that a row was not undone.

    Parameters
    ----------
    table : str
    row : str
        What gives its number in the query, such as ``r.id``.
    """
    return f"{row} NOT IN (SELECT row_id FROM undone WHERE tbl = '{table}')"


def counts(receipt: str = "r") -> str:
    """Give the condition that a receipt counts, on every day: it was neither undone nor taken back as a mistake."""
    taken_back = f"SELECT voids FROM receipt WHERE voids IS NOT NULL AND {stands('receipt')}"
    return f"{receipt}.voids IS NULL AND {stands('receipt', f'{receipt}.id')} AND {receipt}.id NOT IN ({taken_back})"


def new_key() -> str:
    """Make an entry key that no other entry has."""
    return uuid.uuid4().hex


def clean(text: str, *, lines: bool = False) -> str:
    """Give text as the ledger keeps it: without control characters, and without blanks at its ends.

    What comes from a bank's file or a clipboard may hold what no spreadsheet, page or terminal can show.

    Parameters
    ----------
    text : str
    lines : bool
        Whether it may have several lines, as a note may.
    """
    shown = plain(text, lines=lines)
    return (shown.replace("\t", " ") if lines else shown).strip()


def iso_day(given: date | str, where: str = "date") -> str:
    """Give a day as ISO text, ``2026-05-03``.

    Raises
    ------
    LedgerError
        If the text is no such day.
    """
    if isinstance(given, datetime):
        given = given.date()
    if isinstance(given, date):
        return given.isoformat()
    try:
        day = date.fromisoformat(given)
    except (TypeError, ValueError):
        day = None
    if day is None or day.isoformat() != given:
        message = f"{where}: got {given!r}, which is no day. Write it as year-month-day, like 2026-05-03."
        raise LedgerError(message)
    return given


def until(as_of: date | str | None) -> str:
    """Give the last day that counts, as ISO text: all of them when no day was given."""
    return ALL_DAYS if as_of is None else iso_day(as_of, "as of")


def _use_wal(connection: sqlite3.Connection) -> None:
    """Switch a new file to write-ahead logging; another process may be doing just that."""
    deadline = time.monotonic() + BUSY_SECONDS
    while True:
        try:
            connection.execute("PRAGMA journal_mode = WAL")
        except sqlite3.OperationalError as error:
            # This one switch does not wait for locks by itself.
            if not error.sqlite_errorname.startswith("SQLITE_BUSY") or time.monotonic() > deadline:
                raise
            time.sleep(0.01)
        else:
            return


def _is_read_only(error: sqlite3.Error) -> bool:
    return (getattr(error, "sqlite_errorname", "") or "").startswith(("SQLITE_READONLY", "SQLITE_CANTOPEN"))


def _damaged(error: Exception) -> sqlite3.DatabaseError:
    """Give what SQLite raises where a file is damaged, for what it did not notice itself."""
    found = sqlite3.DatabaseError(str(error))
    found.sqlite_errorname = "SQLITE_CORRUPT"
    return found


def explain(error: sqlite3.Error, doing: str) -> str:
    """Say in plain words what a failure of the file means, what is safe and how to mend it."""
    name = getattr(error, "sqlite_errorname", "") or ""
    if name.startswith("SQLITE_FULL"):
        return (
            "the disk is full. This entry was not written; every earlier one is safe. "
            "Free some space and enter it again."
        )
    if name.startswith(("SQLITE_BUSY", "SQLITE_LOCKED")):
        return (
            f"another program kept the file locked for {BUSY_SECONDS:g} s. Nothing was changed. "
            "Close the other program, or wait, and do it again."
        )
    if name.startswith(("SQLITE_NOTADB", "SQLITE_CORRUPT")):
        return (
            "the file is damaged or is no ledger. Nothing was changed. Keep it as it is, and put a copy"
            " from your "
            "backup in its place."
        )
    if name.startswith("SQLITE_CANTOPEN"):
        return f"cannot {doing} the file. Check that its folder exists and that you may write there."
    if name.startswith("SQLITE_READONLY") or "readonly" in str(error):
        return (
            "the file or its folder is read-only, so nothing was written; all that was entered is safe. "
            "Allow writing there, or copy the build's folder to where you may write."
        )
    if name.startswith("SQLITE_IOERR"):
        return (
            f"the disk failed while trying to {doing} ({error}). This entry was not written; earlier"
            f" ones are safe. "
            "Check the disk, its free space and limits, and do it again."
        )
    return f"cannot {doing} ({error}). Nothing was changed."
