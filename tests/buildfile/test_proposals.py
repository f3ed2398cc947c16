"""Quotes and measures that are put beside what the file says."""

from __future__ import annotations

import pytest

from forecast.buildfile.changes import RemoveItem
from forecast.buildfile.choosing import options_by_choice, with_option
from forecast.buildfile.edit import changed
from forecast.buildfile.proposals import (
    Quoted,
    measures_on_offer,
    priced_figures,
    quote,
    starter_measure,
    way,
    way_of,
)
from forecast.buildfile.reader import parse_build, read_build
from forecast.ledger.folder import DEMOS

TEXT = """\
[build]
name = "Coupe"
currency = "EUR"
country = "IE"
hours_per_week = 8

[currency.JPY]
rate = 0.006

[[cause]]
id = "kit_fit"

[[consignment]]
id = "panels"
incoterm = "FOB"
mode = "sea"
currency = "JPY"
goods = [
  { id = "body", name = "Panels", price = { low = 100000, middle = 130000, high = 190000 }, hs = "8708.29" },
  { id = "lip", price = 20000 },
]

[[line]]
id = "paint"
name = "Paint by a shop"
group = "finish"
amount = { low = 2000, middle = 2600, high = 4000, causes = { kit_fit = "slight" } }

[[event]]
id = "transit_damage"
chance = 0.15
cost = 300
"""


def test_the_first_quote_brings_what_the_file_says_as_the_other_one() -> None:
    build = parse_build(TEXT)
    assert priced_figures(build) == {
        "panels.goods.0.price": "Panels, in JPY", "panels.goods.1.price": "Lip, in JPY",
        "paint.amount": "Paint by a shop, in EUR",
    }  # fmt: skip
    told = Quoted("The shop by the river", None, 2450, None, late=0.4, weeks=3)
    new = parse_build(changed(TEXT, quote(build, "paint.amount", told)))
    written, river = new.option
    assert written.choice == river.choice == "paint"
    assert written.override == {}
    assert written.title == "Paint by a shop, your own estimate"
    taken = next(line for line in with_option(new, river).line if line.id == "paint")
    assert taken.amount is not None
    assert taken.amount.model_dump(exclude_defaults=True) == {"value": 2450, "causes": {"kit_fit": 0.3}}
    (late,) = river.event
    assert (late.chance, late.wait_weeks.value) == (0.4, 3)  # type: ignore[union-attr]


def test_risks_of_one_choice_share_their_draws() -> None:
    """Options of one choice may use the same id for the same risk; only its chance and size differ then."""
    build = parse_build(TEXT)
    text = changed(TEXT, quote(build, "paint.amount", Quoted("One", 2000, 2300, 2900, never=0.02, lost=500)))
    text = changed(
        text, quote(parse_build(text), "paint.amount", Quoted("Two", None, 2800, None, never=0.1, lost=900))
    )
    new = parse_build(text)
    assert [option.id for option in options_by_choice(new)["paint"]] == ["paint_as_written", "one", "two"]
    assert {event.id for option in new.option for event in option.event} == {"paint_never_comes"}
    assert [event.chance for option in new.option for event in option.event] == [0.02, 0.1]


def test_a_quote_for_one_of_the_goods_leaves_the_others_as_they_are() -> None:
    build = parse_build(TEXT)
    new = parse_build(
        changed(TEXT, quote(build, "panels.goods.0.price", Quoted("Nearby", None, 150000, None)))
    )
    taken = with_option(new, new.option[1]).consignment[0]
    assert [item.price.model_dump(exclude_defaults=True) for item in taken.goods] == [
        {"value": 150000},
        {"value": 20000},
    ]
    assert taken.goods[0].name == "Panels"
    assert taken.goods[1] == build.consignment[0].goods[1]


@pytest.mark.parametrize("demo", ["before-ordering-ireland", "half-way-new-zealand"])
def test_every_measure_on_offer_can_be_put_in_and_taken_out(demo: str) -> None:
    path = DEMOS / demo / "build.toml"
    text, build = path.read_text(encoding="utf-8"), read_build(path)
    offered = measures_on_offer(build)
    assert offered
    for id in offered:
        grown = changed(text, [starter_measure(build, id)])
        assert [measure.id for measure in parse_build(grown).measure] == [*(m.id for m in build.measure), id]
        assert id not in measures_on_offer(parse_build(grown))
        assert changed(grown, [RemoveItem(id)]).strip() == text.strip()


def test_only_measures_that_change_something_are_offered() -> None:
    build = parse_build(TEXT)
    assert "insure_transit" in measures_on_offer(build)
    assert "test_panel" not in measures_on_offer(build)


def test_a_mix_becomes_a_way_to_do_the_build() -> None:
    path = DEMOS / "before-ordering-ireland" / "build.toml"
    text, build = path.read_text(encoding="utf-8"), read_build(path)
    routes = {
        "fitting": "self",
        "filling": "self",
        "paint": "shop",
        "wheels_fitting": "self",
        "arches": "self",
    }
    assert way_of(build, routes) is None
    new = changed(text, [way(build, routes, "Paint farmed out")])
    assert new.startswith(text.rstrip("\n"))
    assert new[len(text.rstrip()) :].strip() == (
        '[scenario.paint_farmed_out]\nname = "Paint farmed out"\nall = "self"\npaint = "shop"'
    )
    grown = parse_build(new)
    assert list(grown.scenario) == [*build.scenario, "paint_farmed_out"]
    assert way_of(grown, routes) == "paint_farmed_out"
    assert way_of(build, dict.fromkeys(routes, "self")) == "diy"


def test_the_first_way_of_a_file_is_added() -> None:
    build = parse_build(TEXT)
    new = changed(TEXT, [way(build, {"paint": "shop"}, "By a shop")])
    assert new == TEXT + '\n[scenario.by_a_shop]\nname = "By a shop"\nall = "shop"\n'
    assert parse_build(new).scenario["by_a_shop"].all == "shop"
