"""Swings and variance shares against closed forms of normals."""

from __future__ import annotations

import math

import pytest
from scipy.special import ndtri

from forecast.buildfile.reader import parse_build
from forecast.decide.drivers import drivers
from forecast.engine.forecast import simulate
from forecast.engine.known import KnownFacts, PartPaid
from forecast.engine.sensitivity import swing
from forecast.views.cost_words import drivers_sentence, shared_sentence, swing_sentence
from tests.decide.sample import euros, small
from tests.references.portfolios import normals
from tests.references.trade_facts import (
    CORRELATED_VARIANCE_SHARES,
    FOUR_SPREADS,
    INDEPENDENT_VARIANCE_SHARES,
    NORMALS,
)


@pytest.mark.parametrize(
    ("figures", "correlation", "expected"),
    [
        (FOUR_SPREADS[0], 0.0, FOUR_SPREADS[1]),
        (NORMALS, 0.0, INDEPENDENT_VARIANCE_SHARES),
        (NORMALS, 0.3, CORRELATED_VARIANCE_SHARES),
    ],
)
def test_variance_shares_of_normals(
    figures: list[tuple[float, float]], correlation: float, expected: tuple[float, ...]
) -> None:
    found = drivers(simulate(normals(figures, correlation), trials=65_536, seed=11))
    by_id = {item.id: item.share for item in found.lines}
    for place, share in enumerate(expected):
        estimate = by_id[f"n{place}"]
        assert estimate.value == pytest.approx(share, abs=4 * estimate.error)
    if correlation:
        cause = next(item.share for item in found.causes if item.id == "own_estimating")
        expected_cause = 0.3 * 120**2 / (20**2 + 40**2 + 60**2 + 0.6 * (800 + 1200 + 2400))
        assert cause.value == pytest.approx(expected_cause, abs=4 * cause.error)


UPPER = math.exp(-(ndtri(0.9) ** 2) / 2) / math.sqrt(2 * math.pi) / 0.1
"""Mean of a standard normal in its upper tenth, 1.754983 (truncated normal, closed form)."""


def test_swing_of_a_normal_is_twice_the_mean_of_its_upper_tenth() -> None:
    found = drivers(simulate(normals(NORMALS), trials=65_536, seed=12))
    assert [bar.id for bar in found.swings] == ["n2", "n1", "n0"]
    for bar, sd in zip(found.swings, (60, 40, 20), strict=True):
        assert bar.own.value == pytest.approx(2 * UPPER * sd, abs=4 * bar.own.error)
        assert bar.together.value == pytest.approx(2 * UPPER * sd, abs=4 * bar.together.error)
        assert not bar.comes_with_others


CORRELATED = """
[build]
name = "Two"
currency = "EUR"
country = "IE"
estimating = 0
[[cause]]
id = "both"
[[line]]
id = "small"
name = "Discs"
group = "consumables"
amount = {{ shape = "normal", mean = 100, sd = 1, causes = {{ both = {loading} }} }}
[[line]]
id = "large"
name = "Kit"
group = "kit"
amount = {{ shape = "normal", mean = 1000, sd = 100, causes = {{ both = {loading} }} }}
"""


def test_what_a_shared_cause_does_is_not_a_lines_own() -> None:
    """Sds 1 and 100, correlation 0.9: seen with the small one 2 x 1.755 x (1 + 0.9 x 100) = 319.4, its own is 3.51."""
    build = parse_build(CORRELATED.format(loading=math.sqrt(0.9)))
    found = drivers(simulate(build, trials=65_536, seed=13))
    large, small = found.swings
    assert (large.id, small.id) == ("large", "small")
    assert small.own.value == pytest.approx(3.51, abs=0.02)
    assert small.together.value == pytest.approx(319.4, abs=4 * small.together.error)
    assert small.shared == pytest.approx(319.4 - 3.51, abs=4 * small.together.error)
    assert large.own.value == pytest.approx(351.0, abs=2)
    assert large.together.value == pytest.approx(2 * UPPER * (100 + 0.9), abs=4 * large.together.error)
    said = drivers_sentence(found, euros)
    assert said.startswith(
        f"What moves the total most is \u201cKit\u201d: the build costs {euros(large.low)} on average with"
    )
    assert f"{euros(large.high)} in its dearest, all else as it is" in said
    assert "move" not in shared_sentence(small, euros)
    assert f"the rest costs {euros(small.shared)} more" in shared_sentence(small, euros)
    assert "shared causes" in said
    (cause,) = [bar for bar in found.cause_swings if bar.id == "both"]
    assert cause.own.value == pytest.approx(2 * UPPER * math.sqrt(0.9) * 101, abs=4 * cause.own.error)
    groups = {bar.id: bar.own.value for bar in found.group_swings}
    assert groups == {"kit": pytest.approx(large.own.value), "consumables": pytest.approx(small.own.value)}


FOLLOWING = """
[build]
name = "Import"
currency = "EUR"
country = "IE"
estimating = 0
[[line]]
id = "kit"
group = "kit"
amount = { shape = "normal", mean = 1000, sd = 100 }
[[line]]
id = "duty"
group = "import"
percent = 10
of = ["kit"]
[[line]]
id = "tax"
group = "import"
percent = { shape = "normal", mean = 20, sd = 1 }
of = ["kit", "duty"]
[[event]]
id = "damage"
chance = 0.3
cost = 500
"""


