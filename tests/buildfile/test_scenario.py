"""Which lines and events count in a scenario, and with which changes."""

from __future__ import annotations

import pytest

from forecast.buildfile.choosing import choose, scenario_name
from forecast.buildfile.reader import parse_build
from forecast.errors import SimulationError
from tests.buildfile.texts import HEAD

TEXT = (
    HEAD
    + """\
[[line]]
id = "kit"
group = "kit"
amount = 3000
[[line]]
id = "filler"
group = "consumables"
package = "filling"
route = "self"
amount = { low = 50, high = 90 }
[[line]]
id = "filling_shop"
group = "labour"
package = "filling"
route = "shop"
amount = 900
[[line]]
id = "paint"
group = "finish"
package = "paint"
route = "self"
amount = 400
[[line]]
id = "paint_shop"
group = "finish"
package = "paint"
route = "shop"
amount = 2000
[[line]]
id = "masking"
group = "finish"
package = "paint"
amount = 60
[[event]]
id = "shop_overruns"
chance = 0.3
package = "paint"
route = "shop"
percent = 20
of = ["paint_shop"]
[[event]]
id = "rust"
chance = 0.3
cost = 300
"""
)
SCENARIOS = """\
[scenario.mixed]
name = "Paint farmed out"
paint = "shop"
[scenario.shop]
all = "shop"
filling = "self"
[scenario.shop.override.kit]
amount = 2500
supplier = "Another maker"
[scenario.shop.override.rust]
chance = 0.6
[scenario.shop.override.masking]
route = "self"
"""


def ids(scenario: str | None, text: str = TEXT + SCENARIOS) -> tuple[list[str], list[str]]:
    choice = choose(parse_build(text), scenario)
    return [line.id for line in choice.lines], [event.id for event in choice.events]


def test_each_package_takes_its_own_route_or_that_of_all() -> None:
    assert ids("mixed") == (["kit", "filler", "paint_shop", "masking"], ["shop_overruns", "rust"])
    assert ids("shop") == (["kit", "filler", "paint_shop"], ["shop_overruns", "rust"])


def test_without_scenarios_all_is_done_by_oneself() -> None:
    choice = choose(parse_build(TEXT))

    assert choice.scenario is None
    assert ids(None, TEXT) == (["kit", "filler", "paint", "masking"], ["rust"])


def test_the_first_scenario_of_the_file_is_meant_where_none_is_named() -> None:
    build = parse_build(TEXT + SCENARIOS)

    assert scenario_name(build, None) == "mixed"
    assert choose(build) == choose(build, "mixed")


def test_an_override_changes_the_keys_it_names_and_no_others() -> None:
    build = parse_build(TEXT + SCENARIOS)
    kit, rust = choose(build, "shop").lines[0], choose(build, "shop").events[1]

    assert kit == build.line[0].model_copy(
        update={"amount": kit.amount, "supplier": "Another maker", "group": "kit"}
    )
    assert kit.amount is not None
    assert kit.amount.model_dump()["value"] == 2500
    assert rust.chance == 0.6
    assert rust.cost == build.event[1].cost
    assert choose(build, "mixed").lines[0] == build.line[0]


def test_an_override_may_change_a_route() -> None:
    moved = TEXT + '[scenario.s]\nall = "self"\n[scenario.s.override.paint_shop]\nroute = "self"\n'

    assert ids("s", moved)[0] == ["kit", "filler", "paint", "paint_shop", "masking"]


def test_an_unknown_scenario_is_told_with_the_nearest_one() -> None:
    told = r"^scenario: the build has no scenario 'mixt'\. Did you mean 'mixed'\?$"

    with pytest.raises(SimulationError, match=told):
        choose(parse_build(TEXT + SCENARIOS), "mixt")


def test_an_override_made_in_python_is_refused_in_words() -> None:
    build = parse_build(TEXT + SCENARIOS)
    scenario = build.scenario["shop"].model_copy(update={"override": {"kit": {"quantity": 3}}})
    wrong = build.model_copy(update={"scenario": {"shop": scenario}})

    with pytest.raises(
        SimulationError, match=r"^override of 'kit': item: has amount as well as quantity and price\. "
    ):
        choose(wrong)
