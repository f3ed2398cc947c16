"""The file itself: migrations, damage, full disks, locks, many writers, and programs that die."""

from __future__ import annotations

import os
import random
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from types import ModuleType
from typing import NoReturn

import pytest

from forecast.errors import LedgerError
from forecast.ledger import Ledger, book, commitments, days, marks, receipt_rows, store
from forecast.ledger.days import paid_by_day
from forecast.ledger.migrations import MIGRATIONS, migrate, version_of
from forecast.ledger.stored import (
    StoredValueError,
    stored_currency,
    stored_day,
    stored_moment,
    stored_number,
    stored_table,
    stored_whole,
)

ROOT = Path(__file__).resolve().parents[2]
WRITER = """
import sys
from forecast.ledger import Ledger
path, name, count = sys.argv[1], sys.argv[2], int(sys.argv[3])
ledger = Ledger(path, currency="EUR", who=name)
for number in range(count):
    ledger.add_receipt("2026-05-02", name, 100 + number, "EUR", [("a", 60), ("b", 40 + number)],
                       entry_key=f"{name}-{number}")
    print(number, flush=True)
"""


def _start(script: str, *arguments: str, **options: object) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", script, *arguments], cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        text=True, **options,
    )  # type: ignore[call-overload]  # fmt: skip


def _add(ledger: Ledger, amount: int = 1000) -> None:
    ledger.add_receipt("2026-05-02", "Shop", amount, "EUR", [("a", amount)])


def test_the_file_is_opened_with_everything_safe_switched_on(tmp_path: Path) -> None:
    ledger = Ledger(tmp_path / "receipts.db")
    connection = ledger._connect()
    try:
        asked = ("journal_mode", "synchronous", "foreign_keys", "busy_timeout", "user_version")
        found = [connection.execute(f"PRAGMA {name}").fetchone()[0] for name in asked]
        strict = {
            row[1]: row[5]
            for row in connection.execute("PRAGMA table_list")
            if not row[1].startswith("sqlite")
        }
    finally:
        connection.close()
    assert found == ["wal", 2, 1, 60_000, len(MIGRATIONS)]
    assert set(strict.values()) == {1}


@pytest.mark.parametrize(
    ("asked", "index"),
    [
        ("receipt WHERE as_of = ?", "receipt_by_date"),
        ("receipt WHERE supplier = ?", "receipt_by_supplier"),
        ("receipt WHERE commitment_id = ?", "receipt_by_commitment"),
        ("receipt WHERE entry_key = ?", "receipt_by_key"),
        ("receipt WHERE voids = ?", "receipt_by_void"),
        ("split WHERE receipt_id = ?", "split_by_receipt"),
        ("line_mark WHERE line_id = ?", "line_mark_by_line"),
        ("event_mark WHERE event_id = ?", "event_mark_by_event"),
        ("change WHERE tbl = 'receipt' AND row_id = ?", "change_by_row"),
    ],
)
def test_what_is_asked_for_is_not_searched_through_the_whole_ledger(
    tmp_path: Path, asked: str, index: str
) -> None:
    ledger = Ledger(tmp_path / "receipts.db")
    with closing(ledger._connect()) as connection:
        (plan,) = connection.execute(f"EXPLAIN QUERY PLAN SELECT * FROM {asked}", ("1",)).fetchall()
    assert f" INDEX {index} (" in plan[-1]


def test_a_migration_that_fails_leaves_nothing_behind(tmp_path: Path) -> None:
    def halfway(connection: sqlite3.Connection) -> None:
        connection.execute("CREATE TABLE half (x INTEGER) STRICT")
        connection.execute("INSERT INTO nowhere VALUES (1)")

    path = tmp_path / "receipts.db"
    _add(Ledger(path, currency="EUR"))
    connection = sqlite3.connect(path, isolation_level=None)
    try:
        with pytest.raises(sqlite3.OperationalError, match="nowhere"):
            migrate(connection, str(path), (*MIGRATIONS, ("halfway", halfway)))
        assert version_of(connection) == len(MIGRATIONS)
        tables = [row[0] for row in connection.execute("SELECT name FROM sqlite_schema")]
        assert "half" not in tables
        done = [row[0] for row in connection.execute("SELECT version FROM migration")]
        assert done == list(range(1, len(MIGRATIONS) + 1))
    finally:
        connection.close()
    assert len(Ledger(path).list_receipts()) == 1


