"""Cautions on health, safety and law that stand beside the lines they concern.

The tool plans money and approves nothing. Each caution names the authority whose word counts; local codes and
licensed practice decide.
"""

from __future__ import annotations

import re
import textwrap
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cache, lru_cache
from importlib import resources
from typing import TYPE_CHECKING, Any, Literal, TypeAlias

from forecast.buildfile.data_on_file import made
from forecast.words.sources import Certainty, source_words

if TYPE_CHECKING:
    from forecast.buildfile.schema import Build

_COMMENT_WIDTH = 116


CautionKind: TypeAlias = Literal["work", "car", "papers"]
KINDS_OF_CAUTIONS: Mapping[CautionKind, str] = {
    "work": "For whoever works",
    "car": "For the car on the road",
    "papers": "Whom to ask and to tell",
}
"""What cautions are listed under, in this order."""


@dataclass(frozen=True)
class Caution:
    """One caution.

    Attributes
    ----------
    id, topic : str
        Its key, and its heading.
    kind : {"work", "car", "papers"}
        What may hurt whoever works; what the car has to hold on the road; whom to ask or to tell.
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
    hazards, ids : tuple of str
        Keys of the hazards beside which it stands, and ids of single lines, phases and events.
    done_by : tuple of str
        Hazards of the work that ``doing`` means, where that is not all that it stands beside.
    """

    id: str
    kind: CautionKind
    topic: str
    text: str
    authority: str
    place: str
    certainty: Certainty
    read: date | None = None
    doing: str = ""
    harm: str = ""
    hazards: tuple[str, ...] = ()
    ids: tuple[str, ...] = ()
    done_by: tuple[str, ...] = ()

    @property
    def source(self) -> str:
        """Where it was read and when, in words."""
        return source_words(self.place, self.certainty, self.read)

    @property
    def sentence(self) -> str:
        """The caution in one paragraph, the authority named."""
        return f"{self.topic}: {self.text} ({self.authority}. Local rules and licensed practice decide.)"


@dataclass(frozen=True)
class Hazard:
    """Something about a line that can hurt somebody or break a rule.

    Attributes
    ----------
    key : str
        As it is written in a build file: ``hazards = ["spraying"]``.
    ids : frozenset of str
        Lines, phases and events that bear it by what they are.
    words : tuple of str
        Words in a name that are a reason to ask; never a match.
    """

    key: str
    ids: frozenset[str]
    words: tuple[str, ...]


@cache
def _data() -> dict[str, Any]:
    return tomllib.loads(
        resources.files("forecast.buildfile").joinpath("cautions.toml").read_text(encoding="utf-8")
    )


@cache
def load_hazards() -> Mapping[str, Hazard]:
    """Give all hazards by their key."""
    return {
        key: Hazard(key, frozenset(raw["ids"]), tuple(raw["words"])) for key, raw in _data()["hazard"].items()
    }


@cache
def load_cautions() -> tuple[Caution, ...]:
    """Give all cautions, in the order of display."""
    items: list[dict[str, Any]] = _data()["caution"]
    return tuple(
        made(
            Caution,
            item | {key: tuple(item.get(key, ())) for key in ("hazards", "ids", "done_by")},
            "cautions.toml",
        )
        for item in items
    )


def mentions(text: str, words: Iterable[str]) -> bool:
    """Tell whether a text has one of the words or phrases, as whole words, case and underscores aside."""
    as_said, apart = _words_of(text)
    return any(f" {word} " in as_said or f" {word} " in apart for word in (w.lower() for w in words))


@lru_cache(maxsize=4096)
def _words_of(text: str) -> tuple[str, str]:
    """Give the words of a text with blanks between and around them, and the same with hyphened words apart."""
    said = " " + " ".join(re.findall(r"[\w-]+", text.lower().replace("_", " "))) + " "
    return said, said.replace("-", " ")


def cautions_for(line_id: str, hazards: Sequence[str] | None = None) -> tuple[Caution, ...]:
    """Give the cautions that stand beside a line, by what it is; what its name says makes no difference.

    Parameters
    ----------
    line_id : str
        The id of a line, phase or event; ``_self`` at its end, which says who works, is passed over.
    hazards : sequence of str, optional
        The hazards that the build file says it bears, which come before those of its id; an empty one says none.

    Returns
    -------
    tuple of Caution
        In the order of display, each once.
    """
    return _beside(line_id, None if hazards is None else frozenset(hazards))


@lru_cache(maxsize=4096)  # the guided start writes the same lines anew after every answer
def _beside(line_id: str, told: frozenset[str] | None) -> tuple[Caution, ...]:
    ids, borne = {line_id, line_id.removesuffix("_self")}, _borne(line_id, told)
    return tuple(
        caution
        for caution in load_cautions()
        if borne.intersection(caution.hazards) or (told is None and ids.intersection(caution.ids))
    )


def _borne(line_id: str, told: frozenset[str] | None) -> frozenset[str]:
    ids = {line_id, line_id.removesuffix("_self")}
    if told is not None:
        return told
    return frozenset(key for key, hazard in load_hazards().items() if ids & hazard.ids)


