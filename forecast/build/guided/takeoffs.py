"""Lines whose quantity is taken off the kit's parts: filler, primer, paint, discs, adhesive and rivets."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from forecast.build.guided.answers import Answers
from forecast.build.guided.kit import as_figure, panels_of, stretched
from forecast.build.library import PRACTICE, Library, Range, with_bought

_ONE: Range = (1.0, 1.0, 1.0)


SURFACE = "kit_parts"
"""Id of the surface on which the lines of a guided build work."""


def name_surface(tables: Iterable[dict[str, Any]]) -> dict[str, Any] | None:
    """Have the take-offs of an area name one surface in its place.

    Returns
    -------
    dict or None
        The table of the surface; None where no line takes an area off.
    """
    area: Any = None
    for table in tables:
        takeoff = table.get("takeoff", {})
        if "area" in takeoff:
            area = takeoff["area"]
            table["takeoff"] = {
                **{"surfaces" if key == "area" else key: value for key, value in takeoff.items()},
                "surfaces": [SURFACE],
            }
    if area is None:
        return None
    note = (
        f"{PRACTICE} Measure your own parts when they are there; every line that names this surface follows."
    )
    return {"id": SURFACE, "name": "Parts of the kit, outsides", "area": area, "note": note}


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
    panels = panels_of(answers)
    wide = (0.85, 1.0, 1.25) if answers.panels is None else _ONE
    low, middle, high = (sum(panel.area[place] for panel in panels) for place in range(3))
    area = as_figure(stretched((low, middle, high), *wide))
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
