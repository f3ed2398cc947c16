"""Charts from forecasts: functions from what is known to a picture whose description says what it shows."""

from __future__ import annotations

from forecast.views.charts.cost_charts import dots_of_hundred, s_curve
from forecast.views.charts.line_charts import estimate_paid_forecast, line_bars
from forecast.views.charts.move_charts import moved_bars, paid_against_fan
from forecast.views.charts.watch_charts import contingency_over_time, forecast_band, paid_against_budget
from forecast.views.charts.ways_charts import AgainstCheapest, difference_bands, difference_strip

__all__ = [
    "AgainstCheapest", "contingency_over_time", "difference_bands", "difference_strip", "dots_of_hundred",
    "estimate_paid_forecast", "forecast_band", "line_bars", "moved_bars", "paid_against_budget", "paid_against_fan",
    "s_curve",
]  # fmt: skip
