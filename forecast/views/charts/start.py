"""What answers do to a range: before them, and with them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import altair as alt
import pandas as pd

from forecast.engine.forecast import Forecast
from forecast.views.charts.frame import framed, layered, money_axis, span, x_at
from forecast.views.theme import LIGHT, Palette
from forecast.words.money import about


def narrowing(stages: Sequence[tuple[str, Forecast]], palette: Palette = LIGHT) -> Any:
    """Draw P10 to P90 at each stage of knowing, the first without answers and the last with all so far.

    Parameters
    ----------
    stages : sequence of (name, Forecast)
        One or more, in one currency.
    palette : Palette
    """
    money = stages[-1][1].currency
    rows = []
    for name, forecast in stages:
        low, half, eight, high = forecast.percentile_set((0.1, 0.5, 0.8, 0.9))
        rows.append(
            {
                "key": name, "p10": low.value, "p50": half.value, "p80": eight.value, "p90": high.value,
                "ends": f"{about(low.value, money, low.error)} to {about(high.value, money, high.error)}",
                "figures": f"{about(low.value, money, low.error)} to {about(high.value, money, high.error)}, "
                f"hold {about(eight.value, money, eight.error)}",
            }
        )  # fmt: skip
    frame = pd.DataFrame(rows).assign(last=[place == len(rows) - 1 for place in range(len(rows))])
    ends = span([*frame["p90"], 0.0], zero=True)
    base = alt.Chart(frame).encode(
        y=alt.Y("key:N", sort=None, scale=alt.Scale(paddingInner=0.5, paddingOuter=0.35), axis=None)
    )
    x = alt.X("p10:Q", axis=money_axis(money), scale=alt.Scale(domain=[0, ends[1]], nice=False))
    colour = alt.condition("datum.last", alt.value(palette.accent), alt.value(palette.muted))
    bars = base.mark_bar(height=8, cornerRadius=4).encode(
        x=x,
        x2=alt.X2("p90:Q"),
        color=colour,
        opacity=alt.condition("datum.last", alt.value(0.55), alt.value(0.35)),
    )
    half_ticks = base.mark_tick(thickness=3, height=20).encode(x=alt.X("p50:Q"), color=colour)
    eight_ticks = base.mark_tick(thickness=3, height=12, color=palette.ink).encode(x=alt.X("p80:Q"))
    above = base.mark_text(align="left", dy=-21, fontSize=13, fontWeight=600).encode(
        x=x_at(4), text=alt.Text("key:N")
    )
    below = base.mark_text(align="left", dy=20, fontSize=12, color=palette.muted).encode(
        x=x_at(4), text=alt.Text("figures:N")
    )
    last = rows[-1]
    title = f"In 80 of 100 builds it costs {last['ends']}"
    if len(rows) > 1:
        title += f"; without your answers {rows[0]['ends']}"
    description = "; ".join(f"{row['key']}: {row['figures']}" for row in rows)
    note = "Bar: 80 of 100 builds, P10 to P90. Long tick, P50: half cost less. Short tick, P80: what to hold."
    chart = layered(bars, half_ticks, eight_ticks, above, below)
    return framed(chart, title, f"{title}. {description}.", palette, 78 * len(rows) + 6, note)
