"""The figures of a build as rows of a sheet, and what was changed in them as changes to the file."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any, TypeAlias

from pydantic import ValidationError

from forecast.buildfile.changes import AddItem, Change, SetKey
from forecast.buildfile.checks import figures_of
from forecast.buildfile.choosing import only_for_packages
from forecast.buildfile.library import library_of
from forecast.buildfile.places_of_figures import Place, place_at, places
from forecast.buildfile.schema import Bought, Build, Line, usually_bought
from forecast.buildfile.takeoff import WheelBoltsTakeoff
from forecast.figures.figure import FigureBase, range_written
from forecast.figures.kinds import Known, Percentiles, Quotes, Span
from forecast.words.text import without_accents

Number: TypeAlias = float | None

_CHANGED = ("title", "low", "middle", "high", "chance")


@dataclass(frozen=True)
class SheetRow:
    """One figure of a line, event or consignment.

    Attributes
    ----------
    item, key : str
        Id of what it belongs to, and the figure's key; see `forecast.buildfile.places_of_figures.Place`.
    title, group : str
    figure : str
        What the figure is.
    unit : str
    low, middle, high : float or None
        P10, P50 and P90; the middle alone is a figure that is known.
    chance : float
        That the line is needed, or the event happens.
    """

    item: str
    key: str
    title: str
    group: str
    figure: str
    unit: str
    low: Number
    middle: Number
    high: Number
    chance: float

    @property
    def path(self) -> str:
        """Id and key: what names the row whatever stands before it."""
        return f"{self.item}.{self.key}"


def rows(build: Build) -> tuple[SheetRow, ...]:
    """Give each figure that a sheet can show as low, middle and high: of consignments, lines and events."""
    found = []
    for place in places(build):
        numbers = place.figure.cells
        if numbers is not None:
            found.append(
                SheetRow(
                    place.item, place.key, place.title, place.group, place.word, place.unit, *numbers, place.chance
                )
            )  # fmt: skip
    return tuple(found)


def other_shapes(build: Build) -> tuple[tuple[str, str, str, str], ...]:
    """List figures that a sheet cannot show: path, name, which figure, and how it is written."""
    found = []
    for place in places(build):
        figure = place.figure
        if figure.cells is None:
            found.append((place.path, place.title, place.word, _of_shape(figure)))
    return tuple(found)


def _short(value: Any) -> str:
    if isinstance(value, tuple | list):
        return " / ".join(f"{part:g}" for part in value)
    return f"{value:g}" if isinstance(value, float) else str(value)


def certainty(build: Build, lines: Iterable[Line]) -> dict[str, int]:
    """Count lines whose cost is known, quoted and guessed; a percentage of other lines counts as neither.

    A take-off is a guess, for what is laid on, wasted and cut off is one; only wheel bolts are counted one by one.
    """
    counts = {"known": 0, "quoted": 0, "guessed": 0}
    for line in lines:
        costs = [figure for key, figure in figures_of(line) if key in ("amount", "quantity", "price")]
        if not costs:
            continue
        estimated = line.takeoff is not None and not isinstance(line.takeoff, WheelBoltsTakeoff)
        if not estimated and all(isinstance(figure, Known) for figure in costs):
            counts["known"] += 1
        elif any(isinstance(figure, Quotes) for figure in costs):
            counts["quoted"] += 1
        else:
            counts["guessed"] += 1
    return counts


def changes(build: Build, before: Iterable[SheetRow], after: Iterable[SheetRow]) -> list[Change]:
    """Give the changes to the file that turn the rows before into the rows after.

    Parameters
    ----------
    build : Build
        From which the rows before were made.
    before, after : iterable of SheetRow
        The same rows in the same order, with other titles, numbers and chances.
    """
    known = {(place.item, place.key): place for place in places(build)}
    optional = {item.id: isinstance(item, Line) for item in (*build.line, *build.event)}
    found: list[Change] = []
    named: set[tuple[str, str]] = set()
    for old, new in zip(before, after, strict=True):
        place = known[old.item, old.key]
        naming = place.naming
        if new.title != old.title and naming is not None and (old.item, naming) not in named:
            named.add((old.item, naming))
            found.append(SetKey(old.item, naming, new.title.strip()))
        if new.chance != old.chance and old.item in optional and (old.item, "chance") not in named:
            named.add((old.item, "chance"))
            whole = optional[old.item] and new.chance == 1
            found.append(SetKey(old.item, "chance", None if whole else new.chance))
        if (new.low, new.middle, new.high) != (old.low, old.middle, old.high):
            numbers = range_written(new.low, new.middle, new.high, place.figure.said_besides())
            found.append(SetKey(old.item, old.key, numbers))
    return found


def told_apart(before: Build, after: Build) -> list[str]:
    """Say in words how a build differs from another, thing by thing; empty where only comments or layout may differ.

    Parameters
    ----------
    before, after : Build
    """
    old, new = _named(before), _named(after)
    found = [f"{title} is taken out." for key, title in old.items() if key not in new]
    found += [f"{title} is added." for key, title in new.items() if key not in old]
    found += [
        f"{old[key]} is now called {title}." for key, title in new.items() if old.get(key, title) != title
    ]
    was, now = _figures(before), _figures(after)
    found += [
        f"{name}: was {was[key][1]}, is {text}."
        for key, (name, text) in now.items()
        if key in was and was[key][1] != text
    ]
    for key in type(before.build).model_fields:
        first, then = getattr(before.build, key), getattr(after.build, key)
        if first != then and not isinstance(first, FigureBase) and not isinstance(then, FigureBase):
            found.append(f"{key.replace('_', ' ').capitalize()}: was {_said(first)}, is {_said(then)}.")
    if not found and before.fingerprint() != after.fingerprint():
        found = [
            "Something other than sums changed: a name, a note, a tie to a shared cause, or who does which work."
        ]
    return found


def _named(build: Build) -> dict[str, str]:
    """Give all that can be added to a build or taken out of it, by kind and id, with what it is called."""
    found = {}
    for kind in ("line", "event", "consignment", "surface", "measure", "option", "cause"):
        for item in getattr(build, kind):
            found[f"{kind} {item.id}"] = item.name or item.id.replace("_", " ").capitalize()
    found |= {f"scenario {id}": item.name or id.capitalize() for id, item in build.scenario.items()}
    return found | {f"currency {code}": f"The rate of {code}" for code in build.currency}


def _figures(build: Build) -> dict[str, tuple[str, str]]:
    """Give every figure by path, with its name and its numbers as they are read."""
    found = {}
    for place in places(build):
        found[place.path] = (f"{place.title}, {place.word}", _in_numbers(place.figure))
        found[f"{place.item} chance"] = (f"{place.title}, chance", f"{100 * place.chance:g} of 100")
    for code, currency in build.currency.items():
        found[f"currency {code}"] = (f"Rate of {code}", _in_numbers(currency.rate))
    return found


def _in_numbers(figure: FigureBase) -> str:
    return figure.slashed(_said) or _of_shape(figure)


def _of_shape(figure: FigureBase) -> str:
    """Write a figure that a sheet cannot show: its shape and its numbers."""
    numbers = ", ".join(f"{name} {_short(value)}" for name, value in figure.said_in_numbers().items())
    kind = str(getattr(figure, "kind", ""))
    return numbers if kind in figure.said_in_numbers() else f"{kind}: {numbers}"


def _said(value: object) -> str:
    if value is None:
        return "nothing"
    return f"{value:,.6g}" if isinstance(value, int | float) else str(value)


def with_changes(rows: Iterable[SheetRow], edits: Mapping[str, Mapping[str, Any]]) -> tuple[SheetRow, ...]:
    """Put edits, by `SheetRow.path`, on rows."""
    return tuple(replace(row, **edits.get(row.path, {})) for row in rows)


def differences(before: Iterable[SheetRow], after: Iterable[SheetRow]) -> dict[str, dict[str, Any]]:
    """Give what `with_changes` puts on the rows before to make the rows after of them: edits, by `SheetRow.path`."""
    found: dict[str, dict[str, Any]] = {}
    for old, new in zip(before, after, strict=True):
        for name in _CHANGED:
            if getattr(old, name) != getattr(new, name):
                found.setdefault(old.path, {})[name] = getattr(new, name)
    return found


def figure_of(row: SheetRow) -> FigureBase | None:
    """Give the figure that a row's numbers stand for; None where they stand for none."""
    try:
        match row.low, row.middle, row.high:
            case None, float() | int() as middle, None:
                return Known(value=middle)
            case float() | int() as low, None, float() | int() as high:
                return Span(low=low, high=high)
            case float() | int() as low, float() | int() as middle, float() | int() as high:
                return Percentiles(low=low, middle=middle, high=high)
    except ValidationError:
        return None
    return None


