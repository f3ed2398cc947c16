"""The page that answers: where does it end."""

from __future__ import annotations

import streamlit as st

from forecast.dashboard.layout import answer, kept_picture, palette, table, text, told_plainly
from forecast.dashboard.receipts_import import receipts_as_text
from forecast.dashboard.receipts_settle import offer_the_end
from forecast.dashboard.state import Opened, before, opened, watched
from forecast.dashboard.watch_sections import (
    anything_entered,
    contingency,
    history_of,
    over_time,
    totals,
    what_more_buys,
    what_was_taught,
    why_it_ended,
    why_it_moved,
)
from forecast.views.charts import estimate_paid_forecast, forecast_band
from forecast.views.charts.line_charts import LineStanding
from forecast.views.sentences import (
    budget_sentence,
    ends_sentence,
    hours_left_sentence,
    unforeseen_sentence,
    watch_sentence,
    width_sentence,
)
from forecast.views.settling_words import beside_sentence, unpaid_sentences
from forecast.views.watch_words import days_shown, estimate_rows, rough_days, trials_sentence
from forecast.watching.history import History
from forecast.watching.reforecast import Reforecast
from forecast.words.text import STRONG

_FEW = 40  # days are forecast before anybody wonders how many are left
# The pictures of the past come last: room is kept for them, so that what stands below does not jump.
_ROOM = "<style>.st-key-band { min-height: 26rem; } .st-key-moves { min-height: 24rem; }</style>"


def page() -> None:
    """Draw the page."""
    st.title("Where does it end?")
    with told_plainly():
        view = opened()
        watch = watched(view)
        if watch is None or not anything_entered(view):
            _nothing_yet(view)
            return
        answer(watch_sentence(watch, strong=STRONG), width_sentence(watch), unforeseen_sentence(watch))
        offer_the_end(view, watch)
        ended = st.container()
        st.html(_ROOM)
        band, moves = st.container(key="band"), st.container(key="moves")
        drawdown = None
        if not watch.finished:  # then there is none left to need, and nothing to buy
            st.subheader("Contingency: left, and needed")
            contingency(watch)
            with st.expander("The totals, what more money changes, and how the contingency went"):
                made_of, more, drawdown = st.tabs(
                    ["The totals", "What more money changes", "How the contingency went"]
                )
                with made_of:
                    totals(watch)
                with more:
                    what_more_buys(watch)
        st.subheader("Line by line")
        _lines(view, watch)
        with st.expander("Line by line as a table, and how these figures were made"):
            as_table, small_print = st.tabs(["The same as a table", "How these figures were made"])
            with as_table:
                table(
                    ["Line", "Estimate", "Paid", "Forecast P50", "P10 to P90", "Off the estimate", "State"],
                    estimate_rows(watch),
                    "Estimate, paid and forecast by line", right_text=1, cards=True,
                )  # fmt: skip
        # Going back in time takes longest: the figures of today stand on the screen by then.
        with band:
            told = _told(view)
            _band(view, told, watch)
            _days_shown(view, told)
        with ended:
            why_it_ended(watch)
        with moves:
            st.subheader("What moved")
            why_it_moved(view, told, watch)
            what_was_taught(watch)
        if drawdown is not None:
            with drawdown:
                over_time(view, told)
        with small_print:
            _small_print(watch, told)


def _told(view: Opened) -> History:
    """Go back in time, saying how far that is."""
    room = st.empty()

    def progress(done: int, of: int) -> None:
        if of > _FEW and done % 5 == 0:  # each word to the browser takes its time too
            room.progress(done / of, f"Going back in time: {of - done} days left")

    room.caption("Going back in time …")
    told = history_of(view, all_days=bool(st.session_state.get(_all_days(view))), progress=progress)
    room.empty()
    return told


def _all_days(view: Opened) -> str:
    return f"all-days-{view.folder.folder}"


def _days_shown(view: Opened, told: History) -> None:
    """Say which days a large build's picture shows, with a button for the others."""
    if not told.left_out:
        return
    text(days_shown(told))
    if not st.session_state.get(_all_days(view)) and st.button("Show the other days too"):
        st.session_state[_all_days(view)] = True
        st.rerun()


def _nothing_yet(view: Opened) -> None:
    if receipts_as_text(view):
        return
    forecast = before(view)
    answer(
        f"Nothing is paid yet: it ends where your ranges say. {ends_sentence(forecast, strong=STRONG)}",
        budget_sentence(forecast, view.budget, strong=STRONG) if view.budget is not None else "",
    )
    text(
        "Enter the first receipt when you have paid something. From then on this page shows what moved, and why."
    )
    if st.button("Enter a receipt", type="primary"):
        st.switch_page("forecast/dashboard/receipts.py")


def _band(view: Opened, told: History, watch: Reforecast) -> None:
    look = palette()
    kept_picture(
        ("band", view.key, watch.budget, len(told.points), look),
        lambda: forecast_band(told.points, watch.budget, view.currency, look),
        key="over-time",
    )


def _lines(view: Opened, watch: Reforecast) -> None:
    lines = set(watch.counts.costing)
    items = [
        LineStanding(
            line.id,
            line.title,
            line.group,
            line.estimate,
            line.paid,
            *line.now,
            line.state == "closed",
            not line.unforeseen,
            line.not_bought,
        )
        for line in watch.lines
        if line.kind == "event" or line.id in lines
    ]
    for remark in watch.remarks:
        text(remark)
    look = palette()
    kept_picture(
        ("by line", view.key, look),
        lambda: estimate_paid_forecast(items, watch.currency, look),
        key="by-line",
    )
    if beside := beside_sentence(watch, 3):
        text(beside)
    if unpaid := unpaid_sentences(watch):
        text(" ".join(unpaid))
    how = "Say what is done on the page Receipts, where lines are closed."
    if work := hours_left_sentence(watch, how, STRONG):
        text(work)


def _small_print(watch: Reforecast, told: History) -> None:
    text(
        f"{trials_sentence(watch)} The draws are the same before and after each receipt, and on each day of the past: "
        "the forecast moves by what was entered alone. What is paid also tells about what is still open, through the "
        "causes that they share."
    )
    text(rough_days(told))


page()
