"""What a firm quote releases: closed forms of normals, and what the list leaves out."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import ndtri

from forecast.buildfile.reader import parse_build
from forecast.decide.again import replay_of
from forecast.decide.drivers import drivers, own_swings
from forecast.decide.firm_up import firm_up
from forecast.engine.forecast import simulate
from forecast.engine.known import Agreed, KnownFacts, PartPaid
from forecast.views.cost_words import firm_up_sentence
from tests.decide.sample import SMALL, euros, small
from tests.references.portfolios import normals
from tests.references.trade_facts import NORMALS, SPREAD, SPREAD_GIVEN_FIRST

QUOTED = """
[[option]]
id = "as_written"
choice = "paint"
[[option]]
id = "cheap"
choice = "paint"
override = { paint_shop = { amount = 2200 } }
[[option]]
id = "near"
choice = "paint"
override = { paint_shop = { amount = 2600 } }
[[option]]
id = "kit_as_written"
choice = "kit"
[[option]]
id = "maker"
choice = "kit"
override = { kit = { amount = 2600 } }
[[option]]
id = "alone"
choice = "filling"
override = { filling_shop = { amount = 2600 } }
"""


def test_release_of_normals() -> None:
    """Settling one of independent normals takes z times what the spread falls by."""
    build = normals(NORMALS)
    found = firm_up(replay_of(simulate(build, trials=65_536, seed=3)), build)
    assert [item.figure for item in found] == ["n2.amount", "n1.amount", "n0.amount"]
    whole = (20**2 + 40**2 + 60**2) ** 0.5
    for item, sd in zip(found, (60, 40, 20), strict=True):
        expected = ndtri(0.8) * (whole - (whole**2 - sd**2) ** 0.5)
        assert item.release.value == pytest.approx(expected, abs=4 * item.release.error)
        assert item.with_learning.value == pytest.approx(expected, abs=4 * item.with_learning.error + 0.2)
        assert item.into_base == pytest.approx(0, abs=0.05)


RARE = """
[build]
name = "Rare"
currency = "EUR"
country = "IE"
[[line]]
id = "kit"
group = "kit"
amount = { low = 900, middle = 1000, high = 1100 }
[[event]]
id = "small"
chance = 0.0001
cost = 100
[[event]]
id = "large"
chance = 0.0001
cost = 5000
"""


def test_what_the_simulation_cannot_tell_from_nothing_is_not_ranked_by_noise() -> None:
    """Each comes in one or two of 16,384 builds: the order of the build stands, not that of what these cost."""
    build = parse_build(RARE)
    forecast = simulate(build)
    swings = own_swings(replay_of(forecast))
    assert swings["large"].value > swings["small"].value > 0
    assert all(swings[name].value < 2 * swings[name].error for name in ("small", "large"))
    assert list(swings) == ["kit", "small", "large"]
    assert [item.figure for item in firm_up(replay_of(forecast), build)] == ["kit.amount", "small", "large"]


def test_what_lines_move_the_total_by_is_the_same_told_fast() -> None:
    """As the bars of what moves the total have it, each put into the total anew, for all rows and for some."""
    build = small()
    forecast = simulate(build, "diy")
    bars = {bar.id: bar.own for bar in drivers(forecast).swings}
    swings = own_swings(replay_of(forecast))
    assert swings.keys() == bars.keys()
    for name, own in swings.items():
        assert own.value == pytest.approx(bars[name].value, abs=0.3 * bars[name].error + 1e-6)
    few = own_swings(replay_of(forecast), 3)
    assert list(few) == list(swings)[: len(few)]


def test_learning_from_a_shared_cause_releases_more() -> None:
    """With correlation 0.3 the spread given the first figure is known in closed form."""
    build = normals(NORMALS, 0.3)
    found = {item.figure: item for item in firm_up(replay_of(simulate(build, trials=65_536, seed=3)), build)}
    first = found["n0.amount"]
    expected = ndtri(0.8) * (SPREAD - SPREAD_GIVEN_FIRST)
    assert first.with_learning.value == pytest.approx(expected, abs=4 * first.with_learning.error + 0.3)
    rest = (40**2 + 60**2 + 0.6 * 40 * 60) ** 0.5
    settled = ndtri(0.8) * (SPREAD - rest)
    assert first.release.value == pytest.approx(settled, abs=4 * first.release.error)
    assert first.with_learning.value > first.release.value + 3


def test_an_event_found_out_beforehand() -> None:
    """A known cost at chance 0.3: P80 is the cost, and what is held once it is known is 0.3 of it on average."""
    fixed = parse_build("""
