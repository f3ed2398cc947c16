"""The JSON Schema of a build file, from the very models that read it: editors complete and check keys by it.

What needs two values at once (low under middle, a unit that fits) is beyond it: ``forecast check`` tells these.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from functools import cache
from inspect import cleandoc
from typing import Any

from pydantic.json_schema import GenerateJsonSchema, JsonSchemaValue
from pydantic_core import core_schema

from forecast.buildfile.schema import Build, Scenario
from forecast.buildfile.takeoff_base import AsWritten
from forecast.figures.figure import FigureBase
from forecast.figures.file_values import STRENGTHS, _a_country, _strength
from forecast.figures.kinds import _raw_figure
from forecast.words.countries import COUNTRIES

FILE_NAME = "build.schema.json"
"""Beside a build file, whose first line names it."""
LINE = f"#:schema {FILE_NAME}"

_FIGURE = "x-figure"
_FIGURE_NAMED = "Figure"
"""What the references to a figure hold, while they are made; behind it stands a number."""
_REFERENCE = f"#/$defs/{_FIGURE_NAMED}"
_LIMITS = {"gt": "exclusiveMinimum", "ge": "minimum", "lt": "exclusiveMaximum", "le": "maximum"}
"""What pydantic leaves in its own words where a limit stands behind a reader of ours."""
_SAID = re.compile(r"(?P<names>\w+(?:, \w+)*) : .*")


class _AsFile(GenerateJsonSchema):
    """Says of each value what may stand in the file, where that is more than what the models keep."""

    def function_before_schema(self, schema: core_schema.BeforeValidatorFunctionSchema) -> JsonSchemaValue:
        read = schema["function"]["function"]
        inner = super().function_before_schema(schema)
        if read is _raw_figure:
            return {"anyOf": [{"type": "number"}, *inner["oneOf"]], _FIGURE: True}
        if read is _strength:
            return {"anyOf": [inner, {"enum": list(STRENGTHS)}]}
        return inner

    def function_after_schema(self, schema: core_schema.AfterValidatorFunctionSchema) -> JsonSchemaValue:
        inner = super().function_after_schema(schema)
        return inner | {"enum": sorted(COUNTRIES)} if schema["function"]["function"] is _a_country else inner

    def function_wrap_schema(self, schema: core_schema.WrapValidatorFunctionSchema) -> JsonSchemaValue:
        inner = super().function_wrap_schema(schema)
        if schema["function"]["function"] is not AsWritten.func:
            return inner
        table = {
            "type": "object",
            "properties": {"value": {"type": "number"}, "unit": {"type": "string"}},
            "required": ["value", "unit"],
            "additionalProperties": False,
        }
        return {"anyOf": [inner, table]}

    def nullable_schema(self, schema: core_schema.NullableSchema) -> JsonSchemaValue:
        return self.generate_inner(schema["schema"])  # TOML has no null: a key is left out

    def default_schema(self, schema: core_schema.WithDefaultSchema) -> JsonSchemaValue:
        found = super().default_schema(schema)
        return {key: item for key, item in found.items() if key != "default" or item not in (None, [], {})}

    def dict_schema(self, schema: core_schema.DictSchema) -> JsonSchemaValue:
        found = super().dict_schema(schema)
        return found | {"additionalProperties": False} if "patternProperties" in found else found

    def model_schema(self, schema: core_schema.ModelSchema) -> JsonSchemaValue:
        found = super().model_schema(schema)
        model = schema["cls"]
        properties = {key: _without_title(item) for key, item in found["properties"].items()}
        told = attributes_told(model)
        for key, item in properties.items():
            if key in told and ("$ref" not in item or _FIGURE_NAMED in item["$ref"]):
                item["description"] = told[key]
        if model is Scenario:  # routes stand beside its other keys
            routes = properties.pop("routes")
            found |= {"additionalProperties": next(iter(routes["patternProperties"].values()))}
        if issubclass(model, FigureBase):
            properties, found = _figure(model, properties, found)
        first = cleandoc(model.__doc__ or "").split("\n\n")[0].replace("\n", " ")
        return found | {"properties": properties, "description": first}


def _without_title(item: Mapping[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in item.items() if key != "title"}


def _figure(
    model: type[FigureBase], properties: dict[str, Any], found: dict[str, Any]
) -> tuple[dict[str, Any], dict[str, Any]]:
    """Give a figure's table as it is written: by its shape where it names one, by its keys alone elsewhere."""
    needed = [name for name in found.get("required", []) if name != "kind"]
    others = {name: item for name, item in properties.items() if name != "kind"}
    if not model.named:
        return others, found | {"required": needed}
    return {"shape": {"const": model.named}, **others}, found | {"required": ["shape", *needed]}


def attributes_told(of: type) -> dict[str, str]:
    """Give what the docstrings of a class and of those it is made from say about each key."""
    told: dict[str, str] = {}
    for one in reversed(of.__mro__):
        _, _, listed = cleandoc(one.__doc__ or "").partition("Attributes\n----------\n")
        names: list[str] = []
        for line in listed.splitlines():
            if match := _SAID.fullmatch(line):
                names = match["names"].split(", ")
                told |= dict.fromkeys(names, "")
            elif line.startswith("    "):
                told |= {name: f"{told[name]} {line.strip()}".strip() for name in names}
            elif line.strip():
                break
    return {name: words for name, words in told.items() if words}


@cache
def build_schema() -> dict[str, Any]:
    """Give the JSON Schema (draft 2020-12) of ``build.toml``.

    Dates are told as text in the form of RFC 3339, as validators see TOML's own.
    """
    found = Build.model_json_schema(schema_generator=_AsFile)
    figures: list[Any] = []
    whole = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **_with_references(found, figures),
        "title": "A build file",
    }
    described = {"description": "An uncertain figure: a number where it is known, else its range."}
    whole["$defs"]["Figure"] = described | {"anyOf": figures[0]}
    return whole


def _with_references(node: Any, figures: list[Any]) -> Any:
    """Put one reference for each figure that is spelt out, and note what they all are."""
    if isinstance(node, list):
        return [_with_references(item, figures) for item in node]
    if not isinstance(node, dict):
        return node
    if _FIGURE in node or node.get("$ref") == _REFERENCE:
        figures += [node["anyOf"]] if _FIGURE in node else []
        said = {key: item for key, item in node.items() if key == "description"}
        return {"$ref": _REFERENCE, **said}
    return {_LIMITS.get(key, key): _with_references(item, figures) for key, item in node.items()}


def schema_text() -> str:
    """Give the schema as it is written to a file."""
    return json.dumps(build_schema(), ensure_ascii=False, indent=1) + "\n"


__all__ = ["FILE_NAME", "LINE", "attributes_told", "build_schema", "schema_text"]
