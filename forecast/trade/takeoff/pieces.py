"""What is counted in pieces: discs and sheets to sand with, cartridges of beads, rivets, bolts and screws.

A section in mm² is millilitres per metre (a published rule, and geometry). Published bead tables are not used: one
of them gives twice what the geometry does.

Limits of pitch and edge distance are those of aircraft sheet-metal practice (a navy training manual; AC 43.13-1B as
quoted): limits, not the usual pitch of trims on fibreglass.
"""

from __future__ import annotations

import math

from forecast.buildfile.takeoff import (
    AbrasivesTakeoff,
    AdhesiveTakeoff,
    FastenersTakeoff,
    SandingStep,
    SealantTakeoff,
    WheelBoltsTakeoff,
)
from forecast.buildfile.takeoff_base import MOST_LOST
from forecast.figures.formula import Constant, Formula
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
    times,
    whole,
    within,
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


SMALLEST_PITCH, SMALLEST_EDGE = 3.0, 2.0
"""In diameters."""


def expand_fasteners(sheet: Worksheet, table: FastenersTakeoff) -> TakeoffExpansion:
    """Turn a fasteners table into pieces or packs.

    A line takes ⌈length (m) / pitch (mm)⌉ fasteners, and one more where it is open.
    """
    length = sheet.use("length", table.length)
    pitch = sheet.assume("pitch", table.pitch, f"fasteners.pitch.{table.fastener}", "pitch {} mm")
    count = sheet.use("count", table.count)
    gaps = whole(over(times(1000.0, length), pitch))
    in_line = gaps if table.closed else plus(gaps, 1.0)
    holes = times(whole(count), in_line)
    each = f"{sheet.say(length, 'm')} / {sheet.say(pitch, 'mm')}" + ("" if table.closed else " + 1")
    words = f"{each} = {sheet.say(in_line)}"
    if sheet.middle(count) != 1:
        words += f"; × {sheet.say(whole(count))} = {sheet.say(holes)}"
    _check_limits(sheet, table, sheet.middle(pitch))
    if table.buy == "drill-bits":
        per_bit = sheet.assume("holes_per_bit", None, "fasteners.holes_per_bit", "{} holes per bit")
        need, unit = whole(over(holes, per_bit)), "bits"
        words += f" holes / {sheet.say(per_bit)}"
    else:
        spares = sheet.assume("spares", table.spares, f"fasteners.spares.{table.fastener}", "spares {} %")
        each_takes = table.washers_each if table.buy == "washers" else 1.0
        need = whole(times(each_takes, enlarged(holes, spares)))
        unit = "washers" if table.buy == "washers" else table.fastener
        words += " and spares"
    return finish(sheet, need, unit, words, table, places=4)


def _check_limits(sheet: Worksheet, table: FastenersTakeoff, pitch: float) -> None:
    if table.diameter is None:
        return
    nearest, outermost = SMALLEST_PITCH * table.diameter, SMALLEST_EDGE * table.diameter
    sheet.warn_if(
        pitch < nearest,
        f"Pitch {digits(pitch)} mm is under {SMALLEST_PITCH:g} diameters ({digits(nearest)} mm): the sheet tears "
        "between holes.",
    )
    sheet.warn_if(
        table.edge is not None and table.edge < outermost,
        f"Edge distance {digits(table.edge or 0)} mm is under {SMALLEST_EDGE:g} diameters "
        f"({digits(outermost)} mm): the edge tears out.",
    )


def expand_wheel_bolts(sheet: Worksheet, table: WheelBoltsTakeoff) -> TakeoffExpansion:
    """Count wheel bolts, and show the length that keeps the present engagement."""
    shank = table.shank + table.spacer
    turns = table.diameter / table.thread_pitch
    sheet.notes.append(
        f"{digits(table.shank)} mm + {digits(table.spacer)} mm spacer = {digits(shank)} mm of shank keeps the "
        f"present engagement; one diameter in steel is {digits(turns)} turns of "
        f"M{table.diameter:g}×{table.thread_pitch:g} (common practice, no source)"
    )
    sheet.cautions.append(
        "A check, not an approval: wheel, spacer, seat and fixing must be made for each other. Follow the vehicle "
        "and wheel makers, and local approval rules; tighten again after the first drive, as the wheel maker says."
    )
    need = Constant(float(table.wheels * table.per_wheel))
    words = f"{table.wheels} wheels × {table.per_wheel} bolts of {digits(shank)} mm shank"
    return finish(sheet, need, "bolts", words, table)
