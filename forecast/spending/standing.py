"""How the ledger stood on a day, and on many days one after the other, from one reading of it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from forecast.spending.ledger import Baseline, Commitment, Ledger, Mark, StillToBuy
from forecast.spending.ledger.days import DayPaid, paid_by_day


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
    closed : frozenset of str
    events : mapping of str to str
        "happened" or "cannot-happen".
    said : mapping of str to int
        What a line comes to in all, by the builder's last word on what is left to buy.
    baseline : Baseline or None
    """

    as_of: dt.date | None
    paid: Mapping[str, int]
    committed: Mapping[str, int]
    closed: frozenset[str]
    events: Mapping[str, str]
    said: Mapping[str, int]
    baseline: Baseline | None

    @property
    def paid_minor(self) -> int:
        """Everything paid."""
        return sum(self.paid.values())


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
    """

    payments: tuple[DayPaid, ...]
    commitments: tuple[Commitment, ...]
    still: tuple[StillToBuy, ...]
    marks: tuple[tuple[str, Mark], ...]
    baselines: tuple[Baseline, ...]

    @classmethod
    def read(cls, ledger: Ledger) -> Record:
        """Read a ledger.

        Raises
        ------
        LedgerError
            When it cannot be read.
        """
        return cls(
            paid_by_day(ledger),
            ledger.list_commitments(include_ended=True),
            ledger.list_still_to_buy(),
            ledger.list_marks(),
            ledger.list_baselines(),
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

    def standing(self, as_of: dt.date | None = None) -> Standing:
        """Give how things stood on a day; all that was entered when left out."""
        if as_of is not None:
            return next(self.standings([as_of]))
        last = next(self.standings([dt.date.max]))
        return Standing(None, last.paid, last.committed, last.closed, last.events, last.said, last.baseline)

    def standings(self, days: Iterable[dt.date]) -> Iterator[Standing]:
        """Give how things stood on several days, which must not go back.

        Receipts of a day count before what was said that day about what is left.
        """
        paid: dict[str, int] = {}
        against: dict[int, int] = {}
        marks: dict[str, dict[str, str]] = {"line": {}, "event": {}}
        said: dict[str, int] = {}
        payment, mark, word = 0, 0, 0
        for day in days:
            while word < len(self.still) and self.still[word].date <= day:
                item = self.still[word]
                payment = self._pay(payment, item.date, paid, against)
                said[item.line_id] = paid.get(item.line_id, 0) + item.amount_minor
                word += 1
            payment = self._pay(payment, day, paid, against)
            while mark < len(self.marks) and self.marks[mark][1].date <= day:
                kind, what = self.marks[mark]
                marks[kind][what.subject] = what.state
                mark += 1
            yield Standing(
                day,
                {line: amount for line, amount in paid.items() if amount},
                self._committed(day, against),
                frozenset(line for line, state in marks["line"].items() if state == "closed"),
                {event: state for event, state in marks["event"].items() if state != "open"},
                dict(said),
                next((one for one in reversed(self.baselines) if one.date <= day), None),
            )

    def _pay(self, start: int, day: dt.date, paid: dict[str, int], against: dict[int, int]) -> int:
        """Add payments up to a day to the sums, from one of them on; give the first that is later."""
        place = start
        while place < len(self.payments) and self.payments[place].date <= day:
            one = self.payments[place]
            paid[one.line_id] = paid.get(one.line_id, 0) + one.amount_minor
            if one.commitment_id is not None:
                against[one.commitment_id] = against.get(one.commitment_id, 0) + one.amount_minor
            place += 1
        return place

    def _committed(self, day: dt.date, against: Mapping[int, int]) -> dict[str, int]:
        sums: dict[str, int] = {}
        for one in self.commitments:
            if one.date > day or (one.ended is not None and one.ended <= day):
                continue
            left = one.expected_minor - against.get(one.id, 0)
            if left > 0:
                sums[one.line_id] = sums.get(one.line_id, 0) + left
        return sums
