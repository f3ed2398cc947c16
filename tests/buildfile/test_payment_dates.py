"""Deposit, balance and customs entry on dates, beside those after so many days."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

import pytest
from pydantic import ValidationError

from forecast.buildfile.consignment import Consignment, later
from forecast.buildfile.reader import parse_build
from forecast.errors import BuildFileError

LEAST: dict[str, Any] = {"id": "kit", "price": 4000, "incoterm": "FOB", "mode": "sea"}
ORDER, DEPOSIT, BALANCE = date(2026, 12, 1), date(2026, 12, 4), date(2027, 2, 15)

TEXT = """
[build]
name = "Dates"
currency = "EUR"
country = "IE"

[currency.JPY]
rate = 0.0057
as_of = 2026-11-25

[[consignment]]
id = "kit"
price = 420000
currency = "JPY"
incoterm = "FOB"
mode = "sea"
freight = 300
deposit_on = 2026-12-04
balance_on = 2027-02-15
"""


def of(**changes: Any) -> Consignment:
    return Consignment.model_validate(LEAST | changes)


def complaints(text: str) -> str:
    with pytest.raises(BuildFileError) as caught:
        parse_build(text)
    return str(caught.value)


def test_days_count_from_the_day_of_the_rate_where_there_is_no_date() -> None:
    plain = of(deposit_days=3, balance_days=45)

    assert (plain.deposit_at, plain.balance_at, plain.freight_at, plain.customs_at(50)) == (3, 45, 45, 95)
    assert not plain.dated


def test_dates_take_the_place_of_days() -> None:
    dated = of(deposit_on=DEPOSIT, balance_on=BALANCE)

    assert (dated.deposit_at, dated.balance_at, dated.freight_at) == (DEPOSIT, BALANCE, BALANCE)
    assert dated.customs_at(49.5) == date(2027, 4, 6)  # a day begun counts
    assert dated.dated


def test_days_count_from_the_order_where_it_has_a_date() -> None:
    ordered = of(order_on=ORDER, deposit_days=3, balance_days=45, freight_days=50, customs_days=90)

    assert ordered.deposit_at == DEPOSIT
    assert ordered.balance_at == date(2027, 1, 15)
    assert (ordered.freight_at, ordered.customs_at(50)) == (date(2027, 1, 20), date(2027, 3, 1))


def test_days_count_from_the_deposit_where_only_that_has_a_date() -> None:
    assert of(deposit_on=DEPOSIT).balance_at == later(DEPOSIT, 60)


def test_a_balance_alone_may_have_a_date() -> None:
    mixed = of(deposit_days=3, balance_on=BALANCE, freight_on=ORDER, customs_on=BALANCE)

    assert (mixed.deposit_at, mixed.balance_at, mixed.freight_at) == (3, BALANCE, ORDER)
    assert mixed.customs_at(50) == BALANCE


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"deposit_on": BALANCE, "balance_on": DEPOSIT}, "deposit on 2027-02-15, balance on 2026-12-04"),
        ({"order_on": ORDER, "deposit_days": 70}, "deposit on 2027-02-09, balance on 2027-01-30"),
        ({"balance_on": BALANCE, "balance_days": 60}, "has balance_on as well as balance_days"),
        ({"deposit_on": DEPOSIT, "deposit_days": 0}, "has deposit_on as well as deposit_days"),
        ({"customs_on": DEPOSIT, "customs_days": 9}, "has customs_on as well as customs_days"),
        ({"order_on": BALANCE, "balance_on": DEPOSIT}, "balance_on is 2026-12-04, before order_on"),
        ({"order_on": BALANCE, "deposit_on": DEPOSIT}, "deposit_on is 2026-12-04, before order_on"),
        ({"balance_on": "2027-02-15"}, "without quotes"),
        ({"balance_on": datetime(2027, 2, 15, 12)}, "Write a day of the years 2000 to 2100"),
        ({"balance_on": date(202, 7, 2)}, "Write a day of the years 2000 to 2100"),
        ({"balance_on": 45}, "found 45"),
    ],
)
def test_mistakes_are_said_in_words(changes: dict[str, Any], message: str) -> None:
    with pytest.raises(ValidationError, match=message):
        of(**changes)


def test_what_is_past_is_legal_and_so_is_no_deposit() -> None:
    assert of(deposit_on=date(2019, 1, 1), balance_on=date(2019, 2, 1)).dated
    assert of(deposit=0, deposit_on=BALANCE, balance_on=DEPOSIT).balance_at == DEPOSIT


def test_a_build_file_takes_dates_as_toml_writes_them() -> None:
    build = parse_build(TEXT)

    assert build.consignment[0].balance_at == BALANCE
    assert build.currency["JPY"].as_of == date(2026, 11, 25)
    assert build.fingerprint() != parse_build(TEXT.replace("2027-02-15", "2027-02-16")).fingerprint()


def test_a_rate_needs_its_day_where_payments_are_on_dates() -> None:
    text = complaints(TEXT.replace("as_of = 2026-11-25\n", ""))
    assert "line 7: currency 'JPY': as_of is missing. Consignment 'kit' is paid on dates: add as_of" in text
    days = TEXT.replace("as_of = 2026-11-25\n", "").replace(
        "deposit_on = 2026-12-04\nbalance_on = 2027-02-15\n", ""
    )
    assert not parse_build(days).consignment[0].dated


def test_mistakes_of_a_file_name_their_line() -> None:
    text = complaints(TEXT.replace("balance_on = 2027-02-15", 'balance_on = "15 Feb"'))
    assert "line 19: consignment 'kit', balance_on: found '15 Feb'. Write a day" in text
    text = complaints(TEXT.replace("2027-02-15", "2026-12-03"))
    assert "deposit on 2026-12-04, balance on 2026-12-03. Swap the two" in text
