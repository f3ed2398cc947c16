"""The guided start: its questions, how answers are read, and the build file that they make."""

from __future__ import annotations

import re
import tomllib
from contextlib import suppress
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from forecast.buildfile.cautions import hazards_asked
from forecast.buildfile.incoterms import incoterms, who_pays
from forecast.buildfile.library import load_library
from forecast.buildfile.places import load_places
from forecast.buildfile.places_of_figures import places
from forecast.buildfile.reader import parse_build, read_build
from forecast.buildfile.schema import Build
from forecast.buildfile.takeoff_base import AreaTakeoff
from forecast.buildfile.toml_schema import FILE_NAME, LINE
from forecast.engine.plan import compile_plan
from forecast.engine.trials import Trials, run
from forecast.errors import BuildFileError
from forecast.figures.kinds import Known
from forecast.figures.shapes import Array
from forecast.missing.left_out import findings
from forecast.start import (
    DONT_KNOW,
    WrongAnswer,
    as_asked,
    choice_words,
    create_build,
    default_of,
    is_asked,
    place_words,
    question,
    questions,
    read_answer,
    read_answers,
    understood,
    write_build,
)
from forecast.start.questions import WEEK_HOURS
from forecast.trade.rules import countries
from forecast.words.currencies import reference, reference_rates
from tests.references.trade_facts import FARMING_OUT_AGAINST_DIY

NOTHING_KNOWN = {item.id: DONT_KNOW for item in questions()}

TYPICAL: dict[str, Any] = {
    "panels": ["front", "rear", "skirts", "arches", "spoiler"], "shipping": "sea", "incoterm": "FOB",
    "arches_cut": True, "wheels_new": False, "filling": "self", "paint": "shop", "at_hand": ["stands", "space"],
    "car_state": "worn", "first_build": True,
}  # fmt: skip
"""A usual kit by sea, in the builder's own garage, on the wheels that the car has."""

ORIGINS = {"IE": "JP", "GB": "US", "NZ": "JP", "US": "JP", "DE": "GB"}
EVERYWHERE = ORIGINS | {"AU": "JP", "CA": "US", "CH": "JP", "JP": "US"}
OFFERED = (1150, 2150)
"""What a plain kit is offered at, in euro: made up."""

N = 4096


def plain_kit(country: str) -> dict[str, Any]:
    """Give typical answers of a builder who has found a plain kit abroad."""
    answers = TYPICAL | {"country": country, "origin": EVERYWHERE[country]}
    code = read_answers(answers).kit_currency
    low, high = (round(price * reference_rates()[code].rate, -1) for price in OFFERED)
    return answers | {"kit_price": {"low": low, "high": high}}


def build_of(**changes: Any) -> Build:
    return parse_build(write_build(read_answers(TYPICAL | {"country": "IE", "origin": "JP"} | changes)))


def trials_of(build: Build, scenario: str) -> Trials:
    return run(compile_plan(build, scenario), N)


def inside(values: Array, fact: float) -> bool:
    low, high = np.quantile(values, (0.1, 0.9))
    return bool(low <= fact <= high)


def complaints(**answers: Any) -> str:
    with pytest.raises(BuildFileError) as caught:
        read_answers({"country": "IE"} | answers)
    return str(caught.value)


# ------------------------------------------------------------------------------------------------- facts of the trade
# Check values alone, each beside its test: common practice, no source.

PORT_BILL = ("terminal", "documents", "surcharges", "entry", "disbursement", "storage", "delivery")


@pytest.fixture(scope="module", params=EVERYWHERE)
def ways(request: pytest.FixtureRequest) -> tuple[Trials, Trials]:
    """Trials of doing it all and of farming it all out, on the same draws, on the wheels that the car has."""
    return both_ways(plain_kit(request.param))


def both_ways(answers: dict[str, Any]) -> tuple[Trials, Trials]:
    build = parse_build(write_build(read_answers(answers)))
    return trials_of(build, "diy"), trials_of(build, "outsourced")


def consignment_rows(trials: Trials) -> dict[str, Array]:
    return {
        row.id.removeprefix("kit."): trials.row(row.id)
        for row in trials.plan.rows
        if row.id.startswith("kit.") and row.kind == "line"
    }


def test_a_plain_kit_lands_at_what_is_usual(ways: tuple[Trials, Trials]) -> None:
    rows = consignment_rows(ways[0])
    assert inside(sum(rows.values()) / rows["goods"], 1.8)


def test_the_port_bill_is_above_the_freight_as_is_usual(ways: tuple[Trials, Trials]) -> None:
    rows = consignment_rows(ways[0])
    assert inside(sum(rows[name] for name in PORT_BILL) / rows["freight"], 2)


def test_farming_it_all_out_costs_the_usual_multiple(ways: tuple[Trials, Trials]) -> None:
    diy, outsourced = ways
    assert all(inside(outsourced.totals / diy.totals, multiple) for multiple in FARMING_OUT_AGAINST_DIY)


@pytest.mark.parametrize("country", EVERYWHERE)
def test_farming_it_all_out_costs_as_much_more_with_new_wheels(country: str) -> None:
    """Wheels and tyres cost the same either way and draw the ratio to one; it stays inside."""
    diy, outsourced = both_ways(plain_kit(country) | {"wheels_new": True})
    assert all(inside(outsourced.totals / diy.totals, multiple) for multiple in FARMING_OUT_AGAINST_DIY)


def test_a_builder_is_asked_nothing_about_what_the_library_s_own_lines_can_hurt() -> None:
    assert hazards_asked(build_of()) == ()


def test_every_range_but_the_one_that_was_answered_is_a_starter() -> None:
    def own(build: Build) -> set[str]:
        ranges = (place for place in places(build) if not isinstance(place.figure, Known))
        return {place.path for place in ranges if not place.figure.starter}

    nothing = own(build_of(kit_price=DONT_KNOW))
    assert nothing == set()
    assert own(build_of(kit_price={"low": 1150, "middle": 1500, "high": 2150})) == {"kit.price"}


