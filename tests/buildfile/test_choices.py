"""Measures, options, resale and handing over in the build file."""

from __future__ import annotations

import pytest

from forecast.buildfile.choosing import figure_names, options_by_choice, with_figure, with_option
from forecast.buildfile.reader import parse_build
from forecast.engine.forecast import simulate
from forecast.errors import BuildFileError, SimulationError

HEAD = """
[build]
name = "Choices"
currency = "EUR"
country = "IE"
hours_per_week = 8
[[line]]
id = "kit"
group = "kit"
amount = 2000
[[line]]
id = "materials"
group = "finish"
package = "paint"
route = "self"
amount = 300
own_hours = 40
[[line]]
id = "shop"
group = "finish"
package = "paint"
route = "shop"
amount = 1000
[scenario.diy]
all = "self"
[scenario.shop]
all = "shop"
"""

GIVE_UP = '[[event]]\nid = "give_up"\nchance = 1\nhands_over = ["paint"]\nshare = 0.25\npenalty = 1.2\n'


def test_work_handed_over_is_paid_at_the_shops_price_and_not_done() -> None:
    forecast = simulate(parse_build(HEAD + GIVE_UP), "diy", 64)
    assert set(forecast.trials.totals) == {2000 + 300 + 0.25 * 1.2 * 1000}
    assert set(forecast.trials.hours) == {40 - 0.25 * 40}


def test_nothing_is_left_to_hand_over_at_the_shop() -> None:
    forecast = simulate(parse_build(HEAD + GIVE_UP), "shop", 64)
    assert set(forecast.trials.totals) == {3000.0}
    assert set(forecast.trials.hours) == {0.0}


def test_the_open_share_is_at_most_all_of_it_and_the_penalty_may_be_left_out() -> None:
    text = HEAD + GIVE_UP.replace(
        "share = 0.25\npenalty = 1.2", 'share = { shape = "uniform", min = 5, max = 9 }'
    )
    assert set(simulate(parse_build(text), "diy", 64).trials.totals) == {3300.0}


def test_handing_over_counts_only_where_it_happens() -> None:
    text = HEAD + GIVE_UP.replace("chance = 1\n", "chance = 0.25\n")
    forecast = simulate(parse_build(text), "diy", 16_384)
    assert forecast.base_estimate == 2300
    assert forecast.mean.value == pytest.approx(2300 + 0.25 * 300, abs=1)


def test_a_tool_sold_again_brings_back_at_most_its_price() -> None:
    tool = '[[line]]\nid = "tool"\ngroup = "hardware"\namount = 400\nresale = {}\n'
    assert simulate(parse_build(HEAD + tool.format(150)), "diy", 64).base_estimate == 2300 + 250
    assert simulate(parse_build(HEAD + tool.format(900)), "diy", 64).base_estimate == 2300


def problems(text: str) -> str:
    with pytest.raises(BuildFileError) as caught:
        parse_build(HEAD + text)
    return str(caught.value)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (GIVE_UP.replace('"paint"', '"pain"'), "no line of work package 'pain' has route shop"),
        (GIVE_UP.replace("share = 0.25\n", ""), "hands_over and share belong together"),
        ('[[event]]\nid = "e"\nchance = 0.1\n', "or hands_over and share"),
        ('[[measure]]\nid = "m"\ncost = 5\n', "changes nothing"),
        ('[[measure]]\nid = "m"\nchances = { x = 0.5 }\n', "Add cost"),
        ('[[measure]]\nid = "m"\ncost = 5\nchances = { x = 0.5 }\n', "there is no event 'x'"),
        ('[[measure]]\nid = "m"\ncost = 5\nchances = { x = -1 }\n', "found -1"),
        ('[[measure]]\nid = "m"\ncost = 5\nfigures = { "kitt.amount" = 0.9 }\n', "Did you mean 'kit'?"),
        ('[[measure]]\nid = "kit"\ncost = 5\nfigures = { "kit.amount" = 0.9 }\n', "'kit' is the id of a line already"),
        ('[[option]]\nid = "o"\nchoice = "c"\noverride = { kitt = { amount = 1 } }\n', "Did you mean 'kit'?"),
        ('[[option]]\nid = "o"\nchoice = "c"\noverride = { kit = { id = "x" } }\n', "cannot change an id"),
        ('[[option]]\nid = "o"\nchoice = "c"\n[[option.event]]\nid = "kit"\nchance = 0.1\ncost = 5\n',
         "'kit' is in the build already"),
        ('[[option]]\nid = "o"\nchoice = "c"\n[[option]]\nid = "o"\nchoice = "c"\n', "'o' stands twice"),
        ('[[option]]\nid = "o"\n', "Add choice"),
    ],
)  # fmt: skip
def test_mistakes_say_where_and_how_to_mend(text: str, words: str) -> None:
    assert words in problems(text)


def test_an_override_that_makes_no_sense_is_told_when_the_option_is_taken() -> None:
    build = parse_build(HEAD + '[[option]]\nid = "o"\nchoice = "c"\n')
    wrong = build.option[0].model_copy(
        update={"override": {"kit": {"amount": {"low": 5, "middle": 4, "high": 9}}}}
    )
    with pytest.raises(SimulationError, match="option 'o', override of 'kit'"):
        with_option(build, wrong)


def test_options_by_choice_and_one_taken() -> None:
    build = parse_build(
        HEAD
        + '[[option]]\nid = "a"\nchoice = "kit"\noverride = { kit = { amount = 1500 } }\n'
        + '[[option.line]]\nid = "crate"\ngroup = "freight"\namount = 90\n'
        + '[[option]]\nid = "b"\nchoice = "kit"\n[[option]]\nid = "a"\nchoice = "shop"\n'
    )
    assert {name: [item.id for item in items] for name, items in options_by_choice(build).items()} == {
        "kit": ["a", "b"],
        "shop": ["a"],
    }
    taken = with_option(build, build.option[0])
    assert simulate(taken, "diy", 64).base_estimate == 1500 + 90 + 300
    assert [item.choice for item in taken.option] == ["shop"]
    assert simulate(build, "diy", 64).base_estimate == 2300


def test_figures_by_name() -> None:
    build = parse_build(HEAD)
    assert figure_names(build) == ("kit.amount", "materials.own_hours", "materials.amount", "shop.amount")
    assert with_figure(build, "kit.price", lambda figure: figure) is None
    assert with_figure(build, "kit.amount", lambda figure: figure) == build
