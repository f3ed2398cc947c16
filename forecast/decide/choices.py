"""Where a choice stands: in which ways of doing the build its options count, and whether it is settled by now."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import ClassVar

from forecast.buildfile.consignment import Consignment
from forecast.buildfile.options import options_by_choice, with_option
from forecast.buildfile.scenario import overridden, scenario_name, scenario_title
from forecast.buildfile.schema import Build, Event, Line, Option, Scenario
from forecast.engine.known import KnownFacts
from forecast.engine.plan import SHOP
from forecast.watching.asis import Knowledge
from forecast.words.minor_units import to_float
from forecast.words.money import Money

Item = Line | Event | Consignment


@dataclass(frozen=True)
class Elsewhere:
    """A choice whose options change nothing in a way of doing the build.

    Attributes
    ----------
    choice : str
    titles : tuple of str
        Of what the options are about.
    way : str or None
        Title of the way; None in a build without ways.
    found_in : tuple of str
        Ids of the ways in which they count.
    found_in_titles : tuple of str
    """

    choice: str
    titles: tuple[str, ...]
    way: str | None
    found_in: tuple[str, ...]
    found_in_titles: tuple[str, ...]
    why: ClassVar[str] = "not in this way"

    def sentence(self, money: Money) -> str:
        """Say that the options do not count, and which ways they count in."""
        del money  # said alike of all that is not compared
        are = "is" if len(self.titles) == 1 else "are"
        way = "this build" if self.way is None else f"\u201c{self.way}\u201d"
        told = f"These quotes do not count in this way: {_quoted(self.titles)} {are} not in {way}."
        if self.found_in:
            have = "has" if len(self.found_in) == 1 else "have"
            told += f" {_quoted(self.found_in_titles)} {have} {'it' if are == 'is' else 'them'}."
        return told


@dataclass(frozen=True)
class SettledLine:
    """What was paid and is agreed for one line of a choice that is settled, in the build's main unit."""

    title: str
    paid: float
    agreed: float


@dataclass(frozen=True)
class Settled:
    """A choice that was made: the lines it is about are bought, agreed or closed."""

    choice: str
    lines: tuple[SettledLine, ...]
    why: ClassVar[str] = "settled"
    found_in: ClassVar[tuple[str, ...]] = ()

    def sentence(self, money: Money) -> str:
        """Say what was paid and agreed."""
        return f"That is settled: {'; '.join(_paid_words(line, money) for line in self.lines)}."


def _paid_words(line: SettledLine, money: Money) -> str:
    told = [f"{money(line.paid)} paid"] if line.paid else []
    if line.agreed:
        told.append(f"{money(line.agreed)} {'more ' if line.paid else ''}agreed")
    title = f"\u201c{line.title}\u201d"
    return f"{' and '.join(told)} for {title}" if told else f"{title} is closed, with nothing paid for it"


def _quoted(titles: Sequence[str]) -> str:
    *most, last = (f"\u201c{title}\u201d" for title in titles)
    return f"{', '.join(most)} and {last}" if most else last


def not_compared(
    build: Build, choice: str, scenario: str | None = None, known: Knowledge = None
) -> Settled | Elsewhere | None:
    """Say why the options of a choice are not held against each other; None where they are.

    Parameters
    ----------
    build : Build
    choice : str
    scenario : str, optional
        The first of the file when left out.
    known : KnownFacts or Standing, optional
    """
    done = settled(build, choice, known)
    if done is not None:
        return done
    name = scenario_name(build, scenario)
    if name is None:
        return None if _counts_in(build, choice, Scenario()) else _elsewhere(build, choice, None)
    return None if _counts_in(build, choice, build.scenario[name]) else _elsewhere(build, choice, name)


def _elsewhere(build: Build, choice: str, name: str | None) -> Elsewhere:
    found = tuple(id for id, way in build.scenario.items() if _counts_in(build, choice, way))
    return Elsewhere(
        choice,
        tuple(item.title for item in about(build, options_by_choice(build)[choice])),
        None if name is None else scenario_title(build, name),
        found,
        tuple(scenario_title(build, id) for id in found),
    )


