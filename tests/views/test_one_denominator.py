"""Chances are told of 100 wherever they are told, so that any two can be compared at a glance.

Trevena et al. (2013), Presenting quantitative information about decision outcomes: one denominator, and never 1 in x.
"""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

from forecast.ledger.folder import open_demo
from forecast.views.cli import main

ROOT = Path(__file__).parents[2]
OTHER = re.compile(
    r"\b\d[\d,]* (?:of|in|out of) (?!100\b)\d[\d,]* (?:builds?|such|times|people)\b|\b1 (?:build )?in \d|\b\d of 10\b"
)
COMMANDS = ("budget", "watch", "compare", "advise", "mix", "history", "moved", "check", "quotes", "earned")


@pytest.mark.parametrize("demo", ["before-ordering-ireland", "half-way-new-zealand"])
@pytest.mark.parametrize("command", COMMANDS)
def test_a_command_has_one_denominator(
    demo: str,
    command: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setenv("FORECAST_HOME", str(tmp_path))
    folder = open_demo(demo)
    if folder.not_entered() is not None:
        folder.load()
    main([command, str(folder.folder)])
    told = capsys.readouterr().out
    assert OTHER.findall(told) == []


def test_no_text_of_the_product_has_another_one() -> None:
    found = []
    for file in sorted((ROOT / "forecast").rglob("*.py")):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str) and OTHER.search(node.value):
                found.append(f"{file.name} {node.lineno}: {OTHER.search(node.value)}")
    assert found == []


def test_what_is_looked_for_is_found() -> None:
    for text in ("in 8 of 10 it is", "1 build in 9", "3 of 4 builds", "1 in 20"):
        assert OTHER.search(text)
    for text in ("in 80 of 100 builds", "12 of 40 lines", "0.5 of 100 builds"):
        assert not OTHER.search(text)
