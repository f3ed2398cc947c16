"""The JSON Schema of a build file, by an outside validator: it takes what the program takes, and no seeded mistake."""

from __future__ import annotations

import datetime as dt
import json
import tomllib
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from forecast.buildfile.reader import parse_build
from forecast.buildfile.toml_schema import FILE_NAME, LINE, build_schema
from forecast.errors import BuildFileError
from forecast.figures.figure import FIGURE_KINDS
from forecast.start import create_build, read_answers
from forecast.views.cli import main

SCENARIOS = Path(__file__).parents[2] / "scenarios"
VALIDATOR = jsonschema.Draft202012Validator(build_schema())


def as_validators_see_it(value: Any) -> Any:
    """Give dates as text: JSON has none, and editors hand TOML's to a validator so."""
    if isinstance(value, dict):
        return {key: as_validators_see_it(item) for key, item in value.items()}
    if isinstance(value, list):
        return [as_validators_see_it(item) for item in value]
    return value.isoformat() if isinstance(value, dt.date) else value


def complaints(text: str) -> list[str]:
    raw = as_validators_see_it(tomllib.loads(text))
    return [f"{list(error.absolute_path)}: {error.message}" for error in VALIDATOR.iter_errors(raw)]


def test_it_is_a_schema() -> None:
    jsonschema.Draft202012Validator.check_schema(build_schema())


@pytest.mark.parametrize("name", sorted(path.parent.name for path in SCENARIOS.glob("*/build.toml")))
def test_it_takes_the_demos(name: str) -> None:
    assert not complaints((SCENARIOS / name / "build.toml").read_text(encoding="utf-8"))


HEAD = '[build]\nname = "Coupe"\ncurrency = "EUR"\ncountry = "IE"\n'
LINES = '[[line]]\nid = "kit"\ngroup = "kit"\n'
LEGAL = [
    "amount = 12", "amount = { value = 12 }", "amount = { low = 1, middle = 2, high = 3 }",
    "amount = { low = 1, high = 3 }",
    "amount = { quotes = [410, 455] }", 'amount = { shape = "triangular", min = 1, mode = 2, max = 3 }',
    'amount = { shape = "lognormal", p10 = 1, p90 = 3 }', 'amount = { shape = "lognormal", median = 1, sigma = 0.3 }',
    'amount = { shape = "metalog", p10 = 1, p50 = 2, p90 = 4, lower = 0 }',
    'amount = { shape = "discrete", values = [1, 2], chances = [0.5, 0.5] }',
    'amount = { low = 1, high = 3, causes = { fit = "strong" } }', 'hazards = ["spraying"]\namount = 3',
    'takeoff = { kind = "film", pieces = [{ length = 1, width = 400 }], roll_width = { value = 60, unit = "in" } }\n'
    "price = 9",
]  # fmt: skip


@pytest.mark.parametrize("text", LEGAL)
def test_it_takes_every_form_that_the_program_reads(text: str) -> None:
    cause = '[[cause]]\nid = "fit"\n'
    assert not complaints(HEAD + cause + LINES + text)
    parse_build(HEAD + cause + LINES + text)


def test_every_shape_is_among_the_forms() -> None:
    named = {item.get("$ref", "").rpartition("/")[2] for item in build_schema()["$defs"]["Figure"]["anyOf"]}
    assert {model.__name__ for model in FIGURE_KINDS.values()} <= named


MISTAKES = {
    "a key of a line that there is not": HEAD + LINES + "amont = 12",
    "no [build]": LINES + "amount = 12",
    "a table that there is not": HEAD + "[[lines]]\nid = 'kit'\n",
    "a group that there is not": HEAD + '[[line]]\nid = "kit"\ngroup = "bodykit"\namount = 3',
    "a line without an id": HEAD + '[[line]]\ngroup = "kit"\namount = 3',
    "an id with a blank": HEAD + '[[line]]\nid = "the kit"\ngroup = "kit"\namount = 3',
    "an amount in quotes": HEAD + LINES + 'amount = "12"',
    "a misspelt middle": HEAD + LINES + "amount = { low = 1, midle = 2, high = 3 }",
    "a low alone": HEAD + LINES + "amount = { low = 1 }",
    "no quotes": HEAD + LINES + "amount = { quotes = [] }",
    "a shape that there is not": HEAD + LINES + 'amount = { shape = "triangle", min = 1, mode = 2, max = 3 }',
    "a shape without its mode": HEAD + LINES + 'amount = { shape = "triangular", min = 1, max = 3 }',
    "a strength that there is not": HEAD + LINES + 'amount = { low = 1, high = 3, causes = { fit = "huge" } }',
    "a loading of 1": HEAD + LINES + "amount = { low = 1, high = 3, causes = { fit = 1 } }",
    "a chance over 1": HEAD + LINES + "amount = 3\nchance = 15",
    "an event without a chance": HEAD + '[[event]]\nid = "damage"\ncost = 3',
    "a currency in small letters": HEAD.replace("EUR", "eur"),
    "a country that there is not": HEAD.replace('"IE"', '"XQ"'),
    "yes for true": HEAD + LINES + 'amount = 3\noptional = "yes"',
    "a hazard that there is not": HEAD + LINES + 'amount = 3\nhazards = ["fumes"]',
    "a take-off that there is not": HEAD + LINES + 'takeoff = { kind = "putty", area = 2 }\nprice = 3',
    "one table in single brackets": HEAD + '[line]\nid = "kit"\ngroup = "kit"\namount = 3',
    "a route that is a number": HEAD + "[scenario.diy]\npaint = 3",
    "a currency without its rate": HEAD + "[currency.JPY]\nvolatility = 0.1",
    "a day that is none": HEAD + '[currency.JPY]\nrate = 0.006\nas_of = 3',
}  # fmt: skip


@pytest.mark.parametrize("text", MISTAKES.values(), ids=MISTAKES)
def test_it_takes_no_seeded_mistake(text: str) -> None:
    with pytest.raises(BuildFileError):
        parse_build(text)
    assert complaints(text)


def test_without_the_mistakes_nothing_is_wrong() -> None:
    assert len(MISTAKES) >= 20
    assert not complaints(HEAD)


def test_keys_are_explained() -> None:
    line = build_schema()["$defs"]["Line"]["properties"]
    assert line["supplier"]["description"] == "Where it is bought."
    assert line["own_hours"]["description"] == "Hours of own work that it takes."


def test_a_new_build_names_its_schema(tmp_path: Path) -> None:
    answers = tmp_path / "answers.toml"
    answers.write_text('country = "IE"\norigin = "JP"\n', encoding="utf-8")
    file = create_build(tmp_path / "build", read_answers(answers))
    text = file.read_text(encoding="utf-8")
    assert text.splitlines()[0] == LINE
    assert json.loads((file.parent / FILE_NAME).read_text(encoding="utf-8")) == build_schema()
    assert not complaints(text)


def test_the_command_prints_it(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["schema"]) == 0
    assert json.loads(capsys.readouterr().out) == build_schema()
