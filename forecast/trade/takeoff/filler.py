"""Polyester filler from the shape of the hollow.

Volumes are geometry; the density of stone filler and the hardener's share are as published by suppliers (one page
prints the density's unit wrongly, as grams per litre: it is kilograms per litre).
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from forecast.buildfile.takeoff import FillerTakeoff
from forecast.trade.takeoff.worksheet import TakeoffExpansion, Worksheet, enlarged, finish, times

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