def test_no_text_tells_a_multiple_that_nobody_published() -> None:
    shipped = Path(__file__).parents[2] / "forecast"
    told = {
        str(path.relative_to(shipped)): found
        for path in (*shipped.rglob("*.py"), *shipped.rglob("*.toml"))
        if (
            found := re.findall(
                r"(?i)\w+-fold apart|twice (?:its|the) freight|entry[- ]level", path.read_text("utf-8")
            )
        )
    }
    assert told == {}


def test_new_wheels_bring_the_two_ways_closer() -> None:
    """What is bought in any case dilutes the difference: the median ratio falls by about a tenth."""
    medians = [
        np.median(outsourced.totals / diy.totals)
        for diy, outsourced in (both_ways(plain_kit("IE") | {"wheels_new": new}) for new in (False, True))
    ]
    assert medians[1] < medians[0]


def test_a_shop_that_does_everything_is_paid_for_what_goes_wrong() -> None:
    """Its hours, 177 for 326 of the owner's (common practice, no source), at its rate; none are left to the owner."""
    build = build_of()
    override = build.scenario["outsourced"].override
    rate = 100 * 177 / 326  # an hour in a shop in western Europe
    for id in ("poor_fit", "hidden_rust", "scope_growth"):
        event = next(item for item in build.event if item.id == id)
        for key in ("low", "middle", "high"):
            expected = getattr(event.cost, key) + rate * getattr(event.own_hours, key)
            assert override[id]["cost"][key] == pytest.approx(expected, rel=0.05)  # to two digits
        assert override[id]["own_hours"] == 0
    rust = [trials_of(build, name).row("hidden_rust") for name in ("diy", "outsourced")]
    assert np.array_equal(rust[0] > 0, rust[1] > 0)
    assert rust[1].mean() > rust[0].mean()


def test_a_shop_may_overrun_all_that_it_estimates() -> None:
    build = build_of()
    overrun = next(event for event in build.event if event.id == "shop_overrun")
    by_shop = {line.id for line in build.line if line.route == "shop"}
    assert by_shop - set(overrun.of) == {
        "trailer",
        "shop_fitting_materials",
    }  # hired, and a share of what is estimated


def test_only_the_wasted_share_of_materials_grows_in_a_first_build() -> None:
    first, later = (
        next(line for line in build_of(first_build=said).line if line.id == "laminate_materials").amount
        for said in (True, False)
    )
    assert 1 < first.middle / later.middle < 1.1  # type: ignore[union-attr]


# ------------------------------------------------------------------------------------------------- what is written


@pytest.mark.parametrize(
    "answers",
    [
        NOTHING_KNOWN,
        *[NOTHING_KNOWN | {"country": code} for code in load_places().countries],
        *[NOTHING_KNOWN | {item.id: choice} for item in questions() if item.id not in ("country", "currency", "origin")
          and item.kind == "choice" for choice in item.choices],
        *[NOTHING_KNOWN | {item.id: [choice]} for item in questions() if item.kind == "choices"
          for choice in item.choices],
        *[NOTHING_KNOWN | {item.id: word} for item in questions() if item.kind == "yes-no" for word in (True, False)],
        NOTHING_KNOWN | {"country": "IE", "origin": "DE"},
        NOTHING_KNOWN | {"country": "US", "origin": "CN", "boxes": "2 x 200x120x60 45 kg; 1 x 50 x 40 x 30, 5 kg"},
    ],
    ids=lambda answers: "-".join(f"{k}={v}" for k, v in answers.items() if v != DONT_KNOW) or "nothing known",
)  # fmt: skip
def test_any_answer_makes_a_build_that_misses_nothing_it_must_have(answers: dict[str, Any]) -> None:
    build = parse_build(write_build(read_answers(answers)))
    assert [str(item) for item in findings(build) if item.grade == "must"] == []
    assert set(build.scenario) == {"diy", "mixed", "outsourced"}


@pytest.mark.parametrize("country", ORIGINS)
def test_every_scenario_simulates(country: str) -> None:
    build = parse_build(write_build(read_answers(plain_kit(country))))
    middle = {name: float(np.median(trials_of(build, name).totals)) for name in build.scenario}
    assert middle["diy"] < middle["mixed"] < middle["outsourced"]


def test_what_is_not_known_widens_the_total() -> None:
    known = trials_of(
        build_of(kit_price=250_000, boxes="1 x 200x100x90 50 kg", first_build=False), "diy"
    ).totals
    unknown = trials_of(parse_build(write_build(read_answers(NOTHING_KNOWN))), "diy").totals
    spread = [np.quantile(totals, 0.9) / np.quantile(totals, 0.1) for totals in (known, unknown)]
    assert spread[0] < spread[1]


@pytest.mark.parametrize(
    ("id", "answer", "figure"),
    [
        ("kit_price", 250_000, "kit.goods"),
        ("boxes", "1 x 200x100x90 50 kg", "kit.freight"),
        ("shipping", "sea", "kit.freight"),
        ("incoterm", "FOB", "kit.freight"),
        ("origin", "JP", "kit.freight"),
        ("sent_from", "JP", "kit.freight"),
        ("country", "IE", "kit.tax"),
        ("region", "ON", "kit.tax"),
        ("panels", TYPICAL["panels"], "primers"),
        ("panels", TYPICAL["panels"], "missing_fittings"),
        ("panels", TYPICAL["panels"], "filling_self.own_hours"),
        ("filling", "self", "filling_self.own_hours"),
        ("filling", "self", "filling_shop"),
        ("filling", "self", "shop_filling_materials"),
        ("paint", "self", "colour_clear_self.own_hours"),
        ("paint", "self", "paint_kit_parts"),
        ("panels", TYPICAL["panels"], "paint_kit_parts"),
        ("rate", 0.0057, "kit.goods"),
        ("first_build", False, "filling_self.own_hours"),
    ],
)
def test_each_unknown_widens_its_own_range(id: str, answer: Any, figure: str) -> None:
    fixed = {"kit_price": 250_000} if id in ("rate", "origin", "country") else {}
    fixed |= {"kit_currency": "JPY"} if id == "origin" else {}
    fixed |= {"country": "CA", "kit_price": 250_000} if id == "region" else {}
    scenario = "outsourced" if figure.startswith(("filling_shop", "shop_", "paint_kit")) else "diy"
    spread = []
    for said in (answer, DONT_KNOW):
        amounts = trials_of(build_of(**(fixed | {id: said})), scenario).row(figure)
        spread.append(np.quantile(amounts, 0.9) / np.quantile(amounts, 0.1))
    assert spread[0] < spread[1]


