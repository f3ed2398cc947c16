"""What makes a receipt fit to be kept."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import NoReturn

from forecast.errors import LedgerError, UnbalancedError
from forecast.ledger.records import NewReceipt, Split
from forecast.ledger.store import clean, iso_day
from forecast.words.day_words import said_day
from forecast.words.minor_units import exponent, format_plain, is_sum, sum_words
from forecast.words.text import folded

_KINDS = ("payment", "refund", "deposit", "balance")


_LEGAL_FORMS = frozenset({
    "ab", "ag", "as", "bv", "co", "company", "corp", "gmbh", "inc", "kg", "limited", "llc", "llp", "ltd", "nv", "oo",
    "oy", "oyj", "plc", "pty", "sa", "sarl", "sas", "sl", "sp", "spzoo", "srl", "z", "zoo",
})  # fmt: skip
"""What companies put behind their names, and people leave out (common practice, no source)."""


def same_supplier(first: str, second: str) -> bool:
    """Tell whether two names are of one supplier: letters large or small, dots and legal forms make no difference."""
    if first.strip().casefold() == second.strip().casefold():
        return True
    one, other = _bare(first), _bare(second)
    return bool(one) and one == other


def perhaps_same_supplier(first: str, second: str) -> bool:
    """Tell whether one name is part of the other, word by word, as ``De Vries`` is of ``Spuiterij De Vries``."""
    one, other = set(_bare(first)), set(_bare(second))
    shorter = min(one, other, key=len)
    return (one <= other or other <= one) and any(len(word) > 2 for word in shorter)


def _bare(name: str) -> list[str]:
    words = re.findall(r"\w+", folded(name.replace("&", " and ")))
    return [word for word in words if word not in _LEGAL_FORMS]


def pair(split: Split | tuple[str, int]) -> tuple[str, int]:
    """Give a split as line id and minor units."""
    return (split.line_id, split.amount_minor) if isinstance(split, Split) else split


_REACH = "above zero, of no more digits than its currency has"


def checked(entry: NewReceipt) -> NewReceipt:
    """Give a receipt with its day as ISO text and its splits as pairs, or refuse it.

    Raises
    ------
    UnbalancedError
        If the splits do not add up to what was paid; the message names the difference.
    LedgerError
        If something else is wrong with it.
    """
    # A STRICT table alone would still take the text '12' for the number 12.
    supplier = clean(entry.supplier)
    written = said_day(entry.date)
    where = f"receipt from {supplier}, {written}" if supplier else f"receipt of {written}"
    day = iso_day(entry.date, f"{where}: date")

    def refuse(found: str, mend: str) -> NoReturn:
        message = f"{where}: {found}. {mend}."
        raise LedgerError(message)

    if not supplier:
        refuse("no supplier", "Say who was paid")
    if entry.kind not in _KINDS:
        refuse(f"kind {entry.kind!r}", f"Legal are {', '.join(_KINDS)}")
    amounts = [("amount", entry.amount_minor, entry.currency)]
    if entry.paid is not None:
        amounts.append(("charged", *entry.paid))
    for name, amount, currency in amounts:
        exponent(currency)
        if not is_sum(amount) or amount <= 0:
            mend = f"Write a sum {_REACH}; money that came back is a refund"
            if is_sum(amount) and amount < 0:
                back = sum_words(-amount, currency)
                mend = (
                    f"If it came back, enter {back} as a refund: --refund, or “Refund received” on the page"
                )
            refuse(f"{name} is {sum_words(amount, currency)}", mend)
    if not entry.splits:
        refuse("no line", "Say which line it is for")
    pairs = [(clean(line_id), amount) for line_id, amount in map(pair, entry.splits)]
    _, total, currency = amounts[-1]
    for line_id, amount in pairs:
        if not line_id:
            refuse("a split without a line", "Say which line each part is for")
        if not is_sum(amount):
            refuse(
                f"the part of {line_id!r} is {sum_words(amount, currency)}",
                "Write it as a sum, such as 12.50",
            )
    added = sum(amount for _, amount in pairs)
    if added != total:
        gap = total - added
        word = "missing" if gap > 0 else "too much"
        message = (
            f"{where}: its parts add up to {format_plain(added, currency)} {currency}, the receipt is "
            f"{format_plain(total, currency)} {currency}: {format_plain(abs(gap), currency)} {currency} {word}. "
            "Correct a part, or share the rest out evenly or by estimate."
        )
        raise UnbalancedError(message)
    key = entry.entry_key if entry.entry_key is None else clean(entry.entry_key)
    note = clean(entry.note, lines=True)
    return replace(entry, date=day, supplier=supplier, splits=tuple(pairs), note=note, entry_key=key)
