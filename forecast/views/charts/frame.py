"""What the charts have in common: money axes, labelled rules, and the frame around the marks."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import altair as alt
import pandas as pd
from altair.utils import schemapi
from babel.numbers import get_currency_symbol

from forecast.views.theme import Palette, settings
from forecast.words.money import LOCALE

MOST_POINTS = 200
"""Points a series may have."""

_NARROW = 330.0  # pixels that a chart has on a phone
_LETTER = 6.7  # pixels of a letter of a rule's label


@dataclass(frozen=True)
class Rule:
    """A labelled rule across a chart."""

    value: float
    text: str
    dashed: bool = False
    over: bool = False


x_at: Any = alt.XValue
y_at: Any = alt.YValue
y2_at: Any = alt.Y2Value
"""Places in pixels, whatever the scale; altair's own classes, to which it gives no types."""


def symbol(currency: str) -> str:
    """Give what stands before an amount: a sign, or a code in letters with a space."""
    mark = str(get_currency_symbol(currency, LOCALE))
    return mark + "\u00a0" if mark[-1].isalpha() else mark


NEAR_THE_END = 30
"""Pixels from the end of an axis within which a label stands inward of its tick: astride it, it would be cut off."""


def money_axis(currency: str, **more: Any) -> alt.Axis:
    """Give an axis in money with thousands; one that stands upright has ``labelFlush=False``."""
    mark = json.dumps(symbol(currency))
    label = f"(datum.value < 0 ? '\u2212' : '') + {mark} + format(abs(datum.value), ',.0f')"
    chosen: dict[str, Any] = {
        "labelExpr": label, "title": None, "labelOverlap": "greedy", "labelFlush": NEAR_THE_END,
        "tickCount": {"expr": "max(2, floor(width / 110))"}, "grid": True, "labelSeparation": 8,
    }  # fmt: skip
    return alt.Axis(**(chosen | more))


def tips(*columns: str) -> list[alt.Tooltip]:
    """Give what is said at the pointer, one column of the chart's table each.

    Here as in all charts a channel is named by its class: for a bare "P50:N" altair hashes all its schemas to find that
    class, which takes 20 ms each time and was a third of drawing a page.
    """
    return [alt.Tooltip(column) for column in columns]


def span(values: Sequence[float], *, zero: bool = False, room: float = 0.03) -> tuple[float, float]:
    """Give the ends of an axis around some values."""
    low, high = min(values), max(values)
    if zero:
        low, high = min(low, 0.0), max(high, 0.0)
    width = (high - low) or abs(high) or 1.0
    return (low - (0 if zero and low == 0 else room * width), high + room * width)


def rules(
    items: Sequence[Rule], ends: tuple[float, float], palette: Palette, first: float = 8
) -> list[alt.Chart]:
    """Draw labelled vertical rules, each label on a level of its own so that none covers another.

    A label stands to the right of its rule, and the labels step down from left to right, or to its left, and they
    step down from right to left: so no rule runs through a label of its own side. Which labels stand to the left is
    chosen for a narrow screen.

    Parameters
    ----------
    items : sequence of Rule
    ends : tuple of float
        Of the axis.
    palette : Palette
    first : float
        How many pixels below the top the uppermost label stands.
    """
    layers: list[alt.Chart] = []
    for level, (item, align) in enumerate(_placed(items, ends)):
        colour = palette.over if item.over else palette.ink
        top = first + 17 * level
        base = alt.Chart(few({"value": item.value, "label": item.text})).encode(x=alt.X("value:Q"))
        layers.append(
            base.mark_rule(
                color=colour, strokeWidth=1.5, strokeDash=[4, 3] if item.dashed else [1, 0]
            ).encode(y=y_at(top), y2=y2_at(alt.ExprRef("height")))
        )
        text: dict[str, Any] = {
            "align": align, "dx": 5 if align == "left" else -5, "baseline": "middle", "fontSize": 12.5,
            "fontWeight": 600,  # the paper below is as wide as the letters on it
        }  # fmt: skip
        halo = base.mark_text(**text, stroke=palette.paper, strokeWidth=4, strokeJoin="round")
        layers.append(halo.encode(text=alt.Text("label:N"), y=y_at(top)))
        layers.append(base.mark_text(**text, color=colour).encode(text=alt.Text("label:N"), y=y_at(top)))
    return layers


