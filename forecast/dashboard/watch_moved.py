"""What moved the forecast between two days: the part of the page that answers why."""

from __future__ import annotations

import datetime as dt

import streamlit as st

from forecast.dashboard.layout import kept_picture, palette, table, text, told_plainly
from forecast.dashboard.state import Opened
from forecast.dashboard.watch_figures import moved_between
from forecast.spending.history import History
from forecast.spending.reforecast import Reforecast
from forecast.views.charts import moved_waterfall
from forecast.views.lessons import cause_rows, reason_rows
from forecast.views.money import about, signed
from forecast.views.moves import SHORT_WORDS, WrittenMove, long_day, moved_sentence, written
from forecast.views.sentences import lesson_sentences
from forecast.words.text import STRONG

_NOW = "now"


@st.fragment
@told_plainly()
def what_moved(view: Opened, told: History, watch: Reforecast) -> None:
    """Draw the choice of two days, the sentence, and the steps from one to the other."""
    since, until = _days(view, told)
    with st.spinner("Forecasting step by step …"):
        moved = moved_between(view, since, until)
    found = written(moved)
    text(moved_sentence(moved, watch if until is None else None, strong=STRONG))
    money = view.currency
    steps = [(SHORT_WORDS[step.part.kind], step.p80) for step in found.steps if step.p80]
    end = "Now" if until is None else long_day(until)
    look = palette()
    kept_picture(
        ("waterfall", view.key, since, until, look),
        lambda: moved_waterfall((long_day(since), found.start_p80), steps, money, look, end),
        key="waterfall",
    )
    with st.expander("The steps as a table, with what is behind each"):
        _table(found, money, long_day(since), end)


def _days(view: Opened, told: History) -> tuple[dt.date, dt.date | None]:
    """Ask between which days; from where moves are told until now, as the terminal does, when left alone."""
    days = list(told.days)
    home = f"{view.folder.folder}"
    left, right = st.columns(2)
    starts = days[:-1]
    since = left.selectbox(
        "From the end of", starts, index=starts.index(told.start.date) if told.start.date in starts else 0,
        format_func=long_day, key=f"moved-since-{home}", persist_state="session",
    )  # fmt: skip
    later = [day for day in days[:-1] if day > since]
    ends: list[dt.date | str] = [_NOW, *reversed(later)]
    until = right.selectbox(
        "To the end of", ends, format_func=lambda day: "now" if isinstance(day, str) else long_day(day),
        key=f"moved-until-{home}-{since}", persist_state="session",
    )  # fmt: skip
    return since, None if isinstance(until, str) else until


def _table(found: WrittenMove, money: str, start: str, end: str) -> None:
    rows = [[start, about(found.start_half, money), about(found.start_p80, money), ""]]
    rows += [
        [step.words, signed(step.half, money), signed(step.p80, money), step.because] for step in found.steps
    ]
    rows.append([end, about(found.end_half, money), about(found.end_p80, money), ""])
    table(["", "P50", "P80", "Because of"], rows, "What moved it, adding up", right_text=1, last_is_sum=True)


def what_was_taught(watch: Reforecast) -> None:
    """Draw what the receipts did line by line, and what they say about the shared causes."""
    with st.expander("What each receipt did, and what they taught"):
        for sentence in lesson_sentences(watch):
            text(sentence)
        table(
            ["Line", "Why", "Its mean moved by"], reason_rows(watch),
            "Since before the first receipt; the moves add up", left=2, last_is_sum=True,
        )  # fmt: skip
        if watch.causes:
            text(
                "A shared cause pushes several figures the same way. It stands at 0 ± 1 before the first receipt, and "
                "above 0 where what it pushes came in dear."
            )
            table(
                ["Shared cause", "Stands at", "Told by"], cause_rows(watch),
                "What the receipts say about the shared causes", right_text=1,
            )  # fmt: skip
