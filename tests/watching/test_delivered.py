"""Once the bills of the way here are settled, what belongs to that way alone is asked about."""

from __future__ import annotations

from pathlib import Path

import pytest

from forecast.buildfile.library import load_library
from forecast.buildfile.reader import parse_build
from forecast.buildfile.schema import Build
from forecast.ledger import Ledger
from forecast.watching.reforecast import Reforecast, reforecast

CRATE = """
[[consignment]]
id = "{id}"
name = "{id} goods"
price = 245000
currency = "JPY"
origin = "JP"
sent_from = "JP"
mode = "sea"
incoterm = "{terms}"
place = "Somewhere"
{more}"""
BUILD = """\
[build]
name = "x"
currency = "EUR"
country = "IE"
[currency.JPY]
rate = 0.006
[[line]]
id = "filler"
group = "consumables"
amount = { low = 40, middle = 60, high = 120 }
[[event]]
id = "transit_damage"
chance = 0.2
cost = 200
[[event]]
id = "hail"
chance = 0.2
cost = 200
"""
WAY = ("crate.freight", "crate.duty", "crate.tax", "crate.entry", "crate.delivery")
OVER = {"transit_damage", "crate.examination", "crate.storage"}


def crate(name: str = "crate", terms: str = "FOB") -> str:
    """Write a consignment; under DDP the seller pays all of its way."""
    return CRATE.format(id=name, terms=terms, more="" if terms == "DDP" else "freight = 300\n")


def build(*terms: str) -> Build:
    crates = zip(("crate", "second"), terms, strict=False)
    return parse_build(BUILD + "".join(crate(name, said) for name, said in crates))


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    return Ledger(tmp_path / "receipts.db", currency="EUR")


def now(made: Build, ledger: Ledger) -> Reforecast:
    return reforecast(made, ledger, trials=1024)


def test_it_is_asked_once_carriage_and_customs_are_settled_in_any_order(ledger: Ledger) -> None:
    """Duty and tax among them: while one of the five is open, nothing of the way is said to be settled."""
    made = build("FOB")
    assert set(WAY) < {line.id for line in now(made, ledger).lines}
    for name in reversed(WAY):
        assert now(made, ledger).over_by_now == ()
        ledger.add_receipt("2026-05-04", "An agent", 9_000, "EUR", [(name, 9_000)])
        ledger.close_line(name)
    assert set(now(made, ledger).over_by_now) == OVER  # hail may come as long as the build lasts


def test_a_bill_that_is_likely_all_paid_counts_as_settled(ledger: Ledger) -> None:
    made = build("FOB")
    for name in WAY[:4]:
        ledger.close_line(name)
    middle = round(100 * next(line.base for line in now(made, ledger).lines if line.id == WAY[4]))
    ledger.add_receipt("2026-05-04", "A carrier", middle, "EUR", [(WAY[4], middle)])
    assert now(made, ledger).looking_settled == (WAY[4],)
    assert set(now(made, ledger).over_by_now) == OVER
    ledger.expect_more(WAY[4])
    assert now(made, ledger).over_by_now == ()


def test_what_was_said_or_paid_is_not_asked_about(ledger: Ledger) -> None:
    made = build("FOB")
    for name in WAY:
        ledger.close_line(name)
    ledger.mark_event("transit_damage", "happened")
    ledger.add_receipt("2026-05-04", "A depot", 4_000, "EUR", [("crate.storage", 4_000)])
    assert now(made, ledger).over_by_now == ("crate.examination",)
    ledger.mark_event("crate.examination", "cannot-happen")
    assert now(made, ledger).over_by_now == ()


def test_while_another_crate_is_on_its_way_only_what_is_of_the_first_is_over(ledger: Ledger) -> None:
    made = build("FOB", "FOB")
    for name in WAY:
        ledger.close_line(name)
    assert set(now(made, ledger).over_by_now) == OVER - {"transit_damage"}
    for name in WAY:
        ledger.close_line(name.replace("crate", "second"))
    assert set(now(made, ledger).over_by_now) == OVER | {"second.examination", "second.storage"}


def test_where_the_seller_pays_all_of_the_way_no_bill_tells(ledger: Ledger) -> None:
    made = build("DDP")
    for line in now(made, ledger).lines:
        if line.kind == "line" and line.id.startswith("crate."):
            ledger.close_line(line.id)
    assert now(made, ledger).over_by_now == ()


def test_of_the_starter_events_those_of_the_way_are_over_with_it() -> None:
    kinds = {event.id for event in load_library(1.0).events if event.over == "delivery"}
    assert kinds == {"transit_damage", "late_delivery", "customs_trouble"}
