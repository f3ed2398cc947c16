"""Saying that a risk event happened or cannot happen any more, and taking either back."""

from __future__ import annotations

from datetime import date
from typing import Literal

from forecast.errors import LedgerError
from forecast.ledger import Ledger, Mark
from forecast.words.day_words import short_day

Said = Literal["happened", "cannot-happen"]
WORDS = {"happened": "happened", "cannot-happen": "cannot happen any more", "open": "may still happen"}
"""The states of an event in words."""


def contradiction(ledger: Ledger | None, event_id: str, state: str) -> Mark | None:
    """Give the earlier word that says the opposite of `state`; None where nothing does."""
    mark = None if ledger is None else ledger.event_states().get(event_id)
    if mark is None or "open" in (mark.state, state) or mark.state == state:
        return None
    return mark


def say_event(ledger: Ledger, event_id: str, state: Said, day: date | None = None, note: str = "") -> Mark:
    """Say that an event happened, or that it cannot happen any more.

    Raises
    ------
    LedgerError
        If the opposite was said before and not taken back, or the same.
    """
    with ledger.together():
        said = ledger.event_states().get(event_id)
        if said is not None and said.state == state:
            day_said = short_day(said.date)
            message = (
                f"event {event_id!r}: on {day_said} you said already that it {WORDS[state]}. Nothing changed."
            )
            raise LedgerError(message)
        earlier = contradiction(ledger, event_id, state)
        if earlier is not None:
            message = (
                f"event {event_id!r}: on {short_day(earlier.date)} you said that it {WORDS[earlier.state]}; "
                f"it cannot be that it {WORDS[state]} as well. "
                "If that was wrong, take it back first (--withdraw), then say this."
            )
            raise LedgerError(message)
        return ledger.mark_event(event_id, state, day, note)


def withdraw_event(
    ledger: Ledger, event_id: str, state: Said, day: date | None = None, note: str = ""
) -> Mark:
    """Take back that an event happened, or that it cannot happen: it may still happen.

    Raises
    ------
    LedgerError
        If that was not what was said last.
    """
    with ledger.together():
        mark = ledger.event_states().get(event_id)
        if mark is None or mark.state != state:
            said = "nothing was said of it" if mark is None else f"it {WORDS[mark.state]}"
            message = (
                f"event {event_id!r}: there is nothing to take back; as it stands, {said}. "
                f"Take back what was said last."
            )
            raise LedgerError(message)
        return ledger.mark_event(event_id, "open", day, note)
