"""Lines whose quantity is taken off the kit's parts: filler, primer, paint, discs, adhesive and rivets."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from forecast.buildfile.library import PRACTICE, Library, Range, with_bought
from forecast.buildfile.places import Panel
from forecast.start.answers import Answers
from forecast.start.kit import as_figure, panels_of, stretched

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
    *most, last = (" ".join(reversed(panel.name.split(", "))) for panel in panels)
    listed = f"{', '.join(most)} and {last}" if most else last
    return f"{listed[:1].upper()}{listed[1:]}, outsides"


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
