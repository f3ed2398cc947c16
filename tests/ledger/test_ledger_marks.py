from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from forecast.errors import LedgerError
from forecast.ledger import Ledger


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    return Ledger(tmp_path / "receipts.db", currency="EUR", who="builder")


def test_a_line_is_closed_and_reopened_from_a_day_on(ledger: Ledger) -> None:
    ledger.close_line("filler", "2026-03-01", "enough")
    ledger.reopen_line("filler", "2026-04-01")
    assert ledger.closed_lines("2026-02-28") == frozenset()
    assert ledger.closed_lines("2026-03-01") == {"filler"}
    assert ledger.closed_lines() == frozenset()
    assert ledger.line_states("2026-03-15")["filler"].note == "enough"


def test_marks_count_by_their_day_not_by_when_they_were_entered(ledger: Ledger) -> None:
    ledger.close_line("filler", "2026-03-01")
    ledger.reopen_line("filler", "2026-02-01", anyway=True)
    assert ledger.closed_lines() == {"filler"}


def test_an_event_is_marked_from_a_day_on(ledger: Ledger) -> None:
    ledger.mark_event("damage", "happened", "2026-03-01")
    ledger.mark_event("damage", "open", "2026-03-05")
    ledger.mark_event("storage", "cannot-happen", "2026-03-02")
    assert {name: mark.state for name, mark in ledger.event_states("2026-03-02").items()} == {
        "damage": "happened",
        "storage": "cannot-happen",
    }
    assert ledger.event_states()["damage"].state == "open"
    with pytest.raises(LedgerError, match="Legal are open, happened and cannot-happen"):
        ledger.mark_event("damage", "perhaps")  # type: ignore[arg-type]
    with pytest.raises(LedgerError, match="no name given"):
        ledger.close_line("")


def test_the_last_word_on_what_is_left_counts(ledger: Ledger) -> None:
    first = ledger.say_still_to_buy("primer", 5000, "2026-03-01", "two tins,\nthen the hardener")
    assert first.note == "two tins,\nthen the hardener"
    ledger.say_still_to_buy("primer", 0, "2026-03-09")
    assert ledger.still_to_buy("2026-03-08")["primer"].amount_minor == 5000
    assert ledger.still_to_buy()["primer"].amount_minor == 0
    with pytest.raises(LedgerError, match="cannot be below zero"):
        ledger.say_still_to_buy("primer", -1)


def test_a_word_that_would_change_nothing_is_refused(ledger: Ledger) -> None:
    ledger.close_line("filler", "2026-03-02")
    with pytest.raises(
        LedgerError, match=r"filler is closed since 2\sMar\s2026: nothing more .* Open the line again"
    ):
        ledger.say_still_to_buy("filler", 500)
    ledger.reopen_line("filler", "2026-03-10")
    ledger.say_still_to_buy("filler", 500, "2026-03-11")
    before = ledger.history()
    with pytest.raises(
        LedgerError, match=r"filler is open from 10\sMar\s2026 on, .* closed from 5\sMar\s2026 on would"
    ):
        ledger.close_line("filler", "2026-03-05")
    with pytest.raises(
        LedgerError, match=r"was said for 11\sMar\s2026 too, .* or give 11\sMar\s2026 or later"
    ):
        ledger.say_still_to_buy("filler", 300, "2026-03-09")
    ledger.mark_event("damage", "happened", "2026-03-08")
    with pytest.raises(LedgerError, match=r"damage happened from 8\sMar\s2026 on"):
        ledger.mark_event("damage", "cannot-happen", "2026-03-07")
    assert ledger.history()[: len(before)] == before
    assert len(ledger.history()) == len(before) + 1
    ledger.close_line("filler", "2026-03-10")  # the same day: the last word counts
    assert ledger.closed_lines() == {"filler"}
    ledger.close_line("filler", "2026-03-01")  # earlier than was known: it is closed all the same
    assert ledger.closed_lines("2026-03-01") == {"filler"}


