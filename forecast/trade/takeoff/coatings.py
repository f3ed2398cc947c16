"""What is spread over an area: filler from the shape of the hollow, paint and primer, and the masking beside them.

Volumes are geometry; the density of stone filler and the hardener's share are as published by suppliers (one page
prints the density's unit wrongly, as grams per litre: it is kilograms per litre).

Spreading rates as in published coating guides. Two errors stand in print and are not repeated: a web page's formula
is ten times too high, and a loss is divided by (1 − loss), never multiplied by (1 + loss).
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from forecast.buildfile.takeoff import MaskingTakeoff
from forecast.buildfile.takeoff_base import LEAST_ARRIVING
from forecast.buildfile.takeoff_body import FillerTakeoff, PaintTakeoff
from forecast.figures.formula import Formula
from forecast.trade.takeoff.worksheet import (
    TakeoffExpansion,
    Worksheet,
    digits,
    enlarged,
    finish,
    over,
    plus,
    times,
    whole,
    within,
)

SHAPE_FACTORS: Mapping[str, tuple[float, str]] = {
    "wedge": (1 / 2, "1/2"),
    "dish": (math.pi / 8, "π/8"),
    "strip": (2 / 3, "2/3"),
}
"""Share of length × width × depth that each shape fills: a one-sided taper, an elliptic paraboloid that feathers
out all round, and a parabola that feathers out to both sides."""

DEEPEST = 3.0
"""mm of finished filler; deeper is laminated first (common practice)."""


def expand_filler(sheet: Worksheet, table: FillerTakeoff) -> TakeoffExpansion:
    """Turn a filler's table into the quantity to buy of filler or its hardener.

    Volume in place, litres: length (m) × width (mm) × depth (mm) × the shape's factor / 1000, or area (m²) ×
    thickness (mm) of an even coat; then × density × (1 + overfill) × (1 + waste). Overfill is what is laid on and
    sanded away again, waste what stays on the mixing board.
    """
    count = sheet.use("count", table.count)
    if table.shape == "skim":
        assert table.thickness is not None  # the model has seen to it
        area, deep = sheet.area(table), sheet.use("thickness", table.thickness)
        volume = times(count, area, deep)
        words = f"{sheet.say(area, 'm²')} × {sheet.say(deep, 'mm')}"
    else:
        assert table.length is not None
        assert table.width is not None
        assert table.depth is not None
        length, width = sheet.use("length", table.length), sheet.use("width", table.width)
        deep = sheet.use("depth", table.depth)
        factor, shown = SHAPE_FACTORS[table.shape]
        volume = times(count, length, width, deep, factor / 1000)
        words = f"{sheet.say(length, 'm')} × {sheet.say(width, 'mm')} × {sheet.say(deep, 'mm')} × {shown}"
    if sheet.middle(count) != 1:
        words = f"{sheet.say(count)} × {words}"
    words += f" = {sheet.say(volume, 'L')}"
    sheet.warn_if(
        sheet.middle(deep) > DEEPEST,
        f"{sheet.say(deep, 'mm')} deep: filler finished deeper than about {DEEPEST:g} mm cracks and shrinks; "
        "usual practice is to laminate first and fill what is left.",
    )
    density = sheet.assume("density", table.density, f"filler.density.{table.filler}", "density {} kg/L")
    overfill = sheet.assume("overfill", table.overfill, "filler.overfill", "laid on and sanded off {} %")
    waste = sheet.assume("waste", table.waste, "filler.waste", "left on the mixing board {} %")
    mass = enlarged(enlarged(times(volume, density), overfill), waste)
    if table.buy == "filler":
        return finish(sheet, mass, "kg", words, table, pack_name=("tin", "tins"))
    percent = sheet.assume("hardener", table.hardener, "filler.hardener", "hardener {} % by weight")
    words += f" → {sheet.say(mass, 'kg', 2)} × {sheet.say(percent, '%')}"
    return finish(sheet, times(10.0, mass, percent), "g", words, table, pack_name=("tube", "tubes"))


PLAUSIBLE_SPREAD = (2.5, 14.0)
"""m² per litre and coat, ready to spray and losses included, outside which a figure is probably a slip; published
guides of low authority give 4.9 to 6.9, thin base coats go further (our choice of limits)."""


def expand_paint(sheet: Worksheet, table: PaintTakeoff) -> TakeoffExpansion:
    """Turn a paint's table into litres or tins."""
    area = sheet.area(table)
    words = sheet.say(area, "m²")
    if table.returns is not None:
        area = enlarged(area, sheet.use("returns", table.returns))
        words = f"{sheet.say(area, 'm²')} with backs and edges"
    if table.coats is None:
        coats = sheet.assume("coats", None, f"paint.coats.{table.paint}", "{} coats")
    else:
        coats = sheet.use("coats", table.coats)
    if table.coverage is not None:
        coverage = sheet.use("coverage", table.coverage)
        sheet.notes.append("the coverage chart has losses and waste in it already: none are added")
        need = over(times(area, coats), coverage)
        words = f"{words} × {sheet.say(coats)} coats / {sheet.say(coverage, 'm²/L')}"
    else:
        need, words = _by_film(sheet, table, area, coats, words)
    if table.share != 100:
        words += f" → {sheet.say(need, 'L', 2)} × {table.share:g} %"
        need = times(table.share / 100, need)
    return finish(sheet, need, "L", words, table, pack_name=("tin", "tins"))


