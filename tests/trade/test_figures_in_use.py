"""Which figures of trade and law a consignment is worked out with."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

import pytest

from forecast.buildfile.consignment import Consignment
from forecast.buildfile.schema import Currency
from forecast.errors import RuleError
from forecast.trade.consignment_lines import expand, payment_days
from forecast.trade.currency import build_paths
from forecast.trade.expansion import RuleUse
from forecast.trade.figures_in_use import OWN
from forecast.trade.rules import countries, load_rules

ON = date(2026, 11, 25)
PLAIN: dict[str, Any] = {
    "id": "kit", "price": 4000, "incoterm": "FOB", "mode": "sea", "freight": 600, "insurance_percent": 1.5,
    "boxes": [{"length": 200, "width": 120, "height": 60, "weight": 45}],
}  # fmt: skip


def uses(changes: Mapping[str, Any] = {}, country: str = "IE", on: date = ON) -> dict[str, RuleUse]:
    home = load_rules(country).currency
    bought = Consignment.model_validate(PLAIN | dict(changes))
    paths = build_paths({"USD": Currency(rate=0.9)}, home, payment_days([bought], country, home))
    return {use.id: use for use in expand(bought, country, home, paths, on).figures}


def test_each_figure_says_value_source_date_and_certainty() -> None:
    found = uses()
    vat, duty, terminal = found["vat"], found["duty.8708.29"], found["terminal"]

    assert (vat.label, vat.value, vat.certainty, vat.doubts) == ("VAT of Ireland", "23 %", "verified", ())
    assert vat.key == 'overrides = { "vat" = … }'
    assert (duty.value, duty.as_of) == ("4.5 %", date(2020, 12, 31))
    assert duty.doubts == (
        "is of 31 December 2020, more than 18 months old",
        "was read in a third party's page only",  # a column in another country's list
    )
    assert (terminal.value, terminal.certainty) == ("40 to 120 EUR per W/M", "common practice")
    assert terminal.key == "arrival = { terminal = … }"
    assert "articles 85 and 86" in found["tax_base"].source
    assert found["tax_base"].key == ""
    assert all(use.source and use.label and use.value for use in found.values())


def test_only_what_is_used_is_listed() -> None:
    assert {"sea.minimum", "insurance.uplift", "storage_rate", "examination_cost"} <= set(uses())
    air = uses({"mode": "air", "insurance_percent": None})
    assert not any(id.startswith("sea.") or id == "insurance.uplift" for id in air)
    assert "air.divisor" in air
    assert "duty.8708.70" not in air
    assert not {"vat", "duty.8708.29", "entry", "terminal"} & set(uses({"incoterm": "DDP"}))
    assert "terminal" not in uses({"incoterm": "DAP"})


@pytest.mark.parametrize(
    ("changes", "id", "value"),
    [
        ({"overrides": {"vat": 0.135}}, "vat", "13.5 %"),
        ({"overrides": {"gst": 0.135}}, "vat", "13.5 %"),
        ({"overrides": {"duty.8708.29": {"low": 0.01, "high": 0.03}}}, "duty.8708.29", "1 to 3 %"),
        ({"overrides": {"sea.minimum": 2}}, "sea.minimum", "2 W/M"),
        ({"arrival": {"entry": 95}}, "entry", "95"),
        ({"arrival": {"terminal": {"low": 40, "middle": 60, "high": 90}}}, "terminal", "40 to 90"),
        ({"storage": {"free_days": 9, "steps": [{"rate": 4}]}}, "storage_free", "9 days"),
        ({"storage": {"free_days": 0}}, "storage_free", "0 days"),
        ({"storage": {"free_days": 9, "steps": [{"rate": 4}]}}, "storage_rate", "as you wrote it"),
        ({"arrival": {"disbursement_percent": 3}}, "disbursement_percent", "3"),
        ({"examination": {"chance": 0.2, "cost": 80}}, "examination_chance", "20 %"),
        ({"arrival": {"entry": {"quotes": [80, 95]}}}, "entry", "as you wrote it"),
    ],
)
def test_what_the_builder_wrote_is_their_own(changes: dict[str, Any], id: str, value: str) -> None:
    use = uses(changes)[id]
    assert (use.value, use.source, use.certainty, use.as_of, use.doubts) == (value, OWN, OWN, None, ())


def test_c_rules_show_the_widened_range_and_other_money_its_scale() -> None:
    assert (
        uses({"incoterm": "CIF", "freight": None, "insurance_percent": None})["terminal"].value
        != uses()["terminal"].value
    )
    assert uses(country="JP")["entry"].value.endswith("JPY")
    assert float(uses(country="JP")["entry"].value.split()[0].replace(",", "")) > 1000


def test_age_is_judged_on_the_day_asked() -> None:
    assert uses(country="US")["mpf.rate"].doubts == ("held until 30 September 2026",)
    assert uses(country="US", on=date(2026, 9, 1))["mpf.rate"].doubts == ()


@pytest.mark.parametrize("country", countries())
def test_marks_of_certainty_are_kept_in_every_country(country: str) -> None:
    figures = load_rules(country).figures
    for id, use in uses(country=country).items():
        if id in figures:
            assert (use.certainty, use.as_of) == (figures[id].certainty, figures[id].as_of)
            assert bool(figures[id].doubts(ON)) == bool(use.doubts)


def in_money(home: str, per_euro: float | None = None, **changes: Any) -> dict[str, RuleUse]:
    bought = Consignment.model_validate(PLAIN | changes)
    paths = build_paths({"EUR": Currency(rate=1000)}, home, payment_days([bought], "IE", home))
    found = expand(bought, "IE", home, paths, ON, per_euro=per_euro)
    return {use.id: use for use in found.figures}


def test_usual_charges_follow_the_rate_and_the_builders_own_wins() -> None:
    """Closed form: 40 to 120 euro times 366 forint, to two digits."""
    assert uses()["terminal"].value == "40 to 120 EUR per W/M"
    assert in_money("HUF")["terminal"].value == "14,800 to 44,400 HUF per W/M"
    assert in_money("HUF", 400)["terminal"].value == "16,000 to 48,000 HUF per W/M"
    assert in_money("ARS", 1000)["terminal"].value == "40,000 to 120,000 ARS per W/M"


def test_usual_charges_without_a_rate_ask_for_one() -> None:
    with pytest.raises(RuleError, match=r"usual charges on arrival are in euro, .* add \[currency.EUR\]"):
        in_money("ARS")
    nothing_usual: dict[str, Any] = {
        "arrival": dict.fromkeys(("terminal", "documents", "surcharges", "entry", "delivery"), 0)
        | {"disbursement_percent": 0, "disbursement_minimum": 0},
        "storage": {"days": 1, "steps": [{"rate": 5}]}, "examination": {"chance": 0.1, "cost": 1},
    }  # fmt: skip
    assert "terminal" not in in_money("ARS", **nothing_usual)
