"""Contingency in words and in columns that add up as they are written."""

from __future__ import annotations

from pathlib import Path

import pytest

from forecast.build.buildfile import parse_build
from forecast.build.schema import Build
from forecast.spending.ledger import Ledger
from forecast.spending.reforecast import Reforecast, reforecast
from forecast.views.watching import (
    bought_sentence,
    columns,
    contingency_sentence,
    further,
    overrun_sentence,
    trials_sentence,
)

TEXT = """\
[build]
name = "x"
currency = "EUR"
country = "IE"
{}
[[line]]
id = "kit"
group = "kit"
amount = {{ low = 800, middle = 1004, high = 1500 }}
[[line]]
id = "filler"
group = "consumables"
amount = {{ low = 300, middle = 604, high = 900 }}
"""


def watch(tmp_path: Path, budget: int | None, paid: int = 90_400) -> Reforecast:
    build: Build = parse_build(TEXT.format("" if budget is None else f"budget = {budget}"))
    ledger = Ledger(tmp_path / f"{budget}-{paid}.db", currency="EUR")
    ledger.add_receipt("2026-05-02", "somebody", paid, "EUR", [("kit", paid)])
    ledger.close_line("kit", "2026-05-02")
    return reforecast(build, ledger, trials=2048)


@pytest.mark.parametrize("budget", [1_000, 1_555, 5_000, None])
def test_the_parts_of_each_column_add_up_as_they_are_written(tmp_path: Path, budget: int | None) -> None:
    found = columns(watch(tmp_path, budget))
    names = [column.name for column in found]
    assert names == (["P80", "P90"] if budget is None else ["Your budget", "P80", "P90"])
    for column in found:
        assert column.paid == 904
        assert column.still_open == 606  # 904 + 604 is 1508: 1510 less 904
        assert column.paid + column.still_open + column.contingency == column.total


def test_what_is_missing_is_the_difference_of_what_is_left_and_needed(tmp_path: Path) -> None:
    one = watch(tmp_path, 1_600)
    budget, eight, nine = columns(one)
    text = contingency_sentence(one)
    assert text.startswith("€90 of contingency is left; to be enough in 80 of 100 builds (P80) it takes €")
    assert f"€{eight.contingency - budget.contingency:,.0f} is missing for P80" in text
    assert text.endswith(f", €{nine.contingency - budget.contingency:,.0f} for P90.")


def test_other_standings_of_the_budget(tmp_path: Path) -> None:
    assert "That is enough for both." in contingency_sentence(watch(tmp_path, 9_000))
    assert contingency_sentence(watch(tmp_path, 1_400)).startswith(
        "No contingency is left: the middle figures alone are €110 over your budget;"
    )
    none = watch(tmp_path, None)
    assert contingency_sentence(none).startswith("Beyond what is paid and the middle figures")
    assert (overrun_sentence(none), bought_sentence(none)) == ("", "")
    assert overrun_sentence(watch(tmp_path, 90_000)) == ""


def test_what_a_further_sum_buys_and_how_sure_the_figures_are(tmp_path: Path) -> None:
    one = watch(tmp_path, 1_600)
    assert further(one) == (100, 500, 1_000, 2_000, 5_000)
    assert bought_sentence(one).startswith("A further €100 in the budget would be enough for ")
    over = one.median_overrun
    assert over is not None
    assert f"(simulation error {over.error:,.0f} EUR)" in overrun_sentence(one)
    assert trials_sentence(one).startswith("2,048 simulated builds, seed 1; simulation error of P80 ")
    assert "sample size" not in trials_sentence(one)
