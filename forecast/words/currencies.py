"""Currencies: which there are, the decimals their sums are kept with, their signs, and dated reference rates.

Everything stands in ``currencies.toml``. Sums are stored and read back with the digits of ISO 4217; a screen may leave
decimals away that nobody uses, but never counts in another unit.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import cache
from importlib import resources
from types import MappingProxyType
from typing import Any

from forecast.errors import MoneyError
from forecast.words.text import folded


@dataclass(frozen=True)
class Reference:
    """What one unit of a currency costs in another, as it stands on file.

    Attributes
    ----------
    rate : float
        Units of the one for one of the other, to four digits.
    as_of : datetime.date
        The older day, where the two currencies were looked up on different days.
    source : str
    """

    rate: float
    as_of: date
    source: str


@cache
def _file() -> Mapping[str, Any]:
    text = resources.files("forecast.words").joinpath("currencies.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


@cache
def _known() -> frozenset[str]:
    from babel.numbers import list_currencies  # loaded late: most commands never ask for it

    return frozenset(list_currencies())


@cache
def _digits() -> Mapping[str, int]:
    units = _file()["minor_units"]
    return {code: int(digits) for digits, codes in units.items() if digits != "source" for code in codes}


def is_currency(code: str) -> bool:
    """Tell whether there is, or was, a currency with this code of three capital letters (ISO 4217)."""
    return code in _known()


def currency_codes() -> tuple[str, ...]:
    """List the codes of all currencies, in their order."""
    return tuple(sorted(_known()))


@cache
def currency_name(code: str) -> str:
    """Give the English name of a currency (Unicode CLDR, by Babel): ``Thai Baht``; the code where it has none."""
    from babel.numbers import get_currency_name  # loaded late: most commands never ask for it

    return str(get_currency_name(code, locale="en"))


@cache
def currency_many(code: str) -> str:
    """Give the English name of several of a currency, as sums are counted in: ``Polish zlotys``, ``euros``, ``yen``."""
    from babel.numbers import get_currency_name  # loaded late: most commands never ask for it

    return str(get_currency_name(code, count=2, locale="en"))


def minor_digits(code: str) -> int:
    """Give the number of digits behind the decimal mark with which sums are kept: none for the yen, two for the euro.

    Raises
    ------
    MoneyError
        If there is no such currency.
    """
    digits = _digits().get(code)
    if digits is not None:
        return digits
    if not is_currency(code):
        message = f"currency {code!r}: no such code. Use one of ISO 4217, such as EUR or JPY."
        raise MoneyError(message)
    return 2


@cache
def shown_digits(code: str) -> int:
    """Give how many of its decimals people use: none for the forint, though it has two (Unicode CLDR, by Babel).

    Raises
    ------
    MoneyError
        If there is no such currency.
    """
    from babel.numbers import get_currency_precision

    return min(minor_digits(code), int(get_currency_precision(code)))


@cache
def signs() -> Mapping[str, frozenset[str]]:
    """Give the signs that people write beside a sum, each with the currencies that it may mean."""
    return MappingProxyType({sign: frozenset(codes) for sign, codes in _file()["signs"].items()})


def currency_of(country: str) -> str | None:
    """Give the currency that people pay with in a country, by its two letters (Unicode CLDR, by Babel)."""
    from babel.numbers import get_territory_currencies

    found = get_territory_currencies(country)
    return str(found[0]) if found else None


def currencies_called(written: str) -> tuple[str, ...]:
    """Give the currencies that people may mean by what they write: a code, a sign or a name, as ``zł`` and ``baht``.

    Of the names only those of currencies with a reference rate count: no money that is gone is meant.
    """
    said = folded(written)
    code = written.strip().upper()
    if is_currency(code):
        return (code,)
    for sign, codes in signs().items():
        if folded(sign) == said:
            return tuple(code for code in reference_rates() if code in codes)
    names = {code: folded(currency_name(code)).split() for code in reference_rates()}
    for one in (said, said.removesuffix("s")):
        whole = tuple(code for code, words in names.items() if " ".join(words) == one)
        if found := whole or tuple(code for code, words in names.items() if words[-1:] == [one]):
            return found
    return ()


@cache
def reference_rates() -> Mapping[str, Reference]:
    """Give the reference rate of every currency that has one: units of it for one euro, with day and source."""
    found: dict[str, Reference] = {}
    for part in _file()["rates"]:
        for code, rate in part["per_euro"].items():
            found[code] = Reference(float(rate), part["as_of"], part["source"])
    return MappingProxyType(found)


def reference(foreign: str, home: str) -> Reference | None:
    """Give what one unit of a foreign currency costs at home by the reference rates; None where one is not on file.

    Parameters
    ----------
    foreign, home : str
        ISO 4217 codes.
    """
    rates = reference_rates()
    if foreign not in rates or home not in rates:
        return None
    here, there = rates[home], rates[foreign]
    older = min(here, there, key=lambda item: item.as_of)
    sources = dict.fromkeys(item.source for code, item in ((home, here), (foreign, there)) if code != "EUR")
    source = "; ".join(sources) or here.source
    return Reference(float(f"{here.rate / there.rate:.4g}"), older.as_of, source)


__all__ = [
    "Reference", "currencies_called", "currency_codes", "currency_name", "currency_of", "is_currency", "minor_digits",
    "reference", "reference_rates", "shown_digits", "signs",
]  # fmt: skip