def test_another_programs_database_is_never_made_into_a_ledger(tmp_path: Path) -> None:
    with closing(sqlite3.connect(tmp_path / "songs.db", isolation_level=None)) as connection:
        connection.execute("CREATE TABLE song (title TEXT)")
        with pytest.raises(LedgerError, match=r"songs.db: a database, but not a receipt ledger"):
            migrate(connection, str(tmp_path / "songs.db"))
        assert [row[0] for row in connection.execute("SELECT name FROM sqlite_schema")] == ["song"]


def test_where_the_system_knows_no_name_it_is_the_builder_who_enters(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def nobody() -> str:
        raise KeyError

    monkeypatch.setattr("getpass.getuser", nobody)
    ledger = Ledger(tmp_path / "receipts.db", currency="EUR")
    _add(ledger)
    assert [receipt.who for receipt in ledger.list_receipts()] == ["builder"]


def test_an_added_migration_is_applied_once_and_recorded(tmp_path: Path) -> None:
    def step(connection: sqlite3.Connection) -> None:
        connection.execute("CREATE TABLE later (x INTEGER) STRICT")

    path = tmp_path / "receipts.db"
    _add(Ledger(path, currency="EUR"))
    connection = sqlite3.connect(path, isolation_level=None)
    try:
        steps = (*MIGRATIONS, ("later", step))
        assert migrate(connection, str(path), steps) == len(steps)
        assert migrate(connection, str(path), steps) == len(steps)
        assert connection.execute("SELECT count(*) FROM migration WHERE name = 'later'").fetchone()[0] == 1
    finally:
        connection.close()
    with pytest.raises(
        LedgerError, match=r"written by a newer version of this program .* Nothing was changed"
    ):
        Ledger(path)


def test_another_programs_database_is_refused_untouched(tmp_path: Path) -> None:
    path = tmp_path / "other.db"
    connection = sqlite3.connect(path)
    connection.execute("CREATE TABLE contacts (name)")
    connection.commit()
    connection.close()
    before = path.read_bytes()
    with pytest.raises(LedgerError, match="a database, but not a receipt ledger"):
        Ledger(path)
    assert path.read_bytes() == before


def test_a_file_that_is_no_database_is_refused_untouched(tmp_path: Path) -> None:
    path = tmp_path / "receipts.db"
    path.write_bytes(b"these are my receipts, written by hand\n" * 100)
    before = path.read_bytes()
    with pytest.raises(LedgerError, match=r"receipts\.db: the file is damaged or is no ledger"):
        Ledger(path)
    assert path.read_bytes() == before


def test_a_table_whose_text_is_damaged_is_said_to_be_damaged(tmp_path: Path) -> None:
    """SQLite quotes the text, which is none that can be read."""
    path = tmp_path / "receipts.db"
    Ledger(path, currency="EUR")
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    data = path.read_bytes()
    assert b"CREATE TABLE" in data
    path.write_bytes(data.replace(b"CREATE TABLE", b"CREATE \xffABLE", 1))
    with pytest.raises(LedgerError, match=r"receipts\.db: the file is damaged or is no ledger"):
        Ledger(path).list_receipts()


def test_a_damaged_file_is_said_to_be_damaged(tmp_path: Path) -> None:
    path = tmp_path / "receipts.db"
    ledger = Ledger(path, currency="EUR")
    for _ in range(50):
        _add(ledger)
    content = bytearray(path.read_bytes())
    content[4096:] = bytes(byte ^ 0x5A for byte in content[4096:])
    path.write_bytes(content)
    with pytest.raises(LedgerError, match="the file is damaged"):
        ledger.list_receipts()


def test_a_missing_folder_is_said_to_be_missing(tmp_path: Path) -> None:
    with pytest.raises(LedgerError, match="Check that its folder exists"):
        Ledger(tmp_path / "nowhere" / "receipts.db")


def test_a_ledger_that_vanished_is_not_made_anew(tmp_path: Path) -> None:
    ledger = Ledger(tmp_path / "receipts.db", currency="EUR")
    for name in tmp_path.iterdir():
        name.unlink()
    with pytest.raises(LedgerError, match="cannot write the file"):
        _add(ledger)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("change", "read"),
    [
        ("UPDATE receipt SET as_of = '2026-\x105-03'", Ledger.list_receipts),
        ("UPDATE receipt SET as_of = '2026-\x105-03'", paid_by_day),
        ("UPDATE receipt SET recorded_at = 'noon'", Ledger.list_receipts),
        ("UPDATE receipt SET currency = 'E\x15R'", Ledger.list_receipts),
        ("UPDATE receipt SET currency = 'E\x15R'", paid_by_day),
        ("UPDATE setting SET value = 'E\x15R'", lambda ledger: ledger.currency),
        ("UPDATE setting SET value = 'E\x15R'", _add),
        ("UPDATE line_mark SET as_of = '2026-13-45'", Ledger.line_states),
        ("UPDATE still_to_buy SET as_of = '2026-13-45'", Ledger.list_still_to_buy),
        ("UPDATE baseline SET base_by_line = '{'", Ledger.list_baselines),
        ("UPDATE baseline SET base_by_line = '[1]'", Ledger.list_baselines),
        ("UPDATE commitment SET as_of = '2026-13-45'", Ledger.list_commitments),
        ("UPDATE commitment SET as_of = '2026-13-45'", lambda ledger: ledger.settle_commitment(1)),
        ("UPDATE commitment SET expected_minor = 0", Ledger.committed_by_line),
        ("UPDATE change SET at = 'noon'", Ledger.history),
        ("UPDATE change SET at = 'noon'", lambda ledger: ledger.recent(1)),
        ("UPDATE attachment SET recorded_at = 'noon'", Ledger.attachments),
        ("UPDATE import_source SET mapping = '{'", lambda ledger: ledger.source("bank")),
    ],
)
def test_a_day_or_list_that_was_never_written_is_damage_and_said_so(
    change: str, read: Callable[[Ledger], object], tmp_path: Path
) -> None:
    """One bit turned on a disk makes it, and SQLite does not notice."""
    ledger = Ledger(tmp_path / "receipts.db", currency="EUR")
    _add(ledger)
    (receipt,) = ledger.list_receipts()
    ledger.attach(receipt.id, "0" * 64, "a.pdf", 9)
    ledger.close_line("b", date="2026-05-04")
    ledger.say_still_to_buy("c", 500, date="2026-05-04")
    ledger.add_commitment("2026-05-04", "Shop", "d", 900, "EUR")
    ledger.freeze_baseline(
        10_000,
        "EUR",
        fingerprint="x",
        build_text="x",
        seed=1,
        trials=16,
        base_by_line={"a": 1},
        date="2026-05-01",
    )
    ledger.remember_source("bank", {"a": 1})
    read(ledger)
    with closing(sqlite3.connect(ledger.path)) as connection:
        connection.execute("PRAGMA ignore_check_constraints = 1")
        for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            connection.execute(f"DROP TRIGGER {name}")
        assert connection.execute(change).rowcount >= 1
        connection.commit()

    with pytest.raises(LedgerError, match=r"the file is damaged .* put a copy"):
        read(ledger)


