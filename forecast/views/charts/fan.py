"""What is paid and agreed, against the fan of totals at which the build may end."""

from __future__ import annotations

from typing import Any

import altair as alt

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
    x_at,
    y2_at,
    y_at,
)
from forecast.views.theme import LIGHT, Palette
from forecast.watching.reforecast import Reforecast
from forecast.words.money import about, builds, entered

BANDS = ((0.025, 0.975, 95), (0.1, 0.9, 80), (0.25, 0.75, 50))
"""Percentiles at the ends of each band, and how many of 100 builds end within it; the widest first."""

_FAN = 160  # pixels that the fan and its labels take
_MIDDLE = 118  # from their top to the middle of the fan
_BUDGET = 62  # what the bar of the budget above them takes, its name included
_BAR = (20, 40)  # pixels from the top to its edges


def paid_against_fan(
    found: Forecast | Reforecast, budget: float | None = None, palette: Palette = LIGHT
) -> Any:
    """Draw where the build may end as bands in three steps, under what is paid and agreed of the budget.

    The two have an axis each, so that the fan has the whole width: on the budget's axis it is a few pixels wide.
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
    told = found.before if isinstance(found, Reforecast) and finished else found
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
    ends = span([*(rule.value for rule in fixed), *(edge.value for edge in edges)])
    scale = alt.Scale(domain=list(ends), nice=False, zero=False)
    x = alt.X("from:Q", axis=money_axis(money, grid=False), scale=scale)
    above = _BUDGET if paid or agreed else 0
    fan = []
    for place, (_, _, count) in enumerate(BANDS):
        low, high = edges[2 * place].value, edges[2 * place + 1].value
        reach = 12 + 5 * place  # the narrower the band, the taller and darker
        said = f"{count} of 100 builds: {about(low, money)} to {about(high, money)}"
        look = {"color": palette.accent, "opacity": (0.28, 0.42, 0.75)[place]}
        middle = above + _MIDDLE
        fan.append(_bar(x, low, high, middle - reach, middle + reach, said, **look))
    title, note = _words(found, paid, agreed, eight.value, eight.error)
    bands = "; ".join(
        f"{count} of 100 from {about(edges[2 * place].value, money)} to {about(edges[2 * place + 1].value, money)}"
        for place, (_, _, count) in enumerate(BANDS)
    )
    named = ", ".join(rule.text for rule in fixed)
    description = f"{title}. Builds {'were to end' if finished else 'end'}: {bands}. {named}."
    chart = layered(*fan, *rules(fixed, ends, palette, above + 8))
    if above:
        of = fixed[1] if budget is None else fixed[-1]
        used = layered(*_used(paid, agreed, of, money, palette))
        chart = layered(chart, used)
        chart.resolve = alt.Resolve(scale=alt.ScaleResolveMap(x="independent"))
    return framed(chart, title, description, palette, above + _FAN, note)


def _bar(x: alt.X, low: float, high: float, top: float, bottom: float, said: str, **look: Any) -> Any:
    base = alt.Chart(few({"from": low, "to": high, "Shown": said})).mark_rect(**look)
    return base.encode(x=x, x2=alt.X2("to:Q"), y=y_at(top), y2=y2_at(bottom), tooltip=tips("Shown:N"))


def _used(paid: float, agreed: float, of: Rule, money: str, palette: Palette) -> list[Any]:
    """Draw what is paid and agreed of a sum, on an axis from nothing to that sum or, where it is more, to them."""
    end = max(of.value, paid + agreed)
    x = alt.X("from:Q", axis=None, scale=alt.Scale(domain=[0.0, end], nice=False))
    colour = palette.over if of.over else palette.ink
    outlined: dict[str, Any] = {"fill": palette.paper, "stroke": palette.ink, "strokeWidth": 1.5}
    layers = [_bar(x, 0.0, of.value, *_BAR, of.text, fill=palette.faint, opacity=0.35)]
    if agreed:
        said = f"Agreed, and still due: {entered(agreed, money)}"
        layers.append(_bar(x, paid, paid + agreed, *_BAR, said, **outlined))
    if paid:
        layers.append(_bar(x, 0.0, paid, *_BAR, f"Paid: {entered(paid, money)}", color=palette.ink))
    full = alt.Chart(few({"from": of.value, "label": of.text, "zero": about(0.0, money)}))
    rule = full.mark_rule(color=colour, strokeWidth=1.5, strokeDash=[4, 3] if of.dashed else [1, 0])
    layers.append(rule.encode(x=x, y=y_at(_BAR[0] - 4), y2=y2_at(_BAR[1] + 4)))
    words: dict[str, Any] = {"baseline": "middle", "fontSize": 12.5}
    right = full.mark_text(align="right", fontWeight=600, color=colour, **words)
    layers.append(right.encode(x=x, y=y_at(8), text=alt.Text("label:N")))
    left = full.mark_text(align="left", color=palette.muted, **words)
    return [*layers, left.encode(x=x_at(0), y=y_at(8), text=alt.Text("zero:N"))]


def _words(
    found: Forecast | Reforecast, paid: float, agreed: float, eight: float, error: float
) -> tuple[str, str]:
    """Give the finding, and how to read the picture."""
    money = found.currency
    note = (
        "Bands, from dark to pale: where 50, 80 and 95 of 100 builds end. Their axis does not begin at zero."
    )
    if not isinstance(found, Reforecast):
        low, high = found.percentile_set((0.1, 0.9))
        return (
            f"80 of 100 builds end between {about(low.value, money, low.error)} and "
            f"{about(high.value, money, high.error)}",
            note,
        )
    if found.finished:
        less = builds(found.before.chance_within(paid).value)
        return (
            f"It cost {entered(paid, money)}; before the first receipt {less} were to cost no more",
            "Solid: paid. Bands, from dark to pale: where 50, 80 and 95 of 100 builds were to end, before the first "
            "receipt. Their axis does not begin at zero.",
        )
    title = f"{entered(paid, money)} is paid"
    if agreed:
        title += f" and {entered(agreed, money)} agreed"
    title += f"; at P80 about {about(max(0.0, eight - paid - agreed), money, error)} more is to come"
    return title, f"Bar: solid is paid{', outlined is agreed and still due' if agreed else ''}. {note}"
