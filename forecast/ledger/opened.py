"""Ledgers kept open while one thread draws a page: opening a file takes longer than most that is read of it."""

from __future__ import annotations

import os
import sqlite3
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TypeAlias

_File: TypeAlias = tuple[str, int, int]
_HERE = threading.local()


@contextmanager
def kept_open() -> Iterator[None]:
    """Open each ledger once for all that is read of it inside, by this thread, and close it at the end.

    Each read sees the file as it is by then, as it does outside: only the opening is spared.
    """
    if _connections() is not None:
        yield
        return
    _HERE.connections = {}
    try:
        yield
    finally:
        let_go()
        _HERE.connections = None


def let_go() -> None:
    """Close what is kept, as before files are moved; what is read afterwards opens them again."""
    found = _connections()
    while found:
        found.popitem()[1].close()


@contextmanager
def reading(path: Path, connect: Callable[[], sqlite3.Connection]) -> Iterator[sqlite3.Connection]:
    """Give a connection inside a transaction that sees one moment of the file.

    Parameters
    ----------
    path : Path
    connect : callable
        Opens it.
    """
    found, file = _connections(), _file(path)
    connection = None if found is None or file is None else found.get(file)
    if connection is None or connection.in_transaction:  # what reads inside of what reads has its own moment
        connection = connect()
        # A file that cannot be written is looked at as it was when it was opened: it is opened each time.
        if found is not None and file is not None and file not in found and not _is_still(connection):
            found[file] = connection
    try:
        connection.execute("BEGIN")
        yield connection
        if connection.in_transaction:
            connection.execute("COMMIT")
    except BaseException:
        if found is not None and file is not None and found.get(file) is connection:
            del found[file]
        connection.close()
        raise
    if found is None or file is None or found.get(file) is not connection:
        connection.close()


def _connections() -> dict[_File, sqlite3.Connection] | None:
    kept: dict[_File, sqlite3.Connection] | None = getattr(_HERE, "connections", None)
    return kept


def _file(path: Path) -> _File | None:
    """Tell a file from another one that has taken its place."""
    try:
        found = os.stat(path)
    except OSError:
        return None
    return os.path.abspath(path), found.st_dev, found.st_ino


def _is_still(connection: sqlite3.Connection) -> bool:
    return bool(connection.execute("PRAGMA query_only").fetchone()[0])
