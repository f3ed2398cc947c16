"""The page of receipts: what is paid so far, the form to enter more, and all else that is told to the ledger."""

from __future__ import annotations

import streamlit as st

from forecast.dashboard.layout import answer, kept_picture, palette, safe, told_plainly
from forecast.dashboard.printing import screen_only
from forecast.dashboard.receipt_form import receipt_form
from forecast.dashboard.receipts_commitments import commitments, left_to_buy
from forecast.dashboard.receipts_import import import_file, receipts_as_text
from forecast.dashboard.receipts_list import receipts_list
from forecast.dashboard.receipts_news import lines_of, news, undo_button
from forecast.dashboard.receipts_settle import (
    close_and_open,
    freeze_budget,
    looks_settled,
    statement,
    tell_events,
)
from forecast.dashboard.state import Opened, opened, watched
from forecast.spending.ledger import Receipt
from forecast.spending.money import to_float
from forecast.spending.place import doubt_about
from forecast.spending.reforecast import Reforecast
from forecast.views.charts import paid_against_budget
from forecast.views.money import entered, exact
from forecast.views.sentences import ends_sentence
from forecast.words.text import STRONG


def page() -> None:
    """Draw the page."""
    st.title("Receipts")
    with told_plainly():
        view = opened()
        everything = view.ledger.list_receipts(include_void=True) if view.ledger is not None else ()
        receipts = tuple(one for one in everything if one.voids is None and one.voided_by is None)
        watch = None
        if receipts:
            with told_plainly():  # what cannot be forecast keeps nobody from entering what is paid
                watch = watched(view)
            _answer(view, receipts, watch)
            _picture(view, receipts, watch)
        elif not receipts_as_text(view):
            answer(
                "No receipts yet. Enter the first one when you have paid something; the forecast moves from then on."
            )
        if doubt := doubt_about(view.folder.folder):
            st.warning(safe(doubt))
        with screen_only("enter"):
            st.subheader("Enter a receipt")
            with st.container(key="receipt-form"):
                receipt_form(view)
                news("form")
            with st.expander("Or take them from a bank's or card's file"):
                import_file(view)
            undo_button(view)
        if everything:
            receipts_list(view, everything)
        st.subheader("Agreed, settled, still to come")
        commitments(view)
        left_to_buy(view)
        if watch is not None:
            looks_settled(view, watch)
        close_and_open(view)
        tell_events(view)
        freeze_budget(view)
        statement(view)
        news()


def _answer(view: Opened, receipts: tuple[Receipt, ...], watch: Reforecast | None) -> None:
    assert view.ledger is not None
    paid = sum(receipt.paid_minor for receipt in receipts)
    lines = lines_of(view)
    closed = [line for line in view.ledger.closed_lines() if line in lines]
    noun = "receipt" if len(receipts) == 1 else "receipts"
    sentence = f"{STRONG}{exact(paid, view.currency)}{STRONG} paid so far, in {len(receipts)} {noun}."
    if view.budget is not None:
        rest = view.budget - to_float(paid, view.currency)
        left = (
            f"{STRONG}{entered(rest, view.currency)}{STRONG} of it is left"
            if rest >= 0
            else f"{STRONG}{entered(-rest, view.currency)}{STRONG} over"
        )
        sentence += f" Your budget is {entered(view.budget, view.currency)}: {left}."
    answer(
        sentence,
        "" if watch is None else ends_sentence(watch, strong=STRONG),
        f"{STRONG}{len(closed)} of {len(lines)}{STRONG} lines are closed: nothing more will come for them.",
    )


def _picture(view: Opened, receipts: tuple[Receipt, ...], watch: Reforecast | None) -> None:
    payments = [(receipt.date, to_float(receipt.paid_minor, view.currency)) for receipt in receipts]
    ends = None
    if watch is not None:
        ends = dict(zip(("P50", "P90"), watch.percentile_set((0.5, 0.9)), strict=True))
    look = palette()
    kept_picture(
        ("paid", view.key, view.budget, look),
        lambda: paid_against_budget(payments, view.budget, view.currency, look, ends),
    )


page()
