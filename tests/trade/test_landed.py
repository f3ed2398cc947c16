"""Landed cost against published examples and vectors worked out by hand."""

from __future__ import annotations

import json
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from forecast.errors import RuleError
from forecast.trade.exact import to_cents
from forecast.trade.landed import KnownGoods, landed_cost
from forecast.trade.rules import load_rules
from tests.trade.known_figures import chargeable

REFERENCES = json.loads(
    (Path(__file__).parents[1] / "references" / "landed_examples.json").read_text(encoding="utf-8")
)
EXAMPLES: dict[str, dict[str, Any]] = {example["id"]: example for example in REFERENCES["examples"]}
NO_STATE_CHARGES = {
    "AU": {"processing.lower": 0.0, "processing.upper": 0.0, "biosecurity.sea": 0.0},
    "NZ": {"levy.transaction": 0.0, "levy.biosecurity": 0.0},
}
FIVE = {"duty.8708.29": 0.05}
"""Where only a range is on file, a sum to the cent needs a rate."""
TODAY = date(2026, 11, 25)


def example(id: str) -> tuple[dict[str, Any], dict[str, Any]]:
    return EXAMPLES[id]["inputs"], EXAMPLES[id]["published"]


def money(value: float) -> Decimal:
    return Decimal(str(value)).quantize(Decimal("0.01"))


TESTED = {
    "nz-gst-only", "nz-duty-gst", "ie-baggage", "au-1200", "au-sea-declaration-fees", "ch-taxable-value",
    "eu-3-euro", "lt-9-euro", "us-ddp-backout-2014", "us-transaction-value", "us-mpf-index-fy2026",
    "air-volumetric-nz", "lcl-wm", "card-fee-gb-2",
}  # fmt: skip


WITHOUT_PROVINCIAL_TAX = {"CA": "AB"}
"""Where the federal tax alone is due, as the constructed vectors have it."""


def test_every_example_on_file_is_held_against() -> None:
    assert set(EXAMPLES) == TESTED


@pytest.mark.parametrize("vector", REFERENCES["constructed_vectors"], ids=lambda vector: vector["country"])
def test_a_kit_by_sea_as_worked_out_by_hand(vector: dict[str, Any]) -> None:
    country = vector["country"]

    landed = landed_cost(
        country,
        vector["goods"],
        export_inland=vector["inland_export"],
        freight=vector["freight"],
        insurance=vector["insurance"],
        arrival=vector["arrival_to_destination"],
        region=WITHOUT_PROVINCIAL_TAX.get(country),
        overrides={**NO_STATE_CHARGES.get(country, {}), "duty.8708.29": vector["duty_rate"]},
    )

    assert landed.amount("customs_value") == money(vector["customs_value"])
    assert landed.amount("duty") == money(vector["duty"])
    assert landed.amount("tax_base") == money(vector["tax_base"])
    assert landed.amount("tax") == money(vector["tax"])
    assert landed.amount("mpf") + landed.amount("hmf") == money(vector.get("levies", 0))
    assert landed.total == money(vector["landed"])


@pytest.mark.parametrize("vector", REFERENCES["constructed_vectors"], ids=lambda vector: vector["country"])
def test_the_rules_on_file_hold_the_rates_of_the_vectors(vector: dict[str, Any]) -> None:
    rules = load_rules(vector["country"]).in_region(WITHOUT_PROVINCIAL_TAX.get(vector["country"]))

    duty = rules.figure("duty.8708.29")
    assert duty.low <= vector["duty_rate"] <= duty.high
    if duty.is_range:  # the rate of the vector is from memory: the most likely, and not the only one
        assert (duty.middle, duty.certainty) == (vector["duty_rate"], "no source")
    assert (rules.figure(rules.tax).value if rules.tax else 0) == vector["tax_rate"]


def test_new_zealand_gst_only() -> None:
    given, published = example("nz-gst-only")

    landed = landed_cost(
        "NZ",
        given["goods"],
        freight=given["freight_insurance"],
        # the relief up to 1,000 is younger than this example of about 2012
        overrides={
            "duty.8708.29": 0.0,
            "gst": given["gst_rate"],
            "import_relief": 0.0,
            **NO_STATE_CHARGES["NZ"],
        },
    )

    assert landed.amount("tax") == money(published["gst"])