def every_figure(build: Build) -> dict[str, str]:
    """List all figures by path, with what each is called."""
    return {place.path: f"{place.title}: {place.word}" for place in places(build)}


def quoted_figure(build: Build, path: str, quotes: Iterable[float]) -> SetKey:
    """Give the change that puts quotes in the place of what was believed, unit, causes and currency kept."""
    place = place_at(build, path)
    return SetKey(place.item, place.key, {"quotes": list(quotes)} | place.figure.said_besides())


def open_quotes(build: Build, begun: Collection[str] = ()) -> tuple[Place, ...]:
    """Give the figures that stand as several different quotes, of which one is still to be taken.

    Parameters
    ----------
    build : Build
    begun : collection of str
        Lines and events that are bought, agreed or closed; a consignment is begun with any line of its own.
    """

    def is_begun(item: str) -> bool:
        return any(name == item or name.startswith(f"{item}.") for name in begun)

    return tuple(
        place
        for place in places(build)
        if isinstance(place.figure, Quotes) and len(set(place.figure.quotes)) > 1 and not is_begun(place.item)
    )


def taken_quote(build: Build, path: str, price: float) -> SetKey:
    """Give the change that puts the quote that is taken in the place of all of them, what else is said kept."""
    place = place_at(build, path)
    rest = place.figure.said_besides()
    return SetKey(place.item, place.key, {"value": price} | rest if rest else price)


