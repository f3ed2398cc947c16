"""Which quote: kits or shops as options, each with its price, risks and terms."""

from __future__ import annotations

from functools import partial

import streamlit as st

from forecast.dashboard.choose_answers import quoted
from forecast.dashboard.layout import table, text, told_plainly
from forecast.dashboard.state import Opened
from forecast.decide.quotes import Quotes
from forecast.views.commands.quotes import EXAMPLE, quote_headings, quote_rows
from forecast.views.money import about, percent


def which_quote(view: Opened) -> None:
    """Draw the section; where there is nothing to compare, a folded hint of how to."""
    if not view.build.option:
        with st.expander("Compare quotes: kits or shops"):
            text(
                "The lowest quote is not always the cheapest build. Write two quotes into the build file as options, "
                "each with its price and its own risks, and they are compared here on the same simulated builds:"
            )
            st.code(EXAMPLE, language="toml")
        return
    st.subheader("Which quote")
    with told_plainly():
        for found in quoted(view):
            _choice(view, found)


def _choice(view: Opened, found: Quotes) -> None:
    money = partial(about, currency=view.currency)
    text(found.sentence(money))
    what = found.choice.replace("_", " ")
    table(
        quote_headings(found), quote_rows(found, view.currency),
        f"The whole build with each {what}. Middle figures: what it looks like before anything goes wrong",
    )  # fmt: skip
    with st.expander(f"What the {what} quotes risk, and each against each"):
        rows = [
            [item.title, risk.title, percent(risk.chance), money(risk.mean)]
            for item in found.quotes
            for risk in item.risks
        ]
        if rows:
            table(
                ["Quote", "Risk", "Happens in", "Adds on average"], rows,
                "Risks that differ between the quotes; the average is over all builds", left=2,
            )  # fmt: skip
        for pair in found.comparison.pairs:
            text(f"{pair.sentence(money)} {pair.dominance.sentence()}")
