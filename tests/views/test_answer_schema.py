"""What every command answers with ``--json`` is what its schema says, for a validator from outside."""

from __future__ import annotations

import io
import json
import re
import shlex
import shutil
import subprocess
import sys
from collections import defaultdict
from collections.abc import Iterator, Mapping
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from forecast.buildfile.toml_schema import build_schema
from forecast.views.answer_schema import answer_schema, answer_type, answering
from forecast.views.cli import build_parser, main
from tests.ledger.papers.invoices import UBL, written

ROOT = Path(__file__).parents[2]
PARSER = build_parser()
COMMANDS = [words for words, _ in answering(PARSER)]
SCHEMAS = {words: answer_schema(PARSER, words) for words in COMMANDS}

CHOICES = """
[[option]]
id = "lip_nearby"
choice = "lip"
name = "Lip from a maker nearby"
override = { tail_lip = { amount = { low = 300, middle = 340, high = 420 } } }
[[option]]
id = "lip_abroad"
choice = "lip"
name = "Lip from abroad"
[[option.event]]
id = "no_show"
name = "The seller never delivers"
chance = 0.05
cost = 250
[[measure]]
id = "trial_fit"
name = "A trial fit"
cost = 150
chances = { poor_fit = 0.1 }
"""
"""What no demo has: options of a choice, and a measure. Invented."""

FILES = {
    "answers.toml": 'country = "IE"\norigin = "JP"\nkit_price = { low = 180000, high = 320000 }\n',
    "bank.csv": "Date,Payee,Amount\n2026-05-04,Shop,-12.50\n2026-05-05,Other,-7.00\n",
    "broken.toml": '[build]\nname = 3\ncurency = "EUR"\n',
    "list.csv": "name,group,low,middle,high,quantity,unit,price\nGlue,consumables,10,20,40,,,\nTape,,,,,3,each,4\n",
    "small.toml": '[build]\nname = "x"\ncurrency = "EUR"\ncountry = "IE"\n[[line]]\nid = "paint"\ngroup = "finish"\n'
    "amount = { low = 199, middle = 200, high = 201 }\n",
    "statement.csv": "label,amount,kind\nA,20,\nB,30,\nTotal,55,total\n",
}
"""Invented."""

RUNS = """
schema
schema budget
new made --questions
new made --answers answers.toml
demo
demo half-way-new-zealand
check made
check order
check sea
check half
check broken.toml
budget order --trials 256
budget sea --trials 256
budget small.toml --trials stable --within 250
budget half --trials 256
advise choice --trials 256
advise half --trials 256 --short 100 --idle 20
compare order --trials 256
compare half --trials 256
afford order --trials 256 --money 30000
afford order --trials 256 --money 30000 --figure kit_panels.amount
mix half --trials 256
mix choice --trials 256 --money 1
quotes order --trials 256
quotes choice --trials 256
landed IE 1850
landed GB "65 000 THB" --from Thailand --freight 400 --figure vat=20%
open order
open sea
open sea kit
open sea kit.duty
open order filler
open order transit_damage
watch order --trials 256
watch half --trials 256
moved half
history order
history half --by receipt
earned half
earned order
receipts order
receipts half
receipt list half --voided
agreed half
left half
left half filler
restore order
verify order
receipt load half
receipt load half
verify half
add order other_transport
add choice fire_extinguisher
not-needed order clips_trims --why "bought with the kit"
cautions-read order
cautions-read order --none
add-lines order list.csv
add-lines order list.csv --enter
undo order --look
freeze order --trials 256 --budget 30000
receipt add order --amount 50 --supplier shop --line filler --sure
receipt add order --amount 160 --supplier shop --line filler=10 --line primer=150 --all=primer --more-to-come=filler
receipt add order --amount 100 --currency USD --charged 92 --supplier shop --line tail_lip --sure
receipt void order 2 --why wrong
receipt attach order 1 bill.xml
receipt read order bill.xml
receipt import order bank.csv
receipt import order bank.csv --row 2=primer --enter
receipt export order out.csv
receipt import made out.csv
receipt list order --voided
close order filler
close order --looking-settled
reopen order filler
happened order poor_fit
cannot-happen order transit_damage
cannot-happen order transit_damage --withdraw
agreed order
agreed order paint_shop --amount 5000 --supplier painter --sure
left order filler 20
left order
quotes order wheels --take 189 --supplier dealer
quotes choice lip --take lip_nearby
quotes choice
statement order statement.csv
statement order statement.csv --total 60
undo order --look
undo order
backup order copy.zip
restore order
restore order copy.zip
verify order
finish order --sure
watch order --trials 256
advise order --trials 256
compare order --trials 256
quotes order --trials 256
mix order --trials 256
afford order --trials 256 --money 30000
history order
moved order
"""
"""In the order of a build, each with ``--json``: before the first entry, with receipts, at the end."""


def called(words: list[str]) -> str:
    """Give the command in what was typed."""
    return next(name for name in (" ".join(words[:2]), words[0]) if name in COMMANDS)


@pytest.fixture(scope="module")
def answers(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Mapping[str, list[tuple[str, Any]]]]:
    """What each command answers, beside what was typed."""
    place = tmp_path_factory.mktemp("answers")
    for name, demo in (
        ("order", "before-ordering-ireland"), ("choice", "before-ordering-ireland"), ("sea", "by-sea-poland"),
        ("half", "half-way-new-zealand"),
    ):  # fmt: skip
        shutil.copytree(ROOT / "scenarios" / demo, place / name)
    with (place / "choice" / "build.toml").open("a", encoding="utf-8") as file:
        file.write(CHOICES)
    for name, text in FILES.items():
        (place / name).write_text(text, encoding="utf-8")
    (place / "bill.xml").write_bytes(written(UBL))
    found: dict[str, list[tuple[str, Any]]] = defaultdict(list)
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("FORECAST_HOME", str(place / "home"))
        patch.chdir(place)
        for line in RUNS.strip().splitlines():
            words, said, told = shlex.split(line), io.StringIO(), io.StringIO()
            with redirect_stdout(said), redirect_stderr(told):
                code = main([*words, "--json"])
            assert code in (0, 1), f"{line}: {told.getvalue()}"
            found[called(words)].append((line, json.loads(said.getvalue())))
        yield found


