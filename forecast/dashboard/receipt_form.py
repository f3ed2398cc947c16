"""The form that enters a receipt, made to take a minute on a phone; a paper that is read proposes what goes into it."""

from __future__ import annotations

import datetime as dt
import time
import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, cast

import streamlit as st

from forecast.buildfile.changes import AddItem
from forecast.buildfile.edit import edit_build
from forecast.buildfile.proposals import unforeseen_line
from forecast.buildfile.reader import parse_build
from forecast.buildfile.schema import GROUPS, Group
from forecast.dashboard.asking import to_choose, unambiguous
from forecast.dashboard.layout import calmly, safe, said, table, text, told_plainly
from forecast.dashboard.receipts_news import (
    JUST_ENTERED,
    Done,
    ask_first,
    currency_of_line,
    enter,
    is_meant,
    lines_to_pay,
)
from forecast.dashboard.state import Opened, likely_of
from forecast.errors import ForecastError, LedgerError, NumberError, UnusualError
from forecast.ledger import NewReceipt, ReceiptKind
from forecast.ledger.attachments import attach_file, check_document
from forecast.ledger.days import not_ahead
from forecast.ledger.entries import checked
from forecast.ledger.matching import SupplierHistory
from forecast.ledger.papers.paper import Paper
from forecast.ledger.papers.read import read_paper
from forecast.views.paper_words import found_nothing, paper_rows, paper_sentence
from forecast.views.settling_words import (
    closed_words,
    of_100,
    paid_words,
    question,
    receipt_words,
    same_shop_question,
    tenth_question,
)
from forecast.watching.estimates import Way, expected_sums, middle_figures, shared_out
from forecast.watching.oddities import Odd, oddities
from forecast.watching.settling import Likely, enter_receipt, titles_of
from forecast.words.day_words import as_typed, short_day
from forecast.words.minor_units import parse_money
from forecast.words.money import exact
from forecast.words.numbers import currency_beside
from forecast.words.text import STRONG, ended


def fill_in(view: Opened, key: str, uploads: Sequence[Any], names: Mapping[str, str]) -> tuple[Paper, ...]:
    """Read what was sent, put it where nothing stands yet, and show it; before the fields are drawn.

    Parameters
    ----------
    view : Opened
    key : str
        The form's own.
    uploads : sequence
        What the builder sent.
    names : mapping
        The lines that can be paid.

    Returns
    -------
    tuple of Paper
        What the papers in the form say.
    """
    kept: dict[str, Paper | LedgerError] = st.session_state.setdefault(f"{key}-papers", {})
    found = []
    for sent in uploads:
        new = sent.file_id not in kept
        if new:
            try:
                with st.spinner("Reading it"):
                    kept[sent.file_id] = read_paper(
                        sent.name,
                        sent.getvalue(),
                        view.currency,
                        tuple(view.build.currency),
                        _suppliers(view),
                    )
            except LedgerError as error:
                kept[sent.file_id] = error
        paper = kept[sent.file_id]
        if isinstance(paper, LedgerError):
            st.info(safe(str(paper)))
            continue
        if new:
            _propose(view, key, paper, names)
        _show(view, key, paper)
        found.append(paper)
    return tuple(found)


def currencies(view: Opened, papers: Sequence[Paper]) -> list[str]:
    """Give the currencies to choose from: the build's own, its others, and those of papers in the form."""
    codes = [view.currency, *view.build.currency, *(one.currency.said for one in papers if one.currency)]
    return list(dict.fromkeys(codes))


def _suppliers(view: Opened) -> dict[str, dict[str, int]]:
    """Give the suppliers that were paid before, each with how often for which line."""
    return {} if view.ledger is None else view.ledger.lines_by_supplier()


