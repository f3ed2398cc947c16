"""The whole ledger as one class, with its history, its attachments and what imports remember."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Mapping
from typing import Any

from forecast.ledger.commitments import Commitments
from forecast.ledger.marks import Marks
from forecast.ledger.receipt_rows import Receipts
from forecast.ledger.records import AttachedFile, LedgerChange
from forecast.ledger.store import clean, counts, stands
from forecast.ledger.stored import stored_moment, stored_table
from forecast.words.minor_units import format_plain

_CHANGE = "id, at, who, tbl, row_id, action, before, after"


def _change(row: tuple[Any, ...]) -> LedgerChange:
    number, at, who, table, row_id, action, before, after = row
    before, after = (text and stored_table(text) for text in (before, after))
    return LedgerChange(number, stored_moment(at), who, table, row_id, action, before, after)


class Ledger(Receipts, Commitments, Marks):
    """What has happened to one build: receipts, commitments, closed lines, events, baselines.

    Each call opens the file, does its work in one transaction and closes it again, so that several programs
    may use one ledger at the same time. Nothing is ever altered or deleted: a correction is a new row.
    """

    def attach(self, receipt_id: int, sha256: str, name: str, size: int) -> AttachedFile:
        """Note that a file belongs to a receipt; noting it again changes nothing.

        Raises
        ------
        LedgerError
            If there is no such receipt.
        """
        self.receipt(receipt_id)
        name = clean(name)
        with self._writing() as connection:
            connection.execute(
                "INSERT INTO attachment (receipt_id, sha256, name, size, recorded_at, who) SELECT ?, ?, ?, ?, ?, ?"
                " WHERE NOT EXISTS (SELECT 1 FROM attachment WHERE receipt_id = ? AND sha256 = ?"
                f" AND {stands('attachment')})",
                (receipt_id, sha256, name, size, *self._stamp(), receipt_id, sha256),
            )
        return next(item for item in self.attachments(receipt_id) if item.sha256 == sha256)

    def attachments(self, receipt_id: int | None = None) -> tuple[AttachedFile, ...]:
        """List the files of one receipt, or of all."""
        where, values = ("", ()) if receipt_id is None else ("AND receipt_id = ?", (receipt_id,))
        with self._reading() as connection:
            rows = connection.execute(
                "SELECT receipt_id, sha256, name, size, recorded_at, who FROM attachment"
                f" WHERE {stands('attachment')} {where} ORDER BY id",
                values,
            ).fetchall()
            return tuple(
                AttachedFile(row[0], row[1], row[2], row[3], stored_moment(row[4]), row[5]) for row in rows
            )

    def remember_source(self, name: str, mapping: Mapping[str, object]) -> None:
        """Remember how the files of one bank or card are laid out; the last word counts."""
        with self._writing() as connection:
            connection.execute(
                "INSERT INTO import_source (name, mapping, recorded_at, who) VALUES (?, ?, ?, ?)",
                (clean(name), json.dumps(dict(mapping)), *self._stamp()),
            )

    def source(self, name: str) -> dict[str, object] | None:
        """Give the remembered layout of a bank's or card's files; None if there is none."""
        with self._reading() as connection:
            row = connection.execute(
                "SELECT mapping FROM import_source WHERE name = ? ORDER BY id DESC LIMIT 1", (clean(name),)
            ).fetchone()
            return None if row is None else stored_table(row[0])

    def sources(self) -> tuple[str, ...]:
        """Name the banks and cards whose layout is remembered."""
        with self._reading() as connection:
            rows = connection.execute("SELECT DISTINCT name FROM import_source ORDER BY name").fetchall()
        return tuple(row[0] for row in rows)

    def note_import(self, sha256: str, name: str, source: str, rows: int) -> None:
        """Note that a bank or card file was imported."""
        with self._writing() as connection:
            connection.execute(
                "INSERT INTO import_file (sha256, name, source, rows, recorded_at, who) VALUES (?, ?,"
                " ?, ?, ?, ?)",
                (sha256, clean(name), clean(source), rows, *self._stamp()),
            )

    def imported(self, sha256: str) -> bool:
        """Tell whether a file of that content was imported."""
        with self._reading() as connection:
            return bool(
                connection.execute(
                    f"SELECT 1 FROM import_file WHERE sha256 = ? AND {stands('import_file')}", (sha256,)
                ).fetchone()
            )

    def history(self, table: str | None = None, row_id: int | None = None) -> tuple[LedgerChange, ...]:
        """List who did what and when, oldest first: of all rows, of one table, or of one row."""
        conditions = {"tbl": table, "row_id": row_id}
        wanted = {name: value for name, value in conditions.items() if value is not None}
        where = " AND ".join(f"{name} = ?" for name in wanted) or "1"
        with self._reading() as connection:
            rows = connection.execute(
                f"SELECT {_CHANGE} FROM change WHERE {where} ORDER BY id",
                tuple(wanted.values()),
            ).fetchall()
            return tuple(_change(row) for row in rows)

    def recent(self, count: int) -> tuple[LedgerChange, ...]:
        """List the last changes, the newest first."""
        with self._reading() as connection:
            rows = connection.execute(
                f"SELECT {_CHANGE} FROM change ORDER BY id DESC LIMIT ?", (count,)
            ).fetchall()
            return tuple(_change(row) for row in rows)

    def undo(self, changes: Iterable[LedgerChange]) -> None:
        """Let rows count no more, on any day, as if they had never been entered; they stay in the history.

        Parameters
        ----------
        changes : iterable of LedgerChange
            The lines of the history that tell of them.

        Raises
        ------
        LedgerError
            If one of them is undone already, or the file cannot be written.
        """
        with self._writing() as connection:
            for change in changes:
                try:
                    connection.execute(
                        "INSERT INTO undone (tbl, row_id, recorded_at, who) VALUES (?, ?, ?, ?)",
                        (change.table, change.row_id, *self._stamp()),
                    )
                except sqlite3.IntegrityError:
                    self._refuse(
                        "that entry is undone already", "Look at what the last entry is now, then undo"
                    )

    def check(self) -> tuple[str, ...]:
        """Look for damage: in the file, in its references, in rows that were altered, in receipts that do not add up.

        Returns
        -------
        tuple of str
            What is wrong, in words; empty when all is well.
        """
        with self._reading() as connection:
            integrity = [row[0] for row in connection.execute("PRAGMA integrity_check")]
            complaints = [f"file: {text}" for text in integrity if text != "ok"]
            complaints += [f"table {row[0]}, row {row[1]}: refers to nothing" for row in
                           connection.execute("PRAGMA foreign_key_check")]  # fmt: skip
            complaints += _unbalanced(connection)
            for table in (row[0] for row in connection.execute("SELECT DISTINCT tbl FROM change").fetchall()):
                complaints += _altered(connection, str(table))
        return tuple(complaints)

    def check_sums(self) -> tuple[str, ...]:
        """Look, in a moment, whether every receipt still is the sum of its parts; see `check` for all else."""
        with self._reading() as connection:
            paid, split = connection.execute(
                "SELECT (SELECT total(coalesce(charged_minor, amount_minor)) FROM receipt),"
                " (SELECT total(amount_minor) FROM split)"
            ).fetchone()
            return () if paid == split else tuple(_unbalanced(connection))


def _unbalanced(connection: sqlite3.Connection) -> list[str]:
    """Name receipts whose parts do not add up to them; those taken back count nowhere and are left out."""
    rows = connection.execute(
        "SELECT r.id, r.supplier, r.as_of, coalesce(r.charged_minor, r.amount_minor),"
        " coalesce(r.charged_currency, r.currency), coalesce(sum(s.amount_minor), 0) AS added"
        f" FROM receipt r LEFT JOIN split s ON s.receipt_id = r.id WHERE {counts()} GROUP BY r.id"
        " HAVING added <> coalesce(r.charged_minor, r.amount_minor)"
    )
    return [
        f"receipt {row[0]} of {row[1]}, {row[2]}: {format_plain(row[3], row[4])} {row[4]} paid, but its parts are "
        f"{format_plain(row[5], row[4])}"
        for row in rows
    ]


def _altered(connection: sqlite3.Connection, table: str) -> list[str]:
    """Name rows that are not what the history says was entered, or that are gone."""
    columns = [row[1] for row in connection.execute(f"PRAGMA table_info({table})")]
    differs = " OR ".join(
        f"(json_type(c.after, '$.{column}') IS NOT NULL AND json_extract(c.after, '$.{column}') IS NOT x.{column})"
        for column in columns
    )
    if not columns:
        return [f"table {table}: is gone"]
    rows = connection.execute(
        f"SELECT c.row_id, x.id IS NULL FROM change c LEFT JOIN {table} x ON x.id = c.row_id"
        " WHERE c.tbl = ? AND (x.id IS NULL OR (instr(c.after, '\\u0000') = 0 AND (" + differs + ")))",
        (table,),
    ).fetchall()
    strangers = connection.execute(
        f"SELECT id FROM {table} WHERE id NOT IN (SELECT row_id FROM change WHERE tbl = ?)", (table,)
    ).fetchall()
    return [
        f"table {table}, row {number}: {'is gone' if gone else 'is not what was entered'}"
        for number, gone in rows
    ] + [f"table {table}, row {row[0]}: was not entered by this program" for row in strangers]
