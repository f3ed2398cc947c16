"""Reads the starter library's data and scales them."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from functools import cache, lru_cache
from importlib import resources
from typing import Any

from forecast.buildfile.library.starters import (
    Library,
    Range,
    StarterCause,
    StarterEvent,
    StarterLine,
    StarterMeasure,
    StarterPhase,
    StarterRates,
)
from forecast.buildfile.rates import ask_for_rate, per_euro
from forecast.buildfile.schema import Build
from forecast.errors import MoneyError
from forecast.words.currencies import reference

LABOUR_RATE: Range = (60.0, 100.0, 160.0)
"""An hour in an independent shop in western Europe, EUR with tax (common practice, no source)."""

_WRITTEN_FOR = 100.0  # the labour rate for which the bought-in work of lines.toml is written, EUR an hour


@cache
def _read(name: str) -> Mapping[str, Any]:
    text = resources.files("forecast.buildfile.library").joinpath(name).read_text(encoding="utf-8")
    return tomllib.loads(text)


def _frozen(item: Mapping[str, Any]) -> dict[str, Any]:
    return {key: tuple(value) if isinstance(value, list) else value for key, value in item.items()}


def rounded(value: float, digits: int = 2) -> float:
    """Round to significant digits, two where nothing is said: no more is known."""
    if value == 0:
        return 0.0
    step = 10.0 ** (math.floor(math.log10(abs(value))) - digits + 1)
    number = round(value / step) * step
    return round(number, 6)


def _scaled(numbers: Range | None, factor: float) -> Range | None:
    if numbers is None or factor == 1:
        return numbers
    low, middle, high = (rounded(number * factor) for number in numbers)
    return low, middle, high


@lru_cache(maxsize=32)
def load_library(
    currency_factor: float | None = None, labour_rate: Range | None = None, *, currency: str = "EUR"
) -> Library:
    """Read the library, scaled to a currency and a labour rate.

    Parameters
    ----------
    currency_factor : float, optional
        Units of the build's currency for one euro, for scaling the ranges; the reference rate of ``currency`` when left
        out. `library_of` knows the builder's own.
    labour_rate : tuple of float, optional
        Low, middle and high of an hour in a shop, in the build's currency; that of western Europe, scaled, when left
        out. Bought-in work follows its middle.
    currency : str
        ISO 4217 code of the build's currency.

    Returns
    -------
    Library

    Raises
    ------
    MoneyError
        When there is no reference rate for the currency.
    """
    factor = _known_factor(currency) if currency_factor is None else float(currency_factor)
    if not factor > 0:
        message = f"currency_factor is {factor:g}, must be above zero"
        raise ValueError(message)
    if labour_rate is None:
        low, middle, high = (rounded(rate * factor) for rate in LABOUR_RATE)
        rate: Range = (low, middle, high)
    else:
        rate = labour_rate
    if not 0 < rate[0] < rate[1] < rate[2]:
        message = f"labour_rate is {rate}, must rise from low over middle to high, all above zero"
        raise ValueError(message)
    by_scale = {"money": factor, "labour": rate[1] / _WRITTEN_FOR, "percent": 1.0}
    lines = []
    for item in _read("lines.toml")["line"]:
        fields = _frozen(item)
        fields["range"] = _scaled(fields["range"], by_scale[fields.get("scale", "money")])
        lines.append(StarterLine(**fields))
    return Library(
        causes=tuple(StarterCause(**item) for item in _read("causes.toml")["cause"]),
        lines=tuple(lines),
        phases=tuple(StarterPhase(**_frozen(item)) for item in _read("phases.toml")["phase"]),
        events=tuple(
            StarterEvent(**_with_cost(item, by_scale[item.get("scale", "money")]))
            for item in _read("events.toml")["event"]
        ),
        measures=tuple(
            StarterMeasure(**_with_cost(item, factor)) for item in _read("measures.toml")["measure"]
        ),
        waits={item["package"]: _frozen(item)["weeks"] for item in _read("phases.toml")["wait"]},
        currency_factor=factor,
        labour_rate=rate,
    )


def _with_cost(item: Mapping[str, Any], factor: float) -> dict[str, Any]:
    fields = _frozen(item)
    if "cost" in fields:
        fields["cost"] = _scaled(fields["cost"], factor)
    return fields


def _known_factor(currency: str) -> float:
    known = reference("EUR", currency)
    if known is None:
        raise MoneyError(ask_for_rate(currency))
    return known.rate


def library_of(build: Build) -> Library:
    """Read the library, scaled to a build's money by the builder's own rate or the reference rate; see `per_euro`.

    Raises
    ------
    MoneyError
        When neither is there: it asks for one.
    """
    return load_library(per_euro(build), currency=build.build.currency)


def load_rates() -> tuple[StarterRates, ...]:
    """Read what an hour in a shop costs in several markets."""
    return tuple(StarterRates(**_frozen(item)) for item in _read("rates.toml")["rate"])
