"""How much to hold: a level from two plain questions, where the contingency comes from, and what others put aside."""

from __future__ import annotations

from functools import partial

import streamlit as st

from forecast.dashboard.asking import number_field
from forecast.dashboard.cost_open import what_makes_it_up
from forecast.dashboard.layout import safe, table, text, told_plainly
from forecast.dashboard.state import Opened, as_it_stands, contingency_of
from forecast.decide.comparisons import NOT_FOUND
from forecast.decide.contingency import Contingency, Share, recommended_level
from forecast.words.money import about, as_written, builds, signed
from forecast.words.text import STRONG

SHORT, IDLE = 200.0, 50.0
"""What is taken as answers at first: four to one, which asks for P80."""

_SPLITS = {"By cause": "causes", "By group": "groups", "By line": "lines"}


def how_much_to_hold(view: Opened) -> None:
    """Draw the section."""
    st.subheader("How much to hold")
    _section(view)


@st.fragment
def _section(view: Opened) -> None:
    with told_plainly():
        money = partial(about, currency=view.currency)
        sum_ = safe(money(1000.0))
        left, right = st.columns(2)
        short = number_field(
            left,
            f"Being {sum_} short would cost you",
            value=SHORT,
            currency=view.currency,
            key="short",
            persist_state="session",
            help="A stopped build, a month's storage, credit: whatever it would take to get over it.",
        )
        idle = number_field(
            right,
            f"{sum_} lying idle would cost you",
            value=IDLE,
            currency=view.currency,
            key="idle",
            persist_state="session",
            help="Interest, and other plans put off for the time of the build.",
        )
        if short.wrong or idle.wrong:
            return
        level = recommended_level(short.value or 0.0, idle.value or 0.0)
        split = contingency_of(view, level.q)
        text(f"{level.sentence(money)} {split.over_sentence(money)}")
        _levels(view, level.q)
        with st.expander("What the contingency is made of, and what others put aside"):
            made, beside, middle = st.tabs(
                ["Where it comes from", "What others put aside", "What your middle figures add up to"]
            )
            with made:
                _where_from(view, split)
            with beside:
                _beside(view, split)
            with middle:
                what_makes_it_up(view)


def _levels(view: Opened, own: float) -> None:
    forecast, money = as_it_stands(view), view.currency
    base = forecast.base_estimate
    rows = [["Middle figures", about(base, money), "", _enough(forecast.chance_within(base).value)]]
    levels = sorted({0.5, 0.8, 0.9, round(own, 2)})
    for level, estimate in zip(levels, forecast.percentile_set(levels), strict=True):
        rows.append(
            [
                f"P{100 * level:.0f}",
                about(estimate.value, money, estimate.error),
                signed(as_written(estimate.value, money, estimate.error) - as_written(base, money), money),
                _enough(level),
            ]
        )
    headings = ["", "Total", "Contingency", "Meaning"]
    table(headings, rows, "Sums to hold, and what they are enough for", right_text=1)


def _enough(chance: float) -> str:
    return f"enough in {builds(chance)}"


def _where_from(view: Opened, split: Contingency) -> None:
    name = f"P{100 * split.level:.0f}"
    text(
        f"At {name} you hold {STRONG}{about(split.amount.value, split.currency, split.amount.error)}{STRONG} beyond "
        "your middle figures. Each share is what that part costs on average when the whole build costs about that "
        "much, less its middle figure; the shares add up."
    )
    kind = st.segmented_control(
        "Split", list(_SPLITS), default="By cause", key="split", label_visibility="collapsed",
        required=True,
    )  # fmt: skip
    shares: tuple[Share, ...] = getattr(split, _SPLITS[kind or "By cause"])
    rows = [[share.title, signed(share.amount.value, view.currency)] for share in shares]
    rows.append(["Contingency", signed(split.amount.value, view.currency)])
    table(["", "Adds"], rows, f"Contingency at {name}, {(kind or 'By cause').lower()}", last_is_sum=True)


def _beside(view: Opened, split: Contingency) -> None:
    money = view.currency
    text(
        f"None of these enters your figures. Your contingency of {about(split.amount.value, money)} is for your own "
        f"ranges and events. {NOT_FOUND}"
    )
    rows = []
    for item in split.beside:
        low, high = about(item.low, money), about(item.high, money)
        sums = low if item.low == item.high else f"{low} to {high}"
        rows.append([item.published.what, sums, f"{item.published.source}. {item.published.standing}"])
    table(
        ["Published figure", "On your middle figures", "Source, and how far it can be trusted"], rows,
        "Rules of thumb and published overruns, turned into money for this build", right_text=1, stacked=True,
    )  # fmt: skip
