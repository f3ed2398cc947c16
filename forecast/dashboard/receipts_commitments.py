"""Commitments, agreed and not yet paid, and what is left to buy of lines that are paid in part."""

from __future__ import annotations

import datetime as dt
import uuid

import streamlit as st

from forecast.dashboard.asking import unambiguous
from forecast.dashboard.layout import table, text
from forecast.dashboard.receipts_news import (
    ask_first,
    day_words,
    enter,
    is_meant,
    lines_of,
    lines_to_pay,
    news,
    next_turn,
    turn_of,
)
from forecast.dashboard.state import Opened
from forecast.errors import LedgerError
from forecast.spending.dates import not_ahead
from forecast.spending.estimates import unusual
from forecast.spending.ledger import Commitment
from forecast.spending.ledger.records import AgreementKind
from forecast.spending.money import parse_money
from forecast.spending.settling import agree, settle
from forecast.views.money import exact
from forecast.views.sentences import unusual_sentence
from forecast.views.settling import AGREEMENTS, agreed_words, closed_words
from forecast.words.text import STRONG


def commitments(view: Opened) -> None:
    """List what is agreed and not yet paid; enter, settle, cancel."""
    found = view.ledger.list_commitments() if view.ledger is not None else ()
    titles = view.titles()
    if found:
        rest = sum(item.outstanding_minor for item in found)
        noun = "commitment" if len(found) == 1 else "commitments"
        text(
            f"{STRONG}{exact(rest, view.currency)}{STRONG} is agreed and not yet paid, in {len(found)} {noun}."
        )
        rows = [
            [
                f"{item.id}\u00a0\u00a0{day_words(item.date)}",
                exact(item.outstanding_minor, view.currency),
                item.supplier,
                titles.get(item.line_id, item.line_id),
                _agreed(item, view.currency),
            ]
            for item in found
        ]
        headings = ["No. and date", "Still to pay", "With", "For", "Agreed, note"]
        table(headings, rows, "Open commitments", right_text=3, stacked=True)
    with st.expander("Commitments: prices agreed and not yet paid"):
        news("commitments")
        _enter(view)
        if found:
            _end(view, found)


def _agreed(item: Commitment, currency: str) -> str:
    agreed = f"{AGREEMENTS[item.kind]}: {exact(item.amount_minor, item.currency)}"
    if item.currency != currency:
        agreed += f", expected to come to {exact(item.expected_minor, currency)}"
    if item.paid_minor:
        agreed += f", {exact(item.paid_minor, currency)} paid against it"
    return f"{agreed}. {item.note}".rstrip(". ")


def _enter(view: Opened) -> None:
    key = str(st.session_state.setdefault("commitment_form", uuid.uuid4().hex))
    names, home = lines_to_pay(view), view.currency
    left, right = st.columns(2)
    line = left.selectbox(
        "For which line", list(names), index=None, format_func=lambda name: names.get(name, name),
        key=f"{key}-line", persist_state="session", on_change="ignore", placeholder="Choose a line",
    )  # fmt: skip
    supplier = right.text_input(
        "With whom", key=f"{key}-supplier", max_chars=200, persist_state="session", on_change="ignore"
    )
    left, right = st.columns(2)
    with left.container(horizontal=True):
        amount = st.text_input(
            "Price agreed", key=f"{key}-amount", placeholder="1234.56", persist_state="session",
            on_change="ignore",
        )  # fmt: skip
        currency = st.selectbox(
            "Currency", [home, *(code for code in view.build.currency if code != home)],
            key=f"{key}-currency", width=110, persist_state="session",
        )  # fmt: skip
    amount = unambiguous(amount or "", currency or home, left, f"{key}-amount")
    day = right.date_input(
        "Agreed on", value="today", key=f"{key}-date", format="YYYY-MM-DD", on_change="ignore"
    )
    expected = ""
    if currency != home:
        expected = st.text_input(
            f"What it should come to in {home}", key=f"{key}-expected", on_change="ignore"
        ) or ""  # fmt: skip
        expected = unambiguous(expected, home, st, f"{key}-expected")
    kind: AgreementKind | None = st.segmented_control(
        "That price is", list(AGREEMENTS), format_func=AGREEMENTS.__getitem__, default="fixed", key=f"{key}-kind",
        required=True,
    )  # fmt: skip
    note = st.text_input("Note", key=f"{key}-note", max_chars=2000, on_change="ignore")
    meant = is_meant(key)
    if st.button("Save commitment", key="save-commitment"):

        def work() -> str:
            if line is None:
                message = "line: none chosen. Say which line it is for."
                raise LedgerError(message)
            today = dt.date.today()
            agreed = parse_money(amount or "", currency)
            at_home = parse_money(expected, home) if currency != home else None
            sums = [(line, agreed if at_home is None else at_home)]
            ask_first(unusual_sentence(unusual(view.build, sums), home), key, meant=meant)
            done = agree(
                view.ledger_to_write(), not_ahead(day or today, today, "commitment"), supplier or "", line, agreed,
                currency, note or "", expected_minor=at_home, entry_key=f"form:{key}", kind=kind or "fixed",
            )  # fmt: skip
            return f"Commitment {done.commitment.id}: {agreed_words(done, view.titles(), home)}"

        if enter(view, "commitments", work):
            st.session_state["commitment_form"] = uuid.uuid4().hex
            st.rerun()


