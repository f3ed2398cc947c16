"""What commands tell: tables in plain text, and figures for programs, alike whichever command answers.

- A figure from trials, every percentile and every chance: ``{"value": …, "standard_error": …}``, the error ``null``
  where none was worked out or there is none.
- Percentiles are named ``P10`` to ``P90``.
- Money that was simulated is a number in the main unit of ``currency``; what was entered is whole minor units, under a
  name that ends in ``_minor``; only beside simulated sums, as in ``watch``, is it told as they are.
"""

from __future__ import annotations

import datetime as dt
import math
import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import fields, is_dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from forecast.engine.statistics import Estimate
    from forecast.ledger import Receipt
    from forecast.views.answers.figures import Figure, FourPercentiles
    from forecast.views.answers.of_receipts import ReceiptData

LEVELS = (0.1, 0.5, 0.8, 0.9)
"""The percentiles that totals are told by."""

_PERCENTILE = re.compile(r"p\d\d")
FIGURE_NAME = re.compile(r"P\d\d|chance(_\w+)?")
"""Keys under which a bare number is a figure."""
_ESTIMATE = ("value", "error")


def told(value: Any, name: str = "") -> Any:
    """Give results as JSON holds them.

    Parameters
    ----------
    value : object
        Plain values, results of the program, and whatever holds them.
    name : str
        The key under which it stands: a bare number is a figure by that.
    """
    if is_dataclass(value) and not isinstance(value, type):
        found = {field.name: getattr(value, field.name) for field in fields(value)}
        return figure(*found.values()) if is_estimate(type(value)) else told(found)
    if isinstance(value, Mapping):
        named = {name_told(key): item for key, item in value.items()}
        return {key: told(item, key) for key, item in named.items()}
    if isinstance(value, list | tuple):
        return [told(item) for item in value]
    if isinstance(value, dt.date):
        return value.isoformat()
    if hasattr(value, "tolist"):  # of arrays, and numbers out of them
        value = value.tolist()
    if (
        FIGURE_NAME.fullmatch(name)
        and isinstance(value, int | float | Decimal)
        and not isinstance(value, bool)
    ):
        return figure(float(value))
    return value


def figure(value: float, error: float | None = None) -> Figure:
    """Give a number with its simulation error."""
    known = error is not None and math.isfinite(error)
    return {"value": value, "standard_error": error if known else None}


def four_percentiles(estimates: Iterable[Estimate]) -> FourPercentiles:
    """Name what `LEVELS` come to."""
    p10, p50, p80, p90 = estimates
    return {"P10": p10, "P50": p50, "P80": p80, "P90": p90}


def is_estimate(one: type) -> bool:
    """Tell whether values of a class are figures with their error."""
    return is_dataclass(one) and tuple(field.name for field in fields(one)) == _ESTIMATE


def name_told(key: Any) -> str:
    """Give the name under which a key is told."""
    text = "/".join(map(str, key)) if isinstance(key, tuple) else str(key)
    return text.upper() if _PERCENTILE.fullmatch(text) else text


def receipt_data(receipt: Receipt) -> ReceiptData:
    """Give a receipt for programs."""
    return {
        "id": receipt.id,
        "date": receipt.date,
        "supplier": receipt.supplier,
        "kind": receipt.kind,
        "amount_minor": receipt.amount_minor,
        "currency": receipt.currency,
        "paid_minor": receipt.paid_minor,
        "paid_currency": receipt.paid_currency,
        "splits": [{"line": split.line_id, "amount_minor": split.amount_minor} for split in receipt.splits],
        "note": receipt.note,
        "voids": receipt.voids,
        "voided_by": receipt.voided_by,
    }


def width(text: str) -> int:
    """Give how many columns a text takes in a terminal."""
    return sum(
        0 if unicodedata.combining(sign) else 2 if unicodedata.east_asian_width(sign) in "WF" else 1
        for sign in text
    )


def table(
    headings: Sequence[str], rows: Sequence[Sequence[str]], left: int = 1, last_left: bool = False
) -> str:
    """Lay out a table.

    Parameters
    ----------
    headings : sequence of str
    rows : sequence of sequences of str
    left : int
        How many columns, from the left, are text; the others are figures and stand to the right.
    last_left : bool
        Whether the last column is text as well.

    Returns
    -------
    str
        Without a line feed at the end.
    """
    cells = [[text.split("\n") for text in row] for row in (headings, *rows)]
    widths = [max(width(part) for row in cells for part in row[place]) for place in range(len(headings))]
    lines = []
    for number, row in enumerate(cells):
        for line in range(max(map(len, row), default=0)):
            parts = []
            for place, texts in enumerate(row):
                text = texts[line] if line < len(texts) else ""
                gap = " " * (widths[place] - width(text))
                is_text = place < left or (last_left and place == len(row) - 1)
                parts.append(text + gap if is_text else gap + text)
            lines.append("  ".join(parts).rstrip())
        if number == 0:
            lines.append("  ".join("─" * size for size in widths))
    return "\n".join(lines)


_FURTHER = "  "
"""Before what is left of a name: no part of one begins a line, as what the program itself says does."""


def wrapped(text: str, most: int = 38) -> str:
    """Break a text that is too long for its column between words, for `table`; a word that is too long anywhere.

    The width is the same whatever the terminal's: what was said is said again, and a file may hold it.
    """
    lines, bare = [""], True
    for word in text.split(" "):
        if not bare and width(lines[-1]) + 1 + width(word) <= most:
            lines[-1] += f" {word}"
            continue
        if bare:
            lines[-1] += word
        else:
            lines.append(f"{_FURTHER}{word}")
        bare = False
        while width(lines[-1]) > most:
            fits = max(end for end in range(1, len(lines[-1])) if width(lines[-1][:end]) <= most)
            lines[-1:] = [lines[-1][:fits], f"{_FURTHER}{lines[-1][fits:]}"]
    return "\n".join(lines)


__all__ = [
    "FIGURE_NAME", "LEVELS", "figure", "four_percentiles", "is_estimate", "name_told", "receipt_data",
    "table", "told", "width", "wrapped",
]  # fmt: skip
