"""What a country's rules ask of its builders before a rate can be told, such as their province.

The question stands in the country's rule file, under ``[home]``: the guided start asks it, and the trade room takes
the rate of the answer.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import cache
from types import MappingProxyType

from forecast.buildfile.rulefiles import countries, rule_files
from forecast.errors import RuleError
from forecast.words.sources import Certainty


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


__all__ = ["RegionChoice", "Regions", "regions_of"]
