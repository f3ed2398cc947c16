"""What makes a receipt fit to be kept."""

from __future__ import annotations

from dataclasses import replace
from typing import NoReturn

from forecast.errors import LedgerError, UnbalancedError
from forecast.spending.ledger.records import NewReceipt, Split
from forecast.spending.ledger.store import clean, iso_day
from forecast.spending.money import exponent, format_plain

_KINDS = ("payment", "refund", "deposit", "balance")


def pair(split: Split | tuple[str, int]) -> tuple[str, int]:
    """Give a split as line id and minor units."""
    return (split.line_id, split.amount_minor) if isinstance(split, Split) else split


def _is_whole(amount: object) -> bool:
    return isinstance(amount, int) and not isinstance(amount, bool)


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
    where = f"receipt of {entry.supplier or 'nobody'}, {entry.date}"
    day = iso_day(entry.date, f"{where}: date")

    def refuse(found: str, mend: str) -> NoReturn:
        message = f"{where}: {found}. {mend}."
        raise LedgerError(message)

    supplier = clean(entry.supplier)
    if not supplier:
        refuse("no supplier", "Say who was paid")
    if entry.kind not in _KINDS:
        refuse(f"kind {entry.kind!r}", f"Legal are {', '.join(_KINDS)}")
    amounts = [("amount", entry.amount_minor, entry.currency)]
    if entry.paid is not None:
        amounts.append(("charged", *entry.paid))
    for name, amount, currency in amounts:
        exponent(currency)
        if not _is_whole(amount) or not 0 < amount < 2**62:
            refuse(
                f"{name} {amount!r}",
                "It must be a whole number of minor units above zero; money back is a refund",
            )
    if not entry.splits:
        refuse("no line", "Say which line it is for")
    pairs = [(clean(line_id), amount) for line_id, amount in map(pair, entry.splits)]
    for line_id, amount in pairs:
        if not line_id:
            refuse("a split without a line", "Say which line each part is for")
        if not _is_whole(amount) or abs(amount) >= 2**62:
            refuse(f"split of line {line_id!r}: {amount!r}", "It must be a whole number of minor units")
    _, total, currency = amounts[-1]
    added = sum(amount for _, amount in pairs)
    if added != total:
        gap = total - added
        word = "missing" if gap > 0 else "too much"
        message = (
            f"{where}: its splits add up to {format_plain(added, currency)} {currency}, the receipt is "
            f"{format_plain(total, currency)} {currency}: {format_plain(abs(gap), currency)} {currency}"
            f" {word}. "
            "Correct a split, or split the rest evenly or by estimate."
        )
        raise UnbalancedError(message)
    key = entry.entry_key if entry.entry_key is None else clean(entry.entry_key)
    note = clean(entry.note, lines=True)
    return replace(entry, date=day, supplier=supplier, splits=tuple(pairs), note=note, entry_key=key)