def test_what_follows_by_formula_is_a_lines_own() -> None:
    """Kit, 10 % duty on it, tax of about 20 % on both: the kit counts 1.1 x 1.2 times, the tax by its rate alone."""
    found = drivers(simulate(parse_build(FOLLOWING), trials=65_536, seed=14))
    bars = {bar.id: bar for bar in found.swings}
    assert set(bars) == {"kit", "tax", "damage"}  # duty has nothing of its own
    assert bars["kit"].own.value == pytest.approx(2 * UPPER * 100 * 1.1 * 1.2, abs=4 * bars["kit"].own.error)
    assert bars["tax"].own.value == pytest.approx(2 * UPPER * 0.01 * 1100, abs=4 * bars["tax"].own.error)
    assert bars["tax"].shared > 300  # the kit makes the tax dear
    assert bars["damage"].own.value == pytest.approx(500)
    assert bars["damage"].high == pytest.approx(1000 * 1.1 * 1.2 + 500, abs=4)
    groups = {bar.id: bar.own.value for bar in found.group_swings}
    assert groups["import"] == pytest.approx(bars["tax"].own.value)


@pytest.mark.parametrize("amount", [300.0, 700.0])
def test_a_line_that_is_paid_has_no_swing_and_open_ones_keep_theirs(amount: float) -> None:
    facts = KnownFacts(amounts={"n0": amount}, part_paid={"n1": PartPaid(260.0, 0.5)})
    forecast = simulate(normals(NORMALS), trials=16_384, seed=15, known=facts, keep="rows")
    found = drivers(forecast)
    assert {bar.id for bar in found.swings} == {"n1", "n2"}
    third = next(bar for bar in found.swings if bar.id == "n2")
    assert third.own.value == pytest.approx(2 * UPPER * 60, abs=4 * third.own.error)


def test_trials_of_unlike_weight_make_tenths_of_weight() -> None:
    """An event that shares a cause is known, so trials have weights; of a line on its own both differences agree."""
    event = '[[event]]\nid = "bad"\nchance = 0.2\ncost = 50\ncauses = { both = "strong" }\n'
    facts = KnownFacts(gates={"bad": True})
    build = parse_build(CORRELATED.format(loading=math.sqrt(0.9)) + event)
    forecast = simulate(build, trials=16_384, seed=16, known=facts, keep="rows")
    weights = forecast.trials.weights
    assert weights is not None
    assert weights.std() > 0.1 * weights.mean()
    for bar in drivers(forecast).swings:
        values = forecast.trials.row(bar.id)
        expected = swing(values, values, weights).width
        assert bar.own.value == pytest.approx(expected, rel=2e-3)
        assert swing(values, values).width != pytest.approx(expected, rel=1e-2)


def test_shares_of_each_kind_add_up_to_one() -> None:
    found = drivers(simulate(small(), "diy"), names={"kit_fit": "How well the kit fits"})
    for shares in (found.lines, found.groups, found.causes):
        assert math.fsum(item.share.value for item in shares) == pytest.approx(1, abs=1e-9)
    assert "How well the kit fits" in {item.title for item in found.causes}


def test_figures_are_those_of_the_forecast() -> None:
    forecast = simulate(small(), "diy")
    found = drivers(forecast)
    for bar in found.swings:
        seen = swing(forecast.trials.row(bar.id), forecast.trials.totals)
        assert bar.together.value == pytest.approx(seen.width)
        assert bar.own.value + bar.shared == pytest.approx(bar.together.value)
    shares = {line.id: line.variance_share for line in forecast.lines}
    for item in found.lines:
        assert item.share.value == pytest.approx(shares[item.id], abs=1e-9)


def test_a_computed_line_is_not_named_as_what_moves_the_total() -> None:
    found = drivers(simulate(small(), "diy"))
    assert not {"duty", "card_fee"} & {bar.id for bar in found.swings}
    first = found.swings[0]
    assert drivers_sentence(found, euros).startswith(
        f"What moves the total most is \u201c{first.title}\u201d"
    )
    assert f"{euros(first.low)} on average without it" in swing_sentence(first, euros)


def test_nothing_uncertain() -> None:
    forecast = simulate(normals([(100.0, 1.0)]), trials=1024)
    fixed = drivers(simulate(small_fixed(), trials=1024))
    assert drivers(forecast).swings
    assert fixed.swings == ()
    assert drivers_sentence(fixed, euros) == "Nothing in this build is uncertain."
    assert all(item.share.value == 0 for item in fixed.lines)


def small_fixed():  # type: ignore[no-untyped-def]
    return parse_build(
        '[build]\nname = "Fixed"\ncurrency = "EUR"\ncountry = "IE"\n[[line]]\nid = "a"\ngroup = "kit"\namount = 5\n'
    )


def test_what_may_not_come_is_told_with_it_and_without_it() -> None:
    """An event of 15 in 100 at 5,000: without it the build costs 1,000, in its dearest tenth 6,000."""
    build = parse_build(
        '[build]\nname = "Event"\ncurrency = "EUR"\ncountry = "IE"\n'
        '[[line]]\nid = "kit"\ngroup = "kit"\namount = 1000\n'
        '[[event]]\nid = "late"\nname = "Out of time"\nchance = 0.15\ncost = 5000\n'
    )
    said = drivers_sentence(drivers(simulate(build, trials=16_384, seed=13)), euros)
    assert said == (
        "What moves the total most is “Out of time”, which comes in 15 of 100 builds. The build costs "
        f"{euros(1000)} on average without it, {euros(6000)} in the tenth of builds in which it is dearest, all else "
        "as it is."
    )
