"""What is odd about a receipt that is not entered yet, and is asked about before it is."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from forecast.buildfile.changes import AddItem
from forecast.buildfile.schema import Build
from forecast.engine.facts import learn, prior_of
from forecast.engine.forecast import DEFAULT_SEED
from forecast.engine.plan import compile_plan
from forecast.errors import ForecastError
from forecast.ledger import Commitment, Ledger, NewReceipt, Receipt
from forecast.ledger.entries import pair, perhaps_same_supplier, same_supplier
from forecast.watching.known_facts import known_from
from forecast.watching.reforecast import scenario_in_force, settled_lines
from forecast.watching.settling import as_meant, bought_as
from forecast.watching.standing import Record
from forecast.watching.told_of import open_lines_like
from forecast.words.day_words import short_day
from forecast.words.money import exact


@dataclass(frozen=True)
class Odd:
    """Something about a receipt that is asked about before it is entered.

    Attributes
    ----------
    kind : {"cannot-happen", "not-paid", "twice", "again", "another", "called-like", "agreed-later", "told-of"}
        It is for an event that was said to be impossible; more comes back for a line than was paid; it looks like one
        that is there already; the line is bought once, is paid and settled, and gets much of its sum again; a price is
        agreed for the line with another supplier, and this comes on top; that one is called as this supplier is, with
        more words or fewer; it is agreed with this supplier, but on a later day; it is to have a line of its own, and
        lines that stand open are called as it is.
    line_id : str
    date : datetime.date or None
        When the event was said to be impossible, of the receipt that is there, or when the price was agreed.
    minor : int
        What was paid for the line so far; of a price agreed what is still to pay.
    receipt : Receipt or None
        The one that is there.
    closed : bool
        Whether the line that is paid again was closed, or only looks settled.
    supplier : str
        With whom a price is agreed for the line.
    typed : str
        What the supplier of the receipt is called, where the two may be one.
    commitment : int
        The number of the price that was agreed on a later day.
    title : str
        Of the line that is to be made for it.
    open_lines : tuple of str
        The lines that stand open and are called as it is.
    """

    kind: Literal[
        "cannot-happen", "not-paid", "twice", "again", "another", "called-like", "agreed-later", "told-of"
    ]
    line_id: str
    date: dt.date | None = None
    minor: int = 0
    receipt: Receipt | None = None
    closed: bool = False
    supplier: str = ""
    typed: str = ""
    commitment: int = 0
    title: str = ""
    open_lines: tuple[str, ...] = ()


_EXTRA = 2
"""Less than one part in so many of what was paid for a settled line is an extra; more is like buying it again."""


def oddities(
    build: Build, ledger: Ledger | None, receipt: NewReceipt, added: Sequence[AddItem] = ()
) -> tuple[Odd, ...]:
    """Find what is odd about a receipt that is not entered yet.

    Parameters
    ----------
    build : Build
    ledger : Ledger or None
        None where nothing was entered yet.
    receipt : NewReceipt
        Fit to be entered.
    added : sequence of AddItem, optional
        The lines that are to be made for it, as `unforeseen_line` gives them.
    """
    receipt = as_meant(build, receipt)
    parts: dict[str, int] = {}
    for line, minor in map(pair, receipt.splits):
        parts[line] = parts.get(line, 0) + minor
    if receipt.kind == "refund":
        paid = {} if ledger is None else ledger.paid_by_line()
        return tuple(
            Odd("not-paid", line, minor=max(0, paid.get(line, 0)))
            for line, minor in parts.items()
            if minor > max(0, paid.get(line, 0)) and line not in build.income
        )
    new = told_of(build, ledger, added)
    if ledger is None:
        return new
    marks = ledger.event_states()
    found = [*new]
    found += [
        Odd("cannot-happen", line, marks[line].date)
        for line in parts
        if line in marks and marks[line].state == "cannot-happen"
    ]
    twin = _twin(ledger.list_receipts(receipt.date), receipt, parts)
    if twin is not None:
        found.append(Odd("twice", twin.splits[0].line_id, twin.date, twin.paid_minor, twin))
        return tuple(found)
    found += _another(build, ledger, receipt, parts)
    closed, paid = ledger.closed_lines(), ledger.paid_by_line()
    twice = [
        line
        for line, minor in parts.items()
        if receipt.kind == "payment"
        and bought_as(build, line) == "once"
        and 0 < paid.get(line, 0) <= _EXTRA * minor
    ]
    settled = _looking_settled(build, ledger) if set(twice) - closed else frozenset()
    found += [
        Odd("again", line, minor=paid[line], closed=line in closed)
        for line in twice
        if line in closed or line in settled
    ]
    return tuple(found)


def told_of(build: Build, ledger: Ledger | None, added: Sequence[AddItem]) -> tuple[Odd, ...]:
    """Find lines that stand open and are called as a bill is that is to have a line of its own.

    Parameters
    ----------
    build : Build
    ledger : Ledger or None
    added : sequence of AddItem
        The lines that are to be made for it.
    """
    made = {str(item.table["id"]): item.table for item in added}
    found = ((line, str(table["name"]), str(table["group"])) for line, table in made.items())
    return tuple(
        Odd("told-of", line, title=name, open_lines=like)
        for line, name, group in found
        if (like := open_lines_like(build, ledger, name, group, made))
    )


def _another(build: Build, ledger: Ledger, receipt: NewReceipt, parts: Mapping[str, int]) -> list[Odd]:
    """Find a price agreed for the one line of a receipt that it does not count against, though it may be meant.

    It is agreed with this supplier, but on a later day; with one that is called like it; or with another one, where the
    line is bought once.
    """
    if receipt.apart or len(parts) != 1 or ledger.counts_against(receipt) is not None:
        return []
    if (late := agreed_later(ledger, receipt)) is not None:
        return [late]
    (line,) = parts
    agreed = _agreed_for(ledger, line)
    if (like := called_like(receipt.supplier, line, agreed)) is not None:
        return [like]
    if bought_as(build, line) != "once" or len(agreed) != 1:
        return []
    return [Odd("another", line, minor=agreed[0].outstanding_minor, supplier=agreed[0].supplier)]


def _agreed_for(ledger: Ledger, line: str) -> list[Commitment]:
    """Give the prices agreed for a line of which something is left to pay."""
    return [one for one in ledger.list_commitments() if one.line_id == line and one.outstanding_minor]


def called_like(supplier: str, line: str, agreed: Sequence[Commitment]) -> Odd | None:
    """Find a price agreed for a line with one who is called as a supplier is, with more words or fewer."""
    like = (
        one
        for one in agreed
        if one.line_id == line
        and one.outstanding_minor
        and perhaps_same_supplier(one.supplier, supplier)
        and not same_supplier(one.supplier, supplier)
    )
    first = next(like, None)
    if first is None:
        return None
    return Odd("called-like", line, minor=first.outstanding_minor, supplier=first.supplier, typed=supplier)


def agreed_later(ledger: Ledger, receipt: NewReceipt) -> Odd | None:
    """Find a price agreed with this supplier, for the one line of a receipt, on a day after it; None for none.

    One that is open by the receipt's day counts without being asked about.
    """
    lines = {line for line, _ in map(pair, receipt.splits)}
    if receipt.apart or receipt.kind == "refund" or len(lines) != 1:
        return None
    if ledger.counts_against(receipt) is not None:
        return None
    for one in ledger.list_commitments():
        if one.line_id in lines and one.outstanding_minor and same_supplier(one.supplier, receipt.supplier):
            return Odd(
                "agreed-later", one.line_id, one.date, one.outstanding_minor, supplier=one.supplier,
                commitment=one.id,
            )  # fmt: skip
    return None


def agreed_later_words(odd: Odd, title: str, currency: str) -> str:
    """Say it of a receipt, whether it is entered by hand or read from a file; the title as it is to stand."""
    due = exact(odd.minor, currency)
    since = f" since {short_day(odd.date)}, which is" if odd.date is not None else ""
    return (
        f"the price for {title} is agreed with {odd.supplier}{since} after the day of this "
        f"receipt. So it does not count against that price, {due} of which is still to pay, but comes on top"
    )


def _looking_settled(build: Build, ledger: Ledger) -> frozenset[str]:
    """Give the open lines of which what was paid is likely all."""
    standing = Record.read(ledger).standing()
    try:
        plan = compile_plan(build, scenario_in_force(build, None, standing.baseline))
        known = known_from(plan, standing, build)
        partial = learn(plan, known.facts, DEFAULT_SEED, prior_of(plan, DEFAULT_SEED)).partial
    except ForecastError:  # a build that cannot be simulated can be paid for
        return frozenset()
    settled = settled_lines(plan, known, {name: one.settled for name, one in partial.items()})
    return frozenset(name for name in settled if not known.lines[name].more)


def _twin(receipts: Collection[Receipt], receipt: NewReceipt, parts: Mapping[str, int]) -> Receipt | None:
    """Find a receipt of the same supplier, day, sum and lines, and with the same note where both have one."""
    for one in receipts:
        same = (
            one.date.isoformat() == str(receipt.date)
            and same_supplier(one.supplier, receipt.supplier)
            and (one.amount_minor, one.currency) == (receipt.amount_minor, receipt.currency)
            and {split.line_id for split in one.splits} == set(parts)
            and (one.entry_key != receipt.entry_key or receipt.entry_key is None)
        )
        notes = {note.strip().casefold() for note in (one.note, receipt.note)} - {""}
        if same and len(notes) < 2:
            return one
    return None
