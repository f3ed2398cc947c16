"""Terms that builders meet: a premium as a sum, a deposit paid already, DDP without tax, one container for several."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from forecast.buildfile.consignment import Consignment
from forecast.buildfile.schema import Currency
from forecast.figures.evaluate import evaluate
from forecast.trade.consignment_lines import expand, payment_days
from forecast.trade.currency import build_paths
from forecast.trade.expansion import Expansion
from forecast.trade.rules import load_rules
from tests.trade.test_local_tax import CHARGES, lines

BOX = {"length": 100, "width": 50, "height": 60, "weight": 40}


def consignment(country: str = "IE", **changes: Any) -> Expansion:
    raw = {
        "id": "kit", "price": 4000, "incoterm": "FOB", "mode": "sea", "freight": 600, "arrival": CHARGES,
        "storage": {"days": 1, "steps": [{"rate": 5}]}, "examination": {"chance": 0, "cost": 1}, **changes,
    }  # fmt: skip
    home = load_rules(country).currency
    bought = Consignment.model_validate(raw)
    known = {"USD": Currency(rate=0.9, volatility=0.0)}
    paths = build_paths(known, home, payment_days([bought], country, home))
    return expand(bought, country, home, paths, date(2026, 11, 26))


def test_a_premium_as_a_sum_is_paid_and_enters_the_customs_value() -> None:
    """Closed form: 4.5 % duty and 23 % on 4,000 + 600 + 70, and on 450 of charges."""
    found = lines(consignment(insurance=70))
    assert found["insurance"] == 70
    assert found["duty"] == pytest.approx(0.045 * 4670)
    assert found["tax"] == pytest.approx(0.23 * (1.045 * 4670 + 450))
    assert "insurance.uplift" not in {use.id for use in consignment(insurance=70).figures}


def test_a_premium_in_foreign_money_goes_by_its_rate() -> None:
    found = lines(consignment(insurance={"value": 100, "currency": "USD"}))
    assert found["insurance"] == pytest.approx(90)
    assert found["duty"] == pytest.approx(0.045 * 4690)


def test_a_premium_that_the_seller_pays_is_left_out_and_said() -> None:
    cif = consignment(incoterm="CIF", freight=None, insurance=70)
    assert cif.line("kit.insurance") is None
    assert any("the line insurance is left out" in note for note in cif.notes)


def test_a_deposit_paid_already_is_at_the_rate_at_which_it_was_paid() -> None:
    """Closed form: 30 % of 4,000 dollars at 0.95 as paid, the rest at today's 0.9; customs take the day's rate."""
    paid: dict[str, Any] = {"currency": "USD", "freight": {"value": 600, "currency": "EUR"}}
    found = consignment(**paid, deposit_rate=0.95)
    assert lines(found)["goods"] == pytest.approx(4000 * (0.3 * 0.95 + 0.7 * 0.9))
    assert lines(found)["duty"] == pytest.approx(0.045 * (3600 + 600))
    line = found.line("kit.goods")
    assert line is not None
    assert "30 % at 0.95, paid already" in line.working


def test_a_duty_paid_price_may_be_without_import_tax() -> None:
    ddp: dict[str, Any] = {"incoterm": "DDP", "freight": None}
    assert "tax" not in lines(consignment(**ddp))
    assert "tax" not in lines(consignment(**ddp, tax_in_price=True))
    without = consignment(**ddp, tax_in_price=False)
    assert lines(without)["tax"] == pytest.approx(0.23 * 4000)
    assert [line.name for line in without.lines if line.id == "kit.tax"] == ["Import VAT"]
    assert "duty" not in lines(without)
    assert any("it is counted on the whole price" in note for note in without.notes)


def test_two_sellers_in_one_container_share_what_is_charged_once() -> None:
    """Half of 150 for the entry, 300 for delivery, 30 for advancing; freight of half a W/M, of 0.3 m³."""
    rate: dict[str, Any] = {"freight": None, "freight_rate": 100, "freight_minimum": 20, "boxes": [BOX]}
    alone, shared = lines(consignment(**rate)), lines(consignment(**rate, shared_by=2))
    assert (alone["freight"], shared["freight"]) == (pytest.approx(100), pytest.approx(50))
    assert (shared["entry"], shared["delivery"]) == (75, 150)
    cheap: dict[str, Any] = {"price": 100, "overrides": {"vat": 0.0}}
    assert lines(consignment(**cheap))["disbursement"] == 30
    assert lines(consignment(**cheap, shared_by=2))["disbursement"] == 15
    free: dict[str, Any] = {"overrides": {"duty.8708.29": 0.0}}
    assert lines(consignment("AU", shared_by=2, **free))["levies"] == pytest.approx((50 + 66) / 2)
    assert lines(consignment("US", shared_by=2))["levies"] == pytest.approx(
        max(33.58 / 2, 0.003464 * 4000) + 0.00125 * 4000
    )


CONTAINER: dict[str, Any] = {
    "free_days": 5, "days": 12, "demurrage": [{"days": 4, "rate": 60}, {"rate": 110}],
    "detention_free_days": 3, "detention_days": 5.5, "detention": [{"rate": 80}],
}  # fmt: skip


def test_a_full_container_bears_demurrage_and_detention_and_no_depot() -> None:
    """Closed form: 7 charged days are 4 at 60 and 3 at 110; 2.5 days over are 3 at 80; VAT with the import tax."""
    full = {"arrival": CHARGES | {"terminal": 250}, "storage": {}, "boxes": [BOX]}
    found = lines(consignment(**full, container=CONTAINER))
    assert found["demurrage"] == 4 * 60 + 3 * 110
    assert found["detention"] == 3 * 80
    assert found["terminal"] == 250
    assert "storage" not in found
    assert found["tax"] == pytest.approx(0.23 * (1.045 * 4600 + 450 + 250 + 570 + 240))
    two = lines(consignment(**full, container=CONTAINER | {"count": 2}))
    assert (two["demurrage"], two["terminal"]) == (2 * 570, 500)


def test_two_sellers_in_one_full_container_share_its_days_and_its_terminal() -> None:
    """Half of 570, of 240, of 250 and of 150 for the entry: two consignments come to what one container costs."""
    full = {"arrival": CHARGES | {"terminal": 250}, "storage": {}, "boxes": [BOX]}
    found = consignment(**full, container=CONTAINER, shared_by=2)
    values = lines(found)
    assert (values["demurrage"], values["detention"], values["terminal"]) == (285, 120, 125)
    assert values["entry"] == 75
    line = found.line("kit.demurrage")
    assert line is not None
    assert "60 / 2 EUR for 4 days, then 110 / 2 EUR" in line.working


def test_a_container_within_its_free_days_costs_nothing_by_the_day_and_asks_for_the_terminal() -> None:
    quick = consignment(storage={}, arrival={"entry": 90}, container=CONTAINER | {"days": 5})
    line = quick.line("kit.demurrage")
    assert line is not None
    assert (
        line.pieces[0].said(lambda case: float(evaluate(case, {}, {})) > 0) == "nothing: within 5 free days"
    )
    assert quick.line("kit.terminal") is None
    assert any(
        "Terminal and unpacking of a full container: nothing usual is on file" in note for note in quick.notes
    )


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"insurance": 70, "insurance_percent": 1.5}, "has insurance as well as insurance_percent"),
        ({"deposit_rate": 0.9}, "deposit_rate without a deposit in foreign money"),
        ({"deposit_rate": 0.9, "currency": "USD", "deposit": 0.0}, "deposit_rate without a deposit"),
        ({"tax_in_price": False}, "tax_in_price under FOB"),
        ({"container": CONTAINER, "mode": "road", "storage": {}}, "a container by road"),
        ({"container": CONTAINER}, "storage beside a full container"),
        (
            {"container": CONTAINER, "storage": {}, "freight": None, "freight_rate": 9, "boxes": [BOX]},
            "freight_rate of a full container",
        ),
        ({"container": CONTAINER | {"demurrage": []}, "storage": {}}, "has no demurrage"),
        ({"container": CONTAINER | {"detention": []}, "storage": {}}, "belong together"),
        (
            {"container": CONTAINER | {"demurrage": [{"days": 4, "rate": 60}]}, "storage": {}},
            "the last step ends after 4 days",
        ),
    ],
)
def test_what_cannot_be_is_refused(changes: dict[str, Any], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        consignment(**changes)
