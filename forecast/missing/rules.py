"""Rules of what such a build needs, read from rules.toml."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any, Literal

from forecast.buildfile.changes import AddItem, SetKey
from forecast.buildfile.library import PRACTICE, Library, Range, load_library
from forecast.buildfile.rates import ask_for_rate, per_euro
from forecast.buildfile.schema import Build
from forecast.missing.build_facts import Facts

Grade = Literal["odd", "must", "usual", "consider"]


GRADES: tuple[Grade, ...] = ("odd", "must", "usual", "consider")


@dataclass(frozen=True)
class Finding:
    """One thing that may have been left out.

    Attributes
    ----------
    rule : str
        Key under ``[not_needed]`` that answers it.
    grade : str
        must, usual or consider; odd where nothing is missing but a figure looks like a slip.
    missing, why : str
        What is missing or odd, and why that matters.
    cost : tuple of float or None
        What it usually costs, low, middle and high: money in ``unit``, or percent.
    unit : str
        Currency code, or percent.
    source : str
        Where the cost comes from.
    starter : str or None
        Starter line or event that adds it.
    line : str or None
        The line, event or consignment of the build that it is about.
    mend : str
        Which key of it to edit, with an example; empty where a starter adds it.
    sheet : str
        The same for who works in the sheet of lines and not in the file; empty where the sheet does not show it.
    change : SetKey, AddItem or None
        The edit itself, where nothing is left to the builder but to overwrite it.
    chance : float
        How often it costs that.
    """

    rule: str
    grade: Grade
    missing: str
    why: str
    cost: Range | None = None
    unit: str = ""
    source: str = ""
    starter: str | None = None
    line: str | None = None
    mend: str = ""
    sheet: str = ""
    change: SetKey | AddItem | None = None
    chance: float = 1.0

    @property
    def narrow(self) -> bool:
        """Tell whether nothing is missing but a figure says less than is known of it: a range may be too narrow."""
        return self.rule.partition("-")[0] in ("no_width", "near_worst")

    @property
    def over_once_begun(self) -> bool:
        """Tell whether it is no question any more once its line is bought, agreed or closed."""
        return self.narrow or self.rule.partition("-")[0] == "free_days"

    def worth(self, currency: str) -> float:
        """Give what it costs in the middle of all builds; nothing where that is not told in money."""
        if self.cost is None or self.unit.partition(" ")[0] != currency:
            return 0.0
        return self.cost[1] * self.chance

    def __str__(self) -> str:
        text = f"{self.missing}. {self.why}"
        if self.cost is not None:
            low, middle, high = (f"{number:,.6g}" for number in self.cost)
            text += f" Usually {low} to {high} {self.unit}, middle {middle}. {self.source}"
        elif self.source:
            text += f" {self.source}"
        return text.strip()


@dataclass(frozen=True)
class UsualCost:
    """What something usually costs: low, middle and high, in what that is counted, and where it comes from.

    Without a rate for the build's money there is no cost, and ``source`` asks for one.
    """

    cost: Range | None
    unit: str
    source: str
    chance: float = 1.0


def usual_cost(build: Build, starter: str, also: tuple[str, ...] = ()) -> UsualCost:
    """Give what a starter line or event usually costs in a build's money, with those that go with it."""
    found = _usual_cost(build, starter)
    for other in also:
        more = _usual_cost(build, other)
        if found.cost is None or more.cost is None or more.unit != found.unit:
            break
        low, middle, high = (one + two for one, two in zip(found.cost, more.cost, strict=True))
        found = UsualCost((low, middle, high), found.unit, found.source, found.chance)
    return found


def _usual_cost(build: Build, starter: str) -> UsualCost:
    home, factor = build.build.currency, per_euro(build)
    cost, unit = _usual(load_library(factor or 1.0), starter, home)
    if factor is None and not unit.startswith("percent"):
        return UsualCost(None, unit, f"What it usually costs is not known: {ask_for_rate(home)}")
    library = load_library(1.0)
    chances = {line.id: line.chance for line in library.lines} | {
        item.id: item.chance for item in library.events
    }
    return UsualCost(cost, unit, PRACTICE if cost else "", chances[starter])


def _usual(library: Library, starter: str, currency: str) -> tuple[Range | None, str]:
    for line in library.lines:
        if line.id == starter:
            percent = f"percent of {', '.join(line.of)}".replace("_", " ")
            return line.range, percent if line.scale == "percent" else currency
    event = library.event(starter)
    if event.cost is not None:
        return event.cost, f"{currency} when it happens"
    return event.percent, "percent when it happens"


@dataclass(frozen=True)
class Needed:
    """Something that a build needs where a condition holds.

    Attributes
    ----------
    rule : str
        Key under ``[not_needed]``.
    grade : str
        must, usual or consider.
    missing, why : str
        What is missing, and why that matters.
    starter : str
        Starter line or event that adds it.
    when, when_all : tuple of str
        Facts of the build, any or all of which call for it.
    words, groups : tuple of str
        By which a line is recognised as it, and the groups to look in (all when empty).
    event : bool
        True where a risk event will do too.
    certain : bool
        True where the facts that call for it tell already that it is not there.
    also : tuple of str
        Starters whose usual cost it has besides.
    """

    rule: str
    grade: Grade
    missing: str
    why: str
    starter: str
    when: tuple[str, ...] = ()
    when_all: tuple[str, ...] = ()
    words: tuple[str, ...] = ()
    groups: tuple[str, ...] = ()
    event: bool = False
    certain: bool = False
    also: tuple[str, ...] = ()

    def is_called_for(self, facts: Facts) -> bool:
        """Tell whether the build needs it."""
        if self.when_all:
            return all(getattr(facts, name) for name in self.when_all)
        return any(getattr(facts, name) for name in self.when)

    def is_there(self, facts: Facts) -> bool:
        """Tell whether the build has it."""
        if self.certain:
            return False
        words = (self.starter.replace("_", " "), *self.words)
        return (self.event and facts.has_event(words)) or facts.has(words, self.groups)


@cache
def load_rules() -> tuple[Needed, ...]:
    """Read all rules, in the order of display."""
    text = resources.files("forecast.missing").joinpath("rules.toml").read_text(encoding="utf-8")
    items: list[dict[str, Any]] = tomllib.loads(text)["needed"]
    lists = ("when", "when_all", "words", "groups", "also")
    return tuple(Needed(**(item | {key: tuple(item.get(key, ())) for key in lists})) for item in items)


__all__ = ["GRADES", "Finding", "Grade", "Needed", "UsualCost", "load_rules", "usual_cost"]
