"""What was paid, line by line: each line a row that opens to what can be said of it, where it stands."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import streamlit as st

from forecast.dashboard.layout import safe, table, text
from forecast.dashboard.printing import screen_only
from forecast.dashboard.receipts_commitments import agreed_for, agreed_in_all, left_of
from forecast.dashboard.receipts_list import by_day, documents_of, matches, one_receipt
from forecast.dashboard.receipts_news import lines_to_pay, news
from forecast.dashboard.receipts_settle import close_now, reopen_now
from forecast.dashboard.state import Opened
from forecast.ledger import AttachedFile, Receipt
from forecast.views.settling_words import state_words
from forecast.watching.reforecast import Reforecast
from forecast.words.money import exact

MOST = 30
"""Lines shown in one go; others are found by a word."""
_ROWS = """<style>
.st-key-paid-lines { gap: 0.4rem; }
.st-key-paid-lines [class*="st-key-row-"] button { min-height: 44px; }
.st-key-paid-lines [class*="st-key-row-"] button, .st-key-paid-lines [class*="st-key-row-"] button > div {
  justify-content: flex-start; text-align: left; }
.st-key-paid-lines .st-key-the-line button { min-height: 44px; }
.st-key-on-paper { display: none; }
@media print { .st-key-on-paper { display: block !important; } }
</style>"""


@dataclass(frozen=True)
class Row:
    """A line with what was paid for it, what is agreed and left, and how it stands."""

    id: str
    title: str
    paid: int
    agreed: int
    left: int | None
    state: str
    receipts: tuple[Receipt, ...]


def what_was_paid(view: Opened, everything: Sequence[Receipt], watch: Reforecast | None) -> None:
    """Draw what was paid, by line or by day, with one search over both.

    Parameters
    ----------
    view : Opened
    everything : sequence of Receipt
        Voided ones and their voids as well.
    watch : Reforecast or None
        What is known of each line; None where nothing can be forecast.
    """
    st.subheader("What was paid")
    void = any(receipt.voids is not None for receipt in everything)
    every = False
    with st.container(horizontal=True, vertical_alignment="bottom"):
        wanted = st.text_input(
            "Find", key="find-receipt", placeholder="a supplier, line, word or number", width=320,
            persist_state="session",
        ) or ""  # fmt: skip
        by = st.segmented_control(
            "Show",
            ["By line", "By day"],
            default="By line",
            key="list-by",
            required=True,
            persist_state="session",
        )
        if void and by == "By day":
            every = st.toggle("Show what was taken back", key="show-void", persist_state="session")
    documents = documents_of(view)
    if by == "By day":
        by_day(view, everything, wanted, documents, every=every)
        return
    standing = [one for one in everything if one.voids is None and one.voided_by is None]
    _by_line(view, standing, watch, wanted, documents)


def _by_line(
    view: Opened,
    receipts: Sequence[Receipt],
    watch: Reforecast | None,
    wanted: str,
    documents: Mapping[int, Sequence[AttachedFile]],
) -> None:
    """Draw the lines for which anything was paid, agreed or said, the one chosen open.

    Parameters
    ----------
    view : Opened
    receipts : sequence of Receipt
        Standing ones.
    watch : Reforecast or None
        What is known of each line; None where nothing can be forecast.
    wanted : str
        A word to find: of the line, or of one of its receipts. With it, lines without a receipt are found too.
    documents : mapping
        Of receipts, by their number.
    """
    rows = _rows(view, receipts, watch)
    titles = view.titles()
    word = wanted.strip().casefold()
    if word:
        found = [
            row
            for row in rows
            if word in row.title.casefold()
            or any(matches(one, wanted, titles, documents) for one in row.receipts)
        ]
    else:
        found = [
            row for row in rows if row.paid or row.receipts or row.agreed or row.left is not None or row.state
        ]
    news("lines")
    if sentence := agreed_in_all(view):
        text(sentence)
    if not found:
        text("No line and no receipt has that word." if word else "Nothing is paid or agreed yet.")
        return
    st.html(_ROWS)
    shown = found[:MOST]
    done = [] if word else [row for row in shown if row.state == "closed"]
    with screen_only("lines"), st.container(key="paid-lines"):
        for row in shown:
            if row not in done:
                _row(view, row, documents)
        if done and _closed(view, done):
            for row in done:
                _row(view, row, documents)
    if len(found) > MOST:
        text(f"{MOST} of {len(found)} lines are shown; find others by a word.")
    with st.container(key="on-paper"):
        written = [
            [row.title, exact(row.paid, view.currency), _beside(view, row, paid=False)] for row in found
        ]
        table(["Line", "Paid", "How it stands"], written, "What was paid, line by line", left=1, right_text=1)


def _rows(view: Opened, receipts: Sequence[Receipt], watch: Reforecast | None) -> list[Row]:
    ledger, names = view.ledger, lines_to_pay(view)
    by_line: dict[str, list[Receipt]] = {}
    for receipt in reversed(receipts):
        for line in dict.fromkeys(split.line_id for split in receipt.splits):
            by_line.setdefault(line, []).append(receipt)
    paid = ledger.paid_by_line() if ledger is not None else {}
    agreed: dict[str, int] = {}
    for item in ledger.list_commitments() if ledger is not None else ():
        agreed[item.line_id] = agreed.get(item.line_id, 0) + item.outstanding_minor
    left = ledger.still_to_buy() if ledger is not None else {}
    closed = ledger.closed_lines() if ledger is not None else frozenset()
    known = {} if watch is None else {line.id: line for line in watch.lines}
    rows = []
    for line, title in (names | {line: line for line in by_line if line not in names}).items():
        state = "closed" if line in closed else state_words(known[line]) if line in known else ""
        said = None if line in closed or line not in left else left[line].amount_minor
        mine = tuple(by_line.get(line, ()))
        rows.append(Row(line, title, paid.get(line, 0), agreed.get(line, 0), said, state, mine))
    # What has still something to be said of it comes first, the dearest at the top.
    return sorted(rows, key=lambda row: (row.state == "closed", not row.state, -row.paid - row.agreed))


def _beside(view: Opened, row: Row, *, paid: bool = True) -> str:
    parts = [f"{exact(row.paid, view.currency)} paid"] if paid and (row.paid or row.receipts) else []
    parts += [f"{exact(row.agreed, view.currency)} agreed, to pay"] if row.agreed else []
    parts += [f"{exact(row.left, view.currency)} left to buy"] if row.left is not None else []
    parts += [row.state] if row.state and not row.state.startswith("price agreed") else []
    return ", ".join(parts)


def _closed(view: Opened, done: Sequence[Row]) -> bool:
    """Draw one row for all closed lines; tell whether it is open."""
    opened = bool(st.session_state.get("closed-shown"))
    noun = "line" if len(done) == 1 else "lines"
    paid = exact(sum(row.paid for row in done), view.currency)
    if _button(f"**{len(done)} closed {noun}** \u2003{safe(paid)} paid", "row-closed", opened=opened):
        st.session_state["closed-shown"] = not opened
        st.rerun()
    return opened


def _button(label: str, key: str, *, opened: bool) -> bool:
    return st.button(f"{'▾' if opened else '▸'}\u2002{label}", key=key, width="stretch")


def _row(view: Opened, row: Row, documents: Mapping[int, Sequence[AttachedFile]]) -> None:
    opened = st.session_state.get("open-line") == row.id
    beside = _beside(view, row)
    label = f"**{safe(row.title)}**" + (f" \u2003{safe(beside)}" if beside else "")
    if _button(label, f"row-line-{row.id}", opened=opened):
        st.session_state["open-line"] = None if opened else row.id
        st.rerun()
    if opened:
        with st.container(border=True, key="the-line"):
            _line(view, row, documents)


def _line(view: Opened, row: Row, documents: Mapping[int, Sequence[AttachedFile]]) -> None:
    """Draw what can be said of a line: settled or not, what is agreed and left, and its receipts."""
    with st.container(horizontal=True):
        if row.state == "closed":
            if st.button("Open it again", key="reopen-line"):
                reopen_now(view, [row.id], "lines", more=False)
        else:
            if st.button("Close it: nothing more will come", key="close-line"):
                st.session_state["open-line"] = None  # it goes to the closed ones
                close_now(view, [row.id], "lines")
                st.session_state["open-line"] = row.id
            if st.button("More is to come", key="more-line"):
                reopen_now(view, [row.id], "lines", more=True)
    agreed_for(view, row.id)
    if row.state != "closed":
        left_of(view, row.id, row.title)
    if row.receipts:
        one_receipt(view, row.receipts[:100], view.titles(), documents, {})


__all__ = ["MOST", "what_was_paid"]
