"""Commitments: prices agreed but not yet paid, and what has been paid against them."""

from __future__ import annotations

import sqlite3
from dataclasses import replace
from datetime import date
from typing import Literal

from forecast.errors import LedgerError
from forecast.ledger.records import AgreementKind, Commitment
from forecast.ledger.store import ALL_DAYS, Store, clean, counts, iso_day, new_key, stands, until
from forecast.ledger.stored import stored_currency, stored_day, stored_moment, stored_whole
from forecast.words.day_words import said_day, short_day
from forecast.words.minor_units import exponent, is_sum, sum_words


class Commitments(Store):
    """The part of the ledger that keeps what was agreed."""

    def add_commitment(
        self,
        date: date | str,
        supplier: str,
        line_id: str,
        amount_minor: int,
        currency: str,
        note: str = "",
        *,
        expected_minor: int | None = None,
        entry_key: str | None = None,
        kind: AgreementKind = "fixed",
    ) -> Commitment:
        """Enter a price agreed for one line.

        Parameters
        ----------
        date : date or str
            When it was agreed.
        supplier, line_id : str
            With whom, for which line.
        amount_minor, currency : int, str
            The agreed sum.
        note : str, optional
            Anything worth keeping.
        expected_minor : int, optional
            The sum in the build's currency, which an agreement in another one needs.
        entry_key : str, optional
            Own key of this entry: entering it again changes nothing.
        kind : {"fixed", "estimate"}
            Whether the price is fixed or may still grow.

        Raises
        ------
        LedgerError
            If something is wrong with it, or the file cannot be written.
        """
        day = iso_day(date)
        exponent(currency)
        supplier, line_id, note = clean(supplier), clean(line_id), clean(note, lines=True)
        for name, amount in (("the price agreed", amount_minor), ("what it should come to", expected_minor)):
            if amount is not None and (not is_sum(amount) or amount <= 0):
                said = sum_words(amount, currency)
                message = f"commitment with {supplier}: {name} is {said}. Write a sum above zero."
                raise LedgerError(message)
        if not line_id or not supplier:
            message = (
                "commitment: supplier or line is empty. Say with whom it was agreed, and for which line."
            )
            raise LedgerError(message)
        key = clean(entry_key) if entry_key else new_key()
        with self._writing() as connection:
            build_currency = self._settle_currency(connection, currency)
            if currency != build_currency and expected_minor is None:
                self._refuse(
                    f"commitment to {supplier}: agreed in {currency}, but the build counts in"
                    f" {build_currency}",
                    f"Say what it will be in {build_currency} (expected)",
                )
            values = (
                day,
                supplier,
                line_id,
                amount_minor,
                currency,
                expected_minor or amount_minor,
                note,
                kind,
            )
            old = connection.execute(
                "SELECT as_of, supplier, line_id, amount_minor, currency, expected_minor, note, kind, id FROM"
                f" commitment WHERE entry_key = ? AND {stands('commitment')}",
                (key,),
            ).fetchone()
            if old is not None and old[:-1] != values:
                self._refuse(f"commitment {key!r} is there already with other figures", "Use another key")
            if old is None:
                connection.execute(
                    "INSERT INTO commitment (as_of, supplier, line_id, amount_minor, currency,"
                    " expected_minor, note, kind,"
                    " entry_key, recorded_at, who) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                    (*values, key, *self._stamp()),
                )
            return next(item for item in fetch_commitments(connection) if item.entry_key == key)

    def settle_commitment(self, commitment_id: int, date: date | str | None = None, note: str = "") -> None:
        """Say that a commitment is paid up.

        Raises
        ------
        LedgerError
            If there is no such commitment, or it has ended already.
        """
        self._end_commitment(commitment_id, "settled", date, note)

    def cancel_commitment(self, commitment_id: int, date: date | str | None = None, note: str = "") -> None:
        """Say that a commitment will not be paid.

        Raises
        ------
        LedgerError
            If there is no such commitment, or it has ended already.
        """
        self._end_commitment(commitment_id, "cancelled", date, note)

    def list_commitments(
        self, as_of: date | str | None = None, include_ended: bool = False
    ) -> tuple[Commitment, ...]:
        """List commitments by date, as they stood on a day; those paid in full or ended by then only on demand."""
        with self._reading() as connection:
            found = fetch_commitments(connection, until(as_of))
        return tuple(item for item in found if include_ended or item.outstanding_minor)

    def committed_by_line(self, as_of: date | str | None = None) -> dict[str, int]:
        """Add up what is agreed and still to pay on each line, in minor units of the build's currency."""
        sums: dict[str, int] = {}
        for item in self.list_commitments(as_of):
            if item.outstanding_minor:
                sums[item.line_id] = sums.get(item.line_id, 0) + item.outstanding_minor
        return sums

    def _end_commitment(
        self, commitment_id: int, state: Literal["settled", "cancelled"], date: date | str | None, note: str
    ) -> None:
        day = self._day(date)
        with self._writing() as connection:
            found = next((item for item in fetch_commitments(connection) if item.id == commitment_id), None)
            if found is None:
                self._refuse(
                    f"there is no commitment {commitment_id}", "List the commitments to see their numbers"
                )
            if found.state != "open":
                self._refuse(
                    f"commitment {commitment_id} was {found.state} on {said_day(found.ended or day)}",
                    "Nothing to do",
                )
            if day < found.date.isoformat():
                self._refuse(
                    f"commitment {commitment_id} is of {short_day(found.date)}, its end of {said_day(day)}",
                    "End it on or after that day",
                )
            connection.execute(
                "INSERT INTO commitment_end (entry_key, as_of, commitment_id, state, note, recorded_at, who)"
                " VALUES (?, ?, ?, ?, ?, ?, ?)",
                (
                    f"end:{found.entry_key}",
                    day,
                    commitment_id,
                    state,
                    clean(note, lines=True),
                    *self._stamp(),
                ),
            )


