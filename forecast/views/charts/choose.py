"""Scenarios side by side, and how far apart two of them are."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import altair as alt
import numpy as np
import pandas as pd

from forecast.engine.forecast import Forecast
from forecast.engine.shapes import Array
from forecast.engine.statistics import percentiles
from forecast.views.charts.frame import framed, money_axis, nice_step, span, tips, x_at, y_at
from forecast.views.money import about, builds, hours
from forecast.views.theme import LIGHT, Palette


def scenario_bars(named: Sequence[tuple[str, Forecast]], palette: Palette = LIGHT) -> Any:
    """Draw one row for each scenario: P10 to P90 with ticks at P50 and P80, own hours and weeks under it."""
    money = named[0][1].currency
    rows = []
    for name, forecast in named:
        low, half, eight, high = forecast.percentile_set((0.1, 0.5, 0.8, 0.9))
        own = forecast.hours((0.5,))[0].value
        weeks = forecast.weeks((0.5,))
        rows.append(
            {
                "key": name, "p10": low.value, "p50": half.value, "p80": eight.value, "p90": high.value,
                "figures": f"P50 {about(half.value, money, half.error)}, P80 {about(eight.value, money, eight.error)}, "
                + (f"{hours(own)} own work" if own > 0 else "no own work")
                + (f", {weeks[0].value:.0f} weeks" if weeks is not None else ""),
            }
        )  # fmt: skip
    frame = pd.DataFrame(rows)
    ends = span([*frame["p90"], 0.0], zero=True)
    y = alt.Y("key:N", sort=None, scale=alt.Scale(paddingInner=0.5, paddingOuter=0.35), axis=None)
    base = alt.Chart(frame).encode(y=y)
    x = alt.X("p10:Q", axis=money_axis(money), scale=alt.Scale(domain=[0, ends[1]], nice=False))
    bars = base.mark_bar(height=8, cornerRadius=4, color=palette.accent_soft).encode(x=x, x2=alt.X2("p90:Q"))
    half_ticks = base.mark_tick(thickness=3, height=20, color=palette.accent).encode(x=alt.X("p50:Q"))
    eight_ticks = base.mark_tick(thickness=3, height=12, color=palette.ink).encode(x=alt.X("p80:Q"))
    # Names and figures stand above and below the bar at the left, where long ones have the whole width.
    above = base.mark_text(align="left", dy=-22, fontSize=13, fontWeight=600).encode(
        x=x_at(4), text=alt.Text("key:N")
    )
    below = base.mark_text(align="left", dy=21, fontSize=12, color=palette.muted).encode(
        x=x_at(4), text=alt.Text("figures:N")
    )
    cheapest = min(rows, key=lambda row: float(str(row["p50"])))
    title = f"{cheapest['key']} costs least in the middle: {about(float(str(cheapest['p50'])), money)}"
    description = (
        "Scenarios on one money axis: "
        + "; ".join(
            f"{row['key']} from {about(float(str(row['p10'])), money)} to {about(float(str(row['p90'])), money)}, "
            f"{row['figures']}"
            for row in rows
        )
        + "."
    )
    note = "Bar: 80 of 100 builds (P10 to P90). Long tick: P50. Short tick: P80."
    chart = alt.layer(bars, half_ticks, eight_ticks, above, below)
    return framed(chart, title, description, palette, 84 * len(rows), note)


def difference_strip(
    difference: Array,
    first: str,
    second: str,
    currency: str,
    palette: Palette = LIGHT,
    weights: Array | None = None,
) -> Any:
    """Draw the distribution of what the second scenario costs more than the first, around zero.

    Parameters
    ----------
    difference : ndarray, shape (N,)
        Second less first, trial by trial.
    first, second : str
        Their names.
    currency : str
    palette : Palette
    weights : ndarray, shape (N,), optional
    """
    low, half, high = percentiles(difference, (0.005, 0.5, 0.995), weights)
    step = nice_step(high - low, 40)
    edges = np.arange(np.floor(low / step), np.ceil(high / step) + 1) * step
    counts, _ = np.histogram(difference, edges, weights=weights)
    share = counts / counts.sum()
    frame = pd.DataFrame(
        {
            "from": edges[:-1], "to": edges[1:], "share": share, "dearer": edges[:-1] >= 0,
            "Difference": [f"{about(a, currency)} to {about(b, currency)}" for a, b in pairwise(edges)],
            "Builds": [builds(float(part)) for part in share],
        }
    )  # fmt: skip
    cheaper = float(np.average(difference < 0, weights=weights))
    reach = max(abs(float(edges[0])), abs(float(edges[-1])))
    ends = (min(float(edges[0]), -0.25 * reach), max(float(edges[-1]), 0.25 * reach))
    x = alt.X("from:Q", axis=money_axis(currency), scale=alt.Scale(domain=list(ends), nice=False))
    base = alt.Chart(frame).encode(
        x=x, x2=alt.X2("to:Q"), y2=alt.Y2(datum=0),
        y=alt.Y("share:Q", axis=None, scale=alt.Scale(domain=[0, float(share.max()) * 1.3])),
        tooltip=tips("Difference:N", "Builds:N"),
    )  # fmt: skip
    below = base.transform_filter("!datum.dearer").mark_bar(
        color=palette.accent, stroke=palette.paper, strokeWidth=1
    )
    above = base.transform_filter("datum.dearer").mark_bar(
        fill=palette.paper, stroke=palette.over, strokeWidth=1.4, fillOpacity=0
    )
    zero = (
        alt.Chart(pd.DataFrame({"from": [0.0]}))
        .mark_rule(color=palette.ink, strokeWidth=1.5)
        .encode(x=alt.X("from:Q"))
    )
    words = alt.Chart(pd.DataFrame({"less": ["\u25c0 cheaper"], "more": ["dearer \u25b6"]}))
    texts = [
        words.mark_text(align="left", fontWeight=600).encode(x=x_at(2), y=y_at(8), text=alt.Text("less:N")),
        words.mark_text(align="right", fontWeight=600).encode(
            x=x_at(alt.ExprRef("width - 2")), y=y_at(8), text=alt.Text("more:N")
        ),
    ]
    title = f"{second} is cheaper than {first} in {builds(cheaper)}"
    middle = "more" if half >= 0 else "less"
    description = (
        f"{title}. In the middle it costs {about(abs(half), currency)} {middle}; in 99 of 100 builds the difference "
        f"lies between {about(low, currency)} and {about(high, currency)}."
    )
    note = "The same build simulated both ways, trial by trial. Filled: cheaper. Outlined: dearer."
    return framed(alt.layer(below, above, zero, *texts), title, description, palette, 170, note)
