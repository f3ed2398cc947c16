"""How the ledger's tables come to be: numbered steps, each in one transaction with its record.

Every table only grows: triggers refuse UPDATE and DELETE, so that a correction is a new row, and write each
new row to ``change``, the history of who did what. A row that was undone is named in ``undone`` and counts no more; it
is as if it had never been entered.
"""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Callable
from datetime import UTC, datetime

from forecast.errors import LedgerError

_STAMP = """
    recorded_at TEXT NOT NULL,
    who TEXT NOT NULL"""
_DATED = (
    """
    id INTEGER PRIMARY KEY,
    entry_key TEXT NOT NULL UNIQUE,
    as_of TEXT NOT NULL CHECK (as_of GLOB '[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]'),"""
    + _STAMP
)

_FIRST_TABLES = {
    "setting": f"key TEXT PRIMARY KEY, id INTEGER NOT NULL UNIQUE, value TEXT NOT NULL, {_STAMP}",
    "commitment": f"""{_DATED},
    supplier TEXT NOT NULL,
    line_id TEXT NOT NULL,
    amount_minor INTEGER NOT NULL CHECK (amount_minor > 0),
    currency TEXT NOT NULL CHECK (length(currency) = 3),
    expected_minor INTEGER NOT NULL CHECK (expected_minor > 0),
    note TEXT NOT NULL""",
    "commitment_end": f"""{_DATED},
    commitment_id INTEGER NOT NULL UNIQUE REFERENCES commitment(id),
    state TEXT NOT NULL CHECK (state IN ('settled', 'cancelled')),
    note TEXT NOT NULL""",
    "receipt": f"""{_DATED},
    supplier TEXT NOT NULL,
    kind TEXT NOT NULL CHECK (kind IN ('payment', 'refund', 'deposit', 'balance', 'void')),
    amount_minor INTEGER NOT NULL,
    currency TEXT NOT NULL CHECK (length(currency) = 3),
    charged_minor INTEGER,
    charged_currency TEXT CHECK (length(charged_currency) = 3),
    note TEXT NOT NULL,
    commitment_id INTEGER REFERENCES commitment(id),
    voids INTEGER UNIQUE REFERENCES receipt(id),
    CHECK ((charged_minor IS NULL) = (charged_currency IS NULL)),
    CHECK ((kind = 'void') = (voids IS NOT NULL))""",
    "split": """
    id INTEGER PRIMARY KEY,
    receipt_id INTEGER NOT NULL REFERENCES receipt(id),
    line_id TEXT NOT NULL CHECK (line_id <> ''),
    amount_minor INTEGER NOT NULL""",
    "line_mark": f"{_DATED}, line_id TEXT NOT NULL, state TEXT NOT NULL CHECK (state IN ('open', 'closed')),"
    " note TEXT NOT NULL",
    "event_mark": f"{_DATED}, event_id TEXT NOT NULL,"
    " state TEXT NOT NULL CHECK (state IN ('open', 'happened', 'cannot-happen')), note TEXT NOT NULL",
    "still_to_buy": f"{_DATED}, line_id TEXT NOT NULL,"
    " amount_minor INTEGER NOT NULL CHECK (amount_minor >= 0), note TEXT NOT NULL",
    "baseline": f"""{_DATED},
    budget_minor INTEGER NOT NULL,
    currency TEXT NOT NULL CHECK (length(currency) = 3),
    fingerprint TEXT NOT NULL,
    build_text TEXT NOT NULL,
    seed INTEGER NOT NULL,
    trials INTEGER NOT NULL CHECK (trials > 0),
    base_by_line TEXT NOT NULL CHECK (json_valid(base_by_line)),
    scenario TEXT,
    note TEXT NOT NULL""",
    "attachment": f"""
    id INTEGER PRIMARY KEY,
    receipt_id INTEGER NOT NULL REFERENCES receipt(id),
    sha256 TEXT NOT NULL CHECK (length(sha256) = 64),
    name TEXT NOT NULL,
    size INTEGER NOT NULL, {_STAMP},
    UNIQUE (receipt_id, sha256)""",
    "import_source": f"id INTEGER PRIMARY KEY, name TEXT NOT NULL,"
    f" mapping TEXT NOT NULL CHECK (json_valid(mapping)), {_STAMP}",
    "import_file": f"""
    id INTEGER PRIMARY KEY,
    sha256 TEXT NOT NULL,
    name TEXT NOT NULL,
    source TEXT NOT NULL,
    rows INTEGER NOT NULL, {_STAMP}""",
}
_INDEXES = (
    "CREATE INDEX receipt_by_date ON receipt (as_of)",
    "CREATE INDEX receipt_by_supplier ON receipt (supplier)",
    "CREATE INDEX receipt_by_commitment ON receipt (commitment_id) WHERE commitment_id IS NOT NULL",
    "CREATE INDEX split_by_receipt ON split (receipt_id, line_id, amount_minor)",
    "CREATE INDEX line_mark_by_line ON line_mark (line_id, as_of)",
    "CREATE INDEX event_mark_by_event ON event_mark (event_id, as_of)",
    "CREATE INDEX change_by_row ON change (tbl, row_id)",
)


