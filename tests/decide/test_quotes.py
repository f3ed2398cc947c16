"""Quotes as options: the same as editing the build, and risks that a low price hides."""

from __future__ import annotations

import pytest

from forecast.buildfile.choosing import with_option
from forecast.buildfile.reader import parse_build
from forecast.decide.choices import quotes
from forecast.decide.mix import MixSearch
from forecast.engine.forecast import simulate
from forecast.errors import SimulationError
from forecast.views.commands.quotes import quote_rows
from forecast.views.quote_words import (
    estimate_sentence,
    once_taken_sentence,
    quote_sentence,
    quotes_sentence,
)
from forecast.watching.known_facts import forecast_given
from forecast.watching.standing import Standing
from tests.decide.sample import euros, small

KITS = """
[[option]]
id = "cheap"
choice = "kit"
name = "Cheap kit"
override = { kit = { amount = { low = 2300, middle = 2500, high = 2900 } }, poor_fit = { chance = 0.9 } }
[[option.event]]
id = "no_show"
name = "The seller never delivers"
chance = 0.3
cost = 2500
[[option]]
id = "good"
choice = "kit"
[[option.event]]
id = "no_show"
chance = 0.02
cost = 2500
"""


def test_an_option_is_the_build_edited() -> None:
    build = small(KITS)
    found = quotes(build, "kit", "diy")
    edited = parse_build(
        build_text()
        .replace("low = 2400, middle = 2800, high = 4200", "low = 2300, middle = 2500, high = 2900")
        .replace("chance = 0.35", "chance = 0.9")
        .replace("[scenario.diy]", '[[event]]\nid = "no_show"\nchance = 0.3\ncost = 2500\n[scenario.diy]')
    )
    alone = simulate(edited, "diy")
    assert found.quotes[0].summary.p80.value == pytest.approx(alone.percentile(0.8).value)
    assert found.quotes[0].plain == pytest.approx(alone.base_estimate)


def build_text() -> str:
    from tests.decide.sample import SMALL

    return SMALL


def test_the_lowest_quote_is_not_the_cheapest_build() -> None:
    found = quotes(small(KITS), "kit", "diy")
    assert found.best.id == "good"
    text = quotes_sentence(found, euros)
    assert "Cheap kit looks cheaper by" in text
    cheap = found.quotes[0]
    assert [risk.id for risk in cheap.risks] == ["no_show", "poor_fit"]
    assert cheap.risks[0].chance == pytest.approx(0.3, abs=0.01)
    assert cheap.risks[0].mean == pytest.approx(750, abs=25)
    assert "The seller never delivers (in 30 of 100 builds" in quote_sentence(cheap, euros)


def test_the_same_risk_is_drawn_alike() -> None:
    build = small(KITS)
    forecasts = [simulate(with_option(build, option), "diy") for option in build.option]
    cheap, good = (forecast.trials.row("no_show") > 0 for forecast in forecasts)
    assert not (good & ~cheap).any()  # where it happens at 2 % it happens at 30 % too


def test_the_lowest_quote_may_well_be_the_best() -> None:
    found = quotes(
        small(KITS.replace("chance = 0.3\n", "chance = 0.01\n").replace("0.9 }", "0.3 }")), "kit", "diy"
    )
    assert found.best.id == "cheap"
    assert "it is also the lowest quote" in quotes_sentence(found, euros)


def test_one_option_is_no_comparison() -> None:
    with pytest.raises(SimulationError, match="0 options in the build"):
        quotes(small(), "kit")
    with pytest.raises(SimulationError, match="Did you mean 'kit'"):
        quotes(small(KITS), "kitt")


GUESSED = """
[[option]]
id = "kit_as_written"
choice = "kit"
name = "Kit, your own estimate"
[[option]]
id = "near"
choice = "kit"
name = "Near"
override = { kit = { amount = 5600 } }
"""
FAR = """
[[option]]
id = "far"
choice = "kit"
name = "Far"
override = { kit = { amount = { low = 5400, middle = 5900, high = 7000 } } }
"""


def test_the_own_estimate_is_neither_cheapest_nor_best_and_stands_beside_the_quotes() -> None:
    found = quotes(small(GUESSED + FAR), "kit", "diy")
    assert [quote.id for quote in found.quotes] == ["near", "far"]
    assert sum(quote.summary.chance_cheapest.value for quote in found.quotes) == pytest.approx(1.0)
    assert found.estimate is not None
    assert (found.estimate.id, found.own) == ("kit_as_written", 2800.0)
    said = quotes_sentence(found, euros)
    assert said.startswith("Near needs least money held: ")
    assert said.endswith("at P80 once you take it; it is also the lowest quote.")
    more = min(found.held(quote).value for quote in found.quotes) - found.estimate.summary.p80.value
    assert estimate_sentence(found, euros) == (
        f"Both quotes are about twice your estimate of €2,800: whichever you take, hold at least {euros(more)} more."
    )
    assert [row[0] for row in quote_rows(found, "EUR")] == ["Near", "Far", "Kit, your own estimate"]
    assert quote_rows(found, "EUR")[-1][-1] == "\u2013"


def test_one_quote_is_held_against_the_own_estimate() -> None:
    found = quotes(small(GUESSED), "kit", "diy")
    assert [quote.id for quote in found.quotes] == ["near"]
    assert quotes_sentence(found, euros).startswith("One quote is in, Near: hold €")
    assert estimate_sentence(found, euros).startswith(
        "The quote is about twice your estimate of €2,800: if you take it"
    )


def test_quotes_near_the_estimate_ask_for_no_more() -> None:
    found = quotes(small(GUESSED.replace("5600", "2900")), "kit", "diy")
    assert estimate_sentence(found, euros).startswith("By your estimate of €2,800 P80 would be €")


@pytest.mark.parametrize(("price", "reason"), [("5600", "run low"), ("900", "run high")])
def test_it_is_told_what_p80_is_once_a_quote_is_taken(price: str, reason: str) -> None:
    build = small(GUESSED.replace("5600", price))
    found = quotes(build, "kit", "diy")
    agreed = Standing(None, {}, {"kit": int(price) * 100}, frozenset(), {}, {}, None, agreed={"kit": "fixed"})
    then = forecast_given(build, "diy", known=agreed).percentile(0.8)
    taken = found.quotes[0].taken
    assert taken is not None
    assert taken.value == pytest.approx(then.value)
    said = once_taken_sentence(found, euros)
    assert said.startswith(f"Once you take it, P80 will be {euros(then.value)} with Near.")
    assert said.endswith(f"your estimate tells that your other guesses may {reason}.")


def test_what_a_quote_brings_beside_its_price_is_not_in_what_taking_it_gives() -> None:
    found = quotes(small(KITS), "kit", "diy")
    cheap, good = found.quotes
    assert (cheap.brings_more, cheap.asked) == (True, 2500.0)
    assert (good.brings_more, good.asked) == (True, 2800.0)
    assert found.held(cheap) == cheap.summary.p80
    assert once_taken_sentence(found, euros).endswith("counts once it stands in the build file.")


def test_no_mix_takes_the_own_estimate() -> None:
    search = MixSearch(small(GUESSED + FAR), "diy", 512)
    assert {item.options["kit"] for item in search.mixes} == {"near", "far"}
