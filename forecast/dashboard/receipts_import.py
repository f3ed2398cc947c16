"""Receipts from a bank's or card's file: how it was read, what becomes of each row, and all of it or nothing."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Mapping
from functools import partial
from typing import Any

import streamlit as st

from forecast.dashboard.layout import answer, safe, tell, text, told_plainly
from forecast.dashboard.receipts_import_rows import enter_rows
from forecast.dashboard.receipts_news import keep_news, lines_to_pay, next_turn, turn_of
from forecast.dashboard.state import Opened
from forecast.errors import ForecastError, LedgerError
from forecast.ledger import Ledger
from forecast.ledger.preview import proposed_columns
from forecast.ledger.receipts_csv import is_ledger_text
from forecast.tables.tabular import read_table
from forecast.views.settling_words import called_like_question
from forecast.watching.importing import ImportPlan, Preview, confirm, open_import, plan_import
from forecast.words.text import STRONG

ENCODINGS = ("utf-8", "utf-8-sig", "cp1252", "latin-1", "utf-16")
DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}
DECIMALS = {".": "point, 1234.56", ",": "comma, 1234,56"}
ORDERS = {"ymd": "year, month, day", "dmy": "day, month, year", "mdy": "month, day, year"}
SPENDING = {"negative": "has a minus", "positive": "has no sign"}
ROLES = {
    "date": "Date", "supplier": "Supplier", "amount": "Amount", "debit": "Money out", "credit": "Money in",
    "currency": "Currency", "line": "Line", "note": "Note", "settled": "Is that all?",
}  # fmt: skip


def receipts_as_text(view: Opened) -> bool:
    """Offer to enter the receipts that stand beside the build as text; tell whether there are any."""
    waiting = view.folder.not_entered()
    if waiting is None:
        return False
    answer(f"No receipts here yet: those in {STRONG}{waiting.name}{STRONG} beside the build are not entered.")
    if st.button("Enter them", type="primary", key="receipts-as-text"):
        try:
            view.folder.load()
        except ForecastError as error:
            tell(error)
        else:
            st.rerun()
    return True


@st.fragment
@told_plainly()
def import_file(view: Opened) -> None:
    """Draw the import, step by step as a file is there."""
    turn = turn_of("import")
    known = view.ledger.sources() if view.ledger is not None else ()
    text(
        "Nothing is entered before you say so. A row finds its line by what its supplier was paid for before; what may "
        "be in the list already is held back."
    )
    left, right = st.columns(2)
    source = left.text_input(
        "Your name for the account", value=known[0] if known else "card", key="import-source", max_chars=80,
        help="How its files are laid out is remembered under this name."
        + (f" Known: {', '.join(known)}." if known else ""),
    )  # fmt: skip
    sent = right.file_uploader("CSV or XLSX file", key=f"import-{turn}", max_upload_size=25)
    if sent is None:
        return
    content = sent.getvalue()
    if is_ledger_text(sent.name, content):
        _whole_ledger(view, sent.name, content)
        return
    try:
        if not (source or "").strip():
            message = "account: no name given. Call it card or bank, say."
            raise LedgerError(message)
        ledger = view.ledger_to_write()
        preview = _layout(ledger, sent.name, content, str(source).strip())
        if preview is None:
            return
        names = lines_to_pay(view)
        rest = st.selectbox(
            "Line for the rows that nothing else tells", list(names), index=None,
            format_func=lambda name: names.get(name, name), key="import-rest", placeholder="They wait for a line",
        )  # fmt: skip
        plan_now = partial(
            plan_import, preview, ledger, default_line=rest, legal=names, today=dt.date.today(), build=view.build,
            set_aside=True,
        )  # fmt: skip
        plan = plan_now()
        if plan.like and (same := _same(view, plan)):
            plan = plan_now(same=same)
        enter_rows(view, plan, names)
    except ForecastError as error:
        tell(error)


def _same(view: Opened, plan: ImportPlan) -> dict[str, bool]:
    """Ask once for all rows of a supplier whether that is the one called like it; give what was answered."""
    found = {}
    for one in plan.like:
        yes, no = f"Yes, it is {one.odd.supplier}", "No, it is another one"
        said = st.radio(
            safe(called_like_question(one, view.titles(), view.currency)), (yes, no), index=None, horizontal=True,
            format_func=safe, key=f"same-{plan.preview.table.sha256[:12]}-{one.odd.supplier}",
        )  # fmt: skip
        if said is not None:
            found[one.odd.supplier] = said == yes
    return found


def _whole_ledger(view: Opened, name: str, content: bytes) -> None:
    """Read back what the download of the ledger wrote."""
    try:
        count = len(view.folder.passing_ledger(name, content).list_receipts())
        text(
            f"{STRONG}{name}{STRONG} is a whole ledger, as it is downloaded here, with {count} "
            f"{'receipt' if count == 1 else 'receipts'}. What is in the list already is not entered again."
        )
        if st.button("Enter what is not there", type="primary", key="import-ledger"):
            new = view.folder.load(name, content)
            keep_news("form", f"{new} {'receipt is' if new == 1 else 'receipts are'} new.")
            next_turn("import")
            st.rerun()
    except ForecastError as error:
        tell(error)


def _layout(ledger: Ledger, name: str, content: bytes, source: str) -> Preview | None:
    """Show how the file was read and let all of it be changed; None as long as something is open."""
    key = hashlib.sha256(content + source.encode()).hexdigest()[:12]
    box = st.container()
    usable: dict[str, str] = {}
    table = read_table(name, content=content)
    if table.encoding != "xlsx":
        usable["encoding"] = str(st.session_state.get(f"encoding-{key}") or table.encoding)
        # Cells cannot be told apart before their text can be read.
        table = read_table(name, content=content, encoding=usable["encoding"])
        usable["delimiter"] = str(st.session_state.get(f"delimiter-{key}") or table.delimiter)
    columns, complete = _columns(ledger, name, content, source, usable, key)
    if not complete:
        return None
    found = open_import(name, ledger, source=source, content=content, columns=columns, **usable)
    decided: dict[str, Any] = {}
    with box:
        was = "as it was confirmed before" if _as_before(found, ledger, columns) else "as recognised"
        st.markdown(f"**How it was read**, {was}; change what is wrong.")
        for question in found.questions.values():
            st.warning(question)
        first, second, third = st.columns(3)
        if found.layout.encoding != "xlsx":
            encodings = list(dict.fromkeys((found.layout.encoding, *ENCODINGS)))
            first.selectbox(
                "Encoding", encodings, index=encodings.index(found.layout.encoding), key=f"encoding-{key}"
            )
            marks = list(dict.fromkeys((found.layout.delimiter, *DELIMITERS)))
            second.selectbox(
                "Between cells", marks, index=marks.index(found.layout.delimiter), key=f"delimiter-{key}",
                format_func=lambda mark: DELIMITERS.get(mark, mark),
            )  # fmt: skip
        fields: tuple[tuple[Any, str, str, Mapping[str, str]], ...] = (
            (third, "decimal", "Decimal mark", DECIMALS),
            (first, "date_order", "Dates are written", ORDERS),
            (second, "spending", "Money spent", SPENDING),
        )
        for place, field, label, words in fields:
            guess = getattr(found.layout, field)
            answer = place.selectbox(
                label, list(words), key=f"{field}-{key}-{'-'.join(usable.values())}", placeholder="Say which",
                index=None if field in found.questions else list(words).index(guess),
                format_func=words.__getitem__,
            )  # fmt: skip
            if answer is not None:
                decided[field] = answer
        preview = confirm(found, **decided)
        if preview.questions:
            text("Answer what is open above; then the rows are shown.")
            return None
        import pandas as pd  # late: the opening page asks this module whether receipts stand beside the build as text

        sample = preview.sample(3)
        st.caption("The first rows as they stand in the file")
        st.dataframe(
            pd.DataFrame(sample).rename(columns=ROLES).astype(str), hide_index=True, width="stretch",
            key=f"sample-{key}", alt="The first rows of the file by what each column holds",
        )  # fmt: skip
    return preview


def _as_before(found: Preview, ledger: Ledger, columns: Mapping[str, str]) -> bool:
    kept = ledger.source(found.source)
    return kept is not None and kept.get("columns") == dict(columns)


def _columns(
    ledger: Ledger, name: str, content: bytes, source: str, usable: Mapping[str, str], key: str
) -> tuple[dict[str, str], bool]:
    """Ask which column holds what; tell whether enough is known to go on."""
    headings, proposed = proposed_columns(name, ledger, source=source, content=content, **usable)
    enough = {"date", "supplier"} <= set(proposed) and (
        "amount" in proposed or {"debit", "credit"} <= set(proposed)
    )
    said = ", ".join(
        f"{ROLES[role].lower()} from \u201c{heading}\u201d" for role, heading in proposed.items()
    )
    columns: dict[str, str] = {}
    with st.expander(f"Which column is what: {said or 'nothing was recognised'}", expanded=not enough):
        places = st.columns(4)
        for number, (role, label) in enumerate(ROLES.items()):
            guess = proposed.get(role)
            heading = places[number % 4].selectbox(
                label, list(headings), index=None if guess is None else headings.index(guess),
                key=f"column-{role}-{key}-{'-'.join(usable.values())}", placeholder="none",
            )  # fmt: skip
            if heading is not None:
                columns[role] = heading
    missing = [ROLES[role] for role in ("date", "supplier") if role not in columns]
    if "amount" not in columns and not {"debit", "credit"} <= set(columns):
        missing.append("Amount (or Money out and Money in)")
    if missing:
        st.warning(f"Say which column holds: {', '.join(missing)}.")
    return columns, not missing
