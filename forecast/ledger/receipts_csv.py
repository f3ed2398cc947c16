"""A ledger as one plain CSV file, for demo builds and for keeping: written by hand or exported, and read back.

One row is one part of a receipt, or one other thing that happened. Columns (in any order; only ``date`` and
those a kind needs must be there):

``date``
    When it held, as 2026-05-03.
``receipt``
    The entry's own key. Rows with the same key are the parts of one receipt. Without a key a row is a receipt
    of its own. Loading a key that is there already changes nothing.
``kind``
    ``payment`` (also when empty), ``refund``, ``deposit``, ``balance``: a receipt.
    ``void``: the receipt with that key no longer counts; ``note`` says why.
    ``commitment``: a fixed price agreed for ``line``, ``estimate`` one that may still grow; ``settled``, ``cancelled``:
    the commitment with that key ended. ``close``, ``more`` (more is to come), ``reopen``: the line's state.
    ``happened``, ``cannot-happen``, ``event-open``: the event in ``line``. ``still-to-buy``: ``amount`` is what is
    left to buy of the line.
    ``freeze``: ``amount`` is the budget; ``baseline`` holds the rest as JSON (fingerprint, build_text, seed,
    trials, base_by_line, scenario), and may be empty in a file written by hand.
``supplier``, ``line``, ``note``
    Who was paid, for which line, anything worth keeping.
``amount``, ``currency``
    What the supplier charged for this row, above zero, with a decimal point (refunds too; a discount inside a
    receipt is negative). Where ``charged`` is given the first row may hold the whole sum and the others none.
``charged``, ``charged_currency``
    What the card was charged for this row, where that was another currency; for a commitment, what is
    expected.
``against``
    Key of the commitment that a receipt is paid against; empty where it is against none. In a file without this
    column a receipt counts against the price agreed with its supplier for its line.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any, TypeAlias, cast

from forecast.errors import ImportRefusedError, LedgerError, NumberError, Problem
from forecast.ledger import Baseline, Ledger, NewReceipt, Receipt, ReceiptKind
from forecast.ledger.records import AgreementKind
from forecast.ledger.store import clean
from forecast.tables.tabular import read_table
from forecast.words.minor_units import format_plain, parse_money

COLUMNS = (
    "date", "receipt", "kind", "supplier", "amount", "currency", "line", "charged", "charged_currency", "against",
    "note", "baseline",
)  # fmt: skip
LONGEST_CELL = 40_000_000
"""Characters: a frozen build file of 5 MB, every one of them escaped."""
_RECEIPTS = ("payment", "refund", "deposit", "balance")
_OTHERS = (
    "void", "commitment", "estimate", "settled", "cancelled", "close", "more", "reopen", "happened", "cannot-happen",
    "event-open", "still-to-buy", "freeze",
)  # fmt: skip
_TEXTS = ("receipt", "supplier", "line", "against", "note")
_LOOKS_LIVE = re.compile(r"'*[=+\-@]")
_EVENT_STATES = {"happened": "happened", "cannot-happen": "cannot-happen", "event-open": "open"}
_LINE_STATES = {"close": "closed", "more": "more", "reopen": "open"}
_KIND_OF_STATE = {
    "event": {state: kind for kind, state in _EVENT_STATES.items()},
    "line": {state: kind for kind, state in _LINE_STATES.items()},
}
_AGREEMENTS: dict[str, AgreementKind] = {"commitment": "fixed", "estimate": "estimate"}


@dataclass(frozen=True)
class Loaded:
    """How many rows of each kind a file held; a receipt of several parts counts once."""

    counts: dict[str, int]


def load_receipts_csv(path: str | Path, ledger: Ledger, content: bytes | None = None) -> Loaded:
    """Read a file into a ledger: all of it, or nothing. Loading it again changes nothing.

    Parameters
    ----------
    path : str or Path
    ledger : Ledger
    content : bytes, optional
        What stands in the file, where it was sent and not read from this disk.

    Raises
    ------
    ImportRefusedError
        If any row is wrong; every such row is named.
    LedgerError
        If the file cannot be read, or the ledger cannot be written.
    """
    names, rows = _read(path, content)
    problems: list[Problem] = []
    steps: list[_Step] = []
    receipts: dict[str, list[tuple[int, dict[str, str]]]] = {}
    seen: dict[str, int] = {}
    for number, row in rows:
        kind = row["kind"] or "payment"
        if kind not in _RECEIPTS + _OTHERS:
            legal = ", ".join(_RECEIPTS + _OTHERS)
            problems.append(Problem(f"row {number}, column kind", f"{kind!r}", f"Legal are {legal}."))
            continue
        if kind in _RECEIPTS:
            key = row["receipt"] or _key_of(row, seen)
            if key not in receipts:
                steps.append((number, kind, row | {"receipt": key}))
            receipts.setdefault(key, []).append((number, row))
        else:
            steps.append((number, kind, row))
    counts: dict[str, int] = {}
    with ledger.together():
        for number, kind, row in _in_turn(steps):
            counts[kind] = counts.get(kind, 0) + 1
            try:
                if kind in _RECEIPTS:
                    key = row["receipt"]
                    _add_receipt(ledger, kind, key, receipts[key], told="against" in names)
                else:
                    _add_other(ledger, kind, row, seen)
            except (LedgerError, NumberError) as error:
                problems.append(Problem(f"row {number}", str(error).rstrip("."), ""))
        if problems:  # raised inside, so that nothing of the file is kept
            heading = f"{path}: nothing was loaded"
            raise ImportRefusedError(heading, problems)
    return Loaded(counts)


_Step: TypeAlias = tuple[int, str, dict[str, str]]
"""A row's number, its kind, and what stands in it."""


