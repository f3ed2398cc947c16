"""Whether a bill that nobody told of is what an open line is for: by what both are called, and never by a guess."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from forecast.buildfile.reader import parse_build
from forecast.buildfile.schema import Build
from forecast.ledger import Ledger
from forecast.start import read_answers, write_build
from forecast.watching.told_of import open_lines_like

ANSWERS = {"country": "DE", "origin": "US", "kit_price": {"low": 1900, "high": 2600}, "paint": "shop"}


@pytest.fixture(scope="module")
def build() -> Build:
    return parse_build(write_build(read_answers(ANSWERS)))


@pytest.mark.parametrize(
    ("name", "group", "lines"),
    [
        (
            "Terminal, documents, storage at the port",
            "other",
            ("kit.terminal", "kit.documents", "kit.storage"),
        ),
        ("Terminal handling charges", "import", ("kit.terminal",)),
        ("DOCUMENT FEE", "freight", ("kit.documents",)),  # a forwarder charges freight and import in one
        ("Sea freight", "freight", ("kit.freight",)),
        (
            "Port bill",
            "import",
            ("kit.terminal", "kit.documents", "kit.surcharges", "kit.storage"),
        ),
        ("Paint", "finish", ("paint_kit_parts",)),
        ("Trailer hire", "labour", ("trailer",)),
        ("Bolts", "hardware", ("body_fasteners",)),
        ("Port examination and demurrage", "other", ("kit.storage", "kit.examination")),
        ("Customs inspection", "other", ("kit.examination",)),
        ("Container exam fee", "import", ()),  # a word more may be another thing
        ("Brokerage", "other", ("kit.entry",)),
        ("Customs clearance", "import", ("kit.entry",)),
        ("Drayage", "other", ("kit.delivery",)),
        ("Haulage of the body kit", "freight", ("kit.delivery",)),
        ("Detention", "other", ("kit.storage",)),
    ],
)
def test_a_bill_called_as_an_open_line_is_held_against_it(
    build: Build, name: str, group: str, lines: tuple[str, ...]
) -> None:
    assert open_lines_like(build, None, name, group) == lines


@pytest.mark.parametrize(
    ("name", "group"),
    [
        ("Port bill", "other"),  # not said to be on the way
        ("Port of call", "finish"),
        ("Delivery of the compressor", "other"),  # another thing than what comes to the door
        ("Storage of the old bumpers", "other"),
        ("Trailer repair", "labour"),
        ("Paint for the garage", "finish"),
        ("Wheel bolts", "wheels"),
        ("Lamp bulbs", "hardware"),
        ("Hotel near the terminal", "other"),
        ("Insurance", "other"),
        ("Kit", "kit"),
        ("Kit parts", "other"),
        ("Customs", "import"),
        ("Haulage of the car", "other"),
        ("Inspection", "finish"),
        ("Clearance", "labour"),
        ("Demurrage of the compressor", "other"),
        ("VAT", "import"),
        ("Registration", "other"),
        ("Inspection of the compressor", "other"),
        ("Terminal", "hardware"),  # an electrical one: said to stand elsewhere
        ("Documents", "finish"),
        ("Skip", "other"),
        ("Gas", "other"),
        ("At the port", "wheels"),
        ("!", "other"),
    ],
)
def test_what_only_shares_a_word_with_a_line_is_not_asked_about(build: Build, name: str, group: str) -> None:
    assert open_lines_like(build, None, name, group) == ()


def test_a_risk_that_cannot_happen_is_no_answer(build: Build, tmp_path: Path) -> None:
    ledger = Ledger(tmp_path / "receipts.db", currency="EUR")
    ledger.mark_event("kit.examination", "cannot-happen", dt.date(2026, 4, 1))
    assert open_lines_like(build, ledger, "Port exam and demurrage", "other") == ("kit.storage",)


def test_what_is_paid_or_closed_is_no_answer(build: Build, tmp_path: Path) -> None:
    ledger = Ledger(tmp_path / "receipts.db", currency="EUR")
    ledger.add_receipt(dt.date(2026, 4, 1), "A forwarder", 9_000, "EUR", [("kit.terminal", 9_000)])
    ledger.close_line("kit.documents", dt.date(2026, 4, 1))
    assert open_lines_like(build, ledger, "Terminal, documents, storage", "import") == ("kit.storage",)
