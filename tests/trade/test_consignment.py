"""Consignments written out into lines."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from math import exp, sqrt
from typing import Any

import numpy as np
import pytest

from forecast.buildfile.consignment import Consignment
from forecast.buildfile.schema import Currency
from forecast.errors import RuleError
from forecast.figures.evaluate import evaluate
from forecast.figures.formula import Input, LineValue, walk
from forecast.figures.kinds import (
    Discrete,
    Known,
    LognormalMedian,
    LognormalPercentiles,
    Quotes,
    Span,
    Triangular,
)
from forecast.trade.consignment_lines import Expansion, customs_day, expand, payment_days
from forecast.trade.currency import build_paths
from forecast.trade.exact import placeholders
from forecast.trade.expansion import Words, said_together
from forecast.trade.landed import KnownGoods, landed_cost
from forecast.trade.rules import load_rules
from forecast.trade.rules.model import Remark

TODAY = date(2026, 11, 25)
JPY = {"JPY": Currency(rate=0.0057, volatility=0.10, margin=2.5)}
BOX = {"length": 200, "width": 120, "height": 60, "weight": 45}
NO_ARRIVAL = {
    "terminal": 0, "documents": 0, "surcharges": 0, "entry": 0, "delivery": 0,
    "disbursement_percent": 0, "disbursement_minimum": 0,
}  # fmt: skip
NO_STORAGE = {"days": 1, "steps": [{"rate": 5}]}
PLAIN = {
    "id": "kit", "price": 4000, "incoterm": "FOB", "mode": "sea", "boxes": [BOX], "freight": 600,
    "arrival": NO_ARRIVAL, "storage": NO_STORAGE, "examination": {"chance": 0, "cost": 1},
}  # fmt: skip


def written(
    raw: Mapping[str, Any],
    country: str = "IE",
    home: str = "EUR",
    currencies: Mapping[str, Currency] | None = None,
    region: str | None = None,
) -> Expansion:
    consignment = Consignment.model_validate(raw)
    paths = build_paths(currencies or {}, home, payment_days([consignment], country, home))
    return expand(consignment, country, home, paths, TODAY, region=region)


def amounts(expansion: Expansion, inputs: Mapping[str, Any] | None = None) -> dict[str, Any]:
    """Evaluate all lines; inputs that are not given stand at their middle."""
    values: dict[str, Any] = {
        id: figure.shape().ppf(np.zeros(1))[0] for id, figure in expansion.inputs.items()
    }
    values.update(inputs or {})
    lines: dict[str, Any] = {}
    for line in expansion.lines:
        lines[line.id] = evaluate(line.formula, values, lines)
    return lines


def stage(
    expansion: Expansion, id: str, lines: Mapping[str, Any], inputs: Mapping[str, Any] | None = None
) -> Any:
    values: dict[str, Any] = {
        key: figure.shape().ppf(np.zeros(1))[0] for key, figure in expansion.inputs.items()
    }
    values.update(inputs or {})
    formula = next(one.formula for one in expansion.stages if one.id == id)
    return evaluate(formula, values, lines)


def said(expansion: Expansion, words: str) -> bool:
    return any(words in note for note in expansion.notes)


HOME = {
    "GB": "GBP", "IE": "EUR", "DE": "EUR", "US": "USD", "AU": "AUD", "NZ": "NZD", "CA": "CAD", "CH": "CHF", "JP": "JPY",
}  # fmt: skip


@pytest.mark.parametrize("country", HOME)
def test_a_known_consignment_comes_to_the_landed_cost(country: str) -> None:
    """Two ways to the same sum: the formulas of the lines, and the exact calculation.

    Charges on arrival are as billed where the import tax leaves them out.
    """
    base = load_rules(country).tax_base
    arrival = {**NO_ARRIVAL, "entry": 450, "holds_tax": base is not None and "arrival" not in base.parts}
    raw = {**PLAIN, "arrival": arrival, "export_inland": 150, "incoterm": "EXW"}
    raw |= {"goods": [{"id": "panels", "price": 3000}, {"id": "rims", "price": 1000, "hs": "8708.70"}]}
    del raw["price"]
    rates = load_rules(country).figures
    rough = {id: rates[id].high for id in ("duty.8708.29", "duty.8708.70") if rates[id].is_range}
    raw["overrides"] = rough

    region = "ON" if country == "CA" else None

    lines = amounts(written(raw, country, HOME[country], region=region))
    goods = [KnownGoods(3000), KnownGoods(1000, "8708.70")]
    landed = landed_cost(
        country, goods, export_inland=150, freight=600, arrival=450, region=region, overrides=rough
    )

    rounding = 1.0 if country == "JP" else 0.01  # two roundings to the smallest coin at most
    assert sum(lines.values()) == pytest.approx(float(landed.total), abs=2 * rounding)
    assert lines["kit.duty"] == pytest.approx(float(landed.amount("duty")), abs=rounding)
    assert lines.get("kit.tax", 0) == pytest.approx(float(landed.amount("tax")), abs=rounding)


def test_a_dearer_kit_drags_duty_tax_and_the_advancing_fee_along() -> None:
    raw = {**PLAIN, "price": {"low": 3000, "middle": 4000, "high": 6000}}
    raw["arrival"] = {**NO_ARRIVAL, "disbursement_percent": 2.5, "disbursement_minimum": 12}
    prices = np.array([3000.0, 4000.0, 6000.0])

    lines = amounts(written(raw), {"kit.goods.price": prices})

    value = prices + 600
    assert lines["kit.duty"] == pytest.approx(0.045 * value)
    assert lines["kit.tax"] == pytest.approx(0.23 * 1.045 * value)
    assert lines["kit.disbursement"] == pytest.approx(0.025 * (0.045 + 0.23 * 1.045) * value)


def test_one_path_of_the_rate_moves_price_duty_and_tax() -> None:
    raw = {**PLAIN, "price": 700_000, "currency": "JPY", "origin": "JP", "deposit": 0.3, "balance_days": 60}
    expansion = written(raw, currencies=JPY)
    assert {"fx.JPY.rate", "fx.JPY.60d", "fx.JPY.110d"} == set(expansion.inputs)

    lines = amounts(expansion, {"fx.JPY.60d": 1.5, "fx.JPY.110d": -0.5})

    at_60 = 0.0057 * exp(0.10 * sqrt(60 / 365) * 1.5)
    at_110 = at_60 * exp(-0.10 * sqrt(50 / 365) * 0.5)
    paid = 700_000 * (0.3 * 0.0057 + 0.7 * at_60)
    value = 700_000 * at_110 + 600
    assert lines["kit.goods"] == pytest.approx(paid)
    assert lines["kit.margin"] == pytest.approx(0.025 * paid)
    assert lines["kit.duty"] == pytest.approx(0.045 * value)  # the customs rate bears no margin
    assert lines["kit.tax"] == pytest.approx(0.23 * 1.045 * value)


def test_a_dear_currency_makes_all_of_it_dear() -> None:
    raw = {**PLAIN, "price": 700_000, "currency": "JPY"}
    expansion = written(raw, currencies=JPY)
    rng = np.random.default_rng(7)
    inputs = {"fx.JPY.60d": rng.standard_normal(2000), "fx.JPY.110d": rng.standard_normal(2000)}

    lines = amounts(expansion, inputs)

    correlation = np.corrcoef(lines["kit.goods"], lines["kit.duty"])[0, 1]
    assert correlation == pytest.approx(sqrt(60 / 110), abs=4 * (1 - 60 / 110) / sqrt(2000))


def test_a_known_customs_rate_stands_apart_from_the_buyers() -> None:
    raw = {**PLAIN, "price": 700_000, "currency": "JPY", "customs_rate": 0.006}

    lines = amounts(written(raw, currencies=JPY), {"fx.JPY.60d": 2.0})

    assert lines["kit.duty"] == pytest.approx(0.045 * (700_000 * 0.006 + 600))


def test_customs_convert_a_freight_by_the_unit_at_their_own_rate_too() -> None:
    """One box of 2 m × 1.2 m × 0.6 m is 1.44 m³: 14,400 yen of freight at 10,000 for each."""
    raw = {**PLAIN, "price": 700_000, "currency": "JPY", "customs_rate": 0.006}
    raw |= {"freight": None, "freight_rate": {"value": 10_000, "currency": "JPY"}}

    lines = amounts(written(raw, currencies=JPY), {"fx.JPY.60d": 2.0})

    assert lines["kit.duty"] == pytest.approx(0.045 * 0.006 * (700_000 + 14_400))


def test_of_storage_only_what_is_usual_and_not_the_builders_is_told() -> None:
    free, later = (
        "Days of storage without charge",
        "Storage from the eighth charged day, times the first rate",
    )
    own_rate, own_days = {"steps": [{"rate": 5}]}, {"free_days": 2}
    for given, told in (
        ({}, [free, later]),
        (own_rate, [free]),
        (own_days, [later]),
        (own_rate | own_days, []),
    ):
        storage = written({**PLAIN, "storage": {"days": 9, **given}})
        know = next(line.know for line in storage.lines if line.id == "kit.storage")
        assert [note.split(":")[0] for note in know] == told


def test_what_enters_the_base_is_told_of_the_charge_that_stands_on_it() -> None:
    know = {line.id: [note.split(":")[0] for note in line.know] for line in written(PLAIN, "AU", "AUD").lines}
    assert "Tax base" in know["kit.tax"]
    assert "Tax base" not in know["kit.duty"]
    arab = {line.id: [note.split(":")[0] for note in line.know] for line in written(PLAIN, "AE", "AED").lines}
    assert [name for name, told in arab.items() if "Tax base" in told] == ["kit.tax"]


@pytest.mark.parametrize(
    ("hs", "origin", "told"),
    [
        ("8708.29", "JP", ["of all", "of wings", "of Japan", "of wings of Japan"]),
        ("8708.29", "CN", ["of all", "of wings"]),
        ("8708.99", "JP", ["of all", "of Japan"]),
    ],
)
def test_a_remark_is_made_of_the_codes_and_origins_that_it_names(
    hs: str, origin: str, told: list[str]
) -> None:
    remarks = (
        Remark("of all"), Remark("of wings", hs="8708.29"), Remark("of Japan", origins=("JP",)),
        Remark("of wings of Japan", "8708.29", ("JP",)),
    )  # fmt: skip
    bought = Consignment.model_validate({**PLAIN, "hs": hs, "origin": origin, "sent_from": "JP"})
    rules = replace(load_rules("IE"), remarks=remarks)
    found = expand(bought, "IE", "EUR", {}, TODAY, rules=rules)
    assert [note for note in found.notes if " of " in note[:20]] == [f"{rules.name}: {one}" for one in told]


@pytest.mark.parametrize(("country", "home", "to"), [("AU", "AUD", "5"), ("CA", "CAD", "6")])
def test_a_rate_that_is_a_range_on_file_says_so_in_percent(country: str, home: str, to: str) -> None:
    duty = next(line for line in written(PLAIN, country, home).lines if line.id == "kit.duty")
    assert duty.working.endswith(f"(from 0 to {to} %)")


@pytest.mark.parametrize(
    ("figure", "low"),
    [
        (Known(value=40), 40), (Span(low=30, high=60), 30), (Triangular(min=20, mode=30, max=50), 20),
        (LognormalPercentiles(p10=35, p90=80), 35), (LognormalMedian(median=50, sigma=0.5), 25),
        (Quotes(quotes=(70, 45, 90)), 45), (Discrete(values=(9, 5), chances=(0.5, 0.5)), 5),
    ],
)  # fmt: skip
def test_what_is_surely_far_above_a_limit_is_told_by_a_low_value(figure: Any, low: float) -> None:
    assert figure.cautious_low == low


def test_parts_that_come_to_nothing_are_said_only_where_all_do() -> None:
    parts = [Words("nothing: by sea only"), Words("2 × 30"), Words("nothing: under 150"), Words("4")]
    assert said_together(parts, bool) == "2 × 30 + 4"
    assert said_together([parts[0], parts[2], parts[0]], bool) == "nothing: by sea only; nothing: under 150"


def test_consignments_share_the_path_of_a_currency() -> None:
    first = Consignment.model_validate({**PLAIN, "currency": "JPY", "balance_days": 30})
    second = Consignment.model_validate({**PLAIN, "id": "rims", "currency": "JPY", "balance_days": 90})
    days = payment_days([first, second], "IE", "EUR")
    paths = build_paths(JPY, "EUR", days)
    expansions = [expand(one, "IE", "EUR", paths, TODAY) for one in (first, second)]

    assert days == {"JPY": frozenset({0, 30, 80, 90, 140})}
    assert expansions[0].inputs.keys() == expansions[1].inputs.keys()
    assert expansions[0].inputs["fx.JPY.30d"] == expansions[1].inputs["fx.JPY.30d"]


def test_freight_by_the_chargeable_unit_with_its_minimum_in_its_own_currency() -> None:
    raw = {
        **PLAIN,
        "boxes": [{**BOX, "count": 2}],
        "freight_rate": {"low": 80, "high": 200, "currency": "USD"},
    }
    raw |= {"freight_minimum": 400}
    del raw["freight"]
    usd = {"USD": Currency(rate=0.9, volatility=0)}

    for rate, expected in ((100.0, 400), (200.0, 2.88 * 200)):
        lines = amounts(written(raw, currencies=usd), {"kit.freight_rate": rate})
        assert lines["kit.freight"] == pytest.approx(0.9 * expected)
        assert lines["kit.duty"] == pytest.approx(0.045 * (4000 + 0.9 * expected))
    assert written(raw, currencies=usd).inputs["kit.freight_rate"] == Span(low=80, high=200, unit="USD")


def test_margin_is_added_to_foreign_payments_only_unless_the_consignment_says_so() -> None:
    foreign = {**PLAIN, "price": 700_000, "currency": "JPY"}

    assert "kit.margin" not in amounts(written(PLAIN))
    assert amounts(written({**PLAIN, "card_margin": 2.0}))["kit.margin"] == pytest.approx(0.02 * 4600)
    lines = amounts(written({**foreign, "card_margin": 3.0}, currencies=JPY))
    assert lines["kit.margin"] == pytest.approx(0.03 * lines["kit.goods"])
    for margin in (0.5, 1.0, 1.25):  # a bank may ask for less than one percent
        lines = amounts(written({**foreign, "card_margin": margin}, currencies=JPY))
        assert lines["kit.margin"] == pytest.approx(margin / 100 * lines["kit.goods"])
    assert "kit.margin" not in amounts(written({**foreign, "card_margin": 0}, currencies=JPY))


def test_a_fee_for_the_transfer_comes_on_top_of_the_margin() -> None:
    raw = {**PLAIN, "price": 700_000, "currency": "JPY", "payment_fee": 15}

    lines = amounts(written(raw, currencies=JPY))

    assert lines["kit.margin"] == pytest.approx(0.025 * lines["kit.goods"] + 15)


def test_transit_insurance_on_cost_and_freight_and_ten_percent() -> None:
    expansion = written({**PLAIN, "insurance_percent": 1.5})
    line = expansion.line("kit.insurance")
    lines = amounts(expansion)

    assert line is not None
    assert line.working == "1.5 % of 110 % of ({kit.goods} + {kit.freight} + the premium itself)"
    premium = lines["kit.insurance"]
    assert premium == pytest.approx(0.015 * 1.10 * (4600 + premium))
    assert lines["kit.duty"] == pytest.approx(0.045 * (4600 + premium))


def test_storage_and_advancing_fee_as_written() -> None:
    raw = {**PLAIN, "boxes": [{**BOX, "count": 2}]}
    raw["storage"] = {
        "free_days": 5,
        "days": 14.5,
        "steps": [{"days": 5, "rate": 4}, {"rate": 8}],
        "minimum": 30,
    }
    raw["arrival"] = {
        **NO_ARRIVAL,
        "terminal": 70,
        "entry": 90,
        "disbursement_percent": 2.5,
        "disbursement_minimum": 40,
    }

    expansion = written(raw)
    lines = amounts(expansion)

    assert lines["kit.storage"] == pytest.approx(2.88 * (5 * 4 + 5 * 8))
    assert lines["kit.terminal"] == pytest.approx(2.88 * 70)
    base = 1.045 * 4600 + lines["kit.storage"] + lines["kit.terminal"] + 90
    assert stage(expansion, "kit.tax_base", lines) == pytest.approx(base)
    assert lines["kit.tax"] == pytest.approx(0.23 * base)
    assert lines["kit.disbursement"] == pytest.approx(max(40, 0.025 * (0.045 * 4600 + 0.23 * base)))


FULL = {
    "id": "kit", "price": 4000, "incoterm": "FOB", "mode": "sea", "boxes": [BOX], "freight": 600,
    "export_inland": 150, "crating": 80, "insurance_percent": 1.5, "card_margin": 2,
}  # fmt: skip
AFTER = {"terminal", "documents", "surcharges"}
CLEARANCE = {"entry", "storage", "disbursement"}
DUES = {"duty", "tax", "local_tax"}
EXPECTED = {
    "EXW": {"export", "freight", "insurance", "delivery"} | AFTER | CLEARANCE | DUES,
    "FCA": {"export", "freight", "insurance", "delivery"} | AFTER | CLEARANCE | DUES,
    "FOB": {"freight", "insurance", "delivery"} | AFTER | CLEARANCE | DUES,
    "CFR": {"insurance", "delivery"} | AFTER | CLEARANCE | DUES,
    "CPT": {"insurance", "delivery"} | AFTER | CLEARANCE | DUES,
    "CIF": {"delivery"} | AFTER | CLEARANCE | DUES,
    "CIP": {"delivery"} | AFTER | CLEARANCE | DUES,
    "DAP": {"insurance"} | CLEARANCE | DUES,
    "DPU": {"insurance"} | CLEARANCE | DUES,
    "DDP": {"insurance"},
}


@pytest.mark.parametrize("rule", EXPECTED)
def test_a_cost_that_stays_with_the_seller_has_no_line(rule: str) -> None:
    expansion = written({**FULL, "incoterm": rule})

    names = {line.id.removeprefix("kit.") for line in expansion.lines}
    assert names == EXPECTED[rule] | {"goods", "crating", "margin"}
    assert [event.id for event in expansion.events] == ([] if rule == "DDP" else ["kit.examination"])


@pytest.mark.parametrize(
    ("rule", "words"),
    [
        ("DAP", "DAP: the seller pays the freight; the line freight is left out"),
        ("FOB", "FOB: the seller pays all costs in the export country; the line export is left out"),
        ("CIF", "CIF: the seller insures the transit (minimum cover); the line insurance is left out"),
        ("CIP", "CIP: the seller insures the transit (wide cover)"),
        ("CFR", "the usual ranges are widened, their high ends × 1.5"),
        ("CPT", "CPT: carriage beyond the named place is the buyer's"),
        ("DDP", "Have it in writing who is importer of record"),
        ("DAP", "DAP: the seller bears the risk of the transit"),
    ],
)
def test_what_is_left_out_or_assumed_is_said(rule: str, words: str) -> None:
    assert said(written({**FULL, "incoterm": rule}), words)


def test_what_is_missing_is_said() -> None:
    bare = {"id": "kit", "price": 4000, "incoterm": "EXW", "mode": "sea"}

    expansion = written(bare)

    assert said(expansion, "Add export_inland = …, or ask the seller for FCA")
    assert said(expansion, "the freight is the buyer's, and none is given")
    assert said(expansion, "no insurance is counted")
    assert said(expansion, "No boxes are given: arrival charges count 1 W/M")
    assert said(written({**bare, "incoterm": "FOB", "mode": "air"}), "ask the seller whether FCA is meant")
    given = {**bare, "incoterm": "DAP", "arrival": {"delivery": 90}}
    assert said(written(given), "DAP: the seller pays it; the line delivery is left out")


def test_c_rules_widen_the_usual_arrival_charges_and_leave_the_builders_own() -> None:
    fob, cfr = written(FULL), written({**FULL, "incoterm": "CFR"})
    own = written({**FULL, "incoterm": "CFR", "arrival": {"terminal": {"low": 50, "high": 60}}})

    assert fob.inputs["kit.arrival.terminal"].model_dump()["high"] == 120
    assert cfr.inputs["kit.arrival.terminal"].model_dump()["high"] == 180
    assert cfr.inputs["kit.arrival.entry"] == fob.inputs["kit.arrival.entry"]
    assert own.inputs["kit.arrival.terminal"] == Span(low=50, high=60, unit="EUR")


def test_carriage_that_the_invoice_shows_apart_leaves_the_customs_value_where_the_law_leaves_it_out() -> None:
    raw = {**PLAIN, "incoterm": "DAP", "shown_freight": 500, "shown_delivery": 100}
    del raw["freight"]

    american = amounts(written(raw, "US", "USD"))
    irish = amounts(written(raw))
    australian = amounts(written(raw | {"overrides": {"duty.8708.29": 0.05}}, "AU", "AUD"))

    assert american["kit.duty"] == pytest.approx(0.025 * 3400)
    assert irish["kit.duty"] == pytest.approx(0.045 * 3900)
    assert irish["kit.tax"] == pytest.approx(0.23 * (1.045 * 3900 + 100))
    assert australian["kit.tax"] == pytest.approx(0.10 * (1.05 * 3400 + 500))


def test_delivery_may_be_shown_apart_without_the_freight() -> None:
    raw = {**PLAIN, "incoterm": "DAP", "shown_delivery": 100}
    del raw["freight"]

    irish = amounts(written(raw))

    assert irish["kit.duty"] == pytest.approx(0.045 * 3900)
    assert irish["kit.tax"] == pytest.approx(0.23 * (1.045 * 3900 + 100))


def test_agreed_arrival_costs_may_stand_in_the_british_tax_base() -> None:
    raw = {**PLAIN, "agreed_arrival": True, "arrival": {**NO_ARRIVAL, "entry": 300}}

    by_sea = written(raw, "GB", "GBP")
    heavy = written({**raw, "boxes": [{**BOX, "weight": 2000}]}, "GB", "GBP")
    by_air = written({**raw, "mode": "air", "boxes": [{**BOX, "weight": 300}]}, "GB", "GBP")
    irish = written(raw)

    assert stage(by_sea, "kit.tax_base", amounts(by_sea)) == pytest.approx(1.04 * 4600 + 170)
    assert stage(heavy, "kit.tax_base", amounts(heavy)) == pytest.approx(1.04 * 4600 + 260)
    assert stage(by_air, "kit.tax_base", amounts(by_air)) == pytest.approx(1.04 * 4600 + 120)
    assert said(irish, "has no agreed amounts")


def test_any_rule_figure_can_be_overwritten_and_may_be_a_range() -> None:
    raw = {**PLAIN, "overrides": {"vat": 0.21, "duty.8708.29": {"low": 0.01, "high": 0.05}, "sea.minimum": 3}}
    expansion = written(raw)

    lines = amounts(expansion, {"kit.overrides.duty.8708.29": 0.02})

    assert lines["kit.duty"] == pytest.approx(0.02 * 4600)
    assert lines["kit.tax"] == pytest.approx(0.21 * 1.02 * 4600)
    assert stage(expansion, "kit.chargeable", lines) == 3
    duty = expansion.line("kit.duty")
    assert duty is not None
    assert duty.working == "{kit.customs_value} × {kit.overrides.duty.8708.29}"
    assert "Your own figure: duty.8708.29." in duty.note
    assert "duty.8708.29" not in {warning.figure for warning in expansion.warnings}


def test_outdated_and_unverified_figures_are_said_at_their_line() -> None:
    american = written({**PLAIN, "origin": "TW"}, "US", "USD")
    levies = american.line("kit.levies")
    duty = american.line("kit.duty")

    assert levies is not None
    assert duty is not None
    assert "held until 30 September 2026" in levies.caution
    assert "third party's page only" in duty.caution
    assert "mpf.rate" in {warning.figure for warning in american.warnings}
    assert "customs_value" in {warning.figure for warning in american.warnings}  # the text of 2024
    assert "sea.kg_per_m3" in {warning.figure for warning in american.warnings}
    assert said(american, 'additional = ["section232"] counts it')
    assert not said(american, "section301")


def test_the_tax_names_the_sources_of_the_figures_that_it_reads_and_of_no_others() -> None:
    """The rate alone; where the tax is so small that it may not be collected, the limit of that as well."""
    small = {**PLAIN, "price": 40, "freight": 15}
    for raw, country, home, read in (
        (PLAIN, "IE", "EUR", ["vat"]),
        (PLAIN, "CH", "CHF", ["vat"]),
        (small, "CH", "CHF", ["vat", "tax_relief"]),
    ):
        tax = written(raw, country, home).line("kit.tax")
        figures = load_rules(country).figures
        assert tax is not None
        assert tax.note == " ".join(f"{figures[id].label}: {figures[id].told}." for id in read)


def test_small_values_are_held_against_their_limits() -> None:
    tiny = {**PLAIN, "freight": 20, "price": {"low": 80, "middle": 120, "high": 300}}
    expansion = written(tiny, "GB", "GBP")
    prices = np.array([100.0, 134.9, 135.1, 200.0])

    lines = amounts(expansion, {"kit.goods.price": prices})

    assert lines["kit.duty"] == pytest.approx(np.array([0, 0, 155.1, 220]) * 0.04)
    assert "duty_relief" in {warning.figure for warning in expansion.warnings}
    assert "duty_relief" not in {warning.figure for warning in written(PLAIN, "GB", "GBP").warnings}


def test_small_parts_to_the_eu_bear_the_flat_duty() -> None:
    tiny = {**PLAIN, "freight": 20, "price": {"low": 80, "middle": 120, "high": 300}}

    lines = amounts(written(tiny), {"kit.goods.price": np.array([100.0, 150.0, 150.5])})

    assert lines["kit.duty"] == pytest.approx([3, 3, 0.045 * 170.5])


def test_an_additional_duty_has_a_line_of_its_own() -> None:
    raw = {**PLAIN, "origin": "DE", "additional": ["section232"]}

    lines = amounts(written(raw, "US", "USD"))

    assert lines["kit.duty"] + lines["kit.section232"] == pytest.approx(0.15 * 4000)


def test_each_additional_duty_bears_its_own_name_its_words_and_its_source() -> None:
    raw = {**PLAIN, "origin": "CN", "additional": ["section232", "section301"]}
    found = written({**raw, "overrides": {"section301.rate": 0.1}}, "US", "USD")

    first, second = found.line("kit.section232"), found.line("kit.section301")
    assert first is not None
    assert second is not None
    assert first.name == "Section 232 duty on automobile parts"
    assert "a customs broker's notice" in first.note
    assert any(text.startswith("Parts of passenger cars") for text in first.know)
    assert second.name == "Section 301 duty on goods made in China"
    assert second.note.startswith("Your own figure: section301.rate. On file is 25 %: ")
    assert "a trade adviser's notice" in second.note
    assert second.know == ("Goods made in China may bear this duty on top.",)
    values = amounts(found)
    assert (values["kit.section232"], values["kit.section301"]) == (pytest.approx(1000), pytest.approx(400))


def test_a_duty_whose_rate_the_builder_writes_keeps_its_words_and_where_they_stand() -> None:
    raw = {**PLAIN, "origin": "CN", "hs": "8708.70", "additional": ["anti_dumping_wheels"]}
    line = written({**raw, "overrides": {"anti_dumping_wheels.rate": 0.3}}).line("kit.anti_dumping_wheels")

    assert line is not None
    assert line.name == "Anti-dumping duty on steel wheels"
    assert line.note == "Your own figure: anti_dumping_wheels.rate."
    assert any("Regulation (EU) 2020/353" in text for text in line.know)


def test_goods_may_not_be_called_as_an_additional_duty() -> None:
    goods = [{"id": "section232", "price": 4000}]
    raw = {**PLAIN, "price": None, "goods": goods, "origin": "DE", "additional": ["section232"]}
    with pytest.raises(RuleError, match="goods are called 'section232', as the line of that additional duty"):
        written({key: value for key, value in raw.items() if value is not None}, "US", "USD")


def test_an_origin_with_a_trade_agreement_is_pointed_out() -> None:
    assert said(written({**PLAIN, "origin": "JP"}), "Origin JP: A trade agreement may bring the duty to 0")
    assert not said(written({**PLAIN, "origin": "TW"}), "trade agreement")


def test_sums_of_the_country_are_brought_to_the_builds_currency() -> None:
    aud = {"AUD": Currency(rate=0.6, volatility=0)}

    lines = amounts(written(PLAIN, "AU", "EUR", aud))

    assert lines["kit.levies"] == pytest.approx(0.6 * (50 + 66))
    with pytest.raises(
        RuleError, match=r"no rate for AUD. Add \[currency.AUD\] with rate = … \(EUR for one AUD\)"
    ):
        written(PLAIN, "AU", "EUR")


def test_a_country_without_the_euro_needs_no_rate_for_thresholds() -> None:
    expansion = written(PLAIN, "PL", "PLN")

    assert amounts(expansion)["kit.duty"] == pytest.approx(0.045 * 4600)
    assert said(expansion, "add [currency.EUR] if the goods are worth next to nothing")


@pytest.mark.parametrize("rule", EXPECTED)
@pytest.mark.parametrize(("country", "home"), [("IE", "EUR"), ("US", "USD"), ("NZ", "NZD"), ("CH", "CHF")])
def test_every_reference_finds_what_it_names(rule: str, country: str, home: str) -> None:
    raw = {**FULL, "incoterm": rule, "currency": "JPY", "price": {"low": 5e5, "middle": 7e5, "high": 9e5}}
    expansion = written(raw, country, home, JPY)
    known = {*expansion.inputs, *(one.id for one in expansion.stages), *(line.id for line in expansion.lines)}

    before: set[str] = set()
    for line in expansion.lines:
        for node in walk(line.formula):
            assert not isinstance(node, LineValue) or node.id in before
            assert not isinstance(node, Input) or node.id in expansion.inputs
        assert set(placeholders(line.working)) <= known
        assert "customs_value}" not in line.working.replace("{kit.customs_value}", "")
        before.add(line.id)
    for one in expansion.stages:
        assert set(placeholders(one.working)) <= known
    assert len(before) == len(expansion.lines)
    assert all(line.id.startswith("kit.") for line in expansion.lines)
    assert all(figure.currency is None for figure in expansion.inputs.values())


def test_known_figures_need_no_input() -> None:
    assert written(PLAIN).inputs == {}
    assert Known(value=4000) == Consignment.model_validate(PLAIN).items[0].price


def test_the_customs_entry_comes_after_the_way() -> None:
    one = Consignment.model_validate({**PLAIN, "balance_days": 40})

    assert customs_day(one) == 90  # fifty days by sea: common practice
    assert customs_day(one.model_copy(update={"customs_days": 75.0})) == 75


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"currency": "JPY"}, r"consignment 'kit': no rate for JPY. Add \[currency.JPY\]"),
        ({"hs": "9401.20"}, r"hs '9401.20': Ireland has no duty rate for it on file"),
        ({"overrides": {"vta": 0.2}}, r"consignment 'kit': IE: there is no rule figure 'vta'"),
        ({"overrides": {"vat": 21}}, r"found 21. It is a share from 0 to 1: write 0.21 for 21 %"),
        (
            {"overrides": {"sea.minimum": {"low": 1, "high": 2}}},
            r"'sea.minimum': found a range. Write one number",
        ),
        (
            {"additional": ["section232"]},
            r"Ireland has no additional duty 'section232'. Legal: anti_dumping_wheels, anti",
        ),
    ],
)
def test_refusals_say_where_and_how_to_mend(changes: dict[str, Any], message: str) -> None:
    with pytest.raises(RuleError, match=message):
        written({**PLAIN, **changes})


def test_a_kit_by_sea_lands_at_what_is_usual() -> None:
    """Check values alone (common practice, no source): landed cost over price, and port bill over freight."""
    raw = {
        "id": "kit", "incoterm": "FOB", "mode": "sea", "price": {"low": 1040, "middle": 1380, "high": 1960},
        "boxes": [{**BOX, "height": {"low": 50, "middle": 65, "high": 90}}],
        "freight_rate": {"low": 70, "middle": 110, "high": 200},
    }  # fmt: skip
    expansion = written(raw)
    rng = np.random.default_rng(11)
    inputs = {id: figure.shape().ppf(rng.standard_normal(4000)) for id, figure in expansion.inputs.items()}

    lines = amounts(expansion, inputs)

    landed = sum(lines.values()) / lines["kit.goods"]
    port = [
        f"kit.{name}" for name in ("terminal", "documents", "surcharges", "entry", "storage", "disbursement")
    ]
    port_bill = sum(lines[name] for name in port) / lines["kit.freight"]
    assert np.quantile(landed, 0.1) < 1.8 < np.quantile(landed, 0.9)
    assert np.quantile(port_bill, 0.1) < 2.0 < np.quantile(port_bill, 0.9)
