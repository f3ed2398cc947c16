"""What comes off a roll and what is laid up of it: a cut plan, surface film, laminate and gelcoat.

This is the textbook method of decreasing heights and first fit; its length is never over 1.7 times the best plan's and
one piece. Nothing shorter than area by width can be cut.

Sources: resin-to-glass ratios and coverage charts as published by laminating suppliers; thickness by the rule of
mixtures, which is the formula of ISO 12215-5 (from memory) in other letters; catalyst by a published chart.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from dataclasses import dataclass, field

from forecast.buildfile.takeoff import FilmTakeoff
from forecast.buildfile.takeoff_base import Piece
from forecast.buildfile.takeoff_body import GelcoatTakeoff, LaminateTakeoff
from forecast.errors import Problem, RuleError
from forecast.figures.formula import Constant, Formula, Larger, Smaller
from forecast.trade.takeoff.worksheet import (
    ASSUMPTIONS,
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
)


@dataclass
class CutRow:
    """One row across the roll: where it begins, how long it is, and its pieces as (across, along), in m."""

    start: float
    length: float
    pieces: list[tuple[float, float]] = field(default_factory=list)

    @property
    def used(self) -> float:
        """How much of the width is taken."""
        return sum(across for across, _ in self.pieces)


def cut_plan(pieces: Iterable[tuple[float, float]], roll_width: float) -> tuple[CutRow, ...]:
    """Lay pieces on a roll.

    Parameters
    ----------
    pieces : iterable of (float, float)
        Across and along the roll, m; a piece wider than the roll is turned, where that lets it fit.
    roll_width : float
        m.

    Returns
    -------
    tuple of CutRow
        From the roll's beginning; the last one's start and length add up to what is cut off.
    """
    slack = 1e-9
    turned = [(along, across) if across > roll_width + slack else (across, along) for across, along in pieces]
    rows: list[CutRow] = []
    for across, along in sorted(turned, key=lambda piece: (-piece[1], -piece[0])):
        row = next((row for row in rows if row.used + across <= roll_width + slack), None)
        if row is None:
            row = CutRow(rows[-1].start + rows[-1].length if rows else 0.0, along)
            rows.append(row)
        row.pieces.append((across, along))
    return tuple(rows)


def cut_from_roll(
    sheet: Worksheet, pieces: Iterable[Piece], edge: float, roll_width: float
) -> tuple[Formula, str]:
    """Give the metres of roll that a cut plan takes, and the plan in words; its rows become a note of the sheet.

    Parameters
    ----------
    sheet : Worksheet
    pieces : iterable of Piece
    edge : float
        mm added on every side of each piece.
    roll_width : float
        m.
    """
    more = 2 * edge / 1000
    sizes = [(piece.width / 1000 + more, piece.length + more) for piece in pieces for _ in range(piece.count)]
    rows = cut_plan(sizes, roll_width)
    filled = sum(across * along for across, along in sizes)
    words = f"{counted(len(sizes), 'piece')}, {digits(filled)} m² with edges, in {counted(len(rows), 'row')}"
    words += f" on {said(roll_width, 'm')}"
    sheet.notes.append(
        "; ".join(
            f"row {place}, {digits(row.length)} m: "
            + " | ".join(f"{digits(across)} × {digits(along)} m" for across, along in row.pieces)
            for place, row in enumerate(rows, start=1)
        )
    )
    return Constant(rows[-1].start + rows[-1].length), words


def pieces_area(pieces: Iterable[Piece]) -> float:
    """Give the area of pieces without their edges, in m²."""
    return sum(piece.count * piece.length * piece.width / 1000 for piece in pieces)


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


CATALYST_BANDS: tuple[tuple[float, float], ...] = ((5, 4), (13, 3), (16, 2), (20, 1))
"""Lower end in °C and percent of the resin, up to 35 °C (published catalyst chart). A boundary counts to the colder
band."""
COLDEST, WARMEST = 5.0, 35.0

_DEGREES_SPAN = 1000.0  # wider than any temperature, so that a part of it rounds up to one


def expand_laminate(sheet: Worksheet, table: LaminateTakeoff) -> TakeoffExpansion:
    """Turn a laminate's table into the quantity to buy of one of its materials.

    Glass, kg: area (m²) × areal weight (kg/m²) × layers; resin: glass × ratio by weight; waste on top of either.
    """
    area = Constant(pieces_area(table.pieces)) if table.pieces else sheet.area(table)
    weight = table.areal_weight / 1000
    if table.coverage is not None:
        return _by_coverage(sheet, table, area)
    ratio: Formula | None = None
    if table.buy != "glass" or table.thickness is not None:
        ratio = sheet.assume(
            "ratio", table.ratio, f"laminate.ratio.{table.glass}", "resin to glass {} by weight"
        )
    layers, words = _layers(sheet, table, weight, ratio)
    if table.pieces and table.buy == "glass":
        return _cut_glass(sheet, table, layers, words)
    glass = times(area, weight, layers)
    grams = said(table.areal_weight, "g/m²")
    start = f"{sheet.say(area, 'm²')} × {grams} × {words} = {sheet.say(glass, 'kg')} of glass"
    if table.buy == "glass":
        waste = sheet.assume("waste", table.waste, "laminate.waste.glass", "waste {} %")
        need = enlarged(glass, waste)
        return finish(sheet, need, "kg", start, table, pack_name=("roll", "rolls"))
    assert ratio is not None  # every material but the glass hangs on the resin
    waste = sheet.assume("waste", table.waste, "laminate.waste.resin", "waste {} %")
    mixed = enlarged(times(glass, ratio), waste)
    start += f" × {sheet.say(ratio)} × {1 + sheet.middle(waste) / 100:g}"
    return _from_resin(sheet, table, mixed, start)


def _cut_glass(sheet: Worksheet, table: LaminateTakeoff, layers: Formula, words: str) -> TakeoffExpansion:
    """Give the glass off a roll, kg: metres by the cut plan × width (m) × areal weight (kg/m²) × layers.

    Each layer is cut anew by the same plan: what is left beside its rows is bought too.
    """
    assert table.pieces  # the caller and the model have seen to both
    assert table.roll_width is not None
    metres, plan = cut_from_roll(sheet, table.pieces, table.edge or 0.0, table.roll_width)
    need = times(metres, table.roll_width, table.areal_weight / 1000, layers)
    start = f"{plan}: {sheet.say(metres, 'm')} × {said(table.roll_width, 'm')} × {said(table.areal_weight, 'g/m²')}"
    return finish(sheet, need, "kg", f"{start} × {words}", table, pack_name=("roll", "rolls"), places=3)


def _layers(
    sheet: Worksheet, table: LaminateTakeoff, weight: float, ratio: Formula | None
) -> tuple[Formula, str]:
    """Give the layers: as written, or the whole ones that reach a thickness.

    One layer is w × (1/ρ glass + R/ρ resin) mm thick by the rule of mixtures, with w in kg/m², R resin to glass by
    weight and ρ in kg per litre. ISO 12215-5 writes it as w/3.072 × (2.56/ψ − 1.36) with the glass content by mass
    ψ = 1/(1 + R) (from memory; the algebra agrees).
    """
    if table.layers is not None:
        layers = sheet.use("layers", table.layers)
        return layers, f"{sheet.say(layers)} layers" if sheet.middle(layers) != 1 else "1 layer"
    assert table.thickness is not None  # the model has seen to it
    assert ratio is not None
    thickness = sheet.use("thickness", table.thickness)
    densities = [ASSUMPTIONS[f"laminate.density.{name}"].figure for name in ("glass", table.resin)]
    glass_density, resin_density = (sheet.middle(sheet.use("density", figure)) for figure in densities)
    per_layer = times(weight, plus(1 / glass_density, times(1 / resin_density, ratio)))
    layers = whole(over(thickness, per_layer))
    words = f"{sheet.say(layers)} layers ({sheet.say(thickness, 'mm')} at {sheet.say(per_layer)} mm each)"
    return layers, words


def _from_resin(sheet: Worksheet, table: LaminateTakeoff, mixed: Formula, start: str) -> TakeoffExpansion:
    """Finish what hangs on the mass of mixed resin, kg."""
    if table.buy == "cleaner":
        rate = sheet.assume("cleaner", None, "laminate.cleaner", "cleaner {} L per kg of resin")
        words = f"{start} = {sheet.say(mixed, 'kg')} of resin × {sheet.say(rate, 'L/kg')}"
        return finish(sheet, times(mixed, rate), "L", words, table, pack_name=("can", "cans"))
    if table.resin == "epoxy":
        return _epoxy(sheet, table, mixed, start)
    if table.buy == "catalyst":
        percent = _catalyst(sheet, table)
        need = times(10.0, mixed, percent)  # 13 % less by weight: 1.15 g/ml of peroxide, from memory
        sheet.notes.append("ml as catalyst charts count them, 1 ml for 1 g; by weight it would be 13 % less")
        words = f"{start} = {sheet.say(mixed, 'kg')} of resin × {sheet.say(percent, '%')}"
        return finish(sheet, need, "ml", words, table, pack_name=("bottle", "bottles"))
    _check_binder(sheet, table)
    return finish(sheet, mixed, "kg", start, table, pack_name=("tin", "tins"))


def _epoxy(sheet: Worksheet, table: LaminateTakeoff, mixed: Formula, start: str) -> TakeoffExpansion:
    sheet.cautions.append(
        "Epoxy and hardener are mixed in the product's own ratio, by weight; more hardener does not speed it up."
    )
    _check_binder(sheet, table)
    need, words = mixed, start
    if table.hardener_per_100 is None:
        sheet.notes.append("resin and hardener together: add hardener_per_100 to tell them apart")
    else:
        total = 100 + table.hardener_per_100
        share = table.hardener_per_100 if table.buy == "hardener" else 100.0
        need = times(share / total, mixed)
        words = f"{start} = {sheet.say(mixed, 'kg')} mixed × {share:g}/{total:g}"
    return finish(sheet, need, "kg", words, table, pack_name=("tin", "tins"))


def _by_coverage(sheet: Worksheet, table: LaminateTakeoff, area: Formula) -> TakeoffExpansion:
    assert table.coverage is not None
    if table.layers is None:
        found = Problem(
            f"{sheet.line_id}.takeoff",
            "coverage with a thickness",
            "A coverage chart counts layers: give layers = …",
        )
        raise RuleError(str(found))
    layers = sheet.use("layers", table.layers)
    coverage = sheet.use("coverage", table.coverage)
    sheet.notes.append("the coverage chart has waste in it already: none is added")
    words = f"{sheet.say(area, 'm²')} × {sheet.say(layers)} layers / {sheet.say(coverage, 'm²/L')}"
    _check_binder(sheet, table)
    need = over(times(area, layers), coverage)
    return finish(sheet, need, "L", words, table, pack_name=("tin", "tins"))


def _check_binder(sheet: Worksheet, table: LaminateTakeoff) -> None:
    sheet.warn_if(
        table.resin == "epoxy" and table.glass == "mat",
        "Published advice on mat with epoxy conflicts, because the mat's binder may need styrene: see its sheet.",
    )


def _catalyst(sheet: Worksheet, table: LaminateTakeoff) -> Formula:
    """Give the catalyst's percentage: as written, or by the chart from the temperature."""
    if table.catalyst is not None:
        return sheet.use("catalyst", table.catalyst)
    if table.temperature is None:
        sheet.notes.append("catalyst 2 %, as for 16 to 20 °C by the chart; give temperature = … for another")
        return Constant(2.0)
    degrees = sheet.use("temperature", table.temperature)
    middle = sheet.middle(degrees)
    if not COLDEST <= middle <= WARMEST:
        raise RuleError(str(_outside_chart(f"{sheet.line_id}.takeoff.temperature", middle)))
    sheet.notes.append("catalyst by the chart: 4 % at 5–13 °C, 3 % at 13–16, 2 % at 16–20, 1 % at 20–35")
    percent: list[Formula | float] = [float(CATALYST_BANDS[0][1])]
    for (_, before), (start, value) in itertools.pairwise(CATALYST_BANDS):
        percent.append(times(value - before, _is_above(degrees, start)))
    return plus(*percent)


