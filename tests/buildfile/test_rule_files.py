"""Rule files: one file makes a country, and no code knows any of them."""

from __future__ import annotations

import ast
import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Protocol

import pytest

from forecast.buildfile.rulefiles import (
    FURTHER,
    countries,
    country_of,
    groups_of,
    is_meant,
    same_territory,
    unknown_country,
)
from forecast.views.cli import main
from forecast.words.countries import COUNTRIES

PACKAGE = Path(__file__).parents[2] / "forecast"

ICELAND = """\
# All figures are invented for a test.
code = "IS"
name = "Iceland"
currency = "ISK"
region = "Iceland"
shops = "western_europe"
called = ["land of ice"]
tax_name = "import VAT"
tax = "vat"
rate_of_exchange = "Invented."

[customs_value]
parts = ["price", "export", "freight", "insurance"]
words = "price, freight and insurance"
source = "invented"
as_of = 2026-11-26
certainty = "no source"

[tax_base]
parts = ["customs_value", "duty"]
words = "customs value and duty"
source = "invented"
as_of = 2026-11-26
certainty = "no source"

[[figure]]
id = "vat"
label = "VAT"
value = 0.24
unit = "share"
source = "invented"
as_of = 2026-11-26
certainty = "no source"

[[figure]]
id = "duty.8708"
label = "Duty on parts"
low = 0.0
high = 0.10
unit = "share"
source = "invented"
as_of = 2026-11-26
certainty = "no source"

[[additional]]
id = "green"
label = "Green duty"
rate = "duty.8708"
hs = ["8708"]
words = "Invented."
origins = ["JP"]
suggested = true
"""
ANSWERS = 'country = "Land of Ice"\norigin = "JP"\nkit_price = 300000\nrate = 0.77\nshipping = "sea"\n'


def in_a_process_of_its_own(folder: Path, *arguments: str) -> str:
    done = subprocess.run(
        [sys.executable, "-m", "forecast", *arguments],
        capture_output=True, text=True, cwd=folder, timeout=120,
        env={**os.environ, FURTHER: str(folder / "rules"), "FORECAST_HOME": str(folder / "home")},
    )  # fmt: skip
    assert "Traceback" not in done.stderr
    assert done.returncode == 0, done.stderr
    return done.stdout + done.stderr


def forget_all() -> None:
    """Empty every cache of the package: a process reads the rule files once, and here they change within it."""
    for name, module in list(sys.modules.items()):
        if name == "forecast" or name.startswith("forecast."):
            for kept in vars(module).values():
                if hasattr(kept, "cache_clear"):
                    kept.cache_clear()


class Command(Protocol):
    """Runs a command with the folder's rules."""

    def __call__(self, *arguments: str, expect: int = 0) -> str: ...


@pytest.fixture
def forecast(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Iterator[Command]:
    monkeypatch.setenv(FURTHER, str(folder / "rules"))
    monkeypatch.setenv("FORECAST_HOME", str(folder / "home"))
    monkeypatch.chdir(folder)

    def run(*arguments: str, expect: int = 0) -> str:
        forget_all()
        code = main(arguments)
        captured = capsys.readouterr()
        assert code == expect, captured.err
        return captured.out + captured.err

    yield run
    monkeypatch.undo()
    forget_all()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "rules").mkdir()
    (tmp_path / "rules" / "is.toml").write_text(ICELAND, encoding="utf-8")
    (tmp_path / "answers.toml").write_text(ANSWERS, encoding="utf-8")
    return tmp_path


def test_one_file_adds_a_country_to_the_guided_start_the_check_and_the_budget(folder: Path) -> None:
    in_a_process_of_its_own(folder, "new", "car", "--answers", "answers.toml")
    text = (folder / "car" / "build.toml").read_text(encoding="utf-8")
    assert 'country = "IS"' in text
    assert 'currency = "ISK"' in text
    assert 'additional = ["green"]' in text

    told = json.loads(in_a_process_of_its_own(folder, "check", "car", "--json"))
    assert told["problems"] == []
    assert told["rules"][0].startswith(
        "IS, Duty on parts (0 to 10 %) has no source (invented). Look this up first"
    )

    assert "Hold ISK" in in_a_process_of_its_own(folder, "budget", "car", "--trials", "1024")