def _first(connection: sqlite3.Connection) -> None:
    """Lay out the tables of version 1."""
    connection.execute(
        "CREATE TABLE migration (version INTEGER PRIMARY KEY, name TEXT NOT NULL, applied_at TEXT NOT"
        " NULL) STRICT"
    )
    connection.execute(
        "CREATE TABLE change (id INTEGER PRIMARY KEY, at TEXT NOT NULL, who TEXT NOT NULL, tbl TEXT NOT NULL,"
        " row_id INTEGER NOT NULL, action TEXT NOT NULL, before TEXT, after TEXT) STRICT"
    )
    for table, columns in _FIRST_TABLES.items():
        connection.execute(f"CREATE TABLE {table} ({columns}) STRICT")
    for statement in _INDEXES:
        connection.execute(statement)
    for table in _FIRST_TABLES:
        _keep_history(connection, table)
    for action in ("UPDATE", "DELETE"):
        connection.execute(_refuse("change", action))


def _keep_history(connection: sqlite3.Connection, table: str) -> None:
    """Write every new row of a table to ``change``, and refuse to alter or delete one."""
    columns = [row[1] for row in connection.execute(f"PRAGMA table_info({table})")]
    fields = ", ".join(f"'{column}', new.{column}" for column in columns)
    if "who" in columns:
        at, who = "new.recorded_at", "new.who"
    else:  # a split belongs to its receipt and was told by the same person at the same moment
        at, who = (
            f"(SELECT {name} FROM receipt WHERE id = new.receipt_id)" for name in ("recorded_at", "who")
        )
    connection.execute(
        f"CREATE TRIGGER {table}_inserted AFTER INSERT ON {table} BEGIN"
        f" INSERT INTO change (at, who, tbl, row_id, action, after)"
        f" VALUES ({at}, {who}, '{table}', new.id, 'insert', json_object({fields})); END"
    )
    for action in ("UPDATE", "DELETE"):
        connection.execute(_refuse(table, action))


def _refuse(table: str, action: str) -> str:
    return (
        f"CREATE TRIGGER {table}_no_{action.lower()} BEFORE {action} ON {table} BEGIN"
        f" SELECT RAISE(ABORT, 'rows of the ledger stay as they are; correct them by a new row'); END"
    )


_MAY_COME_AGAIN = ("receipt", "commitment", "commitment_end", "baseline", "attachment")


def _undoing(connection: sqlite3.Connection) -> None:
    """Let rows be undone, and what was undone be entered again: keys are unique among what stands."""
    connection.execute(
        f"CREATE TABLE undone (id INTEGER PRIMARY KEY, tbl TEXT NOT NULL, row_id INTEGER NOT NULL, {_STAMP},"
        " UNIQUE (tbl, row_id)) STRICT"
    )
    _keep_history(connection, "undone")
    for table in _MAY_COME_AGAIN:
        columns = re.sub(r",\s*UNIQUE \([^)]*\)| UNIQUE", "", _FIRST_TABLES[table])
        connection.execute(f"CREATE TEMP TABLE kept AS SELECT * FROM {table}")
        connection.execute(f"DROP TABLE {table}")
        connection.execute(f"CREATE TABLE {table} ({columns}) STRICT")
        connection.execute(f"INSERT INTO {table} SELECT * FROM kept")
        connection.execute("DROP TABLE kept")
        _keep_history(connection, table)
    for statement in _INDEXES:
        if any(f" ON {table} " in statement for table in _MAY_COME_AGAIN):
            connection.execute(statement)
    connection.execute("CREATE INDEX receipt_by_key ON receipt (entry_key)")
    connection.execute("CREATE INDEX receipt_by_void ON receipt (voids) WHERE voids IS NOT NULL")


