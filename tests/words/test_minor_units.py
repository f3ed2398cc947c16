from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecast.errors import LedgerError, NumberError
from forecast.words.minor_units import exponent, format_plain, from_decimal, parse_money, to_decimal, to_float

CURRENCIES = st.sampled_from(["EUR", "JPY", "KWD", "USD", "CLF"])


@pytest.mark.parametrize(
    # ISO 4217:2015, list one, column "minor unit"
    ("currency", "digits"),
    [
        ("EUR", 2),
        ("USD", 2),
        ("GBP", 2),
        ("HUF", 2),
        ("JPY", 0),
        ("KRW", 0),
        ("ISK", 0),
        ("KWD", 3),
        ("BHD", 3),
        ("CLF", 4),
    ],
)
def test_minor_units_are_those_of_iso_4217(currency: str, digits: int) -> None:
    assert exponent(currency) == digits


@pytest.mark.parametrize("currency", ["EURO", "eur", "", "ZZQ"])
def test_an_unknown_currency_is_refused(currency: str) -> None:
    with pytest.raises(LedgerError, match="no such code"):
        exponent(currency)


@pytest.mark.parametrize(
    ("text", "currency", "minor"),
    [
        ("1,234.56", "EUR", 123456),
        ("1.234,56", "EUR", 123456),
        ("1 234,56", "EUR", 123456),
        ("1\u202f234,56", "EUR", 123456),
        ("1'234.56", "CHF", 123456),
        ("1234", "EUR", 123400),
        ("12,5", "EUR", 1250),
        (".50", "EUR", 50),
        ("0,07", "EUR", 7),
        ("1.234.567,89", "EUR", 123456789),
        ("1,234,567", "JPY", 1234567),
        ("1250.00", "JPY", 1250),
        ("16.000", "JPY", 16000),
        ("1.2340", "CLF", 12340),
        ("€ 1.250,-", "EUR", 125000),
        ("65k", "EUR", 6500000),
        ("-12.50", "EUR", -1250),
        ("\u221212.50", "EUR", -1250),
        ("12,50-", "EUR", -1250),
        ("(12.50)", "EUR", -1250),
        ("-€12.50", "EUR", -1250),
        ("EUR 12.50", "EUR", 1250),
        ("12,50 €", "EUR", 1250),
        ("+3", "EUR", 300),
    ],
)
def test_amounts_are_read_whatever_their_marks(text: str, currency: str, minor: int) -> None:
    assert parse_money(text, currency) == minor


@pytest.mark.parametrize(
    ("text", "currency", "why"),
    [
        ("", "EUR", "is no number"),
        ("twelve", "EUR", "is no number"),
        ("1e3", "EUR", "is no number"),
        ("NaN", "EUR", "is no number"),
        ("٣", "EUR", "is no number"),
        ("3 USD", "EUR", "is in USD, but EUR is counted here"),
        ("1-2", "EUR", "is no number"),
        ("1.", "EUR", "no digit behind"),
        ("1.2345", "EUR", "4 digits behind"),
        ("0.123", "EUR", "3 digits behind"),
        ("1.50", "JPY", "2 digits behind"),
        ("1,2,3", "EUR", "groups?|grouped in threes"),
        ("12 34", "EUR", "grouped in threes"),
        ("1.23,456.7", "EUR", "do not fit together|grouped in threes"),
        ("--1", "EUR", "two signs"),
        ("-(1)", "EUR", "is no number"),
        ("1,234", "KWD", "can mean"),
        ("1.234", "EUR", "can mean 1234 or 1.23. Write 1234, or 1.23."),
        ("1.275", "EUR", "can mean 1275 or 1.28"),
        ("1.234", "KWD", "can mean 1234 or 1.2340"),
        ("12,345", "EUR", "can mean"),
        ("9" * 30, "EUR", "too large"),
    ],
)
def test_what_is_no_amount_or_could_be_two_is_refused(text: str, currency: str, why: str) -> None:
    with pytest.raises(NumberError, match=why):
        parse_money(text, currency)


def test_a_known_decimal_mark_settles_what_a_number_means() -> None:
    assert parse_money("1,234", "KWD", decimal=",") == 1234
    assert parse_money("1,234", "KWD", decimal=".") == 1_234_000
    with pytest.raises(NumberError, match="decimal comma of the rest"):
        parse_money("12.50", "EUR", decimal=",")
    with pytest.raises(
        NumberError, match="3 digits behind"
    ):  # in euro rather thousands, whatever the rest says
        parse_money("1.250", "EUR", decimal=".")


@given(st.integers(-(10**14), 10**14), CURRENCIES)
def test_plain_text_reads_back_exactly(minor: int, currency: str) -> None:
    assert parse_money(format_plain(minor, currency), currency, decimal=".") == minor


@given(st.integers(0, 10**12), CURRENCIES, st.sampled_from([(",", "."), (".", ","), (" ", ","), ("'", ".")]))
def test_any_house_style_reads_back_exactly(minor: int, currency: str, marks: tuple[str, str]) -> None:
    thousands, decimal = marks
    text = format_plain(minor, currency)
    whole, _, fraction = text.partition(".")
    styled = f"{int(whole):,}".replace(",", thousands) + (decimal + fraction if fraction else "")
    assert parse_money(styled, currency, decimal=decimal) == minor


@given(st.integers(-(10**14), 10**14), CURRENCIES)
def test_decimals_are_exact_both_ways(minor: int, currency: str) -> None:
    assert from_decimal(to_decimal(minor, currency), currency) == minor


def test_a_decimal_with_too_many_digits_is_refused() -> None:
    with pytest.raises(
        LedgerError, match=r"too many digits behind the decimal mark. EUR has 2: write 1250.05 or 1250"
    ):
        from_decimal(Decimal("12.345"), "EUR")
    with pytest.raises(LedgerError, match="too many digits"):
        from_decimal(Decimal("NaN"), "EUR")


def test_floats_are_in_the_main_unit() -> None:
    assert to_float(1250, "EUR") == 12.5
    assert to_float(1250, "JPY") == 1250.0
