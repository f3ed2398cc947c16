"""What tabs share: the state of a ledger, told apart after every entry."""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest

from forecast.dashboard.state import ledger_state
from forecast.ledger import Ledger


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    return Ledger(tmp_path / "receipts.db", currency="EUR")


def enter(ledger: Ledger) -> None:
    ledger.add_receipt("2026-05-02", "somebody", 100, "EUR", [("kit", 100)])


def test_every_entry_makes_another_state_however_fast_it_follows(ledger: Ledger) -> None:
    seen = [ledger_state(ledger)]
    for _ in range(30):
        enter(ledger)
        seen.append(ledger_state(ledger))
    assert len(set(seen)) == 31


def test_the_ledger_is_not_read_again_while_its_files_stand_still(
    ledger: Ledger, monkeypatch: pytest.MonkeyPatch
) -> None:
    enter(ledger)
    long_ago = time.time() - 60
    os.utime(ledger.path, (long_ago, long_ago))
    state = ledger_state(ledger)
    with monkeypatch.context() as patch:
        patch.setattr(Ledger, "recent", lambda *_: pytest.fail("read again"))
        assert ledger_state(ledger) == state
    enter(Ledger(ledger.path))  # another window, or another program
    assert ledger_state(ledger) != state


def test_no_ledger_has_a_state_of_its_own() -> None:
    assert ledger_state(None) == ""
