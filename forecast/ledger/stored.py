"""Values as they come out of the ledger's file: what is none of its kind was never written, and is damage.

SQLite notices a damaged page, and not a bit that was turned on the disk within a text. Whatever else goes wrong while
the file is read is a mistake of the program, and no reason to put a copy in the place of a sound file.
"""

from __future__ import annotations

import json
import re
from datetime import date, datetime
from typing import Any

_CODE = re.compile("[A-Z]{3}")


class StoredValueError(Exception):
    """What stands in the file cannot be what was written; `Store` says so of the file by its name."""


def stored_day(value: object) -> date:
    """Give a day that was written as ISO text."""
    try:
        return date.fromisoformat(value)  # type: ignore[arg-type]
    except (TypeError, ValueError) as error:
        raise _damage(value, "day") from error


def stored_moment(value: object) -> datetime:
    """Give a moment that was written as ISO text."""
    try:
        return datetime.fromisoformat(value)  # type: ignore[arg-type]
    except (TypeError, ValueError) as error:
        raise _damage(value, "moment") from error


def stored_whole(value: object, least: int | None = None) -> int:
    """Give a whole number, such as a sum in minor units.

    Parameters
    ----------
    value : object
    least : int, optional
        None below it was ever written.
    """
    if not isinstance(value, int) or (least is not None and value < least):
        raise _damage(value, "whole number")
    return value


def stored_number(value: object) -> float:
    """Give a number that the file worked out of whole ones; nothing counts as 0."""
    if value is not None and not isinstance(value, int | float):
        raise _damage(value, "number")
    return float(value or 0)


def stored_currency(value: object) -> str:
    """Give a currency's code."""
    if not isinstance(value, str) or not _CODE.fullmatch(value):
        raise _damage(value, "currency")
    return value


def stored_table(value: object) -> dict[str, Any]:
    """Give a table that was written as JSON."""
    try:
        found = json.loads(value)  # type: ignore[arg-type]
    except (TypeError, ValueError) as error:
        raise _damage(value, "table") from error
    if not isinstance(found, dict):
        raise _damage(value, "table")
    return found


def _damage(value: object, kind: str) -> StoredValueError:
    return StoredValueError(f"{str(value)[:40]!r} is no {kind}")
