"""The starter lines, events, rates and phases on file: what they are, and what reads them."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from functools import cache, lru_cache
from importlib import resources
from typing import Any, Literal

from forecast.buildfile.cautions import Caution, cautions_for
from forecast.buildfile.data_on_file import made
from forecast.buildfile.rates import ask_for_rate, per_euro
from forecast.buildfile.schema import Bought, Build, Group, usually_bought
from forecast.errors import MoneyError
from forecast.words.currencies import reference

PRACTICE = "Common practice, yours to overwrite."
"""Said of every range in the library."""

Range = tuple[float, float, float]
"""Low, middle and high: P10, P50 and P90."""


def _figure(
    numbers: Range, causes: Mapping[str, str] | None = None, unit: str | None = None
) -> dict[str, Any]:
    low, middle, high = numbers
    figure: dict[str, Any] = {"low": low, "middle": middle, "high": high}
    if unit:
        figure["unit"] = unit
    if causes:
        figure["causes"] = dict(causes)
    return figure | {"starter": True}


def with_bought(table: dict[str, Any], bought: Bought) -> None:
    """Say in the table of a line how it is paid for, where things of its group and unit are usually paid otherwise."""
    quantity = table.get("quantity")
    unit = quantity.get("unit") if isinstance(quantity, Mapping) else None
    if usually_bought(table["group"], unit) != bought:
        table["bought"] = bought


@dataclass(frozen=True)
class StarterCause:
    """A shared cause."""

    id: str
    name: str
    note: str

    def table(self) -> dict[str, Any]:
        """Give the ``[[cause]]`` table of a build file."""
        return {"id": self.id, "name": self.name, "note": self.note}


@dataclass(frozen=True)
class StarterLine:
    """A line that such builds usually have.

    Attributes
    ----------
    id, name, group, section : str
        Section is the heading of the library under which it stands.
    range : tuple of float
        Low, middle, high: money in the library's currency, or percent where ``scale`` is percent.
    bought : {"once", "several", "running"}
        How it is usually paid for.
    scale : str
        money (follows the currency), labour (follows the labour rate) or percent.
    of : tuple of str
        Lines that a percentage is taken of.
    chance : float
        That it is needed at all.
    package, route : str or None
        Work package, and the route in which the line counts.
    also_for : tuple of str
        Other work packages that need it too.
    safety, optional, forgotten, income : bool
        Never to be trimmed; can be done without; often forgotten; money that comes in.
    causes : mapping
        Strength of each shared cause on the range.
    beforehand : bool
        Whether a quote, a look or a question can tell beforehand what it costs; see
        `known_afterwards`.
    words : tuple of str
        By which a line of a build is recognised as this one.
    note : str
        Where the range needs a word.
    """

    id: str
    name: str
    group: Group
    section: str
    range: Range
    bought: Bought
    scale: str = "money"
    of: tuple[str, ...] = ()
    chance: float = 1.0
    package: str | None = None
    route: str | None = None
    also_for: tuple[str, ...] = ()
    safety: bool = False
    optional: bool = False
    forgotten: bool = False
    income: bool = False
    beforehand: bool = True
    causes: Mapping[str, str] = field(default_factory=dict)
    words: tuple[str, ...] = ()
    note: str = ""

    @property
    def cautions(self) -> tuple[Caution, ...]:
        """The cautions that stand beside it."""
        return cautions_for(self.id)

    def table(self, present: Collection[str] | None = None) -> dict[str, Any]:
        """Give the ``[[line]]`` table of a build file.

        Parameters
        ----------
        present : collection of str, optional
            Ids of the lines in the build: a percentage is taken of those among its lines. All when left out.
        """
        table: dict[str, Any] = {"id": self.id, "name": self.name, "group": self.group}
        if self.package:
            table["package"] = self.package
        if self.route:
            table["route"] = self.route
        if self.also_for:
            table["also_for"] = list(self.also_for)
        if self.scale == "percent":
            table["percent"] = _figure(self.range, self.causes)
            table["of"] = [name for name in self.of if present is None or name in present]
        elif self.income:
            table["quantity"] = -1
            table["price"] = _figure(self.range, self.causes)
        else:
            table["amount"] = _figure(self.range, self.causes)
        if self.chance < 1:
            table["chance"] = self.chance
        table |= {key: True for key in ("optional", "safety") if getattr(self, key)}
        with_bought(table, self.bought)
        table["note"] = f"{PRACTICE} {self.note}".strip()
        return table


@dataclass(frozen=True)
class StarterPhase:
    """A phase of the work, with hours by oneself and by a shop.

    ``shop_line`` names the starter line that prices it when a shop does it; without one it is ``shop_hours`` at the
    labour rate.
    """

    id: str
    name: str
    own_hours: Range
    package: str
    shop_hours: Range | None = None
    shop_line: str | None = None
    causes: Mapping[str, str] = field(default_factory=dict)

    @property
    def cautions(self) -> tuple[Caution, ...]:
        """The cautions that stand beside it."""
        return cautions_for(self.id)

    def own_table(self) -> dict[str, Any]:
        """Give the ``[[line]]`` table of doing it oneself; without a route where no shop would do it."""
        table: dict[str, Any] = {"id": f"{self.id}_self", "name": self.name, "group": "labour"}
        if self.shop_hours is not None:
            table |= {"package": self.package, "route": "self"}
        return table | {"own_hours": _figure(self.own_hours, self.causes, "h"), "note": PRACTICE}

    def shop_table(self, rate: Range) -> dict[str, Any] | None:
        """Give the ``[[line]]`` table of a shop doing it by the hour, or None where another line prices it."""
        if self.shop_hours is None or self.shop_line is not None:
            return None
        return {
            "id": f"{self.id}_shop",
            "name": f"{self.name}, by a shop",
            "group": "labour",
            "package": self.package,
            "route": "shop",
            "quantity": _figure(self.shop_hours, self.causes, "h"),
            "price": _figure(rate, {"shop_rates": "strong"}),
            "note": PRACTICE,
        }


@dataclass(frozen=True)
class StarterEvent:
    """A risk event: chance, how far it may differ, impact as cost or percentage of lines; scale as of `StarterLine`.

    ``over`` says with what it is over: "delivery", or nothing where it may come as long as the build lasts;
    ``beforehand`` whether a look or a question can tell beforehand that it will come or will not.
    """

    id: str
    name: str
    chance: float
    chance_range: tuple[float, float]
    cost: Range | None = None
    percent: Range | None = None
    of: tuple[str, ...] = ()
    own_hours: Range | None = None
    wait_weeks: Range | None = None
    package: str | None = None
    route: str | None = None
    causes: Mapping[str, str] = field(default_factory=dict)
    note: str = ""
    scale: str = "money"
    over: Literal["", "delivery"] = ""
    beforehand: bool = True

    def table(self, present: Collection[str] | None = None, *, timed: bool = True) -> dict[str, Any]:
        """Give the ``[[event]]`` table of a build file.

        Parameters
        ----------
        present : collection of str, optional
            As in `StarterLine.table`.
        timed : bool, optional
            Whether the build says how many hours a week has: weeks of waiting would not add up without it, and are
            left out.
        """
        table: dict[str, Any] = {"id": self.id, "name": self.name, "chance": self.chance}
        if self.package:
            table["package"] = self.package
        if self.route:
            table["route"] = self.route
        if self.cost is not None:
            table["cost"] = _figure(self.cost)
        if self.percent is not None:
            table["percent"] = _figure(self.percent)
            table["of"] = [name for name in self.of if present is None or name in present]
        if self.own_hours is not None:
            table["own_hours"] = _figure(self.own_hours)
        if self.wait_weeks is not None and timed:
            table["wait_weeks"] = _figure(self.wait_weeks)
        if self.causes:
            table["causes"] = dict(self.causes)
        low, high = self.chance_range
        words = f"{PRACTICE} Chance {low:.0%} to {high:.0%}. {self.note}"
        return table | {"note": words.strip()}


@dataclass(frozen=True)
class StarterMeasure:
    """A measure: its cost, its factors on chances, impacts and ranges, and before what it can be taken."""

    id: str
    name: str
    cost: Range
    own_hours: Range | None = None
    chances: Mapping[str, float] = field(default_factory=dict)
    impacts: Mapping[str, float] = field(default_factory=dict)
    ranges: Mapping[str, float] = field(default_factory=dict)
    before: tuple[str, ...] = ()

    def table(self, present: Collection[str] | None = None) -> dict[str, Any]:
        """Give the ``[[measure]]`` table of a build file, of effects on what is present only."""
        table: dict[str, Any] = {"id": self.id, "name": self.name, "cost": _figure(self.cost)}
        if self.own_hours is not None:
            table["own_hours"] = _figure(self.own_hours)
        for key in ("chances", "impacts", "ranges"):
            effects: Mapping[str, float] = getattr(self, key)
            kept = {
                name: factor
                for name, factor in effects.items()
                if present is None or name.split(".")[0] in present
            }
            if kept:
                table[key] = kept
        if before := [name for name in self.before if present is None or name in present]:
            table["before"] = before
        return table | {"note": PRACTICE}


@dataclass(frozen=True)
class StarterRates:
    """What an hour in a shop costs somewhere; ``seen`` tells whether anybody's price there was known."""

    id: str
    name: str
    currency: str
    range: Range
    source: str
    seen: bool = True


