"""Where a choice stands: quotes that do not count in a way, and those that are settled, are not compared."""

from __future__ import annotations

import pytest

from forecast.buildfile.reader import parse_build
from forecast.buildfile.schema import Build
from forecast.decide.choices import ComparedQuotes, Elsewhere, Settled, not_compared, quotes_or_why
from forecast.engine.known import Agreed, KnownFacts
from forecast.views.quote_words import not_compared_sentence, settled_sentence
from forecast.watching.standing import Standing
from tests.decide.sample import SMALL, euros, small
from tests.decide.test_quotes import KITS

SHOPS = """
[[option]]
id = "as_written"
choice = "paint_shop"
[[option]]
id = "big"
name = "Big shop"
choice = "paint_shop"
override = { paint_shop = { amount = 2600 } }
[[option.event]]
id = "late"
chance = 0.5
cost = 400
"""
SIDES = """
[[option]]
id = "one"
choice = "filler"
override = { filler = { price = 14 } }
[[option]]
id = "two"
choice = "filler"
override = { filler = { price = 15 } }
"""


def without_handing_over(more: str) -> Build:
    """Read the small build without the event that hands painting over to the shop."""
    head, _, rest = SMALL.partition('[[event]]\nid = "give_up"')
    return parse_build(head + rest[rest.index("[scenario.diy]") :] + more)


def stands(
    paid: dict[str, int] | None = None, committed: dict[str, int] | None = None, *closed: str
) -> Standing:
    """Give a ledger that says so much."""
    return Standing(None, paid or {}, committed or {}, frozenset(closed), {}, {}, None)


def test_quotes_for_what_a_way_does_without_are_not_compared_in_it() -> None:
    build = without_handing_over(SHOPS)
    why = quotes_or_why(build, "paint_shop", "diy", trials=512)
    assert isinstance(why, Elsewhere)
    assert not_compared_sentence(why, euros) == (
        "These quotes do not count in this way: “Paint shop” is not in “Diy”. “Shop” and “Mixed” have it."
    )
    assert why.found_in == ("shop", "mixed")
    assert isinstance(quotes_or_why(build, "paint_shop", "mixed", trials=512), ComparedQuotes)


def test_a_build_without_ways_says_so_too() -> None:
    head = without_handing_over(SHOPS)
    build = head.model_copy(update={"scenario": {}})
    why = not_compared(build, "paint_shop")
    assert why is not None
    assert not_compared_sentence(why, euros) == (
        "These quotes do not count in this way: “Paint shop” is not in this build."
    )


def test_a_quote_that_work_handed_over_would_be_paid_by_counts_all_the_same() -> None:
    found = quotes_or_why(small(SHOPS), "paint_shop", "diy", trials=4096)
    assert isinstance(found, ComparedQuotes)
    first, second = found.quotes
    assert first.summary.p80.value != second.summary.p80.value


def test_a_way_that_moves_a_line_to_another_route_has_its_quotes() -> None:
    moved = '\n[scenario.diy.override]\npaint_shop = { route = "self" }\n'
    assert not_compared(without_handing_over(moved + SHOPS), "paint_shop", "diy") is None


@pytest.mark.parametrize(
    ("known", "said"),
    [
        (stands({"kit": 3_125_000}), "That is settled: €31,250 paid for “Kit”."),
        (stands({}, {"kit": 270_000}), "That is settled: €2,700 agreed for “Kit”."),
        (
            stands({"kit": 50_000}, {"kit": 220_000}),
            "That is settled: €500 paid and €2,200 more agreed for “Kit”.",
        ),
        (stands({}, {}, "kit"), "That is settled: “Kit” is closed, with nothing paid for it."),
        (KnownFacts(amounts={"kit": 2700.0}), "That is settled: €2,700 paid for “Kit”."),
        (KnownFacts(agreed={"kit": Agreed(2600.0, 0.1)}), "That is settled: €2,600 agreed for “Kit”."),
    ],
)
def test_a_choice_that_is_paid_agreed_or_closed_is_settled(known: Standing | KnownFacts, said: str) -> None:
    why = quotes_or_why(small(KITS), "kit", "diy", known=known)
    assert isinstance(why, Settled)
    assert settled_sentence(why, euros) == said


@pytest.mark.parametrize("known", [None, stands({"filler": 9_000}), KnownFacts(amounts={"filler": 60.0})])
def test_a_choice_of_what_nothing_was_said_of_is_open(known: Standing | None) -> None:
    assert not_compared(small(KITS), "kit", "diy", known) is None


def test_what_is_bought_in_several_goes_is_settled_by_its_end_alone() -> None:
    build = small(SIDES)
    assert not_compared(build, "filler", "diy", stands({"filler": 9_000})) is None
    assert isinstance(not_compared(build, "filler", "diy", stands({"filler": 9_000}, {}, "filler")), Settled)


def test_the_price_of_goods_is_settled_by_the_goods_and_not_by_a_charge() -> None:
    goods = """
[[consignment]]
id = "crate"
price = 2400
origin = "JP"
mode = "sea"
incoterm = "CIF"
place = "Port of Dublin"
place_is = "port"
[[option]]
id = "one"
choice = "crate"
[[option]]
id = "two"
choice = "crate"
override = { crate = { price = 2600 } }
"""
    build = parse_build(SMALL + goods)
    assert not_compared(build, "crate", "diy", stands({"crate.freight": 40_000})) is None
    why = not_compared(build, "crate", "diy", stands({"crate.goods": 260_000, "crate.freight": 40_000}))
    assert why is not None
    assert not_compared_sentence(why, euros) == "That is settled: €2,600 paid for “Crate”."
