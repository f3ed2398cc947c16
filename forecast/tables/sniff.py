"""Recognising how a bank's or card's file is laid out: encoding, delimiter, decimal mark, date order, columns.

What is recognised is only proposed. Where the cells allow two readings, that is said, and the builder
decides.
"""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from collections.abc import Iterable, Sequence
from contextlib import suppress
from datetime import date
from decimal import Decimal
from functools import lru_cache
from itertools import islice
from typing import Literal

from forecast.errors import LedgerError
from forecast.words.numbers import look_at
from forecast.words.text import bare_words

DateOrder = Literal["ymd", "dmy", "mdy"]
Cell = str | date | Decimal
"""Text from a CSV file; a day or a number where a spreadsheet says so itself."""

LONGEST_CELL = 131_072
"""Characters; a longer cell is most likely a quotation mark that was never closed."""
MOST_CELLS, MOST_ROWS, MOST_COLUMNS = 1_000_000, 100_000, 500
"""Cells, rows and columns of a file that are read; a ledger of 20,000 receipts has 400,000 cells."""
_LOOKED_AT = 200_000
csv.field_size_limit(2**31 - 1)  # it holds for the whole program: the limit above is kept by `split_rows`
_DELIMITERS = (",", ";", "\t", "|")
_DAY = re.compile(r"\s*(\d{1,4})([./\- ])\s?(\d{1,2})\2\s?(\d{1,4})\.?(?:[ T]\d{1,2}:\d{2}(?::\d{2})?.*)?\s*")

# Words that bank and card files commonly use in their headings (common practice, no source).
_HEADINGS: dict[str, tuple[str, ...]] = {
    "date": (
        "date", "transaction date", "booking date", "posting date", "value date", "datum", "buchungstag",
        "buchungsdatum", "valuta", "fecha", "data", "date operation", "dato",
    ),
    "debit": ("debit", "money out", "paid out", "withdrawal", "withdrawals", "soll", "debet", "cargo", "uscite", "af"),
    "credit": ("credit", "money in", "paid in", "deposit", "deposits", "haben", "abono", "entrate", "bij"),
    "amount": (
        "amount", "betrag", "umsatz", "montant", "importe", "importo", "bedrag", "belopp", "belob", "sum", "value",
        "valor", "amount paid",
    ),
    "supplier": (
        "payee", "merchant", "supplier", "description", "details", "name", "empfanger", "beguenstigter",
        "begunstigter", "auftraggeber", "verwendungszweck", "buchungstext", "libelle", "omschrijving", "concepto",
        "descrizione", "narrative", "text", "reference",
    ),
    "currency": ("currency", "wahrung", "waehrung", "devise", "moneda", "valuta code", "divisa", "munt", "ccy"),
    "line": ("line", "line item", "line id"),
    "note": ("note", "notes", "memo", "comment"),
    "settled": ("settled", "all paid", "paid up"),
}  # fmt: skip


def decode(content: bytes) -> tuple[str, str]:
    """Read bytes as text.

    Returns
    -------
    str, str
        The text and the name of its encoding: by its byte order mark, else UTF-8 where it is valid, else
        Windows 1252, which never fails to show European letters.

    Raises
    ------
    LedgerError
        If it is no text at all.
    """
    marks = ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"))
    encodings = [name for mark, name in marks if content.startswith(mark)] or ["utf-8", "cp1252", "latin-1"]
    for encoding in encodings:
        try:
            text = content.decode(encoding)
        except UnicodeDecodeError:
            continue
        if "\0" in text:
            break
        return text, encoding
    message = "the file is no text. Export it as CSV or XLSX."
    raise LedgerError(message)


def find_delimiter(text: str) -> str:
    """Find what stands between cells: the mark that gives most rows the same number of columns, two or more."""

    def evidence(delimiter: str) -> tuple[int, int]:
        rows = [row for row in _first_rows(text, delimiter) if any(cell.strip() for cell in row)]
        widths = Counter(len(row) for row in rows if len(row) > 1)
        return max(((count, width) for width, count in widths.items()), default=(0, 0))

    # A decimal comma makes "," look like a delimiter in every row; the real one then is another one that
    # appears in as many rows, so ";" wins ties.
    return max((";", "\t", "|", ","), key=lambda mark: evidence(mark)[0])


def _first_rows(text: str, delimiter: str) -> list[list[str]]:
    """Split off some rows to look at; the last of them may be cut short."""
    with suppress(csv.Error):
        return list(islice(csv.reader(io.StringIO(text[:_LOOKED_AT], newline=""), delimiter=delimiter), 200))
    return []


