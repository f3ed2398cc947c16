"""Presents, for which nothing is paid, and goods that go back: sums by hand, and what has to be looked up."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from forecast.buildfile.consignment import Consignment
from forecast.buildfile.reader import parse_build
from forecast.buildfile.rulefiles import countries
from forecast.engine.forecast import simulate
from forecast.errors import BuildFileError, RuleError
from forecast.figures.evaluate import evaluate
from forecast.figures.kinds import Known
from forecast.trade.consignment_lines import expand
from forecast.trade.expansion import Expansion
from forecast.trade.rules import load_rules

# 4,000 with 600 freight by sea, FOB, to Ireland: value 4,600, duty 207, VAT 23 % of 4,807 = 1,105.61.
KIT: dict[str, Any] = {
    "id": "kit", "name": "Kit", "price": 4000, "incoterm": "FOB", "mode": "sea", "freight": 600, "origin": "JP",
    "arrival": {"terminal": 0, "documents": 0, "surcharges": 0, "entry": 0, "delivery": 0, "disbursement_percent": 0,
                "disbursement_minimum": 0},
    "storage": {"days": 1, "steps": [{"rate": 5}]}, "examination": {"chance": 0, "cost": 1},
}  # fmt: skip
DUES = 207 + 0.23 * 4807


def consignment(**changes: Any) -> Expansion:
    raw = {key: value for key, value in {**KIT, **changes}.items() if value is not None}
    return expand(Consignment.model_validate(raw), "IE", "EUR", {}, date(2026, 11, 27))


def lines(expansion: Expansion) -> dict[str, float]:
    known = {id: figure.value for id, figure in expansion.inputs.items() if isinstance(figure, Known)}
    found: dict[str, Any] = {}
    for line in expansion.lines:
        found[line.id] = float(evaluate(line.formula, known, found))
    return found


def sent_back(expansion: Expansion) -> float:
    (event,) = expansion.events
    assert event.id == "kit.returned"
    assert event.back is not None
    assert event.back.id == "kit.money_back"
    known = lines(expansion)
    return float(evaluate(event.formula, {}, known)) + float(evaluate(event.back.formula, {}, known))


# Presents


def test_nothing_is_paid_for_a_present_and_customs_count_what_it_is_worth() -> None:
    found = consignment(gift=True)
    sums = lines(found)
    assert sums["kit.goods"] == 0
    assert sums["kit.duty"] == pytest.approx(207)
    assert sums["kit.tax"] == pytest.approx(0.23 * 4807)
    working = next(line.working for line in found.lines if line.id == "kit.goods")
    assert working == "nothing: a present, worth 4,000 EUR to customs"


@pytest.mark.parametrize("country", sorted({item.union for item in countries().values()} - {"EU"}))
def test_every_rule_file_says_where_the_limit_of_presents_is_to_be_looked_up(country: str) -> None:
    where = load_rules(country).gift
    assert where
    present = Consignment.model_validate({**KIT, "gift": True})
    found = expand(present, country, load_rules(country).currency, {}, date(2026, 11, 27))
    assert any(f"Look it up in {where}, and write" in note for note in found.notes)


def test_until_its_limit_is_told_a_present_bears_all_and_the_limit_is_asked_for() -> None:
    small: dict[str, Any] = {"price": 40, "freight": 10, "gift": True}
    asked = consignment(**small)
    assert lines(asked)["kit.tax"] > 0
    assert any('"gift.limit" = … }, in EUR' in note and "2006/79/EC" in note for note in asked.notes)

    told = consignment(**small, overrides={"gift.limit": 45})
    assert (lines(told)["kit.duty"], lines(told)["kit.tax"]) == (0, 0)
    assert not any("gift.limit" in note for note in told.notes)
    use = next(use for use in told.figures if use.id == "gift.limit")
    assert use.label == "Value up to which a present bears neither duty nor tax"

    above = consignment(**{**small, "price": 46}, overrides={"gift.limit": 45})
    assert lines(above)["kit.duty"] == pytest.approx(3)  # the flat duty of small values
    assert lines(above)["kit.tax"] == pytest.approx(0.23 * (56 + 3))


def test_a_limit_of_presents_without_a_present_is_refused() -> None:
    with pytest.raises(RuleError, match=r"there is no rule figure 'gift\.limit'"):
        consignment(overrides={"gift.limit": 45})


def test_a_present_in_foreign_money_needs_no_payment_at_its_rate() -> None:
    text = (
        '[build]\nname = "x"\ncurrency = "EUR"\ncountry = "IE"\n[currency.USD]\nrate = 0.9\nmargin = 3\n'
        '[[consignment]]\nid = "kit"\nprice = 1000\ncurrency = "USD"\nincoterm = "DAP"\nmode = "courier"\ngift = true\n'
        "arrival = { entry = 0, disbursement_percent = 0, disbursement_minimum = 0 }\n"
        "examination = { chance = 0, cost = 1 }\n"
    )
    total = simulate(parse_build(text), trials=1024).percentile(0.5).value
    assert total == pytest.approx(
        900 * (0.045 + 0.23 * 1.045), rel=0.02
    )  # the rate moves a little till customs


# What goes back


def test_what_goes_back_costs_freight_and_fee_less_price_duty_and_tax() -> None:
    """By hand: 300 + 60 less 90 % of 4,000 less 99 % of 1,312.61."""
    found = consignment(returned={"chance": 0.1, "freight": 300, "fee": 60, "refund": 0.9, "dues_back": 0.99})
    assert sent_back(found) == pytest.approx(360 - 3600 - 0.99 * DUES)
    assert found.events[0].chance == 0.1
    assert "examination_chance" not in {use.id for use in found.figures}  # nobody examines it
    assert any("ask customs before you send" in note for note in found.notes)


def test_a_part_of_the_goods_takes_its_part_of_the_dues_by_price() -> None:
    goods = [{"id": "panels", "price": 3000}, {"id": "lip", "name": "Lip", "price": 1000}]
    back = {"chance": 0.2, "goods": ["lip"], "dues_back": 1.0}
    found = consignment(price=None, goods=goods, returned=back)
    assert sent_back(found) == pytest.approx(-1000 - DUES / 4)
    back = found.events[0].back
    assert back is not None
    assert back.working == "100 % of {kit.lip} + 100 % of their part of ({kit.duty} + {kit.tax})"
    assert found.events[0].name == "Lip sent back"


def test_no_duty_comes_back_until_it_is_told_and_that_is_said() -> None:
    found = consignment(returned={"chance": 0.1})
    assert sent_back(found) == pytest.approx(-4000)
    assert any("Nothing of them is counted" in note for note in found.notes)
    duty_paid = consignment(incoterm="DDP", freight=None, returned={"chance": 0.1})
    assert not any("Nothing of them" in note for note in duty_paid.notes)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ('returned = { chance = 0.1, goods = ["hat"] }', "returned.goods names 'hat'"),
        ("returned = { chance = 0.1, refund = 90 }", "It is a share from 0 to 1"),
        ("returned = { chance = 0.1, dues_back = { low = 0.5, high = 1.5 } }", "found 1.5. It is a share"),
        ("returned = { chance = 1 }", "chance"),
        ("returned = { chance = 0.1 }\ngift = true", "a present that goes back to a seller"),
    ],
)
def test_what_cannot_be_is_refused(changes: str, words: str) -> None:
    text = (
        '[build]\nname = "x"\ncurrency = "EUR"\ncountry = "IE"\n[[consignment]]\nid = "kit"\nprice = 900\n'
        f'incoterm = "FOB"\nmode = "sea"\nfreight = 300\n{changes}\n'
    )
    with pytest.raises(BuildFileError) as raised:
        parse_build(text)
    assert words in str(raised.value)


def test_it_is_simulated_as_an_event_that_takes_money_off() -> None:
    text = (
        '[build]\nname = "x"\ncurrency = "EUR"\ncountry = "IE"\n[[consignment]]\nid = "kit"\nprice = 4000\n'
        'incoterm = "DAP"\nmode = "courier"\norigin = "JP"\nexamination = { chance = 0, cost = 1 }\n'
        "arrival = { entry = 0, disbursement_percent = 0, disbursement_minimum = 0 }\n"
    )
    plain = simulate(parse_build(text), trials=16384)
    may_go = simulate(
        parse_build(text + "returned = { chance = 0.3, freight = 200, dues_back = 1.0 }\n"), trials=16384
    )
    dues = 180 + 0.23 * 4180
    assert plain.percentile(0.9).value == pytest.approx(4000 + dues)
    assert may_go.percentile(0.9).value == pytest.approx(4000 + dues)
    assert may_go.percentile(0.1).value == pytest.approx(200)
