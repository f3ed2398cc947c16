"""The JSON Schema of what a command answers with ``--json``, from the type that its ``run`` says it answers with.

It follows `told`, which writes the answer, case by case: a shape has one definition, whichever answers hold it.
"""

from __future__ import annotations

import argparse
import ast
import datetime as dt
import inspect
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import fields, is_dataclass
from decimal import Decimal
from functools import cache
from pathlib import Path
from types import NoneType, UnionType
from typing import Any, Literal, Never, NotRequired, Union, get_args, get_origin, get_type_hints, is_typeddict

from forecast.buildfile.toml_schema import attributes_told
from forecast.errors import ForecastError
from forecast.views.answers.figures import Figure
from forecast.views.commands.common import Answered, JsonSchema
from forecast.views.commands.told import FIGURE_NAME, is_estimate, name_told

DIALECT = "https://json-schema.org/draft/2020-12/schema"

_PLAIN: Mapping[Any, dict[str, Any]] = {
    bool: {"type": "boolean"},
    int: {"type": "integer"},
    float: {"type": "number"},
    str: {"type": "string"},
    Path: {"type": "string"},
    Decimal: {"type": "string"},
    NoneType: {"type": "null"},
    dt.datetime: {"type": "string", "format": "date-time"},
    dt.date: {"type": "string", "format": "date"},
    object: {},
    JsonSchema: {"$ref": DIALECT},
}
_NUMBERS = (int, float, Decimal)


def answering(
    parser: argparse.ArgumentParser, words: str = ""
) -> Iterator[tuple[str, argparse.ArgumentParser]]:
    """Give every command that takes ``--json``, with its parser, by the words that it is called with."""
    groups = [action for action in parser._actions if isinstance(action, argparse._SubParsersAction)]
    for group in groups:
        for name, child in group.choices.items():
            yield from answering(child, f"{words} {name}".strip())
    if not groups and "--json" in parser._option_string_actions:
        yield words, parser


def answer_schema(parser: argparse.ArgumentParser, words: str) -> dict[str, Any]:
    """Give the JSON Schema (draft 2020-12) of what a command answers.

    Parameters
    ----------
    parser : argparse.ArgumentParser
        Of all commands.
    words : str
        Those that the command is called with, such as ``receipt add``.

    Raises
    ------
    ForecastError
        Naming all that answer, where none is called so.
    """
    commands = dict(answering(parser))
    if words not in commands:
        message = f"no command {words!r} answers with --json. Legal are {', '.join(sorted(commands))}."
        raise ForecastError(message)
    run = commands[words].get_default("run")
    shapes = _Shapes()
    found = shapes.of(answer_type(run))
    return {
        "$schema": DIALECT,
        "title": f"What 'forecast {words} --json' answers",
        **found,
        "$defs": dict(sorted(shapes.definitions.items())),
    }


def answer_type(run: Callable[..., object]) -> Any:
    """Give the type of the data that a command says it answers with."""
    said = _hints(run)["return"]
    if get_origin(said) is not Answered:
        message = f"{run.__module__}.{run.__name__} does not say what it answers with"
        raise TypeError(message)
    (found,) = get_args(said)
    return found


class _Shapes:
    """The shapes of one answer, each of which is defined once."""

    def __init__(self) -> None:
        self.definitions: dict[str, Any] = {}
        self._defined: dict[str, type] = {}

    def of(self, hint: Any, name: str = "") -> dict[str, Any]:
        """Give what `told` makes of a value of a type, under a key where it stands under one."""
        if FIGURE_NAME.fullmatch(name) and hint in _NUMBERS:
            return self.of(Figure)
        if hint in _PLAIN:
            return _PLAIN[hint]
        origin, inner = get_origin(hint), get_args(hint)
        if origin is NotRequired:
            return self.of(inner[0], name)
        if origin in (Union, UnionType):
            return self._any_of([self.of(one, name) for one in inner if one is not Never])
        if origin is Literal:
            return {"enum": list(inner)}
        if isinstance(origin, type) and issubclass(origin, tuple) and inner[1:] != (...,):
            items = [self.of(one) for one in inner]
            return {"type": "array", "prefixItems": items, "minItems": len(items), "items": False}
        if isinstance(origin, type) and issubclass(origin, Sequence):
            return {"type": "array", "items": self.of(inner[0])}
        if isinstance(origin, type) and issubclass(origin, Mapping):
            return self._mapping(inner[1])
        if isinstance(hint, type) and is_estimate(hint):
            return self.of(Figure)
        if is_typeddict(hint):
            hints = _hints(hint)  # `__required_keys__` is wrong where annotations are text
            return self._table(
                hint, hints, [key for key in hints if get_origin(hints[key]) is not NotRequired]
            )
        if isinstance(hint, type) and is_dataclass(hint):
            hints = _hints(hint)
            keys = [field.name for field in fields(hint)]
            return self._table(hint, {key: hints[key] for key in keys}, keys)
        message = f"{hint} is nothing that an answer can hold"
        raise TypeError(message)

    def _any_of(self, shapes: Sequence[dict[str, Any]]) -> dict[str, Any]:
        different = [shape for place, shape in enumerate(shapes) if shape not in shapes[:place]]
        return different[0] if len(different) == 1 else {"anyOf": different}

    def _mapping(self, hint: Any) -> dict[str, Any]:
        """Give names to values, whose names only the build knows: a number is a figure by its name here too."""
        plain = self.of(hint)
        by_name = self.of(hint, "chance")
        named = {} if by_name == plain else {"patternProperties": {f"^({FIGURE_NAME.pattern})$": by_name}}
        return {"type": "object", **named, "additionalProperties": plain}

    def _table(self, one: type, hints: Mapping[str, Any], required: Sequence[str]) -> dict[str, Any]:
        """Define a shape with keys of its own, and refer to it."""
        name = one.__name__[0].lower() + one.__name__[1:]
        if name not in self._defined:
            self._defined[name] = one
            said = attributes_told(one)
            properties = {
                name_told(key): self.of(hint, name_told(key))
                | ({"description": said[key]} if key in said else {})
                for key, hint in hints.items()
            }
            self.definitions[name] = {
                "type": "object",
                "description": inspect.cleandoc(one.__doc__ or "").split("\n\n")[0].replace("\n", " "),
                "properties": properties,
                "required": [name_told(key) for key in required],
                "additionalProperties": False,
            }
        if self._defined[name] is not one:
            message = f"{one} and {self._defined[name]} have one name"
            raise TypeError(message)
        return {"$ref": f"#/$defs/{name}"}


def _hints(one: Any) -> dict[str, Any]:
    """Give the types that stand in a class or beside a function, those too that are imported for them alone."""
    names: dict[str, Any] = {}
    for base in reversed(getattr(one, "__mro__", (one,))):
        names |= _for_types_alone(base.__module__)
    return get_type_hints(one, localns=names, include_extras=True)


@cache
def _for_types_alone(module: str) -> Mapping[str, Any]:
    """Carry out what a module imports under ``if TYPE_CHECKING:``, so that it is quick to load elsewhere."""
    found: dict[str, Any] = {}
    if hasattr(sys.modules[module], "__file__"):  # not of those that are built in
        for node in ast.parse(inspect.getsource(sys.modules[module])).body:
            if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING":
                exec(compile(ast.Module(node.body, []), module, "exec"), found)
    return found


__all__ = ["DIALECT", "answer_schema", "answer_type", "answering"]
