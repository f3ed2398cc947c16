"""Finds the line number of a key in a TOML text, for messages that a builder can follow."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

_HEADER = re.compile(r"^\s*+\[(\[)?([^\n]*?)\](\])?\s*+(?:#.*)?$")
_KEY = re.compile(
    r"^\s*((?:[A-Za-z0-9_-]+|\"[^\"]*\"|'[^']*')(?:\s*\.\s*(?:[A-Za-z0-9_-]+|\"[^\"]*\"|'[^']*'))*)\s*="
)
_PIECE = re.compile(r"\"([^\"]*)\"|'([^']*)'|([A-Za-z0-9_-]+)")

Path = tuple[str | int, ...]
"""Keys and list positions (from 0) from the top of the file to a value."""


def _pieces(dotted: str) -> list[str]:
    return ["".join(groups) for groups in _PIECE.findall(dotted)]


def _depth_change(text: str) -> int:
    """Count brackets opened less brackets closed, outside strings and comments."""
    bare = re.sub(r"\"(?:\\.|[^\"\\])*\"|'[^']*'", "", text)
    bare = bare.split("#", 1)[0]
    return bare.count("[") + bare.count("{") - bare.count("]") - bare.count("}")


def _beginnings(text: str) -> Iterator[tuple[int, str]]:
    """Give the lines, numbered from 1, on which a header or a key may stand: none that a value runs over."""
    depth = 0
    fence: str | None = None
    for number, line in enumerate(text.split("\n"), start=1):
        if fence is not None:
            if fence in line:
                fence = None
            continue
        if depth == 0:
            yield number, line
            if _HEADER.match(line):
                continue
        for mark in ('"""', "'''"):
            if line.count(mark) % 2 == 1:
                fence = mark
                break
        else:
            value = line.split("=", 1)[1] if depth == 0 and "=" in line else line
            depth = max(0, depth + _depth_change(value))


@dataclass(frozen=True)
class Header:
    """Where a table of a TOML text begins.

    Attributes
    ----------
    number : int
        Of its line, from 1.
    first : str
        The first part of its name, as a value.
    parts : int
        Of its name.
    is_array : bool
        Whether it stands in two pairs of brackets.
    span : tuple of int
        Where the first part stands in its line, with its quotes.
    """

    number: int
    first: str
    parts: int
    is_array: bool
    span: tuple[int, int]


def headers(text: str) -> Iterator[Header]:
    """Give the headers of a TOML text in their order."""
    for number, line in _beginnings(text):
        if (header := _HEADER.match(line)) and (first := _PIECE.search(line, header.start(2), header.end(2))):
            parts = len(_pieces(header.group(2)))
            yield Header(number, "".join(first.groups("")), parts, bool(header.group(1)), first.span())


def locate(text: str) -> dict[Path, int]:
    """Map each table and key of a TOML text to the line where it stands.

    Parameters
    ----------
    text : str
        The file.

    Returns
    -------
    dict
        Line numbers from 1 by path. Keys inside inline tables are not listed: their table is.
    """
    found: dict[Path, int] = {}
    counts: dict[Path, int] = {}
    table: Path = ()
    for number, line in _beginnings(text):
        if header := _HEADER.match(line):
            table = _table_path(header.group(2), bool(header.group(1)), counts)
            for length in range(1, len(table) + 1):  # [a.b] makes a too, and the first [[a]] the list
                found.setdefault(table[:length], number)
        elif key := _KEY.match(line):
            found.setdefault(table + tuple(_pieces(key.group(1))), number)
    return found


def _table_path(dotted: str, is_array: bool, counts: dict[Path, int]) -> Path:
    """Turn a header's name into a path, with the position in each array of tables."""
    path: Path = ()
    pieces = _pieces(dotted)
    for place, piece in enumerate(pieces):
        path = (*path, piece)
        last = place == len(pieces) - 1
        if is_array and last:
            counts[path] = counts.get(path, -1) + 1
            path = (*path, counts[path])
        elif path in counts:
            path = (*path, counts[path])
    return path


def line_of(path: Path, lines: dict[Path, int]) -> int | None:
    """Give the line of a path, or of the nearest thing around it that has one."""
    for length in range(len(path), 0, -1):
        if path[:length] in lines:
            return lines[path[:length]]
    return None
