"""Reads the customs rules, carriers' and arrival figures from the data files beside this module."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import MISSING, dataclass, fields
from datetime import date, datetime
from functools import lru_cache
from importlib import resources
from math import isfinite
from types import MappingProxyType
from typing import Any, TypeVar

from forecast.buildfile import rulefiles
from forecast.buildfile.consignment import RESERVED_IDS
from forecast.buildfile.rulefiles import RuleFile, regions_of
from forecast.errors import RuleError
from forecast.trade.rules.model import (
    COST_PARTS,
    Additional,
    Basis,
    Levy,
    Preference,
    PrivateUse,
    Remark,
    RuleFigure,
    Rules,
    Territory,
    Threshold,
)
from forecast.words.sources import CERTAINTIES

_Part = TypeVar("_Part")

_TOP = frozenset({
    "code", "duty", "name", "currency", "region", "shops", "called", "tax_name", "tax", "base_step", "rate_of_exchange",
    "customs_value", "tax_base", "figure", "levy", "additional", "threshold", "preference", "remark", "member",
    "private_use", "gift", "unknown", "home", "services_taxed", "territory",
})  # fmt: skip
"""What may stand at the top of a rule file."""


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


def _figure(raw: Mapping[str, Any], file: RuleFile | None = None) -> RuleFigure:
    value = raw.get("value")
    given = dict(raw) | ({} if value is None else {"low": value, "high": value})
    given.pop("value", None)
    file = file or RuleFile("figures of carriers and agents", {})
    made = _part(RuleFigure, {"middle": None, "as_of": None} | given, file)
    if made.certainty not in CERTAINTIES:
        message = (
            f"{file.where}: {made.id}: certainty is {made.certainty!r}, legal are {', '.join(CERTAINTIES)}."
        )
        raise RuleError(message)
    if made.as_of is None and made.read is None and made.certainty in ("verified", "third party"):
        message = (
            f"{file.where}: {made.id}: say as_of = the day that the source bears, or read = the day on which it "
            "was read."
        )
        raise RuleError(message)
    return made


def _basis(raw: Mapping[str, Any] | None, file: RuleFile) -> Basis | None:
    if raw is None:
        return None
    made = _part(Basis, raw, file)
    if strange := set(made.parts) - set(COST_PARTS):
        message = (
            f"{file.where}: parts: found {', '.join(sorted(strange))}, legal are {', '.join(COST_PARTS)}."
        )
        raise RuleError(message)
    return made


def _part(kind: type[_Part], raw: Mapping[str, Any], file: RuleFile) -> _Part:
    """Make a part of the rules of a table, whose keys are the part's own."""
    known = {field.name: field for field in fields(kind)}  # type: ignore[arg-type]
    inside = f"{file.where}: {raw.get('id') or raw.get('words') or kind.__name__.lower()}: "
    if strange := sorted(set(raw) - set(known)):
        message = f"{inside}unknown key {strange[0]!r}. Legal are {', '.join(known)}."
        raise RuleError(message)
    needed = [n for n, f in known.items() if f.default is MISSING and f.default_factory is MISSING]
    if missing := [name for name in needed if name not in raw]:
        message = f"{inside}{missing[0]} is missing. It needs {', '.join(needed)}."
        raise RuleError(message)
    values: dict[str, Any] = {}
    for name, value in raw.items():
        said = str(known[name].type)
        fits, legal = next(
            ((is_so, words) for sort, is_so, words in _SORTS if said.startswith(sort)), (None, "")
        )
        may_be_none = value is None and "None" in said
        if fits is not None and not may_be_none and not fits(value):
            message = f"{inside}{name}: found {value!r}. Write {legal}."
            raise RuleError(message)
        is_number = said.startswith("float") and value is not None
        values[name] = tuple(value) if isinstance(value, list) else float(value) if is_number else value
    return kind(**values)


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and isfinite(value)


def _is_date(value: object) -> bool:
    return isinstance(value, date) and not isinstance(value, datetime)


_SORTS: tuple[tuple[str, Callable[[object], bool], str], ...] = (
    ("float", _is_number, "a number, such as 0.05"),
    ("date", _is_date, "a date, such as 2026-11-26"),
    ("tuple", lambda value: isinstance(value, list), 'a list, such as ["…"]'),
    ("Mapping", lambda value: isinstance(value, dict), 'a table, such as { XX = "…" }'),
    ("bool", lambda value: isinstance(value, bool), "true or false"),
    ("str", lambda value: isinstance(value, str), 'text in double quotes, such as "…"'),
)
"""How the fields of parts are said, what fits there, and how to write it."""


