"""What to firm up first: worked out beside the page, and drawn as it comes."""

from __future__ import annotations

from functools import partial

import streamlit as st

from forecast.dashboard.cost_answers import firm_up_on_its_way, standing_of, to_firm_up
from forecast.dashboard.layout import said, table, text, told_plainly
from forecast.dashboard.state import Opened
from forecast.words.money import about

SHOWN = 5
_MOST = 24
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
    st.caption(f"How much less you need to hold at P80 once a figure is firm.{counted}")
    if not found:
        text(
            "No single figure stands out: settling any one of them would not change by much what you must hold."
        )
        return
    st.markdown(
        "\n".join(f"{place}. {said(item.sentence(money))}" for place, item in enumerate(found[:SHOWN], 1))
    )


def all_figures(view: Opened) -> None:
    """Draw the table of all that could be firmed up, once it is there."""
    if firm_up_on_its_way(view):
        st.caption("It is being worked out.")
        return
    found, currency = [item for item in to_firm_up(view) if item.certain], view.currency
    rows = [
        [
            item.title, about(item.release.value, currency, item.release.error),
            about(item.into_base, currency), item.effort,
        ]
        for item in found[:_MOST]
    ]  # fmt: skip
    table(
        ["Figure", "To hold less", "Becomes a known cost", "Effort"], rows,
        "How much less to hold at P80 with a figure firm, on average; best first against the effort",
        right_text=1,
    )  # fmt: skip
