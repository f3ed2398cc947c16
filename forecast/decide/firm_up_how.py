"""How an uncertain figure could be known, and the effort that it takes (common practice, no source)."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from forecast.buildfile.options import figure_name, options_by_choice
from forecast.buildfile.schema import Build, Line
from forecast.buildfile.sheet import open_quotes
from forecast.decide.figure_words import figure_phrase
from forecast.figures.kinds import FigureBase

EFFORTS: Mapping[str, float] = {"low": 1.0, "medium": 2.0, "high": 4.0}
"""Weights that a release is divided by for the order of the list (our choice): low is a message or two, medium some
hours, high days, or part of the work itself."""

_SIZES = ("area", "length", "width", "height", "weight")
_OWN_DOING = ("consumables", "finish", "hardware", "wheels")
"""Groups whose percentages nobody can be asked for: they are shares of work that comes out well or badly."""
_UNITS = {"h": "hours", "pcs": "pieces"}


def how_to_know(
    figure: str,
    line: Line | None,
    titles: Mapping[str, str],
    *,
    begun: bool = False,
    quoted: Sequence[str] | None = None,
) -> tuple[str, str]:
    """Give the effort that a firm figure takes, and how it is had, as a sentence without its full stop.

    Parameters
    ----------
    figure : str
        Such as ``freight.amount``.
    line : Line or None
        The line that it belongs to; None for an event or a consignment.
    titles : mapping
        Title by id of line, event or consignment.
    begun : bool
        Whether some of it is paid: it is ordered, and what can be asked for is what is still to come.
    quoted : sequence of str, optional
        Who quoted it, as far as they have names, where quotes are in: see `quoted_by`.
    """
    id, _, key = figure.partition(".")
    last = key.rpartition(".")[2] or key
    phrase = figure_phrase(figure, titles)
    thing = figure_phrase(figure.rpartition(".")[0], titles) if last != "amount" else phrase
    by_shop = line is not None and line.group in ("labour", "finish") and line.route != "self"
    if id == "fx":
        return "low", f"Fix {phrase}, by paying early or agreeing a price in your own money"
    if id == "build":
        return "low", "Decide what an own hour counts for"
    if last == "wait_weeks":
        return "low", f"Ask for {phrase}"
    if last == "own_hours":
        return "high", f"Do a part of {thing} as a trial and time it"
    if last == "quantity":
        many = _how_many(line, thing)
        return "medium", f"Have a shop look at it and agree {many}" if by_shop else f"Find out {many}"
    if last in _SIZES or "takeoff" in key:
        return "medium", f"Measure {phrase}"
    if last in ("share", "penalty", "days") or (last == "cost" and line is None):
        return "high", f"Look into {phrase}"
    if last == "percent" and (line is None or line.group in _OWN_DOING):
        return "high", f"Look into {phrase}"
    if last in ("percent", "minimum", "maximum") or "overrides" in key:
        return "low", f"Look up or ask for {phrase}"
    if last == "resale":
        return "medium", f"Look at what {thing} sells for afterwards"
    if begun:
        asked = (
            f"Ask what is still to pay for {phrase}"
            if last == "amount"
            else f"Ask for {phrase} before buying more"
        )
        return "low", asked
    if quoted is not None:
        *most, last_one = quoted or ("",)
        names = f" ({', '.join(most)} or {last_one})" if most else f" ({last_one})" if last_one else ""
        many = "whether you take the quote" if len(quoted) == 1 else "which quote you take"
        return "low", f"Decide {many} for {phrase}{names}"
    if by_shop:
        return "medium", f"Have a shop look at it and quote a fixed price: {phrase}"
    return "low", f"Get {phrase} quoted before ordering it"


def quoted_by(build: Build) -> dict[str, tuple[str, ...]]:
    """Give the figures of which quotes are in, each with the names of those who quoted it, where they have names.

    Quotes are in as options of a choice that change the figure, or as several that stand in its place.
    """
    asked = (figure_name(build, one.path) for one in open_quotes(build))
    found: dict[str, tuple[str, ...]] = {name: () for name in asked if _is_price(name)}
    for options in options_by_choice(build).values():
        if len(options) < 2:
            continue
        for option in options:
            for item, keys in option.override.items():
                for name in filter(_is_price, _figures_of(build, item, keys)):
                    found[name] = (*found.get(name, ()), option.title)
    return found


def _is_price(figure: str) -> bool:
    return figure.rpartition(".")[2] in ("amount", "price")


def _figures_of(build: Build, item: str, keys: Iterable[str]) -> tuple[str, ...]:
    """Name the figures that an override changes; one of a consignment's goods replaces the whole list of them."""
    goods = {one.id: tuple(f"{item}.{part.id}.price" for part in one.items) for one in build.consignment}
    found: list[str] = []
    for key in keys:
        found += goods[item] if item in goods and key in ("price", "goods") else (f"{item}.{key}",)
    return tuple(found)


def how_to_know_event(id: str, line: Line | None, titles: Mapping[str, str]) -> tuple[str, str]:
    """Give the effort of knowing whether something comes, and how; a line may or may not be needed."""
    thing = figure_phrase(id, titles)
    if line is not None:
        return "medium", f"Find out whether {thing} is needed"
    return "medium", f"Find out beforehand whether this comes: {thing}"


def _how_many(line: Line | None, thing: str) -> str:
    quantity = None if line is None else line.quantity
    unit = quantity.unit if isinstance(quantity, FigureBase) else None
    return f"how many {_UNITS.get(unit, unit)} {thing} takes" if unit else f"how many of {thing} it takes"