@lru_cache(maxsize=1)
def countries() -> Mapping[str, str]:
    """Give the countries whose rules are on file: code to name."""
    return MappingProxyType({code: country.name for code, country in rulefiles.countries().items()})


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
    found = rulefiles.countries().get(country)
    if found is None:
        message = (
            f"build.country: no customs rules for {country!r}. On file: {', '.join(countries())}. "
            "Take the nearest one and overwrite its figures, or write the lines by hand, without consignment."
        )
        raise RuleError(message)
    file = rulefiles.rule_files()[found.union]
    raw = file.raw
    if strange := sorted(set(raw) - _TOP):
        message = f"{file.where}: unknown key {strange[0]!r}. Legal are {', '.join(sorted(_TOP))}."
        raise RuleError(message)
    tables = (*file.tables("figure"), *(part for item in file.tables("duty") for part in _duties(item, file)))
    figures = {figure.id: figure for item in tables for figure in (_figure(item, file),)}
    tax = raw.get("tax")
    for member in file.tables("member"):
        if member["code"] == country and tax is not None:
            figures[tax] = _figure(_tax_of(member, tax, raw.get("tax_name", "")), file)
    customs_value = _basis(file.need("customs_value", dict), file)
    assert customs_value is not None
    rules = Rules(
        code=country,
        name=found.name,
        currency=file.need("currency"),
        tax_name=raw.get("tax_name", ""),
        tax=tax,
        rate_of_exchange=file.need("rate_of_exchange"),
        base_step=float(raw.get("base_step", 0)),
        customs_value=customs_value,
        tax_base=_basis(raw.get("tax_base"), file),
        figures=MappingProxyType(figures),
        levies=tuple(_part(Levy, item, file) for item in file.tables("levy")),
        additional=tuple(_part(Additional, item, file) for item in file.tables("additional")),
        thresholds=tuple(_part(Threshold, item, file) for item in file.tables("threshold")),
        preferences=tuple(_part(Preference, item, file) for item in file.tables("preference")),
        territories=tuple(_part(Territory, item, file) for item in file.tables("territory")),
        remarks=tuple(_part(Remark, item, file) for item in file.tables("remark")),
        members=frozenset(member["code"] for member in file.tables("member")),
        home=regions_of(country),
        private_use=_part(PrivateUse, raw["private_use"], file) if "private_use" in raw else None,
        gift=file.need("gift") if "gift" in raw else "",
        services_taxed=bool(raw.get("services_taxed", True)),
    ).in_region(None)
    _check_names(rules, file)
    return rules


def _duties(table: Mapping[str, Any], file: RuleFile) -> Iterator[dict[str, Any]]:
    """Give the figure of each tariff code of a table of duty."""
    codes = file.need("codes", list, of=table)
    for code in codes:
        if not isinstance(code, str) or not re.fullmatch(r"\d{2,4}(\.\d{2}){0,3}", code):
            message = f'{file.where}: duty: codes: found {code!r}. Write tariff codes with points, such as "8708.29".'
            raise RuleError(message)
        rate = {key: value for key, value in table.items() if key != "codes"}
        yield {"id": f"duty.{code}", "label": _duty_label(code), "unit": "share"} | rate


@lru_cache(maxsize=1)
def _headings() -> Mapping[str, str]:
    return MappingProxyType(dict(_read("headings")["heading"]))


def called(hs: str) -> str:
    """Say what goods of a tariff code are, by the longest code that has a name; the code itself where none has."""
    digits = hs.replace(".", "")
    found = [code for code in _headings() if digits.startswith(code.replace(".", ""))]
    best = max(found, key=len, default=None)
    return hs if best is None else _headings()[best]


def _duty_label(hs: str) -> str:
    """Name a duty, with its code where the goods' name is that of a wider one."""
    name = called(hs)
    return f"Duty on {name}" if hs in _headings() or name == hs else f"Duty on {name}, {hs}"


def _tax_of(member: Mapping[str, Any], tax: str, name: str) -> dict[str, Any]:
    """Give a member's rate of tax as a figure: what else is said of the member is no part of it."""
    own = {field.name for field in fields(RuleFigure)} | {"value"}
    label = f"{name.removeprefix('import ')} of {member['name']}"
    return {"id": tax, "label": label, "unit": "share"} | {k: v for k, v in member.items() if k in own}


def _check_names(rules: Rules, file: RuleFile) -> None:
    """Refuse a name of a figure that is none, and a range where one number is needed."""
    numbers = {id for levy in rules.levies for id in levy.figures} | {
        id for rule in rules.thresholds for id in (rule.at_most, rule.flat)
    }
    rates = {rules.tax} | {id for rule in rules.additional for id in rule.totals.values()}
    rates |= {rules.tax_base.uplift} if rules.tax_base is not None else set()
    rates |= {rules.customs_value.insurance}
    rates |= {rules.private_use.share} if rules.private_use is not None else set()
    for rule in rules.additional:
        if rule.id in RESERVED_IDS - {"additional_duty"}:
            message = (
                f"{file.where}: additional: id: found {rule.id!r}. A line has that name: choose another id."
            )
            raise RuleError(message)
    for id in sorted(id for id in numbers | rates if id is not None):
        if id not in rules.figures:
            message = f'{file.where}: there is no figure {id!r}. Add [[figure]] with id = "{id}".'
            raise RuleError(message)
        figure = rules.figures[id]
        if id in numbers and figure.low != figure.high:
            message = f"{file.where}: {id}: found a range, {figure.low:g} to {figure.high:g}. Write value = one number."
            raise RuleError(message)


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
            charges[mode, item["id"]] = _figure({k: v for k, v in item.items() if k != "modes"})
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
