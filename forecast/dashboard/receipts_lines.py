"""The list of receipts by line, and what is agreed and not yet paid."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import streamlit as st

from forecast.dashboard.asking import unambiguous
from forecast.dashboard.layout import safe, said, table, text
from forecast.dashboard.printing import screen_only
from forecast.dashboard.receipts_list import (
    MOST_ROWS,
    by_day,
    documents_of,
    matches,
    one_receipt,
    show_all_rows,
    so_many_rows,
)
from forecast.dashboard.receipts_news import (
    JUST_ENTERED,
    Done,
    ask_first,
    enter,
    is_meant,
    lines_to_pay,
    news,
    next_turn,
    turn_of,
)
from forecast.dashboard.receipts_settle import close_now, reopen_now
from forecast.dashboard.state import Opened, before
from forecast.errors import LedgerError
from forecast.ledger import AttachedFile, Commitment, EveryReceipt, Receipt
from forecast.ledger.days import not_ahead
from forecast.ledger.records import AgreementKind
from forecast.views.settling_words import (
    AGREEMENTS,
    NOT_NEEDED,
    TAKEN_OUT,
    agreed_question,
    agreed_words,
    closed_words,
    kept_words,
    state_words,
)
from forecast.watching.estimates import expected_sums
from forecast.watching.reforecast import Reforecast
from forecast.watching.settling import agree, at_planned_rate, never_paid, settle
from forecast.words.chances import listed, so_many
from forecast.words.day_words import as_typed, short_day
from forecast.words.minor_units import parse_money
from forecast.words.money import entered, exact
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
    """Draw the form of a price agreed and not yet paid; saved, it is put away, and the page says what was kept."""
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
    amount = unambiguous(
        amount or "", currency or home, left, f"{key}-amount",
        lambda: _expected(view, line, currency or home),
    )  # fmt: skip
    day = right.date_input(
        "Agreed on",
        value="today",
        key=f"{key}-date",
        format=as_typed(view.build.build.country),
        on_change="ignore",
    )
    expected = ""
    if currency != home:
        expected = st.text_input(
            f"What it should come to in {home}", key=f"{key}-expected", on_change="ignore",
            placeholder="at the rate planned, where nothing stands here",
        ) or ""  # fmt: skip
        expected = unambiguous(expected, home, st, f"{key}-expected", lambda: _expected(view, line, home))
    kind: AgreementKind | None = st.segmented_control(
        "That price is", list(AGREEMENTS), format_func=AGREEMENTS.__getitem__, default="fixed", key=f"{key}-kind",
        required=True,
    )  # fmt: skip
    note = st.text_input("Note", key=f"{key}-note", max_chars=2000, on_change="ignore")
    meant = is_meant(key)
    if st.button("Save the price agreed", key="save-commitment"):

        def work() -> Done:
            if line is None:
                message = "No line is chosen: say which one it is for."
                raise LedgerError(message)
            today = dt.date.today()
            agreed = parse_money(amount or "", currency)
            at_home = None if currency == home else _at_home(view, line, agreed, currency, expected)
            asked = agreed_question(
                view.build, view.ledger, line, supplier or "", (agreed, currency),
                agreed if at_home is None else at_home, view.titles(),
            )  # fmt: skip
            ask_first(asked, key, meant=meant)
            done = agree(
                view.ledger_to_write(), not_ahead(day or today, today, "commitment"), supplier or "", line, agreed,
                currency, note or "", expected_minor=at_home, entry_key=f"form:{key}", kind=kind or "fixed",
            )  # fmt: skip
            return Done(kept_words([done]), agreed_words(done, view.titles(), home))

        if enter(view, "form", work):
            st.session_state.update(
                {"commitment_form": uuid.uuid4().hex, "entering": "", JUST_ENTERED: False}
            )
            st.rerun()


def _expected(view: Opened, line: str | None, currency: str) -> tuple[float, ...]:
    """Give what a sum for a line may be about."""
    return () if line is None else expected_sums(view.build, view.ledger, (line,), currency, view.scenario)


def _at_home(view: Opened, line: str, agreed: int, currency: str, expected: str) -> int:
    """Give what a price in foreign money should come to: as written, else at the rate planned."""
    planned = None if expected.strip() else at_planned_rate(view.build, line, agreed, currency)
    return parse_money(expected, view.currency) if planned is None else planned


def agreed_for(view: Opened, line: str) -> None:
    """Show the open prices of a line, each to be ended: paid in full, or off."""
    for item in view.ledger.list_commitments() if view.ledger is not None else ():
        if item.line_id == line:
            text(
                f"No. {item.id}, {short_day(item.date)}, with {item.supplier}: {_agreed(item, view.currency)}. "
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
    amount = unambiguous(amount or "", view.currency, st, field, lambda: _expected(view, line, view.currency))
    if said is not None:
        st.caption(safe(f"Said on {short_day(said.date)}: {exact(said.amount_minor, view.currency)} left."))
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


_ROWS = """<style>
.st-key-paid-lines { gap: 0.4rem; }
.st-key-paid-lines [class*="st-key-row-"] button { min-height: 44px; }
.st-key-paid-lines [class*="st-key-row-"] button :not(p, p *) { width: 100%; text-align: left; }
.st-key-paid-lines [class*="st-key-row-"] p { display: grid; width: 100%; align-items: baseline; margin: 0;
  grid-template-columns: 0.9rem minmax(8rem, 20rem) 1fr auto; gap: 0 0.7rem; }