def split_rows(text: str, delimiter: str, longest: int = LONGEST_CELL) -> list[list[str]]:
    """Split text into rows of cells; line breaks inside quotes are part of their cell.

    Raises
    ------
    LedgerError
        If a cell is too long to be one, as after a quotation mark that is never closed.
    """
    try:
        rows: list[list[str]] = []
        cells = 0
        for row in csv.reader(io.StringIO(text, newline=""), delimiter=delimiter):
            if any(len(cell) > longest for cell in row):
                message = f"a cell has more than {longest:,} characters"
                raise csv.Error(message)
            cells += len(row)
            if cells > MOST_CELLS or len(rows) >= MOST_ROWS or len(row) > MOST_COLUMNS:
                message = (
                    f"the file has more than {MOST_COLUMNS} columns, {MOST_ROWS:,} rows or {MOST_CELLS:,} cells. "
                    "Take the days or the lines that you need."
                )
                raise LedgerError(message)
            rows.append(row)
        return rows
    except csv.Error as error:
        message = f"the file cannot be split into cells ({error}). A quotation mark may not be closed."
        raise LedgerError(message) from None


def find_header(rows: Sequence[Sequence[Cell]]) -> int:
    """Find the row of headings: the first row, as wide as most, whose cells are names and not dates or numbers.

    One that names a date comes before one that does not.

    Raises
    ------
    LedgerError
        If there is none.
    """
    filled = [sum(1 for cell in row if str(cell).strip()) for row in rows]
    width = Counter(len(row) for row, count in zip(rows, filled, strict=True) if count > 1).most_common(1)
    named: list[int] = []
    for index, row in enumerate(rows[:60]):
        names = [str(cell).strip() for cell in row if str(cell).strip()]
        looks_named = len(names) > 1 and not any(_is_day(cell) or _is_number(cell) for cell in row)
        if width and len(row) == width[0][0] and looks_named:
            if "date" in guess_columns(row):
                return index
            named.append(index)
    if named and len(rows) > named[0] + 1:
        return named[0]
    message = (
        "no row of headings was found. The file needs one with names such as Date, Description and Amount "
        "above its first payment."
    )
    raise LedgerError(message)


def guess_columns(header: Sequence[Cell]) -> dict[str, int]:
    """Guess which column holds what from the headings.

    Returns
    -------
    dict of str to int
        Column number, from 0, by role: date, amount or debit and credit, supplier, currency, line, note,
        settled.
    """
    names = [bare_words(str(cell)) for cell in header]
    found: dict[str, int] = {}
    for exact in (True, False):
        for role, words in _HEADINGS.items():
            if role in found:
                continue
            for word in words:
                # A whole word, so that "date" is not found in "update" nor "af" in "tariff".
                match = next(
                    (
                        index
                        for index, name in enumerate(names)
                        if index not in found.values()
                        and (name == word if exact else re.search(rf"\b{re.escape(word)}\b", name))
                    ),
                    None,
                )
                if match is not None:
                    found[role] = match
                    break
    if "amount" in found and ("debit" in found) != ("credit" in found):
        found.pop("debit", None)  # one of the pair alone is a marker column, not a sum
        found.pop("credit", None)
    if "debit" in found and "credit" in found:
        found.pop("amount", None)
    return found


def is_settled(cell: Cell) -> bool | None:
    """Read whether a payment is all for its line: yes, no, or empty where nothing is said.

    Raises
    ------
    LedgerError
        If it is none of these.
    """
    written = str(cell).strip().casefold()
    if written in ("", "?"):
        return None
    if written in ("yes", "y", "true", "1", "x"):
        return True
    if written in ("no", "n", "false", "0"):
        return False
    message = (
        f"{str(cell).strip()!r}. Write yes where it is all for its line, no where more is to come, or nothing"
    )
    raise LedgerError(message)


def find_date_orders(cells: Iterable[Cell]) -> tuple[DateOrder, ...]:
    """Give every order of day, month and year that all cells allow, the likeliest first."""
    texts = [cell for cell in cells if isinstance(cell, str) and cell.strip()]
    orders: tuple[DateOrder, ...] = ("ymd", "dmy", "mdy")
    return tuple(order for order in orders if all(parse_day(text, order) is not None for text in texts))


def parse_day(cell: Cell, order: DateOrder) -> date | None:
    """Read a day written in that order; None if it is no day. A time of day behind it is ignored."""
    if isinstance(cell, date):
        return cell
    return None if isinstance(cell, Decimal) else _day_written(cell, order)


@lru_cache(maxsize=8192)  # a file names the same days again and again
def _day_written(cell: str, order: DateOrder) -> date | None:
    compact = re.fullmatch(r"\s*(\d{4})(\d{2})(\d{2})\s*", cell)
    match = compact or _DAY.fullmatch(cell)
    if match is None:
        return None
    parts = list(match.groups()) if compact else [match[1], match[3], match[4]]
    if compact and order != "ymd":
        return None
    if (
        not compact and match[2] == "." and order == "mdy"
    ):  # points are written day first (common practice, no source)
        return None
    year, month, day = (parts[order.index(letter)] for letter in "ymd")
    if len(year) not in (2, 4) or len(month) > 2 or len(day) > 2 or (order == "ymd" and len(year) != 4):
        return None
    try:
        return date(int(year) + (2000 if len(year) == 2 else 0), int(month), int(day))
    except ValueError:
        return None


def _is_day(cell: Cell) -> bool:
    return any(parse_day(cell, order) is not None for order in ("ymd", "dmy", "mdy"))


def _is_number(cell: Cell) -> bool:
    return isinstance(cell, Decimal) or (isinstance(cell, str) and bool(look_at(cell).readings))
