"""An event that is a share of bills holds of what is not paid yet, unless the file says that it is of all of them.

Sums follow by hand where figures are one number: 20 % of two bills of 1,000 and 500, and the event has come.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from forecast.buildfile.reader import parse_build
from forecast.buildfile.schema import Build, Event
from forecast.buildfile.toml_schema import build_schema
from forecast.decide.mixer import Mixer
from forecast.engine.forecast import forecast_plan
from forecast.engine.plan import compile_plan
from forecast.errors import BuildFileError
from forecast.ledger import Ledger
from forecast.views.settling_words import unpaid_sentences
from forecast.watching.known_facts import forecast_given
from forecast.watching.reforecast import Reforecast, reforecast
from forecast.watching.standing import Record

TEXT = """
[build]
name = "Shares"
currency = "EUR"
country = "IE"
[[line]]
id = "paint"
group = "labour"
amount = {paint}
[[line]]
id = "weld"
group = "labour"
package = "arches"
route = "shop"
amount = 500
[[line]]
id = "own_weld"
group = "consumables"
package = "arches"
route = "self"
amount = 50
[[event]]
id = "overrun"
name = "Shop overruns"
chance = 0.3
percent = 20
of = ["labour"]
{more}
[scenario.shop]
all = "shop"
[scenario.own]
all = "self"
"""
DAY = "2026-03-02"


def given(more: str = "", paint: str = "1000") -> Build:
    return parse_build(TEXT.format(paint=paint, more=more))


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    found = Ledger(tmp_path / "receipts.db", currency="EUR")
    found.mark_event("overrun", "happened", DAY)
    return found


def pay(ledger: Ledger, line: str, sum: int, mark: str = "") -> None:
    ledger.add_receipt(DAY, "a shop", 100 * sum, "EUR", [(line, 100 * sum)])
    if mark == "closed":
        ledger.close_line(line, DAY)
    elif mark:
        ledger.expect_more(line, DAY)


def watched(build: Build, ledger: Ledger) -> Reforecast:
    return reforecast(build, ledger, "shop", 1024)


def overrun(build: Build, ledger: Ledger) -> np.ndarray:
    return watched(build, ledger).now.trials.row("overrun")


def test_a_bill_paid_and_closed_overruns_no_more(ledger: Ledger) -> None:
    assert np.allclose(overrun(given(), ledger), 300)
    pay(ledger, "paint", 1100, "closed")
    assert np.allclose(overrun(given(), ledger), 100)
    assert np.array_equal(overrun(given("paid_too = true"), ledger), np.full(1024, 320.0))
    pay(ledger, "weld", 480, "closed")
    assert np.array_equal(overrun(given(), ledger), np.zeros(1024))
    assert np.allclose(overrun(given("paid_too = true"), ledger), 316)


def test_of_a_bill_paid_in_part_the_rest_counts(ledger: Ledger) -> None:
    pay(ledger, "weld", 200, "more")
    assert np.allclose(overrun(given(), ledger), 0.2 * (1000 + 300), atol=1e-6)
    ledger.say_still_to_buy("weld", 40_000, DAY)  # in all 600
    assert np.allclose(overrun(given(), ledger), 0.2 * (1000 + 400))


def test_an_agreed_price_counts_until_it_is_paid(ledger: Ledger) -> None:
    ledger.add_commitment(DAY, "a shop", "paint", 90_000, "EUR", kind="fixed")
    rows = watched(given(), ledger).now.trials
    assert np.allclose(rows.row("overrun"), 0.2 * (rows.row("paint") + 500))
    assert np.median(rows.row("paint")) == 900


def test_a_deposit_on_an_agreed_price_leaves_all_of_it_to_be_overrun(ledger: Ledger) -> None:
    """A deposit as agreed moved P80 by what the shop would overrun of it."""
    ledger.add_commitment(DAY, "a shop", "paint", 90_000, "EUR", kind="fixed")
    pay(ledger, "paint", 300)
    rows = watched(given(), ledger).now.trials
    assert np.allclose(rows.row("overrun"), 0.2 * (rows.row("paint") + 500))


def test_what_is_paid_for_the_event_itself_stands_when_all_bills_are_closed(ledger: Ledger) -> None:
    pay(ledger, "paint", 1100, "closed")
    pay(ledger, "weld", 480, "closed")
    pay(ledger, "overrun", 130)
    assert np.allclose(overrun(given(), ledger), 130)


def test_before_anything_is_paid_both_are_the_same() -> None:
    ranges = "{ low = 800, middle = 1000, high = 1400 }"
    plain, all_of_it = (
        forecast_plan(compile_plan(given(more, ranges), "shop"), 1024, 1, keep="rows").trials.totals
        for more in ("", "paid_too = true")
    )
    assert np.array_equal(plain, all_of_it)


def test_a_mix_counts_it_as_the_way_with_its_routes_does(ledger: Ledger) -> None:
    build = given(paint="{ low = 800, middle = 1000, high = 1400 }")
    pay(ledger, "weld", 200, "more")
    standing = Record.read(ledger).standing()
    for way in ("shop", "own"):
        mixer = Mixer(build, build.scenario[way], 1024, 1, standing)
        money = mixer.totals({"arches": "self" if way == "own" else "shop"}).money
        ways = forecast_given(build, way, 1024, 1, standing)
        assert np.allclose(money, ways.trials.totals)


def test_it_is_said_once_something_is_paid_and_asked_about_only_where_paid_bills_count(
    ledger: Ledger,
) -> None:
    assert unpaid_sentences(watched(given(), ledger)) == []
    pay(ledger, "paint", 1100, "closed")
    assert unpaid_sentences(watched(given(), ledger)) == [
        "“Shop overruns” counts on what is not paid yet: about €500 of €1,600."
    ]
    assert unpaid_sentences(watched(given("paid_too = true"), ledger)) == []
    pay(ledger, "weld", 480, "closed")
    assert unpaid_sentences(watched(given(), ledger)) == [
        "“Shop overruns” counts no more: all that it is a share of is paid."
    ]


def test_the_key_needs_a_percentage_and_stands_in_the_schema() -> None:
    with pytest.raises(BuildFileError, match="paid_too says of what percent is"):
        given('paid_too = true\n[[event]]\nid = "flood"\nchance = 0.1\ncost = 10\npaid_too = true')
    assert "paid_too" in Event.model_fields
    assert "paid or not" in str(build_schema())