@pytest.mark.parametrize(
    ("id", "answer", "line"),
    [
        ("at_hand", [], "compressor"),
        ("arches_cut", True, "arch_cut_welded"),
        ("wheels_new", True, "wheel_set"),
    ],
)
def test_what_may_not_be_needed_counts_in_some_builds(id: str, answer: Any, line: str) -> None:
    """Between not at all and all of it: no range is wider."""
    said, unknown = (
        {item.id: item for item in build_of(**{id: value}).line} for value in (answer, DONT_KNOW)
    )
    assert 0 < unknown[line].chance < 1
    assert line not in said or said[line].chance == 1


def test_hidden_rust_has_a_wider_cost_where_the_body_is_not_known() -> None:
    spread = {}
    for state in ("sound", "worn", "rusty", DONT_KNOW):
        event = next(item for item in build_of(car_state=state).event if item.id == "hidden_rust")
        spread[state] = event.cost.high / event.cost.low  # type: ignore[union-attr]
    assert all(spread[DONT_KNOW] > spread[state] for state in ("sound", "worn", "rusty"))


def test_every_question_that_may_be_open_is_held_to_widen() -> None:
    """All but what has no range: names, the money that is counted in, what a week holds, what is to be spent.

    Of the rule for one's own use both sums are told."""
    widened = {id for mark in test_each_unknown_widens_its_own_range.pytestmark for id, *_ in mark.args[1]}  # type: ignore[attr-defined]
    held = widened | {"at_hand", "arches_cut", "wheels_new", "car_state"}
    assert held == {item.id for item in questions()} - {
        "name",
        "currency",
        "kit_currency",
        "budget",
        "week_hours",
        "private_use",
    }


@pytest.mark.parametrize(
    ("thing", "line"),
    [("compressor", "compressor"), ("sander", "sander"), ("spray_gun", "spray_guns"), ("stands", "jack_stands"),
     ("mask", "air_fed_mask"), ("space", "rented_space")],
)  # fmt: skip
def test_what_is_at_hand_is_not_bought(thing: str, line: str) -> None:
    assert line in {item.id for item in build_of(at_hand=[]).line}
    assert line not in {item.id for item in build_of(at_hand=[thing]).line}


def test_weeks_follow_from_hours_a_week_and_the_waiting_for_shops() -> None:
    build = build_of(week_hours=12)
    assert build.build.hours_per_week == 12
    unsaid = build_of(week_hours=DONT_KNOW)
    assert unsaid.build.hours_per_week == WEEK_HOURS
    assert "hours_per_week = 8" in write_build(read_answers(TYPICAL | {"country": "IE"}))
    waiting = [line for line in build.line if line.wait_weeks is not None]
    assert {line.route for line in waiting} == {"shop"}
    packages = [line.package for line in waiting]
    assert len(packages) == len(set(packages))  # once a package, however many lines the shop writes
    assert {"fitting", "filling", "paint"} <= set(packages)
    assert any(event.wait_weeks is not None for event in build.event)
    own = trials_of(build, "diy")
    assert own.weeks is not None
    np.testing.assert_allclose(own.weeks, own.hours / 12 + own.waits)
    assert np.median(trials_of(build, "outsourced").waits) > 5 + np.median(own.waits)


@pytest.mark.parametrize("said", ["0.2", "200"])
def test_a_week_has_so_many_hours_only(said: str) -> None:
    with pytest.raises(WrongAnswer, match=r"Write a number from 0\.5 to 168, such as 8"):
        read_answer(question("week_hours"), said, {})


def test_a_first_build_takes_more_hours_in_a_wider_range() -> None:
    first, later = (
        next(line for line in build_of(first_build=said).line if line.id == "filling_self").own_hours
        for said in (True, False)
    )
    assert first.middle / later.middle == pytest.approx(1.6, abs=0.05)  # type: ignore[union-attr]
    assert first.high / first.low > later.high / later.low  # type: ignore[union-attr]


def test_the_way_that_was_told_comes_first() -> None:
    assert next(iter(build_of(filling="self", paint="self").scenario)) == "diy"
    mixed = build_of(filling="shop", paint="self").scenario
    assert next(iter(mixed)) == "mixed"
    assert (mixed["mixed"].route("filling"), mixed["mixed"].route("paint")) == ("shop", "self")
    assert mixed["mixed"].route("arches") == "shop"


def test_rust_is_found_the_likelier_the_worse_the_body() -> None:
    chance = {
        state: next(event for event in build_of(car_state=state).event if event.id == "hidden_rust").chance
        for state in ("sound", "worn", "rusty")
    }
    assert chance == {"sound": 0.1, "worn": 0.3, "rusty": 0.6}


def test_wheels_bring_all_that_belongs_to_them() -> None:
    wheels = {"wheels", "tyres", "wheel_fixings", "tyre_mounting"}
    assert wheels <= {line.id for line in build_of(wheels_new=True).line}
    ids = {line.id: line for line in build_of(wheels_new=DONT_KNOW).line}
    assert not wheels & set(ids)
    assert ids["wheel_set"].chance == 0.5


def test_arches_that_are_not_cut_need_no_welding() -> None:
    packages = {line.package for line in build_of(arches_cut=False).line}
    assert "arches" not in packages
    assert "cavity_protection" in {line.id for line in build_of(arches_cut=True).line}


def test_a_kit_from_within_the_union_pays_no_duty() -> None:
    build = build_of(origin="DE", kit_price=2400)
    assert build.consignment == ()
    assert {"kit", "freight"} <= {line.id for line in build.line}


def test_a_rule_under_which_the_buyer_ships_always_has_freight() -> None:
    for rule in ("EXW", "FCA", "FOB"):
        rows = consignment_rows(trials_of(build_of(incoterm=rule), "diy"))
        assert rows["freight"].min() > 0
    assert "freight" not in consignment_rows(trials_of(build_of(incoterm="CIF"), "diy"))


