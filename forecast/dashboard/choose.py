"""The page that answers: do it or farm it out."""

from __future__ import annotations

from functools import partial
from typing import Any

import streamlit as st

from forecast.buildfile.oneself import own_hazards, own_hazards_sentence
from forecast.dashboard.choose_sections import best_mix, which_quote
from forecast.dashboard.layout import (
    OnTap,
    answer,
    fold,
    kept_picture,
    on_tap,
    palette,
    safe,
    table,
    text,
    told_plainly,
)
from forecast.dashboard.proposing import add_both_ways
from forecast.dashboard.state import Opened, as_it_stands, compared, known_by_now, opened, plan_of, watched
from forecast.decide.made import ways_left
from forecast.decide.scenarios import Comparison
from forecast.views.charts import AgainstCheapest, difference_bands, difference_strip
from forecast.views.commands.advice import pair_sentences
from forecast.views.sentences import at_its_end, ends_sentence, left_prices, with_receipts
from forecast.views.theme import Palette
from forecast.views.ways import (
    comparison_sentence,
    further_table,
    made_sentences,
    pay_sentence,
    taught_sentences,
    ways_table,
    what_ways_hold,
)
from forecast.words.money import about, hourly
from forecast.words.text import STRONG


# How scenarios are written in the build file. (In a file that is a page, a bare text would be shown.)
def page() -> None:
    """Draw the page."""
    st.title("Do it or farm it out?")
    with told_plainly():
        view = opened()
        if known_by_now(view) is not None and at_its_end(as_it_stands(view)):
            _finished(view)
            return
        if len(view.build.scenario) < 2:
            answer(
                f"This build has {STRONG}1 way{STRONG} of being done. With a second one, the two are compared on the "
                "same simulated builds."
            )
            add_both_ways()
        elif len(ways_left(view.build, known_by_now(view))) < 2:
            _the_one_left(view)
        else:
            comparison = compared(view)
            _answer(view, comparison)
            _differences(view, comparison)
            known = known_by_now(view)
            if made := made_sentences(view.build, known):
                text(" ".join(made))
            if told := with_receipts(view.build, known):
                told.append("What is paid is spent either way.")
                told += left_prices(view.build, known, [item.id for item in comparison.scenarios])
                told += taught_sentences(view.build, known, [item.id for item in comparison.scenarios])
                st.caption(safe(" ".join(told)))
            hazards = {item.id: own_hazards(view.build, item.id) for item in comparison.scenarios}
            headings, rows, caption = ways_table(comparison, hazards, plan_of(view))
            table(headings, rows, caption, right_text=1, cards=True)
            if harms := [
                OnTap(f"{item.name}: what can hurt, in full", [own_hazards_sentence(hazards[item.id])])
                for item in comparison.scenarios
                if hazards[item.id]
            ]:
                on_tap(*harms)
            if held := what_ways_hold(view.build, [item.id for item in comparison.scenarios]):
                text(" ".join(held))
            _two_ways(view, comparison)
        alone = len(ways_left(view.build, known_by_now(view))) < 2
        mixes = st.container()  # filled last: trying every mix takes longest
        which_quote(view)
        with mixes:
            best_mix(view, alone=alone)


def _finished(view: Opened) -> None:
    """Show what the ways of doing it were thought to cost, now that nothing is left to choose."""
    over = "The build is finished: nothing is left to choose."
    if len(view.build.scenario) < 2:
        answer(over)
        return
    answer(f"{over} This is what its ways were to cost before the first receipt.")
    comparison = compared(view, before_receipts=True)
    headings, rows, caption = ways_table(comparison, None, plan_of(view))
    table(headings, rows, caption, right_text=1, cards=True)
    _differences(view, comparison)


def _the_one_left(view: Opened) -> None:
    """Say which way is left, and, where it is the one in force, where it ends."""
    known = known_by_now(view)
    told = " ".join(made_sentences(view.build, known))
    watch = watched(view) if (view.scenario,) == ways_left(view.build, known) else None
    answer(told, "" if watch is None else ends_sentence(watch, strong=STRONG))


def _answer(view: Opened, comparison: Comparison) -> None:
    money = partial(about, currency=view.currency)
    said = [comparison_sentence(comparison, money, strong=STRONG)]
    pay = comparison.most_telling_pay
    if pay is not None:
        said.append(pay_sentence(pay, partial(hourly, currency=view.currency), strong=STRONG))
    answer(*said)


def _differences(view: Opened, comparison: Comparison) -> None:
    look = palette()
    kept_picture(("differences", view.key, look), lambda: _bands(comparison, look))


def _bands(comparison: Comparison, look: Palette) -> Any:
    """Draw what each way costs more than the one that is cheapest in the middle."""
    best, ways = comparison.cheapest_in_the_middle, []
    for item in comparison.scenarios:
        if item.id != best.id:
            pair = comparison.pair(item.id, best.id)
            dearer = comparison.differences[pair.first, pair.second]
            own = -dearer if pair.first == item.id else dearer
            ways.append(AgainstCheapest(item.name, own, pair.dearer_by(item.id), pair.cheaper_in(item.id)))
    return difference_bands(ways, best.name, comparison.currency, look, comparison.weights)


@st.fragment
@told_plainly()
def _two_ways(view: Opened, comparison: Comparison) -> None:
    folded = fold("Two against each other, and further figures", "two-ways")
    if folded.open:
        with folded:
            _pair(view, comparison)
            headings, rows, caption = further_table(comparison)
            table(headings, rows, caption, cards=True)


def _pair(view: Opened, comparison: Comparison) -> None:
    names = {
        (pair.first, pair.second): f"{pair.first_name} or {pair.second_name}" for pair in comparison.pairs
    }
    key = st.selectbox(
        "Which two", list(names), format_func=names.__getitem__, key="pair", persist_state="session"
    )
    pair = comparison.pair(*key)
    look = palette()
    kept_picture(
        ("pair", view.key, *key, look),
        lambda: difference_strip(
            comparison.differences[key],
            pair.mean,
            pair.first_name,
            pair.second_name,
            view.currency,
            look,
            comparison.weights,
        ),
    )
    for sentence in pair_sentences(pair, comparison):
        text(sentence)


page()
