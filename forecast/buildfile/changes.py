"""Changes of a build file, as plain words: `forecast.buildfile.edit` makes them, others propose or count them.

They stand apart because most who name a change make none: loading what writes TOML takes a while.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, TypeAlias

Plain: TypeAlias = Any
"""A TOML value as plain Python: text, number, flag, list or table."""


@dataclass(frozen=True)
class SetKey:
    """Give a line, event, consignment or currency another value under a key; None takes the key away.

    Attributes
    ----------
    item : str
        Its id; ``currency.JPY`` for a currency.
    key : str
        A key of it, or keys and positions from 0 down to one, such as ``boxes.0.length``.
    value : plain TOML value or None
    """

    item: str
    key: str
    value: Plain


@dataclass(frozen=True)
class AddItem:
    """Add a table at the end of its kind; a line brings its cautions as comments.

    Attributes
    ----------
    kind : {"line", "event", "cause", "measure", "option"}
    table : mapping
    """

    kind: str
    table: Mapping[str, Plain]


@dataclass(frozen=True)
class RemoveItem:
    """Take a line, event, measure or option out, with the comments inside it."""

    item: str


@dataclass(frozen=True)
class SetBuild:
    """Give the ``[build]`` table another value under a key; None takes the key away."""

    key: str
    value: Plain


@dataclass(frozen=True)
class NotNeeded:
    """Answer what may have been left out."""

    rule: str
    why: str


@dataclass(frozen=True)
class AddScenario:
    """Add a way to do the whole build.

    Attributes
    ----------
    id : str
    table : mapping
        Its name, ``all`` and the routes of packages that differ.
    """

    id: str
    table: Mapping[str, Plain]


Change: TypeAlias = SetKey | AddItem | RemoveItem | SetBuild | NotNeeded | AddScenario


__all__ = ["AddItem", "AddScenario", "Change", "NotNeeded", "Plain", "RemoveItem", "SetBuild", "SetKey"]
