"""The page of receipts: what is paid so far, the form to enter more, and what may be taken back."""

from __future__ import annotations

import datetime as dt

import streamlit as st

from forecast.dashboard.layout import answer, palette, picture, safe, table, tell, text, told_plainly
from forecast.dashboard.receipt_form import MAY_HAPPEN, lines_to_pay, moved, receipt_form
from forecast.dashboard.state import Opened, headline, opened
from forecast.errors import ForecastError
from forecast.spending.ledger import Receipt
from forecast.spending.money import to_float
from forecast.views.charts import paid_against_budget
from forecast.views.money import about, exact


def page() -> None:
    """Draw the page."""
    st.title("Receipts")
    with told_plainly():
        view = opened()
        receipts = view.ledger.list_receipts() if view.ledger is not None else ()
        _news()
        if not receipts:
            answer(
                "No receipts yet. Enter the first one when you have paid something; the forecast moves from then on."
            )
        else:
            _answer(view, receipts)
            _picture(view, receipts)
        st.subheader("Enter a receipt")
        with st.container(key="receipt-form"):
            receipt_form(view)
        if receipts:
            st.subheader("What was paid")
            _list(view)
            _take_back(view, receipts)
        _marks(view)


def _news() -> None:
    """Say once what the last entry did."""
    news = st.session_state.pop("news", None)
    if news:
        st.success(said_once(str(news)))


def said_once(news: str) -> str:
    """Keep the bold of a sentence and nothing else of Markdown."""
    return "**".join(safe(part) for part in news.split("**"))


def _answer(view: Opened, receipts: tuple[Receipt, ...]) -> None:
    assert view.ledger is not None
    paid = sum(receipt.paid_minor for receipt in receipts)
    names = lines_to_pay(view)
    closed = [line for line in view.ledger.closed_lines() if line in names]
    bought = sum(not title.endswith(MAY_HAPPEN) for title in names.values())
    noun = "receipt" if len(receipts) == 1 else "receipts"
    sentence = f"**{exact(paid, view.currency)}** paid so far, in {len(receipts)} {noun}."
    if view.budget is not None:
        rest = view.budget - to_float(paid, view.currency)
        left = (
            f"**{about(rest, view.currency)}** of it is left"
            if rest >= 0
            else f"**{about(-rest, view.currency)}** over"
        )
        sentence += f" Your budget is {about(view.budget, view.currency)}: {left}."
    answer(sentence, f"**{len(closed)} of {bought}** lines are closed: nothing more will come for them.")


def _picture(view: Opened, receipts: tuple[Receipt, ...]) -> None:
    payments = [(receipt.date, to_float(receipt.paid_minor, view.currency)) for receipt in receipts]
    picture(paid_against_budget(payments, view.budget, view.currency, palette()))


def _list(view: Opened) -> None:
    assert view.ledger is not None
    every = st.toggle("Show what was taken back", key="show-void", persist_state="session")
    receipts = view.ledger.list_receipts(include_void=every)
    titles = view.titles()
    rows: list[list[str]] = []
    struck: list[int] = []
    for receipt in reversed(receipts):
        if receipt.voids is not None:
            continue
        if receipt.voided_by is not None:
            struck.append(len(rows))
        parts = ", ".join(
            titles.get(split.line_id, split.line_id)
            + (f" {exact(split.amount_minor, view.currency)}" if len(receipt.splits) > 1 else "")
            for split in receipt.splits
        )
        foreign = (
            f" ({exact(receipt.amount_minor, receipt.currency)})" if receipt.charged_minor is not None else ""
        )
        rows.append(
            [
                f"{receipt.date:%Y-%m-%d}",
                exact(receipt.paid_minor, view.currency) + foreign,
                receipt.supplier,
                parts,
                receipt.note,
            ]
        )
    table(
        ["Date", "Amount", "Supplier", "Lines", "Note"],
        rows,
        "Receipts, the latest first",
        right_text=3,
        struck=struck,
        stacked=True,
    )


def _take_back(view: Opened, receipts: tuple[Receipt, ...]) -> None:
    with st.expander("Take a receipt back"):
        text("A receipt is never deleted: taking it back adds a row that undoes it, with your reason.")
        chosen = st.selectbox(
            "Receipt", [receipt.id for receipt in reversed(receipts)],
            format_func={
                receipt.id: f"{receipt.date:%Y-%m-%d}  {receipt.supplier}  {exact(receipt.paid_minor, view.currency)}"
                for receipt in receipts
            }.__getitem__,
            key="void-which",
        )  # fmt: skip
        why = st.text_input("Why", key="void-why", placeholder="entered twice", max_chars=500)
        if st.button("Take it back", key="void"):
            try:
                earlier, _ = headline(view)
                view.ledger_to_write().void_receipt(int(chosen), why)
                st.session_state["news"] = moved(earlier, "The receipt is taken back.")
            except ForecastError as error:
                tell(error)
                return
            st.rerun()


def _marks(view: Opened) -> None:
    """Let lines be closed or opened again, and events be told."""
    with st.expander("Close a line, or say that something happened"):
        names = lines_to_pay(view)
        ledger = view.ledger
        closed = ledger.closed_lines() if ledger is not None else frozenset()
        states = ledger.event_states() if ledger is not None else {}
        lines = [name for name, title in names.items() if not title.endswith(MAY_HAPPEN)]
        events = [name for name in names if name not in lines]
        wanted = st.multiselect(
            "Closed lines: nothing more will come", lines, default=[line for line in lines if line in closed],
            format_func=names.__getitem__, key=f"closed-{len(closed)}",
        )  # fmt: skip
        told: dict[str, str] = {}
        words = {
            "open": "may still happen",
            "happened": "happened",
            "cannot-happen": "cannot happen any more",
        }
        for event in events:
            now = states[event].state if event in states else "open"
            told[event] = st.selectbox(
                safe(names[event].removesuffix(MAY_HAPPEN)), list(words), index=list(words).index(now),
                format_func=words.__getitem__, key=f"event-{event}-{now}",
            )  # fmt: skip
        if st.button("Save", key="save-marks"):
            _save_marks(view, lines, set(wanted), told)


def _save_marks(view: Opened, lines: list[str], wanted: set[str], told: dict[str, str]) -> None:
    today = dt.date.today()
    try:
        earlier, _ = headline(view)
        ledger = view.ledger_to_write()
        closed = ledger.closed_lines()
        states = ledger.event_states()
        with ledger.together():
            for line in lines:
                if line in wanted and line not in closed:
                    ledger.close_line(line, today)
                elif line not in wanted and line in closed:
                    ledger.reopen_line(line, today)
            for event, state in told.items():
                now = states[event].state if event in states else "open"
                if state != now:
                    ledger.mark_event(event, state, today)  # type: ignore[arg-type]
        st.session_state["news"] = moved(earlier, "Saved.")
    except ForecastError as error:
        tell(error)
        return
    st.rerun()


page()
