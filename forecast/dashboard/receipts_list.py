"""The list of what was paid, by line or by day; each receipt opened with its parts and documents, or taken back."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence

import streamlit as st

from forecast.dashboard.layout import calmly, safe, table, tell, text
from forecast.dashboard.printing import screen_only
from forecast.dashboard.receipt_form import DOCUMENT_TYPES, KINDS
from forecast.dashboard.receipts_news import enter, keep_news, news, next_turn, turn_of
from forecast.dashboard.receipts_settle import close_now
from forecast.dashboard.state import Opened
from forecast.errors import ForecastError, LedgerError
from forecast.ledger import AttachedFile, EveryReceipt, Receipt
from forecast.ledger.attachments import attach_file, attachment_path, document_type
from forecast.ledger.receipts_csv import receipts_csv
from forecast.ledger.receipts_xlsx import receipts_xlsx
from forecast.tables.files import open_regular
from forecast.views.settling_words import state_words, taken_back_words
from forecast.views.undone_words import undone_words
from forecast.watching.reforecast import Reforecast
from forecast.watching.settling import void_receipt
from forecast.words.day_words import short_day
from forecast.words.money import exact
from forecast.words.text import STRONG, ended

MOST = 100
"""Receipts that can be chosen from in one go, or stand on paper; others are found by a word."""
MOST_ROWS = 30
"""Rows to open that are drawn in one go."""
_ROWS = """<style>
.st-key-paid-days { gap: 0.3rem; }
.st-key-paid-days [class*="st-key-row-receipt-"] button { min-height: 44px; }
.st-key-paid-days [class*="st-key-row-receipt-"] button :not(p, p *) { width: 100%; text-align: left; }
.st-key-paid-days [class*="st-key-row-receipt-"] button p { display: grid; width: 100%; align-items: baseline;
  grid-template-columns: 6.8rem minmax(8rem, 11rem) 1fr auto; gap: 0 0.9rem; }
.st-key-paid-days [class*="st-key-row-receipt-"] button p em { font-style: normal; grid-row: 1; grid-column: 1; }
.st-key-paid-days [class*="st-key-row-receipt-"] button p strong { grid-row: 1; grid-column: 2; }
.st-key-paid-days [class*="st-key-row-receipt-"] button p code { grid-row: 1; grid-column: 4; text-align: right;
  font: inherit; color: inherit; background: none; padding: 0; }
