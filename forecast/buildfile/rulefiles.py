"""The rule files, one for each country or customs union, as they stand: what every room knows of a country.

Those on file stand in ``forecast/trade/rules/``. The environment variable ``FORECAST_RULES`` names a further folder of
the builder's own: a file there adds a country, or stands in for the one on file with the same code. Duty and tax are
worked out from the same files by `forecast.trade.rules`.

What has to be known of a builder's home before a rate can be told, such as their province, stands there too, under
``[home]``: the guided start asks it, and the trade room takes the rate of the answer.
"""

from __future__ import annotations

import os
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from functools import cache
from importlib import resources
from pathlib import Path
from types import MappingProxyType
from typing import Any

from forecast.buildfile.toml import parse_toml
from forecast.errors import BuildFileError, RuleError
from forecast.tables.files import read_regular
from forecast.words.countries import COUNTRIES
from forecast.words.currencies import is_currency
from forecast.words.sources import Certainty

FURTHER = "FORECAST_RULES"
"""Environment variable that names a further folder of rule files."""
LARGEST_FILE = 1_000_000
"""Bytes; a rule file beyond this is none."""
TAX_NAMES = ("tax", "vat", "gst")
"""Names under which a consignment may overwrite any country's import tax, beside the rules' own name for it."""


@dataclass(frozen=True)
class RuleFile:
    """A rule file as it stands.

    Attributes
    ----------
    where : str
        Its name, with its folder where that is the builder's own.
    raw : mapping
    """

    where: str
    raw: Mapping[str, Any]

    def need(self, key: str, kind: type | tuple[type, ...] = str, of: Mapping[str, Any] | None = None) -> Any:
        """Give what stands under a key of the file, or of one of its tables.

        Raises
        ------
        RuleError
            Where it is missing or of another kind.
        """
        table = self.raw if of is None else of
        inside = "" if of is None else f"{of.get('id') or of.get('code') or 'a table'}: "
        kinds = kind if isinstance(kind, tuple) else (kind,)
        value = table.get(key)
        if value is None or isinstance(value, bool) or not isinstance(value, kinds):
            found = "missing" if value is None else f"found {value!r}"
            message = f"{self.where}: {inside}{key}: {found}. Write {_LIKE[kinds[0]]}."
            raise RuleError(message)
        return value

    def tables(self, key: str) -> tuple[Mapping[str, Any], ...]:
        """Give the tables that stand under a key as a list; none where it is not there.

        Raises
        ------
        RuleError
            Where it holds anything else.
        """
        listed = self.need(key, list) if key in self.raw else []
        if not all(isinstance(item, dict) for item in listed):
            message = f"{self.where}: {key}: found {listed!r}. Write tables, each under [[{key}]]."
            raise RuleError(message)
        return tuple(listed)


_LIKE: Mapping[type, str] = {
    str: 'text in double quotes, such as key = "…"', dict: "a table, such as [key]", list: "a list, such as [ … ]",
    float: "a number, such as 0.05",
}  # fmt: skip


@dataclass(frozen=True)
class KitCountry:
    """A country that a kit comes from or goes to.

    Attributes
    ----------
    region : str
        Where goods go by road; empty where they come by sea or air from everywhere.
    union : str
        Code of the customs union, within which there is no customs border; the country's own where there is none.
    shops : str
        Id of the library's rate of an hour in a shop; empty where none is on file.
    called : tuple of str
        What people call it besides its name.
    """

    code: str
    name: str
    currency: str
    region: str = ""
    union: str = ""
    shops: str = ""
    called: tuple[str, ...] = ()


@dataclass(frozen=True)
class Suggested:
    """An additional duty that the guided start counts until the builder takes it out."""

    id: str
    origins: tuple[str, ...] = ()


@dataclass(frozen=True)
class OwnUse:
    """What the guided start asks where a country has a rule for goods for one's own use, and why it matters."""

    question: str
    why: str


@dataclass(frozen=True)
class Country(KitCountry):
    """A country with rules on file, and what they say in short.

    Attributes
    ----------
    taxed : bool
        There is a tax on imports beside duty.
    dutied : bool
        Something that a kit's order holds may bear duty.
    duty_on_freight, tax_on_freight : bool
        International freight enters the customs value; it enters the tax base.
    tax_names : frozenset of str
        Names under which a consignment may overwrite the rate of import tax.
    suggested : tuple of Suggested
    look_up : mapping
        Least and most by id, of rates of which only a range is on file.
    own_use : OwnUse or None
        What is asked where the rules have one for goods for one's own use.
    """

    taxed: bool = True
    dutied: bool = True
    duty_on_freight: bool = True
    tax_on_freight: bool = True
    tax_names: frozenset[str] = frozenset(TAX_NAMES)
    suggested: tuple[Suggested, ...] = ()
    look_up: Mapping[str, tuple[float, float]] = field(default_factory=lambda: MappingProxyType({}))
    own_use: OwnUse | None = None


