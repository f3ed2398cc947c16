"""Which starter lines a build needs after its answers, how far they are stretched, what the kit's parts take."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Any

from forecast.buildfile.library import PRACTICE, Library, Range, StarterLine, with_bought
from forecast.buildfile.places import Panel
from forecast.start.answers import Answers
from forecast.start.kit import (
    arches_cut,
    arches_of,
    as_figure,
    no_shop_seen,
    panels_of,
    plain_lines,
    share_of,
    stretched,
    times,
    together,
    widens_arches,
    work_of,
)  # fmt: skip
from forecast.words.chances import listed

_ONE: Range = (1.0, 1.0, 1.0)


def surface_tables(answers: Answers) -> list[dict[str, Any]]:
    """Give the ``[[surface]]`` tables of the kit: its large parts, and those along the sides, as far as it has them."""
    parts: dict[str, list[Panel]] = {}
    for panel in panels_of(answers):
        parts.setdefault(panel.surface, []).append(panel)
    note = (
        f"{PRACTICE} Measure your own parts when they are there; every line that names this surface follows."
    )
    return [
        {"id": id, "name": _named(panels), "area": _area(panels, answers), "note": note}
        for id, panels in parts.items()
    ]


def _named(panels: Sequence[Panel]) -> str:
    """Say which parts a surface is made of: ``Side skirts and four arches, outsides``."""
    parts = listed([" ".join(reversed(panel.name.split(", "))) for panel in panels])
    return f"{parts[:1].upper()}{parts[1:]}, outsides"


def _wide(answers: Answers) -> Range:
    return (0.85, 1.0, 1.25) if answers.panels is None else _ONE


def _area(panels: Sequence[Panel], answers: Answers) -> dict[str, Any]:
    low, middle, high = (sum(panel.area[place] for panel in panels) for place in range(3))
    return as_figure(stretched((low, middle, high), *_wide(answers)))


def on_surfaces(table: dict[str, Any], surfaces: Sequence[str]) -> None:
    """Have the take-off of an area in a line's table name surfaces in its place; nothing where there is none."""
    takeoff = table.get("takeoff", {})
    if "area" in takeoff and surfaces:
        table["takeoff"] = {
            **{"surfaces" if key == "area" else key: value for key, value in takeoff.items()},
            "surfaces": list(surfaces),
        }


def name_surfaces(tables: Iterable[dict[str, Any]], answers: Answers) -> list[dict[str, Any]]:
    """Have all take-offs of an area name the kit's surfaces in its place, and give the tables of those."""
    found = surface_tables(answers)
    for table in tables:
        on_surfaces(table, [one["id"] for one in found])
    return found