def _in_turn(steps: Sequence[_Step]) -> Sequence[_Step]:
    """Put what others refer to first, wherever it stands: a deposit may be dated before its commitment.

    A void stays where it is among receipts, so that what was entered anew after a mistake stands after it; one that is
    written before its receipt comes after all of them.
    """
    to_come = {row["receipt"] for _, kind, row in steps if kind in _RECEIPTS}
    turns = []
    for _, kind, row in steps:
        if kind in _RECEIPTS:
            to_come.discard(row["receipt"])
        early = kind in _RECEIPTS or (kind == "void" and row["receipt"] not in to_come)
        turns.append(0 if kind in _AGREEMENTS else 1 if early else 2)
    return [step for _, step in sorted(zip(turns, steps, strict=True), key=lambda one: one[0])]


def is_ledger_text(path: str | Path, content: bytes | None = None) -> bool:
    """Tell whether a file is there and has the columns of a ledger kept as text, the lines of a build among them."""
    try:
        table = read_table(path, content=content, delimiter=",", longest=LONGEST_CELL)
        names = [str(cell).strip() for cell in table.rows[0]]
    except (LedgerError, IndexError):
        return False
    return {"date", "line"} <= set(names) <= set(COLUMNS)


def receipts_csv(ledger: Ledger) -> str:
    """Give all that a ledger holds as the text of a file that ``load_receipts_csv`` reads back.

    Documents, what was undone and the history of who did what are not in it: `forecast.ledger.backup` keeps all.
    """
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, COLUMNS, restval="", lineterminator="\n")
    writer.writeheader()
    for row in _export_rows(ledger):
        writer.writerow({name: _to_cell(value) if name in _TEXTS else value for name, value in row.items()})
    return text.getvalue()


def _to_cell(text: str) -> str:
    """Give text as a cell: a spreadsheet takes what begins with one of these signs for a formula, and runs it.

    An apostrophe before it marks it as text, in spreadsheets and for `_from_cell`. The signs are those that OWASP lists
    under "CSV Injection" (from memory); control characters go, as a ledger of an earlier version may hold some.
    """
    text = clean(text, lines=True)
    return f"'{text}" if _LOOKS_LIVE.match(text) else text


def _from_cell(text: str) -> str:
    return text[1:] if text.startswith("'") and _LOOKS_LIVE.match(text) else text


def _read(
    path: str | Path, content: bytes | None = None
) -> tuple[list[str], list[tuple[int, dict[str, str]]]]:
    """Read the columns' names, and rows by them, each with its number from 1, headings counted."""
    table = read_table(path, content=content, delimiter=",", longest=LONGEST_CELL)
    if not table.rows:
        return [], []
    names = [str(cell).strip() for cell in table.rows[0]]
    unknown = [name for name in names if name not in COLUMNS]
    if unknown or "date" not in names:
        found = f"column {unknown[0]!r}" if unknown else "no column 'date'"
        message = f"{path}: {found}. Legal columns are {', '.join(COLUMNS)}."
        raise LedgerError(message)
    rows: list[tuple[int, dict[str, str]]] = []
    for number, cells in enumerate(table.rows[1:], start=2):
        if any(str(cell).strip() for cell in cells):
            row = dict.fromkeys(COLUMNS, "") | {
                name: _from_cell(str(cell).strip()) if name in _TEXTS else str(cell).strip()
                for name, cell in zip(names, cells, strict=False)
            }
            rows.append((number, row))
    return names, rows


def _key_of(row: Mapping[str, str], seen: dict[str, int]) -> str:
    """Make the key of a row that has none: the same for the same row in the same place among equals."""
    text = json.dumps([row[name] for name in COLUMNS])
    seen[text] = seen.get(text, 0) + 1
    return "row:" + hashlib.sha256(f"{text}{seen[text]}".encode()).hexdigest()[:24]