def _is_above(part: Formula, limit: float) -> Formula:
    """Give one where a part is above a limit and nought where it is not."""
    excess = Larger((Constant(0.0), plus(part, -limit)))
    return Smaller((Constant(1.0), whole(times(1 / _DEGREES_SPAN, excess))))


def _outside_chart(where: str, degrees: float) -> Problem:
    return Problem(
        where,
        f"{degrees:g} °C",
        f"The catalyst chart holds from {COLDEST:g} to {WARMEST:g} °C: warm or cool the shop, or give "
        "catalyst = … from the product's sheet.",
    )


def expand_gelcoat(sheet: Worksheet, table: GelcoatTakeoff) -> TakeoffExpansion:
    """Turn a gelcoat's table into the quantity to buy of gelcoat or its catalyst.

    Gelcoat, kg: area (m²) × thickness (mm) × density (kg per litre), and waste on top.
    """
    area = sheet.area(table)
    thickness = sheet.assume("thickness", table.thickness, "gelcoat.thickness", "thickness {} mm")
    density = sheet.assume("density", table.density, "gelcoat.density", "density {} kg/L")
    waste = sheet.assume("waste", table.waste, "gelcoat.waste", "waste {} %")
    laid = times(area, thickness, density)
    mass = enlarged(laid, waste)
    start = f"{sheet.say(area, 'm²')} × {sheet.say(thickness, 'mm')} × {sheet.say(density, 'kg/L')}"
    start += f" = {sheet.say(laid, 'kg')}"
    if table.buy == "gelcoat":
        return finish(sheet, mass, "kg", start, table, pack_name=("tin", "tins"))
    percent = sheet.assume("catalyst", None, "gelcoat.catalyst", "catalyst {} %")
    words = f"{start} → {sheet.say(mass, 'kg', 2)} × {sheet.say(percent, '%')}"
    return finish(sheet, times(10.0, mass, percent), "ml", words, table, pack_name=("bottle", "bottles"))
