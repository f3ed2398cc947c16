"""Prices agreed and not yet paid, and what is left to buy of a line: told at the line that they concern."""

from __future__ import annotations

import datetime as dt
import uuid

import streamlit as st

from forecast.dashboard.asking import unambiguous
from forecast.dashboard.layout import safe, text
from forecast.dashboard.receipts_news import (
    ask_first,
    day_words,
    enter,
    is_meant,
    lines_to_pay,
    news,
    next_turn,
    turn_of,
)
from forecast.dashboard.state import Opened
from forecast.errors import LedgerError
from forecast.ledger import Commitment
from forecast.ledger.days import not_ahead
from forecast.ledger.records import AgreementKind
from forecast.views.sentences import unusual_sentence
from forecast.views.settling_words import AGREEMENTS, agreed_words, closed_words
from forecast.watching.estimates import unusual
from forecast.watching.settling import agree, at_planned_rate, settle
from forecast.words.minor_units import parse_money
from forecast.words.money import exact
from forecast.words.text import STRONG


def agreed_in_all(view: Opened) -> str:
    """Say what is agreed and not yet paid, in all; empty where nothing is."""
    found = view.ledger.list_commitments() if view.ledger is not None else ()
    if not found:
        return ""
    rest = exact(sum(item.outstanding_minor for item in found), view.currency)
    noun = "commitment" if len(found) == 1 else "commitments"
    return f"{STRONG}{rest}{STRONG} is agreed and not yet paid, in {len(found)} {noun}."


def _agreed(item: Commitment, currency: str) -> str:
    agreed = f"{AGREEMENTS[item.kind]}: {exact(item.amount_minor, item.currency)}"
    if item.currency != currency:
        agreed += f", expected to come to {exact(item.expected_minor, currency)}"
    if item.paid_minor:
        agreed += f", {exact(item.paid_minor, currency)} paid against it"
    return f"{agreed}. {item.note}".rstrip(". ")


def enter_price(view: Opened) -> None:
    """Draw the form of a price agreed and not yet paid."""
    news("commitments")
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
            f"What it should come to in {home}", key=f"{key}-expected", on_change="ignore",
            placeholder="at the rate planned, where nothing stands here",
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
            at_home = None if currency == home else _at_home(view, line, agreed, currency, expected)
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


def _at_home(view: Opened, line: str, agreed: int, currency: str, expected: str) -> int:
    """Give what a price in foreign money should come to: as written, else at the rate planned."""
    planned = None if expected.strip() else at_planned_rate(view.build, line, agreed, currency)
    return parse_money(expected, view.currency) if planned is None else planned


def agreed_for(view: Opened, line: str) -> None:
    """Show the open prices of a line, each to be ended: paid in full, or off."""
    for item in view.ledger.list_commitments() if view.ledger is not None else ():
        if item.line_id == line:
            text(
                f"No. {item.id}, {day_words(item.date)}, with {item.supplier}: {_agreed(item, view.currency)}. "
                f"Still to pay: {STRONG}{exact(item.outstanding_minor, view.currency)}{STRONG}."
            )
            _end(view, item)


def _end(view: Opened, item: Commitment) -> None:
    note = (
        st.text_input("Why or how it ended", key=f"end-note-{item.id}", max_chars=500, on_change="ignore")
        or ""
    )
    with st.container(horizontal=True):
        settled = st.button("It is paid in full", key=f"settle-{item.id}")
        cancelled = st.button("It is off", key=f"cancel-{item.id}")

    def work() -> str:
        ledger = view.ledger_to_write()
        if not settled:
            ledger.cancel_commitment(item.id, None, note)
            return f"Commitment {item.id} is off."
        closed = settle(ledger, view.build, item.id, None, note)
        words = closed_words(closed, (), view.titles(), view.currency)
        return f"Commitment {item.id} is paid in full. {words}".rstrip()

    if (settled or cancelled) and enter(view, "lines", work):
        st.rerun()


def left_of(view: Opened, line: str, title: str) -> None:
    """Ask how much is left to buy of a line beside what was paid."""
    ledger = view.ledger
    said = ledger.still_to_buy().get(line) if ledger is not None else None
    paid = ledger.paid_by_line().get(line, 0) if ledger is not None else 0
    turn = turn_of("left")
    field = f"left-amount-{line}-{turn}"
    place = st.container(horizontal=True, vertical_alignment="bottom")
    amount = place.text_input(
        f"Left to buy, in {view.currency}", key=field, placeholder="60.00", on_change="ignore", width=220,
        help="Beside what was paid; 0 where nothing is left. Without it, what was paid counts as all or as a part, as "
        "the range makes likely.",
    )  # fmt: skip
    amount = unambiguous(amount or "", view.currency, st, field)
    if said is not None:
        st.caption(safe(f"Said on {day_words(said.date)}: {exact(said.amount_minor, view.currency)} left."))
    if place.button("Save what is left", key="save-left"):

        def work() -> str:
            rest = parse_money(amount or "", view.currency)
            if rest < 0:
                message = "left to buy: must be zero or more: what is still to come, beside what was paid."
                raise LedgerError(message)
            view.ledger_to_write().say_still_to_buy(line, rest)
            sums = exact(paid, view.currency), exact(rest, view.currency)
            return f"{title}: {sums[0]} paid and {sums[1]} still to buy."

        if enter(view, "lines", work):
            next_turn("left")
            st.rerun()