@dataclass(frozen=True)
class Unknown:
    """What is taken for a builder who names no country.

    Attributes
    ----------
    country : str
        Whose rules.
    words : str
        What they are called.
    overrides : mapping
        Wider figures than that country's.
    """

    country: str
    words: str
    overrides: Mapping[str, Any]


@cache
def rule_files() -> Mapping[str, RuleFile]:
    """Give every rule file by the code of its country or customs union; the builder's own before those on file.

    Raises
    ------
    RuleError
        Where a file of the builder's own cannot be used.
    """
    found: dict[str, RuleFile] = {}
    for file in (*_on_file(), *_further()):
        found[file.need("code")] = file
    return MappingProxyType(found)


_NO_COUNTRY = frozenset({"arrival.toml", "carriage.toml", "headings.toml", "volatility.toml"})
"""What carriers and agents charge, what goods are called, and how far rates move; every other file is a country's."""


def _on_file() -> Iterator[RuleFile]:
    folder = resources.files("forecast").joinpath("trade/rules")
    for name in sorted(item.name for item in folder.iterdir() if item.name.endswith(".toml")):
        text = resources.files("forecast").joinpath(f"trade/rules/{name}").read_text(encoding="utf-8")
        if name not in _NO_COUNTRY:
            yield RuleFile(name, tomllib.loads(text))


def _further() -> Iterator[RuleFile]:
    named = os.environ.get(FURTHER, "").strip()
    if not named:
        return
    folder = Path(named).expanduser()
    try:
        files = sorted(item for item in folder.iterdir() if item.suffix == ".toml")
    except OSError as error:
        message = f"{FURTHER} names {named}: {error.strerror or error}. Name a folder of rule files."
        raise RuleError(message) from None
    if not files:
        message = (
            f"{FURTHER} names {named}: no file there ends in .toml. Put a rule file there, such as xx.toml."
        )
        raise RuleError(message)
    for file in files:
        yield _own(file)


def _own(file: Path) -> RuleFile:
    heading = f"{file} (from {FURTHER})"
    try:
        text = read_regular(file, LARGEST_FILE).decode("utf-8-sig")
    except OSError as error:
        message = f"{heading}: {error.strerror or error}. Take it away, or mend it."
        raise RuleError(message) from None
    except UnicodeDecodeError as error:
        message = f"{heading}: byte {error.start + 1} is not UTF-8. Save it as UTF-8 in your editor."
        raise RuleError(message) from None
    try:
        return RuleFile(heading, parse_toml(text, heading, "Begin with a rule file on file, and change it."))
    except BuildFileError as error:
        raise RuleError(str(error)) from None


@cache
def countries() -> Mapping[str, Country]:
    """Give the countries whose rules are on file by code, in the order of their codes."""
    found = {item.code: item for code, file in rule_files().items() for item in _countries(code, file)}
    return MappingProxyType(dict(sorted(found.items())))


def _countries(code: str, file: RuleFile) -> Iterator[Country]:
    for table in file.tables("member") or (file.raw,):
        yield _country(code, file, table)


def _country(union: str, file: RuleFile, table: Mapping[str, Any]) -> Country:
    of = None if table is file.raw else table
    code, currency = file.need("code", of=of), table.get("currency") or file.need("currency")
    if code not in COUNTRIES:
        message = (
            f"{file.where}: code: found {code!r}. Write the two capital letters of ISO 3166-1, such as 'SE'."
        )
        raise RuleError(message)
    if not isinstance(currency, str) or not is_currency(currency):
        message = f"{file.where}: currency: found {currency!r}. Write three capital letters of ISO 4217, such as SEK."
        raise RuleError(message)
    value, base = file.need("customs_value", dict), file.raw.get("tax_base")
    enters = file.need("parts", list, of=value)
    taxed = file.raw.get("tax")
    within = file.need("parts", list, of=base) if isinstance(base, dict) else ()
    return Country(
        code=code,
        name=file.need("name", of=of),
        currency=currency,
        region=table.get("region") or file.raw.get("region") or "",
        union=union,
        shops=table.get("shops") or file.raw.get("shops") or "",
        called=tuple(table.get("called") or ()),
        taxed=taxed is not None,
        dutied=any(rate > 0 for rate in _duties_of(file)),
        duty_on_freight="freight" in enters,
        tax_on_freight="freight" in within or ("customs_value" in within and "freight" in enters),
        tax_names=frozenset((*TAX_NAMES, *([taxed] if isinstance(taxed, str) else []))),
        suggested=tuple(
            Suggested(file.need("id", of=item), tuple(item.get("origins") or ()))
            for item in file.tables("additional")
            if item.get("suggested")
        ),
        look_up=MappingProxyType(dict(_rough(file))),
        own_use=_own_use(file),
    )


