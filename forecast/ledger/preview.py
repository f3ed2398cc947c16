"""What is recognised of a bank's or card's file before anything is entered, for the builder to confirm."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any, Literal

from forecast.errors import LedgerError
from forecast.ledger import Ledger
from forecast.tables.sniff import (
    Cell,
    DateOrder,
    find_date_orders,
    find_header,
    guess_columns,
    parse_day,
)
from forecast.tables.tabular import Table, read_table
from forecast.words.minor_units import exponent
from forecast.words.numbers import decimal_marks, doubtful

ROLES = ("date", "supplier", "amount", "debit", "credit", "currency", "line", "note", "settled")
"""What a column may hold."""

MOST_PAYMENTS = 20_000
"""Rows of a bank's or card's file."""

Spending = Literal["negative", "positive"]
"""Whether money that leaves stands with a minus (bank accounts) or without (most card statements)."""


@dataclass(frozen=True)
class Layout:
    """How a source's files are laid out; what the ledger remembers of it.

    Attributes
    ----------
    columns : dict of str to str
        Heading by role: date, supplier, amount or debit and credit, and optionally currency, line, note, settled.
    """

    encoding: str
    delimiter: str
    decimal: str
    date_order: DateOrder
    spending: Spending
    columns: dict[str, str]


@dataclass(frozen=True)
class Preview:
    """What was recognised of a file, to be shown and confirmed before anything is entered.

    Attributes
    ----------
    header : int
        Index of the row of headings, from 0.
    questions : dict of str to str
        What the file alone does not tell, by the name of the layout's field; empty when nothing is open.
    remembered : bool
        Whether the layout is the one confirmed for this source before.
    """

    table: Table
    source: str
    currency: str
    layout: Layout
    header: int
    questions: dict[str, str]
    remembered: bool

    @property
    def headings(self) -> tuple[str, ...]:
        """The headings as they stand in the file."""
        return tuple(str(cell).strip() for cell in self.table.rows[self.header])

    def sample(self, count: int = 5) -> list[dict[str, str]]:
        """Give the first rows as they would be read, for showing."""
        index = column_numbers(self)
        return [
            {role: str(row[at]) for role, at in index.items() if at < len(row)}
            for _, row in payments(self)[:count]
        ]


def open_import(
    path: str | Path,
    ledger: Ledger,
    *,
    source: str,
    content: bytes | None = None,
    currency: str | None = None,
    **known: Any,
) -> Preview:
    """Read a file and recognise how it is laid out; nothing is entered.

    Parameters
    ----------
    path : str or Path
        CSV or XLSX.
    ledger : Ledger
        Where layouts confirmed before are remembered.
    source : str
        The builder's name for the account, such as "card".
    content : bytes, optional
        What stands in the file, where it was sent and not read from this disk.
    currency : str, optional
        Of rows that do not say; the build's when left out.
    **known
        Fields of ``Layout`` that need not be recognised.

    Raises
    ------
    LedgerError
        If the file cannot be read or has no headings, no date column or no amount.
    """
    own = currency or ledger.currency
    if own is None:
        message = "the build's currency is not known yet. Say in which currency the file is."
        raise LedgerError(message)
    remembered = ledger.source(source) or {}
    usable = {"encoding": known.get("encoding"), "delimiter": known.get("delimiter")}
    table = read_table(
        path, content=content, encoding=usable.get("encoding"), delimiter=usable.get("delimiter")
    )
    if len(table.rows) > MOST_PAYMENTS:
        message = f"{path}: has {len(table.rows):,} rows, and {MOST_PAYMENTS:,} are read. Take the days of the build."
        raise LedgerError(message)
    try:
        header = find_header(table.rows)
        names = [str(cell).strip() for cell in table.rows[header]]
        same_columns = set(dict(remembered.get("columns", {})).values()) <= set(names)  # type: ignore[call-overload]
        kept = {key: value for key, value in remembered.items() if same_columns} | known
        columns = dict(kept.get("columns") or {role: names[at] for role, at in guess_columns(names).items()})  # type: ignore[call-overload]
        _check_columns(columns, names)
        draft = Layout(table.encoding, table.delimiter, ".", "ymd", "negative", columns)
        preview = Preview(table, source, own, draft, header, {}, bool(remembered) and same_columns)
        return _recognise(preview, kept)
    except LedgerError as error:
        message = f"{path}: {error}"
        raise LedgerError(message) from None


def proposed_columns(
    path: str | Path, ledger: Ledger, *, source: str, content: bytes | None = None, **usable: str
) -> tuple[tuple[str, ...], dict[str, str]]:
    """Give a file's headings, and the columns remembered or guessed, complete or not.

    Parameters
    ----------
    path, ledger, source, content
        As for ``open_import``.
    **usable
        Encoding and delimiter, where the builder knows better.

    Raises
    ------
    LedgerError
        If the file cannot be read or has no headings.
    """
    table = read_table(
        path, content=content, encoding=usable.get("encoding"), delimiter=usable.get("delimiter")
    )
    try:
        row = table.rows[find_header(table.rows)]
    except LedgerError as error:
        message = f"{path}: {error}"
        raise LedgerError(message) from None
    names = [str(cell).strip() for cell in row]
    kept: Mapping[str, str] = (ledger.source(source) or {}).get("columns") or {}  # type: ignore[assignment]
    if not kept or not set(kept.values()) <= set(names):
        kept = {role: names[at] for role, at in guess_columns(names).items()}
    return tuple(filter(None, names)), dict(kept)


def confirm(preview: Preview, **decided: Any) -> Preview:
    """Decide what was recognised otherwise or not at all.

    Parameters
    ----------
    preview : Preview
        As recognised.
    **decided
        Fields of ``Layout``: `decimal`, `date_order`, `spending`, `columns`.

    Returns
    -------
    Preview
        Without the questions that were answered.

    Raises
    ------
    LedgerError
        If there is no such field, or a column has a heading that the file has not.
    """
    legal = {field.name for field in fields(Layout)} - {"encoding", "delimiter"}
    legal_values = {
        "decimal": (".", ","),
        "date_order": ("ymd", "dmy", "mdy"),
        "spending": ("negative", "positive"),
    }
    for name, value in decided.items():
        if name not in legal:
            message = (
                f"{name}: nothing of that name can be decided here. Legal are {', '.join(sorted(legal))}."
            )
            raise LedgerError(message)
        if name in legal_values and value not in legal_values[name]:
            message = f"{name}: got {value!r}. Legal are {', '.join(legal_values[name])}."
            raise LedgerError(message)
    if "columns" in decided:
        _check_columns(decided["columns"], preview.headings)
    questions = {name: text for name, text in preview.questions.items() if name not in decided}
    return replace(preview, layout=replace(preview.layout, **decided), questions=questions)


def _check_columns(columns: Mapping[str, str], names: Collection[str]) -> None:
    missing = [heading for heading in columns.values() if heading not in names]
    if missing:
        message = f"no column is headed {missing[0]!r}. The file has {', '.join(filter(None, names))}."
        raise LedgerError(message)
    for role, mend in (("date", "when it was paid"), ("supplier", "who was paid")):
        if role not in columns:
            message = f"no column says {mend}. Say which of {', '.join(filter(None, names))} does ({role})."
            raise LedgerError(message)
    if "amount" not in columns and not {"debit", "credit"} <= set(columns):
        message = f"no column says how much. Say which of {', '.join(filter(None, names))} does (amount)."
        raise LedgerError(message)


def column_numbers(preview: Preview) -> dict[str, int]:
    """Give the column of each role, from 0."""
    return {role: preview.headings.index(heading) for role, heading in preview.layout.columns.items()}


def payments(preview: Preview) -> list[tuple[int, tuple[Cell, ...]]]:
    """Give the rows below the headings that are not empty, with their numbers from 1."""
    rows = enumerate(preview.table.rows[preview.header + 1 :], start=preview.header + 2)
    return [(number, row) for number, row in rows if any(str(cell).strip() for cell in row)]


def _cells(preview: Preview, *roles: str) -> list[Cell]:
    index = column_numbers(preview)
    numbers = [index[role] for role in roles if role in index]
    return [row[at] for _, row in payments(preview) for at in numbers if at < len(row)]


def _recognise(preview: Preview, kept: Mapping[str, Any]) -> Preview:
    """Fill in decimal mark, date order and sign from the cells, where they are not known; ask where they are open."""
    questions: dict[str, str] = {}
    orders = find_date_orders(_cells(preview, "date"))
    order = kept.get("date_order")
    if order is None:
        order = orders[0] if orders else "dmy"
        texts = [cell for cell in _cells(preview, "date") if isinstance(cell, str) and cell.strip()]
        if len(orders) > 1 and any(
            parse_day(text, orders[0]) != parse_day(text, orders[1]) for text in texts
        ):
            example = next(text for text in texts if parse_day(text, orders[0]) != parse_day(text, orders[1]))
            first, second = (parse_day(example, legal) for legal in orders[:2])
            questions["date_order"] = (
                f"{example.strip()!r} may be {first} ({orders[0]}) or {second} ({orders[1]}): say which."
            )
    amounts = _cells(preview, "amount", "debit", "credit")
    decimal = kept.get("decimal")
    if decimal is None:
        marks = decimal_marks(amounts, exponent(preview.currency)) or (".",)
        decimal = marks[0] if len(marks) == 1 else "," if preview.layout.delimiter == ";" else "."
        if doubt := doubtful(amounts, exponent(preview.currency)):
            questions["decimal"] = f"{doubt}, and no other sum tells: say which mark is the decimal one."
    layout = replace(preview.layout, decimal=decimal, date_order=order)
    spending: Spending | None = kept.get("spending")
    if spending is None:
        minus = sum(
            1 for cell in amounts if str(cell).strip()[:1] in ("-", "\u2212", "(") or str(cell).endswith("-")
        )
        spending = (
            "negative" if "amount" in layout.columns and minus * 2 >= max(1, len(amounts)) else "positive"
        )
        if "amount" in layout.columns and 0 < minus < len(amounts):
            questions["spending"] = (
                f"{minus} of {len(amounts)} sums have a minus: say whether money spent is negative or"
                f" positive."
            )
    return replace(preview, layout=replace(layout, spending=spending), questions=questions)
