"""What the take-off tables have in common: units, checks, defaults, what comes off a roll, surfaces."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Self

from pydantic import (
    AfterValidator,
    Field,
    ValidationInfo,
    ValidatorFunctionWrapHandler,
    WrapValidator,
    field_validator,
    model_validator,
)

from forecast.figures.figure import FigureBase
from forecast.figures.file_values import Identifier, Name, Part, Positive, Text, short, wrong
from forecast.figures.kinds import Known, Metalog, Normal, Percentiles, UncertainFigure
from forecast.figures.units import Written, counted_in, misfit

MOST_PERCENT = 1000.0
"""A percentage on top beyond this is taken for a slip."""

MOST_LOST, LEAST_ARRIVING = 90.0, 1.0
"""Percent. Draws of a range go no further either, or a tail of it would divide by nothing."""


def _measured(figure: FigureBase) -> FigureBase:
    if figure.currency is not None:
        wrong(f"currency is {figure.currency!r}", "A dimension has no currency: leave it out here.")
    least = figure.falls_to
    if least <= 0:
        mend = "Dimensions and counts must be above zero."
        if isinstance(figure, Normal | Metalog):
            mend += " Write { low = …, middle = …, high = … }: that shape never falls to zero."
        wrong(f"found {least:g}" if isinstance(figure, Known) else f"goes down to {least:g}", mend)
    return figure


def _measured_or_none(figure: FigureBase) -> FigureBase:
    return (
        figure
        if isinstance(figure, Known) and figure.value == 0 and not figure.currency
        else _measured(figure)
    )


def _share(figure: FigureBase) -> FigureBase:
    if figure.currency is not None:
        wrong(f"currency is {figure.currency!r}", "A percentage has no currency: leave it out here.")
    least, most = figure.falls_to, figure.rises_to
    if least < 0:
        wrong(f"found {least:g}", "A percentage here must not be below zero.")
    if 0 < least < 1 and most <= 1:
        wrong(f"found {least:g}", f"This is in percent: write {least * 100:g} for {least:.0%}.")
    if most > MOST_PERCENT:
        wrong(f"found {most:g}", f"This is in percent, {MOST_PERCENT:g} at most: 15 means 15 %.")
    return figure


def _lost(figure: FigureBase) -> FigureBase:
    most = _share(figure).rises_to
    if most > MOST_LOST:
        wrong(
            f"found {most:g}",
            f"So many percent are lost that nothing is left to use: give {MOST_LOST:g} at most. 5 means 5 %.",
        )
    return figure


def _arriving(figure: FigureBase) -> FigureBase:
    least, most = _share(figure).falls_to, figure.rises_to
    if least < LEAST_ARRIVING:
        wrong(
            f"found {least:g}",
            f"With so little no amount would do: give {LEAST_ARRIVING:g} percent or more. 40 means 40 %.",
        )
    if most > 100:
        wrong(f"found {most:g}", "More than everything cannot be: give 100 percent at most.")
    return figure


def _temperature(figure: FigureBase) -> FigureBase:
    if figure.currency is not None:
        wrong(f"currency is {figure.currency!r}", "A temperature has no currency: leave it out here.")
    return figure


Measured = Annotated[UncertainFigure, AfterValidator(_measured)]
"""A length, area, count or factor: above zero, without a currency."""

Skippable = Annotated[UncertainFigure, AfterValidator(_measured_or_none)]
"""What a step takes, or 0 where the step is skipped."""

Share = Annotated[UncertainFigure, AfterValidator(_share)]
"""A percentage on top of something: 15 means 15 %; zero where there is none."""

Lost = Annotated[UncertainFigure, AfterValidator(_lost)]
"""A percentage of something that cannot be used; see `MOST_LOST`."""

Arriving = Annotated[UncertainFigure, AfterValidator(_arriving)]
"""A percentage of something that remains of it, and by which is divided; see `LEAST_ARRIVING`."""

Temperature = Annotated[UncertainFigure, AfterValidator(_temperature)]
"""Degrees Celsius."""


OWN_UNITS: Mapping[str, str] = {
    "area": "m²", "spoiled_panel": "m²", "length": "m", "width": "mm", "depth": "mm", "thickness": "mm",
    "pitch": "mm", "film": "µm", "density": "kg/L", "coverage": "m²/L", "temperature": "°C", "per_mix": "ml",
    "nozzle_loss": "ml", "rate": "1/m²", "ratio": "", "layers": "", "coats": "", "count": "", "sessions": "",
    "pauses": "", "rounds": "",
    "roll_width": "m", "cartridge": "ml", "areal_weight": "g/m²", "diameter": "mm", "edge": "mm", "shank": "mm",
    "spacer": "mm", "thread_pitch": "mm", "washers_each": "", "sanding_hours": "h",
    "edges": "1/m", "band": "m",
}  # fmt: skip
"""In what each dimension counts, by its key; all others are percentages. The builder may write any unit that fits."""


def own_unit(key: str) -> str:
    """Give in what a dimension of a take-off counts."""
    return OWN_UNITS.get(key, "%")


def written_number(value: Any, own: str, where: str = "") -> Any:
    """Read ``{ value = 60, unit = "in" }`` where a plain number may stand, and remember how it was written."""
    if not isinstance(value, Mapping):
        return value
    number, unit = value.get("value"), value.get("unit")
    if set(value) != {"value", "unit"} or isinstance(number, bool) or not isinstance(number, int | float):
        wrong(f"{where}found {short(value)}", 'Write a plain number, or { value = 60, unit = "in" }.')
    if not isinstance(unit, str):
        wrong(f"{where}unit is {short(unit)}", f'Write the unit in quotes, such as unit = "{own}".')
    if told := misfit(unit, own):
        wrong(f"{where}{told[0]}", told[1])
    return Written(counted_in(own, number, unit), f"{number:.12g} {unit.strip()}")


def _as_written(value: Any, read: ValidatorFunctionWrapHandler, info: ValidationInfo) -> Any:
    number = written_number(value, own_unit(info.field_name or ""))
    return Written(read(float(number)), number.text) if isinstance(number, Written) else read(number)


AsWritten = WrapValidator(_as_written)
"""Marks a known number that may be written with a unit: ``{ value = 60, unit = "in" }``."""


class Dimensions(Part):
    """A table of dimensions, each in the tool's own unit or in any other that fits it."""

    @field_validator("*", mode="after")
    @classmethod
    def _fitting_unit(cls, value: Any, info: ValidationInfo) -> Any:
        if isinstance(value, FigureBase) and (told := misfit(value.unit, own_unit(info.field_name or ""))):
            wrong(*told)
        return value


