"""What programs are told: a percentile, a chance and an error look alike in the answer of every command."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest

from forecast import Estimate
from forecast.views.cli import main
from forecast.views.commands.told import told

ROOT = Path(__file__).parents[2]
FIGURE = {
    "type": "object",
    "properties": {"value": {"type": "number"}, "standard_error": {"type": ["number", "null"], "minimum": 0}},
    "required": ["value", "standard_error"],
    "additionalProperties": False,
}
"""What stands under every percentile and chance, for a validator from outside."""


def items(node: Any, at: str = "") -> Iterator[tuple[str, str, Any]]:
    for key, item in (
        node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
    ):
        yield at, str(key), item
        yield from items(item, f"{at}/{key}")


@pytest.mark.parametrize(
    "words",
    [
        "budget before-ordering-ireland", "budget half-way-new-zealand", "watch half-way-new-zealand",
        "advise before-ordering-ireland --trials 4096", "compare before-ordering-ireland --trials 1024",
        "afford before-ordering-ireland --money 12000", "mix before-ordering-ireland --trials 1024",
        "moved half-way-new-zealand", "history half-way-new-zealand", "open before-ordering-ireland transit_damage",
    ],
)  # fmt: skip
def test_every_percentile_and_chance_has_one_shape(
    words: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    name, demo, *others = words.split()
    monkeypatch.chdir(ROOT)
    assert main([name, f"scenarios/{demo}", *others, "--json"]) == 0
    found = list(items(json.loads(capsys.readouterr().out)))
    figures = [(at, key, item) for at, key, item in found if re.fullmatch(r"P\d\d|chance(_\w+)?", key)]
    assert figures
    for at, key, item in figures:
        if item is not None:
            jsonschema.validate(item, FIGURE | {"title": f"{at}/{key}"})
    assert not [f"{at}/{key}" for at, key, _ in found if re.fullmatch(r"p\d\d|error", key)]


def test_results_are_told_as_json_holds_them() -> None:
    assert told(
        {"p80": Estimate(3.0, 0.5), "chance": 0.2, ("a", "b"): np.arange(2), "chances": (True, None)}
    ) == {
        "P80": {"value": 3.0, "standard_error": 0.5},
        "chance": {"value": 0.2, "standard_error": None},
        "a/b": [0, 1],
        "chances": [True, None],
    }
    assert told(Estimate(1.0, float("nan"))) == {"value": 1.0, "standard_error": None}
