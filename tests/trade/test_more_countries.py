"""Countries that are rule files alone: sums by hand, bases with an uplift, ranges where no rate has a source."""

from __future__ import annotations

import json
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from forecast.buildfile.reader import parse_build
from forecast.engine.forecast import simulate
from forecast.engine.plan import compile_plan
from forecast.errors import RuleError
from forecast.start import read_answers, write_build
from forecast.trade.landed import landed_cost
from forecast.trade.rules import countries, load_rules
from forecast.words.currencies import minor_digits
from tests.trade.test_local_tax import consignment, lines

FILE = json.loads(
    (Path(__file__).parents[1] / "references" / "country_vectors.json").read_text(encoding="utf-8")
)
VECTORS: list[dict[str, Any]] = FILE["vectors"]
KIT = FILE["kit"]
TEN = [vector["country"] for vector in VECTORS]
TODAY = date(2026, 11, 26)


def test_all_ten_are_there() -> None:
    assert sorted(TEN) == ["AE", "KR", "MX", "MY", "NO", "PH", "SG", "TH", "TR", "ZA"]


@pytest.mark.parametrize("vector", VECTORS, ids=TEN)
def test_a_kit_as_worked_out_by_hand(vector: dict[str, Any]) -> None:
    country = vector["country"]
    scale = (
        1 if minor_digits(load_rules(country).currency) else 100
    )  # money without coins: sums a hundredfold

    landed = landed_cost(
        country,
        KIT["goods"] * scale,
        export_inland=KIT["inland_export"] * scale,
        freight=KIT["freight"] * scale,
        insurance=KIT["insurance"] * scale,
        overrides=vector["rates"],
    )

    for part in ("customs_value", "duty", "dta", "tax_base", "tax"):
        assert landed.amount(part) == (Decimal(str(vector.get(part, 0))) * scale).quantize(Decimal("0.01")), (
            part
        )


@pytest.mark.parametrize("country", countries())
def test_no_rate_without_a_source_is_shipped_as_one_number(country: str) -> None:
    rates = [figure for figure in load_rules(country).figures.values() if figure.unit == "share"]

    assert len(rates) > 5
    assert [figure.id for figure in rates if figure.certainty == "no source" and not figure.is_range] == []


@pytest.mark.parametrize("country", [*TEN, "AU", "NZ", "CA", "JP", "GB"])
def test_the_guided_start_makes_a_build_that_asks_first_for_what_is_a_range(country: str) -> None:
    rules = load_rules(country)
    given = {
        "country": country,
        "origin": "JP" if country != "JP" else "US",
        "kit_price": 250_000,
        "shipping": "sea",
    }
    text = write_build(read_answers(given))
    build = parse_build(text)
    told = compile_plan(build).consignments[0]
    rough = rules.figures["duty.8708.29"].is_range

    assert ("LOOK THIS UP FIRST" in text) == rough
    assert ("only" in told.figures[0].value) is False
    if rough:
        assert told.figures[0].doubts
        assert told.figures[0].id in ("duty.8708.29", rules.tax)
        assert "Look this up first: a range stands in for the rate" in told.warnings[0].text
        assert "kit.overrides.duty.8708.29" in told.inputs
    assert simulate(build, next(iter(build.scenario)), 1024, 1).percentile(0.8).value > 0


def test_a_range_is_drawn_within_its_ends_and_an_override_takes_its_place() -> None:
    text = write_build(
        read_answers({"country": "MY", "origin": "JP", "kit_price": 250_000, "shipping": "sea"})
    )
    spread = compile_plan(parse_build(text)).consignments[0].inputs["kit.overrides.duty.8708.29"]
    assert (spread.min, spread.max) == (0.0, 0.30)  # type: ignore[attr-defined]

    known = text.replace('id = "kit"\n', 'id = "kit"\noverrides = { "duty.8708.29" = 0.05 }\n', 1)
    assert known != text
    plan = compile_plan(parse_build(known)).consignments[0]
    assert "kit.overrides.duty.8708.29" not in plan.inputs
    assert "5 %" in next(line.working for line in plan.lines if line.id == "kit.duty")


def test_a_sum_to_the_cent_asks_for_the_rate_that_is_a_range() -> None:
    with pytest.raises(
        RuleError, match=r"only a range is on file, 0 to 0.3, .* overrides = \{ \"duty.8708.29\" = … \}"
    ):
        landed_cost("MY", 4000)


def test_an_uplift_is_part_of_the_base_and_of_its_working() -> None:
    rates = {"duty.8708.29": 0.2}
    landed = landed_cost("ZA", 4000, overrides=rates, on=TODAY)
    assert landed.amount("tax_base") == Decimal("5200.00")  # 4,000 + 400 + 800
    assert landed.component("tax_base").working == "4,000.00 + 800.00 + 10 % × 4,000.00"

    near = landed_cost("ZA", 4000, origin="LS", overrides=rates)
    assert near.amount("tax_base") == Decimal("4800.00")
    assert near.component("tax_base").working == "4,000.00 + 800.00"

    other = landed_cost("ZA", 4000, overrides=rates | {"vat_uplift": 0.0})
    assert other.amount("tax_base") == Decimal("4800.00")


