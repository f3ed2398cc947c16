"""A cut plan: rectangles on a roll, laid in rows across it, the longest first, each in the first row that has room.

This is the textbook method of decreasing heights and first fit; its length is never over 1.7 times the best plan's and
one piece. Nothing shorter than area by width can be cut.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from forecast.buildfile.takeoff_roll import Piece
from forecast.figures.formula import Constant, Formula
from forecast.trade.takeoff.worksheet import Worksheet, counted, digits, said


@dataclass
class CutRow:
    """One row across the roll: where it begins, how long it is, and its pieces as (across, along), in m."""

    start: float
    length: float
    pieces: list[tuple[float, float]] = field(default_factory=list)

    @property
    def used(self) -> float:
        """How much of the width is taken."""
        return sum(across for across, _ in self.pieces)


def cut_plan(pieces: Iterable[tuple[float, float]], roll_width: float) -> tuple[CutRow, ...]:
    """Lay pieces on a roll.

    Parameters
    ----------
    pieces : iterable of (float, float)
        Across and along the roll, m; a piece wider than the roll is turned, where that lets it fit.
    roll_width : float
        m.

    Returns
    -------
    tuple of CutRow
        From the roll's beginning; the last one's start and length add up to what is cut off.
    """
    slack = 1e-9
    turned = [(along, across) if across > roll_width + slack else (across, along) for across, along in pieces]
    rows: list[CutRow] = []
    for across, along in sorted(turned, key=lambda piece: (-piece[1], -piece[0])):
        row = next((row for row in rows if row.used + across <= roll_width + slack), None)
        if row is None:
            row = CutRow(rows[-1].start + rows[-1].length if rows else 0.0, along)
            rows.append(row)
        row.pieces.append((across, along))
    return tuple(rows)


def cut_from_roll(
    sheet: Worksheet, pieces: Iterable[Piece], edge: float, roll_width: float
) -> tuple[Formula, str]:
    """Give the metres of roll that a cut plan takes, and the plan in words; its rows become a note of the sheet.

    Parameters
    ----------
    sheet : Worksheet
    pieces : iterable of Piece
    edge : float
        mm added on every side of each piece.
    roll_width : float
        m.
    """
    more = 2 * edge / 1000
    sizes = [(piece.width / 1000 + more, piece.length + more) for piece in pieces for _ in range(piece.count)]
    rows = cut_plan(sizes, roll_width)
    filled = sum(across * along for across, along in sizes)
    words = f"{counted(len(sizes), 'piece')}, {digits(filled)} m² with edges, in {counted(len(rows), 'row')}"
    words += f" on {said(roll_width, 'm')}"
    sheet.notes.append(
        "; ".join(
            f"row {place}, {digits(row.length)} m: "
            + " | ".join(f"{digits(across)} × {digits(along)} m" for across, along in row.pieces)
            for place, row in enumerate(rows, start=1)
        )
    )
    return Constant(rows[-1].start + rows[-1].length), words


def pieces_area(pieces: Iterable[Piece]) -> float:
    """Give the area of pieces without their edges, in m²."""
    return sum(piece.count * piece.length * piece.width / 1000 for piece in pieces)
