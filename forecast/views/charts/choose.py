"""Ways of doing the build: what each costs more than the cheapest, and how far apart two of them are."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import altair as alt
import numpy as np
import pandas as pd

from forecast.engine.statistics import percentiles
from forecast.figures.shapes import Array
from forecast.views.charts.frame import framed, layered, money_axis, nice_step, span, tips, x_at, y_at
from forecast.views.theme import LIGHT, Palette
from forecast.words.money import about, builds


@dataclass(frozen=True)
class AgainstCheapest:
    """What one way costs more than the cheapest, trial by trial.

    Attributes
    ----------
    name : str
    difference : ndarray, shape (N,)
    cheaper : float
        Chance that it costs less.
    """

    name: str
    difference: Array
    cheaper: float


def difference_bands(
    ways: Sequence[AgainstCheapest],
    reference: str,
    currency: str,
    palette: Palette = LIGHT,
    weights: Array | None = None,
) -> Any:
    """Draw for each way what it costs more than the cheapest: bands in three steps around one zero.

    Parameters
    ----------
    ways : sequence of AgainstCheapest
        All others.
    reference : str
        Name of the cheapest.
    currency : str
    palette : Palette
    weights : ndarray, shape (N,), optional
    """
    rows = []
    for way in ways:
        found = percentiles(way.difference, (0.025, 0.1, 0.25, 0.5, 0.75, 0.9, 0.975), weights)
        half = float(found[3])
        side = "more" if half >= 0 else "less"
        rows.append(
            dict(zip(("a", "b", "c", "half", "d", "e", "f"), map(float, found), strict=True))
            | {"key": way.name, "figures": f"{about(abs(half), currency)} {side} in the middle; "
               f"cheaper in {builds(way.cheaper)}"}
        )  # fmt: skip
    frame = pd.DataFrame(rows)
    ends = span([*frame["a"], *frame["f"], 0.0], room=0.06)
    y = alt.Y("key:N", sort=None, scale=alt.Scale(paddingInner=0.5, paddingOuter=0.45), axis=None)
    base = alt.Chart(frame).encode(y=y, tooltip=tips("key:N", "figures:N"))
    scale = alt.Scale(domain=list(ends), nice=False, zero=False)
    bands = [
        base.mark_bar(height=height, color=palette.accent, opacity=opacity).encode(
            x=alt.X(f"{low}:Q", axis=money_axis(currency), scale=scale), x2=alt.X2(f"{high}:Q")
        )
        for low, high, height, opacity in (("a", "f", 8, 0.28), ("b", "e", 13, 0.42), ("c", "d", 18, 0.75))
    ]
    middle = base.mark_tick(thickness=3, height=24, color=palette.ink).encode(x=alt.X("half:Q"))
    zero = alt.Chart(pd.DataFrame({"a": [0.0]})).mark_rule(color=palette.ink, strokeWidth=1.5)
    names: list[Any] = []
    looks: tuple[tuple[str, int, dict[str, Any]], ...] = (
        ("key", -24, {"fontSize": 13, "fontWeight": 600, "color": palette.ink}),
        ("figures", 24, {"fontSize": 12, "color": palette.muted}),
    )
    for column, dy, look in looks:
        # a halo, for the zero line runs through where the cheapest is far from the others
        plain = {name: part for name, part in look.items() if name != "color"}
        halo = base.mark_text(
            align="left", dy=dy, stroke=palette.paper, strokeWidth=4, strokeJoin="round", **plain
        )
        text = base.mark_text(align="left", dy=dy, **look)
        names += [mark.encode(x=x_at(4), text=alt.Text(f"{column}:N")) for mark in (halo, text)]
    said = "; ".join(f"{row['key']} {row['figures']}" for row in rows)
    title = f"What the others cost more than {reference}, in the same build"
    note = "Right of the line: dearer. Bands, from dark to pale: 50, 80 and 95 of 100 builds. Tick: the middle (P50)."
    chart = layered(*bands, zero.encode(x=alt.X("a:Q")), middle, *names)
    return framed(chart, title, f"{title}: {said}.", palette, 92 * len(rows), note)


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
    return framed(layered(below, above, zero, *texts), title, description, palette, 170, note)