def test_prices_and_boxes_are_written_as_told() -> None:
    build = build_of(kit_price="210000; 245000; 330000", boxes="2 x 200x120x60 45 kg")
    assert build.consignment[0].price.quotes == (210_000, 245_000, 330_000)  # type: ignore[union-attr]
    assert build.consignment[0].boxes[0].count == 2
    assert build_of(rate=0.0057).currency["JPY"].rate.value == 0.0057  # type: ignore[union-attr]


def test_every_range_says_that_it_is_common_practice() -> None:
    build = build_of()
    unmarked = [
        item.id
        for item in (*build.line, *build.event, *build.measure)
        if "Common practice" not in (item.note or "")
    ]
    assert unmarked == []
    text = write_build(read_answers(TYPICAL | {"country": "IE", "origin": "JP"}))
    assert "common practice without a published source, yours to overwrite" in text
    assert "LOOK UP TODAY'S RATE" in text


def test_cautions_stand_beside_their_lines_with_the_authority() -> None:
    text = write_build(read_answers(TYPICAL | {"country": "IE", "origin": "JP", "wheels_new": True}))
    for line, topic in (
        ("paint_materials", "two-pack paint"), ("laminate_materials", "peroxide catalyst"),
        ("arch_cut_welded", "cutting inner arches"), ("tyres", "tyre load index"), ("inspection", "approval"),
        ("insurance", "insurance"), ("abrasives", "sanding dust"), ("wheel_fixings", "spacers and fixings"),
    ):  # fmt: skip
        before = text[: text.index(f'id = "{line}"')].rpartition("\n\n")[2].lower()
        assert f"caution, {topic}" in before, line
    assert "Health and Safety Executive" in text
    assert max(map(len, re.findall(r"^#.*$", text, re.MULTILINE))) <= 120


def test_the_parts_are_measured_once_for_every_line_that_works_on_them() -> None:
    build = build_of()
    over = {line.id: line.takeoff for line in build.line if isinstance(line.takeoff, AreaTakeoff)}
    assert [surface.id for surface in build.surface] == ["bumpers", "sides"]
    assert {"filler_skim", "abrasives", "primers", "paint_materials", "paint_clear"} <= set(over)
    assert all(table.surfaces == ("bumpers", "sides") for id, table in over.items() if id != "filler")
    drawn = {item.id for item in compile_plan(build, "diy").inputs if item.id.endswith(".area")}
    assert drawn == {"bumpers.area", "sides.area"}
    assert build.surface[0].title == "Front bumper, rear bumper and spoiler, outsides"
    assert build.surface[1].title == "Side skirts and four arches, outsides"
    bonnet = build_of(panels=["bonnet"])
    assert [(surface.id, surface.title) for surface in bonnet.surface] == [("bumpers", "Bonnet, outsides")]


def test_areas_follow_from_the_parts() -> None:
    small = trials_of(build_of(panels=["spoiler"]), "diy").row("primers").mean()
    usual = trials_of(build_of(), "diy").row("primers").mean()
    assert small < usual / 5


@pytest.mark.parametrize("name", ['He said "fast"', "back\\slash", "Größe # 5", "[build]", "a = 1"])
def test_any_name_survives(name: str) -> None:
    assert build_of(name=name).name == name


# ------------------------------------------------------------------------------------------------- how it is asked


def test_there_are_rules_for_every_country_that_can_be_chosen() -> None:
    assert set(load_places().countries) == set(countries())


def test_not_to_know_is_always_legal() -> None:
    for item in questions():
        assert item.text.endswith("?")
        assert item.help.endswith(".")
        read_answer(item, DONT_KNOW, {})
    assert read_answers(NOTHING_KNOWN).rules == "IE"


def test_currencies_follow_from_countries() -> None:
    assert default_of(question("currency"), {"country": "NZ"}) == "NZD"
    assert default_of(question("kit_currency"), {"country": "NZ", "origin": "JP", "currency": "NZD"}) == "JPY"
    assert read_answers({"country": "GB", "origin": "US"}).kit_currency == "USD"
    assert read_answers({"country": "GB"}).kit_currency == "GBP"


def test_only_sensible_questions_are_asked() -> None:
    assert not is_asked(question("rate"), {"currency": "EUR", "kit_currency": "EUR"})
    assert is_asked(question("rate"), {"currency": "EUR", "kit_currency": "JPY"})
    assert not is_asked(question("shipping"), {"country": "IE", "origin": "DE"})
    assert is_asked(question("shipping"), {"country": "IE", "origin": "GB"})


@pytest.mark.parametrize(
    ("id", "said", "value"),
    [
        ("country", "ireland", "IE"),
        ("country", "uk", "GB"),
        ("arches_cut", " Yes ", True),
        ("panels", "arches, front", ("front", "arches")),
        ("panels", "4 arches, 2x skirts", ("skirts", "arches")),
        ("paint", "a shop", "shop"),
        ("paint", "A shop does it", "shop"),
        ("paint", "no idea", None),
        ("arches_cut", "yes, they are cut", True),
        ("wheels_new", "No.", False),
        ("country", "Polska", "PL"),  # in its own language, as Unicode CLDR has it
        ("country", "Deutschland", "DE"),
        ("origin", "\u0e44\u0e17\u0e22", "TH"),
        ("currency", "z\u0142", "PLN"),
        ("kit_currency", "baht", "THB"),
        ("kit_currency", "MNT", "MNT"),
        ("at_hand", "none", ()),
        ("budget", "9,500.00", 9500),
        ("budget", "9 500", 9500),
        ("budget", "9.5k", 9500),
        ("budget", "2,5", 2.5),
        ("week_hours", "7.500 h", 7.5),  # a week has no 7,500 hours
        ("week_hours", "8 hours", 8),
        ("paint", "I don\u2019t  know", None),
    ],
)
def test_answers_are_read_as_people_write_them(id: str, said: str, value: object) -> None:
    assert read_answer(question(id), said, {}) == value


