"""What take-offs of things cut from a roll say: the rectangles to cut, and the roll."""

from __future__ import annotations

from typing import Annotated, Self

from pydantic import Field, model_validator

from forecast.buildfile.takeoff_base import AreaTakeoff, AsWritten, Dimensions
from forecast.figures.kinds import Positive, wrong

RollWidth = Annotated[float, Field(strict=True, ge=0.1, le=3), AsWritten]
"""m, or in the unit that is written."""

Edge = Annotated[float, Field(strict=True, ge=0, le=500), AsWritten]
"""mm, or in the unit that is written."""


class Piece(Dimensions):
    """Rectangles of one size to be cut from a roll: length (m) along it, width (mm) across it."""

    length: Annotated[Positive, AsWritten]
    width: Annotated[Positive, AsWritten]
    count: Annotated[int, Field(strict=True, ge=1, le=200)] = 1


Pieces = Annotated[tuple[Piece, ...], Field(max_length=100)]


class RollTakeoff(AreaTakeoff):
    """What may be given as rectangles to cut, in place of an area and what is lost in cutting.

    Attributes
    ----------
    pieces : tuple of Piece
        Rectangles to cut, in place of the area: what is taken off the roll then follows from a cut plan.
    edge : float
        mm added on every side of each piece, to hold it and to trim.
    roll_width : float
        m.
    """

    pieces: Pieces | None = None
    edge: Edge | None = None
    roll_width: RollWidth | None = None

    @property
    def needs_area(self) -> bool:
        """True where no pieces are told."""
        return not self.pieces

    @property
    def is_cut(self) -> bool:
        """True where what is bought comes off the roll, and so has its waste in the cut plan."""
        return True

    @model_validator(mode="after")
    def _pieces_fit(self) -> Self:
        waste = getattr(self, "waste", None) if self.is_cut else None
        if self.pieces and (self.area is not None or waste is not None):
            wrong(
                "pieces beside an area or waste",
                "A cut plan has its waste in it: keep pieces alone, or the area.",
            )
        if self.edge and not self.pieces:
            wrong(
                "edge without pieces", "It is added round each of pieces = [{ length = 1.2, width = 400 }]."
            )
        if self.pieces and self.is_cut and self.roll_width is None:
            wrong("pieces without the roll's width", "Add roll_width = 1.25 (m), as the roll says.")
        for place, piece in enumerate(self.pieces or (), start=1):
            narrow = min(piece.length, piece.width / 1000) + 2 * (self.edge or 0) / 1000
            if self.roll_width is not None and narrow > self.roll_width + 1e-9:
                wrong(
                    f"piece {place} is {narrow:g} m wide with its edges, the roll {self.roll_width:g} m",
                    "Cut it in two, with an overlap, or take a wider roll: roll_width = 1.52.",
                )
        return self
