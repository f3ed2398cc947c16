"""Surface film: metres off the roll."""

from __future__ import annotations

from forecast.buildfile.takeoff import FilmTakeoff
from forecast.trade.takeoff.cutting import cut_from_roll
from forecast.trade.takeoff.worksheet import (
    TakeoffExpansion,
    Worksheet,
    enlarged,
    finish,
    over,
    plus,
    said,
)


def expand_film(sheet: Worksheet, table: FilmTakeoff) -> TakeoffExpansion:
    """Turn a film's table into metres, or whole rolls: area (m²) × (1 + waste) / roll width (m)."""
    if table.pieces:
        return _from_pieces(sheet, table)
    area = sheet.area(table)
    waste = sheet.assume("waste", table.waste, f"film.waste.{table.cut}", "waste {} %")
    cut = enlarged(area, waste)
    words = f"{sheet.say(area, 'm²')} × {1 + sheet.middle(waste) / 100:g}"
    if table.spoiled_panel is not None:
        panel = sheet.use("spoiled_panel", table.spoiled_panel)
        cut = plus(cut, panel)
        words += f" + {sheet.say(panel, 'm²')} spoiled"
    elif table.cut == "pre-cut":
        sheet.notes.append("usual practice allows for one spoiled panel: spoiled_panel = … (m²)")
    words += f" = {sheet.say(cut, 'm²')} / {said(table.roll_width, 'm')}"
    return finish(
        sheet,
        over(cut, table.roll_width),
        "m",
        words,
        table,
        pack_name=("roll", "rolls"),
        places=3,
    )


def _from_pieces(sheet: Worksheet, table: FilmTakeoff) -> TakeoffExpansion:
    """Count metres by a cut plan: whole rows across the roll, and the spoiled panel after them."""
    need, words = cut_from_roll(sheet, table.pieces, table.edge, table.roll_width)
    if table.spoiled_panel is not None:
        panel = sheet.use("spoiled_panel", table.spoiled_panel)
        need = plus(need, over(panel, table.roll_width))
        words += f" + {sheet.say(panel, 'm²')} spoiled"
    return finish(sheet, need, "m", words, table, pack_name=("roll", "rolls"), places=3)
