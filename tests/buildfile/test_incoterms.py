"""The Incoterms 2020 matrix. Which cells were read where stands in the data file; most are from memory."""

from __future__ import annotations

import pytest

from forecast.buildfile.incoterms import COSTS, buyer_pays, incoterm, incoterms, who_pays
from forecast.errors import RuleError

# Who pays, in the order of COSTS: S seller, B buyer, n nobody must.
MATRIX = {
    "EXW": "S B B B B B n B B B B B",
    "FCA": "S S S S B B n B B B B B",
    "FOB": "S S S S S B n B B B B B",
    "CPT": "S S S S S S n B S B B B",
    "CIP": "S S S S S S S B S B B B",
    "CFR": "S S S S S S n B B B B B",
    "CIF": "S S S S S S S B B B B B",
    "DAP": "S S S S S S n S S B B B",
    "DPU": "S S S S S S n S S B B S",
    "DDP": "S S S S S S n S S S S B",
}
LETTER = {"S": "seller", "B": "buyer", "n": "nobody"}


@pytest.mark.parametrize("rule", MATRIX)
def test_who_pays_what(rule: str) -> None:
    expected = [LETTER[letter] for letter in MATRIX[rule].split()]

    assert [who_pays(rule, cost) for cost in COSTS] == expected


def test_the_matrix_is_whole() -> None:
    assert list(incoterms()) == list(MATRIX)


@pytest.mark.parametrize("cost", COSTS)
def test_a_later_rule_never_gives_a_cost_back_to_the_buyer(cost: str) -> None:
    """From EXW over FCA, FOB, CFR, DAP to DDP the seller takes on more and more."""
    order = ["EXW", "FCA", "FOB", "CFR", "DAP", "DDP"]
    seller = [who_pays(rule, cost) == "seller" for rule in order]

    assert seller == sorted(seller)


def test_risk_passes_before_the_voyage_under_c_rules() -> None:
    for rule in ("CFR", "CIF"):
        assert "SHIPMENT" in incoterm(rule).risk_passes
    assert "first carrier" in incoterm("CPT").risk_passes
    assert [rule.code for rule in incoterms().values() if rule.is_c_rule] == ["CPT", "CIP", "CFR", "CIF"]


def test_which_rules_are_for_ships_only() -> None:
    assert [rule.code for rule in incoterms().values() if rule.sea_only] == ["FOB", "CFR", "CIF"]


def test_a_seller_who_need_not_insure_leaves_it_to_the_buyer() -> None:
    assert buyer_pays("FOB", "cargo_insurance")
    assert not buyer_pays("CIF", "cargo_insurance")


def test_unknown_rules_and_costs_are_refused_with_the_legal_ones() -> None:
    with pytest.raises(RuleError, match=r"found 'DAT'. Legal: EXW, FCA, FOB"):
        who_pays("DAT", "main_carriage")
    with pytest.raises(RuleError, match=r"found 'freight'. Legal: export_packing"):
        who_pays("FOB", "freight")
