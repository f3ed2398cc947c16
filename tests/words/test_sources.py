"""How sources are worded, in one place: no file of data words them itself."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path

import pytest

from forecast.words.sources import Certainty, source_words

ROOT = Path(__file__).parents[2]
WORDED = re.compile(
    r"(?i)stored copy|\bmirror of\b|seen in print|as copied|old copy|from memory|supplier page|\ba tutorial\b"
    r"|supplier'?s? (?:help page|guide|article)|scribd\.com"
)


@pytest.mark.parametrize(
    ("place", "certainty", "read", "told"),
    [
        ("hse.gov.uk", "verified", date(2026, 11, 6), "read on 6 November 2026 at hse.gov.uk"),
        ("19 CFR 24.24", "third party", None, "19 CFR 24.24"),
        ("", "no source", None, "no source"),
        ("the tariff", "no source", date(2026, 1, 1), "no source; to be looked up in: the tariff"),
        ("", "common practice", None, "common practice, no source"),
        ("some count half", "common practice", None, "common practice, no source (some count half)"),
    ],
)
def test_a_source_is_worded_by_what_is_known_of_it(
    place: str, certainty: Certainty, read: date | None, told: str
) -> None:
    assert source_words(place, certainty, read) == told


def test_no_file_of_data_words_its_sources_itself() -> None:
    files = [
        path
        for folder in ("forecast", "scenarios", "tests/references")
        for path in (ROOT / folder).rglob("*")
        if path.suffix in (".toml", ".json")
    ]
    found = {str(path.relative_to(ROOT)): set(WORDED.findall(path.read_text("utf-8"))) for path in files}
    assert len(files) > 20
    assert {name: words for name, words in found.items() if words} == {}
