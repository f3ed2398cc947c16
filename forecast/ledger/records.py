"""What the ledger holds, as plain frozen records.

Money is in whole minor units of the currency beside it. Signs are those of money leaving: a refund and a void
carry negative amounts, so that adding up needs no cases. ``date`` says when a thing held, ``recorded_at``
when the ledger was told (UTC), ``who`` by whom.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from forecast.words.minor_units import to_decimal

ReceiptKind = Literal["payment", "refund", "deposit", "balance"]
"""What a receipt is; a deposit is paid ahead, a balance is what was left to pay."""

EventState = Literal["open", "happened", "cannot-happen"]
LineState = Literal["open", "closed", "more"]
"""Open: nothing was said; more: that more is to come."""

AgreementKind = Literal["fixed", "estimate"]
"""A fixed price, or an estimate that may still grow."""

CommitmentState = Literal["open", "settled", "cancelled"]


@dataclass(frozen=True)
class Split:
    """The part of a receipt that one line cost, in the build's currency."""

    line_id: str
    amount_minor: int


@dataclass(frozen=True)
class NewReceipt:
    """A receipt as entered: amounts are positive whatever its kind; see ``Ledger.add_receipt``.

    With ``apart`` it does not count against an open agreement with the same supplier for the same line.
    """

    date: dt.date | str
    supplier: str
    amount_minor: int
    currency: str
    splits: tuple[Split | tuple[str, int], ...]
    note: str = ""
    paid: tuple[int, str] | None = None
    kind: ReceiptKind = "payment"
    entry_key: str | None = None
    commitment_id: int | None = None
    apart: bool = False


@dataclass(frozen=True)
class Receipt:
    """Money paid or refunded, split over lines.

    Attributes
    ----------
    amount_minor, currency : int, str
        What the supplier charged.
    charged_minor, charged_currency : int or None, str or None
        What the card was charged, where that was in another currency.
    splits : tuple of Split
        In the build's currency; they add up to `paid_minor`.
    voids, voided_by : int or None
        The receipt that this row voids; the row that voids this one.
    """

    id: int
    entry_key: str
    date: dt.date
    supplier: str
    amount_minor: int
    currency: str
    kind: str
    splits: tuple[Split, ...]
    note: str
    charged_minor: int | None
    charged_currency: str | None
    commitment_id: int | None
    voids: int | None
    voided_by: int | None
    recorded_at: dt.datetime
    who: str

    @property
    def paid_minor(self) -> int:
        """What left the account, in minor units of `paid_currency`."""
        return self.amount_minor if self.charged_minor is None else self.charged_minor

    @property
    def paid_currency(self) -> str:
        """The currency of the account."""
        return self.currency if self.charged_currency is None else self.charged_currency

    @property
    def rate(self) -> Decimal | None:
        """What one unit of the supplier's currency cost, card fees included; None if not exchanged."""
        if self.charged_minor is None or self.charged_currency is None or not self.amount_minor:
            return None
        charged = to_decimal(self.charged_minor, self.charged_currency)
        return charged / to_decimal(self.amount_minor, self.currency)


@dataclass(frozen=True)
class EveryReceipt:
    """Every receipt that was ever entered, and what became of each.

    Attributes
    ----------
    receipts : tuple of Receipt
        By day, then in the order they were entered: those that stand, voided ones, the rows that void them, and those
        that were undone.
    undone : mapping of int to datetime
        When one was undone, by its number.
    """

    receipts: tuple[Receipt, ...]
    undone: Mapping[int, dt.datetime]

    def stands(self, receipt: Receipt) -> bool:
        """Tell whether it counts: it was neither taken back nor undone, and takes back no other."""
        return receipt.voids is None and receipt.voided_by is None and receipt.id not in self.undone

    @property
    def standing(self) -> tuple[Receipt, ...]:
        """Those that count."""
        return tuple(receipt for receipt in self.receipts if self.stands(receipt))

    @property
    def taken_back(self) -> tuple[Receipt, ...]:
        """Those that count no more."""
        return tuple(one for one in self.receipts if one.voids is None and not self.stands(one))


@dataclass(frozen=True)
class Commitment:
    """A price agreed but not yet paid, for one line.

    Attributes
    ----------
    expected_minor : int
        The agreed sum in the build's currency.
    paid_minor : int
        Deposits and other receipts entered against it so far.
    ended : date or None
        When it was settled or cancelled.
    share : float
        How much of it is paid, as a share: of the sum in its own currency where it was paid in that, so that a rate
        that moved leaves nothing to pay.
    """

    id: int
    entry_key: str
    date: dt.date
    supplier: str
    line_id: str
    amount_minor: int
    currency: str
    expected_minor: int
    note: str
    state: CommitmentState
    ended: dt.date | None
    paid_minor: int
    recorded_at: dt.datetime
    who: str
    kind: AgreementKind = "fixed"
    share: float = 0.0

    @property
    def outstanding_minor(self) -> int:
        """What is still to pay, in the build's currency; nothing once settled or cancelled."""
        return self.left_minor(self.share) if self.state == "open" else 0

    def left_minor(self, share: float) -> int:
        """Give what is left of it in the build's currency, with a share of it paid."""
        return max(0, round(self.expected_minor * (1 - share)))

    def share_of(self, paid_minor: float, foreign: tuple[str, float] | None) -> float:
        """Give the share of it that a sum pays.

        Parameters
        ----------
        paid_minor : float
            What left the account, in the build's currency.
        foreign : (str, float) or None
            What the supplier charged, where that was in another currency: its code and the sum in its minor units.
        """
        if foreign is not None and foreign[0] == self.currency:
            return foreign[1] / self.amount_minor
        return paid_minor / self.expected_minor


@dataclass(frozen=True)
class Mark:
    """The state of a line or an event from a date on."""

    subject: str
    state: str
    date: dt.date
    note: str
    recorded_at: dt.datetime
    who: str


@dataclass(frozen=True)
class StillToBuy:
    """How much is left to buy of a line beside what was paid, in the build's currency."""

    line_id: str
    amount_minor: int
    date: dt.date
    note: str
    recorded_at: dt.datetime
    who: str


@dataclass(frozen=True)
class Baseline:
    """The budget as committed, with all that is needed to compute it again.

    Attributes
    ----------
    budget_minor, currency : int, str
        The sum committed to.
    fingerprint : str
        Of the build as it was.
    build_text : str
        The build file, word for word.
    seed, trials : int
        What the simulation was run with.
    base_by_line : dict of str to int
        Base figures per line, minor units.
    """

    id: int
    entry_key: str
    date: dt.date
    budget_minor: int
    currency: str
    fingerprint: str
    build_text: str
    seed: int
    trials: int
    base_by_line: dict[str, int]
    scenario: str | None
    note: str
    recorded_at: dt.datetime
    who: str


@dataclass(frozen=True)
class AttachedFile:
    """A photo or document of a receipt, kept by the hash of its content."""

    receipt_id: int
    sha256: str
    name: str
    size: int
    recorded_at: dt.datetime
    who: str


@dataclass(frozen=True)
class LedgerChange:
    """One line of the history: who did what to which row, and how it stood before and after."""

    id: int
    at: dt.datetime
    who: str
    table: str
    row_id: int
    action: str
    before: dict[str, object] | None
    after: dict[str, object] | None
