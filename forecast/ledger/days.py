"""Days of the ledger: what was paid, added up by day, and whether a day lies ahead."""

from __future__ import annotations

from datetime import date, timedelta
from typing import NamedTuple

from forecast.errors import LedgerError
from forecast.ledger.book import Ledger
from forecast.ledger.store import counts
from forecast.ledger.stored import stored_currency, stored_day, stored_number, stored_whole
from forecast.words.day_words import short_day


class DayPaid(NamedTuple):
    """All that was paid on one day for one line in one currency, refunds taken off.

    What was taken back was a mistake and counts on no day.

    Attributes
    ----------
    amount_minor : int
        In the build's currency.
    currency : str
        What the suppliers charged in.
    foreign_minor : float
        What they charged, in minor units of that currency; a line's part of a receipt in proportion.
    commitment_id : int or None
        The commitment it was paid against.
    receipt_id, supplier : int or None, str
        Of the one receipt, where each is told apart.
    charged : bool
        Whether the suppliers' currency is another one than the build's.
    back_minor : int
        What of it came back as refunds, in the build's currency.
    """

    date: date
    line_id: str
    amount_minor: int
    currency: str
    foreign_minor: float
    commitment_id: int | None
    receipt_id: int | None = None
    supplier: str = ""
    charged: bool = False
    back_minor: int = 0


def paid_by_day(ledger: Ledger, *, by_receipt: bool = False) -> tuple[DayPaid, ...]:
    """Add up payments by day, line, currency and commitment, oldest first.

    Parameters
    ----------
    ledger : Ledger
    by_receipt : bool
        Tell each receipt apart, those of a day in the order in which they were entered.
    """
    single = "r.id, r.supplier" if by_receipt else "NULL, ''"
    within = ", r.id" if by_receipt else ""
    alike = f"r.as_of{within}, s.line_id, r.currency, r.commitment_id, r.charged_minor IS NOT NULL"
    with ledger._reading() as connection:
        rows = connection.execute(
            "SELECT r.as_of, s.line_id, sum(s.amount_minor), r.currency,"
            " sum(CASE WHEN r.charged_minor IS NULL THEN s.amount_minor"
            "  ELSE 1.0 * s.amount_minor * r.amount_minor / nullif(r.charged_minor, 0) END),"
            f" r.commitment_id, {single}, r.charged_minor IS NOT NULL,"
            " sum(CASE WHEN r.kind = 'refund' THEN -s.amount_minor ELSE 0 END)"
            f" FROM split s JOIN receipt r ON r.id = s.receipt_id WHERE {counts()}"
            f" GROUP BY {alike} ORDER BY {alike}"  # one sort is enough for both
        ).fetchall()
        return tuple(
            DayPaid(
                stored_day(row[0]),
                row[1],
                stored_whole(row[2]),
                stored_currency(row[3]),
                stored_number(row[4]),
                row[5],
                row[6],
                row[7],
                bool(row[8]),
                stored_whole(row[9]),
            )
            for row in rows
        )


def not_ahead(day: date, today: date, what: str) -> date:
    """Give a day back, or refuse one that lies more than a day ahead: time zones make it a day, the rest is a slip.

    Parameters
    ----------
    day, today : date
    what : str
        What is dated so, such as "receipt".

    Raises
    ------
    LedgerError
        If it lies ahead.
    """
    if day > today + timedelta(days=1):
        message = (
            f"date of the {what}: {short_day(day)} lies ahead of today, {short_day(today)}. Correct the date."
        )
        if what == "receipt":
            message += " What is agreed and not paid yet is entered as a price agreed."
        raise LedgerError(message)
    return day
