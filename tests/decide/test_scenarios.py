"""Scenarios side by side: closed forms for normals, paired differences, own hours, and facts of the trade."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from scipy.special import ndtr, ndtri

from forecast.buildfile.reader import parse_build, read_build
from forecast.buildfile.schema import Build
from forecast.decide.own_hours import own_hour_pay, turning_value
from forecast.decide.paired import percentile_change
from forecast.decide.scenarios import compare, compare_forecasts
from forecast.engine.forecast import simulate
from forecast.engine.known import KnownFacts
from forecast.engine.statistics import Estimate
from forecast.errors import SimulationError
from forecast.views.charts import AgainstCheapest, difference_bands, difference_strip
from forecast.views.ways import (
    ON_AVERAGE,
    comparison_sentence,
    further_table,
    pair_sentence,
    pay_sentence,
    steps_of,
    steps_sentence,
    turning_sentence,
    ways_table,
)
from forecast.words.money import about
from tests.decide.sample import SMALL, euros, small
from tests.references.trade_facts import FARMING_OUT_AGAINST_DIY

SCENARIOS = Path(__file__).resolve().parents[2] / "scenarios"


def normal_scenarios(own_hours: str = "10", more: str = "") -> Build:
    """Two ways: 100 ± 20 by oneself, 150 ± 10 by a shop, on top of 300 ± 60 in both; all independent."""
    return parse_build(f"""
[build]
name = "Normals"
currency = "EUR"
country = "IE"
estimating = 0
hours_per_week = 5
{more}
[[line]]
id = "common"
group = "kit"
amount = {{ shape = "normal", mean = 300, sd = 60 }}
[[line]]
id = "own"
group = "finish"
package = "paint"
route = "self"
amount = {{ shape = "normal", mean = 100, sd = 20 }}
own_hours = {own_hours}
[[line]]
id = "bought"
group = "finish"
package = "paint"
route = "shop"
amount = {{ shape = "normal", mean = 150, sd = 10 }}
[scenario.diy]
name = "By yourself"
all = "self"
[scenario.shop]
all = "shop"
""")


def near(estimate: Estimate, expected: float) -> None:
    assert estimate.value == pytest.approx(expected, abs=max(4 * estimate.error, 1e-9))


def test_difference_of_normals() -> None:
    found = compare(normal_scenarios(), trials=65_536)
    pair = found.pair("shop", "diy")
    assert (pair.first, pair.second) == ("diy", "shop")
    sd = math.sqrt(20**2 + 10**2)
    near(pair.mean, 50)
    for estimate, share in zip(pair.difference, (0.1, 0.5, 0.8, 0.9), strict=True):
        near(estimate, 50 + sd * ndtri(share))
    near(pair.first_cheaper, ndtr(50 / sd))
    z80 = ndtri(0.8)
    near(pair.p80, 50 + z80 * (math.hypot(60, 10) - math.hypot(60, 20)))
    assert "By yourself costs €50 less than Shop on average" in pair_sentence(pair, euros)


def test_one_way_is_dearer_than_another_by_one_sum_wherever_that_is_told() -> None:
    """A repair of 1,000 in 30 of 100 builds: 300 on average, nothing in the middle; 400 less for the other one."""
    found = compare(
        parse_build(
            """
