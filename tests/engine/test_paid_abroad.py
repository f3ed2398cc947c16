"""What was paid in foreign money is known in both: the foreign sum, and the rate that it was paid at."""

from __future__ import annotations

import numpy as np
import pytest

from forecast import KnownFacts
from forecast.buildfile.reader import parse_build
from forecast.decide.again import replay_of
from forecast.engine.forecast import Forecast, simulate
from forecast.engine.known import Agreed, Foreign, PartPaid
from forecast.engine.plan import compile_plan
from forecast.watching.reasons import learned_causes
from tests.references.portfolios import EXACTLY

HEAD = f"""
[build]
name = "x"
currency = "EUR"
country = "IE"
estimating = 0.25
{EXACTLY}
[currency.JPY]
rate = {{rate}}
volatility = {{volatility}}
margin = 0
days = 90
"""
RANGE = "{ low = 0.0057, middle = 0.0062, high = 0.0068 }"
PARCEL = """
[[consignment]]
id = "parcel"
incoterm = "FOB"
deposit_days = 9
balance_days = 60
currency = "JPY"
mode = "sea"
deposit = 0.3
price = { low = 500000, middle = 650000, high = 900000 }
freight = { low = 500, middle = 800, high = 1300 }
"""
LINES = """
[[line]]
id = "spares"
group = "kit"
amount = { low = 380000, middle = 450000, high = 600000, currency = "JPY" }
[[line]]
id = "seats"
group = "other"
amount = { shape = "discrete", values = [100000], chances = [1], currency = "JPY" }
[[line]]
id = "paint"
group = "finish"
amount = { low = 700, middle = 1000, high = 1500 }
"""
DUTY, TAX = 0.045, 0.23
"""Of parts of vehicle bodies into the Union, and of Ireland, as in the rule files: what is tested is what follows."""


def text(lines: str, rate: str = "0.0062", volatility: float = 0.0) -> str:
    return HEAD.format(rate=rate, volatility=volatility) + lines


def forecast(build: str, known: KnownFacts | None = None, trials: int = 4096) -> Forecast:
    return simulate(parse_build(build), trials=trials, known=known)


def abroad(row: str, amount: float, yen: float, **more: float) -> KnownFacts:
    return KnownFacts(amounts={row: amount, **more}, foreign={row: Foreign("JPY", yen)})


def check_duty_and_tax(found: Forecast, yen: np.ndarray | float, rate: np.ndarray | float) -> None:
    """Duty on the value of the goods with freight, tax on that with duty and what arrival costs."""
    row = found.trials.row
    value = yen * rate + row("parcel.freight")
    np.testing.assert_allclose(row("parcel.duty"), DUTY * value, rtol=1e-9)
    arrival = ("terminal", "documents", "surcharges", "entry", "delivery", "storage")
    costs = np.sum([row(f"parcel.{name}") for name in arrival], axis=0)
    np.testing.assert_allclose(row("parcel.tax"), TAX * (value + row("parcel.duty") + costs), rtol=1e-9)


@pytest.mark.parametrize("yen", [0.0, -5.0])
def test_a_sum_without_foreign_money_tells_no_rate(yen: float) -> None:
    found = forecast(text(LINES, RANGE), abroad("spares", 2800.0, yen))
    plain = forecast(text(LINES, RANGE), KnownFacts(amounts={"spares": 2800.0}))
    assert np.array_equal(found.trials.totals, plain.trials.totals)


def test_a_parcel_dearer_than_estimated_moves_duty_and_tax_by_their_formula() -> None:
    yen = 7000 / 0.0062
    for known in (abroad("parcel.goods", 7000.0, yen), KnownFacts(amounts={"parcel.goods": 7000.0})):
        found = forecast(text(PARCEL), known)
        assert np.all(found.trials.row("parcel.goods") == 7000)
        check_duty_and_tax(found, yen, 0.0062)


@pytest.mark.parametrize("currency", ["JPY", "EUR"])
def test_the_base_estimate_reckons_duty_and_tax_from_what_was_paid_to_the_cent(currency: str) -> None:
    """On an envelope: the rates of duty and tax on what the goods came to, and freight at its middle."""
    parcel = PARCEL
    if currency == "EUR":
        parcel = PARCEL.replace('currency = "JPY"', "").replace("500000", "3000").replace("650000", "4000")
        parcel = parcel.replace("900000", "6000")
    paid = 4321.87
    found = forecast(text(parcel), KnownFacts(amounts={"parcel.goods": paid}), trials=64)
    base = {line.id.removeprefix("parcel."): line.base for line in found.lines}
    assert base["goods"] == paid
    value = paid + 800
    assert base["duty"] == pytest.approx(DUTY * value, rel=1e-9)
    arrival = sum(
        base[name] for name in ("terminal", "documents", "surcharges", "entry", "delivery", "storage")
    )
    assert base["tax"] == pytest.approx(TAX * (value + base["duty"] + arrival), rel=1e-9)


