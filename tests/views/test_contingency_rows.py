"""Rows of a contingency add up as they are written, and none without a name hides what is larger than those named."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from forecast.buildfile.reader import read_build
from forecast.decide.contingency import Contingency, Share, contingency
from forecast.engine.forecast import simulate
from forecast.engine.statistics import Estimate
from forecast.start import create_build, read_answers
from forecast.views.cli import main
from forecast.views.contingency_words import FEWEST, MOST, share_rows, split_rows

ANSWERS = {
    "panels": ["front", "rear", "skirts", "arches", "spoiler"], "filling": "self", "paint": "shop",
    "car_state": "worn", "first_build": True,
}  # fmt: skip


def amount(written: str) -> int:
    found = int(re.sub(r"[^0-9]", "", written))
    return -found if written.startswith("\u2212") else found


def made(*sums: float) -> Contingency:
    nothing = Estimate(0.0, 0.0)
    shares = tuple(
        Share(
            f"line{place}", f"Line {place}", "line", 0.0, Estimate(sum_, 0.0), "kit" if place % 2 else "other"
        )
        for place, sum_ in enumerate(sums)
    )
    groups = tuple(Share(name, name.capitalize(), "group", 0.0, nothing) for name in ("kit", "other"))
    whole = Estimate(sum(sums), 0.0)
    return Contingency(
        "EUR", 0.0, nothing, nothing, nothing, nothing, 0.8, whole, whole, None, shares, groups, (), ()
    )


@pytest.mark.parametrize("country", [("NL", "GB"), ("US", "JP"), ("NZ", "JP")])
def test_the_rows_of_a_guided_build_add_up_and_hide_nothing_large(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], country: tuple[str, str]
) -> None:
    """Measured before: "87 others" of ten times the largest named row."""
    answers = read_answers(ANSWERS | dict(zip(("country", "origin"), country, strict=True)))
    file = create_build(tmp_path / "guided", answers)
    found = contingency(simulate(read_build(file)))
    rows = split_rows(found)
    for split in (found.causes, found.groups, found.lines):  # £9,290 above, £9,300 here, and shares of £9,270
        shares = share_rows(found, split)
        assert shares[-1] == rows[-1]
        assert sum(amount(written) for _, written in shares[:-1]) == amount(shares[-1][1])
        for share, (_, written) in zip(split, shares[:-1], strict=True):
            assert abs(amount(written) - share.amount.value) <= 20
    assert sum(amount(row[1]) for row in rows[:-1]) == amount(rows[-1][1])
    unnamed = [amount(written) for title, written in rows if re.search(r"\d+ others?$|1 other$", title)]
    named = [amount(written) for title, written in rows[:-1] if not re.search(r"\d+ others?$", title)]
    assert FEWEST <= len(named) <= MOST
    assert sum(named) >= 0.7 * amount(rows[-1][1])
    assert max(unnamed) < named[0]
    assert main(["advise", str(file), "--trials", "1024"]) == 0
    assert "others" in capsys.readouterr().out


def test_a_rest_smaller_than_each_named_row_is_one_row() -> None:
    rows = split_rows(made(*(100.0 - place for place in range(10)), 14.0, 9.0, 4.0))
    assert rows[10] == ("3 others", "+€20")
    assert rows[-1] == ("Contingency", "+€980")
    assert sum(amount(written) for _, written in rows[:-1]) == 980


def test_a_larger_rest_is_told_group_by_group() -> None:
    rows = split_rows(made(*(100.0 for _ in range(60))))
    assert len(rows) == MOST + 3
    assert [title for title, _ in rows[-3:]] == ["Other: 18 others", "Kit: 18 others", "Contingency"]
    assert sum(amount(written) for _, written in rows[:-1]) == 6000


def test_few_rows_add_up_too() -> None:
    rows = split_rows(made(14.0, 14.0, 14.0))
    assert rows[-1] == ("Contingency", "+€40")
    assert sum(amount(written) for _, written in rows[:-1]) == 40
