"""Every uncertain figure of a build file with its place, what it is called and what it is counted in."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from forecast.buildfile.consignment import BOX_UNITS, Consignment, FigurePath, figures_in
from forecast.buildfile.kept import Kept
from forecast.buildfile.schema import Build, Event, Line
from forecast.buildfile.takeoff_base import own_unit
from forecast.figures.figure import FigureBase

WORDS: Mapping[str, str] = {
    "minimum": "minimum", "maximum": "maximum", "own_hours": "own hours", "wait_weeks": "waiting",
    "cost": "cost if it happens", "share": "share still open", "penalty": "factor of the shop",
}  # fmt: skip
"""What figures of lines and events are called where their key does not say it."""

_TRAVEL: Mapping[str, str] = {
    "export_inland": "carriage to the port", "freight_minimum": "least freight", "payment_fee": "transfer fee",
    "customs_rate": "customs rate", "deposit_rate": "rate of the deposit", "insurance": "transit insurance",
    "arrival.entry": "customs entry", "arrival.disbursement_percent": "advance fee",
    "arrival.disbursement_minimum": "least advance fee", "storage.days": "days at the depot",
    "container.days": "days at the terminal", "container.detention_days": "days until the container is back",
    "storage.minimum": "least storage", "examination.cost": "examination", "rate": "storage, a day",
    "returned.freight": "freight back", "returned.refund": "share of the price that comes back",
    "returned.dues_back": "share of duty and tax that comes back", "returned.fee": "fee for claiming them",
}  # fmt: skip
"""What figures of a consignment are called where their key does not say it."""

_UNITS: Mapping[str, str] = {
    "own_hours": "h", "wait_weeks": "weeks", "quantity": "", "share": "", "penalty": "", "percent": "%",
    "arrival.disbursement_percent": "%", "storage.days": "days", "customs_rate": "",
    "deposit_rate": "", "container.days": "days", "container.detention_days": "days", "returned.refund": "",
    "returned.dues_back": "",
}  # fmt: skip
_MONEY = ("amount", "price", "cost", "minimum", "maximum")
"""Keys whose figures are money: what they are counted in is a currency, whatever else is written as their unit."""


@dataclass(frozen=True)
class Place:
    """One figure.

    Attributes
    ----------
    item : str
        Id of the line, event or consignment.
    key : str
        Where in it: a key, or keys and positions from 0 with dots between, such as ``boxes.0.length``.
    figure : FigureBase
    title, group : str
        Of what it belongs to.
    word, unit : str
        What it is called, and what it is counted in.
    chance : float
        That what it belongs to is needed, or happens.
    naming : str or None
        Key under which the title is written in the file; None where it has none of its own.
    """

    item: str
    key: str
    figure: FigureBase
    title: str
    group: str
    word: str
    unit: str
    chance: float = 1.0
    naming: str | None = None

    @property
    def path(self) -> str:
        """Id and key."""
        return f"{self.item}.{self.key}"


def place_at(build: Build, path: str) -> Place:
    """Give the figure of a path; see `Place.path`."""
    return next(place for place in places(build) if place.path == path)


def places(build: Build) -> tuple[Place, ...]:
    """Give each figure of consignments, surfaces, lines and events, in that order; rates of exchange stand apart."""
    return _KEPT.get(build, "", lambda: tuple(_places(build)))


_KEPT: Kept[tuple[Place, ...]] = Kept()


def _places(build: Build) -> Iterator[Place]:
    home = build.build.currency
    for consignment in build.consignment:
        for path, figure in figures_in(consignment):
            if (
                path[0] != "overrides"
            ):  # figures of law are shown with their source, and how to overwrite them
                yield _travelling(consignment, path, figure, home)
    for surface in build.surface:
        for path, figure in figures_in(surface):
            key = _dotted(path)
            unit = figure.unit or own_unit(key)
            yield Place(surface.id, key, figure, surface.title, "other", key, unit, 1.0, "name")
    items: tuple[Line | Event, ...] = (*build.line, *build.event)
    for item in items:
        for path, figure in figures_in(item):
            yield _of_item(item, path, figure, home)


def _of_item(item: Line | Event, path: FigurePath, figure: FigureBase, home: str) -> Place:
    key, group = _dotted(path), item.group if isinstance(item, Line) else "events"
    last = str(path[-1])
    if path[0] == "takeoff":
        step = next((f" {part + 1}" for part in path if isinstance(part, int)), "")
        word, unit = f"{last.replace('_', ' ')}{step}", figure.unit or own_unit(last)
    else:
        word = WORDS.get(key, key.replace("_", " "))
        unit = figure.currency or home
        if key not in _MONEY:
            unit = figure.unit or _UNITS.get(key, unit)
    return Place(item.id, key, figure, item.title, group, word, unit, item.chance, "name")


def _travelling(item: Consignment, path: FigurePath, figure: FigureBase, home: str) -> Place:
    key, last = _dotted(path), str(path[-1])
    title, naming, group = item.title, "name", "freight"
    word = _TRAVEL.get(key) or _TRAVEL.get(last) or last.replace("_", " ")
    unit = figure.unit or _UNITS.get(key, figure.currency or home)
    if path[0] == "boxes" and isinstance(path[1], int):
        title = f"{item.title}, box {path[1] + 1}"
        naming, unit = "", figure.unit or BOX_UNITS[last]
    elif last == "price":
        group, unit = "kit", figure.currency or item.currency or home
        if path[0] == "goods" and isinstance(path[1], int):
            goods = item.goods[path[1]]
            title, naming = goods.name or goods.id.replace("_", " ").capitalize(), f"goods.{path[1]}.name"
    return Place(item.id, key, figure, title, group, word, unit, 1.0, naming or None)


def _dotted(path: FigurePath) -> str:
    return ".".join(str(part) for part in path)


def at(holder: Any, key: str) -> Any:
    """Walk down from a table or list by a dotted key; positions are numbers."""
    for part in key.split("."):
        holder = holder[int(part)] if part.isdigit() else holder[part]
    return holder