def test_duty_follows_extras_on_an_agreed_price_and_what_is_still_to_come() -> None:
    agreed = KnownFacts(
        agreed={"parcel.goods": Agreed(7000.0, 0.4)}, foreign={"parcel.goods": Foreign("JPY", 7000 / 0.0062)}
    )
    for known in (agreed, KnownFacts(part_paid={"parcel.goods": PartPaid(4000.0, 0.6)})):
        found = forecast(text(PARCEL), known)
        cost = found.trials.row("parcel.goods")
        assert np.ptp(cost) > 100
        check_duty_and_tax(found, cost / 0.0062, 0.0062)


def test_a_known_price_meets_customs_at_the_rate_that_is_drawn() -> None:
    """The yen are known; what they are worth to customs is as open as the rate still is."""
    yen = 1_000_000.0
    found = forecast(text(PARCEL, RANGE), abroad("parcel.goods", 6500.0, yen))
    check_duty_and_tax(found, yen, replay_of(found).figure("fx.JPY.rate"))


def test_the_rate_paid_narrows_what_is_open_in_that_currency() -> None:
    before = forecast(text(LINES, RANGE)).trials.row("seats")
    paid = abroad("spares", 450_000 * 0.0066, 450_000.0)
    after = forecast(text(LINES, RANGE), paid).trials.row("seats")
    assert before.std() == pytest.approx(100_000 * 0.0062 * 0.069, rel=0.1)
    assert after.std() < 0.2 * before.std()
    assert after.mean() == pytest.approx(660, rel=0.01)


def test_a_rate_that_moves_from_day_to_day_is_learnt_as_far_as_its_days_are_shared() -> None:
    """The walk to the day of payment is known, and open lines paid that day too: next to nothing is left open."""
    build = text(LINES, volatility=0.12)
    before = forecast(build).trials.row("seats")
    after = forecast(build, abroad("spares", 450_000 * 0.0066, 450_000.0)).trials.row("seats")
    assert before.std() / before.mean() == pytest.approx(0.12 * np.sqrt(90 / 365.25), rel=0.1)
    assert after.std() < 0.2 * before.std()
    assert after.mean() == pytest.approx(660, rel=0.01)


@pytest.mark.parametrize(("rate", "volatility"), [(RANGE, 0.0), ("0.0062", 0.12)])
def test_a_rate_that_moved_is_not_read_as_bad_guessing(rate: str, volatility: float) -> None:
    """Paid at its middle in yen, the yen a tenth dearer: who guessed the yen well guesses the paint no worse."""
    build = text(LINES, rate, volatility)
    plan = compile_plan(parse_build(build))
    dear = abroad("spares", 450_000 * 0.0062 * 1.1, 450_000.0)
    [cause] = learned_causes(plan, dear, 1)
    assert cause.mean == pytest.approx(0, abs=0.03)
    before, after = (forecast(build, known).trials.row("paint").mean() for known in (None, dear))
    assert after == pytest.approx(before, rel=0.02)
    [worse] = learned_causes(plan, abroad("spares", 600_000 * 0.0062, 600_000.0), 1)
    assert worse.mean == pytest.approx(0.5 * 1.2815516, abs=0.03)  # its P90 in yen, at today's rate


def test_what_the_card_takes_on_top_is_no_dearer_price() -> None:
    """A card that adds 3 % to every yen: the same yen cost so much more, which was planned."""
    plan = compile_plan(parse_build(text(LINES, RANGE).replace("margin = 0", "margin = 3")))
    [cause] = learned_causes(plan, abroad("spares", 450_000 * 0.0062 * 1.03, 450_000.0), 1)
    assert cause.mean == pytest.approx(0, abs=0.03)


def test_a_cards_margin_changes_nothing_that_is_learnt_of_prices_and_rate() -> None:
    """The same yen at the same rate, 3 % on top: the seats cost 3 % more in every trial, and nothing else moved."""
    yen, dear = 500_000.0, 0.0066
    without = forecast(text(LINES, RANGE), abroad("spares", yen * dear, yen))
    build = text(LINES, RANGE).replace("margin = 0", "margin = 3")
    found = forecast(build, abroad("spares", yen * dear * 1.03, yen))
    np.testing.assert_allclose(found.trials.row("seats"), 1.03 * without.trials.row("seats"), rtol=1e-7)
    np.testing.assert_allclose(found.trials.row("paint"), without.trials.row("paint"), rtol=1e-7)


def test_what_the_rate_did_is_not_told_as_what_came_in_dear() -> None:
    plan = compile_plan(parse_build(text(LINES, RANGE)))
    [cause] = learned_causes(plan, abroad("spares", 600_000 * 0.0066, 600_000.0, paint=1500.0), 1)
    assert [row for row, _ in cause.taught_by][:2] in (["spares", "paint"], ["paint", "spares"])
    assert sum(move for _, move in cause.taught_by) == pytest.approx(cause.mean)
