"""The sheet on which one take-off is worked out: its named inputs, its formula, its steps in words."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from forecast.buildfile.takeoff_base import AreaTakeoff, Assumption, Surface, TakeoffBase, own_unit
from forecast.figures.figure import FigureBase
from forecast.figures.formula import (
    Constant,
    Formula,
    Input,
    Larger,
    Product,
    Quotient,
    RoundedUp,
    Smaller,
    Sum,
)
from forecast.figures.kinds import Known, Percentiles
from forecast.figures.units import Written, formula_in

PRACTICE = "common practice, no source; yours to overwrite"


def _range(low: float, middle: float, high: float, source: str = PRACTICE) -> Assumption:
    return Assumption(figure=Percentiles(low=low, middle=middle, high=high, starter=True), source=source)


def _known(value: float, source: str) -> Assumption:
    return Assumption(figure=Known(value=value), source=source)


_SHEETS = "to be looked up in your product's data sheet; " + PRACTICE
_RATIOS = "mat 2.0 to 2.5, squeegeed cloth 1.0; " + PRACTICE

ASSUMPTIONS: Mapping[str, Assumption] = {
    # Laminate: resin to glass by weight; waste in percent; cleaner in litres per kg of resin.
    "laminate.ratio.mat": _range(2.0, 2.5, 3.2, _RATIOS),
    "laminate.ratio.woven": _range(1.0, 1.3, 2.2, _RATIOS),
    "laminate.ratio.biaxial": _range(1.0, 1.4, 2.0, _RATIOS),
    "laminate.waste.glass": _range(10, 15, 25, "edges and overlaps of 50 mm; " + PRACTICE),
    "laminate.waste.resin": _range(10, 15, 30, "left in the pot; " + PRACTICE),
    "laminate.cleaner": _range(0.3, 0.5, 1.0),
    "laminate.density.glass": _known(2.56, "textbook value; " + PRACTICE),
    "laminate.density.polyester": _known(1.2, "textbook value; " + PRACTICE),
    "laminate.density.vinylester": _known(1.2, "taken as for polyester; " + PRACTICE),
    "laminate.density.epoxy": _known(1.1, "textbook value; " + PRACTICE),
    # Gelcoat: mm, kg per litre, percent.
    "gelcoat.thickness": _range(0.4, 0.5, 0.6, PRACTICE),
    "gelcoat.density": _known(1.25, "1 kg for 1.6 m² at 0.5 mm; " + PRACTICE),
    "gelcoat.waste": _range(10, 15, 30, "left in the pot; " + PRACTICE),
    "gelcoat.catalyst": _known(2, "gelcoat always 2 %; " + PRACTICE),
    # Filler: kg per litre, percent.
    "filler.density.stone": _range(1.76, 1.80, 1.85, PRACTICE),
    "filler.density.light": _range(1.0, 1.15, 1.3, _SHEETS),
    "filler.density.glass": _range(1.6, 1.75, 1.9, _SHEETS),
    "filler.overfill": _range(30, 60, 120),
    "filler.waste": _range(5, 10, 20),
    "filler.hardener": _range(1, 2, 4, "1 % in the hot season to 4 % in the cold; " + PRACTICE),
    # Beads: percent, ml per nozzle.
    "bead.residue": _range(3, 5, 8),
    "bead.waste": _range(5, 10, 20),
    "bead.nozzle_loss": _range(10, 12.5, 15),
    # Paint: µm dry (all coats), percent solids by volume ready to spray, percent that arrives, percent waste.
    "paint.film.epoxy-primer": _range(30, 40, 50, _SHEETS),
    "paint.film.filler-primer": _range(100, 150, 200, _SHEETS),
    "paint.film.base": _range(15, 22, 30, _SHEETS),
    "paint.film.clear": _range(50, 57, 65, _SHEETS),
    "paint.solids.epoxy-primer": _range(30, 37, 45, _SHEETS),
    "paint.solids.filler-primer": _range(40, 47, 55, _SHEETS),
    "paint.solids.base": _range(12, 18, 25, _SHEETS),
    "paint.solids.clear": _range(40, 45, 50, _SHEETS),
    "paint.coats.epoxy-primer": _known(2, _SHEETS),
    "paint.coats.filler-primer": _known(3, _SHEETS),
    "paint.coats.base": _known(3, _SHEETS),
    "paint.coats.clear": _known(2, _SHEETS),
    "paint.transfer.large-panels": _range(45, 58, 68, "60-70 % for large panels, lowered; " + PRACTICE),
    "paint.transfer.kit-parts": _range(25, 42, 58, "20-50 % for small parts, raised; " + PRACTICE),
    "paint.transfer.conventional": _range(40, 50, 60, "loss about 50 %; " + PRACTICE),
    "paint.transfer.airless": _range(60, 70, 78, "loss about 30 %; " + PRACTICE),
    "paint.transfer.brush": _range(85, 87.5, 90, "loss 10-15 %; " + PRACTICE),
    "paint.waste": _range(8, 12, 25),
    "paint.per_mix": _known(50, PRACTICE),
    # Film: percent.
    "film.waste.vinyl": _range(10, 15, 20, "10 %, or 20 % for complex cars and beginners; " + PRACTICE),
    "film.waste.bulk": _range(20, 30, 45),
    "film.waste.pre-cut": _range(5, 8, 12),
    # Abrasives: pieces per m² and round.
    "abrasives.rate.shaping": _range(2, 3, 6),
    "abrasives.rate.levelling": _range(1, 2, 4),
    "abrasives.rate.smoothing": _range(1, 1.5, 3),
    "abrasives.rate.fine": _range(1, 1.5, 2.5),
    "abrasives.rate.sheets": _range(0.5, 1, 2),
    # Masking: m of edge to a m², times, m, percent.
    "masking.edges": _range(3, 4.5, 8, "a bumper 4 to 5, a narrow lip 10 and more; " + PRACTICE),
    "masking.rounds": _range(1, 2, 3, "once for primer, once for colour and clear; " + PRACTICE),
    "masking.band": _range(0.4, 0.6, 1.2, PRACTICE),
    "masking.waste": _range(10, 15, 30, "overlaps, and what tears; " + PRACTICE),
    # Fasteners: mm, percent, holes per bit.
    "fasteners.pitch.rivets": _range(50, 75, 100),
    "fasteners.pitch.bolts": _range(120, 160, 200),
    "fasteners.spares.rivets": _range(15, 20, 35),
    "fasteners.spares.bolts": _range(15, 20, 35, "taken as for rivets; " + PRACTICE),
    "fasteners.spares.screws": _range(20, 30, 60),
    "fasteners.spares.clips": _range(20, 30, 60),
    "fasteners.holes_per_bit": _range(40, 50, 60),
}  # fmt: skip
"""Assumption by take-off, figure and material."""


AtMiddle = Callable[[Formula, Mapping[str, FigureBase]], float]
"""Evaluates a formula at the middle of its figures. The engine's own: there is one middle, and one evaluator."""


