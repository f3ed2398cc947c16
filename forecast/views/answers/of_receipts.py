"""The answers of ``forecast receipts``, ``receipt …``, ``agreed``, ``left`` and ``statement``.

Sums are whole minor units of their currency, exact, under names that end in ``_minor``.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import TypedDict

from forecast.engine.statistics import Estimate
from forecast.ledger.papers.paper import Found as Read
from forecast.ledger.papers.paper import Kind
from forecast.ledger.preview import Layout
from forecast.ledger.records import AgreementKind
from forecast.watching.importing import ImportRow


class ReceiptPart(TypedDict):
    """What of a receipt was for one line."""

    line: str
    amount_minor: int


class ReceiptData(TypedDict):
    """A receipt as the ledger has it.

    Attributes
    ----------
    amount_minor, currency : int, str
        What the supplier charged: the sum, and of which currency.
    paid_minor, paid_currency : int, str
        What left the account: the sum, and of which currency.
    voids : int or None
        The receipt that it takes back.
    voided_by : int or None
        The row that takes it back.
    """

    id: int
    date: dt.date
    supplier: str
    kind: str
    amount_minor: int
    currency: str
    paid_minor: int
    paid_currency: str
    splits: list[ReceiptPart]
    note: str
    voids: int | None
    voided_by: int | None


class AtP80(TypedDict):
    """What 80 of 100 builds cost no more than."""

    P80: Estimate


class MovedByEntry(TypedDict):
    """Where the build was to end before an entry, and where it ends with it."""

    before: AtP80
    now: AtP80


class ReceiptAdded(TypedDict):
    """A receipt that was entered, all that is paid so far, lines that it closed or left open, and how far it moved P80.

    That is null for a build too large to be simulated beside it.
    """

    receipt: ReceiptData
    paid_minor: int
    currency: str
    closed: list[str]
    more_to_come: list[str]
    moved: MovedByEntry | None


class ReceiptVoided(TypedDict):
    """The row that takes a receipt back, and how far that moved P80.

    That is null for a build too large to be simulated beside it.
    """

    receipt: ReceiptData
    moved: MovedByEntry | None


class DocumentKept(TypedDict):
    """A document that is kept with a receipt, named by its number."""

    receipt: int
    name: str
    sha256: str
    size: int


class FileWritten(TypedDict):
    """A file that was written."""

    file: str


class LedgerLoaded(TypedDict):
    """A ledger that was entered from text: how many receipts were new, and how many there are."""

    file: str
    new: int
    count: int


class LedgerSeen(TypedDict):
    """A whole ledger as text, of which nothing was entered yet."""

    file: str
    count: int


class ReceiptUndone(TypedDict):
    """A receipt that was taken back by undoing its entry, and when."""

    receipt: ReceiptData
    undone_at: dt.datetime


class ReceiptsAnswer(TypedDict):
    """What was paid: the receipts that stand, counted and added up, and those taken back where they were asked for."""

    currency: str
    count: int
    paid_minor: int
    receipts: list[ReceiptData]
    undone: list[ReceiptUndone]


class ImportLooked(TypedDict):
    """How a bank's file was read, and what would become of each row."""

    layout: Layout
    rows: Sequence[ImportRow]


class ImportEntered(TypedDict):
    """Receipts that were entered from a bank's file, and the lines that they closed or left open."""

    entered: list[ReceiptData]
    closed: list[str]
    more_to_come: list[str]


class PaperRead(TypedDict):
    """What a bill says, and the command that enters it.

    Attributes
    ----------
    dates : list of date
        Those that it can mean, where it does not say which.
    line : str or None
        The line of this supplier's earlier receipts.
    missing : list of str
        What was not found.
    """

    name: str
    kind: Kind
    amount: Read | None
    currency: Read | None
    date: Read | None
    dates: list[dt.date]
    supplier: Read | None
    number: Read | None
    items: list[str]
    refund: bool
    line: str | None
    remarks: list[str]
    missing: list[str]
    command: str


class CommitmentOpen(TypedDict):
    """A price agreed, and what of it is still to be paid."""

    id: int
    line: str
    supplier: str
    kind: AgreementKind
    outstanding_minor: int


class AgreedAnswer(TypedDict):
    """Prices agreed of which something is left to pay, and how far the one that was entered moved P80."""

    commitments: list[CommitmentOpen]
    outstanding_minor: int
    currency: str
    moved: MovedByEntry | None


class SaidLeft(TypedDict):
    """What was paid for a line, and what was said to be left to buy."""

    line: str
    paid_minor: int
    left_minor: int
    currency: str


class LeftOfLine(TypedDict):
    """What was said to be left to buy of a line."""

    line: str
    left_minor: int


class LeftAnswer(TypedDict):
    """What was said to be left to buy, of each line of which it was."""

    left: list[LeftOfLine]
    currency: str


class StatedSum(TypedDict):
    """A stated sum that its lines do not add up to."""

    row: int
    label: str
    said_minor: int
    adds_up_to_minor: int


class StatementAnswer(TypedDict):
    """What the lines of a supplier's statement add up to, and the stated sums that do not agree."""

    total_minor: int
    disagreements: list[StatedSum]