[build]
name = "Skewed"
currency = "EUR"
country = "IE"
[[line]]
id = "bought"
group = "finish"
package = "paint"
route = "shop"
amount = 400
[[event]]
id = "repair"
package = "paint"
route = "self"
chance = 0.3
cost = 1000
[scenario.own]
all = "self"
[scenario.shop]
all = "shop"
"""
        ),
        trials=65_536,
    )
    (pair,) = found.pairs
    less = about(100, "EUR")  # 400 − 0.3 × 1,000; of the P50s, and of the P50 of the difference, it is 400
    assert f"Own costs {less} less than Shop on average" in pair_sentence(pair, euros)
    assert [pair.dearer_by(id).value for id in ("shop", "own")] == pytest.approx([100, -100], abs=10)
    shown = difference_bands(
        [
            AgainstCheapest(
                "Shop", found.differences["own", "shop"], pair.dearer_by("shop"), pair.cheaper_in("shop")
            )
        ],
        "Own",
        "EUR",
    )
    assert f"Shop {less} more on average; cheaper in 30 of 100 builds" in shown.to_dict()["description"]
    strip = difference_strip(found.differences["own", "shop"], pair.mean, "Own", "Shop", "EUR")
    assert f"On average it costs {less} more" in strip.to_dict()["description"]
    headings, rows, _ = further_table(found)
    averages = [row[headings.index("On average")] for row in rows]
    assert averages == [about(300, "EUR"), about(400, "EUR")]
    assert ON_AVERAGE in ways_table(found, None)[2]


def test_regret_and_chance_of_being_cheapest() -> None:
    found = compare(normal_scenarios(), trials=65_536)
    diy, shop = found.scenarios
    assert diy.chance_cheapest.value + shop.chance_cheapest.value == pytest.approx(1)
    sd = math.sqrt(500)
    ratio = 50 / sd
    density = math.exp(-(ratio**2) / 2) / math.sqrt(2 * math.pi)
    missed = sd * density - 50 * ndtr(-ratio)  # E[(own - bought)+] of a normal difference
    near(diy.regret, missed)
    near(shop.regret, 50 + missed)
    assert found.cheapest.id == "diy"
    assert "By yourself is cheapest: €400 in the middle" in comparison_sentence(found, euros)


def test_common_draws_cancel() -> None:
    found = compare(normal_scenarios())
    difference = found.differences["diy", "shop"]
    build = normal_scenarios()
    first, second = simulate(build, "diy"), simulate(build, "shop")
    np.testing.assert_allclose(difference, second.trials.row("bought") - first.trials.row("own"), atol=1e-9)
    with pytest.raises(ValueError, match="read-only"):
        difference[0] = 1.0


def test_own_hours_weeks_and_what_an_hour_earns() -> None:
    found = compare(normal_scenarios())
    diy, shop = found.scenarios
    assert diy.weeks is not None
    assert shop.weeks is not None
    assert [item.value for item in diy.weeks] == pytest.approx([2, 2, 2, 2])
    assert [item.value for item in shop.weeks] == pytest.approx([0, 0, 0, 0])
    pay = found.pair("diy", "shop").pay
    assert pay is not None
    assert pay.worker == "By yourself"
    assert pay.extra_hours == pytest.approx(10)
    near(pay.mean, 5)
    assert pay.p10 is not None
    assert pay.p90 is not None
    near(pay.p10, (50 - ndtri(0.9) * math.sqrt(500)) / 10)
    near(pay.p90, (50 + ndtri(0.9) * math.sqrt(500)) / 10)
    assert "pays €5 per own hour" in pay_sentence(pay, euros)
    expected = (50 + ndtri(0.8) * (math.hypot(60, 10) - math.hypot(60, 20))) / 10
    assert pay.turns_at == pytest.approx(expected, abs=4 * found.pair("diy", "shop").p80.error / 10)
    assert f"turns at €{pay.turns_at:,.0f} per own hour" in turning_sentence(pay, euros)
    assert found.most_telling_pay == pay
    assert comparison_sentence(found, euros).startswith(
        f"By yourself is cheapest: {euros(diy.p50.value)} in the middle (P50), and the cheapest of all in "
    )


def test_the_decision_need_not_turn() -> None:
    own, shop, hours = np.array([100.0, 110, 400]), np.array([200.0, 220, 240]), np.array([5.0, 6, 7])
    pay = own_hour_pay(("own", "shop"), (own, shop), (hours, 0 * hours), 1)
    assert pay is not None
    assert turning_sentence(pay, euros) == "At P80 own is dearer even where own hours count nothing."
    pay = own_hour_pay(("own", "shop"), (own, shop + 300), (hours, hours - np.array([5, 0, 0])), 1)
    assert pay is not None
    assert turning_sentence(pay, euros) == "At P80 own is cheaper whatever an own hour is worth to you."


def test_the_cheapest_in_the_middle_need_not_be_the_cheapest_on_average() -> None:
    build = parse_build("""
