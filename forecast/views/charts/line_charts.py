"""Line by line: ranges on one money axis, and estimate, paid and forecast beside each other."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import altair as alt
import pandas as pd

from forecast.buildfile.schema import GROUPS
from forecast.engine.forecast import LineSummary
from forecast.views.charts.frame import framed, label_lookup, layered, money_axis, span, tips, wrapped
from forecast.views.theme import LIGHT, Palette
from forecast.words.chances import so_many, so_many_of
from forecast.words.minor_units import from_float
from forecast.words.money import about, entered

_ROW, _LINE = 21, 12
"""Pixels of a row, and of each line of a name that has several."""


@dataclass(frozen=True)
class LineStanding:
    """One line as it stands: what was estimated, what is paid, and where it ends.

    Attributes
    ----------
    estimate, paid : float
        In the build's currency.
    p10, p50, p90 : float
        Of its forecast final cost.
    closed : bool
        True where nothing more will come.
    foreseen : bool
        False for a bill that nobody told of: there is no estimate that it could be over.
    not_bought : bool
        True for a line closed with nothing paid.
    """

    id: str
    title: str
    group: str
    estimate: float
    paid: float
    p10: float
    p50: float
    p90: float
    closed: bool
    foreseen: bool = True
    not_bought: bool = False


def grouped(items: Iterable[tuple[str, str, str]]) -> tuple[list[str], dict[str, str]]:
    """Order keys under headings of their group.

    Parameters
    ----------
    items : iterable of (key, title, group)

    Returns
    -------
    order : list of str
        Keys, each group's heading before them.
    labels : dict
        What to show for each key.
    """
    kept = list(items)
    order: list[str] = []
    labels: dict[str, str] = {}
    for group in (*GROUPS, "events"):
        members = [item for item in kept if item[2] == group]
        if members:
            heading = f"group:{group}"
            order.append(heading)
            labels[heading] = "May happen" if group == "events" else group.capitalize()
            order += [item[0] for item in members]
            labels |= {item[0]: item[1] for item in members}
    return order, labels


def row_axis(order: Sequence[str], labels: dict[str, str], palette: Palette) -> alt.Y:
    """Give the axis of rows, group headings in bold."""
    heading = "indexof(datum.value, 'group:') === 0"
    axis = alt.Axis(
        title=None, labelExpr=_names_in_full(labels), labelLimit=alt.ExprRef("width < 420 ? 180 : 230"),
        labelLineHeight=_LINE, labelOverlap=False, labelPadding=6,
        labelOffset=alt.condition("true", alt.ExprRef(_upwards(labels)), alt.value(0)),
        labelFontWeight=alt.condition(heading, alt.value("bold"), alt.value("normal")),
        labelColor=alt.condition(heading, alt.value(palette.muted), alt.value(palette.ink)),
    )  # fmt: skip
    return alt.Y("key:N", sort=None, scale=alt.Scale(domain=list(order), paddingInner=0.3), axis=axis)


_LETTERS = {"narrow": 32, "wide": 40}
"""Letters of a name on one line; a longer one goes on below."""


def _names_in_full(labels: Mapping[str, str]) -> str:
    """Give the expression that writes each label on as many lines as it takes, by the width of the chart."""
    narrow, wide = (
        label_lookup({key: wrapped(text, letters) for key, text in labels.items()})
        for letters in (_LETTERS["narrow"], _LETTERS["wide"])
    )
    return f"width < 420 ? {narrow} : {wide}"


def _upwards(labels: Mapping[str, str]) -> str:
    """Give the expression that moves a name of several lines up by half of them: its middle is at its bar."""
    narrow, wide = (
        json.dumps(
            {
                key: -_LINE * (lines - 1) / 2
                for key, text in labels.items()
                if (lines := len(wrapped(text, letters))) > 1
            }
        )
        for letters in (_LETTERS["narrow"], _LETTERS["wide"])
    )
    return f"(width < 420 ? {narrow} : {wide})[datum.value] || 0"


def _row_height(labels: Mapping[str, str]) -> int:
    """Give the pixels of a row, so that the longest name has room on a narrow screen."""
    lines = max((len(wrapped(text, _LETTERS["narrow"])) for text in labels.values()), default=1)
    return max(_ROW, _LINE * lines + 5)


def line_bars(
    lines: Sequence[LineSummary],
    currency: str,
    palette: Palette = LIGHT,
    most: int = 20,
    settled: Collection[str] = (),
    *,
    paid: bool = False,
) -> Any | None:
    """Draw the widest ranges: for each line a thin bar from P10 to P90, a tick at the middle, grouped.

    Of what is settled no range is a question any more; None where all is.

    Parameters
    ----------
    lines : sequence of LineSummary
    currency : str
    palette : Palette
    most : int
        Lines drawn: of seventy nobody sees which matter.
    settled : collection of str
        Lines that are closed and events that cannot happen any more, by id.
    paid : bool
        Whether something is paid by now: the ranges are then said to be those of before.
    """
    drawable = [line for line in lines if line.p10 is not None and (line.p90 or 0) > 0]
    every = [line for line in drawable if line.id not in settled]
    if not every:
        return None
    by_width = sorted(every, key=lambda line: (line.p10 or 0) - (line.p90 or 0))
    drawn = {line.id for line in by_width[:most]}
    shown = [line for line in every if line.id in drawn]
    order, labels = grouped((line.id, line.title, line.group) for line in shown)
    frame = pd.DataFrame(
        [
            {
                "key": line.id, "p10": line.p10, "p50": line.p50, "p90": line.p90,
                "Line": line.title, "P10": about(line.p10 or 0, currency), "P50": about(line.p50 or 0, currency),
                "P90": about(line.p90 or 0, currency),
                "text": "usually nothing" if about(line.p90 or 0, currency) == about(0, currency)
                else about(line.p90 or 0, currency) if line.p10 == line.p90
                else f"{about(line.p10 or 0, currency)} – {about(line.p90 or 0, currency)}",
            }
            for line in shown
        ]
    )  # fmt: skip
    widest = by_width[:3]
    ends = span([*frame["p90"], 0.0], zero=True)
    # the longest bar leaves room for its figures, where the screen is wide enough to show them
    reach = alt.ExprRef(f"{ends[1]} * (width < 260 ? 1 : width / (width - 120))")
    scale = alt.Scale(domainMin=0, domainMax=reach, nice=False)
    y = row_axis(order, labels, palette)
    base = alt.Chart(frame).encode(y=y, tooltip=tips("Line:N", "P10:N", "P50:N", "P90:N"))
    bars = base.mark_bar(height=5, color=palette.accent, cornerRadius=2.5).encode(
        x=alt.X("p10:Q", axis=money_axis(currency, orient="top"), scale=scale), x2=alt.X2("p90:Q")
    )
    ticks = base.mark_tick(thickness=2.5, height=14, color=palette.ink).encode(x=alt.X("p50:Q"))
    # No text at all on a narrow screen: also one that is not seen would take its room from the bars.
    texts = (
        base.transform_filter("width >= 260")
        .mark_text(align="left", dx=7, color=palette.muted, fontSize=11.5)
        .encode(x=alt.X("p90:Q"), text=alt.Text("text:N"))
    )
    names = ", ".join(line.title for line in widest)
    when = " before any receipt" if paid else ""
    title = f"The widest ranges{when}: {names}"
    description = (
        f"{len(shown)} of {len(every)} lines and events with their ranges from P10 to P90{when}, grouped. "
        "The widest are "
        + "; ".join(
            f"{line.title}, {about(line.p10 or 0, currency)} to {about(line.p90 or 0, currency)}"
            for line in widest
        )
        + "."
    )
    note = "Bar: in 80 of 100 builds the line costs this much (P10 to P90). Tick: the middle (P50)."
    if len(shown) < len(every):
        note += f" The {len(shown)} widest of {len(every)}; the sheet has all."
    kinds = {line.kind for line in drawable if line.id in settled}
    if "line" in kinds:
        note += " Closed lines left out."
    if "event" in kinds:
        note += " What cannot happen or counts no more left out."
    return framed(
        layered(bars, ticks, texts), title, description, palette, _row_height(labels) * len(order), note
    )


def estimate_paid_forecast(
    items: Sequence[LineStanding], currency: str, palette: Palette = LIGHT, most: int = 16
) -> Any:
    """Draw for each line its estimate as a tick, what is paid as a dot, and its forecast as a bar.

    Half of the room is for what is closed, else the ranges of what is open leave none of it: the title counts both.

    Parameters
    ----------
    items : sequence of LineStanding
    currency : str
    palette : Palette
    most : int
        Lines drawn: those that may still move most, and those that ended farthest from their estimate.
    """
    costing = [item for item in items if max(item.p90, item.paid, item.estimate) > 0]
    # Of what nothing was paid for no price is off any estimate.
    every = [item for item in costing if item.paid or not item.closed] or costing
    never = sum(item.not_bought for item in items)
    ended = sorted((item for item in every if item.closed), key=lambda item: -abs(item.paid - item.estimate))
    still = sorted(
        (item for item in every if not item.closed),
        key=lambda item: -max(item.p90 - item.p10, abs(item.p50 - item.estimate)),
    )
    still = still[: max(most - len(ended), (most + 1) // 2)]
    ended = ended[: most - len(still)]
    drawn = {item.id for item in (*still, *ended)}
    shown = [item for item in every if item.id in drawn]
    order, labels = grouped((item.id, item.title, item.group) for item in shown)
    frame = pd.DataFrame(
        [
            {
                "key": item.id, "estimate": item.estimate, "paid": item.paid, "p10": item.p10, "p50": item.p50,
                "p90": item.p90, "closed": item.closed, "Line": item.title,
                "Estimate": (entered if item.closed else about)(item.estimate, currency),
                "Paid": entered(item.paid, currency),
                "Forecast": f"{entered(item.p50, currency)}, closed" if item.closed else about(item.p50, currency),
            }
            for item in shown
        ]
    )  # fmt: skip
    ends = span([*frame["p90"], *frame["paid"], *frame["estimate"], 0.0], zero=True)
    x = alt.X(
        "p10:Q", axis=money_axis(currency, orient="top"), scale=alt.Scale(domain=[0, ends[1]], nice=False)
    )  # fmt: skip
    base = alt.Chart(frame).encode(
        y=row_axis(order, labels, palette),
        tooltip=tips("Line:N", "Estimate:N", "Paid:N", "Forecast:N"),
    )
    bars = base.mark_bar(height=5, color=palette.accent_soft, cornerRadius=2.5).encode(
        x=x, x2=alt.X2("p90:Q")
    )
    ticks = base.mark_tick(thickness=2, height=14, color=palette.muted).encode(x=alt.X("estimate:Q"))
    paid = base.transform_filter("datum.paid > 0")
    closed = paid.transform_filter("datum.closed").mark_point(
        filled=True, opacity=1, size=62, color=palette.accent, shape="circle"
    )
    part = paid.transform_filter("!datum.closed").mark_point(
        filled=True,
        fill=palette.paper,
        opacity=1,
        size=55,
        stroke=palette.accent,
        strokeWidth=2,
        shape="circle",
    )
    lines = [item for item in items if item.group != "events"]  # what may happen is no line
    done = sum(item.closed for item in lines)
    dear = sum(  # to the cent, as the figures are written, so that the count is that of the table
        item.closed
        and item.foreseen
        and from_float(item.paid, currency) > from_float(item.estimate, currency)
        for item in lines
    )
    title = f"{so_many_of(done, len(lines), 'line')} closed".capitalize()
    if done:
        title += f"; {dear or 'none'} of them cost more than estimated"
    description = (
        f"{title}. For each line: a tick at the estimate, a dot at what is paid (filled when closed), a bar for "
        "where it may end, P10 to P90."
    )
    note = "Tick: estimate. Bar: where it may end (P10 to P90). Dot: paid; filled once the line is closed."
    if len(shown) < len(every):
        parts = [
            f"the {len(still)} open that may still move most" if still else "",
            f"the {len(ended)} closed that ended farthest from their estimate" if ended else "",
        ]
        note += f" Drawn: {' and '.join(filter(None, parts))}; the table below has all."
    if never and len(every) < len(costing):
        note += f" Left out: {so_many(never, 'line')} not needed."
    chart = layered(bars, ticks, part.encode(x=alt.X("paid:Q")), closed.encode(x=alt.X("paid:Q")))
    return framed(chart, title, description, palette, _row_height(labels) * len(order), note)
