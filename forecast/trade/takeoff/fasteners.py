"""Rivets, bolts, screws and clips by pitch, and a check of wheel bolts.

Limits of pitch and edge distance are those of aircraft sheet-metal practice (a navy training manual; AC 43.13-1B as
quoted): limits, not the usual pitch of trims on fibreglass.
"""

from __future__ import annotations

from forecast.buildfile.takeoff import FastenersTakeoff, WheelBoltsTakeoff
from forecast.figures.formula import Constant
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
