"""What the charts have in common: money axes, labelled rules, and the frame around the marks."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import altair as alt
import pandas as pd
from babel.numbers import get_currency_symbol

from forecast.views.money import LOCALE
from forecast.views.theme import Palette, settings

MOST_POINTS = 200
"""Points a series may have."""


@dataclass(frozen=True)
class Rule:
    """A labelled rule across a chart."""

    value: float
    text: str
    dashed: bool = False
    over: bool = False


def symbol(currency: str) -> str:
    """Give what stands before an amount: a sign, or a code in letters with a space."""
    mark = str(get_currency_symbol(currency, LOCALE))
    return mark + "\u00a0" if mark[-1].isalpha() else mark


def money_axis(currency: str, **more: Any) -> alt.Axis:
    """Give an axis in money with thousands."""
    mark = json.dumps(symbol(currency))
    label = f"(datum.value < 0 ? '\u2212' : '') + {mark} + format(abs(datum.value), ',.0f')"
    chosen: dict[str, Any] = {
        "labelExpr": label, "title": None, "labelOverlap": "greedy", "labelFlush": False,
        "tickCount": {"expr": "max(2, floor(width / 110))"}, "grid": True, "labelSeparation": 8,
    }  # fmt: skip
    return alt.Axis(**(chosen | more))


def span(values: Sequence[float], *, zero: bool = False, room: float = 0.03) -> tuple[float, float]:
    """Give the ends of an axis around some values."""
    low, high = min(values), max(values)
    if zero:
        low, high = min(low, 0.0), max(high, 0.0)
    width = (high - low) or abs(high) or 1.0
    return (low - (0 if zero and low == 0 else room * width), high + room * width)


def rules(items: Sequence[Rule], ends: tuple[float, float], palette: Palette) -> list[alt.Chart]:
    """Draw labelled vertical rules, each label on a level of its own so that none covers another.

    Labels of rules in the left half stand to the right of their rule and step down from left to right; those
    in the right half stand to the left and step down from right to left. So no rule runs through a label.
    """
    middle = (ends[0] + ends[1]) / 2
    left = sorted((item for item in items if item.value <= middle), key=lambda item: item.value)
    right = sorted((item for item in items if item.value > middle), key=lambda item: -item.value)
    layers: list[alt.Chart] = []
    # The right half goes first and the left below it: a long label on a narrow screen may reach across.
    for level, item in enumerate([*right, *left]):
        colour = palette.over if item.over else palette.ink
        top = 8 + 17 * level
        frame = pd.DataFrame({"value": [item.value], "label": [item.text]})
        base = alt.Chart(frame).encode(x=alt.X("value:Q"))
        align: Any = "left" if item.value <= middle else "right"
        layers.append(
            base.mark_rule(
                color=colour, strokeWidth=1.5, strokeDash=[4, 3] if item.dashed else [1, 0]
            ).encode(y=alt.value(top), y2=alt.value(alt.ExprRef("height")))
        )
        text = {"align": align, "dx": 5 if align == "left" else -5, "baseline": "middle", "fontSize": 12.5}
        halo = base.mark_text(**text, stroke=palette.paper, strokeWidth=4, strokeJoin="round")
        layers.append(halo.encode(text="label:N", y=alt.value(top)))
        layers.append(
            base.mark_text(**text, color=colour, fontWeight=600).encode(text="label:N", y=alt.value(top))
        )
    return layers


def framed(
    chart: Any, title: str, description: str, palette: Palette, height: Any, subtitle: str = ""
) -> Any:
    """Put title, description and the one look around a chart."""
    heading = alt.TitleParams(text=wrapped(title), subtitle=wrapped(subtitle, 96) if subtitle else [])
    fitted = alt.AutoSizeParams(type="fit-x", contains="padding")
    done = chart.properties(
        title=heading, description=description, width="container", height=height, autosize=fitted
    )
    return done.configure(**settings(palette))


def wrapped(text: str, width: int = 78) -> list[str]:
    """Break a title into lines: charts do not wrap by themselves."""
    lines: list[str] = [""]
    for word in text.split(" "):
        if lines[-1] and len(lines[-1]) + len(word) + 1 > width:
            lines.append(word)
        else:
            lines[-1] = f"{lines[-1]} {word}".strip()
    return lines


def label_lookup(labels: dict[str, str]) -> str:
    """Give a Vega expression that shows a label for each key of an axis."""
    return f"({json.dumps(labels)})[datum.value]"


def nice_step(width: float, parts: int) -> float:
    """Give a round step that cuts a width into about so many parts."""
    raw = max(width / parts, 1e-9)
    power = 10 ** math.floor(math.log10(raw))
    return float(next(factor for factor in (1, 2, 2.5, 5, 10) if factor * power >= raw) * power)


def without_title(chart: Any) -> dict[str, Any]:
    """Give a chart's Vega-Lite without its title, for places that write the title as text.

    It is not held against the schema again: tests do that for every chart, and on a screen it takes longer than all
    the rest of drawing one.
    """
    specification: dict[str, Any] = chart.to_dict(validate=False)
    specification.pop("title", None)
    return specification
