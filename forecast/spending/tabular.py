"""Files of rows and columns, CSV or XLSX, read into plain cells."""

from __future__ import annotations

import hashlib
import io
import warnings
import zipfile
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path

from forecast.build.files import read_regular
from forecast.errors import LedgerError
from forecast.spending.sniff import LONGEST_CELL, Cell, decode, find_delimiter, split_rows

LARGEST_TABLE = 25_000_000
"""Bytes; a bank's file of ten years is far smaller."""


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
        message = (
            f"{path}: cannot be read ({error.strerror or error}). Check the name, and that you may read it."
        )
        raise LedgerError(message) from error
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


def _read_sheet(content: bytes) -> tuple[tuple[Cell, ...], ...]:
    from openpyxl import load_workbook  # loaded late: only spreadsheets need it

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # about styles, which do not matter here
            book = load_workbook(io.BytesIO(content), read_only=True, data_only=True)
            try:
                sheet = book.worksheets[0]
                return tuple(
                    tuple(_cell(value) for value in row) for row in sheet.iter_rows(values_only=True)
                )
            finally:
                book.close()
    # What a damaged spreadsheet raises depends on where it is damaged.
    except (zipfile.BadZipFile, KeyError, ValueError, IndexError, SyntaxError, EOFError, OSError) as error:
        message = f"the spreadsheet cannot be read ({error}). Open it, save it again as XLSX, or export CSV."
        raise LedgerError(message) from error


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
