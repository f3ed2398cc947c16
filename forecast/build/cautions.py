"""Cautions on health, safety and law that stand beside the lines they concern.

The tool plans money and approves nothing. Each caution names the authority whose word counts; local codes and
licensed practice decide.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any


@dataclass(frozen=True)
class Caution:
    """One caution.

    Attributes
    ----------
    id, topic : str
        Its key, and its heading.
    text : str
        One to three sentences.
    authority : str
        Whose word counts.
    source : str
        Where it was read, or that it is from memory.
    ids, words, tags : tuple of str
        Line ids, words of a line's name, and tags of a line beside which it stands.
    """

    id: str
    topic: str
    text: str
    authority: str
    source: str
    ids: tuple[str, ...] = ()
    words: tuple[str, ...] = ()
    tags: tuple[str, ...] = ()

    @property
    def sentence(self) -> str:
        """The caution in one paragraph, the authority named."""
        return f"{self.topic}: {self.text} ({self.authority}. Local rules and licensed practice decide.)"


@cache
def load_cautions() -> tuple[Caution, ...]:
    """Read all cautions, in the order of display."""
    text = resources.files("forecast.build").joinpath("cautions.toml").read_text(encoding="utf-8")
    items: list[dict[str, Any]] = tomllib.loads(text)["caution"]
    lists = ("ids", "words", "tags")
    return tuple(Caution(**(item | {key: tuple(item.get(key, ())) for key in lists})) for item in items)


def mentions(text: str, words: Iterable[str]) -> bool:
    """Tell whether a text has one of the words or phrases, as whole words, case and underscores aside."""
    plain = " " + " ".join(re.findall(r"[\w-]+", text.lower().replace("_", " "))) + " "
    return any(
        f" {word} " in plain or f" {word} " in plain.replace("-", " ") for word in (w.lower() for w in words)
    )


def cautions_for(line_id: str, name: str | None = None, tags: Iterable[str] = ()) -> tuple[Caution, ...]:
    """Give the cautions that stand beside a line.

    Parameters
    ----------
    line_id : str
        The line's or phase's id.
    name : str, optional
        Its name.
    tags : iterable of str
        Its group, package, route or what else describes it; a tag may also be a caution's id.

    Returns
    -------
    tuple of Caution
        In the order of display, each once.
    """
    known = frozenset(tags)
    text = f"{line_id} {name or ''}"
    return tuple(
        caution
        for caution in load_cautions()
        if line_id in caution.ids
        or caution.id in known
        or known.intersection(caution.tags)
        or mentions(text, caution.words)
    )


__all__ = ["Caution", "cautions_for", "load_cautions", "mentions"]
