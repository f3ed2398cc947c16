"""The sections of the page of watching, and what they compute, kept for all tabs by what it depends on."""

from __future__ import annotations

import datetime as dt

import streamlit as st

from forecast.buildfile.schema import Build
from forecast.dashboard.layout import kept_picture, palette, said, table, text, told_plainly
from forecast.dashboard.remembered import remembered
from forecast.dashboard.shelf import SHELF, shelved
from forecast.dashboard.state import Opened, ledger_state, record_of
from forecast.engine.forecast import DEFAULT_SEED, DEFAULT_TRIALS
from forecast.engine.plan import compile_plan
from forecast.engine.replay import Replay
from forecast.ledger import Ledger
from forecast.views.charts import contingency_over_time, moved_bars
from forecast.views.ending_words import ending_sentences
from forecast.views.moves import (
    frozen_late_sentence,
    moved_headline,
    start_words,
    step_sentences,
    written,
)
from forecast.views.sentences import lesson_sentences
from forecast.views.watch_words import (
    beneath_contingency,
    bought_sentence,
    budgets_sentence,
    cause_rows,
    contingency_rows,
    contingency_sentence,
    further_rows,
    held_rows,
    overrun_sentence,
)
from forecast.watching.history import (
    LEAST_DAYS,
    MOST_DAYS,
    History,
    HistoryPoint,
    Progress,
    days_unasked,
    history,
)
from forecast.watching.moved import Moved, what_moved
from forecast.watching.reforecast import Reforecast
from forecast.words.day_words import long_day, short_day
from forecast.words.money import entered
from forecast.words.text import STRONG

_ENTRIES = 24
_MANY_ROWS = 100
"""Above so many rows the page tells of few days first, for who opens it waits for them: the rest is one tap away."""


def anything_entered(view: Opened) -> bool:
    """Tell whether the ledger holds anything that a forecast depends on."""
    return view.ledger is not None and bool(record_of(view.ledger).days())


def history_of(view: Opened, *, all_days: bool, progress: Progress) -> History:
    """Give the forecast as of each day on which something was entered, or in a large build of those that matter."""
    assert view.ledger is not None
    return _history(*_key(view), all_days, view.build, view.ledger, progress)


def moved_between(view: Opened, since: dt.date, until: dt.date | None) -> Moved:
    """Split what moved between two days; until now where the second is left out."""
    assert view.ledger is not None
    days = since.isoformat(), "" if until is None else until.isoformat()
    return _moved(*_key(view), *days, view.build, view.ledger)


def why_it_ended(watch: Reforecast) -> None:
    """Say of a finished build why it ended where it did, and how good its estimates were; draw nothing of another."""
    if told := ending_sentences(watch):
        text(" ".join(told))


def _key(view: Opened) -> tuple[str, str, int, int, str]:
    return (
        view.build.fingerprint(), view.scenario or "", DEFAULT_TRIALS, DEFAULT_SEED, ledger_state(view.ledger)
    )  # fmt: skip


@shelved("", keys=6, state=4, rank=2)
def _history(
    fingerprint: str, scenario: str, trials: int, seed: int, state: str, all_days: bool, _build: Build,
    _ledger: Ledger, _progress: Progress,
) -> History:  # fmt: skip
    rows, days = len(compile_plan(_build, scenario or None).rows), len(record_of(_ledger).days())
    most = MOST_DAYS if all_days else days_unasked(rows, days)
    if rows > _MANY_ROWS and most < days:  # it leaves out some in any case
        most = MOST_DAYS if all_days else LEAST_DAYS
    points = _points(fingerprint, scenario, trials, seed)

    def after_a_day(done: int, of: int) -> None:
        SHELF.give_way()  # a history takes seconds, and what other pages show a tenth of one
        _progress(done, of)

    return history(
        _build, _ledger, scenario or None, trials, seed, most=most, progress=after_a_day, earlier=points,
        replay=_replay(fingerprint, scenario, trials, seed, _build),
    )  # fmt: skip


@remembered(keys=4, most=_ENTRIES)
def _points(fingerprint: str, scenario: str, trials: int, seed: int) -> dict[str, HistoryPoint]:
    """Give the points of days gone by, for the next history: a receipt of today changes none of them."""
    return {}


