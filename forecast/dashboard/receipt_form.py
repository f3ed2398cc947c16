"""The form that enters a receipt, made to take a minute on a phone."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from typing import cast

import streamlit as st

from forecast.dashboard.layout import safe, tell
from forecast.dashboard.state import Opened, headline, opened
from forecast.engine.plan import compile_plan
from forecast.engine.statistics import Estimate
from forecast.errors import ForecastError, LedgerError
from forecast.spending.ledger import Ledger, ReceiptKind
from forecast.spending.money import format_plain, parse_money
from forecast.views.money import about, builds, exact, rounding_step, signed

KINDS: Mapping[str, str] = {
    "payment": "Paid", "deposit": "Deposit paid", "balance": "Balance paid", "refund": "Refund received",
}  # fmt: skip


MAY_HAPPEN = " (may happen)"
"""Behind the name of a risk event where it stands among lines."""


@dataclass(frozen=True)
class Entry:
    """What stands in the form."""

    date: dt.date
    supplier: str
    kind: str
    amount: str
    currency: str
    charged: str
    parts: tuple[tuple[str, str], ...]
    note: str
    closes: tuple[str, ...]
    key: str


@st.fragment
def receipt_form(view: Opened) -> None:
    """Draw the form; saving redraws the whole page."""
    key = _form_key()
    names = lines_to_pay(view)
    home = view.currency
    left, right = st.columns(2)
    lines = left.multiselect(
        "For which line", list(names), format_func=lambda line: names[line], key=f"{key}-lines",
        help="Several lines if one receipt pays for several.", persist_state="session",
    )  # fmt: skip
    supplier = right.text_input("Supplier", key=f"{key}-supplier", max_chars=200, persist_state="session")
    left, middle, right = st.columns([2, 1, 2])
    amount = left.text_input("Amount", key=f"{key}-amount", placeholder="1234.56", persist_state="session")
    currency = middle.selectbox(
        "Currency", [home, *(code for code in view.build.currency if code != home)], key=f"{key}-currency"
    )
    date = right.date_input(
        "Date", value="today", key=f"{key}-date", format="YYYY-MM-DD", persist_state="session"
    )
    charged = ""
    if currency != home:
        charged = st.text_input(
            f"Charged to you in {home}", key=f"{key}-charged", placeholder="as your card or bank says",
            persist_state="session",
        )  # fmt: skip
    parts = tuple((line, "") for line in lines)
    if len(lines) > 1:
        st.caption(f"How much of it is for each line, in {home}. Leave one empty: it takes the rest.")
        parts = tuple(
            (line, st.text_input(safe(names[line]), key=f"{key}-part-{line}", persist_state="session"))
            for line in lines
        )
    closes = st.multiselect(
        "Nothing more will come for", lines, format_func=lambda line: names[line], key=f"{key}-closes",
        help="A closed line costs what was paid. An open one costs at least that.",
        placeholder="Closes no line",
    )  # fmt: skip
    with st.expander("Refund, deposit, note"):
        kind = st.segmented_control(
            "Kind", list(KINDS), format_func=KINDS.__getitem__, default="payment", key=f"{key}-kind"
        )
        note = st.text_input("Note", key=f"{key}-note", max_chars=2000, persist_state="session")
    if st.button("Save receipt", type="primary", key="save-receipt"):
        entry = Entry(
            date, supplier, kind or "payment", amount, currency, charged, parts, note, tuple(closes), key
        )
        try:
            news = _save(view, entry)
        except ForecastError as error:
            tell(error)
            return
        _next_form(news)
        st.rerun()


def lines_to_pay(view: Opened) -> dict[str, str]:
    """Give the lines that can be paid in this scenario, by id, events that cost money after them."""
    rows = compile_plan(view.build, view.scenario).payable
    return {row.id: row.title for row in rows if row.kind == "line"} | {
        row.id: row.title + MAY_HAPPEN for row in rows if row.kind == "event"
    }


def _form_key() -> str:
    """Give this form's own key: what is entered twice under it is entered once."""
    return str(st.session_state.setdefault("receipt_form", uuid.uuid4().hex))


def _next_form(news: str) -> None:
    st.session_state["receipt_form"] = uuid.uuid4().hex
    st.session_state["news"] = news


def _save(view: Opened, entry: Entry) -> str:
    """Enter a receipt and close lines, all or nothing; say what it moved."""
    earlier, _ = headline(view)
    home = view.currency
    if not entry.parts:
        message = "line: none chosen. Say which line it is for."
        raise LedgerError(message)
    amount = parse_money(entry.amount, entry.currency)
    paid = None
    if entry.currency != home:
        paid = (parse_money(entry.charged, home), home)
    splits = split_parts(entry.parts, paid[0] if paid else amount, home)
    ledger = view.ledger_to_write()
    with ledger.together():
        ledger.add_receipt(
            entry.date, entry.supplier, amount, entry.currency, splits, entry.note, paid=paid,
            kind=cast(ReceiptKind, entry.kind), entry_key=f"form:{entry.key}",
        )  # fmt: skip
        close_lines(ledger, entry.closes, entry.date)
    return moved(earlier, f"{exact(paid[0] if paid else amount, home)} at {entry.supplier} is entered.")


def close_lines(ledger: Ledger, lines: tuple[str, ...], date: dt.date) -> None:
    """Close several lines."""
    for line in lines:
        ledger.close_line(line, date)


def split_parts(parts: tuple[tuple[str, str], ...], total: int, currency: str) -> list[tuple[str, int]]:
    """Read the parts of a receipt; one may be empty and takes the rest.

    Raises
    ------
    LedgerError
        If a part is no amount, or more than one is empty.
    """
    given = {line: parse_money(text, currency) for line, text in parts if text.strip()}
    empty = [line for line, text in parts if not text.strip()]
    rest = total - sum(given.values())
    if len(empty) > 1:
        message = f"parts: {len(empty)} are empty. Leave one empty at most; it takes the rest."
        raise LedgerError(message)
    if empty and given and rest <= 0:
        left = f"{format_plain(rest, currency)} {currency}"
        message = f"parts: nothing is left for {empty[0]!r} ({left}). Correct a part."
        raise LedgerError(message)
    return [(line, given.get(line, rest)) for line, _ in parts]


def moved(earlier: Estimate, what: str) -> str:
    """Say by how much the forecast moved since, and what the chances are now."""
    view = opened()
    now, enough = headline(view)
    error = max(now.error, earlier.error)
    step = rounding_step(view.currency, error)  # the change is that of the two figures as they are written
    shown = step * (round(now.value / step) - round(earlier.value / step))
    text = f"{what} P80 moved by **{signed(shown, view.currency, error)}**, from "
    text += f"{about(earlier.value, view.currency, error)} to **{about(now.value, view.currency, error)}**."
    return text if enough is None else f"{text} Your budget is now enough in {builds(enough)}."