def takeoff_lines(answers: Answers, library: Library, waste: Range) -> list[dict[str, Any]]:
    """Give the lines with a take-off.

    Parameters
    ----------
    answers : Answers
    library : Library
        For the currency.
    waste : tuple of float
        Factors on what is wasted, for a first build.

    Returns
    -------
    list of dict
        Tables of the build file.
    """
    panels, wide = panels_of(answers), _wide(answers)
    area = _area(panels, answers)
    filled = round(sum(panel.filled for panel in panels), 1)
    bonded = round(sum(panel.bonded for panel in panels), 1)

    def price(*numbers: float) -> dict[str, Any]:
        return as_figure(stretched((numbers[0], numbers[1], numbers[2]), *([library.currency_factor] * 3)))

    def line(
        id: str, name: str, group: str, package: str, takeoff: dict[str, Any], cost: dict[str, Any]
    ) -> dict[str, Any]:
        table = {
            "id": id, "name": name, "group": group, "package": package, "route": "self", "takeoff": takeoff,
            "price": cost,
        }  # fmt: skip
        with_bought(table, "several")
        return table | {"note": f"{PRACTICE} Measure your own parts when they are there."}

    def metres(value: float) -> dict[str, Any]:
        return as_figure(stretched((value, value, value), 0.85 * wide[0], 1.0, 1.2 * wide[2]))

    more = stretched((8, 12, 25), *waste)
    found: list[dict[str, Any]] = []
    if filled:
        strip = {
            "kind": "filler", "shape": "strip", "length": metres(filled),
            "width": as_figure((35, 60, 95)), "depth": as_figure((1.5, 2.6, 5), causes={"kit_fit": "strong"}),
            "waste": as_figure(stretched((5, 10, 20), *waste)), "pack": 2,
        }  # fmt: skip
        name = "Filler along the joints, tins of 2 kg"
        found.append(line("filler", name, "consumables", "filling", strip, price(18, 24, 34)))
    skim = {
        "kind": "filler", "shape": "skim", "filler": "light", "area": area,
        "thickness": as_figure((0.12, 0.25, 0.55), causes={"kit_fit": "moderate"}),
        "waste": as_figure(stretched((5, 10, 20), *waste)), "pack": 1,
    }  # fmt: skip
    found.append(
        line(
            "filler_skim",
            "Stopper over all parts, tins of 1 kg",
            "consumables",
            "filling",
            skim,
            price(12, 16, 24),
        )
    )
    discs = {
        "kind": "abrasives", "area": area,
        "steps": [
            {"grit": 80, "rounds": as_figure((1.5, 3, 7), causes={"kit_fit": "strong"})},
            {"grit": 180, "rounds": as_figure((1.5, 3, 6), causes={"kit_fit": "moderate"})},
            {"grit": 320, "rounds": as_figure((1, 2, 4))}, {"grit": 500, "rounds": as_figure((1, 1.5, 3))},
        ],
    }  # fmt: skip
    found.append(line("abrasives", "Sanding discs", "consumables", "filling", discs, price(0.45, 0.7, 1.1)))
    primer = {
        "kind": "paint", "paint": "filler-primer", "area": area, "returns": as_figure((20, 30, 40)),
        "waste": as_figure(more),
    }  # fmt: skip
    found.append(
        line(
            "primers", "Filler primer, litres ready to spray", "finish", "filling", primer, price(15, 22, 36)
        )
    )
    colour = primer | {"paint": "base"}
    found.append(
        line(
            "paint_materials",
            "Colour coat, litres ready to spray",
            "finish",
            "paint",
            colour,
            price(32, 52, 95),
        )
    )
    clear = primer | {"paint": "clear"}
    name = "Clear coat with hardener, two-pack, litres ready to spray"
    found.append(line("paint_clear", name, "finish", "paint", clear, price(22, 34, 55)))
    if bonded:
        bead = {
            "kind": "adhesive", "length": metres(bonded), "section": "vee",
            "width": as_figure((6, 8, 11), causes={"kit_fit": "slight"}),
            "depth": as_figure((9, 12, 16)),
        }  # fmt: skip
        found.append(
            line(
                "adhesive",
                "Structural adhesive, cartridges",
                "consumables",
                "fitting",
                bead,
                price(13, 18, 28),
            )
        )
        rivets = {"kind": "fasteners", "fastener": "rivets", "length": metres(bonded), "diameter": 4.8}
        found.append(
            line(
                "body_fasteners",
                "Rivets, bolts and washers",
                "hardware",
                "fitting",
                rivets,
                price(0.3, 0.55, 1.0),
            )
        )
    return found


_BY_CONSIGNMENT = frozenset({
    "kit", "kit_crating", "freight", "transit_insurance", "duty", "import_tax", "arrival_charges", "kit_delivery",
    "payment_fees",
})  # fmt: skip
_LEFT_OUT = frozenset({"suspension", "film_material", "film_fitted", "paint_whole_car"})
LEFT_OUT_WORDS = (
    "Left out, as nothing was said of them: springs and dampers, surface film, paint of the whole car. Add a line for "
    "what applies."
)
WHEEL_SET = "Four wheels with tyres, fixings, mounting and balancing"
WHEEL_LINES = ("wheels", "tyres", "wheel_fixings", "tyre_mounting")
AT_HAND = {
    "compressor": "compressor", "sander": "sander", "spray_guns": "spray_gun", "jack_stands": "stands",
    "air_fed_mask": "mask", "rented_space": "space",
}  # fmt: skip
"""What is at hand, by the line that it makes needless."""

_WORKED = {
    "electricity": "filling", "heat_light": "filling", "protective_wear": "fitting", "fire_extinguisher": "fitting",
    "rented_space": "fitting", "jack_stands": "fitting", "filler": "filling", "abrasives": "filling",
    "primers": "filling", "laminate_materials": "fitting", "sealant_adhesive": "fitting", "rework": "filling",
}  # fmt: skip
"""Lines that only own work needs, with the work package that brings them."""

_BY_SIZE = frozenset({
    "sealant_adhesive", "laminate_materials", "masking_cleaning", "shop_filling_materials", "missing_fittings",
    "arch_liners", "clips_trims", "lamps",
})  # fmt: skip
_SIZED = frozenset({"fitting", "filling", "paint", "refit"})
"""Work packages whose hours follow the size of the kit."""
_OF_SIZE_PARTLY = frozenset({"paint_kit_parts", "blending", "hand_tools"})

