"""What is settled without money moving: lines closed, events told; and statements added up."""

from __future__ import annotations

from collections.abc import Callable
from typing import cast

import streamlit as st

from forecast.dashboard.asking import unambiguous
from forecast.dashboard.layout import safe, table, tell, text, told_plainly
from forecast.dashboard.printing import screen_only
from forecast.dashboard.receipts_news import (
    ELSEWHERE,
    enter,
    events_of,
    lines_to_pay,
    news,
    next_turn,
    own_work,
    turn_of,
)
from forecast.dashboard.state import Opened, ledger_state
from forecast.errors import ForecastError, LedgerError
from forecast.ledger.events import WORDS, Said, contradiction, say_event, withdraw_event
from forecast.ledger.splitting import Reconciliation, reconcile
from forecast.ledger.statement import read_statement, typed_statement
from forecast.record.finishing import finish, to_finish
from forecast.views.settling_words import (
    closed_words,
    finish_question,
    finished_words,
    looking_settled_sentence,
    named,
    settled_lines_words,
    state_words,
)
from forecast.watching.reforecast import Reforecast
from forecast.watching.settling import close_lines, never_paid
from forecast.words.day_words import short_day
from forecast.words.minor_units import parse_money
from forecast.words.money import exact


def looks_settled(view: Opened, watch: Reforecast, *, folded: bool = True) -> None:
    """Offer to close the lines of which what was paid is likely all, each of them or all at once.

    Parameters
    ----------
    view : Opened
    watch : Reforecast
    folded : bool
        Whether the choice among several is folded away.
    """
    looks_settled_news()
    lines = {line.id: line for line in watch.lines}
    found = [lines[name] for name in watch.looking_settled]
    if not found:
        return
    with screen_only("looks-settled"), st.container(key="looks-settled"):
        text(f"{looking_settled_sentence(watch)} Close {'it' if len(found) == 1 else 'them'}?")
        place = st.container()
        paid = view.ledger.paid_by_line() if view.ledger is not None else {}
        chosen = [line.id for line in found]
        if len(found) > 1:
            with st.expander("Choose which") if folded else st.container():
                chosen = [
                    line.id
                    for line in found
                    if st.checkbox(
                        safe(f"{line.title}: {exact(paid.get(line.id, 0), view.currency)}, {state_words(line)}"),
                        value=True, key=f"settled-{line.id}-{ledger_state(view.ledger)}",
                    )
                ]  # fmt: skip
        noun = "line" if len(chosen) == 1 else "lines"
        if place.button(f"Close {len(chosen)} {noun}", key="close-settled", disabled=not chosen):
            close_now(view, chosen, "settled")


def looks_settled_news() -> None:
    """Say what was closed by the last tap, also where nothing more looks settled."""
    news("settled")


def close_several(view: Opened, *, ending: bool = True) -> None:
    """Close several lines at once, open closed ones again, or end the build where that has no button of its own."""
    ledger, names = view.ledger, lines_to_pay(view) | own_work(view)
    closed = ledger.closed_lines() if ledger is not None else frozenset()
    turn = turn_of("marks")
    news("marks")
    still_open = [
        name for name, title in names.items() if name not in closed and not title.endswith(ELSEWHERE)
    ]
    # Only what is chosen here is changed, so that a line closed in another window stays so.
    wanted = st.multiselect(
        "Lines", still_open, format_func=lambda name: names.get(name, name), key=f"close-lines-{turn}",
        placeholder="Choose lines", select_all=False, help="Nothing more will come for a closed line.",
    )  # fmt: skip
    with st.container(horizontal=True):
        if st.button("Close them", key="close", disabled=not wanted):
            close_now(view, wanted, "marks")
        needless = never_paid(view.build, ledger, wanted)
        if st.button(
            "Not needed", key="close-not-needed", disabled=not wanted or len(needless) < len(wanted)
        ):
            close_now(view, wanted, "marks")
        if st.button("More is to come for them", key="more-to-come", disabled=not wanted):
            reopen_now(view, wanted, "marks", more=True)
    done = [name for name in names if name in closed]
    if done:
        again = st.multiselect(
            "Closed; open again", done, format_func=lambda name: names.get(name, name), key=f"reopen-lines-{turn}",
            placeholder="Choose lines", select_all=False,
        )  # fmt: skip
        if st.button("Open them again", key="reopen", disabled=not again):
            reopen_now(view, again, "marks", more=False)
    if ending:
        text("When the car is done, close all that is open. You are asked first.")
        _ask_whether_done(view, "form")