def _add_receipt(
    ledger: Ledger, kind: str, key: str, rows: list[tuple[int, dict[str, str]]], *, told: bool
) -> None:
    """Enter a receipt; ``told`` says that the file has a column for what it is paid against, so that empty is none."""
    first = rows[0][1]
    currency = first["currency"] or ledger.currency or ""
    foreign = any(row["charged"] for _, row in rows)
    for number, row in rows[1:]:
        for name in ("date", "supplier", "kind", "currency", "charged_currency", "against"):
            if row[name] not in ("", first[name]):
                message = f"row {number}, column {name}: {row[name]!r} differs from {first[name]!r} in the first row "
                message += f"of receipt {key!r}. Use one, or give it another receipt key."
                raise LedgerError(message)
    amount = sum(
        parse_money(row["amount"], currency, decimal=".") for _, row in rows if row["amount"] or not foreign
    )
    charged_currency = first["charged_currency"] or ledger.currency or ""
    column, unit = ("charged", charged_currency) if foreign else ("amount", currency)
    splits = tuple((row["line"], parse_money(row[column], unit, decimal=".")) for _, row in rows)
    paid = (sum(part for _, part in splits), charged_currency) if foreign else None
    entry = NewReceipt(
        date=first["date"],
        supplier=first["supplier"],
        amount_minor=amount,
        currency=currency,
        splits=splits,
        note=first["note"],
        paid=paid,
        kind=cast(ReceiptKind, kind),
        entry_key=key,
        commitment_id=_commitment(ledger, first["against"]) if first["against"] else None,
        apart=told and not first["against"],
    )
    ledger.add_receipts([entry])


def _commitment(ledger: Ledger, key: str) -> int:
    found = [item.id for item in ledger.list_commitments(include_ended=True) if item.entry_key == key]
    if not found:
        message = (
            f"there is no commitment {key!r}, in this file or entered before. Correct the key, or add its row"
        )
        raise LedgerError(message)
    return found[0]


def _add_other(ledger: Ledger, kind: str, row: dict[str, str], seen: dict[str, int]) -> None:
    """Enter what is no receipt, unless it is there already."""
    day, line, note, key = row["date"], row["line"], row["note"], row["receipt"]
    currency = row["currency"] or ledger.currency or ""
    if kind == "void":
        found = [item for item in ledger.list_receipts(include_void=True) if item.entry_key == key]
        if not found:
            message = f"there is no receipt {key!r}, in this file or entered before. Correct the key, or add its row"
            raise LedgerError(message)
        if found[0].voided_by is None:
            ledger.void_receipt(found[0].id, note, day)
    elif kind in _AGREEMENTS:
        expected = row["charged"] and parse_money(
            row["charged"], row["charged_currency"] or ledger.currency or "", decimal="."
        )
        ledger.add_commitment(
            day, row["supplier"], line, parse_money(row["amount"], currency, decimal="."), currency, note,
            expected_minor=expected or None, entry_key=key or _key_of(row, seen), kind=_AGREEMENTS[kind],
        )  # fmt: skip
    elif kind in ("settled", "cancelled"):
        there = {item.id: item.state for item in ledger.list_commitments(include_ended=True)}
        identity = _commitment(ledger, key)
        if there[identity] != kind:
            end = ledger.settle_commitment if kind == "settled" else ledger.cancel_commitment
            end(identity, day, note)
    elif kind == "still-to-buy":
        left = parse_money(row["amount"], currency, decimal=".")
        said = [
            (item.line_id, item.amount_minor, str(item.date), item.note)
            for item in ledger.list_still_to_buy()
        ]
        if said.count((line, left, day, note)) < _nth(("left", line, left, day, note), seen):
            ledger.say_still_to_buy(line, left, day, note, anyway=True)
    elif kind == "freeze":
        _freeze(ledger, row, currency, key or _key_of(row, seen))
    else:
        about = "event" if kind in _EVENT_STATES else "line"
        state = (_EVENT_STATES | _LINE_STATES)[kind]
        marks = [
            (about_, mark.subject, mark.state, str(mark.date), mark.note)
            for about_, mark in ledger.list_marks()
        ]
        if marks.count((about, line, state, day, note)) >= _nth(
            ("mark", about, line, state, day, note), seen
        ):
            return
        if about == "event":
            ledger.mark_event(line, state, day, note, anyway=True)  # type: ignore[arg-type]  # from the table above
        else:
            say = {"close": ledger.close_line, "more": ledger.expect_more, "reopen": ledger.reopen_line}[kind]
            say(line, day, note, anyway=True)


def _nth(row: tuple[object, ...], seen: dict[str, int]) -> int:
    """Count how often a row stood in the file so far: a line may be closed, opened and closed on one day."""
    text = repr(row)
    seen[text] = seen.get(text, 0) + 1
    return seen[text]


