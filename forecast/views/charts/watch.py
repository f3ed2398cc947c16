"""During the build: what is paid against the budget, how the forecast moved, and why."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import altair as alt
import pandas as pd

from forecast.views.charts.frame import MOST_POINTS, framed, money_axis, span
from forecast.views.money import about, signed
from forecast.views.theme import LIGHT, Palette


@dataclass(frozen=True)
class Standpoint:
    """The forecast final cost as it stood on a day."""

    date: dt.date
    p10: float
    p50: float
    p80: float
    p90: float
    paid: float


def _thin(frame: pd.DataFrame) -> pd.DataFrame:
    """Keep at most as many points as a series may have, first and last among them."""
    if len(frame) <= MOST_POINTS:
        return frame
    step = (len(frame) - 1) / (MOST_POINTS - 1)
    return frame.iloc[[round(place * step) for place in range(MOST_POINTS)]]


def _days(**more: Any) -> alt.Axis:
    chosen: dict[str, Any] = {
        "format": "%-d %b", "title": None, "grid": False, "labelOverlap": "greedy", "labelFlush": True,
        "tickCount": {"expr": "max(2, floor(width / 90))"},
    }  # fmt: skip
    return alt.Axis(**(chosen | more))


def _level(
    value: float, text: str, palette: Palette, colour: str, height: int, top: float
) -> list[alt.Chart]:
    """Draw a horizontal rule with its name above it at the left."""
    base = alt.Chart(pd.DataFrame({"money": [value], "text": [text]})).encode(y="money:Q")
    rule = base.mark_rule(color=colour, strokeDash=[5, 3], strokeWidth=1.5)
    options: dict[str, Any] = {
        "align": "left",
        "baseline": "bottom",
        "dy": -3,
        "fontWeight": 600,
        "fontSize": 12.5,
    }
    halo = base.mark_text(**options, stroke=palette.paper, strokeWidth=4).encode(
        x=alt.value(4), text="text:N"
    )
    return [rule, halo, base.mark_text(**options, color=colour).encode(x=alt.value(4), text="text:N")]


def paid_against_budget(
    payments: Sequence[tuple[dt.date, float]],
    budget: float | None,
    currency: str,
    palette: Palette = LIGHT,
    budget_name: str = "Your budget",
) -> Any:
    """Draw the running total of what is paid, against the budget.

    Parameters
    ----------
    payments : sequence of (date, amount)
        In the build's currency; refunds and voids negative.
    budget : float, optional
    currency : str
    palette : Palette
    budget_name : str
        What the rule is called.
    """
    daily: dict[dt.date, float] = {}
    for day, amount in sorted(payments):
        daily[day] = daily.get(day, 0.0) + amount
    first = min(daily) - dt.timedelta(days=1)
    frame = pd.DataFrame({"day": [first, *daily], "money": [0.0, *pd.Series(list(daily.values())).cumsum()]})
    frame["day"] = pd.to_datetime(frame["day"])
    frame["Paid"] = [about(value, currency) for value in frame["money"]]
    frame = _thin(frame)
    paid = float(frame["money"].iloc[-1])
    top = span([*frame["money"], budget or 0.0, 0.0], zero=True, room=0.12)[1]
    y = alt.Y(
        "money:Q", axis=money_axis(currency, tickCount=5), scale=alt.Scale(domain=[0, top], nice=False)
    )  # fmt: skip
    x = alt.X("day:T", axis=_days())
    base = alt.Chart(frame).encode(
        x=x, y=y, tooltip=[alt.Tooltip("day:T", title="Day", format="%-d %b %Y"), "Paid:N"]
    )
    area = base.mark_area(interpolate="step-after", color=palette.accent_soft, opacity=0.35)
    line = base.mark_line(interpolate="step-after", color=palette.accent, strokeWidth=2.2)
    end = (
        alt.Chart(frame.iloc[[-1]])
        .mark_point(filled=True, size=60, color=palette.accent, opacity=1)
        .encode(x=x, y=y)
    )
    layers = [area, line, end]
    title = f"{about(paid, currency)} paid so far"
    if budget is not None:
        layers += _level(budget, f"{budget_name} {about(budget, currency)}", palette, palette.over, 240, top)
        title += (
            f", {about(abs(budget - paid), currency)} "
            + ("under" if paid <= budget else "over")
            + " the budget"
        )
    description = f"Running total of receipts from {min(daily):%d %B %Y} to {max(daily):%d %B %Y}: {title}."
    return framed(alt.layer(*layers), title, description, palette, 240)


def forecast_band(
    points: Sequence[Standpoint],
    budget: float | None,
    currency: str,
    palette: Palette = LIGHT,
    budget_name: str = "Your budget",
    error: float = 0.0,
) -> Any:
    """Draw how the forecast final cost moved: band P10 to P90, line P50, P80, and what was paid below.

    ``error`` is the simulation error of the last P80, to which the title is rounded as every other place does.
    """
    frame = pd.DataFrame(
        {
            "day": pd.to_datetime([point.date for point in points]),
            "p10": [point.p10 for point in points], "money": [point.p50 for point in points],
            "p80": [point.p80 for point in points], "p90": [point.p90 for point in points],
            "paid": [point.paid for point in points],
            "P50": [about(point.p50, currency) for point in points],
            "P80": [about(point.p80, currency) for point in points],
            "Paid": [about(point.paid, currency) for point in points],
        }
    )  # fmt: skip
    frame = _thin(frame)
    top = span([*frame["p90"], budget or 0.0, 0.0], zero=True, room=0.1)[1]
    y = alt.Y("money:Q", axis=money_axis(currency, tickCount=5), scale=alt.Scale(domain=[0, top], nice=False))
    x = alt.X("day:T", axis=_days())
    tips = [alt.Tooltip("day:T", title="Day", format="%-d %b %Y"), "P50:N", "P80:N", "Paid:N"]
    base = alt.Chart(frame).encode(x=x)
    step: Any = "step-after"
    band = base.mark_area(color=palette.accent_soft, opacity=0.55, interpolate=step).encode(
        y=alt.Y(
            "p10:Q", axis=money_axis(currency, tickCount=5), scale=alt.Scale(domain=[0, top], nice=False)
        ),
        y2="p90:Q",
    )
    middle = base.mark_line(color=palette.accent, strokeWidth=2.4, interpolate=step).encode(y=y, tooltip=tips)
    eight = base.mark_line(color=palette.ink, strokeWidth=1.4, strokeDash=[2, 2], interpolate=step).encode(
        y="p80:Q"
    )
    paid = base.mark_line(color=palette.muted, strokeWidth=1.6, interpolate=step).encode(y="paid:Q")
    receipts = base.mark_tick(color=palette.muted, thickness=1.2, size=9, orient="vertical").encode(
        y=alt.value(296)
    )
    last = frame.iloc[[-1]]
    labels = []
    named = {"p80": "P80", "money": "P50", "paid": "Paid"}
    for column, name in named.items():
        text = alt.Chart(last.assign(text=name)).mark_text(
            align="right",
            dx=-4,
            dy=11 if column == "money" else -8,
            fontWeight=600,
            color=palette.muted if column == "paid" else palette.ink,
        )
        labels.append(text.encode(x=x, y=f"{column}:Q", text="text:N"))
    layers = [band, paid, middle, eight, receipts, *labels]
    now, before = points[-1], points[0]
    change = now.p80 - before.p80
    moved = signed(change, currency, error)
    title = f"P80 is {about(now.p80, currency, error)}, {moved} since {before.date.day} {before.date:%B}"
    if budget is not None:
        layers += _level(budget, f"{budget_name} {about(budget, currency)}", palette, palette.over, 300, top)
    description = (
        f"Forecast final cost over time. {title}. P50 now {about(now.p50, currency)}, P10 {about(now.p10, currency)}, "
        f"P90 {about(now.p90, currency)}; paid {about(now.paid, currency)}."
    )
    note = "Band: 8 of 10 builds (P10 to P90). Ticks below: days with something new."
    return framed(alt.layer(*layers), title, description, palette, 300, note)


def moved_waterfall(
    start: tuple[str, float],
    steps: Sequence[tuple[str, float]],
    currency: str,
    palette: Palette = LIGHT,
    end_name: str = "Now",
    quantity: str = "P80",
) -> Any:
    """Draw what moved a figure, as steps that add up.

    Parameters
    ----------
    start : (name, value)
        Where it stood.
    steps : sequence of (name, change)
    currency : str
    palette : Palette
    end_name, quantity : str
        Names of the last bar and of the figure.
    """
    rows: list[dict[str, Any]] = [
        {"key": start[0], "from": 0.0, "to": start[1], "text": about(start[1], currency), "kind": "whole"}
    ]
    level = start[1]
    for name, change in steps:
        rows.append(
            {
                "key": name, "from": level, "to": level + change, "text": signed(change, currency),
                "kind": "up" if change >= 0 else "down",
            }
        )  # fmt: skip
        level += change
    rows.append({"key": end_name, "from": 0.0, "to": level, "text": about(level, currency), "kind": "whole"})
    ends = [value for row in rows[1:-1] for value in (row["from"], row["to"])] or [start[1]]
    reach = max(ends) - min(ends) or abs(level) * 0.05 or 1.0
    low = max(0.0, min(*ends, start[1], level) - 0.6 * reach)
    for row in rows:
        if row["kind"] == "whole":
            row["from"] = low
        row["right"] = max(row["from"], row["to"])
    frame = pd.DataFrame(rows)
    most = float(frame["right"].max())
    # the longest bar leaves room for its figure, however narrow the screen
    high = alt.ExprRef(f"{low} + {most - low} * width / max(width - 84, 40)")
    order = [row["key"] for row in rows]
    y = alt.Y(
        "key:N", sort=None, scale=alt.Scale(domain=order, paddingInner=0.35),
        axis=alt.Axis(
            title=None, labelLimit=alt.ExprRef("width < 420 ? 130 : 260"), labelColor=palette.ink, labelPadding=6
        ),
    )  # fmt: skip
    x = alt.X(
        "from:Q",
        axis=money_axis(currency),
        scale=alt.Scale(domainMin=low, domainMax=high, nice=False, zero=False),
    )
    base = alt.Chart(frame).encode(y=y)
    whole = base.transform_filter("datum.kind === 'whole'").mark_bar(color=palette.muted)
    down = base.transform_filter("datum.kind === 'down'").mark_bar(color=palette.accent)
    up = base.transform_filter("datum.kind === 'up'").mark_bar(
        color=palette.over, fillOpacity=0.15, stroke=palette.over, strokeWidth=1.5
    )
    bars = [layer.encode(x=x, x2="to:Q") for layer in (whole, down, up)]
    texts = base.mark_text(align="left", dx=6, fontSize=12).encode(x="right:Q", text="text:N")
    change = level - start[1]
    biggest = max(
        (step for step in steps if not step[0].endswith("other days")),
        key=lambda item: abs(item[1]),
        default=("nothing", 0.0),
    )
    title = (
        f"{quantity} moved by {signed(change, currency)}; most came from {biggest[0]} "
        f"({signed(biggest[1], currency)})"
    )
    if not steps:
        title = f"{quantity} has not moved"
    description = f"{title}. From {about(start[1], currency)}: " + "; ".join(
        f"{name} {signed(value, currency)}" for name, value in steps
    )
    note = "Outlined: dearer. Filled: cheaper. " + ("The axis does not begin at zero." if low > 0 else "")
    return framed(
        alt.layer(*bars, texts),
        title,
        f"{description}; now {about(level, currency)}.",
        palette,
        27 * len(rows),
        note,
    )