@pytest.mark.parametrize(
    ("said", "shape"),
    [
        ("2450", {"value": 2450}),
        ("about 2450", {"value": 2450}),
        ("1800-3200", {"low": 1800, "high": 3200}),
        ("1800 to 3200", {"low": 1800, "high": 3200}),
        ("1800/2400/3200", {"low": 1800, "middle": 2400, "high": 3200}),
        ("2100, 2450, 3300", {"quotes": (2100, 2450, 3300)}),
        ("2100,2450,3300", {"quotes": (2100, 2450, 3300)}),
        ("2100; 2450,50", {"quotes": (2100, 2450.5)}),
        ("3,6", {"value": 3.6}),
        ("25.000,00", {"value": 25000}),
        ("65 000", {"value": 65000}),
        ("65k", {"value": 65000}),
        ("1.8k-3.2k", {"low": 1800, "high": 3200}),
        ("1.800 - 3.200,50", {"low": 1800, "high": 3200.5}),
        ("1.800,\u2013 - 3.200,\u2013", {"low": 1800, "high": 3200}),
        ("1 800\u20133 200", {"low": 1800, "high": 3200}),
        ("65 000 THB", {"value": 65000, "currency": "THB"}),
        ("€ 1.250,-", {"value": 1250, "currency": "EUR"}),
        ("60k-65k THB", {"low": 60000, "high": 65000, "currency": "THB"}),
        ("1500-2k", {"low": 1500, "high": 2000}),
    ],
)
def test_prices_are_read_in_every_form(said: str, shape: dict[str, object]) -> None:
    figure = read_answer(question("kit_price"), said, {})
    assert figure.model_dump(exclude_defaults=True) == shape


@pytest.mark.parametrize(
    ("id", "said", "either"),
    [
        ("kit_price", "2,450", ("2450", "2.45")),
        ("kit_price", "4.200", ("4200", "4.2")),
        ("kit_price", "1.800-3.200", ("1800-3200", "1.8-3.2")),
        ("kit_price", "1.800/2.400/3.200 THB", ("1800/2400/3200 THB", "1.8/2.4/3.2 THB")),
        ("kit_price", "1,250; 1,400", ("1250; 1400", "1.25; 1.4")),
        ("kit_price", "2450,500", ("2450.5", "2450; 500")),
        ("kit_price", "200,150,180", ("200150180", "200; 150; 180")),
        ("kit_price", "60-65k THB", ("60000-65000 THB", "60-65000 THB")),
        ("budget", "9.500", ("9500", "9.5")),
    ],
)
def test_what_can_mean_two_things_is_asked_with_both(id: str, said: str, either: tuple[str, ...]) -> None:
    with pytest.raises(WrongAnswer, match="can mean") as caught:
        read_answer(question(id), said, {})
    assert caught.value.either == either
    assert all(way in caught.value.mend for way in either)
    first, second = (read_answer(question(id), way, {}) for way in either)  # each can be read in one way
    assert first != second


def test_what_was_told_before_decides_what_a_number_means() -> None:
    assert read_answer(question("budget"), "950.000", {"currency": "JPY"}) == 950_000
    assert read_answer(question("budget"), "22.000", {"currency": "EUR"}) == 22_000  # no conversion costs 22
    pair = {"currency": "EUR", "kit_currency": "GBP"}
    assert (
        read_answer(question("rate"), "1.199", pair) == 1.199
    )  # the rate on file is 1.199, so it is not 1,199
    assert read_answer(question("rate"), "0,0057", pair | {"kit_currency": "JPY"}) == 0.0057
    with pytest.raises(WrongAnswer, match="is in USD, but EUR is counted here"):
        read_answer(question("budget"), "950 USD", {"currency": "EUR"})


@pytest.mark.parametrize(
    ("said", "currency", "price"),
    [
        ("65.000", "THB", {"value": 65000}),
        ("65,000", "THB", {"value": 65000}),
        ("4.200", "EUR", {"value": 4200}),
        ("1.800-3.200", "EUR", {"low": 1800, "high": 3200}),
        ("250.000/300.000", "JPY", {"low": 250_000, "high": 300_000}),
        ("$ 2.450", "CAD", {"value": 2450}),
        ("2,45", "EUR", {"value": 2.45}),  # odd, and nothing else was written
    ],
)
def test_a_price_in_a_known_currency_is_what_a_kit_can_cost(
    said: str, currency: str, price: dict[str, float]
) -> None:
    figure = read_answer(question("kit_price"), said, {"currency": "PLN", "kit_currency": currency})
    assert figure.model_dump(exclude_defaults=True) == price | {"currency": currency}


@pytest.mark.parametrize("id", ["kit_price", "budget"])
def test_a_sum_is_asked_about_where_both_can_be_meant(id: str) -> None:
    with pytest.raises(WrongAnswer, match=r"can mean 250000( EUR)? or 250") as caught:
        read_answer(question(id), "250.000", {"currency": "EUR", "kit_currency": "EUR"})
    assert len(caught.value.either) == 2


def test_the_currency_is_asked_before_the_price() -> None:
    ids = [item.id for item in questions()]
    assert ids.index("kit_currency") < ids.index("kit_price") < ids.index("rate")


@pytest.mark.parametrize(
    ("said", "hours"), [("8", 8), ("8-12", 10), ("8 to 12 hours", 10), ("8\u201312 h", 10), ("7,5-10", 8.75)]
)
def test_hours_a_week_may_be_a_range_whose_middle_counts(said: str, hours: float) -> None:
    assert read_answer(question("week_hours"), said, {}) == hours


@pytest.mark.parametrize("said", ["12-8", "8-", "a-b", "100-300"])
def test_hours_a_week_that_are_no_range_are_refused(said: str) -> None:
    with pytest.raises(WrongAnswer):
        read_answer(question("week_hours"), said, {})


@pytest.mark.parametrize(("said", "rate"), [
    ("0.0055-0.0059", 0.0057), ("0,0055 to 0,0059", 0.0057), ("0.0057 €", 0.0057), ("€0.0055 - €0.0059", 0.0057),
])  # fmt: skip
def test_a_rate_may_be_a_range_whose_middle_counts(said: str, rate: float) -> None:
    """A range was refused as no number, where all questions around it take one."""
    pair = {"currency": "EUR", "kit_currency": "JPY"}
    assert read_answer(question("rate"), said, pair) == rate
    assert "or a range: its middle counts" in as_asked(question("rate"), pair).how
    assert understood(question("rate"), "0.0055-0.0059", 0.0057, pair) == (
        "1 JPY costs 0.0055 to 0.0059 EUR, counted as 0.0057 EUR"
    )


