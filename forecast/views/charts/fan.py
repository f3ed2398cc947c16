"""What is paid and agreed, against the fan of totals at which the build may end."""

from __future__ import annotations

from typing import Any

import altair as alt
import pandas as pd

from forecast.engine.forecast import Forecast
from forecast.spending.reforecast import Reforecast
from forecast.views.charts.frame import Rule, framed, money_axis, rules, span, tips, y2_at, y_at
from forecast.views.money import about, entered
from forecast.views.theme import LIGHT, Palette

BANDS = ((0.025, 0.975, 95), (0.1, 0.9, 80), (0.25, 0.75, 50))
"""Percentiles at the ends of each band, and how many of 100 builds end within it; the widest first."""

_HEIGHT, _UNPAID = 210, 160  # in pixels; without the bars below the fan
_MIDDLE = 118  # pixels from the top to the middle of the fan
_BARS = (158, 182)  # and to the edges of what is paid


def paid_against_fan(
    found: Forecast | Reforecast, budget: float | None = None, palette: Palette = LIGHT
) -> Any:
    """Draw where the build may end as bands in three steps, over what is paid and agreed.

    P50, P80, P90 and the budget are labelled rules through all of it.

    Parameters
    ----------
    found : Forecast or Reforecast
        The second once something is paid, agreed or said.
    budget : float, optional
    palette : Palette
    """
    money = found.currency
    paid, agreed = (found.paid, found.committed) if isinstance(found, Reforecast) else (0.0, 0.0)
    half, eight, nine = found.percentile_set((0.5, 0.8, 0.9))
    fixed = [
        Rule(end.value, f"{name} {about(end.value, money, end.error)}")
        for name, end in (("P50", half), ("P80", eight), ("P90", nine))
    ]
    if budget is not None:
        fixed.append(Rule(budget, f"Budget {entered(budget, money)}", dashed=True, over=True))
    edges = found.percentile_set(tuple(share for low, high, _ in BANDS for share in (low, high)))
    ends = span(
        [0.0, paid + agreed, *(rule.value for rule in fixed), *(edge.value for edge in edges)], zero=True
    )
    scale = alt.Scale(domain=list(ends), nice=False, zero=False)
    x = alt.X("from:Q", axis=money_axis(money), scale=scale)

    def bar(low: float, high: float, top: float, bottom: float, said: str, **look: Any) -> Any:
        frame = pd.DataFrame({"from": [low], "to": [high], "Shown": [said]})
        return (
            alt.Chart(frame)
            .mark_rect(**look)
            .encode(x=x, x2=alt.X2("to:Q"), y=y_at(top), y2=y2_at(bottom), tooltip=tips("Shown:N"))
        )

    layers = []
    for place, (_, _, count) in enumerate(BANDS):
        low, high = edges[2 * place].value, edges[2 * place + 1].value
        reach = 12 + 5 * place  # the narrower the band, the taller and darker
        said = f"{count} of 100 builds: {about(low, money)} to {about(high, money)}"
        look = {"color": palette.accent, "opacity": (0.28, 0.42, 0.75)[place]}
        layers.append(bar(low, high, _MIDDLE - reach, _MIDDLE + reach, said, **look))
    if paid:
        layers.append(bar(0.0, paid, *_BARS, f"Paid: {entered(paid, money)}", color=palette.ink))
    if agreed:
        said = f"Agreed, and still due: {entered(agreed, money)}"
        outlined: dict[str, Any] = {"fill": palette.paper, "stroke": palette.ink, "strokeWidth": 1.5}
        layers.append(bar(paid, paid + agreed, *_BARS, said, **outlined))
    title, note = _words(found, paid, agreed, eight.value, eight.error)
    bands = "; ".join(
        f"{count} of 100 from {about(edges[2 * place].value, money)} to {about(edges[2 * place + 1].value, money)}"
        for place, (_, _, count) in enumerate(BANDS)
    )
    description = f"{title}. Builds end: {bands}. {', '.join(rule.text for rule in fixed)}."
    return framed(
        alt.layer(*layers, *rules(fixed, ends, palette)),
        title,
        description,
        palette,
        _HEIGHT if isinstance(found, Reforecast) else _UNPAID,
        note,
    )


def _words(
    found: Forecast | Reforecast, paid: float, agreed: float, eight: float, error: float
) -> tuple[str, str]:
    """Give the finding, and how to read the picture."""
    money, note = found.currency, "Bands, from dark to pale: where 50, 80 and 95 of 100 builds end."
    if not isinstance(found, Reforecast):
        low, high = found.percentile_set((0.1, 0.9))
        return (
            f"80 of 100 builds end between {about(low.value, money, low.error)} and "
            f"{about(high.value, money, high.error)}",
            note,
        )
    if found.finished:
        return f"It cost {entered(paid, money)}: nothing is open any more", "Solid: paid."
    title = f"{entered(paid, money)} is paid"
    if agreed:
        title += f" and {entered(agreed, money)} agreed"
    title += f"; at P80 about {about(max(0.0, eight - paid - agreed), money, error)} more is to come"
    return title, f"{note} Solid: paid.{' Outlined: agreed, and still due.' if agreed else ''}"