def _end(view: Opened, found: tuple[Commitment, ...]) -> None:
    by_id = {item.id: item for item in found}
    titles = view.titles()
    number = st.selectbox(
        "A commitment that has ended", list(by_id), index=None, key="end-which", placeholder="Choose one",
        format_func=lambda one: f"{one}: {by_id[one].supplier}, {titles.get(by_id[one].line_id, by_id[one].line_id)}",
    )  # fmt: skip
    if number is None:
        return
    note = st.text_input("Why or how", key=f"end-note-{number}", max_chars=500, on_change="ignore") or ""
    with st.container(horizontal=True):
        settled = st.button("It is paid in full", key="settle")
        cancelled = st.button("It is off", key="cancel")

    def work() -> str:
        ledger = view.ledger_to_write()
        if not settled:
            ledger.cancel_commitment(int(number), None, note)
            return f"Commitment {number} is off."
        closed = settle(ledger, view.build, int(number), None, note)
        return (
            f"Commitment {number} is paid in full. {closed_words(closed, (), titles, view.currency)}".rstrip()
        )

    if (settled or cancelled) and enter(view, "commitments", work):
        st.rerun()


def left_to_buy(view: Opened) -> None:
    """Say how much is left to buy of a line beside what was paid."""
    ledger, names = view.ledger, lines_of(view)
    said = ledger.still_to_buy() if ledger is not None else {}
    paid = ledger.paid_by_line() if ledger is not None else {}
    closed = ledger.closed_lines() if ledger is not None else frozenset()
    with st.expander("What is left to buy of a line paid in part"):
        news("left")
        text(
            "Without this, what was paid counts as all of an open line or as a part of it, as its range makes likely. "
            "With it, its cost is what was paid and what is left."
        )
        rows = [
            [names[line], exact(paid.get(line, 0), view.currency), exact(left.amount_minor, view.currency)]
            for line, left in said.items()
            if line in names and line not in closed
        ]
        if rows:
            table(["Line", "Paid", "Left to buy"], rows, "What was said to be left")
        open_lines = [line for line in names if line not in closed]
        turn = turn_of("left")
        left, right = st.columns(2)
        line = left.selectbox(
            "Line", open_lines, index=None, format_func=lambda name: names.get(name, name), key=f"left-line-{turn}",
            placeholder="Choose one", on_change="ignore",
        )  # fmt: skip
        amount = right.text_input(
            f"Left to buy, in {view.currency}", key=f"left-amount-{turn}", placeholder="60.00", on_change="ignore",
            help="Beside what was paid; 0 where nothing is left.",
        )  # fmt: skip
        amount = unambiguous(amount or "", view.currency, right, f"left-amount-{turn}")
        if st.button("Save what is left", key="save-left"):

            def work() -> str:
                if line is None:
                    message = "line: none chosen. Say of which line something is left to buy."
                    raise LedgerError(message)
                rest = parse_money(amount or "", view.currency)
                if rest < 0:
                    message = (
                        "left to buy: must be zero or more: what is still to come, beside what was paid."
                    )
                    raise LedgerError(message)
                view.ledger_to_write().say_still_to_buy(line, rest)
                sums = exact(paid.get(line, 0), view.currency), exact(rest, view.currency)
                return f"{names[line]}: {sums[0]} paid and {sums[1]} still to buy."

            if enter(view, "left", work):
                next_turn("left")
                st.rerun()