@pytest.mark.parametrize("said", ["0.0057 円", "0.0057 $", "1" * 99, "--1", "1.23,456.7"])
def test_a_refusal_of_a_number_is_a_sentence(said: str) -> None:
    """It read "It 円 stands beside it."."""
    with pytest.raises(WrongAnswer) as caught:
        read_answer(question("rate"), said, {"currency": "EUR", "kit_currency": "JPY"})
    assert re.match(r"It (is|has) ", caught.value.mend), caught.value.mend
    with pytest.raises(WrongAnswer) as caught:
        read_answer(question("week_hours"), said, {})
    assert re.match(r"It (is|has) ", caught.value.mend), caught.value.mend


def test_what_a_price_includes_is_asked_in_plain_words() -> None:
    """It was asked under which Incoterms rule the kit is quoted, a word that few builders know."""
    item = question("incoterm")
    assert item.text == "What does the seller's price include?"
    assert choice_words("CIF", item.choices["CIF"]) == "the kit, sea freight and insurance to your port (CIF)"
    assert read_answer(item, item.choices["CIF"], {}) == "CIF"
    assert len(set(item.choices.values())) == len(item.choices)
    for code, rule in incoterms().items():
        words = item.choices[code]
        assert ("freight" in words or "brought" in words or "door, duty" in words) == rule.seller_ships
        assert ("duty and tax too" in words) == rule.seller_pays_dues
        assert ("insurance" in words) == (who_pays(code, "cargo_insurance") == "seller")


def test_the_rate_is_asked_between_the_very_currencies() -> None:
    asked = as_asked(question("rate"), {"currency": "PLN", "kit_currency": "THB"})
    assert asked.text == "What does one THB cost in PLN today?"
    assert f"{reference('THB', 'PLN').rate:g}" in asked.how  # type: ignore[union-attr]
    assert not any("yen" in f"{item.text} {item.help} {item.how}".lower() for item in questions())
    unknown = as_asked(question("rate"), {"currency": "PLN", "kit_currency": "ARS"})
    assert "No rate of it is on file" in unknown.help


def test_a_currency_beside_the_price_answers_the_next_question() -> None:
    told = read_answers({"country": "IE", "origin": "TH", "kit_price": "65 000 THB", "rate": 0.0265})
    assert (told.kit_currency, told.kit_price.as_written()) == ("THB", 65000)
    dollars = read_answers({"country": "IE", "origin": "US", "kit_price": "$ 2,450.00"})
    assert dollars.kit_currency == "USD"
    assert "'65 000 THB' is in THB, but the kit is priced in EUR. Write the price in EUR" in complaints(
        kit_price="65 000 THB", kit_currency="EUR"
    )
    assert "Write its currency with three letters, such as USD" in complaints(kit_price="$ 2450")


def test_a_rate_the_wrong_way_round_is_noticed() -> None:
    text = complaints(origin="JP", rate=176)
    assert "rate: found 176 EUR for one JPY. Write what one JPY costs in EUR; it was about 0.005682" in text


def test_a_rate_that_is_not_on_file_must_be_told() -> None:
    assert "no rate for ARS is on file" in complaints(kit_currency="ARS")
    assert read_answers({"country": "IE", "kit_currency": "BRL", "rate": 0.16}).rate == 0.16


def test_all_mistakes_of_an_answers_file_are_named_at_once(tmp_path: Path) -> None:
    file = tmp_path / "answers.toml"
    file.write_text(
        'origin = "Mars"\nshiping = "sea"\nkit_price = { low = 300, high = 200 }\npaint = "nobody"\nbudget = -5\n'
        'boxes = "large"\npanels = []\nwheels_new = 3\n',
        encoding="utf-8",
    )
    with pytest.raises(BuildFileError) as caught:
        read_answers(file)
    text = str(caught.value)
    assert "9 mistakes" in text
    assert "line 1: origin: there is no country called 'Mars'" in text
    assert "line 2: shiping: unknown key 'shiping'. Did you mean 'shipping'?" in text
    assert "line 3: kit_price: low 300, high 200. low must be under high." in text
    assert "line 4: paint: found 'nobody'. Legal: self, shop. Or write \"don't know\"." in text
    assert "line 5: budget: found -5. Write a number above zero" in text
    assert "line 6: boxes: found 'large'. Write 1 x 200x120x60 45 kg" in text
    assert "line 7: panels: found []. A kit has a part" in text
    assert "line 8: wheels_new: found 3. Write yes, no or" in text
    assert 'country: missing. Add country = "IE"' in text


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"country = IE", "Write key = value"),
        (b"\xff\xfe", "is not UTF-8"),
        (b"#" * 100_001, "larger than 100 kB"),
    ],
)
def test_a_file_that_is_no_answers_file_is_refused(tmp_path: Path, content: bytes, message: str) -> None:
    file = tmp_path / "answers.toml"
    file.write_bytes(content)
    with pytest.raises(BuildFileError, match=message):
        read_answers(file)
    with pytest.raises(BuildFileError, match="Give the path of a TOML file"):
        read_answers(tmp_path / "nowhere.toml")


@pytest.mark.parametrize(
    ("raw", "message"),
    [
        ({"kit_price": {"low": 1, "high": 2, "currency": "JPY"}}, 'Write kit_currency = "JPY" instead'),
        ({"kit_price": 0}, "A price is above zero"),
        ({"kit_price": {"shape": "uniform", "min": 1, "max": 2}}, "Write one price"),
        ({"kit_price": "cheap"}, "Write one price"),
        ({"boxes": [{"length": 100, "width": 50, "height": 40}]}, "weight of a box: found nothing"),
        ({"boxes": [{"lenght": 100}]}, "Did you mean 'length'?"),
        ({"boxes": "0 x 10x10x10 5 kg"}, "count of a box: found '0'"),
        ({"name": "two\nlines"}, "Write up to 200 characters"),
        ({"currency": "XXX"}, "currency: found 'XXX'"),
    ],
)
def test_wrong_answers_say_what_is_legal(raw: dict[str, Any], message: str) -> None:
    assert message in complaints(**raw)


