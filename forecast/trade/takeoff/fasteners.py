"""Rivets, bolts, screws and clips by pitch, and a check of wheel bolts.

Limits of pitch and edge distance are those of aircraft sheet-metal practice (a navy training manual; AC 43.13-1B as
quoted): limits, not the usual pitch of trims on fibreglass.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from forecast.build.formula import Constant
from forecast.build.takeoff import FastenersTakeoff, WheelBoltsTakeoff
from forecast.trade.takeoff.worksheet import (
    PACK_SLACK,
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

SMALLEST_PITCH, SMALLEST_EDGE = 3.0, 2.0
"""In diameters."""
USUAL_PITCH = (4.0, 8.0)
"""In diameters."""


def fasteners_along(length: ArrayLike, pitch: ArrayLike, *, closed: bool = False) -> NDArray[np.float64]:
    """Give the fasteners along a line: ⌈length (m) / pitch (mm)⌉, and one more where the line is open."""
    gaps = np.ceil(numbers(length) * 1000 / numbers(pitch) - PACK_SLACK)
    return np.asarray(gaps if closed else gaps + 1)


def pitch_limits(diameter: ArrayLike) -> dict[str, NDArray[np.float64]]:
    """Give the usual limits for a shank, all in mm: least pitch 3 D, usual 4 to 8 D, least edge distance 2 D."""
    shank = numbers(diameter)
    return {
        "pitch_min": SMALLEST_PITCH * shank,
        "pitch_usual_low": USUAL_PITCH[0] * shank,
        "pitch_usual_high": USUAL_PITCH[1] * shank,
        "edge_min": SMALLEST_EDGE * shank,
    }


def solid_rivet_length(grip: ArrayLike, diameter: ArrayLike) -> NDArray[np.float64]:
    """Give a solid rivet's length, mm: grip + 1.5 D. Blind rivets follow their own grip tables."""
    return numbers(grip) + 1.5 * numbers(diameter)


def wheel_bolt_shank(old_shank: ArrayLike, spacer: ArrayLike) -> NDArray[np.float64]:
    """Give the shank that keeps the present engagement behind a spacer, mm. A check, never an approval."""
    return numbers(old_shank) + numbers(spacer)


def turns_of_engagement(engagement: ArrayLike, thread_pitch: ArrayLike) -> NDArray[np.float64]:
    """Give the turns of thread in an engagement, both in mm."""
    return numbers(engagement) / numbers(thread_pitch)


def expand_fasteners(line_id: str, table: FastenersTakeoff) -> TakeoffExpansion:
    """Turn a fasteners table into pieces or packs."""
    sheet = Worksheet(line_id)
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
    limits = pitch_limits(table.diameter)
    sheet.warn_if(
        pitch < float(limits["pitch_min"]),
        f"Pitch {digits(pitch)} mm is under 3 diameters ({digits(float(limits['pitch_min']))} mm): the sheet "
        "tears between holes.",
    )
    sheet.warn_if(
        table.edge is not None and table.edge < float(limits["edge_min"]),
        f"Edge distance {digits(table.edge or 0)} mm is under 2 diameters "
        f"({digits(float(limits['edge_min']))} mm): the edge tears out.",
    )


def expand_wheel_bolts(line_id: str, table: WheelBoltsTakeoff) -> TakeoffExpansion:
    """Count wheel bolts, and show the length that keeps the present engagement."""
    sheet = Worksheet(line_id)
    shank = float(wheel_bolt_shank(table.shank, table.spacer))
    turns = float(turns_of_engagement(table.diameter, table.thread_pitch))
    sheet.notes.append(
        f"{digits(table.shank)} mm + {digits(table.spacer)} mm spacer = {digits(shank)} mm of shank keeps the "
        f"present engagement; one diameter in steel is {digits(turns)} turns of "
        f"M{table.diameter:g}×{table.thread_pitch:g} (general engineering practice, from memory)"
    )
    sheet.cautions.append(
        "A check, not an approval: wheel, spacer, seat and fixing must be made for each other. Follow the vehicle "
        "and wheel makers, and local approval rules; re-torque after 50 to 100 km."
    )
    need = Constant(float(table.wheels * table.per_wheel))
    words = f"{table.wheels} wheels × {table.per_wheel} bolts of {digits(shank)} mm shank"
    return finish(sheet, need, "bolts", words, table)
