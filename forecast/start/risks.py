"""Risk events, measures and scenarios of the guided start."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from forecast.buildfile.cautions import cautions_for
from forecast.buildfile.library import Library
from forecast.buildfile.library.starters import rounded
from forecast.start.answers import Answers
from forecast.start.kit import as_figure, stretched, work_of
from forecast.start.toml_text import TomlTable

_RUST = {"sound": 0.1, "worn": 0.3, "rusty": 0.6, None: 0.35}
"""Chance of hidden rust by the state of the body (common practice: 10 to 60 %, by age)."""

_COUNTED_ALREADY = frozenset({"customs_trouble", "currency_move"})
"""Events that a consignment and its rate of exchange have in them."""

WITH_WHEELS = frozenset({"tyre_touches", "wrong_wheel"})
_OF_THE_KIT = frozenset({
    "poor_fit", "transit_damage", "wrong_part", "laminate_fault", "print_through", "paint_defect_self",
    "paint_defect_shop", "colour_mismatch", "hand_over",
})  # fmt: skip
"""Events whose cost and hours follow the size of the kit, as its work does."""
_OWN_WORK = frozenset({"tool_breaks", "injury"})

_WORKED_BY_THE_SHOP = (
    "poor_fit", "transit_damage", "hidden_rust", "tyre_touches", "lamp_trouble", "inspection_failed",
    "approval_refused", "scope_growth",
)  # fmt: skip
"""Events whose hours are work on the car: a shop that does everything charges for them."""

_SHOP_TIME = 177 / 326
"""A shop's hours for one of one's own: all phases together take 177 and 326 (common practice, no source)."""

_SHOP_EVENTS = (
    "What goes wrong is mended by the shop too: its hours, about half as many as your own, are in the cost here. Where "
    "you change the cost of one of these events, change it here as well."
)


def events(answers: Answers, library: Library, lines: Sequence[dict[str, Any]]) -> tuple[TomlTable, ...]:
    """Give the ``[[event]]`` tables."""
    present = {table["id"] for table in lines}
    found = []
    for event in library.events:
        if event.id in _COUNTED_ALREADY:
            continue
        if event.id in WITH_WHEELS and answers.wheels_new is False:
            continue
        if event.id == "hidden_rust":
            event = replace(event, chance=_RUST[answers.car_state])
            if answers.car_state is None and event.cost is not None:
                event = replace(event, cost=stretched(event.cost, 0.8, 1.0, 1.3))
        if event.id in _OF_THE_KIT:
            size = [work_of(answers)] * 3
            event = replace(
                event,
                cost=event.cost and stretched(event.cost, *size),
                own_hours=event.own_hours and stretched(event.own_hours, *size),
            )
        if event.id in _OWN_WORK:
            event = replace(event, package="fitting", route="self")
        if event.of and not set(event.of) & present:
            continue
        table = event.table(present)
        beside = () if event.id.endswith("_shop") else cautions_for(event.id)
        found.append(TomlTable("[[event]]", table, cautions=beside))
    return tuple(found)


def measures(
    library: Library, lines: Sequence[dict[str, Any]], listed: Sequence[TomlTable]
) -> tuple[TomlTable, ...]:
    """Give the ``[[measure]]`` tables that change something in this build."""
    present = {table["id"] for table in lines} | {table.values["id"] for table in listed}
    found = []
    for measure in library.measures:
        table = measure.table(present)
        if measure.id != "insure_transit" and {"chances", "impacts", "ranges"} & set(table):
            found.append(TomlTable("[[measure]]", table))
    return tuple(found)


def _by_the_shop(library: Library, listed: Sequence[TomlTable]) -> TomlTable:
    """Give what the events cost where the shop works their hours, which are the owner's elsewhere."""
    rate = library.labour_rate[1] * _SHOP_TIME
    changes: dict[str, Any] = {}
    for table in listed:
        event = table.values
        if event["id"] not in _WORKED_BY_THE_SHOP:
            continue
        cost, hours = event["cost"], event["own_hours"]
        low, middle, high = (rounded(cost[key] + rate * hours[key]) for key in ("low", "middle", "high"))
        changes[event["id"]] = {"cost": as_figure((low, middle, high)), "own_hours": 0}
    return TomlTable("[scenario.outsourced.override]", changes, above=(_SHOP_EVENTS,))


def scenarios(
    answers: Answers, library: Library, lines: Sequence[dict[str, Any]], listed: Sequence[TomlTable]
) -> tuple[TomlTable, ...]:
    """Give the ``[scenario.…]`` tables, the way that the builder told first."""
    packages = {table["package"] for table in lines if "package" in table}
    diy = TomlTable("[scenario.diy]", {"name": "All by yourself", "all": "self"})
    filling, paint = answers.filling or "self", answers.paint or "shop"
    if answers.filling == answers.paint == "self":
        paint = "shop"  # that way is the one above
    mixed: dict[str, Any] = {"name": "Mixed", "all": "self", "filling": filling, "paint": paint}
    if "arches" in packages:
        mixed["arches"] = "shop"
    said = (
        "filling and paint as you told"
        if answers.filling and answers.paint
        else "taken where you did not know"
    )
    between = TomlTable(
        "[scenario.mixed]", mixed, {"paint": said},
        cautions=tuple(item for item in cautions_for("paint_materials") if item.id == "isocyanate"),
    )  # fmt: skip
    outsourced = TomlTable("[scenario.outsourced]", {"name": "All farmed out", "all": "shop"})
    shop = (outsourced, _by_the_shop(library, listed))
    if answers.filling == answers.paint == "self":
        return diy, between, *shop
    return between, diy, *shop
