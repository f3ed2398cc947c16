"""Tax on what agents, ports and carriers charge: by import tax, or on a line of its own, and never twice."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from forecast.buildfile.consignment import Consignment
from forecast.buildfile.reader import parse_build
from forecast.errors import BuildFileError
from forecast.figures.evaluate import evaluate
from forecast.figures.kinds import Known
from forecast.trade.consignment_lines import expand
from forecast.trade.expansion import Expansion
from forecast.trade.rules import load_rules

# Kit of 4,000 with 600 freight by sea, FOB, no duty; charges of 450 for entry and delivery, 30 for advancing.
CHARGES = {"terminal": 0, "documents": 0, "surcharges": 0, "entry": 150, "delivery": 300,
           "disbursement_percent": 0, "disbursement_minimum": 30}  # fmt: skip


def consignment(country: str, **changes: Any) -> Expansion:
    raw = {
        "id": "kit", "price": 4000, "incoterm": "FOB", "mode": "sea", "freight": 600, "arrival": CHARGES,
        "storage": {"days": 1, "steps": [{"rate": 5}]}, "examination": {"chance": 0, "cost": 1},
        "overrides": {"duty.8708.29": 0.0}, **changes,
    }  # fmt: skip
    home = load_rules(country).currency
    region = "ON" if country == "CA" else None
    return expand(Consignment.model_validate(raw), country, home, {}, date(2026, 11, 25), region=region)


def lines(expansion: Expansion) -> dict[str, float]:
    known = {id: figure.value for id, figure in expansion.inputs.items() if isinstance(figure, Known)}
    found: dict[str, Any] = {}
    for line in expansion.lines:
        found[line.id] = evaluate(line.formula, known, found)
    return {id.removeprefix("kit."): float(value) for id, value in found.items()}


@pytest.mark.parametrize(("country", "rate"), [("AU", 0.10), ("NZ", 0.15), ("CA", 0.13), ("JP", 0.10)])
def test_where_import_tax_leaves_them_out_they_bear_the_countrys_tax_on_a_line_of_its_own(
    country: str, rate: float
) -> None:
    """Closed form: the rate on 150 + 300 + 30; import tax does not move with them."""
    found = lines(consignment(country, price=40_000))
    assert found["local_tax"] == pytest.approx(rate * 480)
    without = lines(consignment(country, price=40_000, arrival=CHARGES | {"entry": 0, "delivery": 0}))
    assert found["tax"] == pytest.approx(without["tax"])


@pytest.mark.parametrize(("country", "rate"), [("IE", 0.23), ("GB", 0.20)])
def test_where_import_tax_takes_them_only_the_fee_for_advancing_is_left(country: str, rate: float) -> None:
    found = lines(consignment(country))
    assert found["tax"] == pytest.approx(rate * (4600 + 450))
    assert found["local_tax"] == pytest.approx(rate * 30)


def test_without_a_tax_on_imports_there_is_none_on_charges() -> None:
    assert "local_tax" not in lines(consignment("US"))


@pytest.mark.parametrize(
    ("holds", "taxed"),
    [(False, 480), (True, 0), (["entry"], 330), (["entry", "delivery"], 30), (["disbursement"], 450)],
)
@pytest.mark.parametrize(("country", "rate"), [("AU", 0.10), ("IE", 0.23)])
def test_what_holds_its_tax_is_taxed_no_more(country: str, rate: float, holds: Any, taxed: float) -> None:
    """The tax that hangs on charges, wherever it is written, is the rate on those that are without."""
    found = lines(consignment(country, arrival=CHARGES | {"holds_tax": holds}))
    hangs = found["tax"] + found.get("local_tax", 0) - rate * 4600
    assert hangs == pytest.approx(rate * taxed)


def test_a_usual_price_holds_tax_only_where_it_is_listed() -> None:
    usual = {name: 0 for name in CHARGES if name not in ("delivery", "disbursement_minimum")}
    own = consignment("AU", arrival=usual | {"disbursement_minimum": 0, "holds_tax": True})
    assert own.line("kit.local_tax") is not None
    listed = usual | {"disbursement_minimum": 0, "holds_tax": ["delivery", "storage"]}
    assert consignment("AU", arrival=listed).line("kit.local_tax") is None


def test_where_the_seller_pays_duty_and_tax_the_buyers_own_charges_bear_it_still() -> None:
    ddp = consignment("IE", incoterm="DDP", place_is="port", freight=None)
    assert lines(ddp)["local_tax"] == pytest.approx(0.23 * 300)


def test_a_charge_that_there_is_not_is_refused() -> None:
    text = """
[build]
name = "x"
currency = "EUR"
country = "IE"
[[consignment]]
id = "kit"
price = 900
incoterm = "FOB"
mode = "sea"
freight = 300
arrival = { holds_tax = ["broker"] }
"""
    with pytest.raises(BuildFileError, match="terminal"):
        parse_build(text)
