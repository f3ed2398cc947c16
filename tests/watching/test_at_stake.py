"""What is at stake in what wants attention, against sums that can be done by hand."""

from __future__ import annotations

from pathlib import Path

import pytest
from scipy.stats import lognorm

from forecast.buildfile.reader import parse_build
from forecast.engine.forecast import simulate
from forecast.ledger.folder import BuildFolder
from forecast.watching.at_stake import beyond_high, missing_on_average, still_counted
from forecast.watching.reforecast import reforecast
from tests.dashboard.test_settling import pay

ONE = """
[build]
name = "One line"
currency = "EUR"
country = "IE"

[[line]]
id = "kit"
group = "kit"
amount = { shape = "lognormal", median = 1000, sigma = 0.4 }
"""


@pytest.mark.parametrize("budget", [700.0, 1000.0, 1600.0])
def test_what_a_budget_lacks_is_the_closed_form_of_one_lognormal_line(budget: float) -> None:
    found = simulate(parse_build(ONE))
    exact = lognorm(0.4, scale=1000.0).expect(lambda total: total - budget, lb=budget)
    assert missing_on_average(found, budget) == pytest.approx(exact, rel=0.02)


def test_what_is_still_counted_is_what_the_forecast_falls_by_once_it_is_closed(tmp_path: Path) -> None:
    (tmp_path / "build.toml").write_text(ONE, encoding="utf-8")
    folder = BuildFolder.at(tmp_path)
    pay(folder.ledger(), "kit", 80_000)
    folder.ledger().expect_more("kit")
    watch = reforecast(folder.read(), folder.ledger())
    counted = still_counted(watch, ["kit"])
    assert counted > 0
    assert still_counted(watch, []) == 0
    folder.ledger().close_line("kit")
    closed = reforecast(folder.read(), folder.ledger())
    assert watch.mean.value - closed.mean.value == pytest.approx(counted)
    assert still_counted(closed, ["kit"]) == 0


def test_a_line_is_beyond_its_high_by_what_was_paid_over_it(tmp_path: Path) -> None:
    (tmp_path / "build.toml").write_text(ONE, encoding="utf-8")
    folder = BuildFolder.at(tmp_path)
    pay(folder.ledger(), "kit", 300_000)
    (line,) = reforecast(folder.read(), folder.ledger()).lines
    assert beyond_high(line) == pytest.approx(3000 - lognorm(0.4, scale=1000.0).ppf(0.9), rel=0.01)