def times(*parts: Formula | float) -> Formula:
    """Multiply formulas and numbers, leaving out ones."""
    nodes = [as_formula(part) for part in parts]
    kept = tuple(node for node in nodes if node != Constant(1.0))
    if not kept:
        return Constant(1.0)
    return kept[0] if len(kept) == 1 else Product(kept)


def plus(*parts: Formula | float) -> Formula:
    """Add formulas and numbers."""
    return Sum(tuple(as_formula(part) for part in parts))


def over(top: Formula | float, bottom: Formula | float) -> Formula:
    """Divide formulas or numbers."""
    return Quotient(as_formula(top), as_formula(bottom))


def as_formula(part: Formula | float) -> Formula:
    """Make a number a node."""
    return Constant(float(part)) if isinstance(part, int | float) else part


def enlarged(part: Formula, percent: Formula) -> Formula:
    """Add a percentage on top: part × (1 + percent / 100)."""
    if percent == Constant(0.0):
        return part
    return times(part, plus(1.0, times(0.01, percent)))


def whole(part: Formula) -> Formula:
    """Round up to whole pieces."""
    return RoundedUp(part, 1.0)


def within(low: float, part: Formula, high: float) -> Formula:
    """Keep a percentage's draws from going where no percentage can."""
    return part if isinstance(part, Constant) else Larger((Constant(low), Smaller((Constant(high), part))))


def digits(value: float, places: int = 3) -> str:
    """Write a number with so many significant digits, and whole numbers whole."""
    if value == 0:
        return "0"
    if abs(value - round(value)) < 1e-9 and abs(value) < 1e9:
        return f"{round(value):d}"
    decimals = max(0, places - 1 - math.floor(math.log10(abs(value))))
    text = f"{value:.{decimals}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def said(number: float, unit: str) -> str:
    """Write a known number with its unit, and as the builder wrote it before that where it was in another."""
    counted = f"{digits(number)} {unit}"
    return f"{number.text} ({counted})" if isinstance(number, Written) else counted


def counted(number: float, one: str, many: str | None = None) -> str:
    """Write a number of things: ``1 tin``, ``3 tins``."""
    return f"{digits(number)} {one if abs(number - 1) < 1e-9 else many or one + 's'}"


