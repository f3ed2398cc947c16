"""The page that answers: where does it end."""

from __future__ import annotations

import datetime as dt

import streamlit as st

from forecast.dashboard.layout import answer, palette, picture, table, text, told_plainly
from forecast.dashboard.state import Opened, after, before, opened, standpoint
from forecast.engine.forecast import Forecast
from forecast.spending.money import to_float
from forecast.views.charts import estimate_paid_forecast, forecast_band, moved_waterfall
from forecast.views.charts.lines import Standing
from forecast.views.charts.watch import Standpoint
from forecast.views.money import about, builds, percent, signed

_MOST_DAYS = 40
_MOST_STEPS = 8


def page() -> None:
    """Draw the page."""
    st.title("Where does it end?")
    with told_plainly():
        view = opened()
        forecast = after(view)
        if view.ledger is None or not view.ledger.list_receipts():
            answer(
                f"Nothing is paid yet: it ends where your ranges say, and in 8 of 10 builds below "
                f"**{about(forecast.percentile(0.8).value, view.currency, forecast.percentile(0.8).error)}**.",
                "Enter the first receipt on the page Receipts; from then on this page shows what moved.",
            )
            return
        _answer(view, forecast)
        points = _history(view)
        picture(forecast_band(points, view.budget, view.currency, palette()))
        st.subheader("What moved")
        _moved(view, points)
        st.subheader("Contingency: left, and needed")
        _contingency(view, forecast)
        st.subheader("Line by line")
        _lines(view, forecast)
        _remarks(view, forecast)


def _answer(view: Opened, forecast: Forecast) -> None:
    money = view.currency
    half, eight = forecast.percentile_set((0.5, 0.8))
    paid = _paid(view)
    sentences = [
        f"In half of such builds it ends below **{about(half.value, money, half.error)}**, in 8 of 10 (P80) below "
        f"**{about(eight.value, money, eight.error)}**; **{about(paid, money)}** of that is paid."
    ]
    if view.budget is not None:
        chance = 1 - forecast.chance_within(view.budget).value
        sentences.append(f"It overruns your budget of {about(view.budget, money)} in **{builds(chance)}**.")
    answer(*sentences)


def _paid(view: Opened) -> float:
    assert view.ledger is not None
    return to_float(sum(view.ledger.paid_by_line().values()), view.currency)


def _history(view: Opened) -> list[Standpoint]:
    """Give the forecast on each day on which something new was known, and on the day before the first."""
    assert view.ledger is not None
    days = {receipt.date for receipt in view.ledger.list_receipts(include_void=True)}
    days |= {mark.date for _, mark in view.ledger.list_marks()}
    every = sorted(days)
    if len(every) > _MOST_DAYS:
        step = (len(every) - 1) / (_MOST_DAYS - 1)
        every = [every[round(place * step)] for place in range(_MOST_DAYS)]
    start = every[0] - dt.timedelta(days=1)
    return [standpoint(view, day) for day in (start, *every)]


@st.fragment
def _moved(view: Opened, points: list[Standpoint]) -> None:
    assert view.ledger is not None
    since = st.selectbox(
        "Since", [point.date for point in points[:-1]], format_func=lambda day: f"{day.day} {day:%B %Y}",
        key="moved-since", persist_state="session",
    )  # fmt: skip
    place = next((place for place, point in enumerate(points) if point.date == since), 0)
    start = points[place]
    names = _names_of_days(view)
    steps = []
    earlier = start
    for point in points[place + 1 :]:
        steps.append((f"{point.date:%-d %b}: {names.get(point.date, 'marks')}", point.p80 - earlier.p80))
        earlier = point
    largest = sorted(steps, key=lambda step: -abs(step[1]))[:_MOST_STEPS]
    rest = sum(change for step, change in steps if (step, change) not in largest)
    shown = [step for step in steps if step in largest]
    if len(steps) > len(shown):
        shown.append((f"{len(steps) - len(shown)} other days", rest))
    first = f"{start.date:%-d %b %Y}"
    picture(moved_waterfall((first, start.p80), shown, view.currency, palette()))


