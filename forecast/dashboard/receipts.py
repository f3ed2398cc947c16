"""The page of receipts: what is paid so far, the list of it, and a form for more that opens when it is wanted."""

from __future__ import annotations

import uuid
from typing import Literal

import streamlit as st

from forecast.dashboard.layout import answer, fold, kept_picture, palette, safe, told_plainly
from forecast.dashboard.printing import screen_only
from forecast.dashboard.receipt_form import receipt_form
from forecast.dashboard.receipts_import import import_file, receipts_as_text
from forecast.dashboard.receipts_lines import enter_price, what_was_paid
from forecast.dashboard.receipts_list import downloads
from forecast.dashboard.receipts_news import JUST_ENTERED, last_entered, news, undo_button
from forecast.dashboard.receipts_settle import (
    close_several,
    looks_settled,
    may_be_done,
    statement,
    tell_events,
    whether_done,
)
from forecast.dashboard.state import Opened, before, opened, watched
from forecast.ledger import EveryReceipt, Receipt
from forecast.ledger.place import doubt_about
from forecast.views.charts import paid_against_budget
from forecast.views.sentences import ends_sentence, paid_sentence
from forecast.views.stands import left_words
from forecast.watching.reforecast import Reforecast
from forecast.words.chances import so_many
from forecast.words.minor_units import to_float
from forecast.words.money import entered, exact
from forecast.words.text import STRONG, ended

_THUMBS = """<style>
.st-key-entering button, .st-key-receipt-form button, .st-key-looks-settled button,
.st-key-receipt-form input { min-height: 44px; }
@media (max-width: 640px) { .st-key-save-receipt, .st-key-save-receipt button { width: 100%; }
  /* Who stands with a paper in hand sees the camera and the sum at once: its field is one row, named beside it. */
  .st-key-receipt-form [data-testid="stFileUploader"] { display: flex; align-items: center; gap: 0.75rem; }
  .st-key-receipt-form [data-testid="stFileUploader"] label { width: auto; flex: none; margin: 0; }
  .st-key-receipt-form [data-testid="stFileUploaderDropzone"] { flex: 1; min-width: 0; min-height: 0; padding: 0;
    background: none; border: none; }
  .st-key-receipt-form [data-testid="stFileUploaderDropzoneInstructions"] { display: none; }
}
</style>"""
_DONE = "done"
_FORMS = {"receipt": "receipt_form", "price": "commitment_form"}
"""Under which a session keeps the key of each form's fields."""
ENTERING = {"receipt": "Enter a receipt", "price": "A price agreed", "bank": "A bank's file"}


def page() -> None:
    """Draw the page."""
    st.title("Receipts")
    with told_plainly():
        view = opened()
        every = EveryReceipt((), {}) if view.ledger is None else view.ledger.every_receipt()
        receipts = every.standing
        watch = None
        if receipts:
            with told_plainly():  # what cannot be forecast keeps nobody from entering what is paid
                watch = watched(view)
            _answer(view, receipts, watch)
        elif view.ledger is not None and view.ledger.list_commitments():
            with told_plainly():
                watch = watched(view)
            if watch is not None:
                answer(paid_sentence(watch, STRONG), ends_sentence(watch, strong=STRONG))
        elif not receipts_as_text(view):
            answer(
                "No receipts yet. Enter the first one when you have paid something; the forecast moves from then on."
            )
        if doubt := doubt_about(view.folder.folder):
            st.warning(safe(doubt))
        with screen_only("enter"):
            news("form")
            _enter(view, watch, first=every.undone.keys() >= {one.id for one in every.receipts})
        if watch is not None:
            looks_settled(view, watch, folded=False)
        if view.ledger is not None and (
            every.receipts or view.ledger.list_commitments() or view.ledger.list_marks()
        ):
            what_was_paid(view, every, watch)
        if receipts:
            _picture(view, receipts, watch)
        _told_seldom(view, ending=watch is None or not may_be_done(watch))
        _added_up(view)
        news()