.st-key-paid-lines [class*="st-key-row-"] p em { font-style: normal; grid-row: 1; grid-column: 1; }
.st-key-paid-lines [class*="st-key-row-"] p strong { grid-row: 1; grid-column: 2; }
.st-key-paid-lines [class*="st-key-row-"] p code { grid-row: 1; grid-column: 4; text-align: right; font: inherit;
  color: inherit; background: none; padding: 0; white-space: nowrap; }
.st-key-paid-lines .st-key-row-together { padding: 0.5rem 0 1.2rem; }
.st-key-paid-lines .st-key-row-together p { padding: 0 0.8rem; }
.st-key-paid-lines .st-key-row-together p code { font-weight: 600; }
@media (max-width: 640px) {
  /* what stands between name and sum has a row of its own beneath the name: the sign is out of the grid */
  .st-key-paid-lines [class*="st-key-row-"] p { grid-template-columns: 1fr auto; position: relative;
    padding-left: 1.3rem; }
  .st-key-paid-lines .st-key-row-together p { padding-left: 2.1rem; }
  .st-key-paid-lines [class*="st-key-row-"] p em { position: absolute; left: 0; grid-area: auto; }
  .st-key-paid-lines [class*="st-key-row-"] p strong { grid-column: 1; }
  .st-key-paid-lines [class*="st-key-row-"] p code { grid-column: 2; }
}
.st-key-paid-lines .st-key-the-line button { min-height: 44px; }
.st-key-on-paper { display: none; }
@media print { .st-key-on-paper { display: block !important; } }
</style>"""


_CLOSED_SHOWN, _OPEN_SHOWN = "closed-shown", "open-shown"
"""Under which a session knows that closed lines, and those of which nothing is known yet, are shown one by one."""


@dataclass(frozen=True)
class LineRow:
    """A line with what was paid for it, what is agreed and left, and how it stands."""

    id: str
    title: str
    paid: int
    agreed: int
    left: int | None
    state: str
    closed: bool
    receipts: tuple[Receipt, ...]


def what_was_paid(view: Opened, receipts: EveryReceipt, watch: Reforecast | None) -> None:
    """Draw what was paid, by line or by day, with one search over both.

    Parameters
    ----------
    view : Opened
    receipts : EveryReceipt
    watch : Reforecast or None
        What is known of each line; None where nothing can be forecast.
    """
    with st.container(horizontal=True, vertical_alignment="bottom", key="paid-heading"):
        st.subheader("What was paid", width="content")
        if sentence := agreed_in_all(view):
            st.markdown(said(sentence), width="content")
    every = False
    with st.container(horizontal=True, vertical_alignment="bottom"):
        wanted = st.text_input(
            "Find", key="find-receipt", placeholder="Find a supplier, line, word or number", width=320,
            persist_state="session", label_visibility="collapsed",
        ) or ""  # fmt: skip
        by = st.segmented_control(
            "Show",
            ["By line", "By day"],
            default="By line",
            key="list-by",
            required=True,
            persist_state="session",
            label_visibility="collapsed",
        )
        if receipts.taken_back and by == "By day":
            every = st.toggle("Show what was taken back", key="show-void", persist_state="session")
    documents = documents_of(view)
    if by == "By day":
        by_day(view, receipts, wanted, documents, watch, every=every)
        return
    _by_line(view, receipts.standing, watch, wanted, documents)


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
    if not found:
        text("No line and no receipt has that word." if word else "Nothing is paid or agreed yet.")
        return
    st.html(_ROWS)
    newest = _newest(receipts) if not st.session_state.get(_CLOSED_SHOWN) else frozenset()
    done = [] if word else [row for row in found if row.closed and row.id not in newest]
    apart = any(row.closed and row.id in newest for row in found)
    listed = found if word else [row for row in found if not row.closed or row.id in newest]
    # what was entered last stands first: it may have closed its line
    listed = sorted(listed, key=lambda row: row.id not in newest)
    with screen_only("lines"), st.container(key="paid-lines"):
        _first_rows(view, listed, documents, "lines")
        if done and _closed(view, done, more=apart):
            _first_rows(view, done, documents, "closed-lines")
        if found[1:]:
            whole = exact(sum(row.paid for row in found), view.currency)
            with st.container(key="row-together"):
                st.markdown(f"**Together** `{safe(whole)}`")
        untouched = [] if word else _untouched(view, rows, found)
        if untouched and _folded(
            f"**{so_many(len(untouched), 'open line')}** nothing paid yet", "row-untouched", _OPEN_SHOWN
        ):
            st.caption("One that you can do without is not needed: open it and say so.")
            _first_rows(view, untouched, documents, "untouched-lines")
    with st.container(key="on-paper"):
        written = [[row.title, exact(row.paid, view.currency), _beside(view, row)] for row in found]
        table(["Line", "Paid", "How it stands"], written, "What was paid, line by line", left=1, right_text=1)


def _newest(receipts: Sequence[Receipt]) -> frozenset[str]:
    """Give the lines of the receipt that was entered last."""
    last = max(receipts, key=lambda one: one.id, default=None)
    return frozenset() if last is None else frozenset(split.line_id for split in last.splits)


def _untouched(view: Opened, rows: Sequence[LineRow], found: Sequence[LineRow]) -> list[LineRow]:
    """Give the open lines of this way that were to cost money and of which nothing is known yet."""
    told = {row.id for row in found}
    counted = {row.id for row in before(view).plan.counted(())}
    return [row for row in rows if row.id in counted and row.id not in told and not row.closed]


def _first_rows(
    view: Opened, rows: Sequence[LineRow], documents: Mapping[int, Sequence[AttachedFile]], kind: str
) -> None:
    for row in rows[: so_many_rows(kind, len(rows))]:
        _row(view, row, documents)
    show_all_rows(kind, len(rows), str(MOST_ROWS))


def _rows(view: Opened, receipts: Sequence[Receipt], watch: Reforecast | None) -> list[LineRow]:
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
    titles, needless = view.titles(), never_paid(view.build, ledger, closed)
    gone = {line: f"{titles.get(line, line)} ({TAKEN_OUT})" for line in by_line if line not in names}
    for line, title in (names | gone).items():
        state = state_words(known[line]) if line in known else ""
        if line in closed and not (state and line in known):
            state = NOT_NEEDED if line in needless else "closed"
        said = None if line in closed or line not in left else left[line].amount_minor
        mine = tuple(by_line.get(line, ()))
        rows.append(
            LineRow(line, title, paid.get(line, 0), agreed.get(line, 0), said, state, line in closed, mine)
        )
    # What has still something to be said of it comes first, the dearest at the top.
    return sorted(rows, key=lambda row: (row.closed, not row.state, -row.paid - row.agreed))


def _beside(view: Opened, row: LineRow) -> str:
    state = "" if row.state.startswith("price agreed") else row.state
    parts = [f"{exact(row.agreed, view.currency)} agreed, to pay"] if row.agreed else []
    parts += [f"{exact(row.left, view.currency)} left to buy"] if row.left is not None else []
    parts += [state] if state else []
    return ", ".join(parts)


def _closed(view: Opened, done: Sequence[LineRow], *, more: bool) -> bool:
    """Draw one row for closed lines, all or those that are `more` than are shown; tell whether it is open."""
    # As the sentence at the top of the page counts them. Goods from abroad have risks that the file does not list.
    plan = before(view).plan
    events = {event.id for event in view.build.event} | {row.id for row in plan.rows if row.kind == "event"}
    costing = {row.id for row in plan.counted({row.id for row in done if row.paid})}
    here = {row.id for row in plan.payable} - costing
    risks = sum(row.id in events for row in done)
    work = sum(row.id in here and row.id not in events for row in done)
    lines = sum(row.id in costing for row in done)
    elsewhere = len(done) - lines - risks - work
    counts = [so_many(lines, "more closed line" if more else "closed line")] if lines else []
    counts += [so_many(risks, "risk")] if risks else []
    counts += [f"{work} of own work"] if work else []
    counts += [f"{elsewhere} of another way"] if elsewhere else []
    paid = exact(sum(row.paid for row in done), view.currency)
    opened = _folded(f"**{listed(counts)}** `{safe(paid)}`", "row-closed", _CLOSED_SHOWN)
    if opened:
        st.caption("Nothing more will come for these.")
    return opened


def _folded(label: str, key: str, shown: str) -> bool:
    """Draw one row for many lines; tell whether it is open, which the session keeps under `shown`."""
    opened = bool(st.session_state.get(shown))
    if _button(label, key, opened=opened):
        st.session_state[shown] = not opened
        st.rerun()
    return opened


def _button(label: str, key: str, *, opened: bool) -> bool:
    return st.button(f"*{'▾' if opened else '▸'}* {label}", key=key, width="stretch")


def _row(view: Opened, row: LineRow, documents: Mapping[int, Sequence[AttachedFile]]) -> None:
    opened = st.session_state.get("open-line") == row.id
    paid = exact(row.paid, view.currency) if row.paid else entered(0.0, view.currency)
    label = f"**{safe(row.title)}** {safe(_beside(view, row))}"
    label += f" `{safe(paid)}`" if row.paid or row.receipts or row.closed else ""
    if _button(label, f"row-line-{row.id}", opened=opened):
        st.session_state["open-line"] = None if opened else row.id
        st.rerun()
    if opened:
        with st.container(border=True, key="the-line"):
            _line(view, row, documents)


def _line(view: Opened, row: LineRow, documents: Mapping[int, Sequence[AttachedFile]]) -> None:
    """Draw what can be said of a line: settled or not, what is agreed and left, and its receipts."""
    with st.container(horizontal=True):
        if row.closed:
            if st.button("Open it again", key="reopen-line"):
                reopen_now(view, [row.id], "lines", more=False)
        else:
            needless = not row.agreed and never_paid(view.build, view.ledger, [row.id])
            label = "Not needed" if needless else "Close it: nothing more will come"
            if st.button(label, key="close-line"):
                st.session_state["open-line"] = None  # it goes to the closed ones
                close_now(view, [row.id], "lines")
                st.session_state["open-line"] = row.id
            if st.button("More is to come", key="more-line"):
                reopen_now(view, [row.id], "lines", more=True)
    agreed_for(view, row.id)
    if not row.closed:
        left_of(view, row.id, row.title)
    if row.receipts:
        one_receipt(view, row.receipts[:100], view.titles(), documents, {})