def _names_of_days(view: Opened) -> dict[dt.date, str]:
    """Say of each day whom a receipt is from, or what was marked."""
    assert view.ledger is not None
    titles = view.titles()
    found: dict[dt.date, list[str]] = {}
    for receipt in view.ledger.list_receipts():
        found.setdefault(receipt.date, []).append(receipt.supplier)
    for kind, mark in view.ledger.list_marks():
        if kind == "event" and mark.state == "cannot-happen":
            found.setdefault(mark.date, []).append(f"no {titles.get(mark.subject, mark.subject).lower()}")
        elif kind == "event" and mark.state == "happened":
            found.setdefault(mark.date, []).append(titles.get(mark.subject, mark.subject).lower())
        elif mark.date not in found:
            found.setdefault(mark.date, []).append(f"{titles.get(mark.subject, mark.subject)} {mark.state}")
    return {day: ", ".join(dict.fromkeys(names[:2])) for day, names in found.items()}


def _contingency(view: Opened, forecast: Forecast) -> None:
    money = view.currency
    paid = _paid(view)
    eight = forecast.percentile(0.8)
    open_base = _open_base(view)
    rows = [
        ["Paid so far", about(paid, money)],
        ["Middle figures of what is still open", about(open_base, money)],
    ]
    needed = eight.value - paid - open_base
    if view.budget is None:
        text(
            f"To be enough in 8 of 10 builds you still need **{about(needed, money, eight.error)}** beyond these."
        )
    else:
        left = view.budget - paid - open_base
        verdict = "enough" if left >= needed else f"{about(needed - left, money, eight.error)} short"
        text(
            f"**{about(left, money)}** of contingency is left; to be enough in 8 of 10 builds you need "
            f"**{about(needed, money, eight.error)}**: {verdict}."
        )
        rows += [["Contingency left", about(left, money)], ["Your budget", about(view.budget, money)]]
        table(["", "Amount"], rows, "The budget as it stands", last_is_sum=True)
        return
    table(["", "Amount"], rows, "The build as it stands")


def _open_base(view: Opened) -> float:
    """Add up the middle figures of open lines, less what is paid of them already."""
    assert view.ledger is not None
    paid, closed = view.ledger.paid_by_line(), view.ledger.closed_lines()
    return sum(
        max(line.base - to_float(paid.get(line.id, 0), view.currency), 0.0)
        for line in before(view).lines
        if line.id not in closed
    )


def standings(view: Opened, forecast: Forecast) -> list[Standing]:
    """Give each line as it stands."""
    assert view.ledger is not None
    paid, closed = view.ledger.paid_by_line(), view.ledger.closed_lines()
    estimates = {line.id: line for line in before(view).lines}
    return [
        Standing(
            line.id, line.title, line.group, estimates[line.id].p50 or estimates[line.id].base,
            to_float(paid.get(line.id, 0), view.currency), line.p10 or 0.0, line.p50 or 0.0, line.p90 or 0.0,
            line.id in closed,
        )
        for line in forecast.lines
    ]  # fmt: skip


def _lines(view: Opened, forecast: Forecast) -> None:
    items = standings(view, forecast)
    picture(estimate_paid_forecast(items, view.currency, palette()))
    money = view.currency
    with st.expander("The same as a table"):
        table(
            ["Line", "Estimate", "Paid", "Forecast P50", "Difference", "State"],
            [
                [
                    item.title, about(item.estimate, money), about(item.paid, money), about(item.p50, money),
                    signed(item.p50 - item.estimate, money), "closed" if item.closed else "open",
                ]
                for item in items
            ],
            "Estimate, paid and forecast by line",
            right_text=1,
        )  # fmt: skip


def _remarks(view: Opened, forecast: Forecast) -> None:
    assert view.ledger is not None
    known = {row.id for row in forecast.plan.rows}
    outside = {line: amount for line, amount in view.ledger.paid_by_line().items() if line not in known}
    if outside:
        names = ", ".join(view.titles().get(line, line) for line in outside)
        paid = about(to_float(sum(outside.values()), view.currency), view.currency)
        st.warning(
            f"{paid} was paid for lines that this scenario does not have ({names}).".replace("$", r"\$")
        )
    with st.expander("How these figures were made"):
        share = forecast.chance_within(view.budget).value if view.budget is not None else None
        text(
            f"{forecast.trials.count:,} simulated builds, seed {forecast.trials.seed}, the same draws before and after "
            "each receipt; what is paid also tells about what is still open, through the causes that they share. "
            f"Effective sample size {forecast.trials.effective:,.0f}."
            + (f" The budget is enough in {percent(share)} of builds." if share is not None else "")
        )
        for remark in forecast.remarks:
            text(remark)


page()