def _propose(view: Opened, key: str, paper: Paper, names: Mapping[str, str]) -> None:
    """Put what a paper says into fields in which nothing stands; what the builder typed stays."""
    state = st.session_state

    def put(field: str, value: Any, empty: Sequence[Any]) -> None:
        if state.get(f"{key}-{field}") in (None, *empty):
            state[f"{key}-{field}"] = value

    blank = not str(state.get(f"{key}-amount") or "").strip()
    if paper.amount is not None and blank:
        state[f"{key}-amount"] = paper.amount.said
        if paper.currency is not None:
            state[f"{key}-currency"] = paper.currency.said
            state[f"{key}-currency-said"] = True
        if paper.refund:
            put("kind", "refund", ("payment",))
    if paper.day is not None:
        put("date", dt.date.fromisoformat(paper.day.said), (dt.date.today(),))
    if paper.supplier is not None:
        put("supplier", paper.supplier.said, ("",))
        line = SupplierHistory(_suppliers(view)).match(paper.supplier.said).line_id
        if line in names:
            put("lines", [line], ([],))
    if paper.note:
        put("note", paper.note, ("",))


def _show(view: Opened, key: str, paper: Paper) -> None:
    """Say what was read and where it stood; ask where it can mean two days."""
    with st.container(key=f"{key}-read-{paper.name}"):
        text(paper_sentence(paper))
        if not found_nothing(paper):
            rows = paper_rows(paper, view.currency)
            table(["", "Read", "Where it stood"], rows, f"What {paper.name} says", left=3, stacked=True)
    if paper.days:
        field = f"{key}-day-{paper.name}"

        def take() -> None:
            if st.session_state.get(field) is not None:
                st.session_state[f"{key}-date"] = st.session_state[field]

        st.radio(
            "Which day is meant?", paper.days, index=None, format_func=short_day, horizontal=True, key=field,
            on_change=take,
        )  # fmt: skip


KINDS: Mapping[str, str] = {
    "payment": "Paid", "deposit": "Deposit paid", "balance": "Balance paid", "refund": "Refund received",
}  # fmt: skip
_BY_KIND: Mapping[str, bool] = {"deposit": False, "balance": True}
"""Kinds of receipts that say by themselves whether that is all."""
ANSWERS: Mapping[str, str] = {"yes": "Yes", "no": "No, more to come", "unsure": "I cannot say"}
WAYS: Mapping[Way, str] = {"evenly": "Evenly", "by estimate": "By estimate"}
NOT_LISTED = "(not listed)"
"""Stands among the lines of the form for a bill that nobody told of; no id has brackets."""
DOCUMENT_TYPES = ("image", "pdf", "xml")
"""What a phone offers its camera for; the content decides."""
_LARGEST_MB = 25
_SEEN = 0.3
"""Seconds for which a likely answer has to have stood on the screen before it is taken: one that comes up with the tap
that saves, as when the sum is typed last, was read by nobody (our choice)."""
_REST, _AGAINST = "The rest", "Paid against a price agreed"


@dataclass(frozen=True)
class Document:
    """A photo or PDF on its way."""

    name: str
    content: bytes


@dataclass(frozen=True)
class Entry:
    """What stands in the form."""

    date: dt.date | None
    supplier: str
    kind: str
    amount: str
    currency: str
    charged: str
    parts: tuple[tuple[str, str], ...]
    way: Way
    note: str
    answers: tuple[tuple[str, bool | None], ...]
    against: int | None
    apart: bool
    documents: tuple[Document, ...]
    key: str
    unforeseen: tuple[str, Group] | None = None
    """Name and group of the line that stands as `NOT_LISTED` among the parts, and is made when this is saved."""


