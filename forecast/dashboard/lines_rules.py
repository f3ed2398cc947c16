"""Where the figures of tax and customs come from, by consignment, and how to overwrite each."""

from __future__ import annotations

import streamlit as st

from forecast.dashboard.layout import safe, table, text
from forecast.dashboard.state import Opened, before
from forecast.engine.rule_weights import rule_weights
from forecast.trade.expansion import Expansion
from forecast.views.rule_words import HEADINGS, TITLE, in_order, rules_lead, rules_rows, to_look_up, with_note


def rules(view: Opened) -> None:
    """Say for each consignment how far its rule figures can be relied on, with all of them behind it."""
    consignments = before(view).plan.consignments
    if not consignments:
        return
    st.subheader(TITLE)
    for item in consignments:
        weights = rule_weights(view.build, item)
        figures = in_order(item.figures, weights)
        text(rules_lead(item.title, figures, weights, view.currency))
        noted = [use for use in to_look_up(figures, weights)[0] if use.note and use.id in weights]
        if noted:  # folded away below too, but what is folded away is not printed
            listed = [f"- {safe(with_note(f'{use.label}, {use.value}', use))}" for use in noted]
            st.markdown("\n".join(listed))
    with st.expander(
        f"The figures behind {safe(consignments[0].title)}" if len(consignments) == 1 else "The figures"
    ):
        parts = (
            st.tabs([safe(item.title) for item in consignments])
            if len(consignments) > 1
            else [st.container()]
        )
        for item, part in zip(consignments, parts, strict=True):
            with part:
                _figures(view, item)


def _figures(view: Opened, item: Expansion) -> None:
    """Show every figure of a consignment, how to overwrite it, and what its terms leave out."""
    weights = rule_weights(view.build, item)
    text(f'To overwrite one, write its last column under [[consignment]] with id = "{item.consignment}".')
    table(
        HEADINGS, rules_rows(in_order(item.figures, weights), weights, view.currency),
        f"Figures of law, carriers and agents behind {item.title}", left=len(HEADINGS), stacked=True,
    )  # fmt: skip
    if item.notes:
        notes = "\n".join(f"- {safe(note)}" for note in item.notes)
        st.markdown(f"What the terms of trade leave out or add:\n\n{notes}")
