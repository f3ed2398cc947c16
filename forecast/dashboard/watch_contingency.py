"""Contingency: what is left, what is needed, how it went, and what more of it would buy."""

from __future__ import annotations

from forecast.dashboard.layout import kept_picture, palette, table, text
from forecast.dashboard.state import Opened
from forecast.views.charts import contingency_over_time
from forecast.views.watch_words import (
    bought_sentence,
    columns,
    contingency_rows,
    contingency_sentence,
    further_rows,
    overrun_sentence,
)
from forecast.watching.history import History
from forecast.watching.reforecast import Reforecast
from forecast.words.money import entered
from forecast.words.text import STRONG


def contingency(watch: Reforecast) -> None:
    """Draw what is left against what is needed."""
    text(contingency_sentence(watch, strong=STRONG))
    found = columns(watch)
    table(
        ["", *(column.name for column in found)], contingency_rows(watch),
        "What is paid, what is open at its middle figures, and what is kept for the rest", last_is_sum=True,
    )  # fmt: skip
    if watch.committed:
        text(f"{entered(watch.committed, watch.currency)} is agreed and not yet paid.")


def what_more_buys(watch: Reforecast) -> None:
    """Draw what a further sum in the budget buys."""
    if watch.budget is None:
        text("Set a budget to see what more money in it changes.")
        return
    text(f"{bought_sentence(watch)} {overrun_sentence(watch)}")
    table(
        ["Budget", "Overruns in", "Simulation error"],
        further_rows(watch),
        "More in the budget",
        right_text=1,
    )


def over_time(view: Opened, told: History) -> None:
    """Draw how the contingency was drawn down."""
    if sum(point.budget is not None for point in told.points) < 2:
        text("It is drawn from the day on which a budget is set.")
        return
    look = palette()
    kept_picture(
        ("contingency", view.key, len(told.points), look),
        lambda: contingency_over_time(told.points, told.currency, look),
        key="contingency",
    )
