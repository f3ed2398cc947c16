"""What a photo, PDF or electronic invoice says goes into the form of a receipt: proposed, saved by the builder only."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any

import streamlit as st

from forecast.dashboard.layout import safe, table, text
from forecast.dashboard.receipts_news import day_words
from forecast.dashboard.state import Opened
from forecast.errors import LedgerError
from forecast.ledger.matching import SupplierHistory
from forecast.ledger.papers.paper import Paper
from forecast.ledger.papers.read import read_paper
from forecast.views.paper_words import found_nothing, paper_rows, paper_sentence


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
            "Which day is meant?", paper.days, index=None, format_func=day_words, horizontal=True, key=field,
            on_change=take,
        )  # fmt: skip


__all__ = ["currencies", "fill_in"]