def range_instead(build: Build, path: str, low: float, middle: float, high: float) -> SetKey:
    """Give the change that puts low, middle and high in the place of another shape, all else kept."""
    place = place_at(build, path)
    return SetKey(
        place.item, place.key, {"low": low, "middle": middle, "high": high} | place.figure.said_besides()
    )


def starter(build: Build, name: str) -> list[Change]:
    """Give the changes that add a starter line or event, with the shared causes that it needs."""
    library = library_of(build)
    present = [line.id for line in build.line]
    kind, table = library.table(name, present, timed=build.build.hours_per_week is not None)
    table = only_for_packages(table, build)
    there = {cause.id for cause in build.cause}
    wanted = {
        cause for figure in table.values() if isinstance(figure, dict) for cause in figure.get("causes", ())
    }
    wanted |= set(table.get("causes", ()))
    causes = [AddItem("cause", cause.table()) for cause in library.causes if cause.id in wanted - there]
    return [*causes, AddItem(kind, table)]


def rate_changes(build: Build, code: str, rate: float, today: date) -> list[Change]:
    """Give the changes that put today's rate of exchange in the place of an earlier one.

    Parameters
    ----------
    build : Build
    code : str
        Of the foreign currency.
    rate : float
        What one unit of it costs in the build's currency.
    today : datetime.date
        Becomes the day of the rate, where the build says one.
    """
    currency = build.currency[code]
    kept = currency.rate.said_besides()
    found: list[Change] = [SetKey(f"currency.{code}", "rate", {"value": rate} | kept if kept else rate)]
    if currency.as_of is not None:
        found.append(SetKey(f"currency.{code}", "as_of", today))
    return found


def costs_money(line: Line) -> bool:
    """Tell whether a line is more than own hours or a wait."""
    return line.amount is not None or line.price is not None or line.percent is not None


def paid_for(build: Build, name: str, how: Bought) -> SetKey:
    """Give the change that says how a line is paid for; nothing is written where it is as usual for such a line."""
    line = next(line for line in build.line if line.id == name)
    unit = line.quantity.unit if line.quantity is not None else None
    return SetKey(name, "bought", None if usually_bought(line.group, unit) == how else how)


def new_line(
    build: Build, name: str, group: str, low: Number, middle: Number, high: Number, how: Bought | None = None
) -> AddItem:
    """Give the change that adds a line of the builder's own, paid for as usual where nothing is said."""
    numbers = {
        key: value for key, value in (("low", low), ("middle", middle), ("high", high)) if value is not None
    }
    amount: Any = middle if set(numbers) == {"middle"} else numbers
    taken = {item.id for item in (*build.line, *build.event)}
    table = {"id": free_id(name, taken), "name": name.strip(), "group": group, "amount": amount}
    if how is not None and how != usually_bought(group, None):
        table["bought"] = how
    return AddItem("line", table)


def free_id(name: str, taken: Iterable[str]) -> str:
    """Make an id from a name that nothing bears yet."""
    plain = "".join(sign if sign.isascii() and sign.isalnum() else "_" for sign in without_accents(name))
    stem = "_".join(part for part in plain.split("_") if part)[:48] or "line"
    stem = stem if stem[0].isalpha() else f"line_{stem}"
    used, number, found = set(taken), 2, stem
    while found in used:
        found, number = f"{stem}_{number}", number + 1
    return found


__all__ = [
    "SheetRow", "certainty", "changes", "costs_money", "differences", "every_figure", "figure_of", "free_id",
    "new_line", "other_shapes", "paid_for", "quoted_figure", "range_instead", "rate_changes", "rows", "starter",
    "told_apart", "with_changes",
]  # fmt: skip