def _more_to_come(connection: sqlite3.Connection) -> None:
    """Let a line be said to have more to come, and a price be agreed as fixed or as an estimate."""
    connection.execute(
        f"CREATE TABLE line_word ({_DATED}, line_id TEXT NOT NULL,"
        " state TEXT NOT NULL CHECK (state IN ('open', 'closed', 'more')), note TEXT NOT NULL) STRICT"
    )
    connection.execute("INSERT INTO line_word SELECT * FROM line_mark")
    connection.execute("DROP TABLE line_mark")
    connection.execute("ALTER TABLE line_word RENAME TO line_mark")
    connection.execute("CREATE INDEX line_mark_by_line ON line_mark (line_id, as_of)")
    _keep_history(connection, "line_mark")
    connection.execute(
        "ALTER TABLE commitment ADD COLUMN kind TEXT NOT NULL DEFAULT 'fixed'"
        " CHECK (kind IN ('fixed', 'estimate'))"
    )
    for trigger in ("inserted", "no_update", "no_delete"):
        connection.execute(f"DROP TRIGGER commitment_{trigger}")
    _keep_history(connection, "commitment")


MIGRATIONS: tuple[tuple[str, Callable[[sqlite3.Connection], None]], ...] = (
    ("first tables", _first),
    ("rows that were undone", _undoing),
    ("more to come, kinds of agreement", _more_to_come),
)
"""Name and work of each step; the step at index i leads to version i + 1."""


def version_of(connection: sqlite3.Connection) -> int:
    """Give the version of the tables in a file; 0 for an empty one."""
    return int(connection.execute("PRAGMA user_version").fetchone()[0])


def migrate(
    connection: sqlite3.Connection,
    where: str,
    steps: tuple[tuple[str, Callable[[sqlite3.Connection], None]], ...] = MIGRATIONS,
) -> int:
    """Bring a file's tables to the newest version, one transaction a step.

    Parameters
    ----------
    connection : sqlite3.Connection
        In autocommit mode.
    where : str
        The file's path, for messages.
    steps : tuple, optional
        The steps to apply.

    Returns
    -------
    int
        The version now in the file.

    Raises
    ------
    LedgerError
        If the file was written by a newer version of this program, or is some other program's database.
    """
    found = version_of(connection)
    if found < len(steps):
        connection.execute("PRAGMA foreign_keys = OFF")  # a table that others refer to may be laid out anew
    while found < len(steps):
        connection.execute("BEGIN IMMEDIATE")
        try:
            found = version_of(connection)  # another process may have been here first
            if found < len(steps):
                name, work = steps[found]
                if found == 0:
                    refuse_strangers(connection, where)
                work(connection)
                connection.execute(
                    "INSERT INTO migration VALUES (?, ?, ?)", (found + 1, name, datetime.now(UTC).isoformat())
                )
                lost = connection.execute("PRAGMA foreign_key_check").fetchone()
                if found and lost is not None:
                    message = (
                        f"{where}: damaged: a row of table {lost[0]} refers to nothing. Nothing was changed. Keep the"
                        " file as it is, and put a copy from your backup in its place."
                    )
                    raise LedgerError(message)
                connection.execute(f"PRAGMA user_version = {found + 1}")
                found += 1
            connection.execute("COMMIT")
        except BaseException:
            if connection.in_transaction:
                connection.execute("ROLLBACK")
            raise
    if found > len(steps):
        message = (
            f"{where}: written by a newer version of this program (tables of version {found}; this one knows "
            f"{len(steps)}). Nothing was changed. Update this program, or open a copy made before the update."
        )
        raise LedgerError(message)
    return found


def refuse_strangers(connection: sqlite3.Connection, where: str) -> None:
    """Refuse a file without version that holds tables all the same: another program's.

    Raises
    ------
    LedgerError
        If it is one.
    """
    if connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0]:
        message = (
            f"{where}: a database, but not a receipt ledger. Nothing was changed. Choose another file name."
        )
        raise LedgerError(message)
