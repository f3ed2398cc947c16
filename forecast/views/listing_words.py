"""A builder's own list of lines from a file: how it is laid out, and what would become of each row."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from pathlib import Path

from forecast.buildfile.schema import Build
from forecast.errors import BuildFileError, Problem
from forecast.start.listing import ROLES, Listed, choose_columns, find_header, guess_columns, read_rows
from forecast.tables.tabular import read_table
from forecast.words.numbers import decimal_marks, doubtful

_NUMBERS = (
    "low",
    "middle",
    "high",
    "quantity",
    "price",
    "quantity_low",
    "quantity_high",
    "price_low",
    "price_high",
)


@dataclass(frozen=True)
class LineList:
    """What was recognised of a list, to be shown and confirmed before anything is taken.

    Attributes
    ----------
    encoding, delimiter, decimal : str
        "xlsx" and "" for a spreadsheet.
    doubt : str
        A number that can mean two, where no other tells the decimal mark; empty where all can be read.
    headings : tuple of str
    columns : mapping
        Heading by role.
    rows : tuple of Listed
    """

    encoding: str
    delimiter: str
    decimal: str
    doubt: str
    headings: tuple[str, ...]
    columns: Mapping[str, str]
    rows: tuple[Listed, ...]

    @property
    def open_decimal(self) -> bool:
        """Whether the numbers alone do not tell the decimal mark."""
        return bool(self.doubt)

    def of_state(self, state: str) -> tuple[Listed, ...]:
        """Give the rows of which one thing becomes."""
        return tuple(row for row in self.rows if row.state == state)


def proposed_columns(
    path: str | Path,
    *,
    content: bytes | None = None,
    encoding: str | None = None,
    delimiter: str | None = None,
) -> tuple[tuple[str, ...], dict[str, str]]:
    """Give a list's headings, and what they are taken for: heading by role, complete or not.

    Raises
    ------
    LedgerError
        If the file cannot be read.
    BuildFileError
        If no row of headings is found.
    """
    table = read_table(path, content=content, encoding=encoding, delimiter=delimiter)
    header = table.rows[find_header(table.rows)]
    names = tuple(str(cell).strip() for cell in header)
    return names, {role: names[place] for role, place in guess_columns(header).items()}


def open_list(
    path: str | Path,
    currency: str,
    *,
    content: bytes | None = None,
    build: Build | None = None,
    encoding: str | None = None,
    delimiter: str | None = None,
    decimal: str | None = None,
    columns: Mapping[str, str] | None = None,
    known: bool = False,
    leave_out: Collection[int] = (),
) -> LineList:
    """Read a list of lines; nothing is changed.

    Parameters
    ----------
    path : str or Path
        CSV or XLSX.
    currency : str
        In which its prices are.
    content : bytes, optional
        What stands in the file, where it was sent and not read from this disk.
    build : Build, optional
        That the lines are for; none for a new one.
    encoding, delimiter, decimal : str, optional
        Where the builder knows better than what would be recognised.
    columns : mapping, optional
        Heading by role, where it is another than guessed; an empty one takes the role away.
    known : bool
        Whether a price that stands alone is known; otherwise it gets a starting range.
    leave_out : collection of int
        Numbers of rows, from 1, not to take.

    Raises
    ------
    LedgerError
        If the file cannot be read.
    BuildFileError
        If it has no headings, or none for what the lines are called and cost.
    """
    table = read_table(path, content=content, encoding=encoding, delimiter=delimiter)
    header = find_header(table.rows, [heading for heading in (columns or {}).values() if heading])
    places = choose_columns(table.rows[header], columns or {})
    headings = tuple(str(cell).strip() for cell in table.rows[header])
    rows = [
        (number, row)
        for number, row in enumerate(table.rows[header + 1 :], start=header + 2)
        if any(str(cell).strip() for cell in row)
    ]
    numbers = [
        row[places[role]]
        for _, row in rows
        for role in _NUMBERS
        if role in places and places[role] < len(row)
    ]
    marks = decimal_marks(numbers)
    mark = decimal or (marks[0] if len(marks) == 1 else "," if table.delimiter == ";" else ".")
    listed = read_rows(
        rows, places, headings, mark, currency, known=known, leave_out=leave_out, build=build
    )  # fmt: skip
    return LineList(
        table.encoding, table.delimiter, mark, doubtful(numbers) if decimal is None else "", headings,
        {role: headings[places[role]] for role in ROLES if role in places}, listed,
    )  # fmt: skip


def check_decided(found: LineList) -> None:
    """Refuse a list whose numbers can be read in two ways, until the builder says which.

    Raises
    ------
    BuildFileError
    """
    if found.open_decimal:
        heading = "list of lines: nothing was taken"
        problem = Problem(
            "decimal mark", f"{found.doubt}, and no other number tells", "Say which mark is the decimal one."
        )
        raise BuildFileError(heading, [problem])


def figures(row: Listed) -> tuple[str, str, str]:
    """Write a row's low, middle and high; quantity × price where the line has those."""
    table = row.table
    if "quantity" in table:
        counted, priced = _ends(table["quantity"]), _ends(table["price"])
        unit = table["quantity"].get("unit", "") if isinstance(table["quantity"], dict) else ""
        count = "\u2013".join(dict.fromkeys(part for part in counted if part))
        one = "\u2013".join(dict.fromkeys(part for part in priced if part))
        return "", f"{count} {unit} × {one}".replace("  ", " "), ""
    return _ends(table["amount"]) if "amount" in table else ("", "", "")


def _ends(figure: object) -> tuple[str, str, str]:
    if not isinstance(figure, Mapping):
        return "", f"{figure:,.10g}", ""
    low, high = figure.get("low"), figure.get("high")
    middle = figure.get("middle", figure.get("value"))
    shown = [f"{value:,.10g}" if value is not None else "" for value in (low, middle, high)]
    return shown[0], shown[1], shown[2]


def layout_sentence(found: LineList) -> str:
    """Say how the file was read."""
    marks = {"\t": "tab", "": ""}
    parted = f", cells parted by {marks.get(found.delimiter, found.delimiter)!r}" if found.delimiter else ""
    columns = ", ".join(f"{ROLES[role]} from {heading!r}" for role, heading in found.columns.items())
    how = "a spreadsheet" if found.encoding == "xlsx" else found.encoding
    return f"Read as {how}{parted}, decimal mark {found.decimal!r}; {columns}."


def count_sentence(found: LineList) -> str:
    """Say how many rows become lines, and how many are bad."""
    new, bad = len(found.of_state("new")), len(found.of_state("bad"))
    text = f"{new} of {len(found.rows)} {'row' if len(found.rows) == 1 else 'rows'} would become lines"
    if bad:
        text += f"; {bad} {'has a mistake' if bad == 1 else 'have mistakes'}, so nothing is taken yet"
    return text + "."


STATES = {"new": "line", "bad": "mistake", "sum": "no line", "left out": "left out"}
"""What becomes of a row, in words."""


__all__ = [
    "STATES", "LineList", "check_decided", "count_sentence", "figures", "layout_sentence", "open_list",
    "proposed_columns",
]  # fmt: skip