def fetch_commitments(connection: sqlite3.Connection, day: str = ALL_DAYS) -> list[Commitment]:
    """Read commitments as they stood on a day, by date, with what was paid against each by then."""
    rows = connection.execute(
        "SELECT c.id, c.entry_key, c.as_of, c.supplier, c.line_id, c.amount_minor, c.currency,"
        " c.expected_minor, c.note, e.state, e.as_of, c.recorded_at, c.who, c.kind"
        " FROM commitment c LEFT JOIN commitment_end e"
        f" ON e.commitment_id = c.id AND e.as_of <= ? AND {stands('commitment_end', 'e.id')}"
        f" WHERE c.as_of <= ? AND {stands('commitment', 'c.id')} ORDER BY c.as_of, c.id",
        (day, day),
    )
    found = {
        row[0]: Commitment(
            id=row[0],
            entry_key=row[1],
            date=stored_day(row[2]),
            supplier=row[3],
            line_id=row[4],
            amount_minor=stored_whole(row[5], least=1),
            currency=stored_currency(row[6]),
            expected_minor=stored_whole(row[7], least=1),
            note=row[8],
            state=row[9] or "open",
            ended=None if row[10] is None else stored_day(row[10]),
            paid_minor=0,
            recorded_at=stored_moment(row[11]),
            who=row[12],
            kind=row[13],
        )
        for row in rows
    }
    # The plus keeps the date's index out of it: that of commitments finds the few receipts there are among many.
    paid = connection.execute(
        "SELECT r.commitment_id, r.amount_minor, r.currency, r.charged_minor FROM receipt r"
        f" WHERE r.commitment_id IS NOT NULL AND +r.as_of <= ? AND {counts()}",
        (day,),
    )
    for number, amount, currency, charged in paid:
        one = found.get(number)
        if one is not None:  # else it was undone, or is of a later day
            amount, charged = stored_whole(amount), None if charged is None else stored_whole(charged)
            home, foreign = (amount, None) if charged is None else (charged, (currency, amount))
            share = one.share + one.share_of(home, foreign)
            found[number] = replace(one, paid_minor=one.paid_minor + home, share=share)
    return list(found.values())
