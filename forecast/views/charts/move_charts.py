"""What moved a forecast: its steps as bars from one zero."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import altair as alt
import pandas as pd

from forecast.views.charts.frame import few, framed, layered, money_axis
from forecast.views.theme import LIGHT, Palette
from forecast.words.money import about, signed


def moved_bars(
    start: tuple[str, float],
    steps: Sequence[tuple[str, float]],
    currency: str,
    palette: Palette = LIGHT,
    end_name: str = "Now",
    quantity: str = "P80",
) -> Any:
    """Draw what moved a figure: each step as a bar from one zero, and the whole below them.

    Parameters
    ----------
    start : (name, value)
        Where it stood.
    steps : sequence of (name, change)
    currency : str
    palette : Palette
    end_name, quantity : str
        Name of where it stands at the end, and of the figure.
    """
    level = start[1] + sum(change for _, change in steps)
    rows: list[dict[str, Any]] = [
        {"key": name, "to": change, "text": signed(change, currency), "kind": "up" if change > 0 else "down"}
        for name, change in steps
    ]
    rows.append(
        {"key": "In all", "to": level - start[1], "text": signed(level - start[1], currency), "kind": "whole"}
    )
    frame = pd.DataFrame(rows)
    low, high = min(0.0, *frame["to"]), max(0.0, *frame["to"])
    reach = (high - low) or 1.0
    # at both ends room for a figure, however narrow the screen
    room = f"{reach} * 80 / max(width - 160, 60)"
    scale = alt.Scale(
        domainMin=alt.ExprRef(f"{low} - {room}"),
        domainMax=alt.ExprRef(f"{high} + {room}"),
        nice=False,
        zero=False,
    )
    order = [row["key"] for row in rows]
    y = alt.Y(
        "key:N", sort=None, scale=alt.Scale(domain=order, paddingInner=0.35),
        axis=alt.Axis(
            title=None, labelLimit=alt.ExprRef("width < 420 ? 130 : 260"), labelColor=palette.ink, labelPadding=6
        ),
    )  # fmt: skip
    # With the room for figures a narrow screen is mostly that: of two ticks asked for, zero alone would be in it.
    ticks = {"expr": "max(3, floor(width / 110))"}
    x = alt.X("to:Q", axis=money_axis(currency, tickCount=ticks), scale=scale)
    base = alt.Chart(frame).encode(y=y)
    whole = base.transform_filter("datum.kind === 'whole'").mark_bar(color=palette.muted)
    down = base.transform_filter("datum.kind === 'down'").mark_bar(color=palette.accent)
    up = base.transform_filter("datum.kind === 'up'").mark_bar(
        color=palette.over, fillOpacity=0.15, stroke=palette.over, strokeWidth=1.5
    )
    bars = [layer.encode(x=x) for layer in (whole, down, up)]
    zero = alt.Chart(few({"to": 0.0})).mark_rule(color=palette.ink, strokeWidth=1.2)
    texts = [
        base.transform_filter(side).mark_text(align=align, dx=dx, fontSize=12, color=palette.ink)  # type: ignore[arg-type]
        .encode(x=alt.X("to:Q"), text=alt.Text("text:N"))
        for side, align, dx in (("datum.to >= 0", "left", 6), ("datum.to < 0", "right", -6))
    ]  # fmt: skip
    whole_change = signed(level - start[1], currency)
    title = (
        f"{quantity} moved by {whole_change}, from {about(start[1], currency)} to {about(level, currency)}"
    )
    if about(start[1], currency) == about(level, currency):
        stands = about(level, currency)
        title = f"{quantity} is back at {stands}" if steps else f"{quantity} has not moved: {stands}"
    description = f"{title}. From {start[0]} to {end_name.lower()}: " + "; ".join(
        f"{name} {signed(value, currency)}" for name, value in steps
    )
    note = "Outlined: dearer. Filled: cheaper. Grey: all of them together."
    return framed(
        layered(*bars, zero.encode(x=alt.X("to:Q")), *texts),
        title,
        f"{description}; now {about(level, currency)}.",
        palette,
        30 * len(rows),
        note,
    )
