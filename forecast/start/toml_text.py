"""Writes tables of a build file as text that a builder can read and edit."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

from forecast.buildfile.cautions import Caution
from forecast.buildfile.toml import toml_key, toml_value

WIDTH = 118


@dataclass(frozen=True)
class TomlTable:
    """One table of the file.

    Attributes
    ----------
    header : str
        With its brackets.
    values : mapping
        Plain keys first; a mapping under ``takeoff`` and lists of mappings become tables of their own below.
    remarks : mapping
        Comment behind a key's value.
    above : tuple of str
        Comment lines before the header.
    cautions : tuple of Caution
        Written before the header, each in full once in the whole file.
    """

    header: str
    values: Mapping[str, Any]
    remarks: Mapping[str, str] = field(default_factory=dict)
    above: tuple[str, ...] = ()
    cautions: tuple[Caution, ...] = ()


@dataclass(frozen=True)
class Section:
    """Tables under one heading, with some lines of comment."""

    title: str
    words: str
    tables: tuple[TomlTable, ...]


def write_sections(opening: str, sections: Iterable[Section]) -> str:
    """Give the text of a build file."""
    said: set[str] = set()
    lines = comment(opening)
    for section in sections:
        if not section.tables and not section.words:
            continue
        lines += ["", "", f"# {section.title} {'-' * max(3, WIDTH - len(section.title) - 3)}"]
        lines += comment(section.words)
        for table in section.tables:
            lines += ["", *_write_table(table, said)]
    return "\n".join(lines) + "\n"


def comment(text: str) -> list[str]:
    """Give a text as comment lines; an empty line parts paragraphs."""
    lines: list[str] = []
    for place, paragraph in enumerate(text.strip().split("\n\n") if text.strip() else []):
        lines += ["#"] if place else []
        lines += _wrapped(paragraph)
    return lines


# Most comments are the same in every build, and wrapping them took three fifths of writing one.
@lru_cache(maxsize=1024)
def _wrapped(paragraph: str) -> tuple[str, ...]:
    return tuple(f"# {line}" for line in textwrap.wrap(" ".join(paragraph.split()), WIDTH - 2))


def _write_table(table: TomlTable, said: set[str]) -> list[str]:
    lines = [line for paragraph in table.above for line in comment(paragraph)]
    for caution in table.cautions:
        if caution.id in said:
            lines += comment(f"Caution, {caution.topic.lower()}: see above ({caution.authority}).")
        else:
            lines += comment(f"Caution, {caution.sentence[0].lower()}{caution.sentence[1:]}")
            said.add(caution.id)
    name = table.header.strip("[]")
    below: list[str] = []
    lines.append(table.header)
    for key, value in table.values.items():
        if (
            isinstance(value, list)
            and value
            and isinstance(value[0], Mapping)
            and len(toml_value(value)) > 80
        ):
            for item in value:
                below += ["", f"[[{name}.{key}]]", *_pairs(item, {})]
        elif key in ("takeoff", "arrival", "overrides") and isinstance(value, Mapping):
            below += ["", f"[{name}.{key}]", *_pairs(value, {})]
        else:
            lines += _pairs({key: value}, table.remarks)
    return lines + below


def _pairs(values: Mapping[str, Any], remarks: Mapping[str, str]) -> list[str]:
    lines = []
    for key, value in values.items():
        text = f"{toml_key(key)} = {toml_value(value)}"
        lines.append(f"{text}  # {remarks[key]}" if key in remarks else text)
    return lines
