"""A supplier's statement read into rows: from a CSV or spreadsheet file, or from lines as one types them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from decimal import Decimal
from pathlib import Path

from forecast.errors import ImportRefusedError, LedgerError, NumberError, Problem
from forecast.ledger.splitting import StatementRow
from forecast.tables.sniff import Cell
from forecast.tables.tabular import read_table
from forecast.words.minor_units import exponent, from_decimal, parse_money
from forecast.words.numbers import decimal_marks, look_at

_KINDS = ("item", "subtotal", "total")


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
    decimal = _mark(
        [cells[names.index("amount")] for cells in table.rows[1:] if len(cells) > names.index("amount")],
        currency,
    )
    for number, cells in enumerate(table.rows[1:], start=2):
        row: dict[str, Cell] = dict(zip(names, cells, strict=False))
        if not any(str(cell).strip() for cell in cells):
            continue
        kind = str(row.get("kind", "")).strip() or "item"
        if kind not in _KINDS:
            problems.append(
                Problem(f"row {number}, column kind", repr(kind), "Legal are item, subtotal and total.")
            )
        label = str(row.get("label", "")).strip()
        if "label" not in row:  # a row that ends before that column
            problems.append(
                Problem(f"row {number}, column label", "missing", "Say there what the sum is for.")
            )
        try:
            amount = _sum(row.get("amount", ""), currency, decimal)
            rows.append(StatementRow(label, amount, kind))
        except (LedgerError, NumberError) as error:
            problems.append(_problem(f"row {number}, column amount", error))
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
    parted = {
        number: _label_and_sum(line.strip())
        for number, line in enumerate(text.splitlines(), start=1)
        if line.strip()
    }
    decimal = _mark([amount for _, amount in parted.values()], currency)
    for number, (label, written) in parted.items():
        if not label or not written:
            found = repr(label or written)
            problems.append(Problem(f"line {number}", found, "Write a name, then its sum: Crate; 150.00"))
            continue
        first = re.sub(r"[^a-z]", "", label.casefold())
        kind = next((kind for kind in ("subtotal", "total") if first.startswith(kind)), "item")
        try:
            rows.append(StatementRow(label, parse_money(written, currency, decimal=decimal), kind))
        except NumberError as error:
            problems.append(_problem(f"line {number}", error))
    return _all_or_none("statement", rows, problems)


def _label_and_sum(line: str) -> tuple[str, str]:
    """Part a typed line into its name and its sum, which stands behind a mark, a wide gap, or the last word.

    A number that begins in the words before, as in ``Wheels 17 250.00``, could belong to either: it is given as a
    whole, without a name, so that it is asked for.
    """
    for gap in (r"\s*[;|\t]\s*", r"\s{2,}"):
        parts = re.split(gap, line)
        if len(parts) > 1 and parts[-1]:
            return line[: line.rindex(parts[-1])].rstrip(" ;|\t"), parts[-1]
    words = line.split(" ")
    sums = [start for start in range(len(words)) if look_at(" ".join(words[start:])).readings]
    if not sums:
        return line, ""
    longest, shortest = sums[0], sums[-1]
    plain = [start for start in range(longest, shortest) if words[start][-1:].isdigit()]
    if (
        plain and longest
    ):  # digits, a space and more digits: one sum with a space in it, or a name that ends in digits
        return "", line
    return " ".join(words[:longest]), " ".join(words[longest:])


def _mark(cells: Sequence[Cell], currency: str) -> str | None:
    """Give the decimal mark that a column settles; None where it does not."""
    marks = decimal_marks(cells, exponent(currency))
    return marks[0] if len(marks) == 1 else None


def _problem(where: str, error: LedgerError | NumberError) -> Problem:
    if isinstance(error, NumberError):
        return Problem(where, f"{error.text!r} {error.found}", error.mend)
    return Problem(where, str(error).rstrip("."), "Write a plain sum.")


def _all_or_none(
    heading: str, rows: Sequence[StatementRow], problems: Sequence[Problem]
) -> tuple[StatementRow, ...]:
    if problems:
        raise ImportRefusedError(heading, problems)
    if not rows:
        message = f"{heading}: there is no line in it. Write one line for each thing, and its sum."
        raise LedgerError(message)
    return tuple(rows)


def _sum(cell: Cell, currency: str, decimal: str | None) -> int:
    if isinstance(cell, Decimal):
        return from_decimal(cell, currency)
    return parse_money(str(cell), currency, decimal=decimal)
