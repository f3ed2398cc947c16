"""Charts from forecasts: functions from what is known to a picture whose description says what it shows."""

from __future__ import annotations

from forecast.views.charts.choose import AgainstCheapest, difference_bands, difference_strip
from forecast.views.charts.cost import dots_of_hundred, s_curve
from forecast.views.charts.fan import paid_against_fan
from forecast.views.charts.lines import estimate_paid_forecast, line_bars
from forecast.views.charts.moved import moved_bars
from forecast.views.charts.watch import contingency_over_time, forecast_band, paid_against_budget

__all__ = [
    "AgainstCheapest", "contingency_over_time", "difference_bands", "difference_strip", "dots_of_hundred",
    "estimate_paid_forecast", "forecast_band", "line_bars", "moved_bars", "paid_against_budget", "paid_against_fan",
    "s_curve",
]  # fmt: skip