_FIRST = {True: (1.4, 1.4, 1.4), False: (1.0, 1.0, 1.0), None: (1.0, 1.15, 1.4)}
"""A first build's factor on the share of material that is wasted: 1.4 (common practice)."""

_FIRST_BOUGHT = {True: (1.04, 1.05, 1.09), False: (1.0, 1.0, 1.0), None: (1.0, 1.02, 1.09)}
"""The same on what is bought: of resin 10, 15 and 30 % are wasted, and only those shares grow."""

_FIRST_HOURS = {True: (1.6, 1.6, 1.6), False: (1.0, 1.0, 1.0), None: (1.0, 1.25, 1.6)}
"""A first build's factor on own hours: 1.6 (common practice); between it and none where that is not known."""

_UNSURE = (0.85, 1.0, 1.2)
"""Factors on a range for each thing about it that is not known: which parts there are, or who does the work."""

_GUESSED = "You did not know, so it counts in half of all builds."


def cost_lines(answers: Answers, library: Library) -> Iterator[tuple[str, dict[str, Any]]]:
    """Give the lines that cost money, each with the section under which it stands."""
    if not answers.imported:
        for table in plain_lines(answers, library):
            yield "Buy and import", table
    measured = takeoff_lines(answers, library, _FIRST[answers.first_build])
    replaced = {table["id"] for table in measured} | {"filler", "primers", "abrasives", "paint_materials"}
    for line in library.lines:
        if line.id in _BY_CONSIGNMENT or line.id in _LEFT_OUT or line.id in replaced or line.id == "rework":
            continue
        made = _adapted(line, answers)
        if made is not None:
            yield line.section, made
    yield from (("Consumables", table) for table in measured)
    if answers.wheels_new is None:
        yield "Car side", _wheel_set(library)
    if arches_cut(answers) is not False:
        yield "Bought-in work", _arch_materials(answers, library)
    names = [table["id"] for table in measured if table["group"] in ("finish", "consumables")]
    yield "End", _rework(library, [name for name in names if name in _REDONE])


_REDONE = ("filler", "filler_skim", "primers", "paint_materials", "paint_clear")


def _adapted(line: StarterLine, answers: Answers) -> dict[str, Any] | None:
    """Give a starter line as the answers make it; None where they make it needless."""
    at_hand = AT_HAND.get(line.id)
    if at_hand and answers.at_hand is not None and at_hand in answers.at_hand:
        return None
    if line.id in WHEEL_LINES and answers.wheels_new is not True:
        if line.id != "wheel_fixings" or answers.wheels_new is None or not widens_arches(answers):
            return None
        line = replace(line, chance=0.6, note="Wider arches often bring spacers even on the old wheels.")
    if line.id == "arch_cut_welded":
        if arches_cut(answers) is False:
            return None
        if arches_cut(answers) is None:
            line = replace(line, chance=0.5, note=_GUESSED)
        if arches_of(answers) < 1:
            line = replace(line, range=stretched(line.range, *[arches_of(answers)] * 3))
    if line.package is None and line.id in _WORKED:
        line = replace(line, package=_WORKED[line.id])
    if line.id in _WORKED:
        line = replace(line, route="self")
    size = share_of(answers)
    if line.id in _BY_SIZE or line.id in _OF_SIZE_PARTLY:
        factor = size if line.id in _BY_SIZE else 0.3 + 0.7 * size
        low, high = (
            factor * end for end in ((_UNSURE[0], _UNSURE[2]) if answers.panels is None else (1.0, 1.0))
        )
        line = replace(line, range=stretched(line.range, low, factor, high))
    if line.route == "shop" and line.scale != "percent" and _undecided(line.package, answers):
        line = replace(line, range=stretched(line.range, *_UNSURE))
    if line.group == "consumables" and line.route == "self":
        line = replace(line, range=stretched(line.range, *_FIRST_BOUGHT[answers.first_build]))
    if line.id == "sealant_adhesive":  # structural adhesive is a line of its own, taken off by the metre
        line = replace(
            line, name="Sealant, nozzles and primers for bonding", range=stretched(line.range, 0.6, 0.6, 0.6)
        )
    if at_hand and answers.at_hand is None:
        line = replace(
            line, chance=min(line.chance, 0.7), note=f"{line.note} You may have it already.".strip()
        )
    table = line.table()
    if line.id == "rented_space":
        table["price"] = table.pop("amount")
        months = {True: (4, 8, 16), False: (2, 5, 10), None: (2, 6, 16)}[answers.first_build]
        size = work_of(answers)
        table["quantity"] = as_figure(stretched(months, size, size, size), unit="months")
        table.pop("bought", None)  # as what is counted in months says
        if answers.at_hand is not None:
            table.pop("chance", None)
    return table


