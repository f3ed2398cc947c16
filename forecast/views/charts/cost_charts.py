"""What the whole build may cost: a hundred builds as dots, the curve behind them, and what answers do to a range."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Any

import altair as alt
import pandas as pd

from forecast.engine.forecast import Forecast
from forecast.views.charts.frame import Rule, framed, layered, money_axis, rules, span, tips, x_at
from forecast.views.theme import LIGHT, Palette
from forecast.words.money import about, builds, entered, percent

# A hundred dots, though fifty help somewhat more (Fernandes et al. 2018, https://doi.org/10.1145/3173574.3173718): each
# sentence beside them counts builds of a hundred, and of fifty dots no odd number of builds could stand left of its
# rule. They are few enough to a row that on a phone, where they are smallest, each can still be counted.
_COLUMNS = 28
_HEIGHT = 290


def standard_rules(forecast: Forecast, budget: float | None, *, every: bool = False) -> list[Rule]:
    """Give the rules that every picture of the total carries.

    Parameters
    ----------
    forecast : Forecast
    budget : float, optional
    every : bool
        All of them; else two: P80 and the budget, or where there is none the middle figures.
    """
    money = forecast.currency
    half, eight, nine = forecast.percentile_set((0.5, 0.8, 0.9))
    base = Rule(forecast.base_estimate, f"Middle figures {about(forecast.base_estimate, money)}", dashed=True)
    own = (
        []
        if budget is None
        else [Rule(budget, f"Your budget {entered(budget, money)}", dashed=True, over=True)]
    )
    eighty = Rule(eight.value, f"P80 {about(eight.value, money, eight.error)}")
    if not every:
        return [eighty, *(own or [base])]
    fifty, ninety = (
        Rule(end.value, f"{name} {about(end.value, money, end.error)}")
        for name, end in (("P50", half), ("P90", nine))
    )
    return [base, fifty, eighty, ninety, *own]


def dots_within(forecast: Forecast, value: float) -> int:
    """Give how many of a hundred dots lie left of a rule: as many builds as a sentence says stay within it."""
    return round(100 * forecast.chance_within(value).value)


def dots_of_hundred(
    forecast: Forecast, budget: float | None = None, palette: Palette = LIGHT, *, every: bool = False
) -> Any:
    """Draw a hundred builds as dots, stacked by total cost; left of each rule are as many as stay within it.

    Parameters
    ----------
    forecast : Forecast
    budget : float, optional
        The dots beyond it are open rings; beyond P80 where there is no budget.
    palette : Palette
    every : bool
        Whether all rules are drawn; see `standard_rules`.

    Returns
    -------
    altair.LayerChart
    """
    money = forecast.currency
    held = forecast.percentile(0.8)
    limit = budget if budget is not None else held.value
    within_limit = dots_within(forecast, limit)
    totals = [item.value for item in forecast.percentile_set([(place + 0.5) / 100 for place in range(100)])]
    lines = standard_rules(forecast, budget, every=every)
    ends = span([*totals, *(rule.value for rule in lines)])
    step = (ends[1] - ends[0]) / _COLUMNS
    # No column stands astride a rule: between two of them are whole columns, so that dots can be counted.
    marks = sorted({rule.value: dots_within(forecast, rule.value) for rule in lines}.items())
    bounds = [ends[0], *(value for value, _ in marks), ends[1]]
    columns = (ends[1] - ends[0]) / step
    stacked: Counter[tuple[int, int]] = Counter()
    rows: list[dict[str, Any]] = []
    for place, total in enumerate(totals):
        part = sum(count <= place for _, count in marks)
        low, high = bounds[part], bounds[part + 1]
        many = max(1, round((high - low) / step))
        column = min(many - 1, max(0, int((total - low) / (high - low) * many))) if high > low else 0
        stacked[part, column] += 1
        beyond = place >= within_limit
        rows.append(
            {
                "total": low + (column + 0.5) * (high - low) / many,
                "place": stacked[part, column] - 0.5,
                "Total": about(total, money),
                "In words": "more than the limit" if beyond else "within the limit",
                "beyond": beyond,
            }
        )
    beyond_count = sum(row["beyond"] for row in rows)
    named = "your budget of " if budget is not None else ""
    error = 0.0 if budget is not None else held.error
    title = f"In {beyond_count} of these 100 builds (open rings) it costs more than {named}{about(limit, money, error)}"
    pitch = f"min(width / {columns:.3f}, {(_HEIGHT - 96) / max(stacked.values()):.3f})"
    size: Any = alt.ExprRef(f"pow(0.8 * {pitch}, 2)")
    x = alt.X("total:Q", axis=money_axis(money), scale=alt.Scale(domain=list(ends), nice=False, zero=False))
    y = alt.Y(
        "place:Q", axis=None,
        scale=alt.Scale(domainMin=0, domainMax=alt.ExprRef(f"{_HEIGHT} / ({pitch})"), nice=False),
    )  # fmt: skip
    dots = alt.Chart(pd.DataFrame(rows)).encode(x=x, y=y, tooltip=tips("Total:N", "In words:N"))
    within = dots.transform_filter("!datum.beyond").mark_circle(opacity=1, color=palette.accent, size=size)
    rings = dots.transform_filter("datum.beyond").mark_point(
        filled=False, opacity=1, color=palette.over, strokeWidth=1.6, size=size, shape="circle"
    )
    base = forecast.base_estimate
    description = (
        f"A hundred simulated builds as dots along an axis of total cost, from {about(totals[0], money)} to "
        f"{about(totals[-1], money)}. {title}. Half cost more than {about(forecast.percentile(0.5).value, money)}. "
        f"Middle figures {about(base, money)} are enough in {builds(forecast.chance_within(base).value)}."
    )
    chart = layered(*rules(lines, ends, palette), within, rings)  # dots in front: each one can be counted
    return framed(
        chart,
        title,
        description,
        palette,
        _HEIGHT,
        "Each dot is one build in a hundred. The axis does not begin at zero.",
    )


def s_curve(
    forecast: Forecast, budget: float | None = None, palette: Palette = LIGHT, *, every: bool = False
) -> Any:
    """Draw the chance that a sum is enough, with a band of two standard errors."""
    money = forecast.currency
    shares = [0.005, *(place / 100 for place in range(1, 100)), 0.995]
    found = forecast.percentile_set(shares)
    frame = pd.DataFrame(
        {
            "share": shares,
            "sum": [item.value for item in found],
            "low": [item.value - 2 * item.error for item in found],
            "high": [item.value + 2 * item.error for item in found],
            "Sum": [about(item.value, money, item.error) for item in found],
            "Enough in": [percent(share) for share in shares],
        }
    )
    lines = standard_rules(forecast, budget, every=every)
    ends = span([*frame["low"], *frame["high"], *(rule.value for rule in lines)])
    scale = alt.Scale(domain=list(ends), nice=False, zero=False)
    y = alt.Y(
        "share:Q", scale=alt.Scale(domain=[0, 1.42]),
        axis=alt.Axis(format=".0%", values=[0, 0.2, 0.5, 0.8, 0.9, 1], title=None),
    )  # fmt: skip
    base = alt.Chart(frame)
    x = alt.X("low:Q", axis=money_axis(money), scale=scale)
    band = base.mark_area(color=palette.accent_soft, opacity=0.7, orient="horizontal").encode(
        x=x, x2=alt.X2("high:Q"), y=y
    )
    line = base.mark_line(color=palette.accent, strokeWidth=2.2, order=True).encode(
        x=alt.X("sum:Q", axis=money_axis(money), scale=scale), y=y, order=alt.Order("share:Q"),
        tooltip=tips("Sum:N", "Enough in:N"),
    )  # fmt: skip
    eight = found[80]
    title = f"{about(eight.value, money, eight.error)} is enough in 80 % of builds"
    description = (
        f"Curve of the chance that a sum is enough: {about(found[10].value, money)} in 10 %, "
        f"{about(found[50].value, money)} in 50 %, {about(eight.value, money)} in 80 %, "
        f"{about(found[90].value, money)} in 90 % of builds. The band around it is the simulation error."
    )
    chart = layered(band, line, *rules(lines, ends, palette))
    note = "Share of builds in which a sum is enough. The pale band is the simulation error (two standard errors)."
    return framed(chart, title, description, palette, 320, note)


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
    # As channels: what is given as a dictionary is looked for in the whole schema first, nine tenths of drawing this.
    colour = alt.ColorValue(
        **alt.condition("datum.last", alt.value(palette.accent), alt.value(palette.muted))
    )
    bars = base.mark_bar(height=8, cornerRadius=4).encode(
        x=x,
        x2=alt.X2("p90:Q"),
        color=colour,
        opacity=alt.OpacityValue(**alt.condition("datum.last", alt.value(0.55), alt.value(0.35))),
    )
    half_ticks = base.mark_tick(thickness=3, height=20).encode(x=alt.X("p50:Q"), color=colour)
    eight_ticks = base.mark_tick(thickness=3, height=12, color=palette.ink).encode(x=alt.X("p80:Q"))
    above = base.mark_text(align="left", dy=-21, fontSize=13, fontWeight=600).encode(
        x=x_at(4), text=alt.Text("key:N")
    )
    # with a halo of paper, so that no gridline runs through the figures
    halo = base.mark_text(
        align="left", dy=20, fontSize=12, stroke=palette.paper, strokeWidth=5, strokeJoin="round"
    ).encode(x=x_at(4), text=alt.Text("figures:N"))
    below = base.mark_text(align="left", dy=20, fontSize=12, color=palette.muted).encode(
        x=x_at(4), text=alt.Text("figures:N")
    )
    last = rows[-1]
    title = f"In 80 of 100 builds it costs {last['ends']}"
    if len(rows) > 1:
        title += f"; without your answers {rows[0]['ends']}"
    description = "; ".join(f"{row['key']}: {row['figures']}" for row in rows)
    note = "Bar: 80 of 100 builds, P10 to P90. Long tick, P50: half cost less. Short tick, P80: what to hold."
    chart = layered(bars, half_ticks, eight_ticks, above, halo, below)
    return framed(chart, title, f"{title}. {description}.", palette, 78 * len(rows) + 6, note)
