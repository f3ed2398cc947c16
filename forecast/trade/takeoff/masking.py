"""Masking: tape along the edges of what is painted, and the sheet beside them. Rates are common practice, no source."""

from __future__ import annotations

from forecast.buildfile.takeoff import MaskingTakeoff
from forecast.trade.takeoff.worksheet import TakeoffExpansion, Worksheet, digits, enlarged, finish, times


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
