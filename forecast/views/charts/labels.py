"""Names beside the ends of lines, kept apart where the lines come close."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import altair as alt
import pandas as pd

from forecast.views.charts.frame import few, moment
from forecast.views.theme import Palette

LETTER = 7.6
"""Pixels that a letter of a label takes, on average."""
LEAST_APART = 15.0
"""Pixels between the middles of two labels, one above the other."""


@dataclass(frozen=True)
class EndLabel:
    """A name to stand at the end of a line."""

    value: float
    text: str
    colour: str


def spread_apart(
    wanted: Sequence[float], least: float, low: float = -math.inf, high: float = math.inf
) -> list[float]:
    """Give positions at least so far apart, moved as little as possible from where they are wanted.

    The order is kept, and the sum of squared moves is the least there is: less an even spacing this is isotonic
    regression, done by pooling adjacent violators (Barlow et al. 1972, from memory). Bounds are met as long as there
    is room for all.

    Parameters
    ----------
    wanted : sequence of float
    least : float
        Least distance of neighbours.
    low, high : float
        Bounds of all positions.
    """
    order = sorted(range(len(wanted)), key=lambda place: wanted[place])
    pools: list[tuple[float, int]] = []  # mean and number of each pool
    for rank, place in enumerate(order):
        pools.append((wanted[place] - rank * least, 1))
        while len(pools) > 1 and pools[-2][0] > pools[-1][0]:
            (one, many), (other, more) = pools[-2:]
            pools[-2:] = [((one * many + other * more) / (many + more), many + more)]
    level = [mean for mean, count in pools for _ in range(count)]
    found = [0.0] * len(order)
    room = high - (len(order) - 1) * least
    for rank, place in enumerate(order):
        found[place] = max(low, min(level[rank], room)) + rank * least
    return found


def gutter(labels: Sequence[EndLabel]) -> float:
    """Give how many pixels to the right of the lines their names take."""
    return 14 + LETTER * max((len(label.text) for label in labels), default=0)


def days_with_gutter(first: dt.date, last: dt.date, room: float) -> alt.Scale:
    """Give a scale of days that leaves so many pixels free at its right."""
    start, end = (pd.Timestamp(day).timestamp() * 1000 for day in (first, last))
    beyond = alt.ExprRef(f"{end} + {max(end - start, 1.0)} * {room} / max(width - {room}, 40)")
    return alt.Scale(domainMin=alt.ExprRef(f"{start}"), domainMax=beyond, nice=False)


def end_labels(
    labels: Sequence[EndLabel], day: dt.date, ends: tuple[float, float], height: float, palette: Palette
) -> list[Any]:
    """Draw names to the right of the last day, none over another.

    Parameters
    ----------
    labels : sequence of EndLabel
    day : datetime.date
        Where the lines end.
    ends : tuple of float
        Of the money axis.
    height : float
        Of the plot, in pixels.
    palette : Palette
    """
    pixel = (ends[1] - ends[0]) / height
    wanted = [label.value for label in labels]
    places = spread_apart(wanted, LEAST_APART * pixel, ends[0] + 6 * pixel, ends[1] - 6 * pixel)
    rows = [
        {"day": moment(day), "money": place, "label": label.text, "colour": label.colour}
        for label, place in zip(labels, places, strict=True)
    ]
    base = alt.Chart(few(*rows)).encode(x=alt.X("day:T"), y=alt.Y("money:Q"), text=alt.Text("label:N"))
    text: dict[str, Any] = {
        "align": "left",
        "baseline": "middle",
        "dx": 8,
        "fontWeight": 600,
        "fontSize": 12.5,
    }
    halo = base.mark_text(**text, stroke=palette.paper, strokeWidth=4, strokeJoin="round")
    return [halo, base.mark_text(**text).encode(color=alt.Color("colour:N", scale=None, legend=None))]
