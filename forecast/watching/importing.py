"""Importing a bank's or card's file: recognise, confirm, match, and enter all of it or nothing.

::

    preview = open_import("june.csv", ledger, source="card")     what was recognised, and what is to be decided
    preview = confirm(preview, date_order="dmy")                 the builder decides
    plan = plan_import(preview, ledger)                          every row with its line, or why it is held
    back result = enter_import(plan, ledger, lines={7: "primer"})     all or nothing

Importing the same file again, or one that overlaps it, enters nothing twice: a row is told by its source,
day, sum, text and how many equal rows stand above it.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date, timedelta
from decimal import Decimal
from typing import Literal

from forecast.buildfile.checks import nearest
from forecast.buildfile.schema import Build
from forecast.errors import MOST_MISTAKES, ImportRefusedError, LedgerError, NumberError, Problem
from forecast.ledger import Ledger, NewReceipt, Receipt
from forecast.ledger.matching import Duplicates, Match, SupplierHistory, key_prefix
from forecast.ledger.preview import Layout, Preview, column_numbers, confirm, open_import, payments
from forecast.ledger.undoing import UNDONE
from forecast.tables.sniff import Cell, is_settled, parse_day
from forecast.watching.estimates import every_high, unusual
from forecast.watching.oddities import Odd, agreed_later, agreed_later_words, called_like
from forecast.watching.settling import enter_receipts, titles_of
from forecast.words.day_words import short_day
from forecast.words.minor_units import format_plain, from_decimal, parse_money

__all__ = [
    "ImportPlan",
    "ImportResult",
    "ImportRow",
    "Layout",
    "Preview",
    "confirm",
    "enter_import",
    "open_import",
    "plan_import",
]

RowState = Literal["new", "imported", "duplicate", "unmatched", "taken-back", "asked"]
HELD_BACK: tuple[RowState, ...] = ("duplicate", "taken-back", "asked")
"""Rows entered only when the builder says so for each."""


@dataclass(frozen=True)
class ImportRow:
    """One payment of the file.

    Attributes
    ----------
    number : int
        Row of the file, from 1, headings counted.
    amount_minor : int
        As it will be entered: above zero.
    kind : {"payment", "refund"}
        Which way the money went.
    line_id : str or None
        The line it was matched to.
    state : {"new", "imported", "duplicate", "unmatched", "taken-back", "asked"}
        Will be entered; was entered by an earlier import; held back as probably entered by hand; held back
        until somebody says which line it is for; held back as imported before and taken back since; held back as odd:
        for an event that was said to be impossible, more money back than was paid, far above its line's high, older
        than the price that is agreed for its line, or of a supplier called like one with whom a price is agreed.
    why : str
        The reason, in words.
    settled : bool or None
        Whether it is all for its line, more is to come, or nothing is said.
    """

    number: int
    date: date
    supplier: str
    amount_minor: int
    currency: str
    kind: Literal["payment", "refund"]
    note: str
    entry_key: str
    line_id: str | None
    state: RowState
    why: str
    settled: bool | None = None


@dataclass(frozen=True)
class CalledLike:
    """Rows of suppliers who are called as one with whom a price is agreed: one question for all of them.

    Attributes
    ----------
    odd : Odd
        As it is found for a receipt that is entered by hand, for the first of the rows.
    names : tuple of str
        What the file calls them: a bank adds numbers and places.
    rows : tuple of int
        Their numbers.
    """

    odd: Odd
    names: tuple[str, ...]
    rows: tuple[int, ...]


@dataclass(frozen=True)
class ImportPlan:
    """All rows of a file with what will become of each, and what is wrong with those that stay out.

    In ``like`` stand suppliers who may be one with whom a price is agreed, whether that was answered or not.
    """

    preview: Preview
    rows: tuple[ImportRow, ...]
    bad: tuple[Problem, ...] = ()
    like: tuple[CalledLike, ...] = ()

    def of_state(self, state: RowState) -> tuple[ImportRow, ...]:
        """Give the rows in one state."""
        return tuple(row for row in self.rows if row.state == state)


@dataclass(frozen=True)
class ImportResult:
    """What an import did: receipts entered, rows that were not, by why, and what follows for lines.

    Lines in ``closed`` are closed now, of those in ``more`` more is to come.
    """

    entered: tuple[Receipt, ...]
    already_imported: tuple[ImportRow, ...]
    held_back: tuple[ImportRow, ...]
    unmatched: tuple[ImportRow, ...]
    closed: tuple[str, ...] = ()
    more: tuple[str, ...] = ()


def plan_import(
    preview: Preview,
    ledger: Ledger,
    *,
    default_line: str | None = None,
    legal: Collection[str] | None = None,
    today: date | None = None,
    build: Build | None = None,
    set_aside: bool = False,
    same: Mapping[str, bool] | None = None,
) -> ImportPlan:
    """Read every row, match it to a line and find those that are in the ledger already; nothing is entered.

    Parameters
    ----------
    preview : Preview
        With every question answered.
    ledger : Ledger
        The ledger.
    default_line : str, optional
        For rows whose supplier's past tells nothing.
    legal : collection of str, optional
        The build's lines and events; a file that names another is refused.
    today : date, optional
        Rows dated later than the day after it are refused.
    build : Build, optional
        Rows far above anything that their line was thought to cost are asked about.
    set_aside : bool
        Whether rows that cannot be read stay out, each named, and the good ones are planned all the same. A file of
        which no row can be read is refused either way.
    same : mapping of str to bool, optional
        By the supplier with whom a price is agreed: whether those called like it are this one, whose name their rows
        then get. Rows of which it is not said yet are held back.

    Raises
    ------
    ImportRefusedError
        If any row cannot be read; every such row is named.
    LedgerError
        If a question is open.
    """
    if preview.questions:
        message = f"{preview.table.name}: {' '.join(preview.questions.values())}"
        raise LedgerError(message)
    read, bad = _read_rows(preview, ledger.currency or preview.currency, legal, today)
    if bad and (not set_aside or not read):
        heading = f"{preview.table.name}: nothing was imported"
        raise ImportRefusedError(heading, bad)
    rows = _placed(read, preview, ledger, default_line, legal)
    like, answers = _called_like(rows, ledger), same or {}
    names = {name: one.odd.supplier for one in like if answers.get(one.odd.supplier) for name in one.names}
    if names:
        renamed = [replace(row, supplier=names.get(row.supplier, row.supplier)) for row in read]
        rows = _placed(renamed, preview, ledger, default_line, legal)
    rows = list(_asked_about(rows, ledger, build))
    open_ = {number: one.odd for one in like if one.odd.supplier not in answers for number in one.rows}
    for place, row in enumerate(rows):
        if row.number in open_ and row.state in ("new", "unmatched", "asked"):
            told = [row.why] if row.state == "asked" else []
            told.append(f"called like {open_[row.number].supplier}, with whom a price is agreed")
            rows[place] = replace(row, state="asked", why="; ".join(told))
    return ImportPlan(preview, tuple(rows), tuple(bad), like)


def _placed(
    read: Sequence[ImportRow],
    preview: Preview,
    ledger: Ledger,
    default_line: str | None,
    legal: Collection[str] | None,
) -> list[ImportRow]:
    """Match rows to lines, and find those that are in the ledger already."""
    history = SupplierHistory(ledger.lines_by_supplier())
    receipts = ledger.list_receipts(include_void=True)
    standing = [receipt for receipt in receipts if receipt.voids is None and receipt.voided_by is None]
    duplicates = Duplicates(standing, preview.source)
    known = _Known(receipts)
    rows: list[ImportRow] = []
    for found in read:
        row, state, why = known.place(found)
        match = history.match(row.supplier)
        if legal is not None and match.line_id is not None and match.line_id not in legal:
            match = Match(None, f"earlier receipts were for {match.line_id!r}, which is no line any more")
        line_id = row.line_id or match.line_id or default_line
        signed = -row.amount_minor if row.kind == "refund" else row.amount_minor
        if state != "new":
            rows.append(replace(row, line_id=line_id, state=state, why=why))
        elif (twin := duplicates.claim(row.date, signed, row.currency)) is not None:
            why = f"same sum as receipt {twin.id} of {twin.supplier}, {short_day(twin.date)}"
            rows.append(replace(row, line_id=line_id, state="duplicate", why=why))
        elif line_id is None:
            rows.append(replace(row, state="unmatched", why=match.why))
        else:
            said = (
                "the file says so"
                if row.line_id
                else match.why
                if match.line_id
                else "the line given for the rest"
            )
            rows.append(replace(row, line_id=line_id, state="new", why=said))
    return rows


def _called_like(rows: Sequence[ImportRow], ledger: Ledger) -> tuple[CalledLike, ...]:
    """Find suppliers of rows that may be entered who are called as one with whom a price is agreed.

    A row that has no line yet may be for any line for which one is.
    """
    agreed = [one for one in ledger.list_commitments() if one.outstanding_minor]
    lines = tuple(dict.fromkeys(one.line_id for one in agreed))
    found: dict[str, tuple[Odd, list[ImportRow]]] = {}
    for row in rows:
        if row.kind == "refund" or row.state not in ("new", "unmatched"):
            continue
        for line in lines if row.line_id is None else (row.line_id,):
            fits = row.line_id is None or ledger.counts_against(_entry(row, None)) is None
            if fits and (odd := called_like(row.supplier, line, agreed)) is not None:
                found.setdefault(odd.supplier, (odd, []))[1].append(row)
                break
    return tuple(
        CalledLike(
            odd, tuple(dict.fromkeys(row.supplier for row in theirs)), tuple(row.number for row in theirs)
        )
        for odd, theirs in found.values()
    )


def _asked_about(rows: list[ImportRow], ledger: Ledger, build: Build | None) -> tuple[ImportRow, ...]:
    """Hold back what is odd among the rows that would be entered, looked at in the order of their days."""
    highs = every_high(build) if build is not None else {}
    titles = (
        {} if build is None else {name: f"\u201c{title}\u201d" for name, title in titles_of(build).items()}
    )
    paid, marks = ledger.paid_by_line(), ledger.event_states()
    agreed = {one.line_id for one in ledger.list_commitments() if one.outstanding_minor}
    asked: dict[int, str] = {}
    for row in sorted(rows, key=lambda row: row.date):
        if row.state != "new" or row.line_id is None:
            continue
        name, so_far = row.line_id, paid.get(row.line_id, 0)
        if row.kind == "refund" and row.amount_minor > max(0, so_far):
            asked[row.number] = f"more comes back for {name!r} than was paid"
            continue
        if row.kind == "payment" and name in marks and marks[name].state == "cannot-happen":
            asked[row.number] = (
                f"on {short_day(marks[name].date)} you said that {name!r} cannot happen any more"
            )
        if build is not None and row.currency == build.build.currency:
            for odd in unusual(build, [(name, row.amount_minor)], highs):
                asked[row.number] = f"the most you expected for {odd.title} was about {odd.high:,.0f}"
        if name in agreed and (late := agreed_later(ledger, _entry(row, None))) is not None:
            words = agreed_later_words(late, titles.get(name, repr(name)), row.currency)
            told = [asked[row.number]] if row.number in asked else []
            told.append(f"{words}. To count it against that price, leave it out and enter it by hand")
            asked[row.number] = "; ".join(told)
        paid[name] = so_far + (-row.amount_minor if row.kind == "refund" else row.amount_minor)
    return tuple(
        replace(row, state="asked", why=asked[row.number]) if row.number in asked else row for row in rows
    )


def enter_import(
    plan: ImportPlan,
    ledger: Ledger,
    *,
    lines: Mapping[int, str] | None = None,
    accept: Collection[int] = (),
    leave_out: Collection[int] = (),
    settled: Mapping[int, bool | None] | None = None,
    build: Build | None = None,
    changed: Mapping[int, ImportRow] | None = None,
    splits: Mapping[int, Sequence[tuple[str, int]]] | None = None,
) -> ImportResult:
    """Enter the rows of a plan in one transaction, and remember the file's layout for its source.

    Parameters
    ----------
    plan : ImportPlan
        From ``plan_import``.
    ledger : Ledger
        The ledger.
    lines : mapping of int to str, optional
        Line by row number, for unmatched rows or instead of the match.
    accept : collection of int, optional
        Numbers of probable duplicates that are payments of their own, of rows taken back that are to be
        entered again, and of odd rows that are meant.
    leave_out : collection of int, optional
        Numbers of rows that do not belong to the build.
    settled : mapping of int to (bool or None), optional
        By row number, instead of what the file says: whether it is all for its line.
    build : Build, optional
        How its lines are bought: a payment that pays the price agreed for a line bought once in full closes it.
    changed : mapping of int to ImportRow, optional
        Rows as the builder mended them, by number: another supplier, day, sum or note. They stay known as the rows of
        the file that they were.
    splits : mapping of int to sequence of (str, int), optional
        Lines and parts of rows that pay for several lines, by number.

    Raises
    ------
    LedgerError
        If a number is no row of the plan, or the ledger refuses a row; nothing was entered then.
    """
    chosen = dict(lines or {})
    answers = dict(settled or {})
    mended, parts = dict(changed or {}), dict(splits or {})
    strangers = sorted(
        ({*chosen, *accept, *leave_out, *answers, *mended, *parts}) - {row.number for row in plan.rows}
    )
    if strangers:
        message = f"{plan.preview.table.name}: row {strangers[0]} is no payment of this file. Use the rows' numbers."
        raise LedgerError(message)
    rows = [
        replace(
            mended.get(row.number, row), number=row.number, entry_key=row.entry_key, state=row.state,
            line_id=parts[row.number][0][0] if row.number in parts else chosen.get(row.number, row.line_id),
        )
        for row in plan.rows
    ]  # fmt: skip
    entering = [
        row
        for row in rows
        if row.line_id is not None
        and row.number not in leave_out
        and (row.state in ("new", "unmatched") or (row.state in HELD_BACK and row.number in accept))
    ]
    numbers = {row.number for row in entering}
    preview = plan.preview
    layout = asdict(preview.layout)
    with ledger.together():
        done = enter_receipts(
            ledger, build, [_entry(row, parts.get(row.number)) for row in entering],
            [_answers(row, parts.get(row.number), answers.get(row.number, row.settled)) for row in entering],
        )  # fmt: skip
        entered = tuple(one.receipt for one in done)
        if ledger.source(preview.source) != layout:
            ledger.remember_source(preview.source, layout)
        if entered or not ledger.imported(preview.table.sha256):
            ledger.note_import(preview.table.sha256, preview.table.name, preview.source, len(entered))
    left = [row for row in rows if row.number not in numbers]
    return ImportResult(
        entered,
        tuple(row for row in left if row.state == "imported"),
        tuple(row for row in left if row.state in HELD_BACK),
        tuple(row for row in left if row.state in ("unmatched", "new")),
        tuple(dict.fromkeys(name for one in done for name in one.closed)),
        tuple(dict.fromkeys(name for one in done for name in one.more)),
    )


class _Known:
    """Rows that were imported before, told by their keys; what was undone as a whole counts as never entered."""

    def __init__(self, receipts: Collection[Receipt]) -> None:
        self._by_key = {receipt.entry_key: receipt for receipt in receipts}
        self._voids = {receipt.id: receipt for receipt in receipts if receipt.voids is not None}

    def place(self, row: ImportRow) -> tuple[ImportRow, RowState, str]:
        """Give the row with a key that is free or stands, its state and why."""
        state, why, key = "new", "", row.entry_key
        while (found := self._by_key.get(key)) is not None:
            if found.voided_by is None:
                return row, "imported", "imported before"
            void = self._voids[found.voided_by]
            if void.note != UNDONE:
                state, why = (
                    "taken-back",
                    f"imported before as receipt {found.id} and taken back: {void.note}",
                )
            key = f"{row.entry_key}~{void.id}"
        return replace(row, entry_key=key), state, why  # type: ignore[return-value]  # one of two literals


def _answers(
    row: ImportRow, parts: Sequence[tuple[str, int]] | None, settled: bool | None
) -> dict[str, bool | None]:
    """Give what was said of each of a row's lines; an empty field says nothing."""
    return {} if settled is None else {name: settled for name, _ in parts or [(str(row.line_id), 0)]}