def _undecided(package: str | None, answers: Answers) -> bool:
    """Tell whether it is open who does a work package: no shop was asked then, and no evening was set aside."""
    who = {"filling": answers.filling, "paint": answers.paint}
    return package in who and who[package] is None


def add_waits(tables: Sequence[dict[str, Any]], library: Library) -> None:
    """Put the weeks for which the car waits into the first of each package's lines that a shop is paid for."""
    open_ = dict(library.waits)
    for table in tables:
        if table.get("route") == "shop" and table.get("package") in open_:
            low, middle, high = open_.pop(str(table["package"]))
            table["wait_weeks"] = as_figure((low, middle, high))


def _hours_known(package: str, answers: Answers) -> Range:
    """Give the factors on the hours of a work package for what is not known of it."""
    known: Range = (1.0, 1.0, 1.0)
    if package in _SIZED and answers.panels is None:
        known = times(known, _UNSURE)
    if _undecided(package, answers):
        known = times(known, _UNSURE)
    return known


def _wheel_set(library: Library) -> dict[str, Any]:
    parts = [library.line(name).range for name in WHEEL_LINES]
    return {
        "id": "wheel_set", "name": WHEEL_SET, "group": "wheels",
        "amount": as_figure(stretched(together(parts), 1, 1, 1)), "chance": 0.5, "safety": True,
        "note": f"{PRACTICE} {_GUESSED} When it is settled, write wheels, tyres, fixings and mounting as four lines.",
    }  # fmt: skip


def _arch_materials(answers: Answers, library: Library) -> dict[str, Any]:
    factor = library.currency_factor * arches_of(answers)
    table: dict[str, Any] = {
        "id": "arch_materials", "name": "Inner arches: sheet, gas, hire of a welder", "group": "labour",
        "package": "arches", "route": "self",
        "amount": as_figure(stretched((90, 170, 320), factor, factor, factor), causes={"body_state": "slight"}),
    }  # fmt: skip
    if arches_cut(answers) is None:
        table["chance"] = 0.5
    with_bought(table, "several")
    words = _GUESSED if arches_cut(answers) is None else ""
    return table | {"safety": True, "note": f"{PRACTICE} {words}".strip()}


def _rework(library: Library, names: list[str]) -> dict[str, Any]:
    line = replace(
        library.line("rework"), of=tuple(names), package="filling", note="Percent of filler and paint."
    )
    return line.table(names)


def _shop_materials(fitted: list[str]) -> dict[str, Any]:
    return {
        "id": "shop_fitting_materials", "name": "Adhesive, resin and fixings, added to the shop's bill",
        "group": "labour", "package": "fitting", "route": "shop", "percent": as_figure((6, 10, 16)), "of": fitted,
        "note": PRACTICE,
    }  # fmt: skip


def work_lines(answers: Answers, library: Library) -> Iterator[dict[str, Any]]:
    """Give the phases of work: own hours, and the shop's where it works by the hour."""
    size = work_of(answers)
    fitted: list[str] = []
    for phase in library.phases:
        if phase.package == "film" or (phase.id == "inner_arches" and arches_cut(answers) is False):
            continue
        if phase.id == "wheel_mock_up" and answers.wheels_new is False and arches_cut(answers) is False:
            continue
        sized = size if phase.package in _SIZED else 1.0
        if phase.id == "inner_arches":
            sized = arches_of(answers)
        known = times((sized, sized, sized), _hours_known(phase.package, answers))
        first = times(known, _FIRST_HOURS[answers.first_build])
        own = replace(phase, own_hours=stretched(phase.own_hours, *first)).own_table()
        if phase.id == "inner_arches" and arches_cut(answers) is None:
            own["chance"] = 0.5
        if phase.shop_hours is None:
            own |= {"package": "fitting", "route": "self"}
        yield own
        if phase.shop_hours is not None:
            hours = stretched(phase.shop_hours, *known)
            shop = replace(phase, shop_hours=hours).shop_table(library.labour_rate)
            if shop is not None:
                shop["note"] = f"{shop['note']} {no_shop_seen(answers)}".strip()
                yield shop
                if phase.package == "fitting":
                    fitted.append(str(shop["id"]))
    yield _shop_materials(fitted)
