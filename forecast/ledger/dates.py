"""Days on which something is said to have happened, held against today."""

from __future__ import annotations

from datetime import date, timedelta

from forecast.errors import LedgerError


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
        message = f"date of the {what}: {day} lies ahead of today, {today}. Correct the date."
        if what == "receipt":
            message += " Money agreed and not yet paid is a commitment."
        raise LedgerError(message)
    return day