def test_new_zealand_duty_leaves_freight_out_and_gst_takes_it_in() -> None:
    given, published = example("nz-duty-gst")

    landed = landed_cost(
        "NZ",
        given["goods"],
        freight=given["freight_insurance"],
        # the relief up to 1,000 is younger than this example of about 2012
        overrides={
            "duty.8708.29": given["duty_rate"],
            "gst": given["gst_rate"],
            "import_relief": 0.0,
            **NO_STATE_CHARGES["NZ"],
        },
    )

    assert landed.amount("duty") == money(published["duty"])
    assert landed.amount("tax_base") == money(published["gst_base"])
    assert landed.amount("tax") == money(published["gst"])


def test_irish_vat_stands_on_value_and_duty() -> None:
    given, published = example("ie-baggage")
    goods = [
        KnownGoods(given["camera"], "8525.80"),
        KnownGoods(given["shirts"], "6205.20"),
    ]  # the dress is relieved

    landed = landed_cost(
        "IE", goods, overrides={"duty.8525": given["camera_duty"], "duty.6205": given["shirts_duty"]}
    )

    assert landed.amount("duty") == money(published["duty"])
    assert landed.amount("tax_base") == money(published["vat_base"])
    assert landed.amount("tax") == money(published["vat"])
    assert landed.amount("duty") + landed.amount("tax") == money(published["total"])


def test_australian_gst_stands_on_value_duty_transport_and_insurance() -> None:
    given, published = example("au-1200")

    landed = landed_cost(
        "AU",
        given["customs_value"],
        freight=given["transport_insurance"],
        overrides={"duty.8708.29": given["duty_rate"], **NO_STATE_CHARGES["AU"]},
    )

    assert landed.amount("duty") == money(published["duty"])
    assert landed.amount("tax_base") == money(published["voti"])
    assert landed.amount("tax") == money(published["gst"])
    assert landed.amount("duty") + landed.amount("tax") == money(published["total"])


def test_australian_charges_on_a_sea_declaration() -> None:
    given, published = example("au-sea-declaration-fees")

    after = landed_cost("AU", 12_000, overrides=FIVE)
    before = landed_cost("AU", 12_000, overrides=FIVE | {"biosecurity.sea": float(given["fid_sea_before"])})

    for landed, key in ((before, "before"), (after, "after")):
        charges = landed.amount("processing_upper") + landed.amount("biosecurity_sea")
        assert charges == money(published[key])


@pytest.mark.parametrize(
    ("value", "expected"), [(1_000, 0), (1_000.01, 50), (9_999.99, 50), (10_000, 152), (250_000, 152)]
)
def test_australian_processing_charge_by_bands(value: float, expected: float) -> None:
    landed = landed_cost("AU", value, overrides=FIVE)

    assert landed.amount("processing_lower") + landed.amount("processing_upper") == money(expected)


def test_swiss_tax_base_holds_clearance_and_inspection() -> None:
    given, published = example("ch-taxable-value")
    goods = given["goods_eur"] * given["chf_per_eur"]
    shipping = given["shipping_eur"] * given["chf_per_eur"]
    fees = given["customs_declaration_chf"] + given["opening_parcel_chf"]

    landed = landed_cost("CH", goods, freight=shipping, arrival=fees, mode="courier")

    assert landed.amount("customs_value") == money(published["invoice_chf"])
    assert landed.amount("customs_value") + landed.amount("arrival") == money(published["taxable_value"])
    assert landed.amount("tax_base") == money(197)  # the nearest franc
    assert landed.amount("tax") == money(
        EXAMPLES["ch-taxable-value"]["recomputed"]["vat_if_base_rounded_to_franc"]
    )


def test_swiss_tax_of_up_to_five_francs_is_not_collected() -> None:
    assert landed_cost("CH", 61).amount("tax") == 0
    assert landed_cost("CH", 63).amount("tax") == money(5.10)


@pytest.mark.parametrize(
    ("id", "codes"),
    [
        ("eu-3-euro", ["8708.29", "8708.29.90", "8708.10"]),
        ("lt-9-euro", ["6403.91"] * 1 + ["9503.00"] * 2 + ["6109.10"] * 5),
    ],
)
def test_small_consignments_to_the_eu_pay_by_kind_not_by_piece(id: str, codes: list[str]) -> None:
    given, published = example(id)
    assert len(codes) == given["pieces"]
    goods = [KnownGoods(15, code) for code in codes]

    landed = landed_cost("LT", goods, overrides={f"duty.{code}": 0.1 for code in codes})

    assert landed.amount("duty") == money(published["duty"])


