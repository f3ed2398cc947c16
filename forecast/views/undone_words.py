"""What was entered into the ledger, in words."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Collection, Mapping
from typing import Any

from forecast.buildfile.schema import Build
from forecast.figures.kinds import Known
from forecast.ledger.events import WORDS
from forecast.ledger.undoing import LastEntry
from forecast.views.moves import short
from forecast.words.chances import listed, so_many
from forecast.words.day_words import short_day
from forecast.words.money import exact

_LINE_STATES = {"closed": "closed", "more": "with more to come", "open": "open"}
_OPENED = {"closed": "opened again", "more": "no longer with more to come"}
"""How a line that is open stood before: it is opened *again* where it was closed; what was to come may have come."""

_MOST = 3
"""So many lines or risks are named one by one; of more, such as at the end of a build, their number is told."""
_ON_A_BUTTON = 5
"""Words of a name that a button has room for."""


def _several(marks: list[tuple[str, str]], what: str) -> list[str]:
    """Write marks one by one, or of many of a kind how many they are."""
    if len(marks) <= _MOST:
        return [f"{name} {state}" for name, state in marks]
    states = Counter(state for _, state in marks)
    return [f"{count} {what if count > 1 else what[:-1]} {state}" for state, count in states.items()]


def left_in_file_words(build: Build, before: Mapping[str, int], after: Mapping[str, int]) -> str:
    """Say which lines that were made for a bill nobody told of stay in the build file, now that it is taken back.

    Parameters
    ----------
    build : Build
    before, after : mapping of str to int
        Paid by line, in minor units.
    """
    left = [
        f"\u201c{line.title}\u201d"
        for line in build.line
        if isinstance(line.amount, Known)
        and line.amount.value == 0
        and before.get(line.id)
        and not after.get(line.id)
    ]
    if not left:
        return ""
    stays, it = ("stays", "it counts") if len(left) == 1 else ("stay", "they count")
    return f"{listed(left)} {stays} in the build file, where {it} nothing until something is paid for."


def undone_words(moment: dt.datetime) -> str:
    """Say when a receipt was undone: ``undone on 3 May 2026``."""
    return f"undone on {short_day(moment.astimezone().date())}"


def entry_words(
    entry: LastEntry, currency: str, names: Mapping[str, str] | None = None, risks: Collection[str] = ()
) -> str:
    """Say what an entry was: ``receipt 12 of Paint counter, €148.50, and filler closed``.

    Parameters
    ----------
    entry : LastEntry
    currency : str
        The build's.
    names : mapping of str to str, optional
        Names of lines and events by id; the id where there is none.
    risks : collection of str
        Ids of events: one that came is closed as a line is, and counts as none.
    """
    titles = names or {}

    def named(row: Mapping[str, object], field: str) -> str:
        found = str(row[field])
        return titles.get(found, found)

    def state(row: Mapping[str, object]) -> str:
        said = str(row["state"])
        before = entry.before.get(str(row["line_id"]), "")
        return _OPENED.get(before, _LINE_STATES[said]) if said == "open" else _LINE_STATES[said]

    parts: list[str] = []
    receipts = [change for change in entry.changes if change.table == "receipt"]
    for change in receipts[:1]:
        row: dict[str, Any] = dict(change.after or {})
        paid = row["amount_minor"] if row["charged_minor"] is None else row["charged_minor"]
        if len(receipts) > 1:
            parts.append(
                f"{len(receipts)} receipts, the first of {row['supplier']}, {exact(int(paid), currency)}"
            )
        elif row["voids"] is not None:
            parts.append(f"the void of receipt {row['voids']} of {row['supplier']}")
        else:
            parts.append(f"receipt {change.row_id} of {row['supplier']}, {exact(int(paid), currency)}")
    of_risks = [row for row in entry.rows("line_mark") if row["line_id"] in risks]
    of_lines = [row for row in entry.rows("line_mark") if row not in of_risks]
    parts += _several([(named(row, "line_id"), state(row)) for row in of_lines], "lines")
    parts += _several([(f"\u201c{named(row, 'line_id')}\u201d", state(row)) for row in of_risks], "risks")
    parts += _several(
        [
            (f"\u201c{named(row, 'event_id')}\u201d", WORDS[str(row["state"])])
            for row in entry.rows("event_mark")
        ],
        "risks",
    )
    parts += [
        f"the commitment to {row['supplier']} for {named(row, 'line_id')}, "
        f"{exact(int(row['expected_minor']), currency)}"
        for row in entry.rows("commitment")
    ]
    parts += [f"commitment {row['commitment_id']} {row['state']}" for row in entry.rows("commitment_end")]
    parts += [
        f"{exact(int(row['amount_minor']), currency)} left to buy of {named(row, 'line_id')}"
        for row in entry.rows("still_to_buy")
    ]
    parts += [
        f"the budget frozen at {exact(int(row['budget_minor']), currency)}" for row in entry.rows("baseline")
    ]
    kept = [str(row["name"]) for row in entry.rows("attachment")]
    if kept and receipts:
        parts[0] += f" with {', '.join(kept)}"
    elif kept:
        parts.append(f"{', '.join(kept)} kept with receipt {entry.rows('attachment')[0]['receipt_id']}")
    return " and ".join(parts)


def take_back_words(
    entry: LastEntry, currency: str, names: Mapping[str, str] | None = None, risks: Collection[str] = ()
) -> str:
    """Write on the button that undoes an entry what it takes back: ``Take back \u20ac148.50 to Paint counter``.

    Parameters
    ----------
    entry : LastEntry
    currency : str
        The build's.
    names : mapping of str to str, optional
        Names of lines and events by id; the id where there is none.
    risks : collection of str
        As for `entry_words`.
    """
    receipts, marks = entry.rows("receipt"), [*entry.rows("line_mark"), *entry.rows("event_mark")]
    agreed = entry.rows("commitment")
    if len(receipts) > 1:
        return f"Take back {so_many(len(receipts), 'receipt')}"
    if receipts:
        (row,) = receipts
        supplier = short(str(row["supplier"]), _ON_A_BUTTON)
        if row["voids"] is not None:
            return f"Put receipt {row['voids']} of {supplier} back"
        paid = int(row["amount_minor"] if row["charged_minor"] is None else row["charged_minor"])
        return f"Take back {exact(abs(paid), currency)} {'from' if paid < 0 else 'to'} {supplier}"
    if agreed:
        return f"Take back the price agreed with {short(str(agreed[0]['supplier']), _ON_A_BUTTON)}"
    if len(marks) == 1:
        name = str(marks[0].get("line_id") or marks[0].get("event_id"))
        return f"Take back what was said of \u201c{short((names or {}).get(name, name), _ON_A_BUTTON)}\u201d"
    if marks:
        lines = sum(row["line_id"] not in risks for row in entry.rows("line_mark"))
        each = [
            so_many(count, word) for count, word in ((lines, "line"), (len(marks) - lines, "risk")) if count
        ]
        return f"Take back what was said of {listed(each)}"
    if entry.rows("baseline"):
        return "Take back the frozen budget"
    return "Take back the last entry"
