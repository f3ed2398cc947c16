"""What the product's own data files say, made into objects, with their mistakes told by place."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import MISSING, fields
from functools import cache
from typing import Any, Literal, TypeVar, get_args, get_origin, get_type_hints

from forecast.errors import RuleError

Made = TypeVar("Made")


def made(kind: type[Made], item: Mapping[str, Any], file: str) -> Made:
    """Make a dataclass of what a table says.

    Parameters
    ----------
    kind : type
        A dataclass.
    item : mapping
        A table of the file.
    file : str
        Its name.

    Raises
    ------
    RuleError
        Where a key is missing or unknown, or a word is none of the legal ones: with file, id and what is legal.
    """
    where = f"{file}: {item.get('id', 'a table without id')}"
    needed, legal = _keys(kind)  # type: ignore[arg-type]  # classes are hashable
    if unknown := [key for key in item if key not in needed]:
        message = f"{where}: found {', '.join(unknown)}. Legal are {', '.join(needed)}."
        raise RuleError(message)
    if missing := [key for key, is_needed in needed.items() if is_needed and key not in item]:
        message = f"{where}: {', '.join(missing)} {'is' if len(missing) == 1 else 'are'} missing."
        raise RuleError(message)
    for key, words in legal.items():
        if key in item and item[key] not in words:
            message = f"{where}: {key}: found {item[key]!r}. Legal are {', '.join(map(str, words))}."
            raise RuleError(message)
    return kind(**item)


@cache
def _keys(kind: type) -> tuple[Mapping[str, bool], Mapping[str, tuple[Any, ...]]]:
    """Give whether each key of a dataclass is needed, and the legal words of those that have any."""
    needed = {one.name: one.default is MISSING and one.default_factory is MISSING for one in fields(kind)}
    hints = get_type_hints(kind)
    return needed, {key: get_args(hints[key]) for key in needed if get_origin(hints[key]) is Literal}
