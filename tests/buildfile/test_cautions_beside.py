"""Cautions beside lines, goods and events, as they count in a scenario."""

from __future__ import annotations

import pytest

from forecast.buildfile.cautions import cautions_of
from forecast.buildfile.changes import AddItem
from forecast.buildfile.edit import changed
from forecast.buildfile.oneself import cautions_beside
from forecast.buildfile.reader import parse_build
from forecast.buildfile.schema import Build
from forecast.errors import SimulationError
from forecast.start import read_answers, write_build

HEAD = '[build]\nname = "x"\ncurrency = "EUR"\ncountry = "IE"\n'
SCENARIOS = '[scenario.diy]\nall = "self"\n[scenario.out]\nall = "shop"\n'


def line(id: str, rest: str = "", group: str = "consumables") -> str:
    return f'[[line]]\nid = "{id}"\ngroup = "{group}"\namount = 9\n{rest}\n'


def event(id: str, rest: str = "") -> str:
    return f'[[event]]\nid = "{id}"\nchance = 0.2\ncost = 90\n{rest}\n'


def beside(text: str, scenario: str | None = None) -> dict[str, set[str]]:
    found = cautions_beside(parse_build(HEAD + text), scenario)
    return {item.id: {caution.id for caution in item.cautions} for item in found}


def guided() -> Build:
    answers = {"country": "IE", "origin": "JP", "wheels_new": True, "arches_cut": True}
    return parse_build(write_build(read_answers(answers)))


@pytest.mark.parametrize(
    ("id", "expected"),
    [
        ("tyre_touches", "wheel_cover"),
        ("wrong_wheel", "wheel_fixings"),
        ("lamp_trouble", "lamps"),
        ("inspection_failed", "approval"),
        ("approval_refused", "approval"),
        ("insurer_loads", "insurer"),
        ("paint_defect_self", "isocyanate"),
        ("laminate_fault", "peroxide"),
        ("hidden_rust", "cut_structure"),
        ("injury", "jacking"),
        ("poor_fit", "sharp_edges"),
    ],
)
def test_events_have_their_cautions(id: str, expected: str) -> None:
    assert expected in beside(event(id))[id]


def test_a_scenario_shows_the_cautions_of_what_is_done_in_it() -> None:
    text = line("laminate_materials", 'package = "fit"\nroute = "self"') + event(
        "paint_defect_self", 'package = "p"\nroute = "self"'
    )
    assert set(beside(SCENARIOS + text, "diy")) == {"laminate_materials", "paint_defect_self"}
    assert beside(SCENARIOS + text, "out") == {}
    assert set(beside(SCENARIOS + text)) == {
        "laminate_materials",
        "paint_defect_self",
    }  # the first of the file
    with pytest.raises(SimulationError, match="no scenario 'other'"):
        beside(SCENARIOS + text, "other")


def test_bills_and_a_shops_own_hours_have_none() -> None:
    assert beside(line("resin_freight", group="freight") + line("bumper_duty", group="import")) == {}
    assert beside(line("filling_shop") + event("paint_defect_shop")) == {}
    assert beside(line("storage_of_kit", 'name = "Storage of kit and removed parts"', "other")) == {}


def test_goods_of_a_consignment_have_theirs() -> None:
    crate = (
        '[[consignment]]\nid = "crate"\nincoterm = "DDP"\nmode = "air"\n'
        'goods = [{ id = "rims", name = "Wheels", price = 9, group = "wheels" }, { id = "lip", price = 9 }]\n'
    )
    found = beside(crate)
    assert "sharp_edges" in found["crate.lip"]
    assert set(found) <= {"crate.rims", "crate.lip"}
    one = '[[consignment]]\nid = "crate"\nname = "Front bumper"\nprice = 9\nincoterm = "DDP"\nmode = "air"\n'
    assert "sharp_edges" in beside(one)["crate"]


def test_a_guided_build_has_cautions_beside_lines_goods_and_events() -> None:
    found = cautions_beside(guided(), "diy")
    kinds = {kind: [item.id for item in found if item.kind == kind] for kind in ("line", "goods", "event")}
    assert {"paint_materials", "laminate_materials", "tyres", "inspection"} <= set(kinds["line"])
    assert kinds["goods"] == ["kit"]
    assert {"tyre_touches", "laminate_fault", "approval_refused"} <= set(kinds["event"])
    assert all(caution.authority and len(caution.text) < 400 for item in found for caution in item.cautions)
    assert all(item.cautions for item in found)


def test_events_are_named_with_the_caution_and_commented_in_the_file() -> None:
    names = {caution.id: names for caution, names in cautions_of(guided())}
    assert "Wheel or tyre touches at lock or bump" in names["wheel_cover"]
    text = write_build(read_answers({"country": "IE", "origin": "JP", "wheels_new": True}))
    before = text[: text.index('id = "approval_refused"')].rpartition("\n\n")[2].lower()
    assert "caution, approval" in before


def test_an_event_that_is_added_brings_its_caution() -> None:
    table = {"id": "lamp_trouble", "name": "Lamp will not mount", "chance": 0.2, "cost": 90}
    text = changed(HEAD, [AddItem("event", table)])
    assert "# Caution, lamps" in text
    assert parse_build(text).event[0].id == "lamp_trouble"
