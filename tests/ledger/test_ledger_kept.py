"""A ledger kept open for a while: opened once, and every read of it is as fresh as without."""

from __future__ import annotations

import sqlite3
import threading
from pathlib import Path

import pytest

from forecast.errors import LedgerError
from forecast.ledger import Ledger, kept_open, let_go


class Counted(Ledger):
    """Counts how often its file is opened."""

    opened = 0

    def _connect(self, *, create: bool = False) -> sqlite3.Connection:
        self.opened += 1
        return super()._connect(create=create)


def filled(path: Path, *suppliers: str) -> Counted:
    ledger = Counted(path, currency="EUR")
    for supplier in suppliers:
        ledger.add_receipt("2026-05-02", supplier, 1000, "EUR", [("a", 1000)])
    ledger.opened = 0
    return ledger


def suppliers(ledger: Ledger) -> list[str]:
    return [receipt.supplier for receipt in ledger.list_receipts()]


def test_it_is_opened_once_for_all_that_is_read_inside(tmp_path: Path) -> None:
    ledger = filled(tmp_path / "receipts.db", "A shop")
    with kept_open():
        for _ in range(5):
            assert suppliers(ledger) == ["A shop"]
            assert ledger.closed_lines() == frozenset()
        assert ledger.opened == 1
    suppliers(ledger)
    suppliers(ledger)
    assert ledger.opened == 3  # outside each read opens it
    assert [file.name for file in tmp_path.iterdir()] == ["receipts.db"]  # nothing is left open


def test_what_is_entered_meanwhile_here_or_elsewhere_is_read(tmp_path: Path) -> None:
    ledger = filled(tmp_path / "receipts.db", "A shop")
    with kept_open():
        assert suppliers(ledger) == ["A shop"]
        ledger.add_receipt("2026-05-03", "Here", 500, "EUR", [("a", 500)])
        assert suppliers(ledger)[1:] == ["Here"]
        elsewhere = threading.Thread(
            target=lambda: Ledger(ledger.path).add_receipt(
                "2026-05-04", "Elsewhere", 500, "EUR", [("a", 500)]
            )
        )
        elsewhere.start()
        elsewhere.join()
        assert suppliers(ledger)[1:] == ["Here", "Elsewhere"]


def test_another_file_in_its_place_is_the_one_that_is_read(tmp_path: Path) -> None:
    ledger = filled(tmp_path / "receipts.db", "A shop")
    other = filled(tmp_path / "other.db", "Another shop")
    with kept_open():
        assert suppliers(ledger) == ["A shop"]
        other.path.replace(ledger.path)
        assert suppliers(ledger) == ["Another shop"]
        ledger.path.unlink()
        with pytest.raises(LedgerError, match="cannot read the file"):
            suppliers(ledger)


def test_a_read_inside_of_a_read_has_a_moment_of_its_own(tmp_path: Path) -> None:
    ledger = filled(tmp_path / "receipts.db", "A shop")
    with kept_open(), ledger._reading() as outer:
        assert suppliers(ledger) == ["A shop"]
        assert outer.execute("SELECT count(*) FROM receipt").fetchone()[0] == 1


def test_a_read_that_fails_keeps_nothing_open(tmp_path: Path) -> None:
    ledger = filled(tmp_path / "receipts.db", "A shop")

    def fail() -> None:
        with ledger._reading() as connection:
            connection.execute("SELECT nothing FROM nowhere")

    with kept_open():
        with pytest.raises(LedgerError):
            fail()
        assert [file.name for file in tmp_path.iterdir()] == ["receipts.db"]
        assert suppliers(ledger) == ["A shop"]


def test_what_is_let_go_is_closed_and_opened_again_when_it_is_read(tmp_path: Path) -> None:
    ledger = filled(tmp_path / "receipts.db", "A shop")
    with kept_open(), kept_open():
        suppliers(ledger)
        let_go()
        assert [file.name for file in tmp_path.iterdir()] == ["receipts.db"]
        assert suppliers(ledger) == ["A shop"]
        assert ledger.opened == 2


def test_threads_share_nothing(tmp_path: Path) -> None:
    ledger = filled(tmp_path / "receipts.db", "A shop")
    found: list[str] = []

    def look() -> None:
        with kept_open():
            found.extend(suppliers(ledger))

    with kept_open():
        suppliers(ledger)
        others = [threading.Thread(target=look) for _ in range(3)]
        for other in others:
            other.start()
        for other in others:
            other.join()
        assert suppliers(ledger) == ["A shop"]
    assert found == ["A shop"] * 3
    assert ledger.opened == 4