def is_done(caution: Caution, line_id: str, package: str | None, hazards: Sequence[str] | None) -> bool:
    """Tell whether a line's work is what a caution means by doing: buying a part, or filling beside it, may not be."""
    if not caution.harm or not caution.done_by:
        return bool(caution.harm)
    borne = _borne(line_id, None if hazards is None else frozenset(hazards))
    return package is not None and not borne.isdisjoint(caution.done_by)


_GOODS = {"kit": ("panels", "lifting", "approval", "insurance"), "wheels": ("wheels", "wheel_cover", "tyres")}
"""Hazards of goods from abroad by the group in which they stand, where their id says nothing."""


def goods_hazards(item_id: str, group: str) -> tuple[str, ...] | None:
    """Give the hazards of goods of a consignment: by their id, else by their group."""
    return None if cautions_for(item_id) else _GOODS.get(group, ())


def goods_cautions(item_id: str, group: str) -> tuple[Caution, ...]:
    """Give the cautions beside goods of a consignment."""
    return cautions_for(item_id, goods_hazards(item_id, group))


def hazards_to_ask(line_id: str, name: str | None, hazards: Sequence[str] | None) -> tuple[str, ...]:
    """Give the hazards that a line may bear by words in its name, where neither its id nor the file says."""
    if hazards is not None or cautions_for(line_id):
        return ()
    text = f"{line_id} {name or ''}"
    return tuple(key for key, hazard in load_hazards().items() if mentions(text, hazard.words))


def cautions_of(build: Build) -> tuple[tuple[Caution, tuple[str, ...]], ...]:
    """Give each caution that concerns a build once, with the names of the lines, goods and events concerned."""
    named: list[tuple[str, Sequence[str] | None, str]] = [
        (line.id, line.hazards, line.title)
        for line in build.line
        if line.group not in ("freight", "import") and not line.id.endswith("_shop")
    ]
    for bought in build.consignment:
        for item in bought.items:
            title = item.name or item.id if bought.goods else bought.title
            named.append((item.id, goods_hazards(item.id, item.group), title))
    named += [
        (event.id, event.hazards, event.title) for event in build.event if not event.id.endswith("_shop")
    ]
    found: dict[str, tuple[Caution, list[str]]] = {}
    for line_id, hazards, title in named:
        for caution in cautions_for(line_id, hazards):
            found.setdefault(caution.id, (caution, []))[1].append(title)
    order = [caution.id for caution in load_cautions() if caution.id in found]
    return tuple((found[name][0], tuple(dict.fromkeys(found[name][1]))) for name in order)


@dataclass(frozen=True)
class HazardAsked:
    """Whether a line or event bears what its name tells of: a question that the file can answer.

    Attributes
    ----------
    item, title : str
    hazards : tuple of str
        Keys of what it may bear.
    """

    item: str
    title: str
    hazards: tuple[str, ...]

    @property
    def question(self) -> str:
        """Ask it."""
        return (
            f"\u201c{self.title}\u201d: is it {' or '.join(key.replace('_', ' ') for key in self.hazards)}?"
        )

    @property
    def sentence(self) -> str:
        """Ask it, and say how the file answers."""
        listed = ", ".join(f'"{key}"' for key in self.hazards)
        return (
            f"{self.question} If so, write hazards = [{listed}] on it and its cautions stand beside it; if not, "
            "hazards = []."
        )


def hazards_asked(build: Build) -> tuple[HazardAsked, ...]:
    """Ask of each line and event whether it bears what its name tells of, where neither its id nor the file says."""
    asked = []
    for kind, items in (("line", build.line), ("event", build.event)):
        for item in items:
            if kind == "line" and getattr(item, "group", "") in ("freight", "import"):
                continue
            if item.id.endswith("_shop") or item.route == "shop":
                continue
            if keys := hazards_to_ask(item.id, item.name, item.hazards):
                asked.append(HazardAsked(item.id, item.title, tuple(keys)))
    return tuple(asked)


def comments_beside(line_id: str, hazards: Sequence[str] | None, text: str) -> list[str]:
    """Give the cautions of a line as comments of the build file, without their marks.

    Parameters
    ----------
    line_id : str
    hazards : sequence of str, optional
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
    for caution in cautions_for(line_id, hazards):
        if " ".join(caution.text.split()) in said:
            words = (
                f"Caution, {caution.topic.lower()}: see the words beside another line ({caution.authority})."
            )
        else:
            words = f"Caution, {caution.sentence[0].lower()}{caution.sentence[1:]}"
        lines += textwrap.wrap(words, _COMMENT_WIDTH)
    return lines


__all__ = [
    "Caution", "Hazard", "HazardAsked", "cautions_for", "cautions_of", "comments_beside", "goods_cautions",
    "hazards_asked", "hazards_to_ask", "is_done", "load_cautions", "load_hazards", "mentions",
]  # fmt: skip
