"""How the ledger stood on a day, and on many days one after the other, from one reading of it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from forecast.ledger import Baseline, Commitment, Ledger, Mark, StillToBuy
from forecast.ledger.days import DayPaid, paid_by_day
from forecast.ledger.former import Former
from forecast.ledger.records import AgreementKind


@dataclass(frozen=True)
class Promise:
    """A price agreed, with whom and for which line, and what of it is to pay; minor units of the build's currency."""

    supplier: str
    line_id: str
    price_minor: int
    left_minor: int


@dataclass(frozen=True)
class Standing:
    """What the ledger said on a day; money in minor units of the build's currency.

    Attributes
    ----------
    as_of : date or None
        None for all that is in it.
    paid : mapping of str to int
        By line or event.
    committed : mapping of str to int
        Agreed and not yet paid.
    agreed : mapping of str to AgreementKind
        Lines with an agreement open and not paid in full: the kind that may grow most.
    paid_up : frozenset of str
        Lines whose agreements are all paid in full or settled.
    foreign : mapping of str to (str, float)
        Lines paid in one foreign currency alone: its code, and the sum in its minor units.
    closed : frozenset of str
    more : frozenset of str
        Lines of which more was said to come.
    events : mapping of str to str
        "happened" or "cannot-happen".
    said : mapping of str to int
        What a line comes to in all, by the builder's last word on what is left to buy.
    baseline : Baseline or None
    promises : tuple of Promise
        Agreements that are open and not paid in full.
    back : mapping of str to int
        What came back as refunds, by line or event.
    former : Former
        What lines were called that are no longer in the build.
    """

    as_of: dt.date | None
    paid: Mapping[str, int]
    committed: Mapping[str, int]
    closed: frozenset[str]
    events: Mapping[str, str]
    said: Mapping[str, int]
    baseline: Baseline | None
    agreed: Mapping[str, AgreementKind] = field(default_factory=dict)
    paid_up: frozenset[str] = frozenset()
    foreign: Mapping[str, tuple[str, float]] = field(default_factory=dict)
    more: frozenset[str] = frozenset()
    promises: tuple[Promise, ...] = ()
    back: Mapping[str, int] = field(default_factory=dict)
    former: Former = field(default_factory=Former)

    @property
    def says_something(self) -> bool:
        """Whether anything was paid, agreed or said that a forecast depends on."""
        sums = any(self.paid.values()) or any(self.committed.values())
        return sums or bool(self.closed or self.events or self.said or self.more)

    @property
    def paid_minor(self) -> int:
        """Everything paid."""
        return sum(self.paid.values())

    @property
    def begun(self) -> frozenset[str]:
        """Lines and events that something was paid or agreed for, and those that are closed; own hours are neither."""
        closed = {name for name in self.closed if not name.endswith(".own_hours")}
        return frozenset(self.paid) | frozenset(self.committed) | closed


def day_before(day: dt.date) -> dt.date:
    """Give the day before, or the first day that there is."""
    return max(day, dt.date.min + dt.timedelta(days=1)) - dt.timedelta(days=1)


@dataclass(frozen=True)
class Moment:
    """A moment that a history looks at: the end of a day, or of one of the receipts of that day.

    Attributes
    ----------
    date : datetime.date
    receipt, supplier : int or None, str
        The receipt that was the last one by then, where receipts are told apart.
    day_over : bool
        Whether all that is dated that day counts; else only receipts up to this one do, and what was said of lines
        for which nothing more came that day.
    """

    date: dt.date
    receipt: int | None = None
    supplier: str = ""
    day_over: bool = True


