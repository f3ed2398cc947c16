"""The page that answers: where does it end."""

from __future__ import annotations

import datetime as dt

import streamlit as st

from forecast.dashboard.layout import answer, palette, picture, table, text, told_plainly
from forecast.dashboard.state import Opened, headline, opened, standpoint, watched
from forecast.spending.reforecast import Reforecast
from forecast.views.charts import estimate_paid_forecast, forecast_band, moved_waterfall
from forecast.views.charts.lines import Standing
from forecast.views.charts.watch import Standpoint
from forecast.views.money import about, signed
from forecast.views.sentences import watch_sentence

_MOST_DAYS = 40
_MOST_STEPS = 8


def page() -> None:
    """Draw the page."""
    st.title("Where does it end?")
    with told_plainly():
        view = opened()
        watch = watched(view)
        if watch is None or view.ledger is None or not view.ledger.list_receipts():
            eight, _ = headline(view)
            answer(
                f"Nothing is paid yet: it ends where your ranges say, in 8 of 10 builds at no more than "
                f"**{about(eight.value, view.currency, eight.error)}**.",
                "Enter the first receipt on the page Receipts; from then on this page shows what moved.",
            )
            return
        answer(watch_sentence(watch, strong="**"))
        points = _history(view)
        eight = watch.percentile(0.8)
        picture(forecast_band(points, view.budget, view.currency, palette(), error=eight.error))
        st.subheader("What moved")
        _moved(view, points)
        st.subheader("Contingency: left, and needed")
        _contingency(watch)
        st.subheader("Line by line")
        _lines(watch)
        _remarks(watch)


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


def _contingency(watch: Reforecast) -> None:
    money = watch.currency
    eight = watch.percentile(0.8)
    needed, left = watch.contingency_needed(0.8), watch.contingency_left
    rows = [
        ["Paid so far", about(watch.paid, money)],
        ["Middle figures of what is still open", about(watch.open_base, money)],
    ]
    if left is None or watch.budget is None:
        text(
            f"To be enough in 8 of 10 builds you need **{about(needed.value, money, needed.error)}** beyond what is "
            "paid and the middle figures of what is open."
        )
        rows += [
            ["Contingency needed at P80", about(needed.value, money, needed.error)],
            ["P80", about(eight.value, money, eight.error)],
        ]
        table(["", "Amount"], rows, "The build as it stands", last_is_sum=True)
        return
    short = needed.value - left
    verdict = "That is enough." if short <= 0 else f"**{about(short, money, needed.error)}** is missing."
    text(
        f"**{about(left, money)}** of contingency is left; to be enough in 8 of 10 builds (P80) it takes "
        f"**{about(needed.value, money, needed.error)}**. {verdict}"
    )
    rows += [["Contingency left", about(left, money)], ["Your budget", about(watch.budget, money)]]
    table(["", "Amount"], rows, "The budget as it stands", last_is_sum=True)
    if watch.committed:
        text(f"{about(watch.committed, money)} is agreed and not yet paid.")


def _lines(watch: Reforecast) -> None:
    money = watch.currency
    items = [
        Standing(
            line.id, line.title, line.group, line.before[1], line.paid, *line.now, line.state == "closed"
        )
        for line in watch.lines
    ]
    picture(estimate_paid_forecast(items, money, palette()))
    with st.expander("The same as a table"):
        table(
            ["Line", "Estimate P50", "Paid", "Forecast P50", "Mean moved by", "State"],
            [
                [
                    line.title, about(line.before[1], money), about(line.paid, money), about(line.now[1], money),
                    signed(line.moved, money), line.state,
                ]
                for line in watch.lines
            ],
            "Estimate, paid and forecast by line",
            right_text=1,
        )  # fmt: skip


def _remarks(watch: Reforecast) -> None:
    with st.expander("How these figures were made"):
        text(
            f"{watch.now.trials.count:,} simulated builds, seed {watch.now.trials.seed}, the same draws before and "
            "after each receipt. What is paid also tells about what is still open, through the causes that they "
            f"share. Effective sample size {watch.now.trials.effective:,.0f}."
        )
        for remark in watch.remarks:
            text(remark)


page()