[build]
name = "Two"
currency = "EUR"
country = "IE"
[[line]]
id = "calm"
group = "labour"
package = "work"
route = "shop"
amount = 120
[[line]]
id = "risky"
group = "labour"
package = "work"
route = "self"
amount = 100
[[event]]
id = "rework"
package = "work"
route = "self"
chance = 0.25
cost = 200
[scenario.own]
all = "self"
[scenario.shop]
all = "shop"
""")
    found = compare(build)
    assert (found.cheapest_in_the_middle.id, found.cheapest.id) == ("own", "shop")
    assert comparison_sentence(found, euros) == (
        "Own is cheapest: €100 in the middle (P50), and the cheapest of all in 75 of 100 builds. On average Shop is "
        "cheaper by €30: its dear builds are less dear."
    )


def test_value_of_own_time_is_kept_out_of_what_an_hour_earns() -> None:
    without = compare(normal_scenarios()).pairs[0].pay
    valued = compare(normal_scenarios(more="own_hour_value = 4")).pairs[0]
    assert without is not None
    assert valued.pay is not None
    assert valued.pay.mean.value == pytest.approx(without.mean.value)
    assert valued.pay.turns_at == pytest.approx(without.turns_at)
    near(valued.mean, 10)  # 50 less ten hours at 4


def test_the_decision_turns_at_the_value_given() -> None:
    rng = np.random.default_rng(5)
    own, bought = rng.gamma(9, 30, 20_001), rng.gamma(16, 40, 20_001)
    hours = rng.gamma(4, 5, own.size)
    value = turning_value((own, bought), (hours, np.zeros_like(hours)))
    assert value is not None

    def p80(totals: np.ndarray) -> float:
        return float(np.sort(totals)[math.ceil(0.8 * totals.size) - 1])

    assert p80(own + value * hours) <= p80(bought)
    assert p80(own + value * (1 + 1e-6) * hours) > p80(bought)


def test_a_decision_that_does_not_turn() -> None:
    one, two = np.full(10, 100.0), np.full(10, 200.0)
    hours, none = np.full(10, 3.0), np.zeros(10)
    assert turning_value((two, one), (hours, none)) is None  # dearer already
    assert turning_value((one, two), (none, none)) is None  # cheaper at any value
    assert own_hour_pay(("a", "b"), (one, two), (none, none), 2) is None
    dear = own_hour_pay(("a", "b"), (two, one), (hours, none), 2)
    assert dear is not None
    assert "your time earns nothing by it" in pay_sentence(dear, euros)


def test_no_percentiles_of_a_ratio_that_means_nothing() -> None:
    rng = np.random.default_rng(6)
    hours = rng.normal(2, 4, 4096)
    pay = own_hour_pay(("a", "b"), (np.zeros(4096), np.full(4096, 10.0)), (hours, np.zeros(4096)), 16)
    assert pay is not None
    assert pay.p10 is None
    assert "80 of 100" not in pay_sentence(pay, euros)


def test_dominance_of_a_scenario_that_is_cheaper_throughout() -> None:
    found = compare(small(), ["diy", "shop"])
    assert found.pairs[0].dominance.order == 1
    assert found.pairs[0].dominance.better == "Diy"


def test_farming_out_costs_a_multiple_of_doing_it_oneself() -> None:
    """Common practice, no source: 2.5 to 3 times; the demo's P10 to P90 must reach into that."""
    build = read_build(SCENARIOS / "before-ordering-ireland")
    names = list(build.scenario)
    costs = {name: simulate(build, name, 4096).trials.totals for name in names}
    diy = min(costs.values(), key=np.mean)
    shop = max(costs.values(), key=np.mean)
    low, high = np.quantile(shop / diy, (0.1, 0.9))
    assert low <= FARMING_OUT_AGAINST_DIY[1]
    assert high >= FARMING_OUT_AGAINST_DIY[0]


def test_one_scenario_is_not_a_comparison() -> None:
    with pytest.raises(SimulationError, match="two or more different ones"):
        compare(small(), ["diy", "diy"])
    with pytest.raises(SimulationError, match="no scenario 'shopp'"):
        compare(small(), ["diy", "shopp"])


def test_other_draws_cannot_be_compared() -> None:
    build = small()
    with pytest.raises(SimulationError, match="same seed"):
        compare_forecasts({"diy": simulate(build, "diy", seed=1), "shop": simulate(build, "shop", seed=2)})
    known = KnownFacts(gates={"poor_fit": True})
    weighted = {"diy": simulate(build, "diy", known=known), "shop": simulate(build, "shop")}
    with pytest.raises(SimulationError, match="same facts"):
        compare_forecasts(weighted)


def test_weighted_percentile_change() -> None:
    before = np.array([1.0, 2, 3, 4, 1, 2, 3, 4])
    weights = np.array([1.0, 1, 1, 5, 1, 1, 1, 5])
    assert percentile_change(before, before + 2, 0.5, 2, weights).value == 2
    assert percentile_change(before, before + 2, 0.5, 2, weights).error == 0


