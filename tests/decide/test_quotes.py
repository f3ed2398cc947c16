"""Quotes as options: the same as editing the build, and risks that a low price hides."""

from __future__ import annotations

import pytest

from forecast.buildfile.choosing import with_option
from forecast.buildfile.reader import parse_build
from forecast.decide.choices import quotes
from forecast.engine.forecast import simulate
from forecast.errors import SimulationError
from forecast.views.quote_words import quote_sentence, quotes_sentence
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
