"""Paint and primer, litres ready to spray, from area and dry film.

Spreading rates as in published coating guides. Two errors stand in print and are not repeated: a web page's formula
is ten times too high, and a loss is divided by (1 − loss), never multiplied by (1 + loss).
"""

from __future__ import annotations

from forecast.buildfile.takeoff import PaintTakeoff
from forecast.buildfile.takeoff_base import LEAST_ARRIVING
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