def test_the_flat_duty_ends_above_150_euro() -> None:
    assert landed_cost("DE", 150).amount("duty") == money(3)
    assert landed_cost("DE", 150.01).amount("duty") == money(6.75)


def test_british_duty_begins_above_135_pounds_and_vat_at_the_first() -> None:
    small, larger = landed_cost("GB", 135), landed_cost("GB", 136)

    assert (small.amount("duty"), small.amount("tax")) == (0, money(27))
    assert larger.amount("duty") == money(5.44)


def test_american_duty_and_fee_make_up_a_duty_paid_price() -> None:
    """The examination prints the method: what is left of the price is the value, its duty and the fee at its most."""
    given, _ = example("us-ddp-backout-2014")
    recomputed = EXAMPLES["us-ddp-backout-2014"]["recomputed"]

    landed = landed_cost(
        "US",
        recomputed["transaction_value"],
        overrides={
            "duty.8708.29": given["duty_rate"],
            "mpf.rate": given["mpf_rate"],
            "mpf.maximum": given["mpf_cap"],
            "hmf.rate": 0,
        },
    )

    assert landed.amount("mpf") == money(recomputed["mpf"])
    assert landed.total == money(recomputed["check_total"]) == money(recomputed["net_of_non_dutiable"])


def test_american_customs_value_is_the_price_packed_ready() -> None:
    given, published = example("us-transaction-value")

    landed = landed_cost("US", given["price_packed_ready"], freight=700, insurance=90)

    assert landed.amount("customs_value") == money(published["customs_value"])


def test_american_processing_fee_takes_the_printed_amounts() -> None:
    """The printed maximum is a cent under 485 × 1.34331, the printed factor being rounded: the print holds."""
    given, published = example("us-mpf-index-fy2026")
    figures = load_rules("US").figures

    assert figures["mpf.minimum"].value == published["min"]
    assert figures["mpf.maximum"].value == published["max"]
    assert figures["mpf.informal"].value == published["informal"]
    assert to_cents(Decimal(str(given["base_min"])) * Decimal(str(given["factor"]))) == money(
        published["min"]
    )
    assert to_cents(Decimal(given["base_max"]) * Decimal(str(given["factor"]))) == money(
        published["max"] + 0.01
    )


@pytest.mark.parametrize(
    ("value", "id", "expected"),
    [
        (2_500, "mpf_informal", 2.69),
        (2_500.01, "mpf", 33.58),
        (9_694, "mpf", 33.58),  # landed at 33.580016: the minimum binds below
        (10_000, "mpf", 34.64),
        (188_077, "mpf", 651.50),
        (300_000, "mpf", 651.50),
    ],
)
def test_american_processing_fee_between_its_limits(value: float, id: str, expected: float) -> None:
    landed = landed_cost("US", value, mode="air")

    assert landed.amount(id) == money(expected)
    assert landed.amount("mpf") + landed.amount("mpf_informal") == money(expected)
    assert landed.amount("hmf") == 0  # by sea only


def test_a_charge_of_half_a_dollar_is_counted_too() -> None:
    """Harbor maintenance by sea, 0.125 % of the value (19 CFR 24.24): half a dollar on 400."""
    assert landed_cost("US", 400, mode="sea").amount("hmf") == money(0.50)


def test_section_232_counts_only_when_asked_for() -> None:
    plain = landed_cost("US", 4_000, origin="TW")
    asked = landed_cost("US", 4_000, origin="TW", additional=["section232"])
    german = landed_cost("US", 4_000, origin="DE", additional=["section232"])
    japanese = landed_cost(
        "US", 4_000, origin="JP", additional=["section232"], overrides={"section232.total.JP": 0.15}
    )

    assert plain.amount("section232") == 0
    assert asked.amount("section232") == money(1_000)
    assert german.amount("section232") + german.amount("duty") == money(600)
    assert japanese.amount("section232") + japanese.amount("duty") == money(600)


def test_section_301_is_for_china() -> None:
    assert landed_cost("US", 4_000, origin="CN", additional=["section301"]).amount("section301") == money(
        1_000
    )
    assert landed_cost("US", 4_000, origin="JP", additional=["section301"]).amount("section301") == 0


