"""What a payment says of its lines: whether it is all, and which agreed price it counts against.

A receipt, the answers given with it and all that follows from them are entered in one transaction, so that undoing
takes all of it back at once.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias

from forecast.buildfile.schema import Bought, Build
from forecast.engine.facts import Prior, learn, prior_of
from forecast.engine.forecast import DEFAULT_SEED
from forecast.engine.plan import compile_plan
from forecast.errors import ForecastError
from forecast.ledger import Commitment, Ledger, NewReceipt, Receipt
from forecast.ledger.days import DayPaid, paid_by_day
from forecast.ledger.entries import pair, same_supplier
from forecast.ledger.events import say_event
from forecast.ledger.former import Former
from forecast.ledger.records import AgreementKind
from forecast.watching.known_facts import known_from
from forecast.watching.reforecast import LOOKS_SETTLED, scenario_in_force
from forecast.watching.standing import Record, Standing
from forecast.words.minor_units import from_float, to_float

MORE_TO_COME = 0.1
"""Chance of being all up to which a sum paid is likely not all."""


def titles_of(build: Build, scenario: str | None = None, ledger: Ledger | None = None) -> dict[str, str]:
    """Give the name of each line and event by id; those of the scenario as it words them.

    With a ledger, also of those in it that were taken out of the build.
    """
    here = _titles_here(build, scenario)
    if ledger is None:
        return here
    gone = sorted(
        name for name in ledger.every_subject() if name.partition(".")[0] not in here and name not in here
    )
    return here | (Former.of(ledger).titles(gone) if gone else {})


def _titles_here(build: Build, scenario: str | None) -> dict[str, str]:
    named = {item.id: item.title for item in (*build.line, *build.event)}
    try:
        plan = compile_plan(build, scenario)
    except ForecastError:  # a build that cannot be simulated can be paid for
        return named
    hours = {name: f"{row.title}: own work" for name, (row, told) in plan.own_work.items() if told == name}
    return named | {row.id: row.title for row in plan.payable} | hours


def never_paid(build: Build, ledger: Ledger | None, names: Iterable[str]) -> frozenset[str]:
    """Give those of some lines that were to cost money and for which nothing was paid: closed, they were not needed."""
    paid: Mapping[str, int] = {} if ledger is None else ledger.paid_by_line()
    lines = {line.id for line in build.line} - build.income - frozenset(build.work_alone)
    return frozenset(name for name in names if name in lines and not paid.get(name))


# -- whether it is all


@dataclass(frozen=True)
class Likely:
    """How a builder would likely answer whether a receipt is all for one of its lines.

    Attributes
    ----------
    answer : bool or None
        True: it is all; False: more is to come; None: it cannot be told.
    chance : float or None
        That it is all, where the sum and the line's range decide.
    """

    answer: bool | None
    chance: float | None = None


Decide: TypeAlias = Callable[[str, Likely], bool | None]
"""Gives the answer for a line, from the likely one."""


def likely_answers(
    build: Build,
    ledger: Ledger | None,
    receipt: NewReceipt,
    scenario: str | None = None,
    decide: Decide = lambda _, likely: likely.answer,
) -> dict[str, Likely]:
    """Give the likely answer for each line of a receipt that is not entered yet, as things stand with it in.

    A price agreed and not paid in full, what was said to be left, a deposit and a line paid by the week or month say
    that more is to come; a price paid in full says that it is all. Otherwise the chance that the sum is all decides.

    Parameters
    ----------
    build : Build
    ledger : Ledger or None
        None where nothing was entered yet.
    receipt : NewReceipt
        Fit to be entered.
    scenario : str, optional
        The one in force; that of the frozen budget, or the first, when left out.
    decide : callable
        Gives the answer for a line, from the likely one: the lines after it are judged with it, as an import tax is by
        the freight that it is taken of.

    Returns
    -------
    dict of str to Likely
        By line or event, lines in the order in which one follows from another.
    """
    receipt = as_meant(build, receipt)
    names = tuple(dict.fromkeys(line for line, _ in map(pair, receipt.splits)))
    standing = _standing_with(ledger, receipt)
    # What was said before speaks of what was paid before: this receipt may be the rest.
    standing = replace(standing, more=standing.more - set(names))
    try:
        plan = compile_plan(build, scenario_in_force(build, scenario, standing.baseline))
    except ForecastError:  # a build that cannot be simulated can be paid for
        return {name: Likely(None) for name in names}
    prior = prior_of(plan, DEFAULT_SEED)
    places = {row.id: place for place, row in enumerate(plan.rows)}
    found: dict[str, Likely] = {}
    for name in sorted(names, key=lambda name: places.get(name, len(places))):
        found[name] = _judge(prior, standing, receipt, name)
        answer = decide(name, found[name])
        if answer:
            standing = replace(standing, closed=standing.closed | {name})
        elif answer is False:
            standing = replace(standing, more=standing.more | {name})
    return found


def _judge(prior: Prior, standing: Standing, receipt: NewReceipt, name: str) -> Likely:
    """Judge one line of a receipt, as things stand with it in."""
    plan = prior.plan
    known = known_from(plan, standing)
    row = next((row for row in plan.rows if row.id == name and row.kind == "line"), None)
    if name in standing.closed or (name in known.lines and known.lines[name].state == "closed"):
        return Likely(True)
    if receipt.kind == "refund" or row is None:
        return Likely(None)
    if receipt.kind == "deposit" or name in standing.committed:
        return Likely(False)
    if name in standing.said:
        return Likely(standing.paid.get(name, 0) >= standing.said[name])
    if row.bought == "running":
        return Likely(False)
    if receipt.kind == "balance":
        return Likely(True)
    if name not in known.facts.part_paid:
        return Likely(None)
    try:
        chance = learn(plan, known.facts, prior.seed, prior).partial[name].settled
    except ForecastError:  # what is paid cannot be: that is told where it ends
        return Likely(None)
    settled = chance >= LOOKS_SETTLED[row.bought]
    more = (
        chance <= MORE_TO_COME and name not in plan.dues
    )  # one bill, which is odd then, but no part of a sum
    return Likely(True if settled else False if more else None, chance)


def _standing_with(ledger: Ledger | None, receipt: NewReceipt) -> Standing:
    """Give how things stand with one more receipt in."""
    record = Record((), (), (), (), ()) if ledger is None else Record.read(ledger)
    against = None if ledger is None else ledger.counts_against(receipt)
    sign = -1 if receipt.kind == "refund" else 1
    paid = receipt.amount_minor if receipt.paid is None else receipt.paid[0]
    new = [
        DayPaid(
            dt.date.fromisoformat(str(receipt.date)),
            line,
            sign * minor,
            receipt.currency,
            sign * minor * receipt.amount_minor / paid,
            None if against is None else against.id,
            charged=receipt.paid is not None,
            back_minor=minor if receipt.kind == "refund" else 0,
        )
        for line, minor in map(pair, receipt.splits)
    ]
    payments = sorted((*record.payments, *new), key=lambda one: one.date)
    return replace(record, payments=tuple(payments)).standing()


# -- entering it


@dataclass(frozen=True)
class Entered:
    """What a receipt did.

    Attributes
    ----------
    receipt : Receipt
    agreement : Commitment or None
        The agreed price that it counts against, as it stands now.
    closed, more : tuple of str
        Lines that are closed now, and those of which more is to come.
    settled : tuple of Commitment
        Agreed prices that ended with their line, as they stood before.
    happened : tuple of str
        Risk events that were said to be impossible, and so happened after all.
    stay : tuple of str
        Lines that were closed before, of which nothing was said now.
    """

    receipt: Receipt
    agreement: Commitment | None
    closed: tuple[str, ...]
    more: tuple[str, ...]
    settled: tuple[Commitment, ...]
    happened: tuple[str, ...]
    stay: tuple[str, ...] = ()


def as_meant(build: Build, receipt: NewReceipt) -> NewReceipt:
    """Give a receipt as its builder means it: a sum for lines that bring money in came in."""
    lines = [line for line, _ in map(pair, receipt.splits)]
    if receipt.kind != "refund" and lines and build.income.issuperset(lines):
        return replace(receipt, kind="refund")
    return receipt


def enter_receipt(
    ledger: Ledger, build: Build, receipt: NewReceipt, answers: Mapping[str, bool | None] | None = None
) -> Entered:
    """Enter a receipt with what was answered of its lines.

    A line of which it is all is closed; a price agreed for it ends with it. A receipt that pays the price agreed for a
    line bought once in full closes the line too, unless more is to come.

    Parameters
    ----------
    ledger : Ledger
    build : Build
    receipt : NewReceipt
    answers : mapping of str to (bool or None), optional
        By line: whether it is all (True), more is to come (False), or that it cannot be told (None), which closes
        nothing. Nothing was said of lines that are not among them.

    Raises
    ------
    LedgerError
        As for ``Ledger.add_receipt``; nothing was entered then.
    """
    return enter_receipts(ledger, build, [receipt], [answers or {}])[0]


def enter_receipts(
    ledger: Ledger,
    build: Build | None,
    receipts: Sequence[NewReceipt],
    answers: Sequence[Mapping[str, bool | None]],
) -> tuple[Entered, ...]:
    """Enter several receipts in one transaction, all or none, with the answers to each; see `enter_receipt`.

    Without a build it is not known how lines are bought: only answers close them.
    """
    if build is not None:
        receipts = [as_meant(build, receipt) for receipt in receipts]
    with ledger.together():
        kept = ledger.add_receipts(receipts)
        # The later word holds, whatever the order of a list; of one day the one further down.
        order = sorted(range(len(kept)), key=lambda place: kept[place].date)
        found = {place: _follow(ledger, build, kept[place], answers[place]) for place in order}
        return tuple(found[place] for place in range(len(kept)))


def _follow(
    ledger: Ledger, build: Build | None, receipt: Receipt, answers: Mapping[str, bool | None]
) -> Entered:
    """Write down what a receipt says of its lines."""
    names = tuple(dict.fromkeys(split.line_id for split in receipt.splits))
    everything = {one.id: one for one in ledger.list_commitments(include_ended=True)}
    agreement = None if receipt.commitment_id is None else everything.get(receipt.commitment_id)
    owed = ledger.committed_by_line()
    closing, more, stay = [], [], []
    for name in names:
        said = answers.get(name)
        bought = None if build is None else bought_as(build, name)
        once = bought == "once"
        if name not in answers and once and agreement is not None and agreement.line_id == name:
            said = True if receipt.kind != "refund" and name not in owed else None
        state = _state(ledger, name)
        if said is True and state != "closed":
            closing.append(name)
        elif said is False and once and name in owed:  # what is to come is known: the rest of the price
            if state != "open":
                ledger.reopen_line(name, _day_for(ledger, name, receipt.date))
            more.append(name)
        elif said is False:
            if state != "more":
                ledger.expect_more(name, _day_for(ledger, name, receipt.date))
            more.append(name)
        elif said is None and state == "more" and receipt.kind != "refund" and bought != "running":
            ledger.reopen_line(name, _day_for(ledger, name, receipt.date))  # what was to come may be this
        elif said is None and state == "closed" and receipt.kind != "refund":
            stay.append(name)
    happened = []
    marks = ledger.event_states()
    for name in names:
        if receipt.kind != "refund" and name in marks and marks[name].state == "cannot-happen":
            ledger.mark_event(name, "happened", max(receipt.date, marks[name].date))
            happened.append(name)
    settled = [
        one for name in closing for one in close_lines(ledger, [name], _day_for(ledger, name, receipt.date))
    ]
    return Entered(
        receipt, agreement, tuple(closing), tuple(more), tuple(settled), tuple(happened), tuple(stay)
    )


def _state(ledger: Ledger, name: str) -> str:
    mark = ledger.line_states().get(name)
    return "open" if mark is None else mark.state


def _day_for(ledger: Ledger, name: str, day: dt.date) -> dt.date:
    """Give the first day from which a word on a line can hold: after what was said and paid so far."""
    days = [one.date for one in paid_by_day(ledger) if one.line_id == name]
    mark = ledger.line_states().get(name)
    return max(day, *days, *([] if mark is None else [mark.date]))


def bought_as(build: Build, name: str) -> Bought:
    """Give how a line or an event is paid for, whichever scenario it is of."""
    for line in build.line:
        if line.id == name:
            return line.bought_as
    try:
        found = [row.bought for row in compile_plan(build).rows if row.id == name]
    except ForecastError:  # a build that cannot be simulated can be paid for
        found = []
    return found[0] if found else "several"


def close_lines(
    ledger: Ledger, names: Iterable[str], day: dt.date | None = None, note: str = ""
) -> tuple[Commitment, ...]:
    """Close lines, and settle what was agreed for them: nothing more will be paid.

    Parameters
    ----------
    ledger : Ledger
    names : iterable of str
    day : datetime.date, optional
        From when on; today when left out.
    note : str

    Returns
    -------
    tuple of Commitment
        Those that were not paid in full, as they stood before.

    Raises
    ------
    LedgerError
        If a later word on a line says otherwise; nothing was closed then.
    """
    settled = []
    with ledger.together():
        for name in dict.fromkeys(names):
            if name in ledger.closed_lines(day):
                continue
            mark = ledger.close_line(name, day, note)
            for one in ledger.list_commitments():
                if one.line_id == name:
                    ledger.settle_commitment(one.id, max(mark.date, one.date), note)
                    settled.append(one)
    return tuple(settled)


def rule_out(ledger: Ledger, events: Iterable[str], lines: Iterable[str] = ()) -> None:
    """Say that events cannot happen any more and that nothing will be paid for lines, in one entry.

    Raises
    ------
    LedgerError
        If a later word on one of them says otherwise; nothing was entered then.
    """
    with ledger.together():
        for name in events:
            say_event(ledger, name, "cannot-happen")
        close_lines(ledger, lines)


def void_receipt(ledger: Ledger, number: int, why: str) -> tuple[Receipt, tuple[str, ...]]:
    """Take a receipt back, and with it what was entered together with it: lines closed, prices settled.

    Returns
    -------
    receipt : Receipt
        The new row.
    lines : tuple of str
        Lines and events of which what was said with it no longer holds.

    Raises
    ------
    LedgerError
        As for ``Ledger.void_receipt``.
    """
    with ledger.together():
        row = ledger.void_receipt(number, why)
        old = ledger.receipt(number)
        names = {split.line_id for split in old.splits}
        gone = {
            (after["tbl"], after["row_id"])
            for change in ledger.history("undone")
            if (after := change.after) is not None
        }
        agreed = {one.id: one.line_id for one in ledger.list_commitments(include_ended=True)}
        changes, found = [], dict[str, None]()
        for table in ("line_mark", "event_mark", "commitment_end"):
            for change in ledger.history(table):
                after = change.after or {}
                name = after.get("line_id") or after.get("event_id")
                if table == "commitment_end":
                    name = agreed.get(int(str(after["commitment_id"])))
                together = change.at == old.recorded_at and change.who == old.who
                if together and name in names and (table, change.row_id) not in gone:
                    changes.append(change)
                    if table != "commitment_end":
                        found[str(name)] = None
        ledger.undo(changes)
        return row, tuple(found)


# -- agreed prices


@dataclass(frozen=True)
class Agreement:
    """What agreeing a price did.

    Attributes
    ----------
    commitment : Commitment
    paid_before : int
        Paid to the same supplier for the same line before, against no agreed price; minor units of the build's
        currency. It comes on top of the price.
    opened : bool
        Whether the line was closed, and is open again.
    """

    commitment: Commitment
    paid_before: int
    opened: bool


def at_planned_rate(build: Build, line: str, minor: int, currency: str) -> int | None:
    """Give what a price in foreign money should come to at home, as a line's price was planned: margin included.

    Returns
    -------
    int or None
        Minor units of the build's currency; None where the build has no rate for that currency.
    """
    plan = compile_plan(build)
    rate = plan.rates.get(currency)
    if rate is None:
        return None
    row = next((row for row in plan.rows if row.id == line), None)
    factor = rate.middle * rate.with_margin(row)
    return from_float(to_float(minor, currency) * factor, plan.currency)


def agree(
    ledger: Ledger,
    date: dt.date,
    supplier: str,
    line: str,
    amount_minor: int,
    currency: str,
    note: str = "",
    *,
    expected_minor: int | None = None,
    entry_key: str | None = None,
    kind: AgreementKind = "fixed",
) -> Agreement:
    """Enter a price agreed; a line that was closed is open again, and what was said to come is this.

    Raises
    ------
    LedgerError
        As for ``Ledger.add_commitment``.
    """
    with ledger.together():
        kept = ledger.add_commitment(
            date, supplier, line, amount_minor, currency, note, expected_minor=expected_minor, entry_key=entry_key,
            kind=kind,
        )  # fmt: skip
        state = _state(ledger, line)
        if state != "open":
            ledger.reopen_line(line, _day_for(ledger, line, date))
    before = sum(
        split.amount_minor
        for receipt in ledger.list_receipts(date)
        for split in receipt.splits
        if split.line_id == line
        and receipt.commitment_id is None
        and same_supplier(receipt.supplier, kept.supplier)
    )
    return Agreement(kept, max(0, before), state == "closed")


def settle(
    ledger: Ledger, build: Build, number: int, date: dt.date | None = None, note: str = ""
) -> tuple[str, ...]:
    """Say that an agreed price is paid in full; give the line that it closes, if it closes one.

    Raises
    ------
    LedgerError
        As for ``Ledger.settle_commitment``.
    """
    with ledger.together():
        ledger.settle_commitment(number, date, note)
        line = next(one.line_id for one in ledger.list_commitments(include_ended=True) if one.id == number)
        done = (
            bought_as(build, line) == "once"
            and line not in ledger.committed_by_line()
            and ledger.paid_by_line().get(line, 0) > 0
            and line not in ledger.closed_lines()
        )
        if done:
            close_lines(ledger, [line], _day_for(ledger, line, date or dt.date.min))
        return (line,) if done else ()
