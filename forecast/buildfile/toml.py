"""TOML as people hand it in: parsed, or refused in words before it takes long or fills the memory; and written."""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Mapping
from typing import Any

from forecast.errors import BuildFileError, Problem

DEEPEST = 64
"""Tables and lists inside one another; a build's own go eight deep."""
MOST_PARTS = 64
"""Parts of one dotted key: the parser takes time with their square."""
MOST_ENTRIES = 20_000
"""Entries of one list or table."""

_BARE = re.compile(r"^[A-Za-z0-9_-]+$")
_PART = r"""(?:[A-Za-z0-9_-]++|"[^"\n]*+"|'[^'\n]*+')"""
_CHAIN = re.compile(rf"(?<![A-Za-z0-9_-]){_PART}(?:[ \t]*+\.[ \t]*+{_PART}){{{MOST_PARTS},}}+")
_TOO_DEEP = "Nest tables no deeper than the examples do."


def parse_toml(text: str, heading: str, mend: str) -> dict[str, Any]:
    """Parse TOML.

    Parameters
    ----------
    text : str
    heading : str
        What it is, for the error: most often the path of a file.
    mend : str
        What is legal, where it is no TOML.

    Raises
    ------
    BuildFileError
        If it is no TOML, or nested so deeply that reading it would take for ever.
    """
    if chain := _CHAIN.search(text):
        number = text.count("\n", 0, chain.start()) + 1
        found = f"a key of more than {MOST_PARTS} parts with points between them"
        raise BuildFileError(heading, [Problem("file", found, _TOO_DEEP, number)])
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        reason, _, at = str(error).rpartition(" (at ")
        line = at.split(",")[0].removeprefix("line ")
        number = int(line) if line.isdigit() else max(1, len(text.splitlines()))  # else: at end of document
        found = _cut(reason or str(error))
        raise BuildFileError(heading, [Problem("file", found, mend, number)]) from None
    except ValueError:
        mend = "Write numbers as 1250 or 12.50, and dates as 2026-05-03."
        problem = Problem("file", "has a number of thousands of digits, or a date that does not exist", mend)
        raise BuildFileError(heading, [problem]) from None
    except RecursionError:
        raise BuildFileError(heading, [Problem("file", "nested too deeply", _TOO_DEEP)]) from None
    if wrong := _unfit(raw):
        raise BuildFileError(heading, [Problem("file", *wrong)])
    return raw


def _unfit(raw: Mapping[str, Any]) -> tuple[str, str] | None:
    """Say what lies deeper or is longer than it may, without going there by calls inside calls."""
    level: list[Any] = [raw]
    for _ in range(DEEPEST):
        longest = max(map(len, level))
        if longest > MOST_ENTRIES:
            return f"a list or table of {longest:,} entries", f"A build's have {MOST_ENTRIES:,} at most."
        level = [
            part
            for whole in level
            for part in (whole.values() if isinstance(whole, dict) else whole)
            if isinstance(part, dict | list)
        ]
        if not level:
            return None
    return "nested too deeply", _TOO_DEEP


def _cut(text: str) -> str:
    """Cut what the parser says, which may hold a whole key."""
    return text if len(text) <= 200 else f"{text[:197]}..."


def toml_value(value: Any) -> str:
    """Write one value: what a model gives as plain TOML, as text that a builder can read and edit."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, int | float):
        return f"{value:.12g}" if 1e-4 <= abs(value) < 1e12 or value == 0 else repr(float(value))
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{toml_key(key)} = {toml_value(item)}" for key, item in value.items()) + " }"
    return "[" + ", ".join(toml_value(item) for item in value) + "]"


def toml_key(key: str) -> str:
    """Write a key, in quotes where it needs them."""
    return key if _BARE.match(key) else toml_value(key)


__all__ = ["DEEPEST", "MOST_ENTRIES", "MOST_PARTS", "parse_toml", "toml_key", "toml_value"]
