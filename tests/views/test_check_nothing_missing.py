"""A build that the guided start has just written misses nothing, and `check` says so."""

from __future__ import annotations

from pathlib import Path

import pytest

from forecast.buildfile.changes import RemoveItem
from forecast.buildfile.edit import edit_build
from forecast.missing.left_out import NOTHING_MISSING
from forecast.start import create_build, read_answers
from forecast.views.cli import main


def test_a_build_that_misses_nothing_is_told_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = create_build(tmp_path / "guided", read_answers({"country": "GB", "origin": "US"}))
    assert main(["check", str(file)]) == 0
    assert f"\n{NOTHING_MISSING}\n" in capsys.readouterr().out
    edit_build(file, [RemoveItem("fire_extinguisher")])
    assert main(["check", str(file)]) == 0
    assert NOTHING_MISSING not in capsys.readouterr().out
