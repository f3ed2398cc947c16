"""The page that answers: do it or farm it out."""

from __future__ import annotations

import streamlit as st

from forecast.dashboard.layout import answer, palette, picture, table, text, told_plainly
from forecast.dashboard.state import Opened, before, compared, opened
from forecast.decide.scenarios import Comparison, Pair
from forecast.views.charts import difference_strip, scenario_bars
from forecast.views.money import about, builds, hourly, hours, percent


def page() -> None:
    """Draw the page."""
    st.title("Do it or farm it out?")
    with told_plainly():
        view = opened()
        if len(view.build.scenario) < 2:
            answer("This build has one way of doing it. Add a second scenario to the build file to compare:")
            st.code('[scenario.outsourced]\nname = "All farmed out"\nall = "shop"', language="toml")
            return
        comparison = compared(view)
        _answer(view, comparison)
        named = [(item.name, before(view, item.id)) for item in comparison.scenarios]
        picture(scenario_bars(named, palette()))
        st.subheader("Two against each other")
        _pair(view, comparison)
        st.subheader("All of them")
        _all(view, comparison)


def _answer(view: Opened, comparison: Comparison) -> None:
    best = comparison.cheapest
    money = view.currency
    sentences = [
        f"**{best.name}** is cheapest: **{about(best.p50.value, money, best.p50.error)}** in the middle, and the "
        f"cheapest of all in **{builds(best.chance_cheapest.value)}**."
    ]
    pays = [pair.pay for pair in comparison.pairs if pair.pay is not None]
    if pays:
        most = max(pays, key=lambda pay: pay.extra_hours)
        if most.saving > 0:
            sentences.append(
                f"Doing it yourself pays **{hourly(most.mean.value, money)} an hour** ({most.worker} against "
                f"{most.other}). If your hour is worth more than that to you, farm it out."
            )
        else:
            sentences.append(
                f"{most.worker} takes {hours(most.extra_hours)} more of your own work and saves nothing."
            )
    answer(*sentences)


@st.fragment
def _pair(view: Opened, comparison: Comparison) -> None:
    names = {
        (pair.first, pair.second): f"{pair.first_name} or {pair.second_name}" for pair in comparison.pairs
    }
    key = st.selectbox(
        "Which two", list(names), format_func=names.__getitem__, key="pair", persist_state="session"
    )
    pair = comparison.pair(*key)
    picture(
        difference_strip(
            comparison.differences[key], pair.first_name, pair.second_name, view.currency, palette()
        )
    )
    _figures(view, pair)


def _figures(view: Opened, pair: Pair) -> None:
    money = view.currency
    text(
        f"In the middle **{pair.second_name}** costs **{about(abs(pair.difference[1].value), money)}** "
        f"{'more' if pair.difference[1].value >= 0 else 'less'} than {pair.first_name}; at P80 "
        f"{about(abs(pair.p80.value), money, pair.p80.error)} {'more' if pair.p80.value >= 0 else 'less'}."
    )
    if pair.pay is not None:
        pay = pair.pay
        earned = (
            f"An own hour earns {hourly(pay.mean.value, money)}"
            if pay.saving > 0
            else "An own hour earns nothing"
        )
        between = ""
        if pay.p10 is not None and pay.p90 is not None and pay.saving > 0:
            between = (
                f", in 8 of 10 builds from {hourly(pay.p10.value, money)} to {hourly(pay.p90.value, money)}"
            )
        text(
            f"{pay.worker} takes {hours(pay.extra_hours)} more of your own work than {pay.other}. {earned}{between}."
        )


def _all(view: Opened, comparison: Comparison) -> None:
    money = view.currency
    table(
        ["Scenario", "P50", "P80", "P90", "Own hours, middle", "Cheapest in", "Mean regret"],
        [
            [
                item.name, about(item.p50.value, money, item.p50.error), about(item.p80.value, money, item.p80.error),
                about(item.p90.value, money, item.p90.error), hours(item.hours[1].value),
                percent(item.chance_cheapest.value), about(item.regret.value, money, item.regret.error),
            ]
            for item in comparison.scenarios
        ],
        "Scenarios side by side. Regret: what it costs more than the cheapest would have, on average",
    )  # fmt: skip


page()