class TakeoffBase(Dimensions):
    """What all take-offs may say.

    Attributes
    ----------
    pack : float or None
        Contents of one pack in the take-off's own unit (kg, L, m, ml or pieces). With it the quantity counts
        packs, and the line's price is per pack; without it the price is per unit.
    sessions : figure or None
        How many sessions of work the material is opened in when a part-used pack does not keep: each session
        then buys whole packs of its own. Once for the whole job where it is left out.
    note : str or None
        The builder's own words.
    """

    pack: Annotated[Positive, AsWritten] | None = None
    sessions: Measured | None = None
    note: Text | None = None

    @model_validator(mode="before")
    @classmethod
    def _pack_in_any_unit(cls, raw: Any) -> Any:
        if not isinstance(raw, Mapping) or not isinstance(raw.get("pack"), Mapping):
            return raw
        return {**raw, "pack": written_number(raw["pack"], cls.pack_unit(raw), "pack: ")}

    @classmethod
    def pack_unit(cls, raw: Mapping[str, Any]) -> str:
        """Give in what the contents of a pack count, for a take-off as the file writes it: pieces unless it says so."""
        return ""


def no_waste_twice(table: TakeoffBase, excluded: tuple[str, ...]) -> None:
    """Refuse a coverage chart together with what it has in it already."""
    doubled = [name for name in excluded if getattr(table, name) is not None]
    if doubled:
        wrong(
            f"coverage together with {', '.join(doubled)}",
            "A coverage chart has losses and waste in it already, so they would count twice: keep coverage "
            f"alone, or leave it out and keep {', '.join(doubled)}.",
        )