_NEARLY = 0.9
"""Share of the lines that are closed or look settled from which a build is nearly at its end (our choice)."""
_MOSTLY, _PAID = 0.5, 0.8
"""Share of the lines so settled, or of all middle figures that is paid, from which a build may be done: many a line of
a guided build is never needed (our choice)."""


def may_be_done(watch: Reforecast) -> bool:
    """Tell whether to offer the end where receipts are entered: most lines are settled, or most money is paid."""
    if watch.finished:
        return False
    settled, lines = _settled(watch)
    return settled > _MOSTLY * lines or watch.paid >= _PAID * watch.before.base_estimate


def _settled(watch: Reforecast) -> tuple[int, int]:
    """Count the lines that cost money and are closed or look settled, and all of them."""
    lines = set(watch.counts.costing)
    return len(lines & {*watch.counts.closed, *watch.looking_settled}), len(lines)


def offer_the_end(view: Opened, watch: Reforecast) -> None:
    """Offer to end the build where all of it is settled, or nearly; draw nothing before, nor afterwards."""
    news("marks")
    settled, lines = _settled(watch)
    if watch.finished or not lines or settled < _NEARLY * lines:
        return
    with screen_only("the-end"), st.container(border=True):
        text(settled_lines_words(settled, lines))
        _ask_whether_done(view, "marks")


def whether_done(view: Opened) -> None:
    """Ask at once whether the build is done, where that was pressed already."""
    _question(view, "form", lambda: st.session_state.update({"entering": ""}))


def close_now(view: Opened, lines: list[str], place: str) -> None:
    """Close lines; the place says it."""

    def work() -> str:
        ledger = view.ledger_to_write()
        new = [line for line in lines if line not in ledger.closed_lines()]
        settled = close_lines(ledger, new)
        words = closed_words(
            new,
            settled,
            view.titles(),
            view.currency,
            view.build.work_alone,
            view.build.income.intersection(new),
            never_paid(view.build, ledger, new),
        )
        return words or "They were closed already."

    if enter(view, place, work):
        next_turn("marks")
        st.rerun()


def _ask_whether_done(view: Opened, place: str) -> None:
    """Say what ends with the build before it does; whatever is entered meanwhile takes the question away."""
    asked, now = "asked-whether-done", f"{view.folder.folder} {view.scenario} {ledger_state(view.ledger)}"
    if st.session_state.get(asked) != now:
        if st.button("The build is done: close everything", key="finish"):
            st.session_state[asked] = now
            st.rerun()
        return
    _question(view, place, lambda: st.session_state.update({asked: None}))


def _question(view: Opened, place: str, away: Callable[[], None]) -> None:
    """Ask whether the build is done; `away` takes the question away, `place` says what came of it."""
    question = finish_question(
        to_finish(view.ledger or view.folder.ledger_to_read(), view.build, view.scenario), view.currency
    )
    if not question:
        text("All is closed already.")
        return
    st.warning(safe(question))
    with st.container(horizontal=True):
        if st.button("Yes, close everything", key="finish-sure"):
            away()
            _finish(view, place)
        if st.button("No, leave it open", key="finish-not"):
            away()
            st.rerun()


def _finish(view: Opened, place: str) -> None:
    if enter(view, place, lambda: finished_words(finish(view.ledger_to_write(), view.build, view.scenario))):
        next_turn("marks")
        st.rerun()


def reopen_now(view: Opened, lines: list[str], place: str, *, more: bool) -> None:
    """Say that more may, or is to, come for lines; the place says it."""

    def work() -> str:
        ledger = view.ledger_to_write()
        with ledger.together():
            there = ledger.closed_lines()
            for line in lines:
                if more:
                    ledger.expect_more(line)
                elif line in there:
                    ledger.reopen_line(line)
        return f"More {'is to' if more else 'may'} come for {named(lines, view.titles())}."

    if enter(view, place, work):
        next_turn("marks")
        st.rerun()


