"""Which measures pay, what could go, and how the figures were made; folded away on the page of cost."""

from __future__ import annotations

from functools import partial

import streamlit as st

from forecast.dashboard.cost_answers import could_go, measured
from forecast.dashboard.layout import safe, table, text, told_plainly
from forecast.dashboard.proposing import add_measure
from forecast.dashboard.state import Opened
from forecast.decide.figure_words import figure_phrase, titles_of
from forecast.words.money import about, hours, signed


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
        titles = titles_of(view.build)
        text(found.sentence(money))
        for item in found.alone:
            text(item.sentence(money))
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
            text(found.sentence(money))
            table(
                ["Line marked optional", "Frees at P80", "On average", "Own hours"], rows,
                "What leaving a line out frees, duty and fees that follow from it included",
            )  # fmt: skip
        else:
            text(found.sentence(money))
        for kept in found.kept:
            text(kept.sentence())
        text(
            "Lines of safety are never proposed, whatever they cost: wheel fixings, tyres, brakes, structure, "
            "lighting, and what protects your lungs, eyes and skin."
        )
