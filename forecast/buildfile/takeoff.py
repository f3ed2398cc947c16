"""All take-off tables, and those of what joins, covers and works the body: beads, film, abrasives, fasteners.

Models only; forecast/trade/takeoff turns them into a quantity to buy. Units where none is written: lengths in metres,
widths, depths, thicknesses and pitches in millimetres, paint films in micrometres, areas in square metres, shares in
percent; any other unit that fits may be written, and is kept as it was. Figures that the
builder leaves out are taken from forecast/trade/takeoff/worksheet.py.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, model_validator

from forecast.buildfile.takeoff_base import (
    AreaTakeoff,
    AsWritten,
    Dimensions,
    Edge,
    Lost,
    Measured,
    Pieces,
    RollTakeoff,
    RollWidth,
    Share,
    Skippable,
    TakeoffBase,
)
from forecast.buildfile.takeoff_body import FillerTakeoff, GelcoatTakeoff, LaminateTakeoff, PaintTakeoff
from forecast.figures.figure import FigureBase
from forecast.figures.file_values import Positive, wrong
from forecast.figures.kinds import Known

Section = Literal["rectangle", "fillet", "half-round", "round", "vee", "bond-line"]


class SealantTakeoff(TakeoffBase):
    """Sealant from the run and the bead's section.

    Attributes
    ----------
    buy : str
        Always cartridges.
    length : figure
        m.
    section : str
        rectangle (width × depth), fillet (two legs), half-round (width), round (diameter as width), vee (base as
        width, height as depth) or bond-line (flange width × glue thickness).
    width, depth : figure
        mm; depth is left out for half-round and round.
    cartridge : float
        ml in one cartridge or sausage.
    residue : figure or None
        Percent that stays in the cartridge.
    waste : figure or None
        Percent lost in tooling.
    """

    kind: Literal["sealant"] = "sealant"
    buy: Literal["cartridges"] = "cartridges"
    length: Measured
    section: Section = "fillet"
    width: Measured
    depth: Measured | None = None
    cartridge: Annotated[float, Field(strict=True, ge=10, le=1000), AsWritten] = 310
    residue: Lost | None = None
    waste: Share | None = None

    @model_validator(mode="after")
    def _dimensions(self) -> SealantTakeoff:
        _check_bead(self.section, self.depth, self.pack)
        return self


class AdhesiveTakeoff(TakeoffBase):
    """Structural adhesive from the run and the bead; keys as for sealant, and those of two-part products.

    Attributes
    ----------
    buy : str
        cartridges or nozzles.
    two_part : bool
        True where it mixes in a nozzle.
    pauses : figure or None
        How often work stops for so long that the nozzle sets, over the whole job; 0 where it never does.
    nozzle_loss : figure or None
        ml left in each nozzle; 0 where none is.
    """

    kind: Literal["adhesive"] = "adhesive"
    buy: Literal["cartridges", "nozzles"] = "cartridges"
    length: Measured
    section: Section = "vee"
    width: Measured
    depth: Measured | None = None
    cartridge: Annotated[float, Field(strict=True, ge=10, le=1000), AsWritten] = 310
    residue: Lost | None = None
    waste: Share | None = None
    two_part: bool = False
    pauses: Skippable | None = None
    nozzle_loss: Skippable | None = None

    @model_validator(mode="after")
    def _dimensions(self) -> AdhesiveTakeoff:
        _check_bead(self.section, self.depth, self.pack)
        if not self.two_part and (
            self.buy == "nozzles" or self.pauses is not None or self.nozzle_loss is not None
        ):
            wrong("mixing nozzles for a one-part adhesive", "Add two_part = true, or leave the nozzles out.")
        return self


class FilmTakeoff(RollTakeoff):
    """Surface film: metres from the roll.

    Attributes
    ----------
    area : figure
        m² to be covered.
    cut : str
        vinyl (wrap), bulk (clear film cut by hand) or pre-cut (clear film cut by a plotter): sets the waste.
    roll_width : float
        m.
    waste : figure or None
        Percent.
    spoiled_panel : figure or None
        m² of one panel that is spoiled and cut again; 0 where none is.
    pieces : tuple of Piece
        Rectangles to cut, in place of the area: the metres then follow from a cut plan.
    edge : float
        mm added on every side of each piece, to hold it and to trim.
    """

    kind: Literal["film"] = "film"
    cut: Literal["vinyl", "bulk", "pre-cut"] = "vinyl"
    roll_width: RollWidth = 1.52
    waste: Share | None = None
    spoiled_panel: Skippable | None = None
    pieces: Pieces = ()
    edge: Edge = 0

    @classmethod
    def pack_unit(cls, raw: Mapping[str, Any]) -> str:
        """Give in what the contents of a pack count."""
        return "m"


class SandingStep(Dimensions):
    """One grit: how often the area is gone over with it.

    Attributes
    ----------
    grit : int
        40 for P40.
    rounds : figure
        How many times over the area; 0 where this grit is skipped.
    rate : figure or None
        Pieces per m² and round.
    """

    grit: Annotated[int, Field(strict=True, ge=24, le=3000)]
    rounds: Skippable = Known(value=1)
    rate: Measured | None = None


class AbrasivesTakeoff(AreaTakeoff):
    """Discs or sheets by area, grit and round; packs are counted grit by grit.

    Attributes
    ----------
    area : figure
        m² sanded.
    steps : list
        One table for each grit.
    form : str
        discs (150 mm) or sheets (block paper).
    sanding_hours : float or None
        Hours of sanding foreseen, to check the count against 3 to 6 discs an hour.
    """

    kind: Literal["abrasives"] = "abrasives"
    steps: tuple[SandingStep, ...] = Field(min_length=1, max_length=20)
    form: Literal["discs", "sheets"] = "discs"
    sanding_hours: Positive | None = None

    @model_validator(mode="after")
    def _each_grit_once(self) -> AbrasivesTakeoff:
        grits = [step.grit for step in self.steps]
        twice = sorted({grit for grit in grits if grits.count(grit) > 1})
        if twice:
            wrong(f"P{twice[0]} stands twice", "Give each grit once, with its rounds added up.")
        return self


class MaskingTakeoff(AreaTakeoff):
    """Masking tape along the edges of what is painted, or the sheet taped beside them: film or paper.

    A surface given by length and width has its own edge; of any other the edge follows from its area.

    Attributes
    ----------
    area : figure
        m² painted.
    buy : str
        tape (m) or sheet (m²).
    edges : figure or None
        m of edge to each m² painted, where no length and width say it.
    rounds : figure or None
        How often it is masked anew: for primer, for colour and clear, after a mended run.
    band : figure or None
        m of sheet beyond the edge; for the sheet only.
    waste : figure or None
        Percent: overlaps, what tears, what is cut off.
    """

    kind: Literal["masking"] = "masking"
    buy: Literal["tape", "sheet"] = "tape"
    edges: Measured | None = None
    rounds: Measured | None = None
    band: Measured | None = None
    waste: Share | None = None

    @model_validator(mode="after")
    def _band_of_a_sheet(self) -> MaskingTakeoff:
        if self.buy == "tape" and self.band is not None:
            wrong("band for tape", 'Leave band out, or write buy = "sheet".')
        return self

    @classmethod
    def pack_unit(cls, raw: Mapping[str, Any]) -> str:
        """Give in what the contents of a pack count."""
        return "m²" if raw.get("buy") == "sheet" else "m"


class FastenersTakeoff(TakeoffBase):
    """Rivets, bolts, screws or clips along a line, by pitch and with spares.

    Attributes
    ----------
    buy : str
        fasteners, washers or drill-bits (pieces each).
    fastener : str
        rivets, bolts, screws or clips: sets pitch and spares where they are left out.
    length : figure
        m of one line.
    pitch : figure or None
        mm from one to the next.
    closed : bool
        True for a line that runs back to its start.
    count : figure
        How many such lines.
    spares : figure or None
        Percent.
    diameter, edge : float or None
        Of the shank, and from the hole's centre to the edge, mm; to check against the usual limits.
    washers_each : float
        Washers for each fastener.
    """

    kind: Literal["fasteners"] = "fasteners"
    buy: Literal["fasteners", "washers", "drill-bits"] = "fasteners"
    fastener: Literal["rivets", "bolts", "screws", "clips"] = "rivets"
    length: Measured
    pitch: Measured | None = None
    closed: bool = False
    count: Measured = Known(value=1)
    spares: Share | None = None
    diameter: Annotated[Positive, AsWritten] | None = None
    edge: Annotated[Positive, AsWritten] | None = None
    washers_each: Positive = 1

    @model_validator(mode="after")
    def _pitch_known(self) -> FastenersTakeoff:
        if self.pitch is None and self.fastener in ("screws", "clips"):
            wrong(f"no pitch for {self.fastener}", "Give pitch = … in mm: there is no usual one for these.")
        return self


class WheelBoltsTakeoff(TakeoffBase):
    """Wheel bolts or studs for spacers: how many, and a check of their length (never an approval).

    Attributes
    ----------
    wheels, per_wheel : int
        How many wheels, and fixings on each.
    shank, spacer : float
        The present shank and the spacer's thickness, mm.
    diameter, thread_pitch : float
        Of the thread, mm: 14 and 1.5 for M14×1.5.
    """

    kind: Literal["wheel-bolts"] = "wheel-bolts"
    wheels: Annotated[int, Field(strict=True, ge=1, le=10)] = 4
    per_wheel: Annotated[int, Field(strict=True, ge=1, le=12)] = 5
    shank: Annotated[Positive, AsWritten]
    spacer: Annotated[float, Field(strict=True, ge=0, le=200), AsWritten]
    diameter: Annotated[Positive, AsWritten] = 14
    thread_pitch: Annotated[Positive, AsWritten] = 1.5


def _check_bead(section: str, depth: FigureBase | None, pack: float | None) -> None:
    if section in ("half-round", "round") and depth is not None:
        wrong(f"depth for a {section} bead", "Its width says it all: leave depth out.")
    if section not in ("half-round", "round") and depth is None:
        wrong(f"depth missing for a {section} bead", "Add depth = … in mm.")
    if pack is not None:
        wrong("pack for cartridges", "Write cartridge = 310 (ml) in place of pack.")


_MODELS: Mapping[str, type[TakeoffBase]] = {
    "laminate": LaminateTakeoff,
    "gelcoat": GelcoatTakeoff,
    "filler": FillerTakeoff,
    "sealant": SealantTakeoff,
    "adhesive": AdhesiveTakeoff,
    "paint": PaintTakeoff,
    "film": FilmTakeoff,
    "abrasives": AbrasivesTakeoff,
    "masking": MaskingTakeoff,
    "fasteners": FastenersTakeoff,
    "wheel-bolts": WheelBoltsTakeoff,
}
TAKEOFF_KINDS: tuple[str, ...] = tuple(_MODELS)
"""The kinds of take-off that a build file may use."""


def _known_kind(value: Any) -> Any:
    if isinstance(value, TakeoffBase):
        return value
    kind = value.get("kind") if isinstance(value, Mapping) else None
    if not isinstance(kind, str) or kind not in _MODELS:
        found = f"kind is {kind!r}" if kind is not None else "no kind"
        wrong(found, f"Write takeoff = {{ kind = … }} with one of {', '.join(_MODELS)}.")
    return value


AnyTakeoff = (
    LaminateTakeoff
    | GelcoatTakeoff
    | FillerTakeoff
    | SealantTakeoff
    | AdhesiveTakeoff
    | PaintTakeoff
    | FilmTakeoff
    | AbrasivesTakeoff
    | MaskingTakeoff
    | FastenersTakeoff
    | WheelBoltsTakeoff
)
"""Any of the models, told apart by ``kind``."""

Takeoff = Annotated[Annotated[AnyTakeoff, Field(discriminator="kind")], BeforeValidator(_known_kind)]
"""A ``takeoff = { kind = … }`` table of the build file."""
