"""Files of rows and columns, CSV or XLSX, read into plain cells."""

from __future__ import annotations

import hashlib
import io
import warnings
import zipfile
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

from forecast.errors import LedgerError
from forecast.tables.files import in_words, read_regular, why_not
from forecast.tables.sniff import LONGEST_CELL, MOST_COLUMNS, Cell, decode, find_delimiter, split_rows

LARGEST_TABLE = 25_000_000
"""Bytes; a bank's file of ten years is far smaller."""
LARGEST_SHEET = 30_000_000
"""Bytes of a spreadsheet unpacked, all its parts together."""
MOST_SHEET_CELLS = 250_000
"""Cells of a spreadsheet, empty ones between others counted; reading it takes longer than CSV."""


@dataclass(frozen=True)
class Table:
    """The cells of one file.

    Attributes
    ----------
    sha256 : str
        Of the file's content.
    encoding, delimiter : str
        As recognised; "xlsx" and "" for a spreadsheet.
    rows : tuple of tuples of cells
        Every row, empty ones as well, so that row numbers are those the builder sees.
    """

    name: str
    sha256: str
    encoding: str
    delimiter: str
    rows: tuple[tuple[Cell, ...], ...]


def read_table(
    path: str | Path,
    *,
    content: bytes | None = None,
    encoding: str | None = None,
    delimiter: str | None = None,
    longest: int = LONGEST_CELL,
) -> Table:
    """Read a CSV or XLSX file.

    Parameters
    ----------
    path : str or Path
        The file; a spreadsheet is told by its content, not by its name.
    content : bytes, optional
        What stands in it, where it was sent and not read from this disk.
    encoding, delimiter : str, optional
        Where the builder knows better than what would be recognised.
    longest : int
        Characters that a cell may have.

    Raises
    ------
    LedgerError
        If it cannot be read.
    """
    path = Path(path)
    try:
        content = read_regular(path, LARGEST_TABLE) if content is None else content
    except OSError as error:
        message = f"{path}: cannot be read ({why_not(error)}). Check the name, and that you may read it."
        raise LedgerError(message) from error
    if len(content) > LARGEST_TABLE:  # what was sent; what is read from the disk is refused above
        message = f"{path}: larger than {in_words(LARGEST_TABLE)}. Take the days or the lines that you need."
        raise LedgerError(message)
    digest = hashlib.sha256(content).hexdigest()
    try:
        if content.startswith(b"PK\x03\x04"):
            return Table(path.name, digest, "xlsx", "", _read_sheet(content))
        text, found = decode(content) if encoding is None else (content.decode(encoding), encoding)
        if not text.strip():
            message = "the file is empty. Export it again."
            raise LedgerError(message)
        mark = delimiter or find_delimiter(text)
        return Table(
            path.name, digest, found, mark, tuple(tuple(row) for row in split_rows(text, mark, longest))
        )
    except (UnicodeDecodeError, LookupError) as error:
        message = (
            f"{path}: is not written in {encoding} ({error}). Leave the encoding out to have it recognised."
        )
        raise LedgerError(message) from error
    except LedgerError as error:
        message = f"{path}: {error}"
        raise LedgerError(message) from None


def _within(rows: Iterable[tuple[int, Sequence[Cell]]]) -> tuple[tuple[Cell, ...], ...]:
    """Give numbered rows without empty cells and rows at their ends, as wide as the widest; refuse what is too large.

    Spreadsheets keep cells that once held something or are only coloured, and so may go on for a million rows.
    """
    kept: dict[int, tuple[Cell, ...]] = {}
    width = 0
    for number, row in rows:
        last = next((place for place in range(len(row), 0, -1) if str(row[place - 1]).strip()), 0)
        if last:
            kept[number] = tuple(row[:last])
            width = max(width, last)
            if width > MOST_COLUMNS or width * number > MOST_SHEET_CELLS:
                raise LedgerError(_too_large(number, width))
    found = (kept.get(number, ()) for number in range(1, max(kept, default=0) + 1))
    return tuple((*row, *("",) * (width - len(row))) for row in found)


def _too_large(rows: int, width: int) -> str:
    return (
        f"what it holds goes on to row {rows:,} and column {width:,}. {MOST_COLUMNS} columns, and "
        f"{MOST_SHEET_CELLS:,} cells in all, are read: delete what stands far below or beside the list, or save the "
        "part you need as CSV."
    )


def _read_sheet(content: bytes) -> tuple[tuple[Cell, ...], ...]:
    """Read a spreadsheet's first sheet, having looked how large it is unpacked: ZIP can pack a thousandfold."""
    from openpyxl import load_workbook  # loaded late: only spreadsheets need it

    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            unpacked = sum(item.file_size for item in packed.infolist())  # no more than this is ever unpacked
        if unpacked > LARGEST_SHEET:
            message = (
                f"the spreadsheet comes to {in_words(unpacked)} unpacked, and {in_words(LARGEST_SHEET)} are read. "
                "Save the list alone in a new one, or export CSV."
            )
            raise LedgerError(message)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # about styles, which do not matter here
            book = load_workbook(io.BytesIO(content), read_only=True, data_only=True, keep_links=False)
            try:
                return _within(_rows_of(book.worksheets[0]))
            finally:
                book.close()
    except LedgerError:
        raise
    # What a damaged spreadsheet raises depends on where it is damaged, and on which library notices.
    except Exception as error:
        reason = " ".join(str(error).split())[:120] or type(error).__name__
        message = f"the spreadsheet cannot be read ({reason}). Open it, save it again as XLSX, or export CSV."
        raise LedgerError(message) from error


def _rows_of(sheet: Any) -> Iterator[tuple[int, tuple[Cell, ...]]]:
    """Give rows that have cells, with their numbers; how large the sheet says it is may be anything."""
    sheet.reset_dimensions()
    seen = 0
    for number, row in enumerate(sheet.iter_rows(values_only=True), start=1):
        if row:  # of those that have none there may be a million
            seen += len(row)
            if seen > 4 * MOST_SHEET_CELLS:  # blank ones count here, as they are made first
                raise LedgerError(_too_large(number, len(row)))
            yield number, tuple(map(_cell, row))


def _cell(value: object) -> Cell:
    if value is None:
        return ""
    if isinstance(value, datetime):
        return value.date()
    if isinstance(value, date):
        return value
    if isinstance(value, bool):
        return str(value)
    if isinstance(value, int):
        return Decimal(value)
    if isinstance(value, float):
        # A spreadsheet keeps 0.30000000000000004 where 0.3 was meant; fifteen digits are what it shows.
        return Decimal(f"{value:.15g}")
    return str(value)