@st.fragment
@told_plainly()
def receipt_form(view: Opened) -> None:
    """Draw the form; saving redraws the whole page."""
    key = _form_key()
    names = lines_to_pay(view)
    home = view.currency
    agreed = view.ledger is not None and bool(view.ledger.list_commitments())
    uploads = st.file_uploader(
        "Photo or PDF of it", type=list(DOCUMENT_TYPES), accept_multiple_files=True, key=f"{key}-documents",
        max_upload_size=_LARGEST_MB, help="What can be read from it fills the form; look it over before you save.",
    )  # fmt: skip
    st.session_state.setdefault(f"{key}-kind", "payment")  # a credit note makes a refund of it
    papers = fill_in(view, key, uploads, names)
    _take_currency(view, key)
    _take_lines_currency(view, key)
    currency = str(st.session_state.get(f"{key}-currency") or home)
    left, right = st.columns(2)
    chosen = bool(st.session_state.get(f"{key}-lines"))
    amount = left.text_input(
        f"Amount, in {currency}", key=f"{key}-amount", placeholder="1234.56",
        persist_state="session",
        on_change="rerun" if chosen else "ignore",  # parts, and whether it is likely all, follow at once
    )  # fmt: skip
    amount = unambiguous(
        amount or "", currency, left, f"{key}-amount", lambda: _expected(view, key, currency)
    )
    supplier = right.text_input(
        "Supplier", key=f"{key}-supplier", max_chars=200, persist_state="session",
        on_change="rerun" if agreed else "ignore",  # it may count against a price agreed
    )  # fmt: skip
    charged = ""
    if currency != home:
        left.caption("As the paper says.")
        charged = left.text_input(
            f"Charged to you in {home}", key=f"{key}-charged", placeholder="as your card or bank says",
            persist_state="session", on_change="rerun" if chosen else "ignore",
        )  # fmt: skip
        charged = unambiguous(charged or "", home, left, f"{key}-charged", lambda: _expected(view, key, home))
    offered = {NOT_LISTED: "Something not on my list"} | names
    lines = st.multiselect(
        "For which line", list(offered), format_func=lambda line: offered.get(line, line), key=f"{key}-lines",
        help="Several lines if one receipt pays for several. A bill that nobody told of gets a line of its own.",
        placeholder="Choose a line, or several",
        persist_state="session", select_all=False,  # Enter takes the line found, not every line with that word
    )  # fmt: skip
    if NOT_LISTED not in lines:
        st.button(
            "It is on no line of mine",
            key=f"{key}-unlisted",
            type="tertiary",
            on_click=_unlisted,
            args=(key,),
        )
    _priced_otherwise(view, key, lines, currency)
    unforeseen = _not_listed(key) if NOT_LISTED in lines else None
    if unforeseen is not None:
        names |= {NOT_LISTED: unforeseen[0] or "this bill"}
    parts, way = _parts(view, key, tuple(lines), names, charged if currency != home else amount)
    asked = st.container()
    with st.expander(f"{_REST}: day, currency, refund or deposit, note"):
        left, right = st.columns(2)
        date = left.date_input(
            "Date", value="today", key=f"{key}-date", format=as_typed(view.build.build.country),
            persist_state="session", on_change="ignore",
        )  # fmt: skip
        right.selectbox(
            "Currency",
            _and(currencies(view, papers), currency),
            key=f"{key}-currency",
            persist_state="session",
            on_change=_remember_choice,
            args=(f"{key}-currency-said",),
        )
        kind = st.segmented_control(
            "Kind", list(KINDS), format_func=KINDS.__getitem__, key=f"{key}-kind", required=True,
            on_change=_forget_answers, args=(key,),
        )  # fmt: skip
        against = _against(view, key)
        note = st.text_input(
            "Note", key=f"{key}-note", max_chars=2000, persist_state="session", on_change="ignore"
        )
    entry = Entry(
        date, supplier or "", kind or "payment", amount or "", currency or home, charged or "", parts, way,
        note or "", (), against, False, (), key, unforeseen,
    )  # fmt: skip
    with asked:
        entry = _whether_all(view, entry, names)
    meant = is_meant(key, repr(replace(entry, documents=(), answers=())))
    shop_said = _which_shop(entry)
    if st.button("Save receipt", type="primary", key="save-receipt") or shop_said:
        entry = replace(entry, documents=tuple(Document(one.name, one.getvalue()) for one in uploads))
        if enter(view, "form", lambda: _save(view, entry, meant=meant)):
            st.session_state["receipt_form"] = uuid.uuid4().hex
            st.session_state["entering"] = ""  # what was saved is read first
            st.session_state["open-line"] = entry.parts[0][0] if entry.parts else None
            st.session_state[JUST_ENTERED] = True
            st.rerun()


def _expected(view: Opened, key: str, currency: str, line: str | None = None) -> tuple[float, ...]:
    """Give what a sum of the form may be about: that of one line, or of all that are chosen."""
    lines = (st.session_state.get(f"{key}-lines") or ()) if line is None else (line,)
    if st.session_state.get(f"{key}-kind") == "refund" or NOT_LISTED in lines:
        return ()  # what comes back has no estimate, nor has what nobody told of
    return expected_sums(view.build, view.ledger, lines, currency, view.scenario)


