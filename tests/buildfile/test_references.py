"""Whatever is taken out of a build, what is left is one: nothing speaks of it any more."""

from __future__ import annotations

import tomllib
from copy import deepcopy
from typing import Any

import pytest

from forecast.buildfile.changes import RemoveItem
from forecast.buildfile.edit import changed
from forecast.buildfile.reader import assemble, parse_build
from forecast.buildfile.references import without
from forecast.ledger.folder import DEMOS
from forecast.start import read_answers, write_build


def raw_builds() -> dict[str, dict[str, Any]]:
    texts = {
        folder.name: (folder / "build.toml").read_text("utf-8")
        for folder in DEMOS.iterdir()
        if folder.is_dir()
    }
    texts["guided"] = write_build(read_answers({"country": "NL", "origin": "GB"}))
    return {name: tomllib.loads(text) for name, text in texts.items()}


BUILDS = raw_builds()


def every_id(raw: dict[str, Any]) -> list[str]:
    return [table["id"] for kind in ("line", "event", "measure", "option") for table in raw.get(kind, ())]


@pytest.mark.parametrize("name", BUILDS)
def test_whatever_is_taken_out_leaves_a_build(name: str) -> None:
    """Of a guided build 39 of 110 lines and events could not be: an event was a share of them, or the like."""
    for item in every_id(BUILDS[name]):
        raw = deepcopy(BUILDS[name])
        without(raw, item)
        build, raised = assemble(raw)
        assert build is not None, (item, raised)
        assert item not in every_id(raw)


@pytest.mark.parametrize("name", BUILDS)
def test_all_that_costs_can_be_taken_out_one_after_the_other(name: str) -> None:
    raw = deepcopy(BUILDS[name])
    while left := [table["id"] for kind in ("line", "event") for table in raw.get(kind, ())]:
        without(raw, left[len(left) // 2])
        build, raised = assemble(raw)
        assert build is not None, (left[len(left) // 2], raised)


TEXT = """\
[build]
name = "x"
currency = "EUR"
country = "IE"

[scenario.mixed]
all = "self"
arches = "shop"
paint = "shop"

[scenario.mixed.override]
work = { chance = 0.4 }  # dearer there

[[line]]
id = "work"
group = "labour"
package = "arches"
route = "shop"
chance = 0.9
amount = { low = 40, middle = 60, high = 120 }

[[line]]
id = "paint"
group = "finish"
package = "paint"
route = "shop"
amount = 900        # as quoted

[[event]]
id = "overrun"
chance = 0.2
percent = { low = 5, middle = 10, high = 20 }
of = ["work", "paint"]   # both shops

[[event]]
id = "late"
chance = 0.2
percent = 10
of = ["work"]

[[measure]]
id = "ask"
cost = 10
before = ["work", "paint"]
chances = { late = 0.5 }
"""


def test_what_speaks_of_a_line_goes_with_it_and_what_does_not_stays() -> None:
    text = changed(TEXT, [RemoveItem("work")])
    build = parse_build(text)
    assert [line.id for line in build.line] == ["paint"]
    assert [(event.id, event.of) for event in build.event] == [("overrun", ("paint",))]
    assert not build.measure  # it was for what was a share of the line alone
    assert build.scenario["mixed"].routes == {"paint": "shop"}
    assert build.scenario["mixed"].override == {}
    assert "amount = 900        # as quoted" in text
    assert "# both shops" in text
    measured = parse_build(changed(TEXT, [RemoveItem("paint")])).measure[0]
    assert measured.before == ("work",)