[build]
name = "One event"
currency = "EUR"
country = "IE"
[[line]]
id = "mask"
group = "other"
amount = 350
[[event]]
id = "poor_fit"
chance = 0.3
cost = 1000
""")
    found = firm_up(replay_of(simulate(fixed)), fixed)
    assert [item.figure for item in found] == ["poor_fit"]
    assert found[0].release.value == pytest.approx(1000 - 300)
    assert found[0].with_learning.value == pytest.approx(700, abs=5)


def test_order_is_that_of_what_lines_move_the_total_by_and_effort_is_told_beside_it() -> None:
    build = small()
    forecast = simulate(build, "diy")
    found = firm_up(replay_of(forecast), build)
    lines = list(dict.fromkeys(item.figure.partition(".")[0] for item in found))
    bars = [bar.id for bar in drivers(forecast).swings]
    assert [name for name in lines if name in bars] == [name for name in bars if name in lines]
    assert len(set(lines) & set(bars)) > 3
    # What no line of this way has, as a shop's price behind the risk of giving up, stands where its own move puts it.
    assert [item.swing.value for item in found] == sorted((item.swing.value for item in found), reverse=True)
    kit = next(item for item in found if item.figure == "kit.amount")
    assert kit.effort == "low"
    text = firm_up_sentence(kit, euros)
    assert text.startswith("Get \u201cKit\u201d quoted before ordering it: you then need to hold about €")
    by_figure = {item.figure: item for item in found}
    assert by_figure["filler.quantity"].how == "Find out how many kg \u201cFiller\u201d takes"
    assert by_figure["filler.price"].how == "Get the price of \u201cFiller\u201d quoted before ordering it"
    assert by_figure["poor_fit.cost"].how == "Look into what \u201cPoor fit\u201d costs if it happens"
    assert by_figure["paint_self.amount"].effort == "low"  # paint is bought, only a shop must look first
    assert by_figure["paint_self"].how == "Find out whether \u201cPaint self\u201d is needed"
    assert "filler.own_hours" not in by_figure  # it moves no money here
    assert "mask.amount" not in by_figure  # it is known


def test_what_is_paid_in_part_is_not_quoted_before_ordering() -> None:
    build = small()
    known = KnownFacts(part_paid={"kit": PartPaid(1000.0, 0.0), "filler": PartPaid(20.0, 0.0)})
    found = {item.figure: item for item in firm_up(replay_of(simulate(build, "diy", known=known)), build)}
    assert found["kit.amount"].how == "Ask what is still to pay for \u201cKit\u201d"
    assert found["filler.price"].how == "Ask for the price of \u201cFiller\u201d before buying more"
    assert found["spoiler.amount"].how == "Get \u201cSpoiler\u201d quoted before ordering it"


def test_what_is_known_needs_no_quote() -> None:
    build = small()
    known = KnownFacts(amounts={"kit": 2600.0}, gates={"poor_fit": False})
    found = firm_up(replay_of(simulate(build, "diy", known=known)), build)
    names = {item.figure for item in found}
    assert "kit.amount" not in names
    assert "poor_fit" not in names
    agreed = simulate(build, "diy", known=KnownFacts(agreed={"kit": Agreed(2600.0, 0.1)}))
    assert "kit.amount" not in {item.figure for item in firm_up(replay_of(agreed), build)}


def test_work_by_a_shop_needs_a_look_first() -> None:
    build = small()
    found = {item.figure: item for item in firm_up(replay_of(simulate(build, "shop")), build)}
    assert found["paint_shop.amount"].effort == "medium"
    assert found["paint_shop.amount"].how.startswith("Have a shop look at it and quote a fixed price")


def test_where_quotes_are_in_the_question_is_which_one_is_taken() -> None:
    build = small(QUOTED)
    found = {item.figure: item for item in firm_up(replay_of(simulate(build, "shop")), build)}
    paint, kit, filling = (found[name] for name in ("paint_shop.amount", "kit.amount", "filling_shop.amount"))
    assert (paint.how, paint.effort, paint.to_decide) == (
        "Decide which quote you take for \u201cPaint shop\u201d (Cheap or Near)", "low", True,
    )  # fmt: skip
    said = firm_up_sentence(paint, euros)
    assert said.endswith(". What to hold then follows from its price (low effort).")  # it may well be more
    assert kit.how == "Decide whether you take the quote for \u201cKit\u201d (Maker)"
    assert filling.how.startswith("Have a shop look at it and quote a fixed price")
    assert not filling.to_decide
    begun = simulate(build, "shop", known=KnownFacts(part_paid={"paint_shop": PartPaid(500.0, 0.0)}))
    paid = {item.figure: item for item in firm_up(replay_of(begun), build)}["paint_shop.amount"]
    assert paid.how.startswith("Ask what is still to pay")
    assert not paid.to_decide


def test_of_quotes_in_the_place_of_a_figure_one_is_taken_too() -> None:
    text = SMALL.replace(
        "amount = { low = 1500, middle = 2500, high = 5000 }", "amount = { quotes = [1500, 5000] }"
    )
    build = parse_build(text)
    found = {item.figure: item for item in firm_up(replay_of(simulate(build, "shop")), build)}
    assert found["paint_shop.amount"].how == "Decide which quote you take for \u201cPaint shop\u201d"
    assert found["paint_shop.amount"].to_decide


def test_the_order_does_not_rest_on_what_is_learnt_beside() -> None:
    build = small()
    replay = replay_of(simulate(build, "diy"))
    short, long = firm_up(replay, build, learning=False), firm_up(replay, build)
    assert [(item.figure, item.release) for item in short] == [(item.figure, item.release) for item in long]
    assert {item.with_learning for item in short} == {None}


def test_weights_count() -> None:
    """Weights that are all alike change nothing but for how bins are cut; an event that happened makes real ones."""
    build = small()
    forecast = simulate(build, "diy")
    weighted = replace(forecast, trials=replace(forecast.trials, weights=np.full(forecast.trials.count, 2.0)))
    plain = {item.figure: item for item in firm_up(replay_of(forecast), build)}
    for item in firm_up(replay_of(weighted), build):
        assert item.release.value == pytest.approx(plain[item.figure].release.value)
        learnt, plainly = item.with_learning, plain[item.figure].with_learning
        assert learnt is not None
        assert plainly is not None
        assert learnt.value == pytest.approx(plainly.value, abs=60)
    known = KnownFacts(gates={"poor_fit": True})
    forecast = simulate(build, "diy", known=known)
    assert forecast.trials.weights is not None
    assert np.ptp(forecast.trials.weights) > 0.5
    found = firm_up(replay_of(forecast), build)
    kit = next(item for item in found if item.figure == "kit.amount")
    assert kit.release.value > 4 * kit.release.error


def test_what_may_not_come_is_told_either_way() -> None:
    """A sum of 100 and a risk of 1,000 in half of builds: P80 is 1,100; without it 1,000 less, with it the same."""
    build = parse_build(
        '[build]\nname = "x"\ncurrency = "EUR"\ncountry = "IE"\n[[line]]\nid = "kit"\ngroup = "kit"\namount = 100\n'
        '[[event]]\nid = "damage"\nname = "Damage"\nchance = 0.5\ncost = 1000\n'
    )
    [found] = firm_up(replay_of(simulate(build, trials=4096)), build, 0.8)
    assert found.with_it is not None
    assert found.without_it is not None
    assert found.with_it.value == pytest.approx(0, abs=1e-9)
    assert found.without_it.value == pytest.approx(1000, abs=1e-9)
    assert found.release.value == pytest.approx(0.5 * found.without_it.value - 0.5 * found.with_it.value)
    said = firm_up_sentence(found, euros)
    assert said.startswith(
        "See beforehand whether “Damage” can be ruled out. Without it you hold about €1,000 less,"
    )
    assert "with it about €0 more" in said


HAND_OVER = """
[[event]]
id = "hand_over"
name = "Owner runs out of time and hands over to a shop"
chance = 0.15
cost = { low = 2000, middle = 4000, high = 9000 }
[[event]]
id = "hidden_rust"
name = "Hidden rust"
chance = 0.35
cost = { low = 800, middle = 2000, high = 6000 }
[[line]]
id = "other_transport"
name = "Other transport"
group = "other"
chance = 0.8
amount = { low = 100, middle = 800, high = 4000 }
"""


def test_nothing_is_to_be_known_beforehand_that_only_time_tells() -> None:
    """The first card was to see beforehand whether the owner runs out of time, as if anybody could."""
    build = small(HAND_OVER)
    found = firm_up(replay_of(simulate(build, "diy", trials=4096)), build)
    ids = {item.figure.partition(".")[0] for item in found}
    assert {"hidden_rust", "kit"} <= ids
    assert not {"hand_over", "other_transport"} & ids
    came = KnownFacts(gates={"hand_over": True, "hidden_rust": True})
    told = {
        item.figure: item
        for item in firm_up(replay_of(simulate(build, "diy", trials=4096, known=came)), build)
    }
    rust = told["hidden_rust.cost"]
    assert rust.how == "Look into what “Hidden rust” will cost"  # it has happened
    assert rust.title == "Hidden rust, what it will cost"
    assert "hand_over.cost" in told
    renamed = small(HAND_OVER.replace('"hand_over"', '"my_own"'))
    found = firm_up(replay_of(simulate(renamed, "diy", trials=4096)), renamed)
    assert next(item for item in found if item.figure == "my_own").how == (
        "See beforehand whether “Owner runs out of time and hands over to a shop” can be ruled out"
    )


def test_a_quote_that_is_in_can_be_taken_whatever_the_line() -> None:
    build = small(
        HAND_OVER.replace("{ low = 100, middle = 800, high = 4000 }", "{ quotes = [500, 900, 2600] }")
    )
    found = firm_up(replay_of(simulate(build, "diy", trials=4096)), build)
    assert next(item for item in found if item.figure == "other_transport.amount").to_decide


def test_what_becomes_a_known_cost_follows_from_the_figure_alone() -> None:
    """Half-way each figure, however small, took out of the base what a paid line had cost beyond its middle."""
    build = small()
    alone = firm_up(replay_of(simulate(build, "shop", trials=4096)), build)
    paid = KnownFacts(fixed={"kit": 5000.0})  # it says nothing of any other line
    found = firm_up(replay_of(simulate(build, "shop", trials=4096, known=paid)), build)
    before = {item.figure: item.into_base for item in alone}
    for item in found:
        assert item.into_base == pytest.approx(before[item.figure], abs=1)
    assert any(item.into_base > 50 for item in found)