def _take_currency(view: Opened, key: str) -> None:
    """Choose the currency that stands beside the amount, once for what was typed: what is chosen later stays."""
    typed, seen = str(st.session_state.get(f"{key}-amount") or ""), f"{key}-amount-seen"
    if typed != st.session_state.get(seen, ""):
        chosen = str(st.session_state.get(f"{key}-currency") or view.currency)
        beside = currency_beside(typed, chosen, view.build.currency.keys())
        st.session_state[f"{key}-currency"] = beside
        if beside != chosen:
            st.session_state[f"{key}-currency-said"] = True
    st.session_state[seen] = typed


def _take_lines_currency(view: Opened, key: str) -> None:
    """Choose the currency that a line is priced in as soon as it is chosen alone; what was said otherwise stays.

    An amount that stands there already keeps its money: nobody would look at the sign beside it again.
    """
    state, seen = st.session_state, f"{key}-lines-seen"
    lines = list(state.get(f"{key}-lines") or ())
    typed = str(state.get(f"{key}-amount") or "").strip()
    if (
        lines != state.get(seen, [])
        and len(lines) == 1
        and not state.get(f"{key}-currency-said")
        and not typed
    ):
        state[f"{key}-currency"] = currency_of_line(view, lines[0])
    state[seen] = lines


def _priced_otherwise(view: Opened, key: str, lines: Sequence[str], currency: str) -> None:
    """Say that the one line chosen is priced in other money than an amount that stands there already."""
    if len(lines) != 1 or lines[0] == NOT_LISTED or st.session_state.get(f"{key}-currency-said"):
        return
    priced = currency_of_line(view, lines[0])
    if priced != currency:
        text(f"This line is priced in {priced}. If the paper is too, choose {priced} under “{_REST}”.")


def _and(codes: Sequence[str], code: str) -> list[str]:
    return list(dict.fromkeys((*codes, code)))


def _unlisted(key: str) -> None:
    """Take the entry for what nobody told of, which what is typed into the list of lines would hide."""
    st.session_state[f"{key}-lines"] = [*(st.session_state.get(f"{key}-lines") or ()), NOT_LISTED]


def _not_listed(key: str) -> tuple[str, Group]:
    """Ask what a bill was for that nobody told of, and where its line is to stand."""
    left, right = st.columns([2, 1])
    name = left.text_input(
        "What was it for?", key=f"{key}-unforeseen", max_chars=80, placeholder="such as the port's bill",
        persist_state="session",
    )  # fmt: skip
    group = right.selectbox(
        "Group", GROUPS, index=GROUPS.index("other"), format_func=str.capitalize, key=f"{key}-group",
        persist_state="session", on_change="ignore",
    )  # fmt: skip
    return (name or "").strip(), cast(Group, group)


def _with_line(view: Opened, entry: Entry) -> tuple[Entry, AddItem | None]:
    """Give an entry whose parts name the line that is to be made for it, and that line; None where none is.

    Raises
    ------
    LedgerError
        When it has no name, or there is a line of that name.
    """
    if entry.unforeseen is None:
        return entry, None
    name, group = entry.unforeseen
    if not name:
        message = "What was it for? Nothing stands there yet."
        raise LedgerError(message)
    titles = lines_to_pay(view) | view.titles()
    if name.casefold() in {title.casefold() for title in titles.values()}:
        message = f"name: there is a line \u201c{name}\u201d already. Choose it, or write another name."
        raise LedgerError(message)
    if view.unsaved:
        message = (
            "the new line goes into the build file, and changes of it wait below. Keep or drop these first."
        )
        raise LedgerError(message)
    item = unforeseen_line(name, group, {*titles, *(one.id for one in (*view.build.line, *view.build.event))})
    own = str(item.table["id"])
    parts = tuple((own if line == NOT_LISTED else line, text) for line, text in entry.parts)
    answers = tuple((own if line == NOT_LISTED else line, said_all) for line, said_all in entry.answers)
    return replace(entry, parts=parts, answers=answers), item


