"""The page that answers: do it or farm it out."""

from __future__ import annotations

from functools import partial

import streamlit as st

from forecast.build.oneself import own_hazards, own_hazards_sentence
from forecast.dashboard.choose_mix import best_mix
from forecast.dashboard.choose_quotes import which_quote
from forecast.dashboard.layout import answer, palette, picture, safe, table, text, told_plainly
from forecast.dashboard.proposing import add_both_ways
from forecast.dashboard.state import Opened, as_it_stands, compared, known_by_now, opened
from forecast.decide.scenarios import Comparison
from forecast.views.charts import difference_strip, scenario_bars
from forecast.views.commands.advice import pair_sentences
from forecast.views.money import about, hourly, hours, percent
from forecast.views.sentences import left_prices, with_receipts
from forecast.words.text import STRONG


# How scenarios are written in the build file. (In a file that is a page, a bare text would be shown.)
def page() -> None:
    """Draw the page."""
    st.title("Do it or farm it out?")
    with told_plainly():
        view = opened()
        if len(view.build.scenario) < 2:
            answer(
                f"This build has {STRONG}1 way{STRONG} of being done. With a second one, the two are compared on the "
                "same simulated builds."
            )
            add_both_ways()
        else:
            comparison = compared(view)
            _answer(view, comparison)
            known = known_by_now(view)
            if told := with_receipts(view.build, known):
                told.append("What is paid is spent either way.")
                told += left_prices(view.build, known, [item.id for item in comparison.scenarios])
                st.caption(safe(" ".join(told)))
            named = [(item.name, as_it_stands(view, item.id)) for item in comparison.scenarios]
            picture(scenario_bars(named, palette()))
            st.subheader("Two against each other")
            _pair(view, comparison)
            with st.expander("All of them, side by side"):
                _all(view, comparison)
        mixes = st.container()  # filled last: trying every mix takes longest
        which_quote(view)
        with mixes:
            best_mix(view)


def _answer(view: Opened, comparison: Comparison) -> None:
    money = partial(about, currency=view.currency)
    said = [comparison.sentence(money, strong=STRONG)]
    pay = comparison.most_telling_pay
    if pay is not None:
        said.append(pay.sentence(partial(hourly, currency=view.currency), strong=STRONG))
    best = comparison.cheapest_in_the_middle
    answer(*said)
    if told := own_hazards_sentence(own_hazards(view.build, best.id), best.name):
        text(told)


@st.fragment
def _pair(view: Opened, comparison: Comparison) -> None:
    with told_plainly():
        names = {
            (pair.first, pair.second): f"{pair.first_name} or {pair.second_name}" for pair in comparison.pairs
        }
        key = st.selectbox(
            "Which two", list(names), format_func=names.__getitem__, key="pair", persist_state="session"
        )
        pair = comparison.pair(*key)
        strip = difference_strip(
            comparison.differences[key], pair.first_name, pair.second_name, view.currency, palette()
        )
        picture(strip)
        for sentence in pair_sentences(pair, view.currency):
            text(sentence)


def _all(view: Opened, comparison: Comparison) -> None:
    money = view.currency
    weeks = comparison.scenarios[0].weeks is not None
    rows = []
    for item in comparison.scenarios:
        sums = (item.p10, item.p50, item.p80, item.p90)
        rows.append(
            [
                item.name, *(about(sum_.value, money, sum_.error) for sum_ in sums),
                hours(item.hours[1].value), *([f"{item.weeks[1].value:.0f}"] if item.weeks is not None else []),
                percent(item.chance_cheapest.value), about(item.regret.value, money, item.regret.error),
            ]
        )  # fmt: skip
    headings = ["Scenario", "P10", "P50", "P80", "P90", "Own hours, middle"]
    headings += [*(["Weeks, middle"] if weeks else []), "Cheapest in", "Mean regret"]
    caption = "Regret: what it costs more than the cheapest would have in the same build, on average"
    if weeks:
        caption += (
            ". Weeks: own hours at what a week has room for, then the waiting that the build file states"
        )
    table(headings, rows, caption)


page()
