"""Events said to have happened or not to be able to, held against what was said before."""

from __future__ import annotations

from pathlib import Path

import pytest

from forecast.errors import LedgerError
from forecast.ledger import Ledger
from forecast.ledger.events import contradiction, say_event, withdraw_event


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    return Ledger(tmp_path / "receipts.db", currency="EUR")


@pytest.mark.parametrize(("first", "second"), [("happened", "cannot-happen"), ("cannot-happen", "happened")])
def test_the_opposite_needs_the_first_word_taken_back(ledger: Ledger, first: str, second: str) -> None:
    say_event(ledger, "damage", first)  # type: ignore[arg-type]
    with pytest.raises(LedgerError, match=r"you said already that it .* Nothing changed\."):
        say_event(ledger, "damage", first)  # type: ignore[arg-type]
    assert contradiction(ledger, "damage", second) is not None
    with pytest.raises(LedgerError, match=r"take it back first \(--withdraw\)"):
        say_event(ledger, "damage", second)  # type: ignore[arg-type]
    assert ledger.event_states()["damage"].state == first
    withdraw_event(ledger, "damage", first)  # type: ignore[arg-type]
    say_event(ledger, "damage", second)  # type: ignore[arg-type]
    assert ledger.event_states()["damage"].state == second


def test_only_what_was_said_is_taken_back(ledger: Ledger) -> None:
    with pytest.raises(LedgerError, match="nothing was said of it"):
        withdraw_event(ledger, "damage", "happened")
    say_event(ledger, "damage", "happened")
    with pytest.raises(LedgerError, match="as it stands, it happened"):
        withdraw_event(ledger, "damage", "cannot-happen")
    assert contradiction(None, "damage", "happened") is None
