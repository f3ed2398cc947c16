"""How wide the guided start's ranges are: as wide as what they come from, and no wider."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from forecast.buildfile.library import load_library, load_rates
from forecast.buildfile.reader import parse_build
from forecast.buildfile.rulefiles import countries
from forecast.buildfile.schema import Build
from forecast.start import DONT_KNOW, read_answers, write_build
from forecast.start.kit import times, together
from tests.benchmarks.starters import KNOWN, TEN, budget
from tests.start.test_guided import EVERYWHERE, plain_kit, trials_of

WIDEST = 0.5
"""Of the log of the total; by a shop's hours a little more. Published totals of building projects spread by 0.3 to 0.4;
one who guesses everything knows less."""


def guided(**changes: Any) -> Build:
    return parse_build(write_build(read_answers(KNOWN | {"country": "NL", "origin": "JP"} | changes)))


def ranges(build: Build) -> dict[str, tuple[float, float, float]]:
    found = {}
    for item in (*build.line, *build.event):
        for key in ("own_hours", "amount", "cost"):
            figure = getattr(item, key, None)
            if figure is not None and hasattr(figure, "low"):
                found[f"{item.id}.{key}"] = (figure.low, figure.middle, figure.high)
    return found


def test_two_arches_are_less_than_four_and_more_than_none() -> None:
    """Half the area, joints and filler of four; of the cutting a little more than half, as setting up is done once."""
    filler, hours = [], []
    for arches in ([], ["arches_two"], ["arches"], ["arches", "arches_two"]):
        build = guided(panels=["front", *arches], arches_cut=True)
        filler.append(next(line for line in build.line if line.id == "filler").takeoff.length.middle)  # type: ignore[union-attr]
        hours.append(ranges(build)["inner_arches_self.own_hours"][1])
    assert filler[0] < filler[1] < filler[2] == filler[3]
    assert filler[1] - filler[0] == pytest.approx((filler[2] - filler[0]) / 2)
    assert 0.5 * hours[2] < hours[1] < 0.6 * hours[2]
    assert hours[2] == hours[3]
    assert "wheel_fixings" in {line.id for line in guided(panels=["arches_two"], wheels_new=False).line}


def test_a_product_is_as_wide_as_trials_of_it() -> None:
    one, other = (15.0, 45.0, 110.0), (0.7, 1.0, 1.8)
    low, middle, high = times((20, 40, 80), (0.5, 1, 2))
    draws = np.random.default_rng(7).standard_normal((2, 400_000)) / 1.2815515655446004
    product = 40 * np.exp(np.log(2) * (draws[0] + draws[1]))
    assert np.quantile(product, (0.1, 0.5, 0.9)) == pytest.approx((low, middle, high), rel=0.01)
    found = times(one, other)
    assert one[0] * other[0] < found[0] < one[0] * other[1]
    assert one[2] * other[1] < found[2] < one[2] * other[2]
    assert times(one, (3, 3, 3)) == pytest.approx(tuple(3 * value for value in one))


def test_a_sum_is_narrower_than_the_sums_of_its_ends() -> None:
    parts = [(500.0, 1200.0, 3000.0), (350.0, 700.0, 1500.0), (60.0, 220.0, 500.0)]
    low, middle, high = together(parts)
    assert middle == 2120
    assert sum(part[0] for part in parts) < low < middle < high < sum(part[2] for part in parts)
    assert together(parts[:1]) == pytest.approx(parts[0])


def test_a_first_build_takes_1_6_times_the_hours_at_all_three_points() -> None:
    """1.6 is one factor (common practice): it moves the range and makes it no wider."""
    later, first = (ranges(guided(first_build=said)) for said in (False, True))
    for phase in load_library().phases:
        name = f"{phase.id}_self.own_hours"
        if name in later:
            assert [a / b for a, b in zip(first[name], later[name], strict=True)] == pytest.approx(
                [1.6] * 3, rel=0.05
            )


def test_what_follows_from_the_kit_follows_its_size() -> None:
    small, whole = (ranges(guided(panels=panels)) for panels in (["bonnet"], KNOWN["panels"]))
    for name in (
        "poor_fit.cost",
        "transit_damage.cost",
        "hand_over.cost",
        "poor_fit.own_hours",
        "filling_self.own_hours",
    ):
        assert small[name][1] == pytest.approx(whole[name][1] * (0.35 + 0.65 * 0.2), rel=0.06)
    assert small["inspection.amount"] == whole["inspection.amount"]


def test_a_kit_without_arches_leaves_them_whole_unless_they_are_said_to_be_cut() -> None:
    def packages(**changes: Any) -> set[str | None]:
        return {line.package for line in guided(**changes).line}

    assert "arches" not in packages(panels=["front", "rear"], arches_cut=DONT_KNOW)
    assert "arches" in packages(panels=["front", "rear"], arches_cut=True)
    assert "arches" in packages(arches_cut=DONT_KNOW)


def test_a_shop_that_takes_over_is_paid_what_shops_ask_there() -> None:
    """An hour costs 45 in Poland where it costs 100 in the west (common practice, no source)."""
    west, east = (ranges(guided(country=code, currency="EUR")) for code in ("NL", "PL"))
    assert east["hand_over.cost"][1] == pytest.approx(0.45 * west["hand_over.cost"][1], rel=0.05)
    assert east["poor_fit.cost"] == west["poor_fit.cost"]


@pytest.mark.parametrize("name", TEN)
def test_first_budgets_are_no_wider_than_published_totals_allow(name: str) -> None:
    found = budget(name, 4096)
    assert 0.3 < found.spread < (WIDEST if "shop" not in name else 0.55)
    assert found.base < found.p50 < found.p80


def no_price_seen() -> list[str]:
    return [code for code, item in countries().items() if item.shops.startswith("not_seen")]


def test_where_no_shops_price_was_seen_its_hours_are_wide_and_the_build_says_so() -> None:
    """At least as wide as any range that somebody's price stands behind, and within the dearest of those."""
    seen = [rate.range for rate in load_rates() if rate.seen and rate.id != "germany_insurance_repair"]
    widest = max(high / low for low, _, high in seen)
    assert sorted(no_price_seen()) == ["AE", "KR", "MX", "MY", "PH", "SG", "TH", "TR", "ZA"]
    for rate in (rate for rate in load_rates() if not rate.seen):
        low, middle, high = rate.range
        assert high / low > 1.5 * widest
        assert low < middle < high <= max(top for _, _, top in seen)
        assert "no source" in rate.source


@pytest.mark.parametrize("country", [*no_price_seen(), "NL", "PL", "AU"])
def test_a_build_asks_for_two_shops_prices_where_none_was_seen(country: str) -> None:
    text = write_build(read_answers(KNOWN | {"country": country, "origin": "JP"}))
    unseen = country in no_price_seen()
    assert ("No price of a shop in" in text) is unseen
    notes = {line.id: line.note or "" for line in parse_build(text).line}
    asked = {id for id, note in notes.items() if "ask two shops" in note}
    assert asked == ({id for id in notes if id.endswith("_shop")} if unseen else set())


@pytest.mark.parametrize("country", EVERYWHERE)
def test_prices_are_far_apart_when_no_price_is_known(country: str) -> None:
    answers = plain_kit(country) | {"kit_price": DONT_KNOW}
    goods = trials_of(parse_build(write_build(read_answers(answers))), "diy").row("kit.goods")
    low, high = np.quantile(goods, (0.1, 0.9))
    assert 5 <= high / low <= 6.5
