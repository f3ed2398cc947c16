"""Taking back the last thing entered, in a ledger that never forgets: its rows are told to count no more.

What was entered in one transaction is one entry: a receipt with the lines that it closed, or all rows of a
bank's file. After undoing it all is as it was before, on every day; undoing again takes back the entry before.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from forecast.errors import LedgerError
from forecast.ledger import Ledger, LedgerChange

UNDONE = "undone"
"""The note of rows that undid others in ledgers of earlier versions, before rows could be undone."""

_SILENT = ("setting", "split", "import_source", "import_file")
"""Rows that only go with others."""
_STAYS = ("setting", "split", "import_source")
"""What needs no undoing: the currency, parts of a receipt that counts no more, how a bank lays out its files."""


@dataclass(frozen=True)
class LastEntry:
    """The last thing entered that was not taken back.

    Attributes
    ----------
    mark : int
        Tells whether something else was entered since.
    changes : tuple of LedgerChange
        Its rows, oldest first.
    before : mapping of str to str
        How each line that it opened stood before: closed, or with more to come.
    """

    mark: int
    changes: tuple[LedgerChange, ...]
    before: Mapping[str, str] = field(default_factory=dict)

    def rows(self, table: str) -> list[dict[str, Any]]:
        """Give its rows of one table."""
        return [dict(change.after or {}) for change in self.changes if change.table == table]


def last_entry(ledger: Ledger) -> LastEntry | None:
    """Find the last entry that was not taken back; None when there is none."""
    undone: set[tuple[str, int]] = set()
    newest, skip = None, 0
    for changes in _entries(ledger):
        newest = newest or changes[-1].id
        rows = [change.after or {} for change in changes if change.table == "undone"]
        undone |= {(str(row["tbl"]), int(str(row["row_id"]))) for row in rows}
        standing = [
            change
            for change in changes
            if change.table != "undone" and (change.table, change.row_id) not in undone
        ]
        told = [change for change in standing if change.table not in _SILENT]
        if not told:
            continue
        if all((change.after or {}).get("note") == UNDONE for change in told):
            skip += 1
        elif skip:
            skip -= 1
        else:
            found = tuple(change for change in standing if change.table not in _STAYS)
            return LastEntry(newest, found, _stood_before(ledger, found))
    return None


def _stood_before(ledger: Ledger, changes: Iterable[LedgerChange]) -> dict[str, str]:
    """Give how the lines that these rows opened stood before, by what stands of what was said until then."""
    opened = {
        str(change.after["line_id"]): change.row_id
        for change in changes
        if change.table == "line_mark" and change.after is not None and change.after["state"] == "open"
    }
    if not opened:
        return {}
    gone = {
        int(str(change.after["row_id"]))
        for change in ledger.history("undone")
        if change.after is not None and change.after["tbl"] == "line_mark"
    }
    found: dict[str, tuple[str, int, str]] = {}
    for change in ledger.history("line_mark"):
        row = change.after or {}
        line = str(row.get("line_id"))
        if change.row_id < opened.get(line, 0) and change.row_id not in gone:
            said = (str(row["as_of"]), change.row_id, str(row["state"]))
            found[line] = max(said, found.get(line, said))
    return {line: state for line, (_, _, state) in found.items()}


def undo_last(ledger: Ledger, mark: int | None = None) -> LastEntry:
    """Take the last entry back and give it.

    Parameters
    ----------
    ledger : Ledger
    mark : int, optional
        Of the entry that was shown: nothing is done if something else was entered since.

    Raises
    ------
    LedgerError
        If there is nothing to undo, or something else was entered since.
    """
    with ledger.together():
        entry = last_entry(ledger)
        if entry is None:
            message = "undo: nothing was entered yet, or all of it is taken back."
            raise LedgerError(message)
        if mark is not None and mark != entry.mark:
            message = (
                "undo: something else was entered meanwhile. Look at what the last entry is now, then undo."
            )
            raise LedgerError(message)
        ledger.undo(entry.changes)
        return entry


def _entries(ledger: Ledger) -> Iterator[list[LedgerChange]]:
    """Give what was entered together, the newest first."""
    count, done = 200, 0
    while True:
        recent = ledger.recent(count)
        groups: list[list[LedgerChange]] = []
        for change in recent:
            if groups and (groups[-1][0].at, groups[-1][0].who) == (change.at, change.who):
                groups[-1].insert(0, change)
            else:
                groups.append([change])
        whole = len(recent) < count
        complete = groups if whole else groups[:-1]  # the oldest may go on further back
        yield from complete[done:]
        if whole:
            return
        count, done = 4 * count, len(complete)
