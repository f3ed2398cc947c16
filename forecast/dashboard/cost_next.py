"""What to do about what it will cost: firm up, how far money reaches, measures, and what could go."""

from __future__ import annotations

import math
from functools import partial

import streamlit as st

from forecast.dashboard.asking import number_field
from forecast.dashboard.cost_answers import (
    could_go,
    driving,
    enough,
    firm_up_on_its_way,
    measured,
    standing_of,
    to_firm_up,
    walk_away_price,
)
from forecast.dashboard.layout import safe, said, table, text, told_plainly
from forecast.dashboard.proposing import add_measure
from forecast.dashboard.state import Opened, as_it_stands, chosen
from forecast.decide.afford import prices_to_ask_for
from forecast.decide.drivers import SwingBar, VarianceShare
from forecast.decide.figure_words import figure_phrase, figure_words, titles_in_figures
from forecast.decide.firm_up import FirmUp
from forecast.views.cost_words import (
    budget_chance_sentence,
    drivers_sentence,
    firm_up_sentence,
    measure_sentence,
    measures_sentence,
    stays_sentence,
    trims_sentence,
    walk_away_sentence,
)
from forecast.words.money import about, entered, hours, percent, signed

SHOWN = 5
_MOST = 24
ORDER = "First what moves the total most by itself."
"""The order of the list."""
LOOK_AGAIN = 0.5
"""Seconds between two looks whether it has come."""


def what_to_firm_up(view: Opened) -> None:
    """Draw the list of `forecast advise`, in its order and its words, as soon as it is there; nothing waits for it.

    A page that shows it may ask `firm_up_on_its_way` where it begins, so that it comes the sooner.
    """
    if not comes_later(view):
        _list(view)


def comes_later(view: Opened) -> bool:
    """Tell whether what to firm up is still being worked out; say so here, and draw the page again once it is there."""
    if not firm_up_on_its_way(view):
        return False
    st.caption("Working out how much less a firm figure lets you hold. It comes by itself.")
    _look_again(view, ["drawn with the rest"])
    return True


@st.fragment(run_every=LOOK_AGAIN)
@told_plainly()
def _look_again(view: Opened, drawn: list[str]) -> None:
    if drawn:  # the rest of the page is still being drawn, and would be cut off
        drawn.clear()
    elif not firm_up_on_its_way(view):
        st.rerun()


def _list(view: Opened) -> None:
    found = [item for item in to_firm_up(view) if item.certain]
    money = partial(about, currency=view.currency)
    counted = (
        " Your receipts are counted in: what is paid needs no quote."
        if standing_of(view).known is not None
        else ""
    )
    st.caption(
        f"How much less you need to hold at P80 once a figure is firm: quoted, measured or decided. {ORDER}{counted}"
    )
    if not found:
        text(
            "No single figure stands out: settling any one of them would not change by much what you must hold."
        )
        return
    st.markdown(
        "\n".join(
            f"{place}. {said(firm_up_sentence(item, money))}" for place, item in enumerate(found[:SHOWN], 1)
        )
    )


def all_figures(view: Opened) -> None:
    """Draw the table of all that could be firmed up, once it is there."""
    if firm_up_on_its_way(view):
        st.caption("It is being worked out.")
        return
    found, currency = [item for item in to_firm_up(view) if item.certain], view.currency
    rows = [
        [
            item.title, _to_hold_less(item, currency),
            about(item.into_base, currency), item.effort,
        ]
        for item in found[:_MOST]
    ]  # fmt: skip
    table(
        ["Figure", "To hold less", "Becomes a known cost", "Effort"], rows,
        "How much less to hold at P80 with a figure firm, on average",
        right_text=1, cards=True,
    )  # fmt: skip


def _to_hold_less(item: FirmUp, currency: str) -> str:
    """Write how much less is to be held; of what may not come either way, as the list does."""
    if item.with_it is None or item.without_it is None:
        return about(item.release.value, currency, item.release.error)
    less = about(item.without_it.value, currency, item.without_it.error)
    return f"{less} without it, {about(item.with_it.value, currency, item.with_it.error)} more with it"


CHEAP_AND_DEAR = "cheap-and-dear"
"""Key of the fold whose contents are worked out once it is open."""


@st.fragment
@told_plainly()
def cheap_and_dear(view: Opened) -> None:
    """Draw the fold: every figure that could be firmed up, and each part in its cheapest and in its dearest tenth."""
    # It takes as long as the rest of the page, and few open it: it is worked out then.
    fold = st.expander("Figure by figure", key=CHEAP_AND_DEAR, on_change="rerun")
    if fold.open:
        with fold:
            every, moves = st.tabs(
                ["All that could be firmed up", "When a part is cheap, and when it is dear"]
            )
            with every:
                all_figures(view)
            with moves:
                _moves(view)


