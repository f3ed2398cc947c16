"""Exchange rates from the day of the rate to payments on dates."""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np
import pytest

from forecast.buildfile.reader import parse_build
from forecast.engine.plan import compile_plan
from forecast.engine.trials import Trials, run
from forecast.errors import RuleError
from forecast.figures.formula import Input, walk
from forecast.figures.kinds import Known
from forecast.trade.currency import CurrencyPath
from forecast.trade.exact import placeholders

HEAD = """
[build]
name = "Dates"
currency = "EUR"
country = "IE"
[currency.JPY]
rate = 0.0057
volatility = 0.1
margin = 2
as_of = 2026-11-25
[[consignment]]
id = "kit"
price = 420000
currency = "JPY"
incoterm = "FOB"
mode = "sea"
freight = 300
"""
DAYS = HEAD + "deposit_days = 9\nbalance_days = 82\ncustoms_days = 132\n"
DATES = HEAD + "deposit_on = 2026-12-04\nbalance_on = 2027-02-15\ncustoms_on = 2027-04-06\n"
ORDERED = HEAD + "order_on = 2026-12-04\ndeposit_days = 0\nbalance_days = 73\ncustoms_days = 123\n"


def trials_of(text: str, on: date | None = None) -> Trials:
    return run(compile_plan(parse_build(text), on=on), 1024)


def path(**changes: Any) -> CurrencyPath:
    return CurrencyPath(**{
        "code": "JPY", "home": "EUR", "rate": Known(value=0.0057), "volatility": 0.1, "days": (9.0, 82.0),
        "as_of": date(2026, 11, 25),
    } | changes)  # fmt: skip


@pytest.mark.parametrize("text", [DATES, ORDERED])
def test_dates_and_days_that_mean_the_same_give_the_same_money(text: str) -> None:
    assert np.array_equal(trials_of(text).totals, trials_of(DAYS).totals)


def test_a_build_with_dates_gives_the_same_on_every_day() -> None:
    first, later = (trials_of(DATES, day).totals for day in (date(2026, 11, 25), date(2027, 3, 1)))
    assert np.array_equal(first, later)


def test_the_rate_moves_the_further_off_the_payment_is() -> None:
    def spread(balance: str) -> float:
        text = DATES.replace("balance_on = 2027-02-15", f"balance_on = {balance}")
        return float(np.std(trials_of(text.replace("2027-04-06", "2028-01-01")).row("kit.goods")))

    assert spread("2026-12-10") < spread("2027-02-15") < spread("2027-11-15")


def test_what_was_paid_before_the_day_of_the_rate_is_taken_at_the_rate() -> None:
    text = HEAD + "deposit_on = 2026-10-01\nbalance_on = 2026-11-01\ncustoms_on = 2026-11-20\n"
    assert trials_of(text).row("kit.goods") == pytest.approx(420_000 * 0.0057)


def test_a_date_reads_the_steps_up_to_it() -> None:
    read = {node.id for node in walk(path().rate_at(date(2026, 12, 4))) if isinstance(node, Input)}

    assert read == {"fx.JPY.rate", "fx.JPY.9d"}
    assert path().day_of(date(2026, 11, 20)) == -5
    assert path().rate_at(date(2026, 11, 20)) == Input("fx.JPY.rate")


def test_a_rate_without_a_day_cannot_be_taken_to_a_date() -> None:
    with pytest.raises(RuleError, match="its rate has no day"):
        path(as_of=None).rate_at(date(2026, 12, 4))


def test_the_working_names_the_date() -> None:
    plan = compile_plan(parse_build(DATES))
    goods = next(row for row in plan.rows if row.id == "kit.goods")
    names = {stage.id: stage.name for expansion in plan.consignments for stage in expansion.stages}

    rates = [names[name] for name in placeholders(goods.working) if name in names]
    assert rates == ["EUR for one JPY on 4 December 2026", "EUR for one JPY on 15 February 2027"]