def _whether_all(view: Opened, entry: Entry, names: Mapping[str, str]) -> Entry:
    """Say which agreed price it counts against, and ask whether that is all, the likely answer filled in."""
    new: NewReceipt | None
    try:  # who was paid may be typed last
        new = checked(_new(view, replace(entry, supplier=entry.supplier or "?")))
    except (LedgerError, NumberError):  # not all of it is typed yet
        new = None
    found = None if new is None or view.ledger is None else view.ledger.counts_against(new)
    if found is not None:
        rest = exact(found.outstanding_minor, view.currency)
        line = names.get(found.line_id, found.line_id)
        text(
            f"It counts against the price agreed with {found.supplier} for {line}, of which {rest} is to pay."
        )
        if entry.against is None:
            apart = st.checkbox("It is no part of that price", key=f"{entry.key}-apart")
            entry = replace(entry, apart=apart)
            new = new and replace(new, apart=apart)
    paid_for = [line for line, _ in entry.parts]
    if entry.kind == "refund" and not view.build.income.issuperset(paid_for):
        return entry  # not sold: nothing to ask of it
    chosen = {line: _chosen(entry.key, line) for line, _ in entry.parts if _was_chosen(entry.key, line)}
    likely = {} if new is None else likely_of(view, new, chosen)
    closed = view.ledger.closed_lines() if view.ledger is not None else frozenset()
    answers = []
    for line, _ in entry.parts:
        if line not in closed:
            # A deposit and a balance say it themselves, though not all of it is typed yet.
            guess = likely.get(line, Likely(_BY_KIND.get(entry.kind) if new is None else None))
            answers.append((line, _is_all(entry.key, line, names.get(line, line), guess)))
    return replace(entry, answers=tuple(answers))


def _is_all(key: str, line: str, title: str, likely: Likely) -> bool | None:
    """Ask whether that is all for a line; what the builder chose stays, else the likely answer follows the form.

    A likely answer is given once it was there to be seen: what was read by nobody closes nothing.
    """
    field, chosen, shown = f"{key}-all-{line}", f"{key}-chosen-{line}", f"{key}-shown-{line}"
    seen = True
    if not _was_chosen(key, line):
        st.session_state[field] = {True: "yes", False: "no", None: None}[likely.answer]
        now = time.monotonic()
        answer, since = st.session_state.get(shown, (None, now))
        if answer is not likely.answer:
            since = now
        st.session_state[shown] = (likely.answer, since)
        seen = now - since >= _SEEN
    said_all = st.segmented_control(
        f"Is that all for {safe(title)}?", list(ANSWERS), format_func=ANSWERS.__getitem__, key=field,
        on_change=_remember_choice, args=(chosen,), required=True,  # a click on the lit answer agrees with it
        help="Yes closes the line: it costs what was paid. Where you cannot say, the forecast counts with both.",
    )  # fmt: skip
    if said_all == "yes" and likely.answer and likely.chance is not None:
        st.caption(f"Likely all paid ({of_100(likely.chance)}).")
    return _chosen(key, line) if seen else None


def _chosen(key: str, line: str) -> bool | None:
    return {"yes": True, "no": False}.get(str(st.session_state.get(f"{key}-all-{line}")))


def _was_chosen(key: str, line: str) -> bool:
    return bool(st.session_state.get(f"{key}-chosen-{line}"))


def _remember_choice(chosen: str) -> None:
    st.session_state[chosen] = True


def _forget_answers(key: str) -> None:
    """Another kind of payment asks anew whether it is all: a deposit is not, whatever was said before."""
    for name in [name for name in st.session_state if str(name).startswith(f"{key}-chosen-")]:
        if name != f"{key}-chosen-way":
            del st.session_state[name]


