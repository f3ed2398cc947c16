"""One table of currencies: minor units, signs and reference rates, held against what stands outside the project."""

from __future__ import annotations

from datetime import date

import pytest
from babel.numbers import get_currency_precision, list_currencies
from currency_converter import CurrencyConverter

from forecast.errors import MoneyError
from forecast.words.currencies import (
    currencies_called,
    currency_name,
    is_currency,
    minor_digits,
    reference,
    reference_rates,
    shown_digits,
    signs,
)
from forecast.words.money import exact

DAY = date(2026, 10, 30)


def test_minor_units_agree_with_unicode_except_where_it_tells_what_people_use() -> None:
    """CLDR drops decimals that nobody uses (the forint's) and so may show fewer than ISO 4217 keeps, never more."""
    for code in list_currencies():
        assert minor_digits(code) in (0, 2, 3, 4)
        assert minor_digits(code) >= get_currency_precision(code) == shown_digits(code), code


def test_a_sum_shows_as_many_units_as_were_stored_in_every_currency() -> None:
    for code in list_currencies():
        units = 10 ** minor_digits(code)
        assert "610,000" in exact(610_000 * units, code), code
        assert "6,100,000" not in exact(610_000 * units, code), code
        if units > 1:  # a coin that nobody has any more is shown all the same where it was entered
            cent = exact(7 * units + 1, code)
            assert cent.endswith("7." + "1".rjust(minor_digits(code), "0")), code


def test_there_is_no_currency_but_those_of_iso_4217() -> None:
    assert is_currency("EUR")
    assert not is_currency("XYZ")
    for digits in (minor_digits, shown_digits):
        with pytest.raises(MoneyError, match="no such code"):
            digits("XYZ")


def test_every_sign_stands_for_currencies_that_exist() -> None:
    assert all(codes and all(map(is_currency, codes)) for codes in signs().values())


def test_rates_of_the_central_bank_are_its_own_of_that_day() -> None:
    """Euro foreign exchange reference rates of 30 October 2026, as the package CurrencyConverter carries them."""
    bank = CurrencyConverter()
    held = [code for code, item in reference_rates().items() if item.source.startswith("European")]
    published = {code for code, bounds in bank.bounds.items() if bounds.last_date == DAY}
    assert set(held) == published
    for code in held:
        assert reference_rates()[code].as_of == DAY
        assert reference_rates()[code].rate == pytest.approx(
            bank.convert(1, "EUR", code, date=DAY), rel=0.006
        ), code


def test_fixed_rates_follow_from_what_they_are_fixed_to() -> None:
    """Parities from memory (laws and central banks' standing figures), times the reference rate of the other money."""
    bank = CurrencyConverter()
    anchors = {"EUR": 1.0} | {
        c: bank.convert(1, "EUR", c, date=DAY) for c in ("USD", "SGD", "INR", "ZAR", "HKD")
    }
    fixed = {
        "AED": ("USD", 3.6725), "BAM": ("EUR", 1.95583), "BGN": ("EUR", 1.95583), "BHD": ("USD", 0.376),
        "BND": ("SGD", 1), "CVE": ("EUR", 110.265), "JOD": ("USD", 0.709), "KMF": ("EUR", 491.96775),
        "LSL": ("ZAR", 1), "MOP": ("HKD", 1.03), "NAD": ("ZAR", 1), "NPR": ("INR", 1.6), "OMR": ("USD", 0.3845),
        "QAR": ("USD", 3.64), "SAR": ("USD", 3.75), "SZL": ("ZAR", 1), "XAF": ("EUR", 655.957),
        "XOF": ("EUR", 655.957), "XPF": ("EUR", 119.331742),
    }  # fmt: skip
    held = {code for code, item in reference_rates().items() if item.source.startswith("Rates that law")}
    assert held == set(fixed)
    for code, (anchor, parity) in fixed.items():
        assert reference_rates()[code].rate == pytest.approx(parity * anchors[anchor], rel=0.01), code


def test_a_reference_rate_crosses_the_euro_and_says_its_day_and_source() -> None:
    yen = reference("JPY", "NZD")
    assert yen is not None
    assert yen.rate == pytest.approx(1.98 / 176, rel=1e-3)
    assert (yen.as_of, yen.source.count("European")) == (DAY, 1)
    dong = reference("VND", "EUR")
    assert dong is not None
    assert dong.as_of < DAY
    assert dong.source.startswith("No source")
    assert reference("EUR", "ARS") is None  # none is better than one that was true for a month
    both = reference("EUR", "EUR")
    assert both is not None
    assert both.rate == 1


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("PLN", ("PLN",)), ("pln", ("PLN",)), ("zł", ("PLN",)), ("zl", ("PLN",)), ("złoty", ("PLN",)),
        ("baht", ("THB",)), ("Thai baht", ("THB",)), ("฿", ("THB",)), ("euros", ("EUR",)), ("yen", ("JPY",)),
        ("Kč", ("CZK",)), ("US dollars", ("USD",)), ("quids", ()), ("", ()),
    ],
)  # fmt: skip
def test_a_currency_is_known_by_its_code_its_sign_and_its_name(written: str, meant: tuple[str, ...]) -> None:
    """Names of Unicode CLDR, by Babel; signs as they are in common use, no source."""
    assert currencies_called(written) == meant


def test_a_word_for_many_currencies_names_all_of_them() -> None:
    found = currencies_called("dollar")
    assert {"USD", "AUD", "CAD", "NZD"} <= set(found)
    assert all(currency_name(code).endswith("Dollar") for code in found)
