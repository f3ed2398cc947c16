"""What moved a forecast, as steps that add up."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import altair as alt
import pandas as pd

from forecast.views.charts.frame import framed, money_axis
from forecast.views.money import about, signed
from forecast.views.theme import LIGHT, Palette


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
    bars = [layer.encode(x=x, x2=alt.X2("to:Q")) for layer in (whole, down, up)]
    texts = base.mark_text(align="left", dx=6, fontSize=12).encode(
        x=alt.X("right:Q"), text=alt.Text("text:N")
    )
    whole_change = signed(level - start[1], currency)
    title = (
        f"{quantity} moved by {whole_change}, from {about(start[1], currency)} to {about(level, currency)}"
    )
    if not steps:
        title = f"{quantity} has not moved: {about(level, currency)}"
    description = f"{title}. From {start[0]} to {end_name.lower()}: " + "; ".join(
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