# ------------------------------------------------------------------------------------------------- where it is put


def test_a_build_is_made_in_a_new_folder(tmp_path: Path) -> None:
    answers = read_answers(TYPICAL | {"country": "IE", "origin": "JP"})
    file = create_build(tmp_path / "new" / "build", answers)
    assert file == tmp_path / "new" / "build" / "build.toml"
    assert read_build(file).name == "My conversion"
    assert {path.name for path in file.parent.iterdir()} == {"build.toml", FILE_NAME}
    assert file.read_text(encoding="utf-8") == f"{LINE}\n\n{write_build(answers)}"
    tomllib.loads(file.read_text(encoding="utf-8"))


def test_a_build_file_is_never_overwritten(tmp_path: Path) -> None:
    (tmp_path / "build.toml").write_text("mine", encoding="utf-8")
    with pytest.raises(BuildFileError, match=r"build\.toml: is there already\. Choose another folder"):
        create_build(tmp_path, read_answers({"country": "IE"}))
    assert (tmp_path / "build.toml").read_text(encoding="utf-8") == "mine"


def test_a_name_taken_meanwhile_is_left_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("forecast.start.create.check_free", lambda folder: None)
    (tmp_path / "build.toml").write_text("mine", encoding="utf-8")
    with pytest.raises(BuildFileError, match="is there already"):
        create_build(tmp_path, read_answers({"country": "IE"}))
    assert [path.name for path in tmp_path.iterdir()] == ["build.toml"]
    assert (tmp_path / "build.toml").read_text(encoding="utf-8") == "mine"