@shelved("", keys=7, state=4)
def _moved(
    fingerprint: str, scenario: str, trials: int, seed: int, state: str, since: str, until: str, _build: Build,
    _ledger: Ledger,
) -> Moved:  # fmt: skip
    first, last = dt.date.fromisoformat(since), dt.date.fromisoformat(until) if until else None
    replay = _replay(fingerprint, scenario, trials, seed, _build)
    return what_moved(_build, _ledger, first, last, scenario or None, trials, seed, replay=replay)


@shelved("", keys=4)
def _replay(fingerprint: str, scenario: str, trials: int, seed: int, _build: Build) -> Replay:
    """Give a build's draws: whatever is entered, they are the same."""
    return Replay(compile_plan(_build, scenario or None), trials, seed)


def contingency(watch: Reforecast) -> None:
    """Draw what is left against what is needed."""
    text(contingency_sentence(watch, strong=STRONG))
    if watch.committed:
        text(f"{entered(watch.committed, watch.currency)} is agreed and not yet paid.")


def totals(watch: Reforecast) -> None:
    """Draw what budget, P80 and P90 are made of."""
    table(["", "Contingency", "Total"], contingency_rows(watch), beneath_contingency(watch))


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
    if budgets := budgets_sentence(told, view.budget, "what is left"):
        text(budgets)


_NOW = "now"


@st.fragment
@told_plainly()
def why_it_moved(view: Opened, told: History, watch: Reforecast) -> None:
    """Draw the choice of two days, the sentence, and the steps from one to the other."""
    since, until = _days(view, told)
    with st.spinner("Forecasting step by step …"):
        moved = moved_between(view, since, until)
    found = written(moved)
    text(" ".join(filter(None, (moved_headline(moved, STRONG), frozen_late_sentence(moved)))))
    told_steps = step_sentences(moved)
    st.markdown("\n".join(f"- {said(sentence)}" for sentence in told_steps))
    money = view.currency
    steps = [(step.short, step.p80) for step in found.steps if step.p80]
    end = "Now" if until is None else long_day(until)
    look = palette()
    kept_picture(
        ("moved", view.key, since, until, look),
        lambda: moved_bars((start_words(moved), found.start_p80), steps, money, look, end),
        key="moved",
    )


def _days(view: Opened, told: History) -> tuple[dt.date, dt.date | None]:
    """Ask between which days; from where moves are told until now, as the terminal does, when left alone."""
    days = list(told.days)
    home = f"{view.folder.folder}"
    starts = days[:-1]
    side_by_side = st.container(
        horizontal=True, key="moved-days"
    )  # columns would stand below one another on a phone
    since = side_by_side.selectbox(
        "From the end of", starts, index=starts.index(told.start.date) if told.start.date in starts else 0,
        format_func=lambda day: f"{short_day(day)} (start)" if day == days[0] else long_day(day),
        key=f"moved-since-{home}", persist_state="session",
    )  # fmt: skip
    later = [day for day in days[:-1] if day > since]
    ends: list[dt.date | str] = [_NOW, *reversed(later)]
    until = side_by_side.selectbox(
        "To the end of", ends, format_func=lambda day: "now" if isinstance(day, str) else long_day(day),
        key=f"moved-until-{home}-{since}", persist_state="session",
    )  # fmt: skip
    return since, None if isinstance(until, str) else until


def what_was_taught(watch: Reforecast) -> None:
    """Draw what the receipts did line by line, and what they say about the shared causes."""
    with st.expander("What P80 holds for each line, and what receipts taught"):
        for sentence in lesson_sentences(watch):
            text(sentence)
        table(
            ["Line", "Why it moved", "P80 held", "Now", "Moved"], held_rows(watch),
            "What P80 held for each line before anything was paid or agreed, and holds now", left=2, last_is_sum=True,
            cards=True,
        )  # fmt: skip
        if watch.causes:
            text(
                "A shared cause makes several lines dear or cheap together: one dear bill then says that others may "
                "be dear too."
            )
            table(
                ["Shared cause", "By what came in it looks", "Lines that show it"], cause_rows(watch),
                "What the receipts say about the shared causes", right_text=2,
            )  # fmt: skip