def _counts_in(build: Build, choice: str, way: Scenario) -> bool:
    return taken_with(conditions(build, choice, way), way)


def taken_with(found: Sequence[tuple[str, str] | None], way: Scenario) -> bool:
    """Tell whether one of the `conditions` holds in a way of doing the build."""
    return any(one is None or way.route(one[0]) == one[1] for one in found)


def conditions(build: Build, choice: str, way: Scenario) -> tuple[tuple[str, str] | None, ...]:
    """Give with which route of which package the options of a choice count; None among them: with any.

    Parameters
    ----------
    build : Build
    choice : str
    way : Scenario
        Whose overrides hold; its routes do not matter.
    """
    found: list[tuple[str, str] | None] = []
    options = options_by_choice(build)[choice]
    for option in options:
        here = overridden(with_option(build, option), way)
        items = {item.id: item for item in _items(here)}
        judged = [items[item.id] for item in about(build, options) if item.id in items]
        found += [_condition(item) for item in judged]
        # An event that hands work over to a shop brings in the price that the shop quoted.
        handed = {item.package for item in judged if isinstance(item, Line) and item.route == SHOP}
        found += [_condition(event) for event in here.event if handed & set(event.hands_over)]
    return tuple(dict.fromkeys(found)) or (None,)


def _condition(item: Item) -> tuple[str, str] | None:
    if isinstance(item, Consignment) or item.package is None or item.route is None:
        return None
    return item.package, item.route


def _items(build: Build) -> Iterator[Item]:
    yield from build.line
    yield from build.event
    yield from build.consignment


def about(build: Build, options: Sequence[Option]) -> tuple[Item, ...]:
    """Give what a choice is about: the lines and goods that its options change, else the events, else what they add.

    A kit's quotes may change the chance of poor fit besides: it is the kit that is bought.
    """
    names = {name for option in options for name in option.override}
    changed = [item for item in _items(build) if item.id in names]
    bought = [item for item in changed if not isinstance(item, Event)]
    added: dict[str, Item] = {}
    for option in options:
        added |= {line.id: line for line in option.line} | {event.id: event for event in option.event}
    return tuple(bought or changed or added.values())


def settled(build: Build, choice: str, known: Knowledge) -> Settled | None:
    """Give what a choice came to where all that it is about is bought, agreed or closed; None where it is open.

    What is bought in several goes is settled by a price agreed, or by its end: of it one may buy elsewhere yet.
    """
    items = about(build, options_by_choice(build)[choice])
    if known is None or not items:
        return None
    found = []
    for item in items:
        line = _settled_line(build, item, known)
        if line is None:
            return None
        found.append(line)
    return Settled(choice, tuple(found))


def _settled_line(build: Build, item: Item, known: Knowledge) -> SettledLine | None:
    once = not isinstance(item, Line) or item.bought_as == "once"
    if isinstance(known, KnownFacts):
        for name, amount in known.amounts.items():
            if _is_of(name, item):
                return SettledLine(item.title, amount, 0.0)
        for name, agreed in known.agreed.items():
            if _is_of(name, item):
                return SettledLine(item.title, 0.0, agreed.price)
        return None
    if known is None:
        return None
    paid = sum(minor for name, minor in known.paid.items() if _is_of(name, item))
    agreed_minor = sum(minor for name, minor in known.committed.items() if _is_of(name, item))
    closed = any(_is_of(name, item) for name in known.closed)
    if not (closed or agreed_minor or (paid > 0 and once)):
        return None
    code = build.build.currency
    return SettledLine(item.title, to_float(paid, code), to_float(agreed_minor, code))


def _is_of(name: str, item: Item) -> bool:
    """Tell whether a row is a line's own, or that of a consignment's goods: its charges say nothing of a seller."""
    if isinstance(item, Consignment):
        return name in {f"{item.id}.{goods.id}" for goods in item.items}
    return name == item.id


__all__ = [
    "Elsewhere", "Settled", "SettledLine", "about", "conditions", "not_compared", "settled", "taken_with",
]  # fmt: skip