def said_wrongly(words: str, data: Any) -> list[str]:
    validator = jsonschema.Draft202012Validator(
        SCHEMAS[words], format_checker=jsonschema.Draft202012Validator.FORMAT_CHECKER
    )
    return [f"{error.json_path}: {error.message}" for error in validator.iter_errors(data)]


def nodes(node: Any) -> Iterator[dict[str, Any]]:
    if isinstance(node, dict):
        yield node
    for item in node.values() if isinstance(node, dict) else node if isinstance(node, list) else ():
        yield from nodes(item)


def keys(schema: Any) -> Iterator[tuple[str, dict[str, Any]]]:
    """Give each key of each shape, with what may stand under it."""
    for node in nodes(schema):
        if node.get("type") == "object":
            yield from node.get("properties", {}).items()


def ways(shape: dict[str, Any]) -> list[dict[str, Any]]:
    """Give what a shape may be, null apart."""
    return [way for way in shape.get("anyOf", [shape]) if way.get("type") != "null"]


@pytest.mark.parametrize("words", COMMANDS)
def test_every_command_answers_as_its_schema_says(
    words: str, answers: Mapping[str, list[tuple[str, Any]]]
) -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMAS[words])
    assert answers[words], "no run of this command stands in the list above"
    for line, data in answers[words]:
        assert not said_wrongly(words, data), line


@pytest.mark.parametrize("words", [words for words in COMMANDS if words != "schema"])
def test_a_key_more_or_less_is_no_such_answer(
    words: str, answers: Mapping[str, list[tuple[str, Any]]]
) -> None:
    _, data = answers[words][-1]
    assert said_wrongly(words, data | {"another": 1})
    first = next(iter(data))
    assert said_wrongly(words, {key: item for key, item in data.items() if key != first})


def test_every_percentile_and_chance_is_the_one_figure() -> None:
    found = [
        (words, key, ways(shape))
        for words, schema in SCHEMAS.items()
        for key, shape in keys(schema)
        if re.fullmatch(r"P\d+(\.\d+)?|chance(_\w+)?", key)
    ]
    assert len(found) > 50
    named = {"$ref": "#/$defs/figure"}
    others = [
        (words, key)
        for words, key, shapes in found
        if [{"$ref": shape.get("$ref")} for shape in shapes] != [named]
    ]
    assert not others
    (figure,) = {
        json.dumps(schema["$defs"]["figure"], sort_keys=True)
        for schema in SCHEMAS.values()
        if "figure" in schema.get("$defs", {})
    }
    assert json.loads(figure)["required"] == ["value", "standard_error"]


def test_one_shape_has_one_definition_in_all_answers_and_its_keys_are_fixed() -> None:
    defined: dict[str, Any] = {}
    for words, schema in SCHEMAS.items():
        for name, shape in schema["$defs"].items():
            assert defined.setdefault(name, shape) == shape, f"{words}: {name}"
            assert shape["additionalProperties"] is False
            assert set(shape["required"]) <= shape["properties"].keys()
            assert shape["description"].endswith("."), f"{words}: {name}"
    same: dict[str, list[str]] = defaultdict(list)
    for name, shape in defined.items():
        bare = {key: {**item, "description": ""} for key, item in shape["properties"].items()}
        same[json.dumps(bare, sort_keys=True)].append(name)
    assert not [names for names in same.values() if len(names) > 1]


def test_what_was_entered_is_whole_minor_units() -> None:
    found = [
        (words, key, ways(shape))
        for words, schema in SCHEMAS.items()
        for key, shape in keys(schema)
        if key.endswith("_minor")
    ]
    assert len(found) > 10
    assert not [
        (words, key) for words, key, shapes in found if [shape["type"] for shape in shapes] != ["integer"]
    ]


def test_a_command_may_be_named_in_one_word_or_in_several(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["schema", "receipt", "add"]) == 0
    several = capsys.readouterr().out
    assert main(["schema", "receipt add"]) == 0
    assert json.loads(several) == json.loads(capsys.readouterr().out) == SCHEMAS["receipt add"]
    assert main(["schema"]) == 0
    assert json.loads(capsys.readouterr().out) == build_schema()


@pytest.mark.parametrize("words", ["recepts", "receipt", "app"])
def test_what_answers_nothing_is_refused_and_all_that_do_are_named(
    words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["schema", words]) == 2
    told = capsys.readouterr().err
    assert f"no command '{words}' answers with --json" in told
    assert all(name in told for name in COMMANDS)


def test_a_command_that_does_not_say_what_it_answers_is_a_mistake() -> None:
    def run(options: object) -> int:
        return 0

    with pytest.raises(TypeError, match="does not say what it answers with"):
        answer_type(run)


def test_no_command_loads_what_only_its_schema_needs() -> None:
    code = (
        "import sys, forecast.views.commands as _; "
        "print(*(name for name in sys.modules if name.startswith(('forecast.views.answer_schema', "
        "'forecast.views.answers', 'pydantic'))))"
    )
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT)
    assert not told.stdout.strip()