def test_a_commitment_shrinks_by_deposits_and_ends(ledger: Ledger) -> None:
    kit = ledger.add_commitment("2026-01-10", "Kit maker", "kit", 500_000, "JPY", expected_minor=300_000)
    deposit = ledger.add_receipt(
        "2026-01-12", "Kit maker", 150_000, "JPY", [("kit", 95_000)], paid=(95_000, "EUR"), kind="deposit",
        commitment_id=kit.id,
    )  # fmt: skip
    assert deposit.commitment_id == kit.id
    assert ledger.committed_by_line("2026-01-09") == {}
    assert ledger.committed_by_line("2026-01-11") == {"kit": 300_000}
    assert ledger.committed_by_line() == {"kit": 210_000}
    ledger.settle_commitment(kit.id, "2026-02-20")
    assert ledger.committed_by_line("2026-02-19") == {"kit": 210_000}
    assert ledger.committed_by_line() == {}
    assert ledger.list_commitments() == ()
    ended = ledger.list_commitments(include_ended=True)[0]
    assert (ended.state, ended.ended, ended.outstanding_minor) == ("settled", date(2026, 2, 20), 0)
    with pytest.raises(LedgerError, match=r"was settled on 20\sFeb\s2026"):
        ledger.cancel_commitment(kit.id)


def test_a_void_deposit_leaves_the_commitment_whole(ledger: Ledger) -> None:
    kit = ledger.add_commitment("2026-01-10", "Kit maker", "kit", 300_000, "EUR")
    deposit = ledger.add_receipt(
        "2026-01-12", "Kit maker", 90_000, "EUR", [("kit", 90_000)], kind="deposit", commitment_id=kit.id
    )
    ledger.void_receipt(deposit.id, "bounced", "2026-01-20")
    assert ledger.committed_by_line("2026-01-19") == {"kit": 300_000}
    assert ledger.committed_by_line() == {"kit": 300_000}


def test_a_cancelled_commitment_counts_no_more(ledger: Ledger) -> None:
    item = ledger.add_commitment("2026-01-10", "Sprayer", "paint", 200_000, "EUR", entry_key="quote 5")
    assert (
        ledger.add_commitment("2026-01-10", "Sprayer", "paint", 200_000, "EUR", entry_key="quote 5") == item
    )
    ledger.cancel_commitment(item.id, "2026-01-11")
    assert ledger.committed_by_line() == {}


def test_commitments_that_cannot_be_true_are_refused(ledger: Ledger) -> None:
    with pytest.raises(LedgerError, match="above zero"):
        ledger.add_commitment("2026-01-10", "Sprayer", "paint", 0, "EUR")
    with pytest.raises(LedgerError, match="agreed in JPY, but the build counts in EUR"):
        ledger.add_commitment("2026-01-10", "Sprayer", "paint", 100, "JPY")
    with pytest.raises(LedgerError, match="supplier or line is empty"):
        ledger.add_commitment("2026-01-10", "Sprayer", "", 100, "EUR")
    with pytest.raises(LedgerError, match="no commitment 7"):
        ledger.settle_commitment(7)
    item = ledger.add_commitment("2026-01-10", "Sprayer", "paint", 100, "EUR")
    with pytest.raises(LedgerError, match="on or after"):
        ledger.settle_commitment(item.id, "2026-01-09")


def test_baselines_are_kept_word_for_word(ledger: Ledger) -> None:
    assert ledger.baseline() is None
    text = '[build]\nname = "Coupé – long"\n'
    first = ledger.freeze_baseline(
        945_000, "EUR", fingerprint="abc", build_text=text, seed=1, trials=16384,
        base_by_line={"kit": 300_000, "filler": 6600}, scenario="diy", date="2026-02-01",
        note="agreed at home,\nwith the loan",
    )  # fmt: skip
    second = ledger.freeze_baseline(
        990_000,
        "EUR",
        fingerprint="def",
        build_text=text,
        seed=1,
        trials=16384,
        base_by_line={},
        date="2026-04-01",
    )
    assert first.build_text == text
    assert first.note == "agreed at home,\nwith the loan"
    assert first.base_by_line == {"kit": 300_000, "filler": 6600}
    assert ledger.list_baselines() == (first, second)
    assert ledger.baseline("2026-03-31") == first
    assert ledger.baseline() == second
    with pytest.raises(LedgerError, match="above zero"):
        ledger.freeze_baseline(0, "EUR", fingerprint="", build_text="", seed=1, trials=1, base_by_line={})
    with pytest.raises(LedgerError, match="counts in EUR"):
        ledger.freeze_baseline(1, "JPY", fingerprint="", build_text="", seed=1, trials=1, base_by_line={})
