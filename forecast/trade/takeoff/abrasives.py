"""Discs and sheets by area, grit and round. Rates are common practice, without a source."""

from __future__ import annotations

from forecast.buildfile.takeoff import AbrasivesTakeoff, SandingStep
from forecast.figures.formula import Formula
from forecast.trade.takeoff.worksheet import (
    TakeoffExpansion,
    Worksheet,
    counted,
    digits,
    over,
    plus,
    times,
    whole,
)

DISCS_PER_HOUR = (3.0, 6.0)
"""Discs in an hour of sanding (common practice)."""


def rate_key(grit: int, form: str = "discs") -> str:
    """Give the usual rate's key for a grit: shaping to P100, levelling to P220, smoothing to P360, then fine."""
    if form == "sheets":
        return "abrasives.rate.sheets"
    for limit, name in ((100, "shaping"), (220, "levelling"), (360, "smoothing")):
        if grit < limit:
            return f"abrasives.rate.{name}"
    return "abrasives.rate.fine"


def expand_abrasives(sheet: Worksheet, table: AbrasivesTakeoff) -> TakeoffExpansion:
    """Turn an abrasives table into discs or sheets, or packs of them grit by grit."""
    area = sheet.area(table)
    pieces = [_pieces(sheet, area, step, table.form) for step in table.steps]
    words = f"{sheet.say(area, 'm²')}: " + ", ".join(
        f"P{step.grit} {sheet.say(piece)}" for step, piece in zip(table.steps, pieces, strict=True)
    )
    total = plus(*pieces)
    one = table.form.removesuffix("s")
    words += f" → {counted(sheet.middle(total), one)}"
    if table.sanding_hours is not None:
        _check_hours(sheet, sheet.middle(total), table.sanding_hours)
    unit: str = table.form
    formula: Formula = total
    if table.pack is not None:
        formula = plus(*(whole(over(piece, table.pack)) for piece in pieces))
        unit = f"packs of {table.pack:g} {table.form}"
        words += f" → {counted(sheet.middle(formula), 'pack')} of {table.pack:g}, grit by grit"
    if table.sessions is not None:
        sheet.cautions.append("sessions change nothing here: discs keep from one session to the next.")
    sheet.notes.append("clogging on filler, not wear, ends most discs: multiply by the rounds of filling")
    return TakeoffExpansion(
        formula, dict(sheet.inputs), unit, words, tuple(sheet.notes), tuple(sheet.cautions)
    )


def _pieces(sheet: Worksheet, area: Formula, step: SandingStep, form: str) -> Formula:
    """Give whole pieces of one grit: ⌈area (m²) × rate (per m² and round) × rounds⌉."""
    rate = sheet.assume(
        f"p{step.grit}.rate", step.rate, rate_key(step.grit, form), f"P{step.grit}: {{}} per m² and round"
    )
    rounds = sheet.use(f"p{step.grit}.rounds", step.rounds)
    return whole(times(area, rate, rounds))


def _check_hours(sheet: Worksheet, total: float, hours: float) -> None:
    low, high = (hours * rate for rate in DISCS_PER_HOUR)
    sheet.warn_if(
        not low <= total <= high,
        f"{digits(hours)} hours of sanding usually take {digits(low)} to {digits(high)} discs, this counts "
        f"{digits(total)}: check rounds and hours.",
    )
