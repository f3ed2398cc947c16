"""The exchange-rate model against history: the European Central Bank's reference rates.

The history comes with the CurrencyConverter package; dates are pinned, because it grows with releases.
"""

from __future__ import annotations

from datetime import date, timedelta
from functools import lru_cache

import numpy as np
import pytest
from currency_converter import CurrencyConverter

from forecast.figures.evaluate import evaluate
from forecast.figures.kinds import Known
from forecast.trade.currency import CurrencyPath, default_volatility

FIRST, LAST = date(1999, 1, 4), date(2026, 10, 30)
FIXINGS_A_YEAR = 256.1
SPAN = 250  # fixings of the trailing volatility
AHEAD = 60  # calendar days
DECILES = np.array([-1.2816, 1.2816])  # of the standard normal: 80 % lies between


@lru_cache(maxsize=1)
def converter() -> CurrencyConverter:
    return CurrencyConverter()


@lru_cache(maxsize=8)
def history(code: str) -> tuple[np.ndarray, np.ndarray]:
    """Ordinals of days and units of a currency for one euro."""
    first, last = converter().bounds["USD"]
    assert first == FIRST
    assert last >= LAST
    raw = converter()._rates[code]  # the package offers single days only
    days = sorted(day for day, rate in raw.items() if rate is not None and FIRST <= day <= LAST)
    return np.array([day.toordinal() for day in days]), np.array([float(raw[day]) for day in days])


def trailing_volatility(rates: np.ndarray) -> np.ndarray:
    """Volatility over the 250 daily changes up to each fixing from the 251st on."""
    changes = np.lib.stride_tricks.sliding_window_view(np.diff(np.log(rates)), SPAN)
    return changes.std(axis=1, ddof=1) * np.sqrt(FIXINGS_A_YEAR)


def interval(rate: float, volatility: float, days: float) -> np.ndarray:
    """Give the lower and the upper end of the path's nominal 80 % interval for the rate of a later day."""
    path = CurrencyPath("EUR", "USD", Known(value=1), float(volatility), (float(days),))
    steps: dict[str, np.ndarray | float] = {path.rate_id: rate, path.step_id(days): DECILES}
    return np.asarray(evaluate(path.rate_at(days), steps, {}))


def coverage(code: str, at_least: float = 0.0) -> tuple[float, int]:
    """Share of starts whose rate 60 calendar days on lies inside the nominal 80 % interval, and their number."""
    days, rates = history(code)
    volatility = np.maximum(trailing_volatility(rates), at_least)
    inside = []
    for start, spread in enumerate(volatility, start=SPAN):
        target = days[start] + AHEAD
        end = int(np.searchsorted(days, target))
        if end == len(days):
            break
        low, high = interval(rates[start], spread, AHEAD)
        inside.append(low <= rates[end] <= high)
    return float(np.mean(inside)), len(inside)


@pytest.mark.parametrize(
    ("day", "code", "expected"),
    [
        (date(2020, 1, 2), "USD", 1.1193),
        (date(2020, 1, 2), "JPY", 121.75),
        (date(2020, 1, 2), "GBP", 0.84828),
        (date(2020, 1, 2), "NZD", 1.6718),
        (date(1999, 1, 4), "USD", 1.1789),
        (date(1999, 1, 4), "JPY", 133.73),
        (date(1999, 1, 4), "GBP", 0.7111),
        (date(1999, 1, 4), "NZD", 2.2229),
        (date(2024, 1, 2), "USD", 1.0956),
        (date(2024, 1, 2), "JPY", 155.68),
        (date(2024, 1, 2), "GBP", 0.86645),
        (date(2024, 1, 2), "NZD", 1.7471),
    ],
)
def test_the_history_is_the_published_one(day: date, code: str, expected: float) -> None:
    assert converter().convert(1, "EUR", code, day) == expected


@pytest.mark.parametrize("code", ["USD", "JPY", "GBP", "NZD"])
def test_the_history_is_whole(code: str) -> None:
    days, _ = history(code)

    assert len(days) == 7126
    assert date.fromordinal(int(days[0])) == FIRST
    assert date.fromordinal(int(days[-1])) == LAST
    assert np.max(np.diff(days)) * timedelta(days=1) <= timedelta(days=5)


@pytest.mark.parametrize(("code", "reference"), [("JPY", 0.856), ("USD", 0.788), ("GBP", 0.855)])
def test_the_80_percent_interval_holds_75_to_90_percent(code: str, reference: float) -> None:
    """References computed independently beforehand; their block-bootstrap standard error is 2 to 3 points."""
    share, starts = coverage(code)

    assert starts == 6832
    assert 0.75 <= share <= 0.90
    assert share == pytest.approx(reference, abs=0.01)


@pytest.mark.parametrize("code", ["JPY", "USD", "GBP"])
def test_the_default_volatility_is_the_more_cautious_one(code: str) -> None:
    """The default, which looks at the long run too, covers more than last year's volatility alone."""
    _, rates = history(code)
    spread = trailing_volatility(rates)

    cautious, _ = coverage(code, at_least=default_volatility("EUR", code))

    assert default_volatility("EUR", code) == pytest.approx(max(spread[-1], np.median(spread)), abs=0.0005)
    assert cautious > coverage(code)[0]


@pytest.mark.parametrize(
    ("rows", "bill", "sd", "p10", "p90"),
    [
        (21, "JPY", 0.03121, -0.03593, 0.03848),
        (63, "JPY", 0.04871, -0.06478, 0.06471),
        (126, "JPY", 0.05932, -0.08053, 0.07845),
        (63, "USD", 0.04848, -0.05507, 0.06403),
    ],
)
def test_how_far_a_fixed_bill_moved_for_a_buyer_with_new_zealand_dollars(
    rows: int, bill: str, sd: float, p10: float, p90: float
) -> None:
    """2015 to 2024, overlapping windows; figures computed independently beforehand."""
    days, foreign = history(bill)
    _, home = history("NZD")
    inside = (days >= date(2015, 1, 1).toordinal()) & (days <= date(2024, 12, 31).toordinal())
    cost = np.log(home / foreign)[inside]

    moves = cost[rows:] - cost[:-rows]

    assert np.count_nonzero(inside) == 2561
    assert np.std(moves, ddof=1) == pytest.approx(sd, abs=2e-5)
    assert np.quantile(moves, 0.1) == pytest.approx(p10, abs=2e-5)
    assert np.quantile(moves, 0.9) == pytest.approx(p90, abs=2e-5)


def test_the_interval_of_a_yen_bill_in_new_zealand_dollars_holds_its_share_too() -> None:
    days, yen = history("JPY")
    _, home = history("NZD")
    inside = (days >= date(2015, 1, 1).toordinal()) & (days <= date(2024, 12, 31).toordinal())
    cost = np.log(home / yen)[inside]
    daily = np.std(np.diff(cost), ddof=1)
    ahead = (days[inside][63:] - days[inside][:-63]).astype(float)

    moves = cost[63:] - cost[:-63]
    reach = [np.log(interval(1.0, daily * np.sqrt(FIXINGS_A_YEAR), gap)[1]) for gap in ahead]

    assert daily == pytest.approx(0.0071348, abs=1e-7)
    assert 0.75 <= np.mean(np.abs(moves) <= reach) <= 0.90