def tell_events(view: Opened) -> None:
    """Say that a risk event happened, cannot happen, or may still happen after all."""
    names = events_of(view)
    if not names:
        return
    states = view.ledger.event_states() if view.ledger is not None else {}
    turn = turn_of("events")
    news("events")
    told = [
        [names[event], f"{WORDS[mark.state]}, said on {short_day(mark.date)}"]
        for event, mark in states.items()
        if event in names and mark.state != "open"
    ]
    if told:
        table(["Event", "As it stands"], told, "What was said of events", left=2)
    left, right = st.columns(2)
    event = left.selectbox(
        "Risk event", list(names), index=None, format_func=lambda name: names.get(name, name),
        key=f"event-which-{turn}", placeholder="Choose one",
    )  # fmt: skip
    state = right.selectbox(
        "What you know of it", ["happened", "cannot-happen", "open"], index=None, format_func=WORDS.__getitem__,
        key=f"event-state-{turn}", placeholder="Choose what",
    )  # fmt: skip
    sure = True
    earlier = None if event is None or state is None else contradiction(view.ledger, event, state)
    if earlier is not None and event is not None and state is not None:
        st.warning(
            safe(
                f"On {short_day(earlier.date)} you said that \u201c{names[event]}\u201d {WORDS[earlier.state]}. "
                f"It cannot be that it {WORDS[state]} as well."
            )
        )
        sure = st.checkbox("That was wrong: take it back and say this instead", key=f"event-sure-{turn}")
    if st.button("Save what is known", key="save-event") and event is not None and state is not None:
        _tell(view, event, state, names[event], sure=sure)


def _tell(view: Opened, event: str, state: str, title: str, *, sure: bool) -> None:
    def work() -> str:
        ledger = view.ledger_to_write()
        with ledger.together():
            earlier = contradiction(ledger, event, state)
            if earlier is not None and not sure:
                message = f"{title}: you said that it {WORDS[earlier.state]}. Tick that this was wrong, or leave it so."
                raise LedgerError(message)
            if earlier is not None:
                withdraw_event(ledger, event, cast(Said, earlier.state))
            if state == "open":
                ledger.mark_event(event, "open")
            else:
                say_event(ledger, event, cast(Said, state))
        return f"\u201c{title}\u201d {WORDS[state]}: kept."

    if enter(view, "events", work):
        next_turn("events")
        st.rerun()


@st.fragment
@told_plainly()
def statement(view: Opened) -> None:
    """Hold a supplier's stated sums against the lines that they cover."""
    text("Each stated subtotal and total is added up again from its lines. Nothing is entered.")
    typed = st.text_area(
        "Type it, one line for each thing and its sum", key="statement-text", height=150, max_chars=20_000,
        placeholder="Kit panels 2500.00\nCrate 150.00\nSubtotal 2650.00\nFreight 600.00\nTotal 3250.00",
        on_change="ignore",
    )  # fmt: skip
    sent = st.file_uploader(
        "Or a CSV or XLSX file with the columns label, amount and kind", key="statement-file",
        max_upload_size=25, on_change="ignore",
    )  # fmt: skip
    total = st.text_input("A total stated elsewhere", key="statement-total", on_change="ignore")
    total = unambiguous(total or "", view.currency, st, "statement-total")
    if not st.button("Add it up", key="statement-check"):
        return
    try:
        if sent is not None:
            rows = read_statement(sent.name, view.currency, sent.getvalue())
        else:
            rows = typed_statement(typed or "", view.currency)
        stated = parse_money(total, view.currency) if total else None
        _sums(reconcile(rows, stated), view.currency)
    except ForecastError as error:
        tell(error)


def _sums(found: Reconciliation, currency: str) -> None:
    items = exact(found.items_minor, currency)
    if found.agrees:
        st.success(safe(f"The lines add up to {items}, and every stated sum agrees."))
        return
    count = len(found.disagreements)
    noun = "stated sum does" if count == 1 else "stated sums do"
    st.warning(safe(f"The lines add up to {items}; {count} {noun} not agree."))
    rows = [
        [
            item.label,
            exact(item.said, currency),
            exact(item.adds_up_to, currency),
            exact(item.difference, currency),
        ]
        for item in found.disagreements
    ]
    table(["Sum", "Said", "Adds up to", "Difference"], rows, "Stated sums that do not agree")
