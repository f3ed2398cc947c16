"""During the build: what is paid against the budget, how the forecast moved, and the contingency left."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import altair as alt
import pandas as pd

from forecast.engine.statistics import Estimate
from forecast.views.charts.frame import (
    MOST_POINTS,
    NEAR_THE_END,
    few,
    framed,
    layered,
    moment,
    money_axis,
    span,
    tips,
    y_at,
)
from forecast.views.theme import LIGHT, Palette
from forecast.views.watch_words import contingency_at
from forecast.watching.history import HistoryPoint
from forecast.words.day_words import long_day
from forecast.words.minor_units import exponent
from forecast.words.money import about, apart, entered, estimated

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


_STEP: Any = "step-after"


def _thin(frame: pd.DataFrame) -> pd.DataFrame:
    """Keep at most as many points as a series may have, first and last among them."""
    if len(frame) <= MOST_POINTS:
        return frame
    step = (len(frame) - 1) / (MOST_POINTS - 1)
    return frame.iloc[[round(place * step) for place in range(MOST_POINTS)]]


class _Days:
    """A plot of money over days: its two axes, level lines across it, and names at the right of its lines."""

    def __init__(
        self,
        days: Sequence[dt.date],
        values: Sequence[float],
        labels: Sequence[EndLabel],
        currency: str,
        height: int,
    ) -> None:
        self.first, self.last, self.height, self.labels = min(days), max(days), height, labels
        low, top = span([*values, *(label.value for label in labels), 0.0], zero=True, room=0.08)
        self.ends = low, top
        self._scale = alt.Scale(domain=list(self.ends), nice=False)
        self._axis = money_axis(currency, tickCount=5, labelFlush=False)
        self.x = alt.X(
            "day:T",
            scale=days_with_gutter(self.first, self.last, gutter(labels)),
            axis=_day_axis(self.first, self.last),
        )

    def y(self, column: str) -> alt.Y:
        """Give the money axis for a column."""
        return alt.Y(f"{column}:Q", axis=self._axis, scale=self._scale)

    def level(self, value: float, colour: str, dash: Sequence[int] = (5, 3)) -> Any:
        """Draw a broken line across all days."""
        ends = few(*({"day": moment(day), "money": value} for day in (self.first, self.last)))
        mark = alt.Chart(ends).mark_line(color=colour, strokeDash=list(dash), strokeWidth=1.5)
        return mark.encode(x=self.x, y=self.y("money"))

    def names(self, palette: Palette) -> list[Any]:
        """Draw the names of the lines."""
        return end_labels(self.labels, self.last, self.ends, self.height, palette)


def _day_tip() -> alt.Tooltip:
    return alt.Tooltip("day:T", title="Day", format="%-d %b %Y")


_FEW_DAYS = 14
"""So many days are ticks one by one; of few the charting library makes hours, each written as the day it is of."""


def _day_axis(first: dt.date, last: dt.date) -> alt.Axis:
    """Give an axis of days on which no day is written twice."""
    days = (last - first).days
    options: dict[str, Any] = {
        "format": "%-d %b", "title": None, "grid": False, "labelOverlap": "greedy", "labelFlush": NEAR_THE_END,
        "tickCount": {"expr": f"min(max(2, floor(width / 90)), {days})"},
    }  # fmt: skip
    if days <= _FEW_DAYS:
        every = [first + dt.timedelta(days=place) for place in range(days + 1)]
        options["values"] = [alt.DateTime(year=day.year, month=day.month, date=day.day) for day in every]
        del options["tickCount"]
    return alt.Axis(**options)


def paid_against_budget(
    payments: Sequence[tuple[dt.date, float]],
    budget: float | None,
    currency: str,
    palette: Palette = LIGHT,
    ends: Mapping[str, Estimate] | None = None,
    *,
    finished: bool = False,
) -> Any:
    """Draw the running total of what is paid, against the budget and where the build ends.

    Parameters
    ----------
    payments : sequence of (date, amount)
        In the build's currency; refunds and voids negative.
    budget : float, optional
    currency : str
    palette : Palette
    ends : mapping, optional
        Sums at which the build ends, by name, such as P50 and P90.
    finished : bool
        Whether nothing more is to be paid.
    """
    daily: dict[dt.date, float] = {}
    for day, amount in sorted(payments):
        daily[day] = daily.get(day, 0.0) + amount
    first = min(daily) - dt.timedelta(days=1)
    frame = pd.DataFrame({"day": [first, *daily], "money": [0.0, *pd.Series(list(daily.values())).cumsum()]})
    frame["day"] = pd.to_datetime(frame["day"])
    frame["Paid"] = [entered(value, currency) for value in frame["money"]]
    frame = _thin(frame)
    paid = float(frame["money"].iloc[-1])
    labels = [EndLabel(paid, "Paid", palette.accent)]
    if budget is not None:
        labels.append(EndLabel(budget, "Budget", palette.over))
    labels += [EndLabel(end.value, name, palette.ink) for name, end in (ends or {}).items()]
    plot = _Days([first, *daily], list(frame["money"]), labels, currency, 240)
    base = alt.Chart(frame).encode(
        x=plot.x,
        y=plot.y("money"),
        tooltip=[_day_tip(), *tips("Paid:N")],
    )
    area = base.mark_area(interpolate="step-after", color=palette.accent_soft, opacity=0.35)
    line = base.mark_line(interpolate="step-after", color=palette.accent, strokeWidth=2.2)
    end = (
        alt.Chart(frame.iloc[[-1]])
        .mark_point(filled=True, size=60, color=palette.accent, opacity=1)
        .encode(x=plot.x, y=plot.y("money"))
    )
    layers = [area, line, end, *(plot.level(one.value, palette.ink, [2, 2]) for one in (ends or {}).values())]
    title = f"{entered(paid, currency)} paid {'in all' if finished else 'so far'}"
    if budget is not None:
        layers.append(plot.level(budget, palette.over))
        of = f"the budget of {entered(budget, currency)}"
        # What is left is said beside it, without what is agreed: another figure of it here would be taken for that.
        title += f" of {of}" if paid <= budget else f", {entered(paid - budget, currency)} over {of}"
    description = f"Running total of receipts from {long_day(min(daily))} to {long_day(max(daily))}: {title}."
    note = ""
    if ends:
        told = ", ".join(f"{name} {about(one.value, currency, one.error)}" for name, one in ends.items())
        description += f" Where it ends: {told}."
        note = f"Dotted: where it ends, {told}."
        if (
            len({about(one.value, currency, one.error) for one in ends.values()}) == 1 < len(ends)
        ):  # nothing is open
            note = f"Dotted: where it ended, {about(next(iter(ends.values())).value, currency)}."
    return framed(layered(*layers, *plot.names(palette)), title, description, palette, 240, note)


def forecast_band(
    points: Sequence[HistoryPoint], budget: float | None, currency: str, palette: Palette = LIGHT
) -> Any:
    """Draw how the forecast final cost moved: bands in three steps, lines P50 and P80, and what was paid below.

    P50, P80 and P90, the upper edge of the middle band, are named at their ends; once nothing is open, what it cost.

    Parameters
    ----------
    points : sequence of HistoryPoint
        By date, one or more.
    budget : float, optional
        In force now.
    currency : str
    palette : Palette
    """
    frame = pd.DataFrame(
        {
            "day": pd.to_datetime([point.date for point in points]),
            "p10": [point.p10 for point in points], "p50": [point.p50 for point in points],
            "p80": [point.p80 for point in points], "p90": [point.p90 for point in points],
            "p25": [point.half[0] for point in points], "p75": [point.half[1] for point in points],
            "p2": [point.nearly_all[0] for point in points], "p97": [point.nearly_all[1] for point in points],
            "paid": [point.paid for point in points],
            "P10 to P90": [
                f"{estimated(point.levels['P10'], currency)} to {estimated(point.levels['P90'], currency)}"
                for point in points
            ],
            "P50": [estimated(point.levels["P50"], currency) for point in points],
            "P80": [estimated(point.levels["P80"], currency) for point in points],
            "Paid": [entered(point.paid, currency) for point in points],
        }
    )  # fmt: skip
    frame = _thin(frame)
    now = points[-1]
    over = now.paid > 0 and now.nearly_all[1] - now.nearly_all[0] < 0.5 * 10.0 ** -exponent(currency)
    labels = [
        EndLabel(now.p90, "P90", palette.muted),
        EndLabel(now.p80, "P80", palette.ink),
        EndLabel(now.p50, "P50", palette.ink),
        EndLabel(now.paid, "Paid", palette.muted),
    ]
    if over:
        labels = [EndLabel(now.paid, "Cost", palette.ink)]
    if budget is not None:
        labels.append(EndLabel(budget, "Budget", palette.over))
    plot = _Days([point.date for point in points], list(frame["p97"]), labels, currency, 300)
    said = [_day_tip(), *tips("P10 to P90:N", "P50:N", "P80:N", "Paid:N")]
    base = alt.Chart(frame).encode(x=plot.x)
    bands = [
        base.mark_area(color=palette.accent, opacity=opacity, interpolate=_STEP).encode(
            y=plot.y(low), y2=alt.Y2(f"{high}:Q"), tooltip=said
        )
        for low, high, opacity in (("p2", "p97", 0.16), ("p10", "p90", 0.24), ("p25", "p75", 0.38))
    ]
    middle = base.mark_line(color=palette.ink, strokeWidth=2.2, interpolate=_STEP).encode(
        y=plot.y("p50"), tooltip=said
    )
    eight = base.mark_line(color=palette.ink, strokeWidth=1.4, strokeDash=[2, 2], interpolate=_STEP).encode(
        y=plot.y("p80")
    )
    paid = base.mark_line(color=palette.muted, strokeWidth=1.6, interpolate=_STEP).encode(y=plot.y("paid"))
    new = base.transform_filter("datum.day > " + str(frame["day"].iloc[0].timestamp() * 1000))
    receipts = new.mark_tick(color=palette.muted, thickness=1.2, size=9, orient="vertical").encode(
        y=y_at(296)
    )
    layers = [*bands, paid, middle, eight, receipts]
    ten, half, eighty, ninety = (estimated(level, currency) for level in now.levels.values())
    title = f"It cost {entered(now.paid, currency)}" if over else f"P80 is {eighty}, P50 {half}"
    if budget is not None:
        layers.append(plot.level(budget, palette.over))
        side = "over" if now.p80 > budget else "under"
        if over:
            gap = f"{entered(abs(now.paid - budget), currency)} {side}"
        else:
            gap = f"{apart(now.levels['P80'], budget, currency)} {side}"
            title = f"P80 is {eighty}"
        title += f", {gap} your budget of {entered(budget, currency)}"
    description = (
        f"Forecast final cost from {long_day(points[0].date)} to {long_day(now.date)}. {title}. P50 went from "
        f"{estimated(points[0].levels['P50'], currency)} to {half}; now P10 is {ten} and P90 {ninety}; paid "
        f"{entered(now.paid, currency)}."
    )
    note = (
        f"Bands, from dark to pale: where 50, 80 and 95 of 100 builds {'were to ' if over else ''}end. Dotted: P80. "
        "Ticks below: days with something new."
    )
    return framed(layered(*layers, *plot.names(palette)), title, description, palette, 300, note)


def contingency_over_time(points: Sequence[HistoryPoint], currency: str, palette: Palette = LIGHT) -> Any:
    """Draw the contingency left beside what was needed for P80 and P90.

    Parameters
    ----------
    points : sequence of HistoryPoint
        By date, at least one of them with a budget; others are left out.
    currency : str
    palette : Palette
    """
    kept = [point for point in points if point.budget is not None]
    sums = [contingency_at(point, currency) for point in kept]
    frame = pd.DataFrame(
        {
            "day": pd.to_datetime([point.date for point in kept]),
            "left": [left for left, _, _ in sums],
            "p80": [eight for _, eight, _ in sums],
            "p90": [nine for _, _, nine in sums],
            "Left": [entered(left or 0.0, currency) for left, _, _ in sums],
            "Needed for P80": [about(eight, currency) for _, eight, _ in sums],
            "Needed for P90": [about(nine, currency) for _, _, nine in sums],
        }
    )
    frame = _thin(frame)
    first, now = frame.iloc[0], frame.iloc[-1]
    labels = [
        EndLabel(now["left"], "Left", palette.accent),
        EndLabel(now["p80"], "P80", palette.ink),
        EndLabel(now["p90"], "P90", palette.muted),
    ]
    values = [*frame["left"], *frame["p80"], *frame["p90"]]
    plot = _Days([point.date for point in kept], values, labels, currency, 200)
    said = [_day_tip(), *tips("Left:N", "Needed for P80:N", "Needed for P90:N")]
    base = alt.Chart(frame).encode(x=plot.x, tooltip=said)
    left = base.mark_line(color=palette.accent, strokeWidth=2.4, interpolate=_STEP)
    eight = base.mark_line(color=palette.ink, strokeWidth=1.4, strokeDash=[2, 2], interpolate=_STEP)
    nine = base.mark_line(color=palette.muted, strokeWidth=1.4, strokeDash=[6, 3], interpolate=_STEP)
    layers = [nine.encode(y=plot.y("p90")), eight.encode(y=plot.y("p80")), left.encode(y=plot.y("left"))]
    if plot.ends[0] < 0:
        layers.insert(0, plot.level(0.0, palette.faint))
    title = (
        f"Contingency left went from {first['Left']} to {now['Left']}; what P80 needs, from "
        f"{first['Needed for P80']} to {now['Needed for P80']}"
    )
    days = f"{long_day(kept[0].date)} to {long_day(kept[-1].date)}"
    description = f"Contingency from {days}. {title}."
    note = "Solid: left. Dotted: needed for P80. Dashed: needed for P90."
    return framed(layered(*layers, *plot.names(palette)), title, description, palette, 200, note)
