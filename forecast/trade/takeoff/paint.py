"""Paint and primer, litres ready to spray, from area and dry film.

Spreading rates as in published coating guides. Two errors stand in print and are not repeated: a web page's formula
is ten times too high, and a loss is divided by (1 − loss), never multiplied by (1 + loss).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from forecast.build.formula import Formula
from forecast.build.takeoff import PaintTakeoff
from forecast.trade.takeoff.worksheet import (
    TakeoffExpansion,
    Worksheet,
    digits,
    enlarged,
    finish,
    numbers,
    over,
    plus,
    times,
    whole,
)

SQUARE_FOOT = 0.09290304
"""m²."""
US_QUART = 0.946352946
"""Litres."""
US_GALLON = 3.785411784
"""Litres."""

PLAUSIBLE_SPREAD = (2.5, 14.0)
"""m² per litre and coat, ready to spray and losses included, outside which a figure is probably a slip; published
guides of low authority give 4.9 to 6.9, thin base coats go further (our choice of limits)."""


def theoretical_spread(solids_percent: ArrayLike, dry_film: ArrayLike) -> NDArray[np.float64]:
    """Give m² per litre with nothing lost: 10 × solids by volume (%) / dry film (µm)."""
    return 10 * numbers(solids_percent) / numbers(dry_film)


def wet_film(dry_film: ArrayLike, solids_percent: ArrayLike) -> NDArray[np.float64]:
    """Give the wet film for a dry one, both in µm: dry × 100 / solids (%), as sprayed."""
    return numbers(dry_film) * 100 / numbers(solids_percent)


def practical_volume(theory: ArrayLike, loss: ArrayLike) -> NDArray[np.float64]:
    """Give what to spray when a fraction is lost: theory / (1 − loss)."""
    return numbers(theory) / (1 - numbers(loss))


def paint_volume(
    area: ArrayLike,
    dry_film: ArrayLike,
    solids_percent: ArrayLike,
    transfer: ArrayLike,
    pot_waste: ArrayLike = 0.0,
) -> NDArray[np.float64]:
    """Give litres ready to spray: area (m²) × film (µm) / (10 × solids %) / transfer × (1 + pot waste), fractions."""
    theory = numbers(area) / theoretical_spread(solids_percent, dry_film)
    return practical_volume(theory, 1 - numbers(transfer)) * (1 + numbers(pot_waste))


def spread_from_us_customary(square_feet_per_quart: ArrayLike) -> NDArray[np.float64]:
    """Convert square feet per US quart to m² per litre."""
    return numbers(square_feet_per_quart) * SQUARE_FOOT / US_QUART


def expand_paint(line_id: str, table: PaintTakeoff) -> TakeoffExpansion:
    """Turn a paint's table into litres or tins."""
    sheet = Worksheet(line_id)
    area = sheet.use("area", table.area)
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
    film = sheet.assume("film", table.film, f"paint.film.{table.paint}", "dry film {} µm, all coats")
    solids = sheet.assume(
        "solids", table.solids, f"paint.solids.{table.paint}", "solids {} % by volume, ready to spray"
    )
    arriving = sheet.assume("transfer", table.transfer, f"paint.transfer.{table.method}", "{} % arrive")
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
