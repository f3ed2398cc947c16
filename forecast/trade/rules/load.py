"""Reads the customs rules, carriers' and arrival figures from the data files beside this module."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from importlib import resources
from types import MappingProxyType
from typing import Any

from forecast.errors import RuleError
from forecast.trade.rules.model import (
    COST_PARTS,
    Additional,
    Basis,
    Levy,
    Preference,
    Remark,
    RuleFigure,
    Rules,
    Threshold,
)
from forecast.words.sources import CERTAINTIES

OWN_FILE: Mapping[str, str] = MappingProxyType(
    {"GB": "gb", "US": "us", "AU": "au", "NZ": "nz", "CA": "ca", "CH": "ch", "JP": "jp"}
)
"""Countries with a file of their own; every member of the EU shares one."""


@dataclass(frozen=True)
class ArrivalDefaults:
    """What usually is charged on arrival, by mode and charge.

    Attributes
    ----------
    charges : mapping
        Figure by (mode, charge).
    days_on_the_way : mapping
        Days from the balance's payment to the customs entry, by mode.
    widen : float
        What the high end is multiplied by under a C rule.
    """

    charges: Mapping[tuple[str, str], RuleFigure]
    days_on_the_way: Mapping[str, float]
    widen: float

    def charge(self, mode: str, id: str) -> RuleFigure | None:
        """Give the usual figure of a charge by a mode; None where it is not charged."""
        return self.charges.get((mode, id))


@dataclass(frozen=True)
class Volatilities:
    """Default yearly volatilities of exchange rates.

    Attributes
    ----------
    pairs : mapping
        Volatility by a pair such as ``EUR/JPY``.
    other : float
        For any pair that is not listed.
    """

    pairs: Mapping[str, float]
    other: float
    source: str
    as_of: date


def _read(name: str) -> dict[str, Any]:
    text = resources.files("forecast.trade.rules").joinpath(f"{name}.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def _figure(raw: Mapping[str, Any]) -> RuleFigure:
    value = raw.get("value")
    if raw["certainty"] not in CERTAINTIES:
        message = f"{raw['id']}: certainty is {raw['certainty']!r}, legal are {', '.join(CERTAINTIES)}."
        raise RuleError(message)
    return RuleFigure(
        id=raw["id"],
        label=raw["label"],
        low=float(raw["low"] if value is None else value),
        middle=float(raw["middle"]) if "middle" in raw else None,
        high=float(raw["high"] if value is None else value),
        unit=raw["unit"],
        source=raw["source"],
        as_of=raw["as_of"],
        certainty=raw["certainty"],
        valid_to=raw.get("valid_to"),
        note=raw.get("note", ""),
    )


def _basis(raw: Mapping[str, Any] | None) -> Basis | None:
    if raw is None:
        return None
    if strange := set(raw["parts"]) - set(COST_PARTS):
        message = f"parts: found {', '.join(sorted(strange))}, legal are {', '.join(COST_PARTS)}."
        raise RuleError(message)
    return Basis(**{**raw, "parts": tuple(raw["parts"])})


def _tuples(raw: Mapping[str, Any]) -> dict[str, Any]:
    return {key: tuple(value) if isinstance(value, list) else value for key, value in raw.items()}


@lru_cache(maxsize=1)
def eu_members() -> Mapping[str, RuleFigure]:
    """Give the import VAT of every member of the European Union, by country code."""
    found: dict[str, RuleFigure] = {}
    for raw in _read("eu")["member"]:
        full = {"id": "vat", "label": f"VAT of {raw['name']}", "unit": "share", **raw}
        found[raw["code"]] = _figure(full)
    return MappingProxyType(found)


@lru_cache(maxsize=1)
def countries() -> Mapping[str, str]:
    """Give the countries whose rules are on file: code to name."""
    members = {raw["code"]: str(raw["name"]) for raw in _read("eu")["member"]}
    own = {code: str(_read(name)["name"]) for code, name in OWN_FILE.items()}
    return MappingProxyType(dict(sorted((members | own).items())))


@lru_cache(maxsize=64)
def load_rules(country: str) -> Rules:
    """Give a country's rules.

    Parameters
    ----------
    country : str
        ISO 3166-1 alpha-2 code.

    Returns
    -------
    Rules

    Raises
    ------
    RuleError
        When no rules are on file for the country.
    """
    members = eu_members()
    if country not in OWN_FILE and country not in members:
        message = (
            f"build.country: no customs rules for {country!r}. On file: {', '.join(countries())}. "
            "Take the nearest one and overwrite its figures, or write the lines by hand, without consignment."
        )
        raise RuleError(message)
    raw = _read(OWN_FILE.get(country, "eu"))
    figures = {item["id"]: _figure(item) for item in raw["figure"]}
    if country in members:
        figures["vat"] = members[country]
    customs_value = _basis(raw["customs_value"])
    if customs_value is None:
        message = f"{country}: the rules do not say what enters the customs value."
        raise RuleError(message)
    return Rules(
        code=country,
        name=countries()[country],
        currency=raw["currency"],
        tax_name=raw.get("tax_name", ""),
        tax=raw.get("tax"),
        rate_of_exchange=raw["rate_of_exchange"],
        base_step=float(raw.get("base_step", 0)),
        customs_value=customs_value,
        tax_base=_basis(raw.get("tax_base")),
        figures=MappingProxyType(figures),
        levies=tuple(Levy(**_tuples(item)) for item in raw.get("levy", ())),
        additional=tuple(Additional(**_tuples(item)) for item in raw.get("additional", ())),
        thresholds=tuple(Threshold(**item) for item in raw.get("threshold", ())),
        preferences=tuple(Preference(**_tuples(item)) for item in raw.get("preference", ())),
        remarks=tuple(Remark(**_tuples(item)) for item in raw.get("remark", ())),
        members=frozenset(members),
    )


@lru_cache(maxsize=1)
def load_carriage() -> Mapping[str, RuleFigure]:
    """Give how carriers count, by figure id such as ``air.divisor``."""
    return MappingProxyType({item["id"]: _figure(item) for item in _read("carriage")["figure"]})


@lru_cache(maxsize=1)
def load_arrival() -> ArrivalDefaults:
    """Give what usually is charged on arrival."""
    raw = _read("arrival")
    charges: dict[tuple[str, str], RuleFigure] = {}
    for item in raw["charge"]:
        for mode in item["modes"]:
            charges[mode, item["id"]] = _figure(item)
    return ArrivalDefaults(
        charges=MappingProxyType(charges),
        days_on_the_way=MappingProxyType({m: float(d) for m, d in raw["days_on_the_way"].items()}),
        widen=float(raw["c_terms"]["widen"]),
    )


@lru_cache(maxsize=1)
def load_volatilities() -> Volatilities:
    """Give the default volatilities of exchange rates."""
    raw = _read("volatility")
    pairs = MappingProxyType({pair: float(value) for pair, value in raw["pair"].items()})
    return Volatilities(pairs, float(raw["other"]), raw["source"], raw["as_of"])
