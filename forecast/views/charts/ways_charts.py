"""Ways of doing the build against each other: what each costs more than the cheapest, and every mix of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import altair as alt
import numpy as np
import pandas as pd

from forecast.decide.mix import Mix, Mixes
from forecast.engine.statistics import Estimate, percentiles
from forecast.figures.shapes import Array
from forecast.views.charts.frame import (
    MOST_POINTS,
    framed,
    layered,
    money_axis,
    nice_step,
    span,
    tips,
    x_at,
    y_at,
)
from forecast.views.theme import LIGHT, Palette
from forecast.words.money import about, builds, estimated, hours


@dataclass(frozen=True)
class AgainstCheapest:
    """What one way costs more than the cheapest, trial by trial.

    Attributes
    ----------
    name : str
    difference : ndarray, shape (N,)
    dearer_by : Estimate
        Its mean, negative where it costs less: what is said of two ways everywhere.
    cheaper : float
        Chance that it costs less.
    """

    name: str
    difference: Array
    dearer_by: Estimate
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
        found = percentiles(way.difference, (0.025, 0.1, 0.25, 0.75, 0.9, 0.975), weights)
        rows.append(
            dict(zip(("a", "b", "c", "d", "e", "f"), map(float, found), strict=True))
            | {"key": way.name, "mean": way.dearer_by.value,
               "figures": f"{_more_or_less(way.dearer_by, currency)} on average; cheaper in {builds(way.cheaper)}"}
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
    middle = base.mark_tick(thickness=3, height=24, color=palette.ink).encode(x=alt.X("mean:Q"))
    # As high as the bands of each row: a line from top to bottom would run through the words.
    zero = base.mark_tick(thickness=1.5, height=30, color=palette.ink).encode(x=alt.XDatum(0.0))
    names: list[Any] = []
    looks: tuple[tuple[str, int, dict[str, Any]], ...] = (
        ("key", -24, {"fontSize": 13, "fontWeight": 600, "color": palette.ink}),
        ("figures", 24, {"fontSize": 12, "color": palette.muted}),
    )
    for column, dy, look in looks:
        # a halo, for the lines of the axis run through
        plain = {name: part for name, part in look.items() if name != "color"}
        halo = base.mark_text(
            align="left", dy=dy, stroke=palette.paper, strokeWidth=4, strokeJoin="round", **plain
        )
        text = base.mark_text(align="left", dy=dy, **look)
        names += [mark.encode(x=x_at(4), text=alt.Text(f"{column}:N")) for mark in (halo, text)]
    said = "; ".join(f"{row['key']} {row['figures']}" for row in rows)
    title = f"What the others cost more than {reference}, in the same build"
    note = (
        "Right of the line: dearer. Bands, from dark to pale: 50, 80 and 95 of 100 builds. Tick: on average."
    )
    chart = layered(*bands, zero, middle, *names)
    return framed(chart, title, f"{title}: {said}.", palette, 92 * len(rows), note)


def _more_or_less(found: Estimate, currency: str) -> str:
    return f"{about(abs(found.value), currency, found.error)} {'more' if found.value >= 0 else 'less'}"


def difference_strip(
    difference: Array,
    dearer_by: Estimate,
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
    dearer_by : Estimate
        Its mean.
    first, second : str
        Their names.
    currency : str
    palette : Palette
    weights : ndarray, shape (N,), optional
    """
    low, high = percentiles(difference, (0.005, 0.995), weights)
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
    description = (
        f"{title}. On average it costs {_more_or_less(dearer_by, currency)}; in 99 of 100 builds the difference "
        f"lies between {about(low, currency)} and {about(high, currency)}."
    )
    note = "The same build simulated both ways, trial by trial. Filled: cheaper. Outlined: dearer."
    return framed(layered(below, above, zero, *texts), title, description, palette, 170, note)


