"""The receipt ledger: one SQLite file beside the build file, in which nothing is ever lost or altered."""

from __future__ import annotations

from forecast.ledger.book import Ledger
from forecast.ledger.opened import kept_open, let_go
from forecast.ledger.records import (
    AttachedFile,
    Baseline,
    Commitment,
    CommitmentState,
    EventState,
    EveryReceipt,
    LedgerChange,
    LineState,
    Mark,
    NewReceipt,
    Receipt,
    ReceiptKind,
    Split,
    StillToBuy,
)

__all__ = [
    "AttachedFile",
    "Baseline",
    "Commitment",
    "CommitmentState",
    "EventState",
    "EveryReceipt",
    "Ledger",
    "LedgerChange",
    "LineState",
    "Mark",
    "NewReceipt",
    "Receipt",
    "ReceiptKind",
    "Split",
    "StillToBuy",
    "kept_open",
    "let_go",
]