def test_paired_errors_are_a_quarter_of_unpaired_ones() -> None:
    """The same build with one figure edited: means, P80 and P90."""
    build = small()
    edited = parse_build(SMALL.replace("middle = 2800, high = 4200", "middle = 2900, high = 4350"))
    ratios: dict[str, list[float]] = {"mean": [], "p80": [], "p90": []}
    for seed in range(
        1, 10
    ):  # an error from sixteen replicates is itself uncertain: the median of nine runs counts
        forecasts = {"before": simulate(build, "diy", seed=seed), "after": simulate(edited, "diy", seed=seed)}
        found = compare_forecasts(forecasts)
        for name, seen in ratios.items():
            paired = getattr(found.pairs[0], name)
            one, other = (getattr(item, name) for item in found.scenarios)
            assert paired.value > 0
            seen.append(paired.error / math.hypot(one.error, other.error))
    for seen in ratios.values():
        assert sorted(seen)[4] <= 0.25


@pytest.mark.parametrize(
    ("hand_over", "said"),
    [
        (0.0, "Working takes 35 own hours more than Buying on average and saves nothing"),
        (0.4, "Working takes 130 own hours more than Buying on average and saves nothing"),
        (0.6, "Working takes 100 own hours more than Buying on average and saves nothing"),
    ],
)
def test_own_hours_more_are_the_average_as_the_money_is(hand_over: float, said: str) -> None:
    """Some builds are long, and 40 of 100 take 250 hours more: 30 + 0.4 × 250, and 0.4 × 250 with nothing else.

    The first case has 1 of 100: 32.5, told in steps of five.
    """
    build = parse_build(f"""
[build]
name = "Hours"
currency = "EUR"
country = "IE"
[[line]]
id = "dear"
name = "Dear"
group = "other"
package = "work"
route = "self"
amount = 500
own_hours = {"605" if hand_over > 0.5 else "635"}
[[line]]
id = "cheap"
name = "Cheap"
group = "other"
package = "work"
route = "shop"
amount = 100
own_hours = 605
[[event]]
id = "worse"
package = "work"
route = "self"
chance = {min(hand_over, 0.4) or 0.01}
cost = 1
own_hours = 250
[scenario.working]
all = "self"
[scenario.buying]
all = "shop"
""")
    found = compare(build, trials=1024)
    pay = found.pairs[0].pay
    assert pay is not None
    assert pay_sentence(pay, euros).startswith(said)
    assert [round(item.hours[1].value) for item in found.scenarios] == [605 if hand_over > 0.5 else 635, 605]


STEPS = """
[build]
name = "Steps"
currency = "EUR"
country = "IE"
[[line]]
id = "paint_shop"
group = "finish"
package = "paint"
route = "shop"
amount = {paint}
[[line]]
id = "paint_self"
group = "labour"
package = "paint"
route = "self"
own_hours = 20
[[line]]
id = "arches_shop"
group = "labour"
package = "arches"
route = "shop"
amount = 1500
[[line]]
id = "arches_self"
group = "labour"
package = "arches"
route = "self"
own_hours = 60
[scenario.own]
all = "self"
[scenario.away]
all = "shop"
[scenario.between]
all = "self"
paint = "shop"
"""


def test_what_hours_pay_over_two_steps_is_told_as_what_follows_from_both() -> None:
    """1,000 for 20 hours and 1,500 for 60: 50 and 25 an hour, and 2,500 / 80 = 31.25 for both."""
    found = compare(parse_build(STEPS.format(paint=1000)), trials=256)
    whole, first, second = (
        found.pair(*ends) for ends in (("own", "away"), ("own", "between"), ("between", "away"))
    )
    assert steps_of(found, first) is None
    assert steps_of(found, second) is None
    steps = steps_of(found, whole)
    assert steps == (first.pay, second.pay)
    assert whole.pay is not None
    assert steps is not None
    assert sum(one.extra_hours for one in steps) == pytest.approx(whole.pay.extra_hours)
    assert [one.mean.value for one in (*steps, whole.pay)] == pytest.approx([50, 25, 31.25])
    assert steps_sentence(whole.pay, steps, euros) == (
        "That is both steps together, by way of Between: €31 per own hour. It comes from €50 for 20 of these hours and "
        "€25 for 60."
    )
    dear = compare(parse_build(STEPS.format(paint=-10)), trials=256)  # the first step saves nothing
    assert steps_of(dear, dear.pair("own", "away")) is None
