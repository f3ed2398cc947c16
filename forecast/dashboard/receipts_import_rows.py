"""The rows of a bank's or card's file: which are entered, for which line, and why others are not."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from typing import Any, TypedDict, cast

import pandas as pd
import streamlit as st

from forecast.dashboard.layout import text
from forecast.dashboard.receipts_news import enter, next_turn
from forecast.dashboard.state import Opened
from forecast.spending.importing import HELD_BACK, ImportPlan, ImportRow, enter_import
from forecast.spending.money import to_float
from forecast.views.money import exact
from forecast.views.settling import imported_words
from forecast.words.currencies import minor_digits
from forecast.words.text import STRONG

_ALL = {True: "yes", False: "no", None: None}


class Choice(TypedDict):
    """What was chosen for one row."""

    enter: bool
    line: str | None
    settled: bool | None


def enter_rows(view: Opened, plan: ImportPlan, names: Mapping[str, str]) -> None:
    """Show what becomes of each row, let it be changed, and enter all of it or nothing."""
    before = plan.of_state("imported")
    rows = [row for row in plan.rows if row.state != "imported"]
    if not rows:
        text(f"All {len(before)} rows of this file were imported before. There is nothing to enter.")
        return
    choices = _grid(plan, rows, names)
    chosen = [row for row in rows if choices[row.number]["enter"]]
    ready = [row for row in chosen if choices[row.number]["line"] is not None]
    total = sum(-row.amount_minor if row.kind == "refund" else row.amount_minor for row in ready)
    text(
        _sentence(
            len(plan.rows), ready, exact(total, view.currency), len(chosen) - len(ready), rows, len(before)
        )
    )
    noun = "receipt" if len(ready) == 1 else "receipts"
    if st.button(f"Enter {len(ready)} {noun}", type="primary", key="import-enter", disabled=not ready):
        numbers = {row.number for row in ready}

        def work() -> str:
            result = enter_import(
                plan, view.ledger_to_write(),
                lines={row.number: str(choices[row.number]["line"]) for row in ready},
                accept=[row.number for row in ready if row.state in HELD_BACK],
                leave_out=[row.number for row in rows if row.number not in numbers],
                settled={row.number: choices[row.number]["settled"] for row in ready}, build=view.build,
            )  # fmt: skip
            left = len(rows) - len(result.entered)
            words = [f"Entered from {plan.preview.table.name}: {len(result.entered)} {noun}."]
            words.append(f"Left out: {left} {'row' if left == 1 else 'rows'}." if left else "")
            words.append(imported_words(result, view.titles()))
            return " ".join(filter(None, words))

        if enter(view, "form", work):
            next_turn("import")
            st.rerun()


def _sentence(
    count: int, ready: list[ImportRow], total: str, waiting: int, rows: list[ImportRow], before: int
) -> str:
    told = f"{STRONG}{len(ready)} of {count}{STRONG} rows will be entered, {STRONG}{total}{STRONG} in all."
    if waiting:
        told += f" {waiting} {'waits' if waiting == 1 else 'wait'} for a line."
    held = sum(row.state in HELD_BACK for row in rows) - sum(row.state in HELD_BACK for row in ready)
    if held:
        told += f" {held} held back: tick Enter where it is a payment of its own."
    if before:
        told += f" Left out as imported before: {before}."
    return told


def _grid(plan: ImportPlan, rows: list[ImportRow], names: Mapping[str, str]) -> dict[int, Choice]:
    """Draw the rows and give what is chosen for each."""
    told = repr([(row.number, row.entry_key, row.state, row.line_id) for row in rows])
    key = f"rows-{hashlib.sha256((plan.preview.table.sha256 + told).encode()).hexdigest()[:16]}"
    memory = f"chosen-{plan.preview.table.sha256}"
    # A grid replays its edits by position, so each plan gets one of its own; what was chosen before, by the row's
    # number, is laid under it.
    if key not in st.session_state or f"base-{key}" not in st.session_state:
        st.session_state[f"base-{key}"] = dict(st.session_state.get(memory, {}))
    chosen = cast(dict[int, Choice], st.session_state[f"base-{key}"])
    plain = {
        row.number: Choice(enter=row.state not in HELD_BACK, line=row.line_id, settled=row.settled)
        for row in rows
    }
    base = {number: chosen.get(number, choice) for number, choice in plain.items()}
    by_title = {title: name for name, title in reversed(list(names.items()))}
    frame = pd.DataFrame(
        {
            "Enter": [base[row.number]["enter"] for row in rows],
            "Line": [names.get(base[row.number]["line"] or "") for row in rows],
            "All?": [_ALL[base[row.number]["settled"]] for row in rows],
            "Supplier": [row.supplier for row in rows],
            "Sum": [
                to_float(-row.amount_minor if row.kind == "refund" else row.amount_minor, row.currency)
                for row in rows
            ],
            "Date": [row.date.isoformat() for row in rows],
            "Why": [_why(row) for row in rows],
            "Row": [row.number for row in rows],
        }
    ).astype({"Line": "object", "All?": "object"})
    edited = st.data_editor(
        frame, key=key, hide_index=True, num_rows="fixed", height=min(420, 70 + 35 * len(rows)),
        disabled=["Supplier", "Sum", "Date", "Why", "Row"], alt="Rows of the file with the line of each",
        placeholder="choose",
        column_config={
            "Enter": st.column_config.CheckboxColumn(width=60),
            "Line": st.column_config.SelectboxColumn(options=list(by_title), width="medium"),
            "All?": st.column_config.SelectboxColumn(
                options=["yes", "no"], width=70,
                help="Yes closes the line, no says that more is to come; empty where you cannot say.",
            ),
            "Supplier": st.column_config.TextColumn(width="medium"),
            "Sum": st.column_config.NumberColumn(
                width="small", format=f"%.{minor_digits(plan.preview.currency)}f"
            ),
            "Date": st.column_config.TextColumn(width="small"),
            "Why": st.column_config.TextColumn(width="large"),
            "Row": st.column_config.NumberColumn(width=50),
        },
    )  # fmt: skip
    found: dict[int, Choice] = {}
    for row, values in zip(rows, edited.to_dict("records"), strict=True):
        settled = {"yes": True, "no": False}.get(str(values["All?"]))
        found[row.number] = Choice(
            enter=bool(values["Enter"]), line=_line(values["Line"], by_title), settled=settled
        )
    st.session_state[memory] = {number: choice for number, choice in found.items() if choice != plain[number]}
    return found


def _line(value: Any, by_title: Mapping[str, str]) -> str | None:
    return None if value is None or pd.isna(value) else by_title.get(str(value))


def _why(row: ImportRow) -> str:
    words = {"duplicate": "Held back: ", "taken-back": "Held back: ", "unmatched": "Needs a line: "}
    words["asked"] = "Is that meant: "
    return words.get(row.state, "") + row.why