@dataclass(frozen=True)
class Library:
    """The starter library, scaled.

    Attributes
    ----------
    currency_factor : float
        Units of the build's currency for one euro, as applied.
    labour_rate : tuple of float
        Low, middle and high of an hour in a shop, in the build's currency.
    waits : mapping
        Weeks until a shop has room for a work package and while the car is there, by package.
    """

    causes: tuple[StarterCause, ...]
    lines: tuple[StarterLine, ...]
    phases: tuple[StarterPhase, ...]
    events: tuple[StarterEvent, ...]
    measures: tuple[StarterMeasure, ...]
    waits: Mapping[str, Range]
    currency_factor: float
    labour_rate: Range

    def line(self, name: str) -> StarterLine:
        """Give the line of an id."""
        return next(line for line in self.lines if line.id == name)

    def event(self, name: str) -> StarterEvent:
        """Give the event of an id."""
        return next(event for event in self.events if event.id == name)

    def table(self, name: str, present: Collection[str], *, timed: bool) -> tuple[str, dict[str, Any]]:
        """Give whether an id is a "line" or an "event", and its table; see `StarterEvent.table`."""
        if any(line.id == name for line in self.lines):
            return "line", self.line(name).table(present)
        return "event", self.event(name).table(present, timed=timed)

    def phase(self, name: str) -> StarterPhase:
        """Give the phase of an id."""
        return next(phase for phase in self.phases if phase.id == name)


