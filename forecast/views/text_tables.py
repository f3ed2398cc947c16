"""Plain text tables for the terminal."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence


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
    cells = [list(headings), *(list(row) for row in rows)]
    widths = [max(width(row[place]) for row in cells) for place in range(len(headings))]
    lines = []
    for number, row in enumerate(cells):
        parts = []
        for place, text in enumerate(row):
            gap = " " * (widths[place] - width(text))
            is_text = place < left or (last_left and place == len(row) - 1)
            parts.append(text + gap if is_text else gap + text)
        lines.append("  ".join(parts).rstrip())
        if number == 0:
            lines.append("  ".join("─" * size for size in widths))
    return "\n".join(lines)


def shorten(text: str, most: int = 38) -> str:
    """Cut a text that is too long for its column."""
    return text if len(text) <= most else text[: most - 1] + "…"