def _parts(
    view: Opened, key: str, lines: tuple[str, ...], names: Mapping[str, str], total: str | None
) -> tuple[tuple[tuple[str, str], ...], Way]:
    """Ask for the part of each line where there are several; show what each gets."""
    if len(lines) < 2:
        return tuple((line, "") for line in lines), "evenly"
    home, field, chosen = view.currency, f"{key}-way", f"{key}-chosen-way"
    if not st.session_state.get(chosen):
        st.session_state[field] = _likely_way(view, lines)
    way: Way = st.segmented_control(
        "Parts left empty share the rest", list(WAYS), format_func=WAYS.__getitem__, key=field, required=True,
        on_change=_remember_choice, args=(chosen,), help="By estimate: as the middle figures of the lines are.",
    ) or "evenly"  # fmt: skip
    parts = tuple(
        (line, st.text_input(f"{safe(names.get(line, line))} ({home})", key=f"{key}-part-{line}",
                             placeholder="shares the rest", persist_state="session") or "")
        for line in lines
    )  # fmt: skip
    parts = tuple(
        (line, unambiguous(text, home, st, f"{key}-part-{line}", partial(_expected, view, key, home, line)))
        for line, text in parts
    )
    try:
        splits = split_parts(parts, parse_money(total or "", home), home, way, _estimates(view, way), names)
        shown = "; ".join(
            f"{names.get(line, line)} {STRONG}{exact(part, home)}{STRONG}" for line, part in splits
        )
    except (LedgerError, NumberError) as error:
        shown = str(to_choose(error)) if total else "What each line gets stands here once there is an amount."
    st.caption(said(shown))
    return parts, way


def _likely_way(view: Opened, lines: tuple[str, ...]) -> Way:
    """Give how one bill is most likely shared: as its lines were estimated, where each of them has an estimate."""
    try:
        figures = middle_figures(view.build, view.scenario)
    except ForecastError:  # a build that cannot be simulated can be paid for
        return "evenly"
    return "by estimate" if all(figures.get(line, 0.0) > 0 for line in lines) else "evenly"


def _estimates(view: Opened, way: Way) -> dict[str, float] | None:
    return middle_figures(view.build, view.scenario) if way == "by estimate" else None


def _against(view: Opened, key: str) -> int | None:
    """Ask which commitment it is paid against, where any is open."""
    found = {item.id: item for item in view.ledger.list_commitments()} if view.ledger is not None else {}
    if not found:
        return None
    titles = view.titles()

    def words(number: int) -> str:
        item = found[number]
        rest = exact(item.outstanding_minor, view.currency)
        return f"{number}: {item.supplier}, {titles.get(item.line_id, item.line_id)}, {rest} to pay"

    chosen = st.selectbox(
        _AGAINST, list(found), index=None, format_func=words, key=f"{key}-against",
        placeholder="as supplier and line tell", help="What is still to pay of it shrinks by this receipt.",
    )  # fmt: skip
    return None if chosen is None else int(chosen)


def _form_key() -> str:
    """Give this form's own key: what is entered twice under it is entered once."""
    return str(st.session_state.setdefault("receipt_form", uuid.uuid4().hex))


def _new(view: Opened, entry: Entry) -> NewReceipt:
    """Read what stands in the form.

    Raises
    ------
    LedgerError, NumberError
        Saying what is missing or wrong.
    """
    home = view.currency
    if not entry.parts:
        message = "No line is chosen: say which one it is for."
        raise LedgerError(message)
    if entry.date is None:
        message = "date: empty. Say when it was paid."
        raise LedgerError(message)
    date = not_ahead(entry.date, dt.date.today(), "receipt")
    if not entry.amount.strip():
        message = "amount: empty. Say what the supplier charged."
        raise LedgerError(message)
    amount = parse_money(entry.amount, entry.currency)
    paid = None
    if entry.currency != home:
        if not entry.charged.strip():
            abroad = exact(amount, entry.currency)
            message = f"Say what left your account in {home} for these {abroad}, under the amount."
            raise LedgerError(message)
        paid = (parse_money(entry.charged, home), home)
    total = paid[0] if paid else amount
    names = lines_to_pay(view)
    splits = split_parts(entry.parts, total, home, entry.way, _estimates(view, entry.way), names)
    return NewReceipt(
        date, entry.supplier, amount, entry.currency, tuple(splits), entry.note, paid,
        cast(ReceiptKind, entry.kind), f"form:{entry.key}", entry.against, entry.apart,
    )  # fmt: skip