@dataclass
class Worksheet:
    """Collects what one take-off uses while its formula is being written down.

    Attributes
    ----------
    line_id : str
        Inputs are called ``<line_id>.takeoff.<name>``.
    at_middle : callable
        See `AtMiddle`.
    surfaces : mapping
        The build's surfaces by id.
    inputs : dict
        The uncertain figures by input id; known figures become constants.
    written : dict
        How a node's value was written, where the builder used another unit than the tool's own.
    notes : list of str
        Which figures were assumed, and where they come from.
    cautions : list of str
        What the builder should look at.
    """

    line_id: str
    at_middle: AtMiddle
    surfaces: Mapping[str, Surface] = field(default_factory=dict)
    inputs: dict[str, FigureBase] = field(default_factory=dict)
    written: dict[Formula, str] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    cautions: list[str] = field(default_factory=list)

    def use(self, name: str, figure: FigureBase) -> Formula:
        """Bring a figure onto the sheet and give the node that stands for it, in the tool's own unit."""
        return self._bring(f"{self.line_id}.takeoff.{name}", figure)

    def area(self, table: AreaTakeoff) -> Formula:
        """Bring the area of a take-off onto the sheet, in m²: its own, or that of the surfaces it names."""
        if table.area is not None:
            return self.use("area", table.area)
        parts = [self._surface(one) for one in self._of(table)]
        whole_area = parts[0] if len(parts) == 1 else plus(*parts)
        self.written[whole_area] = " + ".join(self.written[part] for part in parts)
        return whole_area

    def edge(self, table: AreaTakeoff, given: FigureBase | None, key: str, words: str) -> tuple[Formula, str]:
        """Bring the length of a take-off's edges onto the sheet, in m, and say how it came about.

        A surface of a known length and width has the edge of a rectangle, 2 × (length + width); of all else the edge
        follows from the area. Surfaces are brought as in `area`, so the edge errs with what is painted.

        Parameters
        ----------
        table : AreaTakeoff
        given : figure or None
            m of edge to a m², as the builder wrote it: then it holds for all surfaces.
        key, words : str
            As in `assume`.
        """
        strips = [one for one in self._of(table) if given is None and "length" in one.sides]
        areas = [self._surface(one) for one in self._of(table) if one not in strips]
        if table.area is not None:
            areas = [self.use("area", table.area)]
        parts = [self._edge_of(strip) for strip in strips]
        how = [f"edge of {self.written[self._surface(strip)]}" for strip in strips]
        if areas:
            spread = areas[0] if len(areas) == 1 else plus(*areas)
            edges = self.assume("edges", given, key, words)
            parts.append(times(spread, edges))
            said_areas = " + ".join(self.say(area, "m²") for area in areas)
            brackets = f"({said_areas})" if len(areas) > 1 else said_areas
            how.append(f"{brackets} × {self.say(edges, 'm to a m²')}")
        return parts[0] if len(parts) == 1 else plus(*parts), " + ".join(how)

    def _of(self, table: AreaTakeoff) -> list[Surface]:
        return [self.surfaces[id] for id in table.surfaces]

    def _edge_of(self, surface: Surface) -> Formula:
        sides = self._sides(surface)
        return times(2.0 * surface.count, plus(sides["length"], times(0.001, sides["width"])))

    def _sides(self, surface: Surface) -> dict[str, Formula]:
        return {key: self._bring(f"{surface.id}.{key}", figure) for key, figure in surface.sides.items()}

    def _surface(self, surface: Surface) -> Formula:
        sides = self._sides(surface)
        one = sides["area"] if "area" in sides else times(0.001, sides["length"], sides["width"])
        area = times(float(surface.count), one)
        size = " × ".join(self.say(node, own_unit(key)) for key, node in sides.items())
        many = f"{surface.count} × " if surface.count > 1 else ""
        self.written[area] = f"{surface.title} {many}{size}"
        return area

    def _bring(self, key: str, figure: FigureBase) -> Formula:
        node: Formula
        if isinstance(figure, Known):
            node = Constant(figure.value)
        else:
            self.inputs[key] = figure
            node = Input(key)
        counted = formula_in(own_unit(key.rpartition(".")[2]), node, figure.unit)
        if counted is not node:
            self.written[counted] = f"{digits(self.middle(node))} {figure.unit}"
        return counted

    def assume(self, name: str, given: FigureBase | None, key: str, words: str) -> Formula:
        """Bring a figure onto the sheet, or the usual one where the builder gives none, and note which.

        Parameters
        ----------
        name : str
            The figure's key in the take-off table.
        given : figure or None
            What the builder wrote.
        key : str
            The usual figure's key among the assumptions.
        words : str
            How to write it, with ``{}`` for the number.
        """
        if given is not None:
            node = self.use(name, given)
            self.notes.append(words.format(digits(self.middle(node))) + ": as given" + self._as_written(node))
            return node
        usual = ASSUMPTIONS[key]
        figure = usual.figure
        self.notes.append(f"{words.format(figure.slashed(digits))}: {usual.source}")
        return self.use(name, figure)

    def middle(self, formula: Formula) -> float:
        """Evaluate a formula at the middle figures."""
        return self.at_middle(formula, self.inputs)

    def say(self, formula: Formula, unit: str = "", places: int = 3) -> str:
        """Write a formula's value at the middle figures, with its unit, and as the builder wrote it before that."""
        counted = f"{digits(self.middle(formula), places)} {unit}".rstrip()
        return f"{self.written[formula]} ({counted})" if formula in self.written else counted

    def _as_written(self, formula: Formula) -> str:
        return f", {self.written[formula]}" if formula in self.written else ""

    def warn_if(self, condition: Callable[[], bool] | bool, words: str) -> None:
        """Note a caution where the condition holds."""
        if condition() if callable(condition) else condition:
            self.cautions.append(words)