def _freeze(ledger: Ledger, row: dict[str, str], currency: str, key: str) -> None:
    try:
        rest: dict[str, Any] = json.loads(row["baseline"] or "{}")
    except ValueError as error:
        message = f"column baseline: no JSON ({error}). Leave it empty, or export it again"
        raise LedgerError(message) from None
    ledger.freeze_baseline(
        parse_money(row["amount"], currency, decimal="."),
        currency,
        fingerprint=rest.get("fingerprint", ""),
        build_text=rest.get("build_text", ""),
        seed=rest.get("seed", 1),
        trials=rest.get("trials", 16384),
        base_by_line=rest.get("base_by_line", {}),
        scenario=rest.get("scenario"),
        date=row["date"],
        note=row["note"],
        entry_key=key,
    )


def _export_rows(ledger: Ledger) -> Iterator[dict[str, str]]:
    """Give all rows by date; commitments before what is paid against them, ends after what they end."""
    dated: list[tuple[date, int, int, list[dict[str, str]]]] = []
    commitments = ledger.list_commitments(include_ended=True)
    keys = {item.id: item.entry_key for item in commitments}
    ends = {
        change.after["commitment_id"]: str(change.after["note"])
        for change in ledger.history("commitment_end")
        if change.after is not None
    }
    for order, item in enumerate(commitments):
        row = {
            "kind": "commitment" if item.kind == "fixed" else item.kind, "receipt": item.entry_key,
            "supplier": item.supplier, "line": item.line_id,
            "amount": format_plain(item.amount_minor, item.currency), "currency": item.currency, "note": item.note,
        }  # fmt: skip
        if item.currency != ledger.currency and ledger.currency:
            row["charged"] = format_plain(item.expected_minor, ledger.currency)
            row["charged_currency"] = ledger.currency
        dated.append((item.date, 0, order, [row]))
        if item.ended is not None:
            end = {"kind": item.state, "receipt": item.entry_key, "note": ends.get(item.id, "")}
            dated.append((item.ended, 4, order, [end]))
    receipts = ledger.list_receipts(include_void=True)
    by_id = {receipt.id: receipt for receipt in receipts}
    for receipt in receipts:
        if receipt.voids is None:
            dated.append((receipt.date, 1, receipt.id, list(_receipt_rows(receipt, keys))))
        else:
            void = {"kind": "void", "receipt": by_id[receipt.voids].entry_key, "note": receipt.note}
            dated.append((receipt.date, 1, receipt.id, [void]))
    for order, (about, mark) in enumerate(ledger.list_marks()):
        kind = _KIND_OF_STATE[about][mark.state]
        dated.append((mark.date, 3, order, [{"kind": kind, "line": mark.subject, "note": mark.note}]))
    for order, left in enumerate(ledger.list_still_to_buy()):
        amount, unit = format_plain(left.amount_minor, ledger.currency or "EUR"), ledger.currency or "EUR"
        row = {
            "kind": "still-to-buy",
            "line": left.line_id,
            "amount": amount,
            "currency": unit,
            "note": left.note,
        }
        dated.append((left.date, 3, order, [row]))
    for order, baseline in enumerate(ledger.list_baselines()):
        dated.append((baseline.date, 5, order, [_baseline_row(baseline)]))
    for day, _, _, rows in sorted(dated, key=lambda entry: entry[:3]):
        for row in rows:
            yield row | {"date": day.isoformat()}


def _receipt_rows(receipt: Receipt, commitments: Mapping[int, str]) -> Iterator[dict[str, str]]:
    sign = -1 if receipt.kind == "refund" else 1
    foreign = receipt.charged_currency is not None
    for number, split in enumerate(receipt.splits):
        part = format_plain(sign * split.amount_minor, receipt.paid_currency)
        row = {
            "receipt": receipt.entry_key, "kind": receipt.kind, "supplier": receipt.supplier, "amount": part,
            "currency": receipt.currency, "line": split.line_id, "note": receipt.note,
        }  # fmt: skip
        if foreign:
            row["amount"] = "" if number else format_plain(sign * receipt.amount_minor, receipt.currency)
            row["charged"], row["charged_currency"] = part, receipt.charged_currency or ""
        if receipt.commitment_id is not None:
            row["against"] = commitments[receipt.commitment_id]
        yield row


def _baseline_row(baseline: Baseline) -> dict[str, str]:
    names = ("fingerprint", "build_text", "seed", "trials", "base_by_line", "scenario")
    rest = {name: getattr(baseline, name) for name in names}
    return {
        "kind": "freeze", "receipt": baseline.entry_key, "currency": baseline.currency, "note": baseline.note,
        "amount": format_plain(baseline.budget_minor, baseline.currency),
        "baseline": json.dumps(rest, ensure_ascii=False),
    }  # fmt: skip
