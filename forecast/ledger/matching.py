"""Which line a payment is for, by what its supplier was paid for before; and whether it is in the ledger already."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from forecast.ledger import Receipt

DUPLICATE_DAYS = 4
"""A card is charged some days after the receipt; the same sum within so many days may be the same payment."""


@dataclass(frozen=True)
class Match:
    """A proposed line and why, in words; no line where the past does not tell."""

    line_id: str | None
    why: str


def plain_name(supplier: str) -> str:
    """Give a supplier's name as words in small letters, without the numbers that card statements add."""
    words = re.findall(r"[^\W\d_]+", supplier.casefold())
    return " ".join(word for word in words if len(word) > 1)


class SupplierHistory:
    """What each supplier was paid for before.

    Parameters
    ----------
    counts : mapping
        As ``Ledger.lines_by_supplier`` gives it.
    """

    def __init__(self, counts: Mapping[str, Mapping[str, int]]) -> None:
        self._counts: dict[str, dict[str, int]] = {}
        for supplier, lines in counts.items():
            mine = self._counts.setdefault(plain_name(supplier), {})
            for line_id, count in lines.items():
                mine[line_id] = mine.get(line_id, 0) + count
        self._counts.pop("", None)

    def match(self, supplier: str) -> Match:
        """Propose the line that most receipts of this supplier were for.

        The supplier is the same when the names are, or when all words of a known name stand in this one; the
        longest such name counts. A line with half of the receipts or fewer is not proposed.
        """
        name = plain_name(supplier)
        words = set(name.split())
        known = [name] if name in self._counts else [
            other for other in self._counts if len(other) > 3 and set(other.split()) <= words
        ]  # fmt: skip
        if not known:
            return Match(None, "this supplier was not paid before")
        counts = self._counts[max(known, key=lambda other: (len(other), other))]
        total = sum(counts.values())
        line_id, most = max(counts.items(), key=lambda pair: pair[1])  # of equals none has more than half
        if 2 * most <= total:
            return Match(None, f"earlier receipts of this supplier were for {', '.join(sorted(counts))}")
        return Match(line_id, f"{most} of {total} earlier receipts of this supplier")


class Duplicates:
    """Receipts that a payment of a bank or card file may already be in the ledger as.

    Parameters
    ----------
    receipts : iterable of Receipt
        Standing ones, without voids.
    source : str
        The file's source: rows imported from it before are told by their own key, so that two equal
        payments of one account are never taken for one.
    """

    def __init__(self, receipts: Iterable[Receipt], source: str) -> None:
        self._by_sum: dict[tuple[int, str], list[Receipt]] = {}
        for receipt in receipts:
            if not receipt.entry_key.startswith(key_prefix(source)):
                self._by_sum.setdefault((receipt.paid_minor, receipt.paid_currency), []).append(receipt)

    def claim(self, day: date, minor: int, currency: str) -> Receipt | None:
        """Give the nearest receipt of the same sum within some days, once; None if there is none left."""
        near = [
            receipt
            for receipt in self._by_sum.get((minor, currency), ())
            if abs((receipt.date - day).days) <= DUPLICATE_DAYS
        ]
        if not near:
            return None
        found = min(near, key=lambda receipt: (abs((receipt.date - day).days), receipt.id))
        self._by_sum[minor, currency].remove(found)
        return found


def key_prefix(source: str) -> str:
    """Give how the entry keys of a source's rows begin."""
    return f"import:{source}:"
