"""Choices that are made: what somebody was paid to do is not done again, and no advice says so."""

from __future__ import annotations

from pathlib import Path

import pytest

from forecast.buildfile.reader import parse_build
from forecast.decide.made import routes_made, ways_left
from forecast.decide.mix import mix
from forecast.decide.scenarios import compare
from forecast.ledger import Ledger
from forecast.views.ways import made_sentences
from forecast.watching.standing import Record, Standing

LINE = '[[line]]\nid = "{}"\ngroup = "finish"\npackage = "{}"\nroute = "{}"\namount = {{ low = {}, high = {} }}\n{}\n'
WORK = (
    ("paint_shop", "paint", "shop", 1500, 4000, ""), ("blending", "paint", "shop", 300, 900, ""),
    ("paint_self", "paint", "self", 300, 900, "own_hours = 60"), ("filler", "filling", "self", 100, 300, ""),
    ("filling_shop", "filling", "shop", 1200, 2600, ""), ("guns", "paint", "self", 200, 400, ""),
)  # fmt: skip
WAYS = """
[scenario.mixed]
name = "Mixed"
all = "self"
paint = "shop"
[scenario.diy]
name = "Alone"
all = "self"
[scenario.out]
name = "Farmed out"
all = "shop"
"""
BUILD = parse_build(
    '[build]\nname = "x"\ncurrency = "EUR"\ncountry = "IE"\n'
    + "".join(LINE.format(*one) for one in WORK)
    + WAYS
)


def after(tmp_path: Path, *paid: str, closed: bool = True) -> Standing:
    ledger = Ledger(tmp_path / "r.db", currency="EUR")
    for line in paid:
        ledger.add_receipt("2026-05-02", "somebody", 500_00, "EUR", [(line, 500_00)])
        if closed:
            ledger.close_line(line, "2026-05-02")
    return Record.read(ledger).standing()


@pytest.mark.parametrize(
    ("paid", "made"),
    [
        ((), {}),
        (("paint_shop",), {"paint": "shop"}),
        (("blending",), {}),  # the smaller part of what a shop was to cost: it may be all that it did
        (("paint_shop", "filling_shop"), {"paint": "shop", "filling": "shop"}),
        (("paint_self", "guns", "filler"), {}),  # what is bought to do it oneself may lie on the shelf
    ],
)
def test_what_somebody_was_paid_to_do_is_a_choice_made(
    tmp_path: Path, paid: tuple[str, ...], made: dict[str, str]
) -> None:
    assert routes_made(BUILD, after(tmp_path, *paid)) == made


def test_a_bill_that_is_not_closed_makes_no_choice(tmp_path: Path) -> None:
    assert routes_made(BUILD, after(tmp_path, "paint_shop", closed=False)) == {}
    assert routes_made(BUILD, None) == {}


def test_ways_that_would_do_it_again_are_left_out(tmp_path: Path) -> None:
    known = after(tmp_path, "paint_shop")
    assert ways_left(BUILD, known) == ("mixed", "out")
    found = compare(BUILD, trials=1024, known=known)
    assert [item.id for item in found.scenarios] == ["mixed", "out"]
    assert made_sentences(BUILD, known) == [
        "Done and paid: paint. “Alone” would do that again, and is left out."
    ]
    every = compare(BUILD, ["mixed", "diy"], trials=1024, known=known)  # asked for by name, they are compared
    assert [item.id for item in every.scenarios] == ["mixed", "diy"]


def test_no_mix_does_it_again(tmp_path: Path) -> None:
    free, bound = mix(BUILD, trials=1024), mix(BUILD, trials=1024, known=after(tmp_path, "paint_shop"))
    assert {item.routes["paint"] for item in free.mixes} == {"self", "shop"}
    assert {item.routes["paint"] for item in bound.mixes} == {"shop"}
    assert {item.routes["filling"] for item in bound.mixes} == {"self", "shop"}
    assert not [reason for reason in bound.reasons if "paint" in str(reason.choice).lower()]


def test_where_every_way_would_do_it_again_all_are_compared(tmp_path: Path) -> None:
    build = BUILD.model_copy(update={"scenario": {name: BUILD.scenario[name] for name in ("diy",)}})
    known = after(tmp_path, "paint_shop")
    assert ways_left(build, known) == ("diy",)
    assert made_sentences(build, known) == []


def test_one_way_left_is_named(tmp_path: Path) -> None:
    build = BUILD.model_copy(update={"scenario": {name: BUILD.scenario[name] for name in ("mixed", "diy")}})
    told = made_sentences(build, after(tmp_path, "paint_shop"))
    assert told[-1] == "“Mixed” is the way that is left."
