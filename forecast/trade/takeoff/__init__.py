"""Take-off: from dimensions to what to buy.

``expand_takeoff`` turns a ``takeoff = { … }`` table of the build file into a formula, its uncertain inputs and its
working in words. Kinds that are alike stand in one module. The formula is the only
place where its arithmetic stands.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from forecast.buildfile.takeoff import (
    AbrasivesTakeoff,
    AdhesiveTakeoff,
    AnyTakeoff,
    FastenersTakeoff,
    FilmTakeoff,
    MaskingTakeoff,
    SealantTakeoff,
    WheelBoltsTakeoff,
)
from forecast.buildfile.takeoff_base import Surface
from forecast.buildfile.takeoff_body import FillerTakeoff, GelcoatTakeoff, LaminateTakeoff, PaintTakeoff
from forecast.errors import Problem, RuleError
from forecast.figures.units import fits, formula_in, is_measure
from forecast.trade.takeoff.coatings import expand_filler, expand_masking, expand_paint
from forecast.trade.takeoff.pieces import (
    expand_abrasives,
    expand_adhesive,
    expand_fasteners,
    expand_sealant,
    expand_wheel_bolts,
)
from forecast.trade.takeoff.sheets import expand_film, expand_gelcoat, expand_laminate
from forecast.trade.takeoff.worksheet import AtMiddle, TakeoffExpansion, Worksheet, digits


def expand_takeoff(
    line_id: str, takeoff: AnyTakeoff, at_middle: AtMiddle, surfaces: Mapping[str, Surface] | None = None
) -> TakeoffExpansion:
    """Turn a line's take-off table into the quantity to buy.

    Parameters
    ----------
    line_id : str
        The inputs are called ``<line_id>.takeoff.<key>``.
    takeoff : Takeoff
        Any of the models of forecast/buildfile/takeoff.py.
    at_middle : callable
        Evaluates a formula at the middle of its figures: `forecast.figures.evaluate.at_middle`.
    surfaces : mapping, optional
        The build's surfaces by id; the inputs of one are called ``<surface_id>.<key>``, whichever line names it.

    Returns
    -------
    TakeoffExpansion
        The formula with its inputs, the unit that the line's price is per, and the working at middle figures.

    Raises
    ------
    RuleError
        When a rule does not hold for what was given, such as catalyst below 5 °C.
    """
    sheet = Worksheet(line_id, at_middle, surfaces or {})
    match takeoff:
        case LaminateTakeoff():
            return expand_laminate(sheet, takeoff)
        case GelcoatTakeoff():
            return expand_gelcoat(sheet, takeoff)
        case FillerTakeoff():
            return expand_filler(sheet, takeoff)
        case SealantTakeoff():
            return expand_sealant(sheet, takeoff)
        case AdhesiveTakeoff():
            return expand_adhesive(sheet, takeoff)
        case PaintTakeoff():
            return expand_paint(sheet, takeoff)
        case FilmTakeoff():
            return expand_film(sheet, takeoff)
        case AbrasivesTakeoff():
            return expand_abrasives(sheet, takeoff)
        case MaskingTakeoff():
            return expand_masking(sheet, takeoff)
        case FastenersTakeoff():
            return expand_fasteners(sheet, takeoff)
        case WheelBoltsTakeoff():
            return expand_wheel_bolts(sheet, takeoff)


def priced_per(line_id: str, taken: TakeoffExpansion, unit: str, at_middle: AtMiddle) -> TakeoffExpansion:
    """Count a take-off in the unit that its price is for.

    Raises
    ------
    RuleError
        When the take-off counts packs or pieces, or something else than the price does.
    """
    if not is_measure(taken.unit) or not fits(unit, taken.unit):
        problem = Problem(
            f"{line_id}.price",
            f"the price is for one {unit!r}, the take-off counts {taken.unit!r}",
            "Leave the price's unit out and give the price for one of those, or take pack out of the take-off.",
        )
        raise RuleError(str(problem))
    formula = formula_in(unit, taken.formula, taken.unit)
    if formula is taken.formula:
        return taken
    words = f"{taken.working} = {digits(at_middle(formula, taken.inputs))} {unit}"
    return replace(taken, formula=formula, unit=unit, working=words)


__all__ = ["AtMiddle", "TakeoffExpansion", "expand_takeoff", "priced_per"]