@dataclass(frozen=True)
class TakeoffExpansion:
    """A take-off turned into a quantity to buy.

    Attributes
    ----------
    formula : Formula
        The quantity, in ``unit``.
    inputs : dict
        The uncertain figures in the formula, by input id.
    unit : str
        What is counted and priced, such as ``kg`` or ``tins of 2 kg``.
    working : str
        The working at the middle figures: ``12 m × 60 mm × 4 mm × 2/3 = 1.92 L → 5.7 kg → 3 tins of 2 kg``.
    notes : tuple of str
        Each factor that is not a dimension, with its source.
    cautions : tuple of str
        What to look at before buying.
    """

    formula: Formula
    inputs: dict[str, FigureBase]
    unit: str
    working: str
    notes: tuple[str, ...]
    cautions: tuple[str, ...]


def finish(
    sheet: Worksheet,
    need: Formula,
    measure: str,
    working: str,
    table: TakeoffBase | None = None,
    *,
    pack_name: tuple[str, str] = ("pack", "packs"),
    per_pack: Formula | None = None,
    shown_pack: str | None = None,
    places: int = 2,
) -> TakeoffExpansion:
    """Round what is needed up to what is bought, and close the sheet.

    With ``pack`` (or ``per_pack``, what a pack yields) the quantity counts packs: in each of S sessions
    ⌈need / S / pack⌉, because a part-used pack is taken not to keep from one session to the next. Without it the
    quantity is what is needed.

    Parameters
    ----------
    sheet : Worksheet
    need : Formula
        In ``measure``.
    measure : str
        Unit of ``need``.
    working : str
        The steps in words up to what is needed, without it.
    table : TakeoffBase, optional
        Says the contents of a pack, in ``measure``, and the number of sessions: one when left out, and a broken
        number counts as the next whole one.
    pack_name : tuple of str
        One and many.
    per_pack : Formula, optional
        What a pack yields where less than its contents can be used.
    shown_pack : str, optional
        How to write a pack's contents.
    places : int
        Significant digits of the need in the working.

    Returns
    -------
    TakeoffExpansion
    """
    pack = table.pack if table is not None else None
    sessions = table.sessions if table is not None else None
    text = f"{working} → {sheet.say(need, measure, places)}"
    if pack is None and per_pack is None:
        if sessions is not None:
            sheet.cautions.append("sessions change nothing without a pack: say how much one pack holds.")
        return _closed(sheet, need, measure, text)
    size = per_pack if per_pack is not None else Constant(float(pack or 1))
    contents = shown_pack or said(pack or 1, measure)
    if sessions is None:
        bought = whole(over(need, size))
    else:
        count = whole(sheet.use("sessions", sessions))
        bought = times(count, whole(over(need, times(count, size))))
        text += f" over {counted(sheet.middle(count), 'session')}"
    one, many = pack_name
    text += f" → {counted(sheet.middle(bought), one, many)} of {contents}"
    return _closed(sheet, bought, f"{many} of {contents}", text)


def _closed(sheet: Worksheet, formula: Formula, unit: str, working: str) -> TakeoffExpansion:
    return TakeoffExpansion(
        formula, dict(sheet.inputs), unit, working, tuple(sheet.notes), tuple(sheet.cautions)
    )
