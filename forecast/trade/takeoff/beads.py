"""Sealant and adhesive beads: cartridges and nozzles from the run and the section.

A section in mm² is millilitres per metre (a published rule, and geometry). Published bead tables are not used: one
of them gives twice what the geometry does.
"""

from __future__ import annotations

import math

from forecast.buildfile.takeoff import AdhesiveTakeoff, SealantTakeoff
from forecast.buildfile.takeoff_base import MOST_LOST
from forecast.figures.formula import Constant, Formula
from forecast.trade.takeoff.worksheet import (
    TakeoffExpansion,
    Worksheet,
    counted,
    digits,
    enlarged,
    finish,
    plus,
    said,
    times,
    whole,
    within,
)


def expand_sealant(sheet: Worksheet, table: SealantTakeoff) -> TakeoffExpansion:
    """Turn a sealant's table into cartridges."""
    run, words = _run(sheet, table)
    return _cartridges(sheet, table, run, words)


def expand_adhesive(sheet: Worksheet, table: AdhesiveTakeoff) -> TakeoffExpansion:
    """Turn an adhesive's table into cartridges or mixing nozzles."""
    if table.section == "bond-line" and table.depth is not None:
        wide = sheet.middle(sheet.use("width", table.width))
        thick = sheet.middle(sheet.use("depth", table.depth))
        bead = math.sqrt(4 * wide * thick / math.pi)  # a circle of the bond line's area
        sheet.notes.append(f"lay a round bead of {digits(bead, 2)} mm: it fills the bond line when pressed")
    if not table.two_part:
        run, words = _run(sheet, table)
        return _cartridges(sheet, table, run, words)
    nozzles = _nozzles(sheet, table)
    if table.buy == "nozzles":
        working = "a nozzle for each session and one more for each pause"
        sheet.inputs = {key: figure for key, figure in sheet.inputs.items() if key in _ids(nozzles)}
        return finish(sheet, nozzles, "nozzles", working)
    run, words = _run(sheet, table)
    lost = sheet.assume("nozzle_loss", table.nozzle_loss, "bead.nozzle_loss", "{} ml left in each nozzle")
    words += f" + {counted(sheet.middle(nozzles), 'nozzle')} × {sheet.say(lost, 'ml')}"
    return _cartridges(sheet, table, plus(run, times(nozzles, lost)), words)


def _ids(formula: Formula) -> set[str]:
    from forecast.figures.formula import Input, walk

    return {node.id for node in walk(formula) if isinstance(node, Input)}


def _nozzles(sheet: Worksheet, table: AdhesiveTakeoff) -> Formula:
    sessions = whole(sheet.use("sessions", table.sessions)) if table.sessions is not None else Constant(1.0)
    if table.pauses is None:
        return sessions
    return plus(sessions, whole(sheet.use("pauses", table.pauses)))


def _run(sheet: Worksheet, table: SealantTakeoff | AdhesiveTakeoff) -> tuple[Formula, str]:
    """Give the millilitres that the bead takes, tooling included.

    Length (m) × section (mm²). Rectangle and bond-line are w × d, fillet (legs w and d) and vee (base w, height d)
    half of it, half-round π/8 w², round π/4 w².
    """
    length, wide = sheet.use("length", table.length), sheet.use("width", table.width)
    if table.depth is None:
        factor, shown = (math.pi / 8, "π/8") if table.section == "half-round" else (math.pi / 4, "π/4")
        section = times(factor, wide, wide)
        words = f"{shown} × ({sheet.say(wide, 'mm')})²"
    else:
        deep = sheet.use("depth", table.depth)
        half = table.section in ("fillet", "vee")
        section = times(0.5 if half else 1.0, wide, deep)
        words = f"{sheet.say(wide, 'mm')} × {sheet.say(deep, 'mm')}" + (" / 2" if half else "")
    waste = sheet.assume("waste", table.waste, "bead.waste", "tooling waste {} %")
    laid = times(length, section)
    return enlarged(laid, waste), f"{sheet.say(length, 'm')} × {words} = {sheet.say(laid, 'ml')}"


def _cartridges(
    sheet: Worksheet, table: SealantTakeoff | AdhesiveTakeoff, need: Formula, words: str
) -> TakeoffExpansion:
    residue = sheet.assume("residue", table.residue, "bead.residue", "{} % stay in the cartridge")
    usable = times(table.cartridge, plus(1.0, times(-0.01, within(0.0, residue, MOST_LOST))))
    if table.sessions is None:
        sheet.notes.append("part-used cartridges rarely survive: say sessions = … if the work is spread out")
    return finish(
        sheet,
        need,
        "ml",
        words,
        table,
        pack_name=("cartridge", "cartridges"),
        per_pack=usable,
        shown_pack=said(table.cartridge, "ml"),
        places=3,
    )
