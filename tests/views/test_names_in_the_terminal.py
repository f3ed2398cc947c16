"""Text is text in the terminal too: no name, note, supplier or file moves the cursor, colours, or begins a line."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import unicodedata
from pathlib import Path

import pytest

from forecast.views.cli import main
from forecast.views.commands.common import typed

ROOT = Path(__file__).parents[2]
HOSTILE = r"\u001b[2J\u001b]0;owned\u0007\nforecast: all is well\r\u202egnp \u009b1m\u0008\ttab"
RAW = json.loads(f'"{HOSTILE}"')
COMMANDS = (
    ["check"], ["budget"], ["advise"], ["compare"], ["mix"], ["quotes"], ["open"], ["receipts"], ["receipt", "list"],
    ["watch"], ["moved"], ["history"], ["earned"], ["verify"], ["afford", "--money", "20000"],
)  # fmt: skip


@pytest.fixture
def hostile(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Path:
    monkeypatch.setenv("FORECAST_HOME", str(tmp_path / "home"))
    folder = tmp_path / "van\x1b[31m\nforecast: all is well"
    shutil.copytree(ROOT / "scenarios" / "half-way-new-zealand", folder)
    keys = r"^(\s*(?:name|note|notice|why|source) = \")((?:[^\"\\]|\\.)*)\""
    text, count = re.subn(
        keys,
        lambda match: f'{match[1]}{match[2]} {HOSTILE}"',
        (folder / "build.toml").read_text(),
        flags=re.MULTILINE,
    )
    assert count > 20
    (folder / "build.toml").write_text(text)
    assert main(["receipt", "load", str(folder)]) == 0
    entry = ["receipt", "add", str(folder), "--line", "consumable_kit", "--amount", "12.50", "--sure"]
    main([*entry, "--supplier", f"shop {RAW}", "--note", f"for {RAW}", "--more-to-come"])
    capsys.readouterr()
    return folder


def acting(text: str) -> list[str]:
    signs = [
        f"U+{ord(sign):04X}" for sign in text if sign != "\n" and unicodedata.category(sign) in ("Cc", "Cs")
    ]
    signs += [f"U+{ord(sign):04X}" for sign in text if sign in "\u202e\u2066"]
    return signs + [line for line in text.splitlines() if line.startswith("forecast: all is well")]


@pytest.mark.parametrize("more", [[], ["--json"]], ids=["words", "json"])
@pytest.mark.parametrize("command", COMMANDS, ids=" ".join)
def test_no_command_lets_a_name_act(
    command: list[str], more: list[str], hostile: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    first = 2 if command[0] == "receipt" else 1
    code = main([*command[:first], str(hostile), *command[first:], *more])
    told = capsys.readouterr()

    assert code in (0, 1, 2)
    assert told.out or told.err
    assert acting(told.out) + acting(told.err) == []


@pytest.mark.parametrize(
    "arguments",
    [
        ["budget", "NOWHERE"], ["budget", "FILE", "--scenario", "NOWHERE"], ["open", "FILE", "NOWHERE"], ["NOWHERE"],
        ["budget", "FILE", "--trials", "NOWHERE"], ["receipt", "import", "FILE", "NOWHERE", "--source", "NOWHERE"],
        ["receipt", "attach", "FILE", "1", "NOWHERE"], ["restore", "FILE", "NOWHERE"], ["add", "FILE", "NOWHERE"],
        ["close", "FILE", "NOWHERE"], ["budget", "FILE", "--NOWHERE"], ["demo", "NOWHERE"],
        ["add-lines", "FILE", "NOWHERE"],
        ["new", "NOWHERE/a/b", "--answers", "NOWHERE"],
        ["receipt", "add", "FILE", "--line", "NOWHERE", "--amount", "NOWHERE"],
    ],
    ids=" ".join,
)  # fmt: skip
def test_no_refusal_lets_what_was_typed_act(
    arguments: list[str], hostile: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    typed = [
        str(hostile) if word == "FILE" else word.replace("NOWHERE", "x\x1b[2J\x9b1m\u202ey")
        for word in arguments
    ]
    try:
        code = main(typed)
    except SystemExit as error:
        code = error.code if isinstance(error.code, int) else 2
    told = capsys.readouterr()

    assert code in (1, 2)
    assert acting(told.err.replace("forecast: all is well", "")) == []


@pytest.mark.skipif(os.name == "nt", reason="another shell")
@pytest.mark.parametrize(
    "name", ["plain", "two words", "it's", "a\nb", "a\x1b[2J", "a\\'\n", "a\udcff", "ä\t"]
)
def test_a_path_as_it_has_to_be_typed_is_that_path_for_the_shell(name: str) -> None:
    shell = shutil.which("bash")
    if shell is None:
        pytest.skip("no bash here")
    said = subprocess.run([shell, "-c", f"printf %s {typed(name)}"], capture_output=True, check=True).stdout

    assert said == os.fsencode(name)
    assert typed(name).isprintable()