def _own_use(file: RuleFile) -> OwnUse | None:
    table = file.need("private_use", dict) if "private_use" in file.raw else {}
    if "question" not in table:
        return None
    return OwnUse(file.need("question", of=table), file.need("why", of=table))


def _duties_of(file: RuleFile) -> Iterator[float]:
    """Give the most that each rate of duty on file comes to."""
    for table in (*file.tables("duty"), *file.tables("figure")):
        if "codes" in table or str(table.get("id")).startswith("duty."):
            yield file.need("high" if "high" in table else "value", (float, int), of=table)


def _rough(file: RuleFile) -> Iterator[tuple[str, tuple[float, float]]]:
    """Give the rates of which a file has a range alone."""
    for table in (*file.tables("duty"), *file.tables("figure")):
        if "low" in table and "high" in table and table.get("unit", "share") == "share":
            ids = [f"duty.{code}" for code in table.get("codes") or ()] or [str(table.get("id"))]
            for id in ids:
                yield (
                    str(id),
                    (file.need("low", (float, int), of=table), file.need("high", (float, int), of=table)),
                )


_ELSEWHERE = Country("", "", "")
"""A country without rules on file: taxed, on the freight too, as most are."""


def country_of(code: str) -> Country:
    """Give what is known of a country's rules; the usual where none are on file."""
    return countries().get(code, _ELSEWHERE)


@cache
def unknown_country() -> Unknown:
    """Give what is taken for a builder who names no country."""
    for file in reversed([*rule_files().values()]):
        if isinstance(table := file.raw.get("unknown"), dict):
            overrides = MappingProxyType(file.need("overrides", dict, of=table))
            return Unknown(file.need("country", of=table), file.need("words", of=table), overrides)
    message = (
        "No rule file says what to take for a builder who names no country: one needs a table [unknown]."
    )
    raise RuleError(message)


def groups_of(origin: str | None) -> frozenset[str]:
    """Give the codes by which rules may mean an origin: its own, and that of its customs union."""
    known = countries().get(origin or "")
    return frozenset(code for code in (origin, known.union if known else None) if code)


def is_meant(origin: str | None, origins: Iterable[str]) -> bool:
    """Tell whether a list of countries and customs unions holds an origin."""
    return not groups_of(origin).isdisjoint(origins)


def same_territory(one: str, other: str) -> bool:
    """Tell whether goods pass no customs border between two countries: they are one, or of one customs union."""
    known = countries()
    return one == other or (one in known and other in known and known[one].union == known[other].union)


@dataclass(frozen=True)
class RegionChoice:
    """One answer: its code and name, the rate that follows from it, and how that rate is called."""

    code: str
    name: str
    value: float
    label: str


@dataclass(frozen=True)
class Regions:
    """The question of one country.

    Attributes
    ----------
    question, why : str
        As it is put to a builder, and what the answer changes.
    sets : str
        Id of the rule figure that the answer sets.
    low, middle, high : float
        What is taken until it is answered.
    choices : mapping
        Answers by code.
    """

    question: str
    why: str
    sets: str
    low: float
    middle: float
    high: float
    source: str
    certainty: Certainty
    choices: Mapping[str, RegionChoice]
    as_of: date | None = None
    read: date | None = None
    note: str = ""


@cache
def regions_of(country: str) -> Regions | None:
    """Give what a country's rules ask; None where they ask nothing, or none are on file."""
    known = countries().get(country)
    if known is None or "home" not in (file := rule_files()[known.union]).raw:
        return None
    table = {key: value for key, value in file.need("home", dict).items() if key not in ("choice", "unknown")}
    try:
        choices = {item["code"]: RegionChoice(**item) for item in file.raw["home"]["choice"]}
        return Regions(**table, **file.raw["home"]["unknown"], choices=MappingProxyType(choices))
    except (TypeError, KeyError) as error:
        message = (
            f"{file.where}: home: {error}. Write question, why, sets, source and certainty, unknown = {{ low, middle, "
            "high }}, and [[home.choice]] tables with code, name, value and label."
        )
        raise RuleError(message) from None