def _enter(view: Opened, watch: Reforecast | None, *, first: bool) -> None:
    """Offer what can be entered or taken back; draw the form asked for, and the first receipt's at once."""
    st.session_state.setdefault("entering", "receipt" if first else "")
    entering = st.session_state["entering"]
    labels = ENTERING | ({"receipt": "Enter another"} if st.session_state.get(JUST_ENTERED) else {})
    if watch is not None and may_be_done(watch):
        labels = labels | {_DONE: "The build is done"}
    st.html(_THUMBS)
    entry = last_entered(view)
    with st.container(horizontal=True, key="entering"):
        for name, label in labels.items():
            kind: Literal["primary", "secondary"] = (
                "primary" if name == "receipt" and not entering else "secondary"
            )
            if st.button(label, key=f"enter-{name}", type=kind):
                st.session_state["entering"] = name  # pressed again, it stays: what is typed may not vanish
                st.session_state[JUST_ENTERED] = False
                st.rerun()
        if entering and entering != _DONE:
            if st.button("Put the form away", key="enter-nothing", type="tertiary"):
                st.session_state["entering"] = ""
                st.rerun()
            if entering in _FORMS and st.button("Empty the form", key="enter-anew", type="tertiary"):
                st.session_state[_FORMS[entering]] = uuid.uuid4().hex  # the fields of another form are empty
                st.rerun()
        if entry is not None:
            undo_button(view, entry)
    if entry is not None:
        st.caption(safe(ended(f"Entered last: {entry.shortly}")))
    if entering == "receipt":
        with st.container(key="receipt-form", border=True):
            receipt_form(view)
    elif entering == "price":
        with st.container(key="price-form", border=True):
            enter_price(view)
    elif entering == _DONE and _DONE in labels:
        with st.container(key="done-form", border=True):
            whether_done(view)
    elif entering == "bank":
        with st.container(key="bank-form", border=True):
            import_file(view)


@st.fragment
@told_plainly()
def _told_seldom(view: Opened, *, ending: bool) -> None:
    folded = fold("Close several lines, tell of events", "close-several")
    if folded.open:
        with folded:
            close_several(view, ending=ending)
            tell_events(view)


@st.fragment
@told_plainly()
def _added_up(view: Opened) -> None:
    folded = fold("Add up a supplier's statement; take the receipts with you", "add-up")
    if folded.open:
        with folded:
            statement(view)
            downloads(view, view.titles())


def _answer(view: Opened, receipts: tuple[Receipt, ...], watch: Reforecast | None) -> None:
    assert view.ledger is not None
    paid = sum(receipt.paid_minor for receipt in receipts)
    lines, closed = _lines_and_closed(view, watch)
    many = so_many(len(receipts), "receipt")
    finished = watch is not None and watch.finished
    so_far = "in all" if finished else "so far"
    sentence = f"{STRONG}{exact(paid, view.currency)}{STRONG} paid {so_far}, in {many}. "
    sentence += _closed_words(closed, lines)
    if view.budget is not None:
        agreed = 0.0 if watch is None else watch.committed
        left = left_words(view.budget, to_float(paid, view.currency), agreed, view.currency, STRONG)
        sentence += f" Your budget is {entered(view.budget, view.currency)}: {left}."
    answer(sentence, "" if watch is None else ends_sentence(watch, strong=STRONG))


def _lines_and_closed(view: Opened, watch: Reforecast | None) -> tuple[int, int]:
    if watch is not None:
        return len(watch.counts.costing), len(watch.counts.closed)
    assert view.ledger is not None
    lines = {row.id for row in before(view).plan.counted(view.ledger.paid_by_line())}
    return len(lines), len(lines & view.ledger.closed_lines())


def _closed_words(closed: int, lines: int) -> str:
    """Say how many lines are closed; what that means stands with them in the list."""
    if not closed:
        return "No line is closed yet: more may come for each."
    return f"{STRONG}{closed} of {lines}{STRONG} lines {'is' if closed == 1 else 'are'} closed."


def _picture(view: Opened, receipts: tuple[Receipt, ...], watch: Reforecast | None) -> None:
    payments = [(receipt.date, to_float(receipt.paid_minor, view.currency)) for receipt in receipts]
    ends, finished = None, watch is not None and watch.finished
    if watch is not None and not finished:  # then all that was paid is where it ends
        ends = dict(zip(("P50", "P90"), watch.percentile_set((0.5, 0.9)), strict=True))
    look = palette()
    kept_picture(
        ("paid", view.key, view.budget, look),
        lambda: paid_against_budget(payments, view.budget, view.currency, look, ends, finished=finished),
    )


page()