def exactly(table: Part, what: str, needed: tuple[str, ...], among: tuple[str, ...]) -> None:
    """Ask for exactly the dimensions that a shape has."""
    given = {name for name in among if getattr(table, name) is not None}
    missing = [name for name in needed if name not in given]
    odd = sorted(given - set(needed))
    if missing or odd:
        found = " and ".join(
            part
            for part in (
                f"{', '.join(missing)} missing" if missing else "",
                f"{', '.join(odd)} too many" if odd else "",
            )
            if part
        )
        wrong(found, f"Give {', '.join(needed)} for {what}, and no other dimension.")


class AreaTakeoff(TakeoffBase):
    """What take-offs of an area say: how large it is, or which surfaces it is made of.

    Attributes
    ----------
    area : figure or None
        m²; measured for this line alone.
    surfaces : tuple of str
        Ids of ``[[surface]]`` tables, in place of the area.
    """

    area: Measured | None = None
    surfaces: Annotated[tuple[Identifier, ...], Field(max_length=50)] = ()

    @property
    def needs_area(self) -> bool:
        """True where the quantity follows from an area."""
        return True

    @model_validator(mode="after")
    def _area_told(self) -> Self:
        if self.needs_area and (self.area is None) == (not self.surfaces):
            found = "no area" if self.area is None else "area as well as surfaces"
            wrong(
                found, 'Give one of them: area = 1.4 (m²), or surfaces = ["hood_edge"], each a [[surface]].'
            )
        if self.surfaces and not self.needs_area:
            wrong("surfaces where no area is taken off", "Leave surfaces out, and give the dimensions.")
        if len(set(self.surfaces)) != len(self.surfaces):
            wrong(
                "a surface stands twice",
                "Name each once; count = 2 in its [[surface]] says that there are two.",
            )
        return self


class Assumption(Part):
    """A figure taken where the builder gives none, and where it comes from."""

    figure: Percentiles | Known
    source: Text


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


class Surface(Dimensions):
    """One surface, named once: what is unsure about its size is unsure for every line that works on it, alike.

    Attributes
    ----------
    area : figure or None
        m², measured.
    length, width : figure or None
        m and mm, measured, in place of the area: an edge or a strip.
    template : str or None
        A usual part of a kit whose range of areas stands in until it is measured, such as ``front``.
    count : int
        How many of them there are; they are drawn alike.
    """

    id: Identifier
    name: Name | None = None
    area: Measured | None = None
    length: Measured | None = None
    width: Measured | None = None
    template: Identifier | None = None
    count: Annotated[int, Field(strict=True, ge=1, le=100)] = 1
    note: Text | None = None

    @model_validator(mode="after")
    def _one_way(self) -> Surface:
        ways = {
            "area": self.area is not None,
            "length and width": self.length is not None or self.width is not None,
            "template": self.template is not None,
        }
        given = [name for name, there in ways.items() if there]
        if len(given) != 1 or (self.length is None) != (self.width is None):
            wrong(
                f"says {' and '.join(given)}" if given else "says no size",
                'Give one of them: area = 1.4 (m²), length = 1.6 (m) with width = 90 (mm), or template = "front".',
            )
        if self.template is not None and self.template not in _templates():
            wrong(f"there is no template {self.template!r}", f"Legal: {', '.join(_templates())}.")
        return self

    @property
    def title(self) -> str:
        """The name to show: the one given, or one made from the id."""
        return self.name or self.id.replace("_", " ").replace("-", " ").capitalize()

    @property
    def sides(self) -> Mapping[str, FigureBase]:
        """The figures of its size by key: the area, or length and width."""
        if self.template is not None:
            low, middle, high = _templates()[self.template].area
            return {"area": Percentiles(low=low, middle=middle, high=high)}
        found = {"area": self.area, "length": self.length, "width": self.width}
        return {key: figure for key, figure in found.items() if figure is not None}


def _templates() -> Mapping[str, Any]:
    """Give the usual parts of a kit, read when the first build names one."""
    from forecast.buildfile.places import load_places

    return load_places().panels
