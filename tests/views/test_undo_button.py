"""The button that undoes an entry names what it takes back."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from forecast.ledger import Ledger
from forecast.ledger.undoing import last_entry
from forecast.views.undone_words import take_back_words

DAY = "2026-05-02"
TITLES = {"kit": "Bumpers, four box arches, skirts and a spoiler", "paint": "Paint"}


def _void(ledger: Ledger) -> None:
    number = ledger.add_receipt(DAY, "Harbour Agents", 688_42, "EUR", [("kit", 688_42)]).id
    ledger.void_receipt(number, "twice")


def _three(ledger: Ledger) -> None:
    with ledger.together():
        for name in ("kit", "paint", "filler"):
            ledger.close_line(name, DAY)


def _three_and_a_risk(ledger: Ledger) -> None:
    with ledger.together():
        _three(ledger)
        ledger.mark_event("rust", "cannot-happen", DAY)


@pytest.mark.parametrize(
    ("enter", "said"),
    [
        (
            lambda one: one.add_receipt(DAY, "Harbour Agents", 688_42, "EUR", [("kit", 688_42)]),
            "Take back €688.42 to Harbour Agents",
        ),
        (
            lambda one: one.add_receipt(DAY, "A shop", 38_00, "EUR", [("kit", 38_00)], kind="refund"),
            "Take back €38.00 from A shop",
        ),
        (_void, "Put receipt 1 of Harbour Agents back"),
        (
            lambda one: one.add_commitment(DAY, "Welder", "kit", 700_00, "EUR"),
            "Take back the price agreed with Welder",
        ),
        (lambda one: one.close_line("paint", DAY), "Take back what was said of “Paint”"),
        (
            lambda one: one.close_line("kit", DAY),
            "Take back what was said of “Bumpers, four box arches, skirts…”",
        ),
        (lambda one: one.mark_event("rust", "happened", DAY), "Take back what was said of “rust”"),
        (_three, "Take back what was said of 3 lines"),
        (_three_and_a_risk, "Take back what was said of 3 lines and 1 risk"),
    ],
)
def test_it_names_what_it_takes_back(tmp_path: Path, enter: Callable[[Ledger], object], said: str) -> None:
    """It read "Undo this entry", and nothing beside it on a phone said which."""
    ledger = Ledger(tmp_path / "r.db", currency="EUR")
    enter(ledger)
    entry = last_entry(ledger)
    assert entry is not None
    assert take_back_words(entry, "EUR", TITLES) == said
