"""Receipts, refunds and voids: money that has moved, split over lines to the minor unit."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date, datetime

from forecast.errors import LedgerError
from forecast.ledger.commitments import fetch_commitments
from forecast.ledger.entries import checked, pair, same_supplier
from forecast.ledger.records import Commitment, EveryReceipt, NewReceipt, Receipt, ReceiptKind, Split
from forecast.ledger.store import Store, clean, counts, iso_day, new_key, stands, until
from forecast.ledger.stored import stored_currency, stored_day, stored_moment, stored_whole
from forecast.words.day_words import said_day, short_day
from forecast.words.minor_units import format_plain

_COLUMNS = (
    "r.id, r.entry_key, r.as_of, r.supplier, r.amount_minor, r.currency, r.kind, r.note, r.charged_minor,"
    " r.charged_currency, r.commitment_id, r.voids, r.recorded_at, r.who"
)


class Receipts(Store):
    """The part of the ledger that keeps receipts."""

    def add_receipt(
        self,
        date: date | str,
        supplier: str,
        amount_minor: int,
        currency: str,
        splits: Sequence[Split | tuple[str, int]],
        note: str = "",
        *,
        paid: tuple[int, str] | None = None,
        kind: ReceiptKind = "payment",
        entry_key: str | None = None,
        commitment_id: int | None = None,
        apart: bool = False,
    ) -> Receipt:
        """Enter one receipt; once this returns it is on the disk.

        Parameters
        ----------
        date : date or str
            When it was paid.
        supplier : str
            Who was paid.
        amount_minor, currency : int, str
            What the supplier charged, above zero; a refund as well.
        splits : sequence of Split or (line id, minor units)
            In the build's currency; they add up to the receipt. One may be negative, such as a discount.
        note : str, optional
            Anything worth keeping.
        paid : (int, str), optional
            What the card was charged, in the build's currency, where the supplier's is another one.
        kind : {"payment", "refund", "deposit", "balance"}
            A refund is kept with negative amounts.
        entry_key : str, optional
            Own key of this entry: entering it again changes nothing.
        commitment_id : int, optional
            The commitment it is paid against. When left out, the one open with the same supplier for the same line.
        apart : bool
            It counts against no commitment.

        Returns
        -------
        Receipt
            As kept.

        Raises
        ------
        UnbalancedError
            If the splits do not add up; the message names the difference.
        LedgerError
            If something else is wrong with it, or the file cannot be written.
        """
        entry = NewReceipt(
            date,
            supplier,
            amount_minor,
            currency,
            tuple(splits),
            note,
            paid,
            kind,
            entry_key,
            commitment_id,
            apart,
        )
        return self.add_receipts([entry])[0]

    def add_receipts(self, entries: Iterable[NewReceipt]) -> tuple[Receipt, ...]:
        """Enter many receipts in one transaction: all of them, or none.

        Raises
        ------
        LedgerError
            As for ``add_receipt``.
        """
        ready = [checked(entry) for entry in entries]
        with self._writing() as connection:
            return tuple(self._insert(connection, entry) for entry in ready)

    def void_receipt(self, receipt_id: int, why: str, date: date | str | None = None) -> Receipt:
        """Take a receipt back by a new row with its amounts turned round; the receipt itself stays.

        Parameters
        ----------
        receipt_id : int
            The receipt.
        why : str
            The reason, kept in the note.
        date : date or str, optional
            When it was taken back; today when left out, or the receipt's own day if that is later. It was a mistake
            and counts on no day, before or after; money that came back is a refund.

        Returns
        -------
        Receipt
            The new row.

        Raises
        ------
        LedgerError
            If there is no such receipt, it is voided already, no reason is given, or the day lies before it.
        """
        why = clean(why, lines=True)
        if not why:
            message = f"Receipt {receipt_id} is taken back for a reason that stays beside it. Say why in a few words."
            raise LedgerError(message)
        with self._writing() as connection:
            found = _fetch(connection, "r.id = ?", (receipt_id,))
            if not found:
                self._refuse(f"there is no receipt {receipt_id}", "List the receipts to see their numbers")
            old = found[0]
            if old.voids is not None:
                self._refuse(f"row {receipt_id} is itself a void", "Enter the receipt again instead")
            if old.voided_by is not None:
                self._refuse(
                    f"receipt {receipt_id} is voided already, by row {old.voided_by}", "Nothing to do"
                )
            day = max(self._day(None), old.date.isoformat()) if date is None else iso_day(date)
            if day < old.date.isoformat():
                self._refuse(
                    f"receipt {receipt_id} is of {short_day(old.date)}, its void of {said_day(day)}",
                    "Void it on or after",
                )
            void = replace(
                old,
                entry_key=f"void:{old.entry_key}",  # of one that stands: others were undone
                kind="void",
                amount_minor=-old.amount_minor,
                charged_minor=None if old.charged_minor is None else -old.charged_minor,
                splits=tuple(Split(split.line_id, -split.amount_minor) for split in old.splits),
                note=why,
                voids=receipt_id,
            )
            return self._write_row(connection, void, day)

    def list_receipts(
        self, as_of: date | str | None = None, include_void: bool = False
    ) -> tuple[Receipt, ...]:
        """List receipts by date, then in the order they were entered.

        Parameters
        ----------
        as_of : date or str, optional
            Only what was paid up to and on that day; what was taken back since was never paid.
        include_void : bool, optional
            Voided receipts and the rows that void them as well.
        """
        day = until(as_of)
        with self._reading() as connection:
            found = _fetch(connection, "r.as_of <= ? ORDER BY r.as_of, r.id", (day,))
        if include_void:
            return tuple(found)
        return tuple(receipt for receipt in found if receipt.voids is None and receipt.voided_by is None)

    def undone_receipts(self, as_of: date | str | None = None) -> tuple[tuple[Receipt, datetime], ...]:
        """List receipts that were undone, each with the moment of that, by date and then as they were entered.

        Parameters
        ----------
        as_of : date or str, optional
            Only receipts of days up to that one.
        """
        with self._reading() as connection:
            when = {
                number: stored_moment(moment)
                for number, moment in connection.execute(
                    "SELECT row_id, recorded_at FROM undone WHERE tbl = 'receipt'"
                )
            }
            where = "r.voids IS NULL AND r.as_of <= ? ORDER BY r.as_of, r.id"
            found = _fetch(connection, where, (until(as_of),), undone=True)
        return tuple((receipt, when[receipt.id]) for receipt in found)

    def every_receipt(self, as_of: date | str | None = None) -> EveryReceipt:
        """Give all receipts, those too that were taken back or undone.

        Parameters
        ----------
        as_of : date or str, optional
            Only receipts of days up to that one.
        """
        undone = self.undone_receipts(as_of)
        found = [*self.list_receipts(as_of, include_void=True), *(receipt for receipt, _ in undone)]
        return EveryReceipt(
            tuple(sorted(found, key=lambda one: (one.date, one.id))),
            {receipt.id: moment for receipt, moment in undone},
        )

    def receipt(self, receipt_id: int) -> Receipt:
        """Give one receipt.

        Raises
        ------
        LedgerError
            If there is none of that number.
        """
        with self._reading() as connection:
            found = _fetch(connection, "r.id = ?", (receipt_id,))
        if not found:
            self._refuse(f"there is no receipt {receipt_id}", "List the receipts to see their numbers")
        return found[0]

    def paid_by_line(self, as_of: date | str | None = None) -> dict[str, int]:
        """Add up what each line cost so far, in minor units of the build's currency.

        Refunds are taken off; a line of which nothing is left does not appear.
        """
        with self._reading() as connection:
            rows = connection.execute(
                "SELECT s.line_id, sum(s.amount_minor) FROM split s JOIN receipt r ON r.id = s.receipt_id"
                f" WHERE r.as_of <= ? AND {counts()} GROUP BY s.line_id ORDER BY s.line_id",
                (until(as_of),),
            ).fetchall()
            return {line: stored_whole(amount) for line, amount in rows if amount}

    def every_subject(self) -> frozenset[str]:
        """Give the ids of all lines and events that a receipt, a price agreed or a mark was ever entered for."""
        tables = (
            ("split", "line_id"),
            ("commitment", "line_id"),
            ("line_mark", "line_id"),
            ("event_mark", "event_id"),
        )
        asked = " UNION ".join(f"SELECT {column} FROM {table}" for table, column in tables)
        with self._reading() as connection:
            return frozenset(str(row[0]) for row in connection.execute(asked))

    def lines_by_supplier(self) -> dict[str, dict[str, int]]:
        """Count, for each supplier, the receipts on each line; voided ones do not count."""
        with self._reading() as connection:
            rows = connection.execute(
                "SELECT r.supplier, s.line_id, count(*)"
                f" FROM receipt r JOIN split s ON s.receipt_id = r.id WHERE {counts()}"
                " GROUP BY r.supplier, s.line_id"
            ).fetchall()
        found: dict[str, dict[str, int]] = {}
        for supplier, line_id, count in rows:
            found.setdefault(supplier, {})[line_id] = count
        return found

    def counts_against(self, entry: NewReceipt) -> Commitment | None:
        """Give the commitment that a receipt counts against once it is entered, as it stands before; None for none.

        It is the one named, else the oldest that is open that day with the same supplier for its one line, and not
        paid in full yet.
        """
        with self._reading() as connection:
            if entry.commitment_id is not None:
                named = [one for one in fetch_commitments(connection) if one.id == entry.commitment_id]
                return named[0] if named else None
            return self._matching(connection, entry)

    def _matching(self, connection: sqlite3.Connection, entry: NewReceipt) -> Commitment | None:
        """Find the commitment that a receipt counts against where none is named."""
        lines = {line for line, _ in map(pair, entry.splits)}
        if entry.apart or len(lines) != 1:
            return None
        return _open_agreement(connection, iso_day(entry.date), entry.supplier.strip(), lines.pop())

    def _insert(self, connection: sqlite3.Connection, entry: NewReceipt) -> Receipt:
        """Write one checked receipt, or give the one that was entered under the same key."""
        sign = -1 if entry.kind == "refund" else 1
        key = entry.entry_key or new_key()
        row = Receipt(
            id=0,
            entry_key=key,
            date=date.fromisoformat(str(entry.date)),
            supplier=entry.supplier,
            amount_minor=sign * entry.amount_minor,
            currency=entry.currency,
            kind=entry.kind,
            splits=tuple(Split(line, sign * amount) for line, amount in map(pair, entry.splits)),
            note=entry.note,
            charged_minor=None if entry.paid is None else sign * entry.paid[0],
            charged_currency=None if entry.paid is None else entry.paid[1],
            commitment_id=entry.commitment_id,
            voids=None,
            voided_by=None,
            recorded_at=datetime.min,
            who=self.who,
        )
        if entry.entry_key is not None:
            found = _fetch(connection, "r.entry_key = ?", (key,))
            if found:
                old = found[0]
                if entry.commitment_id is None and not entry.apart:
                    row = replace(row, commitment_id=old.commitment_id)
                same = replace(old, id=0, voided_by=None, recorded_at=row.recorded_at, who=row.who)
                if same == row:
                    return old
                self._refuse(
                    f"entry {key!r} is there already with other figures ({old.supplier}, {short_day(old.date)}, "
                    f"{format_plain(old.amount_minor, old.currency)} {old.currency})",
                    "Void that one first, or enter this one under another key",
                )
        if entry.commitment_id is None:
            found_one = self._matching(connection, entry)
            row = replace(row, commitment_id=None if found_one is None else found_one.id)
        build_currency = self._settle_currency(connection, row.paid_currency)
        if row.paid_currency != build_currency:
            self._refuse(
                f"{row.supplier}, {short_day(row.date)}: paid in {row.paid_currency}, but the build counts in"
                f" {build_currency}",
                f"Say what the card was charged in {build_currency}",
            )
        if row.commitment_id is not None:
            known = connection.execute(
                f"SELECT 1 FROM commitment WHERE id = ? AND {stands('commitment')}", (row.commitment_id,)
            ).fetchone()
            if known is None:
                self._refuse(
                    f"there is no commitment {row.commitment_id}", "List the commitments to see their numbers"
                )
        return self._write_row(connection, row, row.date.isoformat())

    def _write_row(self, connection: sqlite3.Connection, row: Receipt, day: str) -> Receipt:
        at, who = self._stamp()
        cursor = connection.execute(
            "INSERT INTO receipt (entry_key, as_of, supplier, amount_minor, currency, kind, note,"
            " charged_minor,"
            " charged_currency, commitment_id, voids, recorded_at, who) VALUES (?, ?, ?, ?, ?, ?, ?, ?,"
            " ?, ?, ?, ?, ?)",
            (
                row.entry_key,
                day,
                row.supplier,
                row.amount_minor,
                row.currency,
                row.kind,
                row.note,
                row.charged_minor,
                row.charged_currency,
                row.commitment_id,
                row.voids,
                at,
                who,
            ),
        )
        number = int(cursor.lastrowid or 0)
        connection.executemany(
            "INSERT INTO split (receipt_id, line_id, amount_minor) VALUES (?, ?, ?)",
            [(number, split.line_id, split.amount_minor) for split in row.splits],
        )
        return replace(
            row, id=number, date=date.fromisoformat(day), recorded_at=datetime.fromisoformat(at), who=who
        )


def _open_agreement(
    connection: sqlite3.Connection, day: str, supplier: str, line_id: str
) -> Commitment | None:
    """Find the oldest agreement open that day with a supplier for a line, and not paid in full."""
    return next(
        (
            one
            for one in fetch_commitments(connection)
            if one.line_id == line_id
            and same_supplier(one.supplier, supplier)
            and one.date.isoformat() <= day
            and (one.ended is None or one.ended.isoformat() > day)
            and one.left_minor(one.share) > 0
        ),
        None,
    )


def _fetch(
    connection: sqlite3.Connection, where: str, values: tuple[object, ...], *, undone: bool = False
) -> list[Receipt]:
    """Read receipts with their splits: those that stand, or those that were undone."""
    wanted = f"{'NOT ' if undone else ''}({stands('receipt', 'r.id')})"
    rows = connection.execute(
        f"SELECT {_COLUMNS} FROM receipt r WHERE {wanted} AND {where}", values
    ).fetchall()
    if len(rows) <= 50:  # few: fetch theirs; many: one pass over all splits is faster
        marks = ", ".join("?" * len(rows))
        numbers = tuple(row[0] for row in rows)
        splits_where, void_where = f"WHERE receipt_id IN ({marks})", f"AND voids IN ({marks})"
    else:
        numbers, splits_where, void_where = (), "", "AND voids IS NOT NULL"
    splits: dict[int, list[Split]] = {}
    for number, line_id, amount in connection.execute(
        f"SELECT receipt_id, line_id, amount_minor FROM split {splits_where} ORDER BY id", numbers
    ):
        splits.setdefault(number, []).append(Split(line_id, stored_whole(amount)))
    voided = dict(
        connection.execute(
            f"SELECT voids, id FROM receipt WHERE {stands('receipt')} {void_where}", numbers
        ).fetchall()
    )
    return [
        Receipt(
            id=row[0],
            entry_key=row[1],
            date=stored_day(row[2]),
            supplier=row[3],
            amount_minor=stored_whole(row[4]),
            currency=stored_currency(row[5]),
            kind=row[6],
            splits=tuple(splits.get(row[0], ())),
            note=row[7],
            charged_minor=None if row[8] is None else stored_whole(row[8]),
            charged_currency=None if row[9] is None else stored_currency(row[9]),
            commitment_id=row[10],
            voids=row[11],
            voided_by=voided.get(row[0]),
            recorded_at=stored_moment(row[12]),
            who=row[13],
        )
        for row in rows
    ]
