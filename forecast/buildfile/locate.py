"""Finds the line number of a key in a TOML text, for messages that a builder can follow."""

from __future__ import annotations

import re

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
    depth = 0
    fence: str | None = None
    for number, line in enumerate(text.split("\n"), start=1):
        if fence is not None:
            if fence in line:
                fence = None
            continue
        if depth == 0 and (header := _HEADER.match(line)):
            table = _table_path(header.group(2), bool(header.group(1)), counts)
            for length in range(1, len(table) + 1):  # [a.b] makes a too, and the first [[a]] the list
                found.setdefault(table[:length], number)
            continue
        if depth == 0 and (key := _KEY.match(line)):
            found.setdefault(table + tuple(_pieces(key.group(1))), number)
        for mark in ('"""', "'''"):
            if line.count(mark) % 2 == 1:
                fence = mark
                break
        else:
            value = line.split("=", 1)[1] if depth == 0 and "=" in line else line
            depth = max(0, depth + _depth_change(value))
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