@dataclass(frozen=True)
class Record:
    """A ledger read once.

    Attributes
    ----------
    payments : tuple of DayPaid
    commitments : tuple of Commitment
        Those that ended as well.
    still : tuple of StillToBuy
    marks : tuple of (str, Mark)
    baselines : tuple of Baseline
    former : Former
        What lines were called that are no longer in the build.
    """

    payments: tuple[DayPaid, ...]
    commitments: tuple[Commitment, ...]
    still: tuple[StillToBuy, ...]
    marks: tuple[tuple[str, Mark], ...]
    baselines: tuple[Baseline, ...]
    former: Former = field(default_factory=Former)

    @classmethod
    def read(cls, ledger: Ledger, *, by_receipt: bool = False) -> Record:
        """Read a ledger.

        Parameters
        ----------
        ledger : Ledger
        by_receipt : bool
            Tell the receipts of a day apart.

        Raises
        ------
        LedgerError
            When it cannot be read.
        """
        baselines = ledger.list_baselines()
        return cls(
            paid_by_day(ledger, by_receipt=by_receipt),
            ledger.list_commitments(include_ended=True),
            ledger.list_still_to_buy(),
            ledger.list_marks(),
            baselines,
            Former.of(ledger, baselines),
        )

    def days(self) -> tuple[dt.date, ...]:
        """Give the days on which something that a forecast depends on was entered, oldest first."""
        days = {payment.date for payment in self.payments}
        days |= {mark.date for _, mark in self.marks} | {item.date for item in self.still}
        for commitment in self.commitments:
            days.add(commitment.date)
            if commitment.ended is not None:
                days.add(commitment.ended)
        return tuple(sorted(days))

    def told_since(self) -> dt.date | None:
        """Give the day at whose end moves begin to be told; None for an empty ledger.

        It is the day before the budget was frozen, so that what was paid on the day of the freeze counts. Where it was
        not frozen, or only once buying had begun, it is the day before anything was entered: a late freeze makes
        nothing that moved before it undone.
        """
        begun = self.frozen_in_time()
        return self.eve() if begun is None else day_before(begun.date)

    def frozen_in_time(self) -> Baseline | None:
        """Give the last budget that was frozen before anything was entered, or on that day."""
        days = self.days()
        return next((one for one in reversed(self.baselines) if not days or one.date <= days[0]), None)

    def frozen_late(self) -> Baseline | None:
        """Give the budget frozen last, where buying had begun by then."""
        last = self.baselines[-1] if self.baselines else None
        return None if last is None or last == self.frozen_in_time() else last

    def frozen_at(self, day: dt.date) -> Baseline | None:
        """Give the frozen budget whose build file is the one at the end of a day that moves are told from.

        That is the one frozen on the next day. Where moves begin before a late freeze, the earliest that was kept is
        the nearest to what the file said then.
        """
        found = next((one for one in reversed(self.baselines) if day_before(one.date) == day), None)
        if found is None and day == self.told_since():
            return next(iter(self.baselines), None)
        return found

    def eve(self) -> dt.date | None:
        """Give the day before anything was entered; None for an empty ledger."""
        days = self.days()
        return day_before(days[0]) if days else None

    def moments(self) -> tuple[Moment, ...]:
        """Give a moment for each receipt, and one for each other day on which something was entered."""
        receipts: dict[dt.date, dict[int, str]] = {}
        for one in self.payments:
            if one.receipt_id is not None:
                receipts.setdefault(one.date, {})[one.receipt_id] = one.supplier
        found = []
        for day in self.days():
            todays = receipts.get(day, {})
            found += [Moment(day, number, name, number == max(todays)) for number, name in todays.items()]
            if not todays:
                found.append(Moment(day))
        return tuple(found)

    def sums_of(self, moments: Sequence[Moment]) -> list[int]:
        """Give how much money was entered at each moment: paid, agreed, said to be left, or settled by a word.

        Parameters
        ----------
        moments : sequence of Moment
            In order; what is dated between two of them is counted with none.

        Returns
        -------
        list of int
            Minor units, whatever their sign. A word on a line, as that it is closed, counts as what is paid for it.
        """
        paid: dict[str, int] = {}
        by_receipt: dict[tuple[dt.date, int | None], int] = {}
        by_day: dict[dt.date, int] = {}
        for one in self.payments:
            paid[one.line_id] = paid.get(one.line_id, 0) + one.amount_minor
            key = one.date, one.receipt_id
            by_receipt[key] = by_receipt.get(key, 0) + abs(one.amount_minor)
        said = [(one.date, one.amount_minor) for one in self.commitments]
        said += [(item.date, item.amount_minor) for item in self.still]
        said += [(mark.date, paid.get(mark.subject, 0)) for _, mark in self.marks]
        for day, sum_ in said:
            by_day[day] = by_day.get(day, 0) + abs(sum_)
        told_apart = {moment.date for moment in moments if moment.receipt is not None}
        for (day, _), sum_ in by_receipt.items():
            if day not in told_apart:
                by_day[day] = by_day.get(day, 0) + sum_
        return [
            by_receipt.get((moment.date, moment.receipt), 0) * (moment.receipt is not None)
            + by_day.get(moment.date, 0) * moment.day_over
            for moment in moments
        ]

    def standing(self, as_of: dt.date | None = None) -> Standing:
        """Give how things stood on a day; all that was entered when left out."""
        if as_of is not None:
            return next(self.standings([Moment(as_of)]))
        last = next(self.standings([Moment(dt.date.max)]))
        return replace(last, as_of=None)

    def standings(self, moments: Iterable[Moment]) -> Iterator[Standing]:
        """Give how things stood at several moments, which must not go back.

        Receipts of a day count before what was said that day about what is left.
        """
        paid: dict[str, int] = {}
        back: dict[str, int] = {}
        against: dict[int, float] = {}
        foreign: dict[str, dict[str, float]] = {}
        marks: dict[str, dict[str, str]] = {"line": {}, "event": {}}
        said: dict[str, int] = {}
        payment, mark, word = 0, 0, 0
        for moment in moments:
            day = moment.date
            settled = day if moment.day_over else day - dt.timedelta(days=1)
            while word < len(self.still) and self.still[word].date <= settled:
                item = self.still[word]
                payment = self._pay(payment, Moment(item.date), paid, back, against, foreign)
                said[item.line_id] = paid.get(item.line_id, 0) + item.amount_minor
                word += 1
            payment = self._pay(payment, moment, paid, back, against, foreign)
            while mark < len(self.marks) and self.marks[mark][1].date <= settled:
                kind, what = self.marks[mark]
                marks[kind][what.subject] = what.state
                mark += 1
            now = marks if moment.day_over else self._marks_by(moment, marks, mark, payment)
            committed, agreed, paid_up, promises = self._committed(moment, against)
            yield Standing(
                day,
                {line: amount for line, amount in paid.items() if amount},
                committed,
                frozenset(line for line, state in now["line"].items() if state == "closed"),
                {event: state for event, state in now["event"].items() if state != "open"},
                dict(said),
                next((one for one in reversed(self.baselines) if one.date <= day), None),
                agreed,
                paid_up,
                {
                    line: next(iter(sums.items()))
                    for line, sums in foreign.items()
                    if len(sums) == 1 and "" not in sums
                },
                frozenset(line for line, state in now["line"].items() if state == "more"),
                promises,
                {line: amount for line, amount in back.items() if amount},
                self.former,
            )

    def _marks_by(
        self, moment: Moment, marks: Mapping[str, Mapping[str, str]], mark: int, payment: int
    ) -> dict[str, dict[str, str]]:
        """Give the marks in force within a day: those of lines and events whose last receipt of the day is in."""
        now = {kind: dict(states) for kind, states in marks.items()}
        begin, end = payment, payment
        while begin > 0 and self.payments[begin - 1].date == moment.date:
            begin -= 1
        while end < len(self.payments) and self.payments[end].date == moment.date:
            end += 1
        done = {one.line_id for one in self.payments[begin:payment]}
        done -= {one.line_id for one in self.payments[payment:end]}
        for kind, what in self.marks[mark:]:
            if what.date > moment.date:
                break
            if what.subject in done:
                now[kind][what.subject] = what.state
        return now

    def _pay(
        self,
        start: int,
        until: Moment,
        paid: dict[str, int],
        back: dict[str, int],
        against: dict[int, float],
        foreign: dict[str, dict[str, float]],
    ) -> int:
        """Add payments up to a moment to the sums, from one of them on; give the first that is later.

        ``against`` adds up, by commitment, the share of it that is paid.
        """
        place = start
        agreements = {one.id: one for one in self.commitments}
        while place < len(self.payments) and self.payments[place].date <= until.date:
            one = self.payments[place]
            if not until.day_over and one.date == until.date and (one.receipt_id or 0) > (until.receipt or 0):
                break
            paid[one.line_id] = paid.get(one.line_id, 0) + one.amount_minor
            back[one.line_id] = back.get(one.line_id, 0) + one.back_minor
            sums = foreign.setdefault(one.line_id, {})
            code = one.currency if one.charged else ""
            sums[code] = sums.get(code, 0.0) + one.foreign_minor
            if one.commitment_id is not None:
                charged = (one.currency, one.foreign_minor) if one.charged else None
                share = agreements[one.commitment_id].share_of(one.amount_minor, charged)
                against[one.commitment_id] = against.get(one.commitment_id, 0.0) + share
            place += 1
        return place

    def _committed(
        self, moment: Moment, against: Mapping[int, float]
    ) -> tuple[dict[str, int], dict[str, AgreementKind], frozenset[str], tuple[Promise, ...]]:
        """Give what is agreed and not paid yet by line, lines with a price agreed, those paid up, and each price.

        Within a day a price that was agreed on it counts once something is paid against it, else when the day is over.
        """
        day = moment.date
        sums: dict[str, int] = {}
        kinds: dict[str, AgreementKind] = {}
        done: set[str] = set()
        promises = []
        for one in self.commitments:
            begun = one.date < day or moment.day_over or one.id in against
            if one.date > day or not begun:
                continue
            ended = one.ended is not None and (one.ended < day or (one.ended == day and moment.day_over))
            left = one.left_minor(against.get(one.id, 0.0))
            if ended:
                if one.state == "settled":
                    done.add(one.line_id)
            elif left > 0:
                promises.append(Promise(one.supplier, one.line_id, one.expected_minor, left))
                sums[one.line_id] = sums.get(one.line_id, 0) + left
                kinds[one.line_id] = (
                    "estimate" if "estimate" in (one.kind, kinds.get(one.line_id)) else "fixed"
                )
            else:
                done.add(one.line_id)
        return sums, kinds, frozenset(done - sums.keys()), tuple(promises)