.st-key-paid-days [class*="st-key-row-receipt-taken-"] button p { text-decoration: line-through; opacity: 0.75; }
.st-key-on-paper { display: none; }
@media print { .st-key-on-paper { display: block !important; } }
@media (max-width: 640px) {
  .st-key-paid-days [class*="st-key-row-receipt-"] button p { grid-template-columns: 1fr auto; }
  .st-key-paid-days [class*="st-key-row-receipt-"] button p code { grid-column: 2; }
  .st-key-paid-days [class*="st-key-row-receipt-"] button p strong { grid-row: 2; grid-column: 1 / -1; }
  .st-key-paid-days [class*="st-key-row-receipt-"] button p { grid-auto-flow: row; }
}
</style>"""
_SHOWN_BY_BROWSERS = ("image/jpeg", "image/png", "image/gif", "image/webp")
_XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


def by_day(
    view: Opened,
    receipts: EveryReceipt,
    wanted: str,
    documents: Mapping[int, Sequence[AttachedFile]],
    watch: Reforecast | None,
    *,
    every: bool,
) -> None:
    """Draw the receipts, the latest first, each opened where it stands with what can be done to it.

    Parameters
    ----------
    view : Opened
    receipts : EveryReceipt
    wanted : str
        A word to find.
    documents : mapping
        Of receipts, by their number.
    watch : Reforecast or None
        What is known of each line; None where nothing can be forecast.
    every : bool
        Whether what was taken back is shown too.
    """
    news("list")
    titles = view.titles()
    gone = {one.voids: f"Taken back: {one.note}" for one in receipts.receipts if one.voids is not None}
    undone = {number: undone_words(moment) for number, moment in receipts.undone.items()}
    gone |= {number: f"{words[:1].upper()}{words[1:]}" for number, words in undone.items()}
    listed = [
        one for one in reversed(receipts.receipts) if one.voids is None and (every or receipts.stands(one))
    ]
    found = [one for one in listed if matches(one, wanted, titles, documents)]
    if not found:
        text("No receipt has that word." if wanted else "No receipt stands here.")
        return
    states = _states(view, found, watch, receipts)
    st.html(_ROWS)
    chosen = found[0].id if len(found) == 1 else st.session_state.get("open-receipt")
    with screen_only("receipts"), st.container(key="paid-days"):
        for receipt in found[: so_many_rows("receipts", len(found))]:
            _row(
                view,
                receipt,
                titles,
                states[receipt.id],
                opened=receipt.id == chosen,
                gone=receipt.id in gone,
            )
            if receipt.id == chosen:
                with st.container(border=True, key="the-receipt"):
                    _opened(view, receipt, titles, documents, gone)
        show_all_rows("receipts", len(found), f"The latest {MOST_ROWS}")
    with st.container(key="on-paper"):
        _table(view, found, len(listed), titles, documents, gone, states)


def so_many_rows(kind: str, count: int) -> int:
    """Give how many rows of a list are drawn: the first ones, or all where that was asked for."""
    return count if st.session_state.get(f"all-{kind}") else MOST_ROWS


def show_all_rows(kind: str, count: int, shown: str) -> None:
    """Say how many of a long list are drawn, and offer all."""
    if count <= so_many_rows(kind, count):
        return
    text(f"{shown} of these {count} are shown; find others by a word.")
    st.button(
        f"Show all {count}", key=f"show-all-{kind}", type="tertiary", on_click=calmly(_show_all), args=(kind,)
    )


def _show_all(kind: str) -> None:
    st.session_state[f"all-{kind}"] = True


def _states(
    view: Opened, shown: Sequence[Receipt], watch: Reforecast | None, receipts: EveryReceipt
) -> dict[int, str]:
    """Say how each receipt stands: what it is where it is no plain payment, and whether it is all for its lines."""
    closed = view.ledger.closed_lines() if view.ledger is not None else frozenset()
    known = {} if watch is None else {line.id: line for line in watch.lines}
    found = {}
    for receipt in shown:
        lines = list(dict.fromkeys(split.line_id for split in receipt.splits))
        told = {"refund": ["refund"], "deposit": ["deposit"], "balance": ["balance"]}.get(receipt.kind, [])
        done = sum(line in closed for line in lines)
        if receipt.id in receipts.undone:
            told.append(undone_words(receipts.undone[receipt.id]))
        elif receipt.voided_by is not None:
            told.append("taken back")
        elif len(lines) > 1:
            told.append(f"{done} of {len(lines)} lines closed" if done else "none of its lines closed")
        elif done:
            told.append("closed")
        elif lines[0] in known:
            told.append(state_words(known[lines[0]]))
        found[receipt.id] = ", ".join(filter(None, told))
    return found


def _row(
    view: Opened, receipt: Receipt, titles: Mapping[str, str], state: str, *, opened: bool, gone: bool
) -> None:
    """Draw day, supplier, lines and state, and the sum as a row that opens."""
    lines = ", ".join(dict.fromkeys(titles.get(split.line_id, split.line_id) for split in receipt.splits))
    foreign = (
        f" ({exact(receipt.amount_minor, receipt.currency)})" if receipt.charged_minor is not None else ""
    )
    sign = "\u25be" if opened else "\u25b8"
    number = f"no.\u00a0{receipt.id}"  # as the terminal calls it
    beside = safe(" \u00b7 ".join(filter(None, (lines, state, number))))
    label = (
        f"*{sign}\u2002{short_day(receipt.date)}* **{safe(receipt.supplier)}** {beside} "
        f"`{exact(receipt.paid_minor, view.currency)}{foreign}`"
    )
    key = f"row-receipt-{'taken-' if gone else ''}{receipt.id}"
    if st.button(label, key=key, width="stretch"):
        st.session_state["open-receipt"] = None if opened else receipt.id
        st.rerun()


def documents_of(view: Opened) -> dict[int, list[AttachedFile]]:
    """Give the documents of each receipt that has any."""
    found: dict[int, list[AttachedFile]] = {}
    for item in view.ledger.attachments() if view.ledger is not None else ():
        found.setdefault(item.receipt_id, []).append(item)
    return found


def matches(
    receipt: Receipt,
    wanted: str,
    titles: Mapping[str, str],
    documents: Mapping[int, Sequence[AttachedFile]],
) -> bool:
    """Tell whether a receipt has a word: its supplier, day, lines, note, number, or the name of a document."""
    words = [
        str(receipt.id),
        receipt.date.isoformat(),
        short_day(receipt.date),
        receipt.supplier,
        receipt.note,
    ]
    words += [titles.get(split.line_id, split.line_id) for split in receipt.splits]
    words += [item.name for item in documents.get(receipt.id, ())]
    return wanted.strip().casefold() in " ".join(words).replace("\u00a0", " ").casefold()


def _table(
    view: Opened,
    found: Sequence[Receipt],
    count: int,
    titles: Mapping[str, str],
    documents: Mapping[int, Sequence[AttachedFile]],
    gone: Mapping[int, str],
    states: Mapping[int, str],
) -> None:
    rows: list[list[str]] = []
    struck: list[int] = []
    for receipt in found[:MOST]:
        if receipt.id in gone:
            struck.append(len(rows))
        parts = ", ".join(
            titles.get(split.line_id, split.line_id)
            + (f" {exact(split.amount_minor, view.currency)}" if len(receipt.splits) > 1 else "")
            for split in receipt.splits
        )
        foreign = (
            f" ({exact(receipt.amount_minor, receipt.currency)})" if receipt.charged_minor is not None else ""
        )
        remarks = [
            f"{states[receipt.id][:1].upper()}{states[receipt.id][1:]}",
            receipt.note,
            *(item.name for item in documents.get(receipt.id, ())),
        ]
        if receipt.voided_by is not None:
            remarks.append(gone[receipt.id])
        rows.append(
            [
                f"{receipt.id}\u00a0\u00a0{short_day(receipt.date)}",
                exact(receipt.paid_minor, view.currency) + foreign,
                receipt.supplier,
                parts,
                ". ".join(remark.rstrip(".") for remark in remarks if remark),
            ]
        )
    shown = "Receipts, the latest first"
    if len(found) > MOST:
        shown = f"The latest {MOST} of {len(found)} receipts; find others by a word"
    elif len(found) < count:
        shown = f"{len(found)} of {count} receipts, the latest first"
    table(
        ["No. and date", "Amount", "Supplier", "Lines", "State, note, documents"],
        rows,
        shown,
        right_text=3,
        struck=struck,
        stacked=True,
    )


def one_receipt(
    view: Opened,
    receipts: Sequence[Receipt],
    titles: Mapping[str, str],
    documents: Mapping[int, Sequence[AttachedFile]],
    gone: Mapping[int, str],
) -> None:
    """Choose one of these receipts and look at it, add a photo or PDF, or take it back."""
    news("list")
    by_id = {receipt.id: receipt for receipt in receipts}

    def words(number: int) -> str:
        one = by_id[number]
        return f"{number}  {short_day(one.date)}  {one.supplier}  {exact(one.paid_minor, view.currency)}"

    chosen = st.selectbox(
        "Receipt", list(by_id), index=0 if len(by_id) == 1 else None, format_func=words,
        key=f"which-{min(by_id)}-{len(by_id)}", placeholder="Look at one, add a photo, or take it back",
    )  # fmt: skip
    if chosen is None:
        return
    _opened(view, by_id[int(chosen)], titles, documents, gone)


def _opened(
    view: Opened,
    receipt: Receipt,
    titles: Mapping[str, str],
    documents: Mapping[int, Sequence[AttachedFile]],
    gone: Mapping[int, str],
) -> None:
    """Draw all of a receipt, and what can be done to it: its lines closed, a document kept with it, it taken back."""
    text(_story(view, receipt, gone))
    if len(receipt.splits) > 1:
        parts = [
            [titles.get(split.line_id, split.line_id), exact(split.amount_minor, view.currency)]
            for split in receipt.splits
        ]
        parts.append(["Together", exact(receipt.paid_minor, view.currency)])
        table(["Line", "Part"], parts, f"Parts of receipt {receipt.id}", last_is_sum=True)
    for item in documents.get(receipt.id, ()):
        _document(view, item)
    if receipt.id in gone:
        return
    _close_lines(view, receipt)
    _attach(view, receipt)
    _take_back(view, receipt)


def _story(view: Opened, receipt: Receipt, gone: Mapping[int, str]) -> str:
    """Say all that is known of a receipt beside its parts."""
    told = f"{KINDS.get(receipt.kind, receipt.kind)} on {short_day(receipt.date)}: "
    told += f"{STRONG}{exact(receipt.paid_minor, view.currency)}{STRONG} at {receipt.supplier}"
    if receipt.rate is not None:
        told += (
            f", for {exact(receipt.amount_minor, receipt.currency)}: 1 {receipt.currency} came to "
            f"{receipt.rate:.6g} {receipt.paid_currency}, card fees included"
        )
    told = ended(told)
    if receipt.commitment_id is not None:
        told += f" Paid against commitment {receipt.commitment_id}."
    if receipt.note:
        told += f" {ended(receipt.note)}"
    entered = receipt.recorded_at.astimezone()
    told += f" Entered by {receipt.who} on {short_day(entered.date())} at {entered:%H:%M}."
    if receipt.id in gone:
        told += ended(f" {gone[receipt.id]}")
    return told


def _document(view: Opened, item: AttachedFile) -> None:
    """Show a picture and offer every document for download."""
    assert view.ledger is not None
    try:
        with open_regular(attachment_path(view.ledger, item)) as file:
            content = file.read()
    except (ForecastError, OSError) as error:
        tell(error if isinstance(error, ForecastError) else LedgerError(f"{item.name}: {error.strerror}"))
        return
    kind = document_type(content) or "application/octet-stream"
    if kind in _SHOWN_BY_BROWSERS and _is_whole(content):
        half, _ = st.columns(2)
        half.image(
            content, caption=safe(item.name), width="stretch", alt=f"{item.name} of receipt {item.receipt_id}"
        )
    st.download_button(
        f"Download {safe(item.name)}", content, file_name=item.name, mime=kind, on_click="ignore",
        key=f"document-{item.receipt_id}-{item.sha256[:12]}",
    )  # fmt: skip


def _is_whole(content: bytes) -> bool:
    """Tell whether a picture can be opened; a damaged one can still be downloaded."""
    from PIL import Image

    try:
        with Image.open(io.BytesIO(content)) as picture:
            picture.load()
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError):
        return False
    return True


def _close_lines(view: Opened, receipt: Receipt) -> None:
    """Offer to close those of its lines that are open."""
    closed = view.ledger.closed_lines() if view.ledger is not None else frozenset()
    still_open = list(dict.fromkeys(split.line_id for split in receipt.splits if split.line_id not in closed))
    if not still_open or receipt.paid_minor < 0:
        return
    what = "its line" if len(still_open) == 1 else f"its {len(still_open)} open lines"
    if st.button(f"Close {what}: nothing more will come", key=f"close-lines-of-{receipt.id}"):
        close_now(view, still_open, "list")


def _attach(view: Opened, receipt: Receipt) -> None:
    turn = turn_of("attach")
    sent = st.file_uploader(
        "Photo or PDF to keep with it", type=list(DOCUMENT_TYPES), key=f"attach-{receipt.id}-{turn}",
        max_upload_size=25,
    )  # fmt: skip
    if sent is not None and st.button("Keep it with this receipt", key="attach"):
        try:
            attached = attach_file(view.ledger_to_write(), receipt.id, sent.name, sent.getvalue())
        except ForecastError as error:
            tell(error)
            return
        next_turn("attach")
        keep_news("list", f"{attached.name} is kept with receipt {receipt.id}.")
        st.rerun()


def _take_back(view: Opened, receipt: Receipt) -> None:
    text("A receipt is never deleted: taking it back adds a row that undoes it, with your reason.")
    why = st.text_input(
        "Why", key=f"void-why-{receipt.id}", placeholder="entered twice", max_chars=500, on_change="ignore"
    )
    if st.button("Take it back", key="void"):

        def work() -> str:
            _, lines = void_receipt(view.ledger_to_write(), receipt.id, why or "")
            return f"Receipt {receipt.id} is taken back. {taken_back_words(lines, view.titles())}".rstrip()

        if enter(view, "list", work, undone=True):
            st.rerun()


def downloads(view: Opened, titles: Mapping[str, str]) -> None:
    """Offer the ledger and its receipts as files."""
    ledger = view.ledger
    if ledger is None:
        return
    text(
        "The CSV file holds the whole ledger and can be read back; the spreadsheet holds the receipts, one row for "
        "each part."
    )
    name = view.folder.folder.name
    with st.container(horizontal=True):
        st.download_button(
            "The ledger as CSV", lambda: receipts_csv(ledger), file_name=f"{name}-ledger.csv", mime="text/csv",
            key="ledger-csv", on_click="ignore",
        )  # fmt: skip
        st.download_button(
            "The receipts as XLSX", lambda: receipts_xlsx(ledger, view.currency, titles),
            file_name=f"{name}-receipts.xlsx", mime=_XLSX, key="receipts-xlsx", on_click="ignore",
        )  # fmt: skip
