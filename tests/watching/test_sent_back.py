"""Goods that go back, with receipts in: what sending costs and what comes back are two things, each with its own."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from forecast.buildfile.reader import parse_build
from forecast.ledger import Ledger, NewReceipt
from forecast.ledger.events import say_event
from forecast.watching.reforecast import Reforecast, reforecast
from forecast.watching.settling import as_meant

# Duty 4.5 % of 4,000 and VAT of 23 % on 4,180: 180 + 961.40.
BUILD = parse_build("""
[build]
name = "x"
currency = "EUR"
country = "IE"
[[consignment]]
id = "kit"
price = 4000
incoterm = "DAP"
mode = "courier"
origin = "JP"
examination = { chance = 0, cost = 1 }
arrival = { entry = 0, disbursement_percent = 0, disbursement_minimum = 0 }
returned = { chance = 0.3, freight = { low = 150, middle = 200, high = 300 }, refund = 0.9, dues_back = 1.0 }
""")


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    return Ledger(tmp_path / "receipts.db", currency="EUR")


def ends(ledger: Ledger) -> float:
    found: Reforecast = reforecast(BUILD, ledger, trials=4096)
    return found.now.percentile(0.5).value


def test_a_receipt_for_sending_leaves_the_money_that_comes_back_open(ledger: Ledger) -> None:
    """By hand: all dues come back and 90 % of the price, so 400 and the freight are left."""
    assert ends(ledger) == pytest.approx(4000 + 180 + 961.40, rel=1e-3)
    say_event(ledger, "kit.returned", "happened", date(2026, 11, 20))
    assert ends(ledger) == pytest.approx(400 + 200, abs=3)
    ledger.add_receipt("2026-11-21", "Courier", 23_000, "EUR", [("kit.returned", 23_000)])
    ledger.close_line("kit.returned", "2026-11-21")
    assert ends(ledger) == pytest.approx(400 + 230, abs=3)


def test_a_refund_is_entered_for_what_comes_back(ledger: Ledger) -> None:
    say_event(ledger, "kit.returned", "happened", date(2026, 11, 20))
    ledger.add_receipt("2026-11-22", "Seller", 350_000, "EUR", [("kit.money_back", 350_000)], kind="refund")
    ledger.close_line("kit.money_back", "2026-11-22")
    assert ends(ledger) == pytest.approx(4000 + 180 + 961.40 - 3500 + 200, abs=3)


def test_where_it_cannot_happen_any_more_nothing_comes_back(ledger: Ledger) -> None:
    say_event(ledger, "kit.returned", "cannot-happen", date(2026, 11, 20))
    assert ends(ledger) == pytest.approx(4000 + 180 + 961.40, rel=1e-3)


def test_what_comes_back_is_read_as_money_that_comes_in() -> None:
    receipt = NewReceipt("2026-11-22", "Seller", 350_000, "EUR", [("kit.money_back", 350_000)])
    assert as_meant(BUILD, receipt).kind == "refund"
    assert as_meant(BUILD, replace(receipt, splits=[("kit.returned", 350_000)])).kind == "payment"