def _ask_which_shop(entry: Entry, like: Odd | None, titles: Mapping[str, str], currency: str) -> None:
    """Ask whether the supplier is the one called like it, with whom a price is agreed; see `_which_shop`.

    Raises
    ------
    UnusualError
        The question; the form asks it from its next run on.
    """
    if like is None or st.session_state.get(f"{entry.key}-another-shop") == entry.supplier:
        return
    asked = same_shop_question(like, titles, currency)
    st.session_state[f"{entry.key}-like"] = (entry.supplier, like.supplier, asked)
    raise UnusualError(asked)


def _which_shop(entry: Entry) -> bool:
    """Draw what was asked about a supplier's name, with a button for either answer; tell whether one was pressed."""
    if st.session_state.pop(f"{entry.key}-shop-said", False):
        return True
    typed, agreed, asked = st.session_state.get(f"{entry.key}-like", ("", "", ""))
    if not asked or typed != entry.supplier:
        return False
    st.warning(safe(f"{asked} Nothing is entered yet."))
    with st.container(horizontal=True):
        for label, field, value in (
            ("The same shop", "supplier", agreed), ("Another shop", "another-shop", typed),
        ):  # fmt: skip
            st.button(
                label, key=f"{entry.key}-say-{field}", on_click=calmly(_say_which_shop),
                args=(entry.key, field, value),
            )  # fmt: skip
    return False


def _say_which_shop(key: str, field: str, value: str) -> None:
    """Take the name under which a price is agreed, or keep that it is another shop; the receipt is saved with it."""
    st.session_state.pop(f"{key}-like", None)
    st.session_state.update({f"{key}-{field}": value, f"{key}-shop-said": True})


def _save(view: Opened, entry: Entry, *, meant: bool = False) -> Done:
    """Enter a receipt with its documents and what was answered of its lines, all or nothing."""
    entry, added = _with_line(view, entry)
    new, titles, build = checked(_new(view, entry)), view.titles(), view.build
    for document in entry.documents:
        check_document(document.name, document.content)
    new_lines = () if added is None else (added,)
    asked = question(build, view.ledger, new, titles, new_lines, like=False)
    odds = oddities(build, view.ledger, new, new_lines)
    _ask_which_shop(
        entry, next((odd for odd in odds if odd.kind == "called-like"), None), titles, view.currency
    )
    if any(odd.kind == "agreed-later" for odd in odds):
        asked += (
            f" If it is part of it, choose that price at \u201c{_AGAINST}\u201d under \u201c{_REST}\u201d."
        )
    settles = [name for name, is_all in entry.answers if is_all]
    asked = " ".join(filter(None, (asked, tenth_question(build, view.ledger, new, settles))))
    ask_first(asked, entry.key, meant=meant)
    ledger = view.ledger_to_write()
    if added is not None:
        build = parse_build(edit_build(view.folder.build_file, [added]), str(view.folder.build_file))
        titles = titles_of(build, view.scenario)
    with ledger.together():
        entered = enter_receipt(ledger, build, new, dict(entry.answers))
        for document in entry.documents:
            attach_file(ledger, entered.receipt.id, document.name, document.content)
    whole = receipt_words(
        entered, build, ledger, titles, view.scenario, added=[] if added is None else [str(added.table["id"])],
        documents=[document.name for document in entry.documents],
        shared=len(entry.parts) > 1 and not all(text.strip() for _, text in entry.parts),
    )  # fmt: skip
    sold = build.income.issuperset(split.line_id for split in entered.receipt.splits)
    closed = closed_words(
        entered.closed, (), titles, view.currency, income=build.income.intersection(entered.closed)
    )
    short = f"{ended(f'Saved: {paid_words(entered.receipt, sold=sold)}')} {closed}".rstrip()
    return Done(short, whole)


def split_parts(
    parts: tuple[tuple[str, str], ...],
    total: int,
    currency: str,
    way: Way = "evenly",
    estimates: Mapping[str, float] | None = None,
    names: Mapping[str, str] | None = None,
) -> list[tuple[str, int]]:
    """Read the parts of a receipt; those left empty share the rest.

    Raises
    ------
    LedgerError
        If a part is no amount, or nothing is left to share.
    """
    given = {line: parse_money(text, currency) for line, text in parts if text.strip()}
    empty = [line for line, text in parts if not text.strip()]
    found = dict(shared_out(total, given, empty, way, estimates, names)) if empty else given
    return [(line, found[line]) for line, _ in parts]
