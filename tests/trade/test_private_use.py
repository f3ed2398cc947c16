"""Goods for one's own use, where a country counts them lower: Japan's 60 %, told with and without."""

from __future__ import annotations

from decimal import Decimal

import pytest

from forecast.buildfile.reader import parse_build
from forecast.engine.plan import Plan, compile_plan
from forecast.errors import RuleError
from forecast.start import DONT_KNOW, as_asked, is_asked, question, read_answers, write_build
from forecast.trade.landed import landed_cost
from forecast.views.opening_words import open_line

KIT = {"export_inland": 15_000, "freight": 60_000, "insurance": 4_000}
FREE = {"duty.8708.29": 0.0}


def test_both_results_by_hand() -> None:
    """400,000 + 15,000 + 60,000 + 4,000 = 479,000, a tenth 47,900; and 60 % of 400,000 = 240,000, a tenth 24,000."""
    full = landed_cost("JP", 400_000, **KIT, overrides=FREE)
    own = landed_cost("JP", 400_000, **KIT, overrides=FREE, private_use=True)

    assert (full.amount("customs_value"), full.amount("tax")) == (479_000, 47_900)
    assert (own.amount("customs_value"), own.amount("tax")) == (240_000, 24_000)
    assert own.component("customs_value").working == "60 % × 400,000"
    assert full.total - own.total == 23_900


@pytest.mark.parametrize(
    ("price", "private", "tax"),
    [
        (16_666, True, 0),  # 9,999.60: customs' own example of what stays free
        (16_700, True, 1_002),  # 10,020
        (10_000, False, 0),
        (10_010, False, 1_001),
    ],
)
def test_the_limit_is_one_of_the_customs_value(price: int, private: bool, tax: int) -> None:
    assert landed_cost("JP", price, overrides=FREE, private_use=private).amount("tax") == tax


def test_freight_counts_against_the_limit_by_the_general_rule() -> None:
    assert landed_cost("JP", 9_000, freight=1_000, overrides=FREE).amount("tax") == 0
    assert landed_cost("JP", 9_000, freight=2_000, overrides=FREE).amount("tax") == 1_100


def test_a_country_without_such_a_rule_refuses() -> None:
    with pytest.raises(RuleError, match="Australia has no rule for goods for one's own use"):
        landed_cost("AU", 4000, private_use=True)


def plan(more: str = "") -> Plan:
    return compile_plan(
        parse_build(
            '[build]\nname = "x"\ncurrency = "JPY"\ncountry = "JP"\n[[consignment]]\nid = "kit"\nprice = 400000\n'
            'incoterm = "FOB"\nmode = "sea"\nfreight = 60000\norigin = "US"\n'
            'overrides = { "duty.8708.29" = 0.0 }\n' + more
        )
    )


def test_until_the_builder_says_both_are_shown_and_the_dearer_is_counted() -> None:
    left_open = plan()
    tax = open_line(left_open, "kit.tax")

    assert tax.total == pytest.approx(46_000)
    assert "by the rule for private use instead: Duty and tax for private use 24,000" in tax.working
    assert open_line(left_open, "kit.private_use").total == pytest.approx(24_000)
    told = " ".join(left_open.notes)
    assert "look it up first. It is not counted; private_use = true counts it" in told


def test_what_the_builder_says_counts() -> None:
    counted = plan("private_use = true\n")
    assert open_line(counted, "kit.tax").total == pytest.approx(24_000)
    assert open_line(counted, "kit.customs_value").total == pytest.approx(240_000)

    never = plan("private_use = false\n")
    assert open_line(never, "kit.tax").total == pytest.approx(46_000)
    assert "private use" not in " ".join(never.notes) + open_line(never, "kit.tax").working
    assert Decimal(str(open_line(never, "kit.customs_value").total)) == 460_000


ANSWERS = {"country": "JP", "origin": "US", "kit_currency": "JPY", "kit_price": 400_000, "shipping": "sea"}


def test_the_guided_start_asks_where_the_rule_file_does_and_nowhere_else() -> None:
    item, here = question("private_use"), {"country": "JP", "origin": "US"}
    assert is_asked(item, here)
    assert not is_asked(item, {"country": "JP", "origin": "JP"})
    assert not is_asked(item, {"country": "AU", "origin": "US"})
    assert as_asked(item, here).text == "Does the kit count as goods for your own use?"
    assert "60 %" in as_asked(item, here).help
    assert [
        parse_build(write_build(read_answers(ANSWERS | told))).consignment[0].private_use
        for told in ({"private_use": True}, {"private_use": "no"}, {"private_use": DONT_KNOW}, {})
    ] == [True, False, None, None]
    abroad = {"country": "AU", "private_use": True, "rate": 0.0098}
    assert parse_build(write_build(read_answers(ANSWERS | abroad))).consignment[0].private_use is None