def test_a_file_stands_in_for_the_one_on_file_with_the_same_code(folder: Path, forecast: Command) -> None:
    shipped = (PACKAGE / "trade" / "rules" / "gb.toml").read_text(encoding="utf-8")
    own = shipped.replace('label = "VAT"\nvalue = 0.20', 'label = "VAT"\nvalue = 0.11')
    assert own != shipped
    (folder / "rules" / "mine.toml").write_text(own, encoding="utf-8")
    (folder / "answers.toml").write_text(
        ANSWERS.replace("Land of Ice", "UK").replace("0.77", "0.0048"), encoding="utf-8"
    )

    forecast("new", "car", "--answers", "answers.toml")

    assert "11 %" in forecast("open", "car", "kit.tax")


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('code = "IS"', "", "code: missing"),
        ('code = "IS"', 'code = "ZZ"', "code: found 'ZZ'. Write the two capital letters of ISO 3166-1"),
        ('currency = "ISK"', 'currency = "KR"', "currency: found 'KR'"),
        ('name = "Iceland"', "name = 7", "name: found 7. Write text in double quotes"),
        ('tax = "vat"', 'tax = "gst"', "there is no figure 'gst'"),
        ('tax = "vat"', 'taxes = "vat"', "unknown key 'taxes'"),
        ('parts = ["customs_value", "duty"]', 'parts = ["customs_value", "dues"]', "parts: found dues, legal"),
        ("value = 0.24", 'value = "24 %"', "vat: low: found '24 %'. Write a number"),
        ("value = 0.24", "", "vat: low is missing"),
        ('rate = "duty.8708"', "", "green: rate is missing"),
        ("suggested = true", 'suggested = "yes"', "green: suggested: found 'yes'. Write true or false"),
        ("as_of = 2026-11-26", 'as_of = "today"', "as_of: found 'today'. Write a date, such as"),
        ('certainty = "no source"', 'certainty = "sure"', "certainty is 'sure', legal are verified"),
        ("[tax_base]", "[tax_base", "line 19"),
        ("[[additional]]", "[additional]", "additional: found {"),
    ],
)  # fmt: skip
def test_a_mistake_in_a_rule_file_is_told_with_its_place(
    folder: Path, forecast: Command, old: str, new: str, told: str
) -> None:
    file = folder / "rules" / "is.toml"
    assert old in ICELAND
    file.write_text(ICELAND.replace(old, new), encoding="utf-8")
    (folder / "car").mkdir()
    (folder / "car" / "build.toml").write_text(
        '[build]\nname = "x"\ncurrency = "ISK"\ncountry = "IS"\n'
        '[[consignment]]\nid = "kit"\nprice = 300000\nincoterm = "FOB"\nmode = "sea"\nfreight = 9000\n',
        encoding="utf-8",
    )

    answer = forecast("check", "car", expect=2)

    assert told in answer
    assert "is.toml (from FORECAST_RULES)" in answer


def test_a_folder_of_rules_that_is_none_is_told(folder: Path, forecast: Command) -> None:
    (folder / "rules" / "is.toml").unlink()
    assert "no file there ends in .toml" in forecast("new", "car", "--answers", "answers.toml", expect=2)
    (folder / "rules").rmdir()
    assert "Name a folder of rule files" in forecast("new", "car", "--answers", "answers.toml", expect=2)


def test_what_is_known_of_a_country_follows_from_its_file() -> None:
    known = countries()
    assert {code for code, item in known.items() if not item.taxed} == {"US"}
    assert {code for code, item in known.items() if item.taxed and not item.tax_on_freight} == {"CA", "ZA"}
    assert "consumption_tax" in known["JP"].tax_names
    assert country_of("BR").taxed  # no rules on file: taxed, on the freight too
    assert country_of("BR").duty_on_freight


def test_the_readme_lists_all_countries() -> None:
    told = " ".join((PACKAGE.parent / "README.md").read_text(encoding="utf-8").split())
    listed = told[told.index("### Countries") : told.index("## From Python")]
    missing = [
        item.name for item in countries().values() if item.union == item.code and item.name not in listed
    ]
    assert missing == []
    assert "all members of the European Union" in listed


def test_a_customs_union_is_one_territory() -> None:
    assert same_territory("IE", "DE")
    assert same_territory("GB", "GB")
    assert not same_territory("IE", "GB")
    assert not same_territory("IE", "BR")
    assert groups_of("DE") == {"DE", "EU"}
    assert is_meant("DE", ["JP", "EU"])
    assert not is_meant("GB", ["JP", "EU"])
    assert not is_meant(None, ["JP", "EU"])
    assert unknown_country().country in countries()


EXAMPLES = {"GB"}
"""In these rooms: the unit of a file's size."""


def test_no_code_names_a_country_in_law() -> None:
    """What holds for one country stands in its rule file; a text that shows how to write one is no such name."""
    rooms = ("figures", "buildfile", "trade", "start", "missing", "engine")
    files = [file for room in rooms for file in (PACKAGE / room).rglob("*.py")]
    found = [
        f"{file.relative_to(PACKAGE)} line {node.lineno}: {node.value!r}"
        for file in files
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8")))
        if isinstance(node, ast.Constant) and node.value in (COUNTRIES | {"EU"}) - EXAMPLES
    ]
    assert len(files) > 80
    assert found == []