def test_what_is_cut_short_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def stopped(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("forecast.tables.files._take_free_name", stopped)
    with pytest.raises(KeyboardInterrupt):
        create_build(tmp_path / "a" / "b", read_answers({"country": "IE"}))
    assert list(tmp_path.iterdir()) == []


def test_a_file_is_no_folder(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(BuildFileError, match="folder: is a file"):
        create_build(tmp_path / "file", read_answers({"country": "IE"}))
    with pytest.raises(BuildFileError, match="Choose a folder that you may write to"):
        create_build(tmp_path / "file" / "below", read_answers({"country": "IE"}))


def test_lines_are_paid_for_as_such_things_are() -> None:
    """As the starter library says of the same line, however the answers change it; rent by the month."""
    build = build_of(country="NL", origin="GB", wheels_new=True, at_hand=[])
    said = {line.id: line.bought for line in load_library().lines}
    found = {line.id: line.bought_as for line in build.line if line.id in said}
    assert len(found) > 30
    assert found == {name: said[name] for name in found}
    assert found["rented_space"] == "running"
    paint = {line.id: line.bought_as for line in build.line if line.takeoff is not None}
    assert set(paint.values()) == {"several"}


@pytest.mark.parametrize("country", ["IE", "NZ", "JP", "US"])
def test_the_file_says_how_guesses_are_read_in_its_own_money(country: str) -> None:
    """The sum under which a line says little of others stands there in the build's currency, with a sentence."""
    answers = read_answers(plain_kit(country))
    text = write_build(answers)
    build = parse_build(text).build
    assert build.estimating == 0.25
    rates = reference_rates()
    euro = 1.0 if answers.currency == "EUR" else rates[answers.currency].rate
    assert build.estimating_size == pytest.approx(150 * euro, rel=0.05)  # two digits are written
    assert "# lines under this hardly tell anything about the others" in text
    assert "learn_ranges = false switches that off" in text
    assert 'bought = "once", "several" or "running"' in " ".join(text.replace("#", " ").split())


@pytest.mark.parametrize("said", ["65; 0", "2100; -5"])
def test_a_refused_price_is_shown_as_it_was_said(said: str) -> None:
    with pytest.raises(WrongAnswer) as raised:
        read_answer(question("kit_price"), said, {})
    assert raised.value.found == f"found {said!r}"
    assert raised.value.mend.startswith("A price quoted is above zero. Write one price (2450)")


@pytest.mark.parametrize(
    ("written", "code"),
    [
        ("Britain", "GB"), ("great britain", "GB"), ("England", "GB"), ("Scotland", "GB"), ("Wales", "GB"),
        ("Northern Ireland", "GB"), ("the UK", "GB"), ("U.K.", "GB"), ("Holland", "NL"), ("the Netherlands", "NL"),
        ("USA", "US"), ("U.S.A.", "US"), ("America", "US"), ("the United States", "US"), ("Czech Republic", "CZ"),
        ("Republic of Ireland", "IE"), ("ie", "IE"), ("Ireland", "IE"), ("New  Zealand", "NZ"),
    ],
)  # fmt: skip
def test_a_country_is_known_by_its_everyday_names(written: str, code: str) -> None:
    assert read_answer(question("country"), written, {}) == code
    assert read_answer(question("origin"), written, {}) == code


@pytest.mark.parametrize(
    ("country", "written", "code"),
    [
        ("NL", "Verenigd Koninkrijk", "GB"), ("NL", "duitsland", "DE"), ("BE", "Allemagne", "DE"),
        ("CH", "Vereinigte Staaten", "US"), ("PL", "Wielka Brytania", "GB"), ("PL", "Tajlandia", "TH"),
        ("NL", "Nederland", "NL"), ("IE", "\u65e5\u672c", "JP"), ("IE", "Vi\u1ec7t Nam", "VN"),
    ],
)  # fmt: skip
def test_a_country_is_known_by_its_name_in_its_own_language_and_in_the_builders(
    country: str, written: str, code: str
) -> None:
    """By the names of Unicode CLDR; a language that is neither is not guessed at."""
    assert read_answer(question("origin"), written, {"country": country}) == code
    assert read_answer(question("sent_from"), written, {"country": country}) == code
    with pytest.raises(WrongAnswer):
        read_answer(question("origin"), "Verenigd Koninkrijk", {"country": "IE"})


def test_terms_of_sea_freight_are_offered_by_sea_alone_and_taken_where_a_seller_quotes_them() -> None:
    item = question("incoterm")
    assert (
        as_asked(item, {"shipping": "sea"}).choices
        == as_asked(item, {"shipping": None}).choices
        == item.choices
    )
    for way in ("road", "air", "courier"):
        left = item.choices.keys() - as_asked(item, {"shipping": way}).choices.keys()
        assert left == {"FOB", "CFR", "CIF"}  # Incoterms 2020: for sea and inland waterway
        assert read_answer(item, "FOB", {"shipping": way}) == "FOB"


def test_what_cannot_come_by_road_is_not_offered_so() -> None:
    """By the regions of the rule files; where one of the two is not told, or not on file, every way is offered."""
    item = question("shipping")

    def offered(**so_far: str) -> bool:
        return "road" in as_asked(item, so_far).choices

    assert not offered(country="GB", origin="US")
    assert not offered(country="GB", origin="DE", sent_from="JP")
    assert not offered(country="US", origin="JP")
    assert offered(country="GB", origin="DE")
    assert offered(country="US", origin="CN", sent_from="CA")
    assert offered(origin="US")
    assert offered(country="GB")
    assert offered(country="GB", origin="AM")
    with pytest.raises(WrongAnswer):
        read_answer(item, "road", {"country": "GB", "origin": "US"})


@pytest.mark.parametrize(("country", "origin"), [("NL", "GB"), ("IE", "DE"), ("CA", "JP"), ("JP", "US")])
def test_how_many_questions_there_are_never_grows_under_the_builders_feet(country: str, origin: str) -> None:
    """About twenty until the answers on which it hangs are given, and from then on one number to the last."""
    told = {"country": country, "origin": origin, "panels": "front", "rate": "1"}
    values: dict[str, object] = {}
    counts = []
    for place, item in enumerate(questions()):
        asked = [one for one in questions() if is_asked(one, values)]
        counts.append(place_words(place + 1, len(asked), values).partition(" of ")[2])
        if item in asked:
            with suppress(WrongAnswer):  # a rate is held against the one on file
                values[item.id] = read_answer(item, told.get(item.id, ""), values)
    assert len(set(counts)) == 2
    first, later = dict.fromkeys(counts)
    assert first == "about 20"
    assert int(later) == len(asked)
    assert counts == sorted(counts, key=[first, later].index)


def test_a_country_without_rules_is_an_origin_alone() -> None:
    assert read_answer(question("origin"), "Taiwan", {}) == "TW"
    assert read_answer(question("origin"), "Vietnam", {}) == "VN"
    with pytest.raises(
        WrongAnswer, match=r"no customs rules of Taiwan \(TW\) are on file. On file: Australia, Austria"
    ):
        read_answer(question("country"), "Taiwan", {})
    for wrong in ("Ruritania", "the", "Mars"):
        for id in ("country", "origin"):
            with pytest.raises(WrongAnswer, match=f"no country called '{wrong}'"):
                read_answer(question(id), wrong, {})


@pytest.mark.parametrize(
    ("written", "code"),
    [("Thai", "TH"), ("thai", "TH"), ("Malay", "MY"), ("Turkiye", "TR"), ("Türk", "TR"), ("Swit", "CH"), ("Hong", "HK"),
     ("Kong", "HK"), ("zealand", "NZ"), ("kingdom", "GB"), ("Czech", "CZ"), ("emir", "AE"), ("UK", "GB"),
     ("Holland", "NL"), ("Turkey", "TR"), ("USA", "US"), ("Korea", "KR"), ("south korea", "KR"), ("Ivory Coast", "CI"),
     ("Burma", "MM"), ("Viet Nam", "VN"), ("East Timor", "TL"), ("Swaziland", "SZ")],
)  # fmt: skip
def test_a_part_of_a_name_finds_a_country(written: str, code: str) -> None:
    assert read_answer(question("origin"), written, {}) == code


def test_a_part_of_several_names_is_asked_about() -> None:
    with pytest.raises(
        WrongAnswer, match=r"'Uni' can mean United Arab Emirates \(AE\), United Kingdom \(GB\) or Unit"
    ):
        read_answer(question("country"), "Uni", {})
    with pytest.raises(WrongAnswer, match=r"'Slov' can mean Slovakia \(SK\) or Slovenia \(SI\)") as told:
        read_answer(question("country"), "Slov", {})
    assert told.value.either == ("Slovakia", "Slovenia")
    with pytest.raises(WrongAnswer, match="no country called 'Un'"):  # two letters are a code
        read_answer(question("country"), "Un", {})


@pytest.mark.parametrize(
    ("asked", "written", "said"),
    [
        ("country", "Irland", r"Nearest by name: Ireland.*\. \d\d countries are on file\."),
        ("origin", "Tailand", r"Nearest by name: Thailand, .* Any country of the world may be named\."),
        ("country", "Qwxyz", r"no country called 'Qwxyz'\. \d\d countries are on file\."),
        ("currency", "USA", "Did you mean 'USD', US Dollar\\?"),
        ("kit_currency", "Japan", "Did you mean 'JPY', Japanese Yen\\?"),
        ("currency", "UDS", "Did you mean 'USD'\\?"),
    ],
)
def test_what_is_nearest_to_a_slip_is_suggested(asked: str, written: str, said: str) -> None:
    """An unknown country had the first few of all listed, and USA as a currency was taken for UZS."""
    with pytest.raises(WrongAnswer, match=said):
        read_answer(question(asked), written, {})


@pytest.mark.parametrize("written", ["myself", "me", "Self", "I do it myself", "DIY"])
def test_who_does_the_work_is_said_in_everyday_words(written: str) -> None:
    assert read_answer(question("filling"), written, {}) == "self"
    assert read_answer(question("paint"), written, {}) == "self"
    with pytest.raises(WrongAnswer, match="Legal: self, shop"):
        read_answer(question("paint"), "us all", {})


def test_a_whole_number_that_no_float_can_hold_is_refused_in_words() -> None:
    with pytest.raises(BuildFileError, match="rate: found"):
        read_answers({"country": "IE", "currency": "JPY", "rate": 10**400})
