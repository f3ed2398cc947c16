"""A supplier's statement read into rows: from a CSV or spreadsheet file, or from lines as one types them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from decimal import Decimal
from pathlib import Path

from forecast.errors import ImportRefusedError, LedgerError, Problem
from forecast.spending.money import from_decimal, parse_money
from forecast.spending.sniff import Cell
from forecast.spending.splitting import StatementRow
from forecast.spending.tabular import read_table

_KINDS = ("item", "subtotal", "total")
_TYPED = re.compile(
    r"(?P<label>.*?)(?:\s*[;|\t]\s*|\s{2,}|\s+)(?P<amount>[^\s;|]*\d[^\s;|]*(?:\s[A-Z]{3})?)\s*"
)


def read_statement(path: str | Path, currency: str, content: bytes | None = None) -> tuple[StatementRow, ...]:
    """Read a file with the columns label, amount and, where a row is a sum of those above, kind.

    Parameters
    ----------
    path : str or Path
        CSV or XLSX.
    currency : str
        Of the sums.
    content : bytes, optional
        What stands in the file, where it was sent and not read from this disk.

    Raises
    ------
    ImportRefusedError
        Naming every row whose sum or kind cannot be read.
    LedgerError
        If the file cannot be read, or lacks a column.
    """
    table = read_table(path, content=content)
    names = [str(cell).strip().casefold() for cell in table.rows[0]] if table.rows else []
    if not {"label", "amount"} <= set(names):
        message = f"{path}: its first row must name the columns label, amount and, for sums, kind."
        raise LedgerError(message)
    rows: list[StatementRow] = []
    problems: list[Problem] = []
    for number, cells in enumerate(table.rows[1:], start=2):
        row: dict[str, Cell] = dict(zip(names, cells, strict=False))
        if not any(str(cell).strip() for cell in cells):
            continue
        kind = str(row.get("kind", "")).strip() or "item"
        if kind not in _KINDS:
            problems.append(
                Problem(f"row {number}, column kind", repr(kind), "Legal are item, subtotal and total.")
            )
        try:
            rows.append(StatementRow(str(row["label"]).strip(), _sum(row.get("amount", ""), currency), kind))
        except LedgerError as error:
            problems.append(
                Problem(f"row {number}, column amount", str(error).rstrip("."), "Write a plain sum.")
            )
    return _all_or_none(str(path), rows, problems)


def typed_statement(text: str, currency: str) -> tuple[StatementRow, ...]:
    """Read lines as one types them: a name, then its sum; a name that begins with total or subtotal is a sum.

    Raises
    ------
    ImportRefusedError
        Naming every line that cannot be read.
    """
    rows: list[StatementRow] = []
    problems: list[Problem] = []
    for number, line in enumerate(text.splitlines(), start=1):
        if not line.strip():
            continue
        match = _TYPED.fullmatch(line.strip())
        if match is None or not match["label"]:
            problems.append(
                Problem(f"line {number}", repr(line.strip()), "Write a name, then its sum: Crate 150.00")
            )
            continue
        first = re.sub(r"[^a-z]", "", match["label"].casefold())
        kind = next((kind for kind in ("subtotal", "total") if first.startswith(kind)), "item")
        try:
            rows.append(StatementRow(match["label"], parse_money(match["amount"], currency), kind))
        except LedgerError as error:
            problems.append(Problem(f"line {number}", str(error).rstrip("."), "Write a plain sum."))
    return _all_or_none("statement", rows, problems)


def _all_or_none(
    heading: str, rows: Sequence[StatementRow], problems: Sequence[Problem]
) -> tuple[StatementRow, ...]:
    if problems:
        raise ImportRefusedError(heading, problems)
    if not rows:
        message = f"{heading}: there is no line in it. Write one line for each thing, and its sum."
        raise LedgerError(message)
    return tuple(rows)


def _sum(cell: Cell, currency: str) -> int:
    if isinstance(cell, Decimal):
        return from_decimal(cell, currency)
    return parse_money(str(cell), currency)
