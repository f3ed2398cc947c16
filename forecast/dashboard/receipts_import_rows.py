"""The rows of a bank's or card's file: which are entered, for which line, and why others are not."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, TypedDict, cast

import streamlit as st

from forecast.dashboard.layout import safe, table, tell, text
from forecast.dashboard.receipt_form import split_parts
from forecast.dashboard.receipts_news import enter, next_turn
from forecast.dashboard.state import Opened
from forecast.errors import LedgerError, NumberError
from forecast.ledger.days import not_ahead
from forecast.tables.sniff import DateOrder, parse_day
from forecast.views.settling_words import imported_words
from forecast.watching.importing import HELD_BACK, ImportPlan, ImportRow, enter_import
from forecast.words.minor_units import format_plain, parse_money
from forecast.words.money import exact
from forecast.words.text import STRONG

ORDERS: tuple[DateOrder, ...] = ("ymd", "dmy", "mdy")
_ALL = {True: "yes", False: "no", None: None}


class RowChoice(TypedDict):
    """What was chosen for one row, and what stands in it where it was mended."""

    enter: bool
    line: str | None
    settled: bool | None
    supplier: str
    sum: str
    date: str


def enter_rows(view: Opened, plan: ImportPlan, names: Mapping[str, str]) -> None:
    """Show what becomes of each row, let it be changed, and enter all of it or nothing."""
    before = plan.of_state("imported")
    rows = [row for row in plan.rows if row.state != "imported"]
    if not rows:
        text(f"All {len(before)} rows of this file were imported before. There is nothing to enter.")
        return
    if plan.bad:
        count = len({one.where.partition(",")[0] for one in plan.bad})
        stays = "row stays" if count == 1 else "rows stay"
        text(f"{STRONG}{count}{STRONG} {stays} out, for what is wrong there. The others can be entered.")
        wrongs = [[one.where, f"{one.found}. {one.mend}".strip()] for one in plan.bad]
        table(["Where", "What is wrong"], wrongs, "Rows that stay out", left=2)
    choices = _grid(plan, rows, names)
    mended, wrong = _mended(rows, choices, plan.preview.currency)
    for told in wrong.values():
        st.error(safe(told))
    splits = _splits(plan, [mended[row.number] for row in rows if row.number not in wrong], choices, names)
    chosen = [mended[row.number] for row in rows if choices[row.number]["enter"] and row.number not in wrong]
    ready = [row for row in chosen if choices[row.number]["line"] is not None or row.number in splits]
    total = sum(_signed(row) for row in ready)
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
                lines={row.number: str(choices[row.number]["line"]) for row in ready if row.number not in splits},
                accept=[row.number for row in ready if row.state in HELD_BACK],
                leave_out=[row.number for row in rows if row.number not in numbers],
                settled={row.number: choices[row.number]["settled"] for row in ready}, build=view.build,
                changed={row.number: row for row in ready},
                splits={row.number: splits[row.number] for row in ready if row.number in splits},
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


def _grid(plan: ImportPlan, rows: list[ImportRow], names: Mapping[str, str]) -> dict[int, RowChoice]:
    """Draw the rows and give what is chosen for each."""
    told = repr([(row.number, row.entry_key, row.state, row.line_id, row.supplier) for row in rows])
    key = f"rows-{hashlib.sha256((plan.preview.table.sha256 + told).encode()).hexdigest()[:16]}"
    memory = f"chosen-{plan.preview.table.sha256}"
    # A grid replays its edits by position, so each plan gets one of its own; what was chosen before, by the row's
    # number, is laid under it.
    if key not in st.session_state or f"base-{key}" not in st.session_state:
        st.session_state[f"base-{key}"] = dict(st.session_state.get(memory, {}))
    chosen = cast(dict[int, RowChoice], st.session_state[f"base-{key}"])
    plain = {
        row.number: RowChoice(
            enter=row.state not in HELD_BACK,
            line=row.line_id,
            settled=row.settled,
            supplier=row.supplier,
            sum=format_plain(_signed(row), row.currency),
            date=row.date.isoformat(),
        )
        for row in rows
    }
    base = {number: chosen.get(number, choice) for number, choice in plain.items()}
    by_title = {title: name for name, title in reversed(list(names.items()))}
    import pandas as pd

    frame = pd.DataFrame(
        {
            "Enter": [base[row.number]["enter"] for row in rows],
            "Line": [names.get(base[row.number]["line"] or "") for row in rows],
            "All?": [_ALL[base[row.number]["settled"]] for row in rows],
            "Supplier": [base[row.number]["supplier"] for row in rows],
            "Sum": [base[row.number]["sum"] for row in rows],
            "Date": [base[row.number]["date"] for row in rows],
            "Why": [_why(row) for row in rows],
            "Row": [row.number for row in rows],
        }
    ).astype({"Line": "object", "All?": "object"})
    edited = st.data_editor(
        frame, key=key, hide_index=True, num_rows="fixed", height=min(420, 70 + 35 * len(rows)),
        disabled=["Why", "Row"], alt="Rows of the file with the line of each",
        placeholder="choose",
        column_config={
            "Enter": st.column_config.CheckboxColumn(width=60),
            "Line": st.column_config.SelectboxColumn(options=list(by_title), width="medium"),
            "All?": st.column_config.SelectboxColumn(
                options=["yes", "no"], width=70,
                help="Yes closes the line, no says that more is to come; empty where you cannot say.",
            ),
            "Supplier": st.column_config.TextColumn(width="medium"),
            "Sum": st.column_config.TextColumn(width="small", alignment="right"),
            "Date": st.column_config.TextColumn(width="small"),
            "Why": st.column_config.TextColumn(width="large"),
            "Row": st.column_config.NumberColumn(width=50),
        },
    )  # fmt: skip
    found: dict[int, RowChoice] = {}
    for row, values in zip(rows, edited.to_dict("records"), strict=True):
        settled = {"yes": True, "no": False}.get(str(values["All?"]))
        found[row.number] = RowChoice(
            enter=bool(values["Enter"]), line=_line(values["Line"], by_title), settled=settled,
            supplier=str(values["Supplier"] or ""), sum=str(values["Sum"] or ""), date=str(values["Date"] or ""),
        )  # fmt: skip
    st.session_state[memory] = {number: choice for number, choice in found.items() if choice != plain[number]}
    return found


def _signed(row: ImportRow) -> int:
    return -row.amount_minor if row.kind == "refund" else row.amount_minor


def _mended(
    rows: Sequence[ImportRow], choices: Mapping[int, RowChoice], currency: str
) -> tuple[dict[int, ImportRow], dict[int, str]]:
    """Read what was mended in the grid; give the rows as they are now, and what is wrong with those that cannot be."""
    mended, wrong = {}, {}
    for row in rows:
        choice = choices[row.number]
        mended[row.number] = row
        try:
            minor = parse_money(choice["sum"], currency)
            days = {day for order in ORDERS if (day := parse_day(choice["date"], order)) is not None}
            if len(days) != 1:
                found = "can mean two days" if days else "is no day"
                message = f"{choice['date']!r} {found}. Write it as 2026-05-31."
                raise LedgerError(message)
            (day,) = days
            not_ahead(day, dt.date.today(), "receipt")
            if not minor or not choice["supplier"].strip():
                message = "the sum is nothing, or the supplier is empty. Correct it, or untick Enter."
                raise LedgerError(message)
        except (LedgerError, NumberError) as error:
            if choice["enter"]:
                wrong[row.number] = f"Row {row.number}: {error}"
            continue
        mended[row.number] = replace(
            row, supplier=choice["supplier"].strip(), amount_minor=abs(minor), date=day,
            kind="payment" if minor > 0 else "refund",
        )  # fmt: skip
    return mended, wrong


def _splits(
    plan: ImportPlan, rows: Sequence[ImportRow], choices: Mapping[int, RowChoice], names: Mapping[str, str]
) -> dict[int, list[tuple[str, int]]]:
    """Let a row pay for several lines; give the parts of each that does."""
    field = f"split-{plan.preview.table.sha256[:12]}"
    by_number = {row.number: row for row in rows if choices[row.number]["enter"]}

    def words(number: int) -> str:
        row = by_number[number]
        return f"Row {number}: {row.supplier}, {exact(_signed(row), row.currency)}"

    several = st.multiselect(
        "Rows that pay for several lines", list(by_number), format_func=words, key=field, select_all=False,
        placeholder="Choose rows to split",
    )  # fmt: skip
    found: dict[int, list[tuple[str, int]]] = {}
    for number in several:
        row = by_number[number]
        lines = st.multiselect(
            f"Lines of row {number}", list(names), format_func=lambda line: names.get(line, line),
            key=f"{field}-{number}-lines", select_all=False, placeholder="Choose two lines or more",
        )  # fmt: skip
        parts = tuple(
            (line, st.text_input(f"{safe(names[line])}, row {number} ({row.currency})", key=f"{field}-{number}-{line}",
                                 placeholder="shares the rest") or "")
            for line in lines
        )  # fmt: skip
        if len(parts) > 1:
            try:
                found[number] = split_parts(parts, row.amount_minor, row.currency, names=names)
            except (LedgerError, NumberError) as error:
                tell(error)
    return found


def _line(value: Any, by_title: Mapping[str, str]) -> str | None:
    return by_title.get(value) if isinstance(value, str) else None


def _why(row: ImportRow) -> str:
    words = {"duplicate": "Held back: ", "taken-back": "Held back: ", "unmatched": "Needs a line: "}
    words["asked"] = "Is that meant: "
    return words.get(row.state, "") + row.why
