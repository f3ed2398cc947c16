"""How the final cost moved: the fan of its history beside what is paid, and what each move came from."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import altair as alt
import pandas as pd

from forecast.engine.forecast import Forecast
from forecast.views.charts.frame import (
    Rule,
    few,
    framed,
    layered,
    money_axis,
    rules,
    span,
    tips,
    y2_at,
    y_at,
)
from forecast.views.theme import LIGHT, Palette
from forecast.watching.reforecast import Reforecast
from forecast.words.chances import were_to_cost
from forecast.words.money import about, as_written, entered, signed


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


BANDS = ((0.025, 0.975, 95), (0.1, 0.9, 80), (0.25, 0.75, 50))
"""Percentiles at the ends of each band, and how many of 100 builds end within it; the widest first."""

_FAN = 160  # pixels that the fan and its labels take
_MIDDLE = 118  # from their top to the middle of the fan
_LABEL = 17  # pixels that each label beyond four takes
_NAMED = 0.16  # of the axis: a part of the bar that is so wide has its name in it, on a phone too
_BAR = 26  # pixels that the bar of what is paid takes between labels and fan


def paid_against_fan(
    found: Forecast | Reforecast, budget: float | None = None, palette: Palette = LIGHT
) -> Any:
    """Draw where the build may end as bands in three steps, under what is paid and agreed of the budget.

    Both stand on one axis from nothing, so that a glance tells how far it is from what is paid to where it ends. Before
    anything is paid or agreed the fan has the whole width, on an axis that need not begin at zero.
    P50, P80, P90 and the budget are labelled rules through the fan. Once all is paid, the fan is that of before the
    first receipt, and what it cost is a rule through it.

    Parameters
    ----------
    found : Forecast or Reforecast
        The second once something is paid, agreed or said.
    budget : float, optional
    palette : Palette
    """
    money = found.currency
    paid, agreed = (found.paid, found.committed) if isinstance(found, Reforecast) else (0.0, 0.0)
    finished = isinstance(found, Reforecast) and found.finished
    told = found.at_first if isinstance(found, Reforecast) and finished else found
    half, eight, nine = told.percentile_set((0.5, 0.8, 0.9))
    fixed = [
        Rule(end.value, f"{name} {about(end.value, money, end.error)}")
        for name, end in (("P50", half), ("P80", eight), ("P90", nine))
    ]
    if finished:
        fixed.append(Rule(paid, f"It cost {entered(paid, money)}"))
    if budget is not None:
        fixed.append(Rule(budget, f"Budget {entered(budget, money)}", dashed=True, over=True))
    edges = told.percentile_set(tuple(share for low, high, _ in BANDS for share in (low, high)))
    begun = bool(paid or agreed)
    known = [0.0, paid, paid + agreed] if begun else []
    ends = span([*known, *(rule.value for rule in fixed), *(edge.value for edge in edges)], zero=begun)
    scale = alt.Scale(domain=list(ends), nice=False, zero=False)
    x = alt.X("from:Q", axis=money_axis(money, grid=False), scale=scale)
    above = _LABEL * max(0, len(fixed) - 4) + (_BAR if begun else 0)
    middle = above + _MIDDLE
    fan = (
        _used(
            x,
            paid,
            agreed,
            fixed[1] if budget is None else fixed[-1],
            ends[1] - ends[0],
            middle,
            money,
            palette,
        )
        if begun
        else []
    )
    for place, (_, _, count) in enumerate(BANDS):
        low, high = edges[2 * place].value, edges[2 * place + 1].value
        reach = 12 + 5 * place  # the narrower the band, the taller and darker
        said = f"{count} of 100 builds: {about(low, money)} to {about(high, money)}"
        look = {"color": palette.accent, "opacity": (0.28, 0.42, 0.75)[place]}
        fan.append(_bar(x, low, high, middle - reach, middle + reach, said, **look))
    title, note = _words(found, paid, agreed, eight.value, eight.error)
    bands = "; ".join(
        f"{count} of 100 from {about(edges[2 * place].value, money)} to {about(edges[2 * place + 1].value, money)}"
        for place, (_, _, count) in enumerate(BANDS)
    )
    named = ", ".join(rule.text for rule in fixed)
    description = f"{title}. Builds {'were to end' if finished else 'end'}: {bands}. {named}."
    chart = layered(*fan, *rules(fixed, ends, palette))
    return framed(chart, title, description, palette, above + _FAN, note)


def _bar(x: alt.X, low: float, high: float, top: float, bottom: float, said: str, **look: Any) -> Any:
    base = alt.Chart(few({"from": low, "to": high, "Shown": said})).mark_rect(**look)
    return base.encode(x=x, x2=alt.X2("to:Q"), y=y_at(top), y2=y2_at(bottom), tooltip=tips("Shown:N"))


def _used(
    x: alt.X, paid: float, agreed: float, of: Rule, whole: float, middle: float, money: str, palette: Palette
) -> list[Any]:
    """Draw what is paid and agreed of a sum, in a bar above the fan and on its axis, which is `whole` long."""
    edges = middle - 24 - _BAR, middle - 32
    outlined: dict[str, Any] = {"fill": palette.paper, "stroke": palette.ink, "strokeWidth": 1.5}
    layers = [_bar(x, 0.0, of.value, *edges, of.text, fill=palette.faint, opacity=0.35)]
    if agreed:
        said = f"Agreed, not yet paid: {entered(agreed, money)}"
        layers.append(_bar(x, paid, paid + agreed, *edges, said, **outlined))
    if paid:
        layers.append(_bar(x, 0.0, paid, *edges, f"Paid: {entered(paid, money)}", color=palette.ink))
    parts = ((0.0, paid, "Paid", palette.paper), (paid, agreed, "Agreed", palette.ink))
    for start, part, name, colour in parts:
        if part >= _NAMED * whole:
            at = alt.Chart(few({"from": start, "named": name})).encode(x=x, y=y_at(sum(edges) / 2))
            text: dict[str, Any] = {"align": "left", "baseline": "middle", "dx": 6, "fontSize": 12}
            layers.append(at.mark_text(**text, color=colour).encode(text=alt.Text("named:N")))
    return layers


def _words(
    found: Forecast | Reforecast, paid: float, agreed: float, eight: float, error: float
) -> tuple[str, str]:
    """Give the finding, and how to read the picture."""
    money = found.currency
    bands = "from dark to pale: where 50, 80 and 95 of 100 builds"
    if not isinstance(found, Reforecast) or not (paid or agreed):
        low, high = found.percentile_set((0.1, 0.9))
        return (
            f"80 of 100 builds end between {about(low.value, money, low.error)} and "
            f"{about(high.value, money, high.error)}",
            f"Bands, {bands} end. Their axis does not begin at zero.",
        )
    if found.finished:
        less = were_to_cost(found.at_first.chance_within(paid).value)
        return (
            f"It cost {entered(paid, money)}; before anything was paid or agreed {less}",
            f"Upper bar: paid. Bands below, {bands} were to end, before anything was paid or agreed.",
        )
    title = f"{entered(paid, money)} is paid"
    if agreed:
        title += f" and {entered(agreed, money)} agreed"
    rest = max(0.0, as_written(eight, money, error) - paid - agreed)
    title += f"; at P80 about {about(rest, money, error)} more is to come"
    outlined = ", outlined is agreed and not yet paid" if agreed else ""
    return title, f"Upper bar: solid is paid{outlined}. Bands below, {bands} end."
