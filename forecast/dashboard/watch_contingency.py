"""Contingency: what is left, what is needed, how it went, and what more of it would buy."""

from __future__ import annotations

import streamlit as st

from forecast.dashboard.layout import kept_picture, palette, table, text
from forecast.dashboard.state import Opened
from forecast.dashboard.watch_figures import earned_of
from forecast.spending.earned import NOT_THE_SAME
from forecast.spending.history import History
from forecast.spending.reforecast import Reforecast
from forecast.views.charts import contingency_over_time
from forecast.views.earning import earned_rows, earned_sentence
from forecast.views.money import entered
from forecast.views.watching import (
    bought_sentence,
    columns,
    contingency_rows,
    contingency_sentence,
    further_rows,
    overrun_sentence,
)
from forecast.words.text import STRONG


def contingency(watch: Reforecast) -> None:
    """Draw what is left against what is needed, and what a further sum buys."""
    text(contingency_sentence(watch, strong=STRONG))
    found = columns(watch)
    table(
        ["", *(column.name for column in found)], contingency_rows(watch),
        "What is paid, what is open at its middle figures, and what is kept for the rest", last_is_sum=True,
    )  # fmt: skip
    if watch.committed:
        text(f"{entered(watch.committed, watch.currency)} is agreed and not yet paid.")
    if watch.budget is None:
        return
    with st.expander("What a further sum in the budget buys"):
        text(f"{bought_sentence(watch)} {overrun_sentence(watch)}")
        table(
            ["Budget", "Overruns in", "Simulation error"],
            further_rows(watch),
            "More in the budget",
            right_text=1,
        )


def over_time(view: Opened, told: History) -> None:
    """Draw how the contingency was drawn down."""
    with st.expander("How the contingency went"):
        if sum(point.budget is not None for point in told.points) < 2:
            text("It is drawn from the day on which a budget is set.")
            return
        look = palette()
        kept_picture(
            ("contingency", view.key, len(told.points), look),
            lambda: contingency_over_time(told.points, told.currency, look),
            key="contingency",
        )


def earned(view: Opened) -> None:
    """Show earned value beside the simulation."""
    with st.expander("Earned value, as contractors figure it"):
        found = earned_of(view)
        text(earned_sentence(found))
        table(["Term", view.currency, "Meaning"], earned_rows(found), "Earned value", right_text=1)
        text("Why this differs from the forecast above:")
        st.markdown("\n".join(f"- {reason}" for reason in NOT_THE_SAME))
