"""How many lines there are, and how many are closed, is one count on every page and in the terminal."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from forecast.engine.plan import compile_plan
from forecast.ledger.folder import BuildFolder
from forecast.start import create_build, read_answers
from forecast.views.cli import main
from tests.dashboard.conftest import Run, charts, words


def test_pages_and_terminal_count_the_same_lines(
    run: Run, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = create_build(tmp_path / "car", read_answers({"country": "NL", "origin": "GB", "paint": "shop"}))
    folder = BuildFolder.at(file)
    plan = compile_plan(folder.read(), "mixed")
    lines = [row for row in plan.payable if row.kind == "line"]
    costing = len(plan.costing)
    assert 40 < costing < len(lines)  # consignments' own count, lines of own hours alone do not
    ledger = folder.ledger()
    for name, minor in (("kit.goods", 2_000_00), ("waste_disposal", 40_00)):
        ledger.add_receipt("2026-05-02", "A shop", minor, "EUR", [(name, minor)])
        ledger.close_line(name, "2026-05-02")
    (picture,) = charts(run(file, "lines"))
    assert "Body kit, " not in json.loads(picture)["description"]  # it is closed: its range is no question
    assert "from P10 to P90 before any receipt, grouped" in json.loads(picture)["description"]
    (sheet,) = run(file, "lines").dataframe
    beside = dict(zip(sheet.value["Line"], sheet.value["Remarks"], strict=True))
    assert [name for name, word in beside.items() if word == "closed"] == [
        row.title.removesuffix(", landed") for row in lines if row.id in ("kit.goods", "waste_disposal")
    ]
    assert f"Of {costing} lines that cost money, 2 are closed" in words(run(file, "lines")).replace("**", "")
    assert f"2 of {costing} lines are closed" in words(run(file, "receipts")).replace("**", "")
    assert any(f"2 of {costing} lines are closed;" in spec for spec in charts(run(file, "watch")))
    capsys.readouterr()
    assert main(["check", str(folder.folder)]) == 0
    said = capsys.readouterr().out.partition("\n")[0]
    assert f"no mistakes. {costing} lines cost money in “Mixed”, the way that is forecast." in said
    assert f"{len(folder.read().line)} lines" in said.partition("The file has for all ways")[2]
    work = next(row.id for row in lines if row.id not in {one.id for one in plan.costing})
    ledger.close_line(work, "2026-05-03")

    def closed_row() -> str:
        return next(button.label for button in run(file, "receipts").button if button.key == "row-closed")

    assert closed_row().startswith("*▸* **1 more closed line and 1 of own work** `€2,000.00`")
    capsys.readouterr()
    assert main(["finish", str(folder.folder), "--sure"]) == 0
    assert re.search(rf"\b{costing - 2} lines that were open are closed\b", capsys.readouterr().out)
    assert (
        f"**{costing - 1} more closed lines and 1 of own work** " in closed_row()
    )  # more than are shown at once
    assert charts(run(file, "lines")) == []  # nothing is open: no range is left to look at