def _placed(items: Sequence[Rule], ends: tuple[float, float]) -> list[tuple[Rule, str]]:
    """Give rules from the top level down, each with its label's alignment.

    Rules from some place on have their label at the left: the place where labels leave the chart least, and are run
    through least, on a narrow screen.
    """
    ordered = sorted(items, key=lambda item: item.value)
    places = [(item.value - ends[0]) / (ends[1] - ends[0]) * _NARROW for item in ordered]
    widths = [8 + _LETTER * len(item.text) for item in ordered]

    def trouble(split: int) -> float:
        right = [place + width for place, width in zip(places[:split], widths[:split], strict=True)]
        left = [width - place for place, width in zip(places[split:], widths[split:], strict=True)]
        beyond = sum(max(end - _NARROW, 0) for end in right) + sum(max(end, 0) for end in left)
        crossed = sum(end > place for end in right for place in places[split:])
        return beyond + 2 * _LETTER * crossed  # a rule through a label is as bad as two letters cut off

    usual = sum(
        place <= 0.5 * _NARROW for place in places
    )  # those in the right half, where nothing is in the way
    split = min(range(len(ordered) + 1), key=lambda place: (trouble(place), abs(place - usual)))
    # Labels at the left go first: those at the right, below, may on a narrow screen reach across their rules.
    return [(item, "right") for item in reversed(ordered[split:])] + [
        (item, "left") for item in ordered[:split]
    ]


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


class _Layered(alt.LayerChart):
    """Layers that are put together by `layered`, and not again for each property that is set, nor to write them.

    Altair then copies every part of every layer several times over, which took as long as all else of a chart.
    """

    def __init__(self, data: Any = alt.Undefined, layer: Sequence[Any] = (), **more: Any) -> None:
        alt.TopLevelLayerSpec.__init__(self, data=data, layer=list(layer), **more)


def layered(*layers: Any) -> Any:
    """Lay charts over one another, as `altair.layer` does for charts that have no parameters and no size."""
    if any(one.data is not layers[0].data for one in layers) or layers[0].data is alt.Undefined:
        return _Layered(layer=layers)
    bare = [one.copy(deep=False) for one in layers]
    for one in bare:
        one.data = alt.Undefined
    return _Layered(data=layers[0].data, layer=bare)


def few(*rows: dict[str, Any]) -> dict[str, Any]:
    """Give a chart's table of a few rows as it is written: a data frame takes longer than all that is drawn of it."""
    return {"values": list(rows)}


def moment(day: date) -> str:
    """Write the beginning of a day as a chart's table has it."""
    return f"{day:%Y-%m-%d}T00:00:00"


def _rows_of(frame: Any) -> Any:
    """Give a chart's table as rows; altair's own way is taken where a column needs more than to be read.

    Several layers show the same table, each of which would have it made into rows again.
    """
    if not isinstance(frame, pd.DataFrame):
        return alt.default_data_transformer(frame)
    if _ROWS not in frame.attrs:
        columns = {str(name): frame[name].tolist() for name in frame}
        if any(type(one) not in _READ for column in columns.values() for one in column):
            return alt.default_data_transformer(frame)
        read = [[_READ[type(one)](one) for one in column] for column in columns.values()]
        frame.attrs[_ROWS] = [dict(zip(columns, row, strict=True)) for row in zip(*read, strict=True)]
    return {"values": frame.attrs[_ROWS]}


def _same(one: Any) -> Any:
    return one


_READ: dict[type, Callable[[Any], Any]] = {
    str: _same, bool: _same, int: _same, float: lambda one: one if math.isfinite(one) else None,
    pd.Timestamp: lambda one: one.isoformat(),
}  # fmt: skip
"""How what stands in a table is written, by its type."""
_ROWS = "rows"
alt.data_transformers.register("plain", _rows_of)
alt.data_transformers.enable("plain")


def wrapped(text: str, width: int = 78) -> list[str]:
    """Break a title into lines: charts do not wrap by themselves."""
    lines: list[str] = [""]
    for word in text.split(" "):
        if lines[-1] and len(lines[-1]) + len(word) + 1 > width:
            lines.append(word)
        else:
            lines[-1] = f"{lines[-1]} {word}".strip()
    return lines


def label_lookup(labels: Mapping[str, str | list[str]]) -> str:
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


def trust_charts() -> None:
    """Leave the schema out of drawing for the rest of the process.

    Tests hold every chart against it; on a screen that takes longer than all the rest of drawing one.
    """
    schemapi.DEBUG_MODE = False
