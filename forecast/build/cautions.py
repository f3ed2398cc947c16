"""Cautions on health, safety and law that stand beside the lines they concern.

The tool plans money and approves nothing. Each caution names the authority whose word counts; local codes and
licensed practice decide.
"""

from __future__ import annotations

import re
import textwrap
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from functools import cache, lru_cache
from importlib import resources
from typing import TYPE_CHECKING, Any

from forecast.words.sources import Certainty, source_words

if TYPE_CHECKING:
    from forecast.build.schema import Build

_COMMENT_WIDTH = 116


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
    place : str
        Title or address at which it was read; empty where there is none.
    certainty : {"verified", "third party", "no source", "common practice"}
    read : date or None
        The day on which it was read there.
    doing, harm : str
        Where it is better left to others: what is done, as in "means …", and what that may do, as in "which …".
    ids, words, tags : tuple of str
        Ids of lines, phases and events, words of a name, and tags of a line beside which it stands.
    """

    id: str
    topic: str
    text: str
    authority: str
    place: str
    certainty: Certainty
    read: date | None = None
    doing: str = ""
    harm: str = ""
    ids: tuple[str, ...] = ()
    words: tuple[str, ...] = ()
    tags: tuple[str, ...] = ()

    @property
    def source(self) -> str:
        """Where it was read and when, in words."""
        return source_words(self.place, self.certainty, self.read)

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
        The id of a line, phase or event; ``_self`` at its end, which says who works, is passed over.
    name : str, optional
        Its name.
    tags : iterable of str
        Its group, package, route or what else describes it; a tag may also be a caution's id.

    Returns
    -------
    tuple of Caution
        In the order of display, each once.
    """
    return _beside(line_id, name or "", frozenset(tags))


@lru_cache(maxsize=4096)  # the guided start writes the same lines anew after every answer
def _beside(line_id: str, name: str, known: frozenset[str]) -> tuple[Caution, ...]:
    ids, text = {line_id, line_id.removesuffix("_self")}, f"{line_id} {name}"
    return tuple(
        caution
        for caution in load_cautions()
        if ids.intersection(caution.ids)
        or caution.id in known
        or known.intersection(caution.tags)
        or mentions(text, caution.words)
    )


def cautions_of(build: Build) -> tuple[tuple[Caution, tuple[str, ...]], ...]:
    """Give each caution that concerns a build once, with the names of the lines, goods and events concerned."""
    named: list[tuple[str, str | None, tuple[str, ...], str]] = [
        (line.id, line.name, (line.group,), line.title)
        for line in build.line
        if line.group not in ("freight", "import")  # which name the goods that they are charged on
    ]
    for bought in build.consignment:
        named.append((bought.id, bought.name, (), bought.title))
        named += [(item.id, item.name, (item.group,), item.name or item.id) for item in bought.goods]
    named += [
        (event.id, event.name, (), event.title) for event in build.event if not event.id.endswith("_shop")
    ]
    found: dict[str, tuple[Caution, list[str]]] = {}
    for line_id, name, tags, title in named:
        for caution in cautions_for(line_id, name, tags):
            found.setdefault(caution.id, (caution, []))[1].append(title)
    order = [caution.id for caution in load_cautions() if caution.id in found]
    return tuple((found[name][0], tuple(dict.fromkeys(found[name][1]))) for name in order)


def comments_beside(line_id: str, name: str | None, group: str, text: str) -> list[str]:
    """Give the cautions of a line as comments of the build file, without their marks.

    Parameters
    ----------
    line_id, name, group : str
        The line's. Work that a shop does, by its id's ending, bears none.
    text : str
        The build file so far: a caution that stands there in full is only referred to.

    Returns
    -------
    list of str
        One comment line each.
    """
    if line_id.endswith("_shop"):
        return []
    said = " ".join(text.replace("#", " ").split())
    lines: list[str] = []
    for caution in cautions_for(line_id, name, (group,)):
        if " ".join(caution.text.split()) in said:
            words = (
                f"Caution, {caution.topic.lower()}: see the words beside another line ({caution.authority})."
            )
        else:
            words = f"Caution, {caution.sentence[0].lower()}{caution.sentence[1:]}"
        lines += textwrap.wrap(words, _COMMENT_WIDTH)
    return lines


__all__ = ["Caution", "cautions_for", "cautions_of", "comments_beside", "load_cautions", "mentions"]
