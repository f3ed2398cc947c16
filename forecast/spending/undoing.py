"""Taking back the last thing entered, as far as a ledger that never forgets allows it: by new rows.

What was entered in one transaction is one entry: a receipt with the lines that it closed, or all rows of a
bank's file. Undoing it adds voids and marks that say so; undoing again takes back the entry before.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, cast

from forecast.errors import LedgerError
from forecast.spending.ledger import Change, EventState, Ledger

UNDONE = "undone"
"""The note of every row that undoes another."""

_SILENT = ("setting", "split", "import_source", "import_file")
"""Rows that only go with others."""
_STAYS = {
    "commitment_end": "A commitment that was settled or cancelled stays so; enter it again.",
    "baseline": "A budget that was frozen stays in the history; freeze another one.",
    "attachment": "A document stays with its receipt; take the receipt back if it is the wrong one.",
}


@dataclass(frozen=True)
class LastEntry:
    """The last thing entered that was not taken back.

    Attributes
    ----------
    mark : int
        Tells whether something else was entered since.
    changes : tuple of Change
        Its rows, oldest first.
    why_not : str
        Why it cannot be undone; empty when it can.
    """

    mark: int
    changes: tuple[Change, ...]
    why_not: str

    def rows(self, table: str) -> list[dict[str, Any]]:
        """Give its rows of one table."""
        return [dict(change.after or {}) for change in self.changes if change.table == table]


def last_entry(ledger: Ledger) -> LastEntry | None:
    """Find the last entry that was not taken back; None when there is none."""
    skip, newest = 0, None
    for changes in _entries(ledger):
        newest = newest or changes[-1].id
        told = [change for change in changes if change.table not in _SILENT]
        if not told:
            continue
        if all((change.after or {}).get("note") == UNDONE for change in told):
            skip += 1
        elif skip:
            skip -= 1
        else:
            return LastEntry(newest, tuple(told), _why_not(ledger, told))
    return None


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
        If there is nothing to undo, or it cannot be undone, or something else was entered since.
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
        if entry.why_not:
            message = f"undo: {entry.why_not}"
            raise LedgerError(message)
        for change in reversed(entry.changes):
            _take_back(ledger, change)
        return entry


def _entries(ledger: Ledger) -> Iterator[list[Change]]:
    """Give what was entered together, the newest first."""
    count, done = 200, 0
    while True:
        recent = ledger.recent(count)
        groups: list[list[Change]] = []
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


def _why_not(ledger: Ledger, told: Sequence[Change]) -> str:
    tables = {change.table for change in told}
    for table, why in _STAYS.items():
        if table in tables and not (table == "attachment" and "receipt" in tables):
            return why
    for change in told:
        row = change.after or {}
        if change.table == "receipt" and row["voids"] is not None:
            return f"Receipt {row['voids']} was taken back and stays so; enter it again."
        if change.table == "still_to_buy" and _said_before(ledger, change) is None:
            return f"What is left to buy of {row['line_id']!r} was said for the first time; say another sum."
        if change.table == "commitment" and any(
            item.id == change.row_id and (item.paid_minor or item.state != "open")
            for item in ledger.list_commitments(include_ended=True)
        ):
            return f"Commitment {change.row_id} is paid against or has ended."
    return ""


def _before(ledger: Ledger, change: Change, field: str) -> dict[str, Any] | None:
    """Give the row that held before a change, for the same line or event; None if there was none."""
    row = change.after or {}
    earlier = [
        (other.after["as_of"], other.row_id, other.after)
        for other in ledger.history(change.table)
        if other.after is not None
        and other.row_id < change.row_id
        and other.after[field] == row[field]
        and str(other.after["as_of"]) <= str(row["as_of"])
    ]
    return max(earlier, key=lambda item: item[:2])[2] if earlier else None


def _said_before(ledger: Ledger, change: Change) -> dict[str, Any] | None:
    return _before(ledger, change, "line_id")


def _take_back(ledger: Ledger, change: Change) -> None:
    row: dict[str, Any] = dict(change.after or {})
    day = row.get("as_of")
    if change.table == "receipt":
        ledger.void_receipt(change.row_id, UNDONE)
    elif change.table == "line_mark":
        before = _before(ledger, change, "line_id")
        closed = before is not None and before["state"] == "closed"
        (ledger.close_line if closed else ledger.reopen_line)(row["line_id"], day, UNDONE)
    elif change.table == "event_mark":
        before = _before(ledger, change, "event_id")
        state = cast(EventState, "open" if before is None else before["state"])
        ledger.mark_event(row["event_id"], state, day, UNDONE)
    elif change.table == "commitment":
        ledger.cancel_commitment(change.row_id, day, UNDONE)
    elif change.table == "still_to_buy":
        before = _said_before(ledger, change)
        assert before is not None  # told apart above
        ledger.say_still_to_buy(row["line_id"], int(before["amount_minor"]), day, UNDONE)
