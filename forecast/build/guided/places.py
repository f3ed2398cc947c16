"""What the guided start knows of places, currencies, a kit's parts and freight, read from places.toml."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import cache
from importlib import resources
from types import MappingProxyType
from typing import Any

from forecast.build.library import Range


@dataclass(frozen=True)
class Place:
    """A country.

    Attributes
    ----------
    region : str
        Where goods go by road; within "EU" there is no customs border.
    shops : str
        Id of the library's rate of an hour in a shop; empty where none is on file.
    """

    code: str
    name: str
    currency: str
    region: str = ""
    shops: str = ""


@dataclass(frozen=True)
class Panel:
    """A part of a kit: its share of a usual kit, area in m², bonded and filled metres."""

    id: str
    name: str
    share: float
    area: Range
    bonded: float
    filled: float


@dataclass(frozen=True)
class FreightRate:
    """Freight of one chargeable unit in euro, and the least that is charged."""

    rate: Range
    unit: str
    minimum: float


@dataclass(frozen=True)
class Places:
    """Everything on file.

    Attributes
    ----------
    countries : mapping
        Those with customs rules on file, by code.
    origins : mapping
        Those and others that kits come from.
    per_euro : mapping
        Units of a currency for one euro.
    """

    countries: Mapping[str, Place]
    origins: Mapping[str, Place]
    per_euro: Mapping[str, float]
    rates_source: str
    rates_as_of: date
    panels: Mapping[str, Panel]
    freight: Mapping[str, FreightRate]

    def rate(self, foreign: str, home: str) -> float | None:
        """Give units of home currency for one of the foreign, to four digits; None where it is not on file."""
        if foreign not in self.per_euro or home not in self.per_euro:
            return None
        return float(f"{self.per_euro[home] / self.per_euro[foreign]:.4g}")


@cache
def load_places() -> Places:
    """Read places.toml."""
    text = resources.files("forecast.build.guided").joinpath("places.toml").read_text(encoding="utf-8")
    raw: dict[str, Any] = tomllib.loads(text)
    countries = {code: Place(code, **item) for code, item in raw["country"].items()}
    others = {code: Place(code, **item) for code, item in raw["origin"].items()}
    panels = {id: Panel(id, **(item | {"area": tuple(item["area"])})) for id, item in raw["panel"].items()}
    freight = {
        mode: FreightRate(tuple(item["rate"]), item["unit"], item["minimum"])
        for mode, item in raw["freight"].items()
    }
    return Places(
        countries=MappingProxyType(dict(sorted(countries.items(), key=lambda pair: pair[1].name))),
        origins=MappingProxyType(countries | others),
        per_euro=MappingProxyType({code: float(value) for code, value in raw["rates"]["per_euro"].items()}),
        rates_source=raw["rates"]["source"],
        rates_as_of=raw["rates"]["as_of"],
        panels=MappingProxyType(panels),
        freight=MappingProxyType(freight),
    )
