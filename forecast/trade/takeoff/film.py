"""Surface film: metres off the roll."""

from __future__ import annotations

from forecast.build.formula import Constant, Formula
from forecast.build.takeoff import FilmTakeoff
from forecast.trade.takeoff.cutting import cut_plan
from forecast.trade.takeoff.worksheet import (
    TakeoffExpansion,
    Worksheet,
    counted,
    digits,
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
    more = 2 * table.edge / 1000
    sizes = [
        (piece.width / 1000 + more, piece.length + more) for piece in table.pieces for _ in range(piece.count)
    ]
    rows = cut_plan(sizes, table.roll_width)
    need: Formula = Constant(rows[-1].start + rows[-1].length)
    filled = sum(across * along for across, along in sizes)
    words = f"{counted(len(sizes), 'piece')}, {digits(filled)} m² with edges, in {counted(len(rows), 'row')}"
    words += f" on {said(table.roll_width, 'm')}"
    if table.spoiled_panel is not None:
        panel = sheet.use("spoiled_panel", table.spoiled_panel)
        need = plus(need, over(panel, table.roll_width))
        words += f" + {sheet.say(panel, 'm²')} spoiled"
    sheet.notes.append(
        "; ".join(
            f"row {place}, {digits(row.length)} m: "
            + " | ".join(f"{digits(across)} × {digits(along)} m" for across, along in row.pieces)
            for place, row in enumerate(rows, start=1)
        )
    )
    return finish(sheet, need, "m", words, table, pack_name=("roll", "rolls"), places=3)
