"""Rules of what such a build needs, read from completeness.toml."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any, Literal

from forecast.build.facts import Facts

Grade = Literal["must", "usual", "consider"]


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

    def is_called_for(self, facts: Facts) -> bool:
        """Tell whether the build needs it."""
        if self.when_all:
            return all(getattr(facts, name) for name in self.when_all)
        return any(getattr(facts, name) for name in self.when)

    def is_there(self, facts: Facts) -> bool:
        """Tell whether the build has it."""
        words = (self.starter.replace("_", " "), *self.words)
        return (self.event and facts.has_event(words)) or facts.has(words, self.groups)


@cache
def load_rules() -> tuple[Needed, ...]:
    """Read all rules, in the order of display."""
    text = resources.files("forecast.build").joinpath("completeness.toml").read_text(encoding="utf-8")
    items: list[dict[str, Any]] = tomllib.loads(text)["needed"]
    lists = ("when", "when_all", "words", "groups")
    return tuple(Needed(**(item | {key: tuple(item.get(key, ())) for key in lists})) for item in items)


__all__ = ["Grade", "Needed", "load_rules"]