def _entry(row: ImportRow, parts: Sequence[tuple[str, int]] | None) -> NewReceipt:
    splits = ((row.line_id or "", row.amount_minor),) if parts is None else tuple(parts)
    return NewReceipt(
        row.date, row.supplier, row.amount_minor, row.currency, splits, row.note, kind=row.kind,
        entry_key=row.entry_key,
    )  # fmt: skip


def _read_rows(
    preview: Preview, build_currency: str, legal: Collection[str] | None, today: date | None
) -> tuple[list[ImportRow], list[Problem]]:
    """Read all rows; give those that can be read, and what is wrong with the others."""
    index, layout = column_numbers(preview), preview.layout
    problems: list[Problem] = []
    seen: dict[str, int] = {}
    rows: list[ImportRow] = []
    for number, row in payments(preview):
        if len(problems) >= MOST_MISTAKES:
            break

        def cell(role: str, row: tuple[Cell, ...] = row) -> Cell:
            at = index.get(role)
            return row[at] if at is not None and at < len(row) else ""

        def bad(role: str, found: str, mend: str, number: int = number) -> None:
            where = f"row {number}, column {layout.columns.get(role, role)}"
            problems.append(Problem(where, found, mend))

        before = len(problems)
        day = parse_day(cell("date"), layout.date_order)
        if day is None:
            bad(
                "date",
                f"{str(cell('date'))!r} is no day ({layout.date_order})",
                "Correct it, or delete the row.",
            )
        elif today is not None and day > today + timedelta(days=1):
            bad(
                "date",
                f"{short_day(day)} lies ahead of today, {short_day(today)}",
                "Correct it, or choose another order of dates.",
            )
        supplier = str(cell("supplier")).strip()
        if not supplier:
            bad("supplier", "empty", "Say who was paid.")
        line = str(cell("line")).strip()
        if line and legal is not None and line not in legal:
            bad("line", f"there is no line {line!r} in the build", nearest(line, list(legal)))
        currency = str(cell("currency")).strip().upper() or preview.currency
        minor = 0
        if currency != build_currency:
            bad(
                "currency",
                f"{currency}, but the build counts in {build_currency}",
                "Enter that receipt by hand, with what the card was charged.",
            )
        else:
            try:
                minor = _amount(cell, layout, currency)
            except (LedgerError, NumberError) as error:
                role = next(
                    (role for role in ("amount", "debit", "credit") if str(cell(role)).strip()), "amount"
                )
                bad(role, str(error).rstrip("."), "")
            else:
                if not minor:
                    bad("amount", "nothing was paid", "Delete the row, or correct the sum.")
        settled = None
        try:
            settled = is_settled(cell("settled"))
        except LedgerError as error:
            bad("settled", str(error), "")
        if day is None or len(problems) > before:
            continue
        note = str(cell("note")).strip()
        text = f"{day}|{minor}|{currency}|{supplier}|{note}"
        seen[text] = seen.get(text, 0) + 1
        digest = hashlib.sha256(f"{text}|{seen[text]}".encode()).hexdigest()[:24]
        rows.append(
            ImportRow(
                number=number,
                date=day,
                supplier=supplier,
                amount_minor=abs(minor),
                currency=currency,
                kind="payment" if minor > 0 else "refund",
                note=note,
                entry_key=key_prefix(preview.source) + digest,
                line_id=line or None,
                state="new",
                why="",
                settled=settled,
            )
        )
    return rows, problems


def _amount(cell: Callable[[str], Cell], layout: Layout, currency: str) -> int:
    """Give what left the account in minor units, negative for money that came back."""

    def read(role: str) -> int:
        value: Cell = cell(role)
        if isinstance(value, Decimal):
            return from_decimal(value, currency)
        return parse_money(str(value), currency, decimal=layout.decimal)

    if "amount" in layout.columns:
        return -read("amount") if layout.spending == "negative" else read("amount")
    # Some banks write debits with a minus in a column of their own, and zero in the other column.
    debit, credit = (abs(read(role)) if str(cell(role)).strip() else 0 for role in ("debit", "credit"))
    if debit and credit:
        message = (
            f"both {format_plain(debit, currency)} out and {format_plain(credit, currency)} in stand there."
        )
        raise LedgerError(message)
    return debit - credit