LABOUR_RATE: Range = (60.0, 100.0, 160.0)
"""An hour in an independent shop in western Europe, EUR with tax (common practice, no source)."""

_WRITTEN_FOR = 100.0  # the labour rate for which the bought-in work of lines.toml is written, EUR an hour


@cache
def _read(name: str) -> Mapping[str, Any]:
    text = resources.files("forecast.buildfile.library").joinpath(name).read_text(encoding="utf-8")
    return tomllib.loads(text)


def _frozen(item: Mapping[str, Any]) -> dict[str, Any]:
    return {key: tuple(value) if isinstance(value, list) else value for key, value in item.items()}


_LEAST = 1e-6
"""No figure of the library is told finer than this."""


def rounded(value: float, digits: int = 2) -> float:
    """Round to significant digits, two where nothing is said: no more is known."""
    if abs(value) < _LEAST / 2:
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
        fields["range"] = _scaled(fields.get("range"), by_scale[fields.get("scale", "money")])
        lines.append(made(StarterLine, fields, "lines.toml"))
    return Library(
        causes=tuple(made(StarterCause, item, "causes.toml") for item in _read("causes.toml")["cause"]),
        lines=tuple(lines),
        phases=tuple(
            made(StarterPhase, _frozen(item), "phases.toml") for item in _read("phases.toml")["phase"]
        ),
        events=tuple(
            made(StarterEvent, _with_cost(item, by_scale[item.get("scale", "money")]), "events.toml")
            for item in _read("events.toml")["event"]
        ),
        measures=tuple(
            made(StarterMeasure, _with_cost(item, factor), "measures.toml")
            for item in _read("measures.toml")["measure"]
        ),
        waits={item["package"]: _frozen(item)["weeks"] for item in _read("phases.toml")["wait"]},
        currency_factor=factor,
        labour_rate=rate,
    )


@cache
def known_afterwards() -> frozenset[str]:
    """Give the starter lines and events of which nothing can be known beforehand, by the id they keep in a build."""
    library = load_library(1.0)
    lines = {line.id for line in library.lines if not line.beforehand}
    return frozenset(lines | {event.id for event in library.events if not event.beforehand})


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
    return tuple(made(StarterRates, _frozen(item), "rates.toml") for item in _read("rates.toml")["rate"])
