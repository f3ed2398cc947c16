"""What is opened shows the rule that was used: a limit, a least, a most; and never a product that is not the sum."""

from __future__ import annotations

import re
from typing import Any

import pytest

from forecast.buildfile.consignment import Consignment
from forecast.buildfile.schema import Build, BuildInfo
from forecast.engine.plan import compile_plan
from forecast.trade.landed import KnownGoods, landed_cost
from forecast.trade.rules import load_rules
from forecast.views.opening_words import OpenedLine, open_line

QUIET: dict[str, Any] = {
    "arrival": {"terminal": 0, "documents": 0, "surcharges": 0, "entry": 0, "delivery": 0,
                "disbursement_percent": 0, "disbursement_minimum": 0},
    "storage": {"days": 1, "steps": [{"rate": 5}]}, "examination": {"chance": 0, "cost": 1},
}  # fmt: skip


ADVANCED = QUIET["arrival"] | {"disbursement_percent": 2, "disbursement_minimum": 40}
KEPT = {"free_days": 5, "steps": [{"rate": 5}], "minimum": 25}
BOX = {"length": 200, "width": 100, "height": 60, "weight": 45}


def opened(country: str, line: str, **changes: Any) -> OpenedLine:
    raw = {"id": "kit", "incoterm": "FOB", "mode": "sea", "freight": 20, **QUIET, **changes}
    home = load_rules(country).currency
    build = Build(
        build=BuildInfo(name="x", currency=home, country=country),
        consignment=(Consignment.model_validate(raw),),
    )
    return open_line(compile_plan(build), f"kit.{line}")


def goods(*prices: float) -> list[dict[str, Any]]:
    codes = ("8708.29", "8708.10", "8708.70")
    return [
        {"id": f"part{n}", "price": price, "hs": hs}
        for n, (price, hs) in enumerate(zip(prices, codes, strict=False))
    ]


@pytest.mark.parametrize(
    ("country", "line", "changes", "total", "words"),
    [
        # Small values: the European Union's flat duty, Britain's relief, Australia's, and Swiss small tax.
        ("IE", "duty", {"goods": goods(60, 50)}, 6, "3.00 EUR for each of 2 tariff subheadings"),
        ("IE", "duty", {"price": 60}, 3, "3.00 EUR for one tariff subheading"),
        ("IE", "duty", {"price": 160}, 8.1, "Customs value 180 × 4.5 %"),
        ("GB", "duty", {"price": 120}, 0, "nothing: a price of up to 135.00 GBP bears none"),
        ("GB", "duty", {"price": 140}, 6.4, "Customs value 160 × 4 %"),
        ("AU", "duty", {"price": 900}, 0, "nothing: a price of up to 1,000.00 AUD bears none"),
        ("AU", "tax", {"price": 900}, 0, "nothing: a price of up to 1,000.00 AUD bears none"),
        ("JP", "tax", {"price": 9000}, 0, "nothing: a customs value of up to 10,000 JPY bears none"),
        ("CH", "tax", {"price": 30}, 0, "nothing: tax of up to 5.00 CHF is not collected (Tax base 50 × 8.1 %)"),
        # Leasts and mosts of a fee on the entry, and the values from which it is another.
        ("US", "levies", {"price": 4000}, 38.58, "33.58 USD, the least that is charged (Customs value 4,000 ×"),
        ("US", "levies", {"price": 200_000}, 901.5, "651.50 USD, the most that is charged"),
        ("US", "levies", {"price": 50_000}, 235.7, "Customs value 50,000 × 0.3464 %"),
        ("US", "levies", {"price": 400}, 3.19, "2.69 USD"),
        ("AU", "levies", {"price": 900}, 0, "nothing: import processing charge is only for a customs value"),
        ("AU", "levies", {"price": 2000}, 116, "50.00 AUD"),
        # The builder's own terms.
        ("IE", "disbursement", {"price": 4000, "arrival": ADVANCED},
         40, "40 EUR, the least that is charged (2 % ×"),
        ("IE", "disbursement", {"price": 9000, "arrival": ADVANCED},
         51.48, "2 % ×"),
        ("AU", "disbursement", {"price": 900, "arrival": ADVANCED},
         0, "nothing: neither duty nor tax is advanced"),
        ("IE", "freight", {"price": 4000, "freight": None, "freight_rate": 40, "freight_minimum": 90,
                           "boxes": [BOX]},
         90, "90, the least that is charged (Chargeable quantity 1.20 W/M × 40 is less) EUR"),
        ("IE", "freight", {"price": 4000, "freight": None, "freight_rate": 100, "freight_minimum": 90,
                           "boxes": [BOX]},
         120, "Chargeable quantity 1.20 W/M × 100 EUR"),
        ("IE", "storage", {"price": 4000, "storage": KEPT | {"days": 7}},
         25, "25 EUR, the least that is charged (1 W/M ×"),
        ("IE", "storage", {"price": 4000, "storage": KEPT | {"days": 3}},
         0, "nothing: fetched within 5 free days"),
    ],
)  # fmt: skip
def test_the_rule_that_was_used_is_shown(
    country: str, line: str, changes: dict[str, Any], total: float, words: str
) -> None:
    found = opened(country, line, **changes)
    assert found.total == pytest.approx(total, abs=0.01)
    assert words in found.working
    assert ("nothing" in found.working) == (total == 0)


@pytest.mark.parametrize("price", [40, 149, 151, 900, 1100, 2400, 2600, 9000, 11_000, 250_000])
@pytest.mark.parametrize("country", ["IE", "GB", "US", "AU", "NZ", "CH", "JP", "CA", "NO", "SG"])
@pytest.mark.parametrize("line", ["duty", "tax"])
def test_a_product_that_is_shown_is_the_sum(country: str, line: str, price: float) -> None:
    """Read back from the words: what is written as a × b % comes to the amount beside it."""
    if line == "tax" and load_rules(country).tax is None:
        return
    found = opened(country, line, price=price, overrides={"gst": 0.05} if country == "CA" else {})
    product = re.fullmatch(
        r"(?:Customs value|Tax base) ([\d,.]+) × ([\d.]+) %(?: \(from [^)]*\))?(?:; .*)?", found.working
    )
    if product is not None:
        base, rate = (float(part.replace(",", "")) for part in product.groups())
        assert found.total == pytest.approx(base * rate / 100, abs=0.01)
    else:
        assert found.working.startswith(("nothing: ", "3.00 EUR for "))
        assert found.total == pytest.approx(3 if found.working.startswith("3") else 0)


def test_a_landed_cost_shows_it_too() -> None:
    """The European Union's flat duty since 1 July 2026: 3 euro for each tariff subheading up to 150 euro."""
    landed = landed_cost("IE", [KnownGoods(60), KnownGoods(50, "8708.10")])
    assert landed.component("duty").working.startswith("3.00 EUR for each of 2 tariff subheadings")
    assert landed_cost("GB", 120).component("duty").working.startswith("nothing: ")
