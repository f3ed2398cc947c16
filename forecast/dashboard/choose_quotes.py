"""Which quote: kits or shops as options, each with its price, risks and terms."""

from __future__ import annotations

from functools import partial

import streamlit as st

from forecast.buildfile.options import options_by_choice
from forecast.dashboard.choose_answers import quoted
from forecast.dashboard.layout import table, text, told_plainly
from forecast.dashboard.proposing import add_quote, agree_quote, take_quote
from forecast.dashboard.state import Opened
from forecast.decide.choices import Quotes
from forecast.decide.taking import asked_by_option
from forecast.views.commands.quotes import quote_headings, quote_rows, why_not
from forecast.words.money import about, percent


def which_quote(view: Opened) -> None:
    """Draw the section; where there is nothing to compare, how to begin."""
    st.subheader("Which quote")
    take_quote(view)
    if not view.build.option:
        text(
            "Two kits or two shops? Add what each asks, and what may go wrong with it: the whole build is then "
            "compared with each of them."
        )
        with st.expander("Add a quote to compare"):
            add_quote()
        return
    every: list[Quotes] = []
    with told_plainly():
        for item in quoted(view):
            if isinstance(item, Quotes):
                every.append(item)
                _choice(view, item)
            else:
                text(why_not(item, view.currency))
    titles = [f"The {item.choice.replace('_', ' ')} quotes against each other" for item in every]
    label = "What the quotes risk, and another quote" if every else "Add a quote to compare"
    with st.expander(label), told_plainly():
        *parts, another = st.tabs([*titles, "Add a quote"])
        for part, item in zip(parts, every, strict=True):
            with part:
                _risks(view, item)
        with another:
            add_quote()


def _choice(view: Opened, found: Quotes) -> None:
    money = partial(about, currency=view.currency)
    text(found.sentence(money))
    what = found.choice.replace("_", " ")
    table(
        quote_headings(found), quote_rows(found, view.currency),
        f"The whole build with each {what}. Middle figures: what it looks like before anything goes wrong",
        cards=True,
    )  # fmt: skip
    options = {option.title: option for option in options_by_choice(view.build)[found.choice]}
    agree_quote(
        view, f"choice-{found.choice}", f"Which {what} do you take?", options,
        lambda option: asked_by_option(view.build, option, view.scenario), named=True,
        more=lambda option: [item.title for item in (*option.line, *option.event)],
    )  # fmt: skip


def _risks(view: Opened, found: Quotes) -> None:
    money = partial(about, currency=view.currency)
    rows = [
        [item.title, risk.title, percent(risk.chance), money(risk.mean)]
        for item in found.quotes
        for risk in item.risks
    ]
    if rows:
        table(
            ["Quote", "Risk", "Happens in", "Adds on average"], rows,
            "Risks that differ between the quotes; the average is over all builds", left=2, cards=True,
        )  # fmt: skip
    for pair in found.comparison.pairs:
        text(f"{pair.sentence(money)} {pair.dominance.sentence()}")