def test_duty_is_shared_out_over_tariff_codes_by_price() -> None:
    goods = [KnownGoods(3_000, "8708.29"), KnownGoods(1_000, "8708.70")]

    landed = landed_cost("GB", goods, freight=400, overrides={"duty.8708.70": 0.02})

    assert landed.amount("duty") == money(3_300 * 0.04 + 1_100 * 0.02)
    assert landed.component("duty").working == "4,400.00, shared out by price: 8708.29 at 4 %, 8708.70 at 2 %"


def test_air_freight_rounds_up_to_a_whole_kilogram() -> None:
    given, published = example("air-volumetric-nz")
    box = (*given["cm"], given["actual_kg"], 1)

    exact = chargeable("air", [box], {"air.divisor": given["divisor"], "air.step": 0.001})

    assert exact == Decimal(str(published["volumetric_kg"]))
    assert chargeable("air", [box]) == published["chargeable_kg"]


def test_sea_freight_by_weight_or_measure() -> None:
    given, published = example("lcl-wm")
    box = (100, 100, 1000, given["tonnes"] * 1000, 1)

    assert chargeable("sea", [box]) * given["rate_per_wm"] == published["freight"]


def test_card_fee() -> None:
    given, published = example("card-fee-gb-2")

    assert given["gbp_equivalent"] * given["fee"] == published["fee"]


@pytest.mark.parametrize(
    ("country", "unit"), [("IE", "0.01"), ("GB", "0.01"), ("US", "0.01"), ("CH", "0.01"), ("JP", "1")]
)
def test_every_part_is_a_whole_number_of_the_countrys_smallest_units(country: str, unit: str) -> None:
    """Rates of five digits on odd sums: each part is rounded before the next is reckoned from it."""
    rates = {"duty.8708.29": 0.04567}
    if country == "JP":  # so few yen bear nothing
        rates["import_relief"] = 0
    landed = landed_cost(country, 4_321, freight=617, insurance=43, arrival=459, overrides=rates)

    assert landed.amount("duty") > 100
    assert [part.id for part in landed.components if part.amount % Decimal(unit)] == []
    value = landed.amount("customs_value")
    assert abs(landed.amount("duty") - value * Decimal("0.04567")) <= Decimal(unit) / 2


def test_each_part_opens_to_its_working() -> None:
    landed = landed_cost("IE", 4_000, freight=600, insurance=40, arrival=450)

    assert landed.component("customs_value").working == "4,000.00 + 600.00 + 40.00"
    assert landed.component("duty").working == "4,640.00 × 4.5 %"
    assert landed.component("tax_base").working == "4,640.00 + 208.80 + 450.00"
    assert landed.component("tax").working == "5,298.80 × 23 %"
    assert landed.total == sum(part.amount for part in landed.components if part.paid)


def test_doubts_are_said_only_of_figures_in_use() -> None:
    landed = landed_cost("US", 4_000, on=TODAY)
    overridden = landed_cost("US", 4_000, on=TODAY, overrides={"duty.8708.29": 0.025})

    assert "duty.8708.29" in {warning.figure for warning in landed.warnings}
    assert "section232.rate" not in {warning.figure for warning in landed.warnings}
    assert "duty.8708.29" not in {warning.figure for warning in overridden.warnings}


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: landed_cost("BR", 1), r"no customs rules for 'BR'. On file: AE, AT, AU, BE"),
        (lambda: landed_cost("GB", -1), r"goods: found -1. A cost cannot be negative"),
        (lambda: landed_cost("GB", [KnownGoods(1, "9401.20")]), r"hs '9401.20'.*\"duty.9401.20\" = 0.04"),
        (
            lambda: landed_cost("GB", 1, overrides={"vta": 0.2}),
            r"no rule figure 'vta'. Legal: agreed_arrival",
        ),
        (lambda: landed_cost("GB", 1, overrides={"vat": 20}), r"found 20. It is a share from 0 to 1"),
        (
            lambda: landed_cost("GB", 1, additional=["section232"]),
            r"no additional duty 'section232'. Legal: none",
        ),
        (lambda: landed_cost("GB", []), r"goods: none is given"),
        (lambda: landed_cost("GB", 1).component("gst"), r"no part 'gst'. Legal: goods, customs_value"),
    ],
)
def test_refusals_say_what_is_legal(call: Any, message: str) -> None:
    with pytest.raises(RuleError, match=message):
        call()
