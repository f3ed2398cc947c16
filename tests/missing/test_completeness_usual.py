"""What the guided start would have proposed is missed where it was left out, and nowhere else."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest

from forecast.buildfile.changes import AddItem, NotNeeded, RemoveItem
from forecast.buildfile.edit import changed
from forecast.buildfile.places import load_places
from forecast.buildfile.reader import parse_build, read_build
from forecast.buildfile.schema import Build
from forecast.missing.left_out import Finding, findings
from forecast.start import create_build, questions, read_answers, write_build
from tests.benchmarks.leftout import (
    ANSWERS,
    AT_ONCE,
    ONLY_KIT_AND_WHEELS,
    WORLD,
    demos,
    kit_and_wheels,
    raw_build,
    rules_of,
    with_own_ids,
    without,
)

FIVE_OF_SIX = 5 / 6
SAMPLE = 7
"""Every seventh of the lines and events is taken out here; the benchmark takes them all."""


def guided(**changes: Any) -> str:
    return write_build(read_answers(ANSWERS | {"country": "NL", "origin": "GB"} | changes))


def found(build: Build) -> dict[str, Finding]:
    return {item.rule: item for item in findings(build)}


@pytest.mark.parametrize("country", WORLD)
def test_what_is_taken_out_of_a_guided_build_is_missed(country: str) -> None:
    raw = raw_build(country)
    fresh = rules_of(without(raw, ()))
    ids = [table["id"] for kind in ("line", "event") for table in raw[kind]][::SAMPLE]
    missed = [id for id in ids if rules_of(without(raw, {id})) - fresh]
    assert len(missed) >= FIVE_OF_SIX * len(ids)
    assert len(rules_of(without(raw, AT_ONCE)) - fresh) >= FIVE_OF_SIX * len(AT_ONCE)


def test_ids_of_ones_own_change_nothing() -> None:
    raw = with_own_ids(raw_build("NL"))
    fresh = rules_of(without(raw, ()))
    assert not fresh
    ids = [table["id"] for kind in ("line", "event") for table in raw[kind]][::SAMPLE]
    assert sum(bool(rules_of(without(raw, {id}))) for id in ids) >= FIVE_OF_SIX * len(ids)


WHERE_FROM = ("country", "currency", "origin", "sent_from", "kit_currency", "region")
"""Looked at in five countries above."""


@pytest.mark.parametrize(
    "item",
    [question for question in questions() if question.choices and question.id not in WHERE_FROM],
    ids=lambda one: one.id,
)
def test_no_answer_of_the_guided_start_makes_it_miss_what_it_left_out(item: Any) -> None:
    """Whatever is told, the build that is written for it lacks nothing."""
    for choice in item.choices:
        told = [choice] if item.kind == "choices" else choice
        build = parse_build(guided(**{item.id: told}))
        assert [one.rule for one in findings(build) if one.grade != "odd"] == [], (item.id, told)


@pytest.mark.parametrize("arches", [True, False])
@pytest.mark.parametrize("wheels", [True, False])
@pytest.mark.parametrize("panels", [["bonnet"], ["front", "rear"], [*load_places().panels]])
def test_a_fresh_build_lacks_nothing(panels: list[str], wheels: bool, arches: bool) -> None:
    told: dict[str, Any] = {"panels": panels, "wheels_new": wheels, "arches_cut": arches}
    for way in ({}, {"filling": "shop"}, {"paint": "self"}, {"origin": "DE"}):
        build = parse_build(guided(**(told | way)))
        assert [one.rule for one in findings(build) if one.grade != "odd"] == [], (told, way)


def test_what_is_added_again_works_on_the_surfaces_that_the_build_has() -> None:
    """Measured anew it would err by itself, beside lines that err together."""
    raw = raw_build("NL")
    cleared = found(without(raw, {"paint_clear"}))["paint_clear"].change
    assert isinstance(cleared, AddItem)
    assert cleared.table["takeoff"]["surfaces"] == ["bumpers", "sides"]
    assert "area" not in cleared.table["takeoff"]

    on_them = {line["id"] for line in raw["line"] if "surfaces" in line.get("takeoff", {})}
    again = found(without(raw | {"surface": []}, on_them))["paint_clear"].change
    assert isinstance(again, AddItem)
    assert "surfaces" not in again.table["takeoff"]
    assert again.table["takeoff"]["area"]["middle"] == pytest.approx(6.7)  # 3.9 + 2.8 of a usual kit


def test_wheels_are_missed_where_their_tyres_are_bought() -> None:
    text = changed(guided(wheels_new=True), [RemoveItem("wheels")])
    wheels = found(parse_build(text))["wheels"]
    assert (wheels.grade, wheels.unit) == ("must", "EUR")


def test_what_only_another_way_needs_is_not_missed() -> None:
    raw = raw_build("NL")
    only_mixed = raw | {
        "scenario": {"mixed": {"name": "Mixed", "all": "self", "paint": "shop", "arches": "shop"}}
    }
    gone = {"filling_shop", "trial_fit_shop", "compressor", "paint_clear", "blending"}
    # primer is sprayed by whoever fills, so that the compressor is needed though a shop paints
    assert rules_of(without(only_mixed, gone)) == {"blending", "compressor"}


def test_a_way_in_which_a_package_costs_nothing_is_missed() -> None:
    plain = tomllib.loads(ONLY_KIT_AND_WHEELS)
    plain["line"] += [
        {"id": "doing", "package": "paint", "route": "self", "group": "labour", "own_hours": 20}
    ]
    for ways, missed in (
        ({"diy": {"all": "self"}}, False),
        ({"best": {"all": "self", "paint": "shop"}}, True),
    ):
        assert ("way-paint_shop" in rules_of(without(plain | {"scenario": ways}, ()))) is missed


def test_a_line_of_ones_own_stands_for_what_is_proposed() -> None:
    text = changed(guided(), [RemoveItem("sander")])
    assert "sander" in found(parse_build(text))
    own = AddItem(
        "line", {"id": "workshop", "name": "Long-throw sander, used", "group": "other", "amount": 90}
    )
    assert "sander" not in found(parse_build(changed(text, [own])))


def test_what_is_missed_is_added_as_the_guided_start_writes_it() -> None:
    for id in ("filler", "trial_fit_shop", "filling_self", "rework", "late_delivery"):
        before = parse_build(guided())
        text = changed(guided().replace(f'"{id}", ', ""), [RemoveItem(id)])
        change = found(parse_build(text))[id].change
        assert isinstance(change, AddItem)
        after = parse_build(changed(text, [change]))
        assert id not in found(after)
        assert {one.id for one in (*after.line, *after.event)} == {
            one.id for one in (*before.line, *before.event)
        }


def test_an_answer_stays_answered() -> None:
    text = changed(guided(), [RemoveItem("electricity"), NotNeeded("electricity", "the landlord pays it")])
    assert "electricity" not in found(parse_build(text))


def test_a_list_of_kit_and_wheels_brings_what_every_kit_needs_first() -> None:
    said = kit_and_wheels()
    first = said[: said.index("tyre_mounting")]
    assert {"freight", "import_dues", "paint", "filler", "body_fasteners", "wheel_fixings"} <= set(first)


def test_little_is_said_of_a_complete_build_in_own_words() -> None:
    assert all(len(said) <= 3 for said in demos().values())


def test_the_dearest_come_first(tmp_path: Path) -> None:
    file = create_build(tmp_path / "b", read_answers(ANSWERS | {"country": "NL", "origin": "GB"}))
    file.write_text(
        changed(file.read_text(encoding="utf-8"), [*map(RemoveItem, ("snags", "electricity", "valuation"))]),
        encoding="utf-8",
    )
    items = findings(read_build(file))
    for grade in {item.grade for item in items}:
        worth = [item.worth("EUR") for item in items if item.grade == grade]
        assert worth == sorted(worth, reverse=True)
