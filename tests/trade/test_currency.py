"""Currency paths."""

from __future__ import annotations

from decimal import Decimal
from math import exp, sqrt

import numpy as np
import pytest

from forecast.buildfile.schema import Currency
from forecast.errors import RuleError
from forecast.figures.evaluate import evaluate
from forecast.figures.formula import Input, walk
from forecast.figures.kinds import Known, Normal, Span
from forecast.trade import exact
from forecast.trade.currency import CurrencyPath, build_paths, default_volatility

PATH = CurrencyPath("JPY", "EUR", Known(value=0.0057), 0.10, (30.0, 60.0, 110.0))


def draws(path: CurrencyPath, trials: int) -> dict[str, np.ndarray]:
    rng = np.random.default_rng(20261125)
    steps = {path.step_id(day): rng.standard_normal(trials) for day in path.days}
    return {path.rate_id: np.full(trials, 0.0057), **steps}


def test_the_rate_of_a_later_day_goes_on_from_the_earlier_one() -> None:
    inputs = {"fx.JPY.rate": 0.0057, "fx.JPY.30d": 1.0, "fx.JPY.60d": -0.5, "fx.JPY.110d": 2.0}

    assert evaluate(PATH.rate_at(0), inputs, {}) == 0.0057
    at_30 = 0.0057 * exp(0.10 * sqrt(30 / 365))
    assert evaluate(PATH.rate_at(30), inputs, {}) == pytest.approx(at_30, rel=1e-14)
    at_60 = at_30 * exp(-0.10 * sqrt(30 / 365) * 0.5)
    assert evaluate(PATH.rate_at(60), inputs, {}) == pytest.approx(at_60, rel=1e-14)
    at_110 = at_60 * exp(0.10 * sqrt(50 / 365) * 2)
    assert evaluate(PATH.rate_at(110), inputs, {}) == pytest.approx(at_110, rel=1e-14)
    decimals = {key: Decimal(str(value)) for key, value in inputs.items()}
    assert float(exact.evaluate(PATH.rate_at(110), decimals)) == pytest.approx(at_110, rel=1e-14)


def test_log_rates_have_the_spread_of_a_random_walk_and_share_their_past() -> None:
    trials = 40_000
    inputs = draws(PATH, trials)
    logs = {day: np.log(evaluate(PATH.rate_at(day), inputs, {}) / 0.0057) for day in PATH.days}

    for day, log in logs.items():
        sd = 0.10 * sqrt(day / 365)
        assert abs(np.mean(log)) < 4 * sd / sqrt(trials)
        assert np.std(log) == pytest.approx(sd, rel=4 / sqrt(2 * trials))
    correlation = np.corrcoef(logs[30.0], logs[110.0])[0, 1]
    expected = sqrt(30 / 110)
    assert correlation == pytest.approx(expected, abs=4 * (1 - expected**2) / sqrt(trials))


def test_the_median_is_todays_rate_and_the_interval_holds_its_share() -> None:
    trials = 40_000
    rates = evaluate(PATH.rate_at(60), draws(PATH, trials), {})
    reach = 1.2815516 * 0.10 * sqrt(60 / 365)  # by hand, in one step where the path takes two
    low, high = 0.0057 * exp(-reach), 0.0057 * exp(reach)
    inside = np.mean((rates > low) & (rates < high))

    assert np.mean(rates < 0.0057) == pytest.approx(0.5, abs=4 * 0.5 / sqrt(trials))
    assert inside == pytest.approx(0.8, abs=4 * sqrt(0.16 / trials))


def test_own_estimating_moves_no_step_and_no_rate() -> None:
    paths = build_paths({"JPY": Currency(rate=0.0057)}, "EUR", {"JPY": [30]})
    figures = paths["JPY"].figures()

    assert list(figures) == ["fx.JPY.rate", "fx.JPY.30d", "fx.JPY.60d"]
    assert figures["fx.JPY.30d"] == Normal(mean=0, sd=1, estimated=False)
    assert not any(figure.estimated for figure in figures.values())


def test_volatility_as_given_or_the_usual_one_of_the_pair() -> None:
    currencies = {
        "JPY": Currency(rate=0.0057, volatility=0.2, margin=2.5),
        "USD": Currency(rate=0.9),
        "CHF": Currency(rate=1.08, volatility=0),
        "GBP": Currency(rate=Span(low=1.1, high=1.3)),
    }
    paths = build_paths(currencies, "EUR", {"JPY": [0, 30], "USD": [90, 30]})

    assert (paths["JPY"].volatility, paths["JPY"].margin, paths["JPY"].days) == (0.2, 2.5, (30, 60))
    assert paths["USD"].volatility == default_volatility("EUR", "USD")
    assert paths["USD"].days == (30, 60, 90)
    assert paths["CHF"].rate_at(60) == Input("fx.CHF.rate")
    assert paths["GBP"].volatility == 0  # the range holds the days until payment too
    assert list(paths["GBP"].figures()) == ["fx.GBP.rate"]


def test_usual_volatilities() -> None:
    """Medians over spans of 250 fixings since 1999, larger than those of the last year for these pairs."""
    assert default_volatility("EUR", "JPY") == default_volatility("JPY", "EUR") == 0.099
    assert default_volatility("USD", "EUR") == 0.087
    assert default_volatility("GBP", "EUR") == 0.069
    assert default_volatility("TWD", "EUR") == 0.12  # not on file: a cautious one


def test_a_day_that_the_path_lacks_is_refused() -> None:
    with pytest.raises(RuleError, match="no rate for day 45; the path has 30, 60, 110"):
        PATH.rate_at(45)


def test_only_steps_up_to_the_day_are_read() -> None:
    read = {node.id for node in walk(PATH.rate_at(60)) if isinstance(node, Input)}

    assert read == {"fx.JPY.rate", "fx.JPY.30d", "fx.JPY.60d"}