def _by_film(
    sheet: Worksheet, table: PaintTakeoff, area: Formula, coats: Formula, words: str
) -> tuple[Formula, str]:
    """Give litres ready to spray: area (m²) × film (µm) / (10 × solids %) / transfer × (1 + waste), and each mix."""
    film = sheet.assume("film", table.film, f"paint.film.{table.paint}", "dry film {} µm, all coats")
    solids = sheet.assume(
        "solids", table.solids, f"paint.solids.{table.paint}", "solids {} % by volume, ready to spray"
    )
    arriving = sheet.assume("transfer", table.transfer, f"paint.transfer.{table.method}", "{} % arrive")
    solids, arriving = (within(LEAST_ARRIVING, part, 100.0) for part in (solids, arriving))
    waste = sheet.assume("waste", table.waste, "paint.waste", "left in pot, cup and strainer {} %")
    per_mix = sheet.assume("per_mix", table.per_mix, "paint.per_mix", "{} ml lost with each mix")
    on_part = over(times(area, film), times(10.0, solids))
    sprayed = over(on_part, times(0.01, arriving))
    need = plus(enlarged(sprayed, waste), times(0.001, whole(coats), per_mix))
    words = f"{words} × {sheet.say(film, 'µm')} / (10 × {sheet.say(solids, '%')}) = {sheet.say(on_part, 'L')}"
    words += f" on the part / {sheet.say(arriving, '%')}"
    spread = sheet.middle(times(area, coats)) / sheet.middle(need)
    low, high = PLAUSIBLE_SPREAD
    sheet.warn_if(
        not low <= spread <= high,
        f"That is {digits(spread, 2)} m² per litre and coat; {low:g} to {high:g} is usual. Check film, solids "
        "and coats.",
    )
    return need, words


def expand_masking(sheet: Worksheet, table: MaskingTakeoff) -> TakeoffExpansion:
    """Turn a masking table into metres of tape, or m² of sheet.

    Tape (m) = edge (m) × rounds × (1 + waste); sheet (m²) = edge (m) × band (m) × rounds × (1 + waste).
    """
    edge, how = sheet.edge(table, table.edges, "masking.edges", "{} m of edge to a m²")
    rounds = sheet.assume("rounds", table.rounds, "masking.rounds", "masked {} times over")
    waste = sheet.assume("waste", table.waste, "masking.waste", "waste {} %")
    words = f"{how} = {digits(sheet.middle(edge))} m × {sheet.say(rounds)}"
    need = times(edge, rounds)
    if table.buy == "sheet":
        band = sheet.assume("band", table.band, "masking.band", "sheet {} m beyond the edge")
        need = times(need, band)
        words += f" × {sheet.say(band, 'm')}"
    words += f" × {digits(1 + sheet.middle(waste) / 100)}"
    measure = "m²" if table.buy == "sheet" else "m"
    return finish(sheet, enlarged(need, waste), measure, words, table, pack_name=("roll", "rolls"), places=3)
