"""What was read from a paper, each thing with where it stood; only ever a proposal."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal

Kind = Literal["invoice", "text", "photo"]

LONGEST_NOTE = 300
"""Characters of a proposed note; an invoice may have thousands of lines."""


@dataclass(frozen=True)
class Found:
    """One thing that was read.

    Attributes
    ----------
    said : str
        As it would stand in the form: ``1234.50``, ``2026-05-31``, ``EUR``, a name.
    where : str
        Where it stood, in words: ``“Total 1,234.50” on page 1``.
    """

    said: str
    where: str


@dataclass(frozen=True)
class Paper:
    """What a paper says.

    Attributes
    ----------
    name : str
        Of the file.
    kind : {"invoice", "text", "photo"}
        An electronic invoice is read exactly; text and photos are read as well as can be.
    amount : Found or None
        Without currency; as it stands on the paper where it can mean two numbers.
    currency, supplier, number : Found or None
    day : Found or None
        As year-month-day; none where it can mean two days.
    days : tuple of date
        Both days that it can mean.
    items : tuple of str
        What was bought, as the invoice names it.
    refund : bool
        Whether money comes back: a credit note.
    remarks : tuple of str
        What else the builder should know, as sentences.
    """

    name: str
    kind: Kind
    amount: Found | None = None
    currency: Found | None = None
    day: Found | None = None
    supplier: Found | None = None
    number: Found | None = None
    days: tuple[date, ...] = ()
    items: tuple[str, ...] = ()
    refund: bool = False
    remarks: tuple[str, ...] = ()

    @property
    def note(self) -> str:
        """The number and what was bought, as a note: ``Invoice 17: resin; brushes; and 3 more``."""
        head = ""
        if self.number is not None:
            head = f"{'Credit note' if self.refund else 'Invoice'} {self.number.said}"
        told: list[str] = []
        for item in self.items:
            rest = len(self.items) - len(told)
            if len("; ".join([head, *told, item])) + len(f"; and {rest} more") > LONGEST_NOTE:
                told.append(f"and {rest} more")
                break
            told.append(item)
        return ": ".join(filter(None, (head, "; ".join(told))))[:LONGEST_NOTE]

    @property
    def missing(self) -> tuple[str, ...]:
        """What a receipt needs and was not found, in words."""
        needed = {
            "sum": self.amount is None,
            "day": self.day is None and not self.days,
            "supplier": self.supplier is None,
        }
        return tuple(word for word, absent in needed.items() if absent)


__all__ = ["LONGEST_NOTE", "Found", "Kind", "Paper"]