@pytest.mark.parametrize("error", [TypeError, ValueError])
@pytest.mark.parametrize(
    ("place", "slips", "read"),
    [
        (receipt_rows, "Receipt", Ledger.list_receipts),
        (receipt_rows, "counts", Ledger.paid_by_line),
        (marks, "Mark", Ledger.line_states),
        (marks, "StillToBuy", Ledger.list_still_to_buy),
        (commitments, "Commitment", Ledger.list_commitments),
        (days, "DayPaid", paid_by_day),
        (book, "LedgerChange", Ledger.history),
    ],
)
def test_a_mistake_of_the_program_is_not_called_damage_of_the_file(
    place: ModuleType,
    slips: str,
    read: Callable[[Ledger], object],
    error: type[Exception],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Who is told to put a copy in the place of a sound file would lose what was entered since."""
    ledger = Ledger(tmp_path / "receipts.db", currency="EUR")
    _add(ledger)
    ledger.close_line("b", date="2026-05-04")
    ledger.say_still_to_buy("c", 500, date="2026-05-04")
    ledger.add_commitment("2026-05-04", "Shop", "d", 900, "EUR")

    def slip(*_: object, **__: object) -> NoReturn:
        message = "a slip"
        raise error(message)

    with monkeypatch.context() as patch:
        patch.setattr(place, slips, slip)
        with pytest.raises(error, match="a slip"):
            read(ledger)
    read(ledger)


@pytest.mark.parametrize(
    ("read", "found"),
    [
        (stored_day, b"2026-05-03"),
        (stored_day, None),
        (stored_moment, 20260503),
        (stored_whole, "12"),
        (stored_whole, 12.5),
        (stored_whole, None),
        (stored_number, "12"),
        (stored_currency, b"EUR"),
        (stored_currency, "Eur"),
        (stored_table, b"\xff"),
        (stored_table, None),
    ],
)
def test_what_is_of_another_kind_than_was_written_is_damage(
    read: Callable[[object], object], found: object
) -> None:
    """A bit turned in the head of a row makes numbers and bytes of texts."""
    with pytest.raises(StoredValueError):
        read(found)


class _SmallDisk(Ledger):
    """A ledger on a disk with no room beyond what the file has now."""

    def _connect(self, *, create: bool = False) -> sqlite3.Connection:
        connection = super()._connect(create=create)
        pages = connection.execute("PRAGMA page_count").fetchone()[0]
        connection.execute(f"PRAGMA max_page_count = {max(pages, 60)}")
        return connection


def test_a_full_disk_is_said_and_nothing_is_lost(tmp_path: Path) -> None:
    ledger = _SmallDisk(tmp_path / "receipts.db", currency="EUR")
    written = 0

    def fill() -> None:
        nonlocal written
        for _ in range(10_000):
            ledger.add_receipt("2026-05-02", "Shop", 1000, "EUR", [("a", 1000)], "x" * 500)
            written += 1

    with pytest.raises(LedgerError, match=r"the disk is full\. .* every earlier one is safe"):
        fill()
    assert written > 0
    assert len(ledger.list_receipts()) == written
    assert ledger.check() == ()
    _add(Ledger(ledger.path))  # with room again it goes on
    assert len(ledger.list_receipts()) == written + 1


def test_a_file_that_may_not_grow_is_said_and_nothing_is_lost(tmp_path: Path) -> None:
    path = tmp_path / "receipts.db"
    Ledger(path, currency="EUR")
    script = (
        "import resource, signal, sys\n"
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (300_000, 300_000))\n" + WRITER
    )
    out, err = _start(script, str(path), "w", "5000").communicate(timeout=60)
    assert "LedgerError" in err
    assert "earlier ones are safe" in err or "every earlier one is safe" in err
    acknowledged = len(out.split())
    assert acknowledged > 0
    assert len(Ledger(path).list_receipts()) == acknowledged
    assert Ledger(path).check() == ()


@pytest.mark.parametrize("old", [False, True], ids=["new", "of the first version"])
def test_a_read_only_folder_can_be_read_and_refuses_writing(tmp_path: Path, old: bool) -> None:
    folder = tmp_path / "frozen"
    folder.mkdir()
    path = folder / "receipts.db"
    if old:
        _of_the_first_version(path)
    else:
        _add(Ledger(path, currency="EUR"))
    script = (
        "import os, sys\n"
        "from forecast.errors import LedgerError\n"
        "from forecast.ledger import Ledger\n"
        "import forecast.words.minor_units as money; money.exponent('EUR')\n"
        "if os.geteuid() == 0: os.setgid(65534); os.setuid(65534)\n"  # permissions do not bind the superuser
        "ledger = Ledger(sys.argv[1])\n"
        "print(len(ledger.list_receipts(include_void=True)))\n"
        "try: ledger.add_receipt('2026-05-02', 'Shop', 1, 'EUR', [('a', 1)])\n"
        "except LedgerError as error: print(error)\n"
    )
    path.chmod(0o444)
    folder.chmod(0o555)
    parents = [
        parent for parent in folder.parents if parent.stat().st_uid == os.geteuid() and parent != Path("/")
    ]
    modes = [parent.stat().st_mode for parent in parents]
    try:
        for parent, mode in zip(parents, modes, strict=True):
            parent.chmod(mode | 0o055)
        out, err = _start(script, str(path)).communicate(timeout=60)
    finally:
        for parent, mode in zip(parents, modes, strict=True):
            parent.chmod(mode)
        folder.chmod(0o755)
    assert err == ""
    count, message = out.strip().split("\n")
    assert count == ("2" if old else "1")
    assert "read-only, so nothing was written; all that was entered is safe" in message
    path.chmod(0o644)
    assert len(Ledger(path).list_receipts(include_void=True)) == int(count)


def test_a_locked_file_is_said_to_be_locked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    ledger = Ledger(tmp_path / "receipts.db", currency="EUR")
    monkeypatch.setattr(store, "BUSY_SECONDS", 0.05)
    other = sqlite3.connect(ledger.path, isolation_level=None)
    try:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(
            LedgerError, match=r"another program kept the file locked for 0\.05 s. Nothing was changed"
        ):
            _add(ledger)
        assert ledger.list_receipts() == ()  # readers are not kept waiting
    finally:
        other.close()
    _add(ledger)


def test_several_processes_write_to_one_ledger(tmp_path: Path) -> None:
    path = tmp_path / "receipts.db"
    writers = [_start(WRITER, str(path), f"w{number}", "50") for number in range(4)]
    ends = [writer.communicate(timeout=120) for writer in writers]
    assert [err for _, err in ends] == [""] * 4
    ledger = Ledger(path)
    keys = [receipt.entry_key for receipt in ledger.list_receipts()]
    assert sorted(keys) == sorted(f"w{number}-{index}" for number in range(4) for index in range(50))
    assert ledger.check() == ()


def test_a_killed_process_loses_no_acknowledged_receipt(tmp_path: Path) -> None:
    path = tmp_path / "receipts.db"
    Ledger(path, currency="EUR")
    moments = random.Random(5)
    acknowledged: list[str] = []
    for number in range(10):
        writer = _start(WRITER, str(path), f"w{number}", "100000")
        assert writer.stdout is not None
        first = writer.stdout.readline()
        time.sleep(moments.uniform(0, 0.05))
        writer.send_signal(signal.SIGKILL)
        with writer:  # read(), not communicate(), which would pass over what readline() has read ahead
            out = writer.stdout.read()
        acknowledged += [f"w{number}-{line}" for line in (first + out).split("\n")[:-1]]
        assert Ledger(path).check() == ()
    kept = [receipt.entry_key for receipt in Ledger(path).list_receipts()]
    assert len(kept) == len(set(kept))
    assert set(acknowledged) <= set(kept)
    assert len(kept) - len(acknowledged) <= 10  # at most one written and not yet acknowledged a kill


def _of_the_first_version(path: Path) -> list[str]:
    """Make a ledger as version 0.1 made it, and give the tables of its rows in the order of entering."""
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("PRAGMA journal_mode = WAL")
    migrate(connection, str(path), MIGRATIONS[:1])
    stamp = "'2026-05-02T10:00:00+00:00', 'me'"
    receipt, void = f"'r', '2026-05-02', {stamp}, 'Shop'", f"'void:r', '2026-05-03', {stamp}, 'Shop'"
    for statement in (
        f"INSERT INTO setting VALUES ('currency', 1, 'EUR', {stamp})",
        f"INSERT INTO commitment VALUES (1, 'c', '2026-05-01', {stamp}, 'Maker', 'kit', 500, 'EUR', 500, '')",
        f"INSERT INTO commitment_end VALUES (1, 'end:c', '2026-05-04', {stamp}, 1, 'settled', '')",
        f"INSERT INTO receipt VALUES (1, {receipt}, 'payment', 9, 'USD', 7, 'EUR', '', 1, NULL)",
        "INSERT INTO split VALUES (1, 1, 'kit', 7)",
        f"INSERT INTO receipt VALUES (2, {void}, 'void', -9, 'USD', -7, 'EUR', 'twice', 1, 1)",
        "INSERT INTO split VALUES (2, 2, 'kit', -7)",
        f"INSERT INTO attachment VALUES (1, 1, '{'a' * 64}', 'photo.jpg', 9, {stamp})",
        f"INSERT INTO baseline VALUES (1, 'b', '2026-05-01', {stamp}, 900, 'EUR', '', '', 1, 16, '{{}}', NULL, '')",
    ):
        connection.execute(statement)
    told = [row[0] for row in connection.execute("SELECT tbl FROM change ORDER BY id")]
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()
    return told


def test_a_ledger_of_the_first_version_is_read_on_with_all_that_is_in_it(tmp_path: Path) -> None:
    path = tmp_path / "receipts.db"
    told = _of_the_first_version(path)
    ledger = Ledger(path)
    assert [change.table for change in ledger.history()] == told
    receipt, void = ledger.list_receipts(include_void=True)
    assert (receipt.paid_minor, receipt.voided_by, receipt.commitment_id, void.voids) == (7, 2, 1, 1)
    assert ledger.list_commitments(include_ended=True)[0].state == "settled"
    assert ledger.attachments()[0].name == "photo.jpg"
    assert ledger.list_baselines()[0].budget_minor == 900
    assert ledger.check() == ()
    for table in ("receipt", "commitment", "commitment_end", "baseline", "attachment", "undone"):
        for statement in (f"UPDATE {table} SET id = 9", f"DELETE FROM {table}"):
            with ledger._writing() as open_file:
                if table == "undone":
                    open_file.execute("INSERT OR IGNORE INTO undone VALUES (1, 'x', 1, 'now', 'me')")
                with pytest.raises(sqlite3.IntegrityError, match="stay as they are"):
                    open_file.execute(statement)


def test_marks_and_agreements_of_earlier_versions_are_kept_when_more_can_be_said(tmp_path: Path) -> None:
    path = tmp_path / "receipts.db"
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("PRAGMA journal_mode = WAL")
    migrate(connection, str(path), MIGRATIONS[:1])
    stamp = "'2026-05-02T10:00:00+00:00', 'me'"
    for statement in (
        f"INSERT INTO setting VALUES ('currency', 1, 'EUR', {stamp})",
        f"INSERT INTO commitment VALUES (1, 'c', '2026-05-01', {stamp}, 'Maker', 'kit', 500, 'EUR', 500, 'by word')",
        f"INSERT INTO line_mark VALUES (1, 'm', '2026-05-02', {stamp}, 'kit', 'closed', 'all there')",
        f"INSERT INTO line_mark VALUES (2, 'n', '2026-05-03', {stamp}, 'kit', 'open', 'not quite')",
        f"INSERT INTO line_mark VALUES (3, 'o', '2026-05-03', {stamp}, 'paint', 'closed', '')",
    ):
        connection.execute(statement)
    told = connection.execute("SELECT * FROM change ORDER BY id").fetchall()
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()

    ledger = Ledger(path)
    assert [(mark.subject, mark.state, mark.note) for _, mark in ledger.list_marks()] == [
        ("kit", "closed", "all there"), ("kit", "open", "not quite"), ("paint", "closed", ""),
    ]  # fmt: skip
    agreed = ledger.list_commitments()[0]
    assert (agreed.amount_minor, agreed.note, agreed.kind) == (500, "by word", "fixed")
    with ledger._reading() as open_file:
        assert open_file.execute("SELECT * FROM change ORDER BY id").fetchall() == told
    ledger.expect_more("kit", "2026-05-04")
    assert (
        ledger.add_commitment("2026-05-04", "Shop", "paint", 900, "EUR", kind="estimate").kind == "estimate"
    )
    added = ledger.history()[len(told) :]
    assert [(one.table, (one.after or {})["state" if one.table == "line_mark" else "kind"]) for one in added] == [
        ("line_mark", "more"), ("commitment", "estimate"),
    ]  # fmt: skip
    assert ledger.closed_lines() == {"paint"}
    assert ledger.check() == ()
    for statement in (
        "UPDATE line_mark SET state = 'open'",
        "DELETE FROM line_mark",
        "UPDATE commitment SET kind = 'fixed'",
    ):
        with ledger._writing() as open_file, pytest.raises(sqlite3.IntegrityError, match="stay as they are"):
            open_file.execute(statement)
    with ledger._writing() as open_file, pytest.raises(sqlite3.IntegrityError, match="CHECK"):
        open_file.execute(
            f"INSERT INTO line_mark VALUES (9, 'p', '2026-05-05', {stamp}, 'kit', 'perhaps', '')"
        )
