"""What the guided start knows of places, a kit's parts and freight, from the rule files and places.toml."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from types import MappingProxyType
from typing import Any

from forecast.buildfile.library import Range
from forecast.buildfile.rulefiles import KitCountry, countries


@dataclass(frozen=True)
class Panel:
    """A part of a kit: its share of a usual kit, area in m², bonded and filled metres, and the surface it stands in."""

    id: str
    name: str
    share: float
    area: Range
    bonded: float
    filled: float
    surface: str


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
    """

    countries: Mapping[str, KitCountry]
    origins: Mapping[str, KitCountry]
    panels: Mapping[str, Panel]
    freight: Mapping[str, FreightRate]


@cache
def load_places() -> Places:
    """Read places.toml."""
    text = resources.files("forecast.buildfile").joinpath("places.toml").read_text(encoding="utf-8")
    raw: dict[str, Any] = tomllib.loads(text)
    ruled = countries()
    others = {
        code: KitCountry(code, **(item | {"called": tuple(item.get("called", ()))}))
        for code, item in raw["origin"].items()
    }
    panels = {id: Panel(id, **(item | {"area": tuple(item["area"])})) for id, item in raw["panel"].items()}
    freight = {
        mode: FreightRate(tuple(item["rate"]), item["unit"], item["minimum"])
        for mode, item in raw["freight"].items()
    }
    return Places(
        countries=MappingProxyType(dict(sorted(ruled.items(), key=lambda pair: pair[1].name))),
        origins=MappingProxyType(others | dict(ruled)),
        panels=MappingProxyType(panels),
        freight=MappingProxyType(freight),
    )
