"""Where goods are made and where they are sent from are two things; within one customs territory nothing is due."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from forecast.buildfile.consignment import Consignment
from forecast.figures.evaluate import evaluate
from forecast.figures.formula import Constant
from forecast.trade.consignment_lines import expand
from forecast.trade.expansion import Expansion
from forecast.trade.rules import load_rules
from tests.trade.test_local_tax import lines

BORDER = {"entry", "duty", "tax", "levies", "section232", "disbursement"}
OWN = {
    "entry": 90, "delivery": 100, "terminal": 0, "documents": 0, "surcharges": 0, "disbursement_percent": 2,
    "disbursement_minimum": 10,
}  # fmt: skip


def consignment(country: str = "NL", **changes: Any) -> Expansion:
    raw = {
        "id": "kit", "price": 4000, "incoterm": "FCA", "mode": "road", "freight": 300, "arrival": OWN, **changes,
    }  # fmt: skip
    home = load_rules(country).currency
    return expand(Consignment.model_validate(raw), country, home, {}, date(2026, 11, 25))


def said(expansion: Expansion, words: str) -> bool:
    return any(words in note for note in expansion.notes)


@pytest.mark.parametrize(
    "whence", [{"origin": "DE"}, {"origin": "NL"}, {"sent_from": "DE"}, {"origin": "JP", "sent_from": "DE"}]
)
def test_from_the_own_customs_territory_no_duty_and_no_entry_are_due(whence: dict[str, str]) -> None:
    expansion = consignment(**whence)
    names = {line.id.removeprefix("kit.") for line in expansion.lines}
    assert not names & BORDER
    assert {"goods", "freight", "delivery"} <= names
    assert not expansion.events
    assert said(expansion, "no duty, no import tax and no customs entry")
    assert said(expansion, "there is no entry: it is left out")
    assert not any(use.id.startswith("duty.") for use in expansion.figures)


def test_a_charge_without_tax_bears_it_within_the_territory_too() -> None:
    assert lines(consignment(origin="DE"))["local_tax"] == pytest.approx(0.21 * 100)


UNIONS = [
    ("ZA", "NA"), ("ZA", "LS"), ("ZA", "SZ"), ("ZA", "BW"), ("CH", "LI"), ("GB", "IM"), ("DE", "MC"), ("NL", "MC"),
    ("US", "PR"),
]  # fmt: skip


@pytest.mark.parametrize(("country", "came"), UNIONS)
def test_from_a_customs_union_no_duty_is_due_and_the_tax_and_the_entry_are(country: str, came: str) -> None:
    expansion = consignment(country, sent_from=came)
    found, rules = lines(expansion), load_rules(country)
    assert "duty" not in found
    assert found["entry"] == 90
    assert said(expansion, "No duty is counted")
    assert not any(use.id.startswith("duty.") for use in expansion.figures)
    if rules.tax is None:
        return
    rate = rules.figure(rules.tax).value
    bearing = lines(consignment(country, sent_from="TW", overrides={"duty.8708.29": 0.1}))
    assert bearing["duty"] > 390
    assert found["tax"] == pytest.approx(
        bearing["tax"] - rate * bearing["duty"], abs=0.1
    )  # francs are whole ones


def test_made_there_and_sent_from_elsewhere_bears_the_duty() -> None:
    far = consignment("GB", origin="IM", sent_from="TW")
    assert lines(far)["duty"] > 0
    assert not said(far, "No duty is counted")


def test_a_duty_that_the_builder_writes_is_counted_in_a_union_too() -> None:
    own = consignment("GB", sent_from="IM", overrides={"duty.8708.29": 0.07})
    assert lines(own)["duty"] == pytest.approx(0.07 * 4300)


def test_an_additional_duty_is_left_out_with_the_duty_and_said() -> None:
    free = consignment("US", sent_from="PR", additional=["section232"])
    assert not {"duty", "section232"} & set(lines(free))
    assert said(free, "section232 is left out with the duty")


def test_a_neighbour_with_a_trade_protocol_is_pointed_out() -> None:
    assert said(consignment("ZA", origin="MU", overrides={"duty.8708.29": 0.2}), "SADC")


@pytest.mark.parametrize(
    "whence",
    [{}, {"origin": "JP"}, {"origin": "DE", "sent_from": "GB"}, {"sent_from": "CH"}, {"origin": "TR"}],
)
def test_from_elsewhere_both_are(whence: dict[str, str]) -> None:
    names = {line.id.removeprefix("kit.") for line in consignment(**whence).lines}
    assert {"entry", "duty", "tax"} <= names


def test_a_quote_from_the_own_union_is_cheaper_by_what_is_due_at_a_border() -> None:
    home, abroad = (sum(lines(consignment(origin=origin)).values()) for origin in ("DE", "GB"))
    assert home < abroad - 0.21 * 4000


def test_made_and_sent_from_are_told_apart() -> None:
    direct, by_a_shop = consignment(origin="JP"), consignment(origin="JP", sent_from="US")
    assert said(direct, "Origin JP: A trade agreement may bring the duty to 0")
    assert not said(direct, "direct transport")
    assert said(by_a_shop, "Made in JP, sent from US: most agreements ask for direct transport")
    assert said(consignment(origin="CN", sent_from="JP"), "an agreement with JP goes by where goods are made")
    assert not said(consignment(origin="CN", sent_from="US"), "goes by where goods are made")


def test_an_origin_that_is_not_told_is_asked_for() -> None:
    assert said(consignment(), "Where the goods were made is not told")
    assert said(consignment(sent_from="JP"), 'write origin = "…"')
    assert not said(consignment(origin="JP"), "is not told")
    assert said(consignment("US"), "or an additional duty holds")


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"additional": ["section301"]}, "and where these were made is not told"),
        (
            {"additional": ["section301"], "origin": "TW"},
            "holds for goods made in CN, and these were made in TW",
        ),
        ({"additional": ["section301"], "origin": "CN", "hs": "7318.15"}, "and these are 7318.15"),
    ],
)
def test_an_additional_duty_that_is_asked_for_and_not_counted_says_so(
    changes: dict[str, Any], words: str
) -> None:
    expansion = consignment("US", overrides={"duty.7318": 0.0}, **changes)
    assert expansion.line("kit.section301") is None
    assert said(expansion, "section301 IS NOT COUNTED")
    assert said(expansion, words)
    counted = consignment("US", additional=["section301"], origin="CN")
    assert counted.line("kit.section301") is not None
    assert not said(counted, "NOT COUNTED")


def test_carriage_dearer_than_the_price_that_holds_it_is_refused_or_said() -> None:
    paid: dict[str, Any] = {"incoterm": "CPT", "freight": None}
    with pytest.raises(ValueError, match="comes to 5000, the price that holds it to 4000"):
        consignment(**paid, shown_freight=5000)
    wide = consignment(**paid, price={"low": 2000, "high": 9000}, shown_freight=2500)
    assert said(wide, "as dear as the price that holds them, or dearer")
    plain = consignment(**paid, shown_freight=500)
    assert not said(plain, "as dear as the price")
    value = next(stage for stage in plain.stages if stage.id == "kit.customs_value")
    assert float(evaluate(value.formula, {}, {"kit.goods": 4000.0})) == 4000


@pytest.mark.parametrize("place", ["Port of Rotterdam", "Rotterdam, CFS", "Schiphol airport"])
def test_carriage_that_ends_at_a_port_is_doubted_and_can_be_told(place: str) -> None:
    paid: dict[str, Any] = {"incoterm": "DAP", "freight": None, "mode": "sea", "arrival": {}}
    silent = consignment(**paid, place=place)
    assert said(silent, f"DAP {place}: that sounds like a port or depot")
    assert silent.line("kit.delivery") is None
    port = consignment(**paid, place=place, place_is="port")
    assert port.line("kit.delivery") is not None
    assert not said(port, "sounds like")
    door = consignment(**paid, place=place, place_is="door")
    assert door.line("kit.delivery") is None
    assert not said(door, "sounds like")
    assert not said(consignment(**paid, place="Newport Pagnell"), "sounds like")


def test_own_haulage_from_a_port_is_counted() -> None:
    paid: dict[str, Any] = {"incoterm": "DAP", "freight": None, "mode": "sea", "arrival": {"delivery": 140}}
    line = consignment(**paid, place_is="port").line("kit.delivery")
    assert line is not None
    assert line.formula == Constant(140)
    assert said(consignment(**paid), 'Where the named place is a port, write place_is = "port"')


def test_a_c_rule_that_reaches_the_door_counts_no_delivery() -> None:
    paid: dict[str, Any] = {"incoterm": "CPT", "freight": None, "mode": "sea", "arrival": {}}
    assert consignment(**paid).line("kit.delivery") is not None
    assert consignment(**paid, place_is="door").line("kit.delivery") is None