def frontier(found: Mixes, currency: str, palette: Palette = LIGHT) -> Any:
    """Draw mixes by own hours and cost at P80, those that no other beats joined, the best within the limits ringed.

    Parameters
    ----------
    found : Mixes
    currency : str
    palette : Palette
    """
    kept = found.some_of_frontier(MOST_POINTS)
    line = _less_work(kept)
    sooner = [item for item in kept if item not in line]
    others = [item for item in found.mixes if item not in kept]
    others = others[:: max(1, -(-len(others) // MOST_POINTS))]
    marked = found.best or found.cheapest
    costs = [item.p80 for item in (*kept, *others)] + ([found.money] if found.money is not None else [])
    work = [item.hours_p80 for item in (*kept, *others)] + ([found.hours] if found.hours is not None else [])
    across, up = span(work, room=0.06), span(costs, room=0.12)
    x = alt.X(
        "hours:Q", scale=alt.Scale(domain=[max(across[0], 0.0), across[1]], nice=False),
        axis=alt.Axis(
            title="own hours (P80)", labelExpr="format(datum.value, ',.0f') + '\u00a0h'", tickCount=6, grid=False,
            labelOverlap="greedy",
        ),
    )  # fmt: skip
    y = alt.Y(
        "cost:Q",
        scale=alt.Scale(domain=[max(up[0], 0.0), up[1]], nice=False),
        axis=money_axis(currency, tickCount=5, labelFlush=False),
    )
    shown = ("Farmed out:N", "P80:N", "Own hours:N", *(("Weeks:N",) if found.soonest is not None else ()))
    tooltip = tips(*shown)
    faint = (
        alt.Chart(_frame(found, others, currency))
        .mark_circle(size=26, color=palette.faint, opacity=0.75)
        .encode(x=x, y=y, tooltip=tooltip)
    )
    base = alt.Chart(_frame(found, line, currency)).encode(x=x, y=y, tooltip=tooltip)
    joined = base.mark_line(color=palette.accent, strokeWidth=1.6, interpolate="step-before").encode(
        order=alt.Order("hours:Q")
    )
    dots = base.mark_circle(size=44, color=palette.accent, opacity=1)
    open_dots = (
        alt.Chart(_frame(found, sooner, currency))
        .mark_point(size=44, color=palette.accent, filled=False, strokeWidth=1.6, opacity=1, shape="circle")
        .encode(x=x, y=y, tooltip=tooltip)
    )
    ring = (
        alt.Chart(_frame(found, [marked], currency))
        .mark_point(size=190, filled=False, color=palette.ink, strokeWidth=2, shape="circle")
        .encode(x=x, y=y, tooltip=tooltip)
    )
    # No mix lies below and left of the joined ones: a label there covers none.
    label = _label(
        alt.Chart(
            pd.DataFrame({"hours": [marked.hours_p80], "cost": [marked.p80], "label": [_word(found)]})
        ).encode(x=x, y=y),
        palette.ink, palette, align="right", dx=-4, dy=20,
    )  # fmt: skip
    layers = [*_limits(found, currency, palette), faint, joined, open_dots, dots, ring, *label]
    title = _title(found, currency)
    note = "Each dot is one mix. Joined: no other mix is both cheaper and less work. The axes need not begin at zero."
    if sooner:
        note += " Open: dearer or more work than a joined one, and done in fewer weeks."
    if found.money is not None or found.hours is not None:
        note += " Dashed: your limits."
    ends = f"{_said(found, found.cheapest, currency)}; {_said(found, found.least_work, currency)}"
    description = (
        f"{title}. {len(found.mixes):,} mixes by own hours and cost at P80; {len(found.frontier)} of them are not "
        f"beaten in {'P80, own hours and weeks' if found.soonest is not None else 'both'}. The ends: {ends}."
    )
    if found.best is not None and _word(found) == "best":
        among = "within your limits" if found.leaving is None else "with what is agreed kept"
        description += f" Best {among}: {_said(found, found.best, currency)}."
    return framed(layered(*layers), title, description, palette, 300, note)


def _less_work(order: Sequence[Mix]) -> tuple[Mix, ...]:
    """Keep, of mixes from the cheapest on, those that take fewer own hours than all before: a staircase."""
    found: list[Mix] = []
    for item in order:
        if not found or item.hours_p80 < found[-1].hours_p80:
            found.append(item)
    return tuple(found)


def _word(found: Mixes) -> str:
    bound = any(limit is not None for limit in (found.money, found.hours, found.weeks, found.leaving))
    return "best" if bound and found.best is not None else "cheapest"


def _label(base: Any, colour: str, palette: Palette, **place: Any) -> list[Any]:
    """Write a label with a halo of paper, so that a gridline does not run through it."""
    look = {"fontSize": 12.5, **place}
    halo = base.mark_text(**look, stroke=palette.paper, strokeWidth=4, strokeJoin="round")
    return [
        halo.encode(text=alt.Text("label:N")),
        base.mark_text(**look, color=colour, fontWeight=600).encode(text=alt.Text("label:N")),
    ]


def _title(found: Mixes, currency: str) -> str:
    low, least = found.cheapest, found.least_work
    if low == least:
        return f"One mix is both the cheapest and the least work: {_said(found, low, currency)}"
    return (
        f"From {estimated(found.p80_of(low), currency)} and {hours(low.hours_p80)} of your own to "
        f"{estimated(found.p80_of(least), currency)} and {hours(least.hours_p80)}"
    )


def _said(found: Mixes, item: Mix, currency: str) -> str:
    away = ", ".join(item.farmed_out) or "nothing"
    return f"{estimated(found.p80_of(item), currency)} and {hours(item.hours_p80)} with {away} farmed out"


def _frame(found: Mixes, items: list[Mix] | tuple[Mix, ...], currency: str) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "hours": [item.hours_p80 for item in items],
            "cost": [item.p80 for item in items],
            "Farmed out": [", ".join(item.farmed_out) or "nothing" for item in items],
            "P80": [estimated(found.p80_of(item), currency) for item in items],
            "Own hours": [hours(item.hours_p80) for item in items],
            "Weeks": ["" if item.weeks is None else f"{item.weeks:.0f}" for item in items],
        }
    )


def _limits(found: Mixes, currency: str, palette: Palette) -> list[Any]:
    layers: list[Any] = []
    if found.money is not None:
        frame = pd.DataFrame({"cost": [found.money], "label": [f"your limit {about(found.money, currency)}"]})
        base = alt.Chart(frame).encode(y=alt.Y("cost:Q", scale=alt.Scale(zero=False)))
        layers.append(base.mark_rule(color=palette.over, strokeDash=[4, 3], strokeWidth=1.5))
        below = found.money < found.cheapest.p80
        at = x_at(4) if below else x_at(alt.ExprRef("width - 2"))
        layers += _label(
            base.encode(x=at), palette.over, palette,
            align="left" if below else "right", baseline="top" if below else "bottom", dy=4 if below else -4,
        )  # fmt: skip
    if found.hours is not None:
        frame = pd.DataFrame({"hours": [found.hours], "label": [f"your limit {found.hours:,.0f}\u00a0h"]})
        base = alt.Chart(frame).encode(x=alt.X("hours:Q", scale=alt.Scale(zero=False)))
        layers.append(base.mark_rule(color=palette.over, strokeDash=[4, 3], strokeWidth=1.5))
        work = [item.hours_p80 for item in found.mixes]
        at_left = found.hours > 0.5 * (min(work) + max(work))
        layers += _label(
            base.encode(y=y_at(4)), palette.over, palette,
            align="right" if at_left else "left", baseline="top", dx=-5 if at_left else 5,
        )  # fmt: skip
    return layers
