"""A figure reads the same in whichever answer it stands: each percentile is rounded by its own simulation error."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from forecast.ledger.folder import BuildFolder
from forecast.views.cli import main
from forecast.watching.reforecast import reforecast
from forecast.words.money import rounding_step

LEVELS = ("P10", "P50", "P80", "P90")
BUILD = """
[build]
name = "Box-arch coupe, invented"
currency = "EUR"
country = "IE"
budget = 90000

[[line]]
id = "kit"
group = "kit"
amount = { low = 8000, middle = 20000, high = 52000 }

[[line]]
id = "paint"
group = "finish"
amount = { low = 2000, middle = 6000, high = 20000 }
"""


def test_watch_moved_and_history_say_the_same_of_each_percentile(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "build.toml").write_text(BUILD, encoding="utf-8")
    folder = BuildFolder.at(tmp_path)
    add = ("receipt", "add", str(tmp_path), "--amount", "500", "--supplier", "A shop", "--line", "paint")
    assert main([*add, "--date", "2026-05-02", "--more-to-come"]) == 0
    now = reforecast(folder.read(), folder.ledger())
    steps = [rounding_step("EUR", found.error) for found in now.percentile_set((0.5, 0.8, 0.9))]
    assert len(set(steps)) > 1, "the build no longer has percentiles that are rounded differently"
    told = {}
    for command in ("watch", "history", "moved"):
        capsys.readouterr()
        assert main([command, str(tmp_path)]) == 0
        told[command] = capsys.readouterr().out
    rows = {name: re.search(rf"^{name} +(€[\d,]+) +(€[\d,]+)", told["watch"], re.M) for name in LEVELS}
    before, after = ([rows[name].group(place) for name in LEVELS] for place in (1, 2))  # type: ignore[union-attr]
    first, last = (
        re.findall(r"€[\d,]+", line)[1:5] for line in told["history"].splitlines() if line.startswith("2026-")
    )
    assert (first, last) == (before, after)
    start, end = (
        re.search(rf"^At the {word} +(€[\d,]+) +(€[\d,]+)", told["moved"], re.M) for word in ("start", "end")
    )
    assert start is not None
    assert end is not None
    assert list(start.groups()) == before[1:3]
    assert list(end.groups()) == after[1:3]


def test_a_sum_below_zero_is_told_how_to_enter_it_as_a_refund(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "build.toml").write_text(BUILD, encoding="utf-8")
    add = ("receipt", "add", str(tmp_path), "--supplier", "A shop", "--line", "paint", "--amount")
    assert main([*add, "-150"]) == 2
    assert (
        "amount is -150.00 EUR. If it came back, enter 150.00 EUR as a refund: --refund"
        in capsys.readouterr().err
    )
