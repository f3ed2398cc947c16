"""Freezing the budget, where it is decided on: one sum and a button, and what was frozen."""

from __future__ import annotations

import streamlit as st

from forecast.dashboard.asking import unambiguous
from forecast.dashboard.layout import calmly, text, told_plainly
from forecast.dashboard.printing import screen_only
from forecast.dashboard.receipts_news import ask_first, enter, is_meant, news, next_turn, turn_of
from forecast.dashboard.state import Opened, as_it_stands
from forecast.engine.forecast import DEFAULT_SEED, DEFAULT_TRIALS
from forecast.views.settling_words import freeze_question, frozen_words, in_its_place_words
from forecast.watching.estimates import sums_of_whole
from forecast.watching.freezing import freeze, own_budget
from forecast.words.minor_units import parse_money, to_decimal
from forecast.words.numbers import plainly
from forecast.words.text import STRONG

_PLACE = "freeze"


@st.fragment
@told_plainly()
def freeze_budget(view: Opened) -> None:
    """Say what was frozen; take the sum that the builder commits to, or another one in its place."""
    baseline = view.baseline
    news(_PLACE)
    if baseline is None:
        _form(view, "Freeze it")
        return
    text(frozen_words(baseline, view.build, strong=STRONG))
    asked = f"freeze-another-{turn_of(_PLACE)}"
    if st.session_state.get(asked):
        _form(view, "Freeze this instead")
        return
    with screen_only("freeze-another"):
        st.button(
            "Freeze another sum", key="freeze-again", type="tertiary", on_click=calmly(_ask), args=(asked,)
        )


def _ask(asked: str) -> None:
    st.session_state[asked] = True


def _form(view: Opened, label: str) -> None:
    set_now = (
        own_budget(view.build.build.budget, view.currency)
        if view.baseline is None
        else view.baseline.budget_minor
    )
    key = f"budget-{set_now}-{turn_of(_PLACE)}"  # a sum that is frozen takes its question along
    with screen_only("freeze-form"):
        asked = st.container()
        row = st.container(horizontal=True, vertical_alignment="bottom")  # on a phone too
        amount = row.text_input(
            f"The budget you commit to, in {view.currency}", key=key,
            value="" if set_now is None else plainly(to_decimal(set_now, view.currency)),
            width=220, help="The build is kept beside it as it is now, so that what you add later is told apart.",
        )  # fmt: skip
        amount = unambiguous(
            amount or "", view.currency, asked, key, lambda: sums_of_whole(as_it_stands(view))
        )
        with asked:
            meant = is_meant(key, amount)
        if row.button(label, key="freeze"):

            def work() -> str:
                budget = parse_money(amount or "", view.currency)
                done = freeze(
                    view.folder, budget, view.scenario, DEFAULT_TRIALS, DEFAULT_SEED,
                    ask=lambda now: ask_first(freeze_question(now, budget, view.currency), key, meant=meant),
                )  # fmt: skip
                return f"The budget is frozen. {in_its_place_words(done.earlier)}".rstrip()

            if enter(view, _PLACE, work):
                next_turn(_PLACE)
                st.rerun()
        if view.unsaved:
            text("Changes that are not saved yet are not part of what is kept: save them first.")