def test_a_small_value_by_air_is_none_by_sea() -> None:
    assert landed_cost("SG", 400, mode="air").amount("tax") == 0
    assert landed_cost("SG", 401, mode="air").amount("tax") == Decimal("36.09")
    assert landed_cost("SG", 400, mode="sea").amount("tax") == Decimal("36.00")


@pytest.mark.parametrize(("price", "duty"), [(500, "100.00"), (501, "50.10")])
def test_a_flat_rate_stands_in_for_the_duty_of_a_parcel_of_small_value(price: int, duty: str) -> None:
    """20 % of 500; above it the goods' own rate, here 10 %. By sea there is no such rule."""
    rates = {"duty.8708.29": 0.1}
    landed = landed_cost("ZA", price, mode="courier", overrides=rates)
    assert landed.amount("duty") == Decimal(duty)
    assert ("a flat rate up to 500.00 ZAR" in landed.component("duty").working) == (price == 500)
    assert landed.amount("tax_base") == price + Decimal(price) / 10 + Decimal(duty)
    assert landed_cost("ZA", price, mode="sea", overrides=rates).amount("duty") == Decimal(price) / 10


@pytest.mark.parametrize("country", ["NO", "TH", "TR"])
def test_countries_that_dropped_their_small_value_relief_have_none(country: str) -> None:
    assert load_rules(country).thresholds == ()
    rates = {id: figure.low for id, figure in load_rules(country).figures.items() if figure.is_range}
    assert landed_cost(country, 5, overrides=rates).amount("tax") > 0


def test_insurance_that_is_not_known_counts_as_the_authority_assumes() -> None:
    """By hand: 4,000 + 150 + 600 + 2 % of 4,150 are 4,833; duty 10 %; VAT of 12 % on both."""
    rates = {"duty.8708.29": 0.1, "import_relief": 0.0}
    landed = landed_cost("PH", 4000, export_inland=150, freight=600, overrides=rates)
    assert landed.amount("customs_value") == Decimal("4833.00")
    assert landed.amount("tax") == Decimal("637.96")
    known = landed_cost("PH", 4000, export_inland=150, freight=600, insurance=40, overrides=rates)
    assert known.amount("customs_value") == Decimal("4790.00")
    own = landed_cost("PH", 4000, freight=600, overrides=rates | {"assumed_insurance": 0.04})
    assert own.amount("customs_value") == Decimal("4760.00")
    thai = {"duty.8708.29": 0.1, "vat": 0.07}
    assert landed_cost("TH", 4000, freight=600, overrides=thai).amount("customs_value") == Decimal("4600.00")


@pytest.mark.parametrize(
    ("changes", "value"),
    [
        ({}, 4000 + 600 + 80),
        ({"insurance": 25}, 4000 + 600 + 25),
        ({"insurance_percent": 1.0}, 4000 + 600 + 4600 * 0.011 / (1 - 0.011)),
        ({"incoterm": "CIF", "freight": None}, 4000),
        ({"incoterm": "DAP", "freight": None}, 4000),
        ({"incoterm": "CFR", "freight": None}, 4000 + 80),
    ],
)
def test_a_consignment_bears_it_where_nobody_has_insured(changes: dict[str, Any], value: float) -> None:
    rates = {"duty.8708.29": 0.1, "import_relief": 0}
    found = consignment("PH", overrides=rates, **changes)
    assert lines(found)["duty"] == pytest.approx(0.1 * value)
    assert any("customs count 2 %" in note for note in found.notes) == (value in (4680, 4080))


def test_an_additional_duty_without_a_rate_on_file_asks_for_it() -> None:
    rates = {"duty.8708.29": 0.045, "vat": 0.2}
    with pytest.raises(
        RuleError, match=r"no rate of additional_duty is on file. Many lines .* \"additional_duty.rate\""
    ):
        landed_cost("TR", 4000, overrides=rates, additional=["additional_duty"])

    landed = landed_cost(
        "TR", 4000, overrides=rates | {"additional_duty.rate": 0.1}, additional=["additional_duty"]
    )
    assert landed.amount("additional_duty") == Decimal("400.00")
    with pytest.raises(RuleError, match="It is a share from 0 to 1"):
        landed_cost("TR", 4000, overrides=rates | {"additional_duty.rate": 10})


def test_a_heading_without_a_rate_asks_for_it() -> None:
    from forecast.trade.landed import KnownGoods

    with pytest.raises(RuleError, match=r"hs '8707.10': Mexico has no duty rate for it on file.*overrides"):
        landed_cost("MX", [KnownGoods(4000, "8707.10")], overrides={"vat": 0.16})