def _moves(view: Opened) -> None:
    found = driving(view)
    text(drivers_sentence(found, partial(about, currency=view.currency)))
    kind = st.segmented_control(
        "What it is that is cheap or dear", ["By line", "By group", "By cause"], default="By line", key="moves",
        label_visibility="collapsed", required=True,
    )  # fmt: skip
    swings, shares = {
        "By group": (found.group_swings, found.groups),
        "By cause": (found.cause_swings, found.causes),
    }.get(kind or "", (found.swings, found.lines))
    _swing_table(view, swings, shares)


def _swing_table(view: Opened, swings: tuple[SwingBar, ...], shares: tuple[VarianceShare, ...]) -> None:
    money = view.currency
    by_id = {share.id: share for share in shares}
    st.caption(
        "Each part in its cheapest and in its dearest tenth of builds, all else as it is; what follows from it, as "
        "duty does, follows. What comes with it: how much more the rest costs where it is dear than where it is cheap, "
        "because shared causes touch both; that is not its doing."
    )
    rows = [
        [
            bar.title + (" (may happen)" if bar.kind == "event" else ""),
            about(bar.low, money, bar.own.error), about(bar.high, money, bar.own.error),
            about(bar.shared, money, bar.together.error) if bar.comes_with_others else "\u2013",
            percent(by_id[bar.id].share.value),
        ]
        for bar in swings[:12]
    ]  # fmt: skip
    table(
        ["", "Total when it is cheap", "When it is dear", "What comes with it", "Share of the uncertainty"], rows,
        "The total when this is cheap, and when it is dear",
    )  # fmt: skip


@st.fragment
def how_far_money_reaches(view: Opened) -> None:
    """Draw the section: the chance that the money is enough, and the price at which to walk away."""
    with told_plainly():
        standing = standing_of(view)
        prices = prices_to_ask_for(view.build, standing.forecast, standing.known)
        titles = titles_in_figures(view.build)
        file = chosen()["file"]
        left, right = st.columns(2)
        budget = (
            view.budget
            if view.budget is not None
            else 10
            * math.ceil(as_it_stands(view).percentile(0.8).value / 10)  # down, and P80 would not fit into it
        )
        told = number_field(
            left,
            "Money at hand",
            value=float(budget),
            currency=view.currency,
            near=standing.forecast.percentile(0.5).value or None,
            key=f"at-hand-{file}",
            persist_state="session",
        )
        figure = right.selectbox(
            "The price in question", prices, format_func=lambda name: figure_words(name, titles),
            key=f"price-{file}", persist_state="session",
        )  # fmt: skip
        at_hand = told.value
        if told.wrong:
            return
        if not at_hand:
            text(
                "Enter what you have: you will see how often it is enough, and the price at which to walk away."
            )
            return
        money, exactly = partial(about, currency=view.currency), partial(entered, currency=view.currency)
        if standing.known is not None:
            st.caption("With your receipts counted in; the money at hand includes what is paid already.")
        text(budget_chance_sentence(enough(view, at_hand), money, exactly))
        if figure is not None:
            text(walk_away_sentence(walk_away_price(view, at_hand, figure), money, exactly))


def which_measures_pay(view: Opened) -> None:
    """Draw what is known of each measure, and how to add one."""
    with told_plainly():
        if not view.build.measure:
            text(
                "Insurance, a trial fit, photos before shipping, spare fixings: see whether what a measure saves is "
                "more than it costs."
            )
            add_measure()
            return
        found = measured(view)
        money = partial(about, currency=view.currency)
        titles = titles_in_figures(view.build)
        text(measures_sentence(found, money))
        for item in found.alone:
            text(measure_sentence(item, money))
            if item.without_effect:
                named = ", ".join(figure_phrase(name, titles) for name in item.without_effect)
                st.caption(safe(f"Not in this scenario, and so without effect: {named}."))
        rows = [
            [
                item.title, money(item.cost), signed(item.mean.value, view.currency, item.mean.error),
                signed(item.p80.value, view.currency, item.p80.error),
                signed(item.p90.value, view.currency, item.p90.error), hours(item.hours),
            ]
            for item in found.alone
        ]  # fmt: skip
        table(
            ["Measure", "Costs", "Mean moves by", "P80", "P90", "Own hours"], rows,
            "Each measure alone, its own cost included; a minus is a saving",
        )  # fmt: skip
        add_measure()


def what_could_go(view: Opened) -> None:
    """Draw the lines that could be left out, and say which are never proposed."""
    with told_plainly():
        found = could_go(view)
        money = partial(about, currency=view.currency)
        if found.proposed:
            rows = [
                [
                    item.title, about(item.p80.value, view.currency, item.p80.error),
                    about(item.mean.value, view.currency, item.mean.error), hours(item.hours),
                ]
                for item in found.proposed
            ]  # fmt: skip
            text(trims_sentence(found, money))
            table(
                ["Line marked optional", "Frees at P80", "On average", "Own hours"], rows,
                "What leaving a line out frees, duty and fees that follow from it included",
            )  # fmt: skip
        else:
            text(trims_sentence(found, money))
        for kept in found.kept:
            text(stays_sentence(kept))
        text(
            "Lines of safety are never proposed, whatever they cost: wheel fixings, tyres, brakes, structure, "
            "lighting, and what protects your lungs, eyes and skin."
        )
