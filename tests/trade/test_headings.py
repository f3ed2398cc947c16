"""Other tariff codes than body parts, hints of trade agreements, and duties whose rate the builder has to enter."""

from __future__ import annotations

import json
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from forecast.buildfile.reader import parse_build
from forecast.engine.plan import compile_plan
from forecast.errors import RuleError
from forecast.trade.landed import KnownGoods, landed_cost
from forecast.trade.rules import countries, load_rules

RATES = json.loads(
    (Path(__file__).parents[1] / "references" / "tariff_headings.json").read_text(encoding="utf-8")
)["rates"]
ORDERED = (
    "8708.22",
    "8708.99",
    "8512.20",
    "4016.99",
    "3926.90",
    "7019.14",
    "3208.10.90",
    "3907.91.10",
    "7318.15",
)
"""What an order of a kit may hold besides bumpers, panels and wheels."""


@pytest.mark.parametrize("hs", RATES)
def test_the_european_and_british_rates_are_those_of_the_list(hs: str) -> None:
    for country, percent in zip(("IE", "GB"), RATES[hs], strict=True):
        landed = landed_cost(country, [KnownGoods(1000, hs)])
        assert landed.amount("duty") == (Decimal(str(percent)) * 10).quantize(Decimal("0.01")), country


def test_a_kit_of_several_headings_pays_each_its_own() -> None:
    """By hand: body 2,000 × 4.5 % = 90, seals 500 × 2.5 % = 12.50, lamps 300 × 2.7 % = 8.10, mats 200 × 7 % = 14."""
    goods = [
        KnownGoods(2000, "8708.29"), KnownGoods(500, "4016.93"), KnownGoods(300, "8512.20"), KnownGoods(200, "7019.14"),
    ]  # fmt: skip
    assert landed_cost("IE", goods).amount("duty") == Decimal("124.60")


@pytest.mark.parametrize("country", countries())
@pytest.mark.parametrize("hs", ORDERED)
def test_a_heading_has_a_rate_with_its_source_or_asks_for_it(country: str, hs: str) -> None:
    rules = load_rules(country)
    id = rules.duty_id(hs)
    if id is None:
        with pytest.raises(RuleError, match=rf"no duty rate for it on file.*\"duty.{hs}\" = 0.04"):
            landed_cost(country, [KnownGoods(1000, hs)])
        return
    figure = rules.figures[id]
    assert figure.label.startswith("Duty on ")
    assert not figure.label.endswith(hs[:4])  # a name, not a bare code
    assert figure.is_range or figure.certainty in ("verified", "third party")


def test_switzerland_bears_no_duty_and_says_where_that_was_read() -> None:
    figure = load_rules("CH").figures["duty.8708.29"]
    assert (figure.value, figure.certainty) == (0.0, "verified")
    assert "abolition of industrial tariffs" in figure.told
    assert landed_cost("CH", [KnownGoods(1000, "3926.90"), KnownGoods(1000, "8708.29")]).amount("duty") == 0


def notes(country: str, origin: str, hs: str = "8708.29", more: str = "") -> str:
    home = load_rules(country).currency
    text = (
        f'[build]\nname = "x"\ncurrency = "{home}"\ncountry = "{country}"\n[[consignment]]\nid = "kit"\nprice = 4000\n'
        f'hs = "{hs}"\norigin = "{origin}"\nincoterm = "FOB"\nmode = "sea"\nfreight = 600\n{more}'
    )
    return " ".join(compile_plan(parse_build(text)).notes)


@pytest.mark.parametrize(
    ("country", "origin", "told"),
    [
        ("DE", "TR", "A.TR form"), ("DE", "TR", "not origin"), ("DE", "NO", "European Economic Area"),
        ("IE", "SG", "origin declaration"), ("IE", "ZA", "SADC"), ("GB", "TR", "A.TR is not used"),
        ("GB", "NO", "45 %"), ("GB", "SG", "origin declaration"), ("GB", "ZA", "southern Africa"),
        ("AU", "TH", "straight"),
        ("AU", "MY", "straight"), ("NZ", "DE", "declaration of origin"), ("NZ", "CN", "declaration of origin"),
        ("CA", "MY", "CPTPP"), ("US", "MX", "USMCA"), ("MX", "US", "USMCA"), ("MX", "FR", "rise of 2026 does not hold"),
        ("ZA", "DE", "10 instead of 20 %"), ("TR", "IT", "A.TR form"), ("KR", "GB", "statement of origin"),
        ("TH", "JP", "often excluded"), ("AE", "IN", "certificate of origin"),
    ],
)  # fmt: skip
def test_a_trade_agreement_is_a_hint_and_changes_no_sum(country: str, origin: str, told: str) -> None:
    said = notes(country, origin)
    assert f"Origin {origin}: " in said
    assert told in said

    rates = {id: figure.low for id, figure in load_rules(country).figures.items() if figure.is_range}
    with_hint, without = (landed_cost(country, 4000, origin=code, overrides=rates) for code in (origin, "BR"))
    assert with_hint.total == without.total


def test_anti_dumping_duty_is_asked_about_where_it_may_hold_and_wants_its_rate() -> None:
    assert "anti_dumping_wheels" in notes("DE", "CN", "8708.70")
    assert "anti_dumping" not in notes("DE", "JP", "8708.70")
    assert "anti_dumping" not in notes("DE", "CN", "8708.29")

    chosen: dict[str, Any] = {"origin": "CN", "additional": ["anti_dumping_wheels"]}
    with pytest.raises(RuleError, match="no rate of anti_dumping_wheels is on file"):
        landed_cost("DE", [KnownGoods(1000, "8708.70")], **chosen)
    landed = landed_cost(
        "DE", [KnownGoods(1000, "8708.70")], overrides={"anti_dumping_wheels.rate": 0.3}, **chosen
    )
    assert landed.amount("anti_dumping_wheels") == Decimal("300.00")
    assert landed.amount("duty") == Decimal("45.00")
    assert landed.amount("tax") == Decimal("255.55")  # 19 % of 1,345
