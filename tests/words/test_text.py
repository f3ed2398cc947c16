"""Text from elsewhere: nothing in it may act on a terminal or a page."""

from __future__ import annotations

import json
import unicodedata
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecast.buildfile.reader import read_build
from forecast.words.text import bare_words, ended, folded, plain
from tests.buildfile.texts import HEAD, LINE, complaints
from tests.views.test_cli import run


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("Größe 5 µm, 6 €", "Größe 5 µm, 6 €"),
        ("\x1b[31mred\x1b[0m", "red"),
        ("\x1b[2J\x1b[Hgone", "gone"),
        ("\x9b31mred", "red"),
        ("\x1b]0;a title\x07kit", "kit"),
        ("\x1b]8;;https://example.org\x1b\\kit\x1b]8;;\x1b\\", "kit"),
        ("\x1b]52;c;aGVsbG8=", ""),
        ("\x1bcreset", "reset"),
        ("a\x00b\x08c\x7fd", "abcd"),
        ("1,\u202e00,1 €\u202c", "1,00,1 €"),
        ("half \ud83d", "half \ufffd"),
        ("two\r\nlines\rmore", "two\nlines\nmore"),
    ],
)
def test_what_acts_is_taken_out_and_what_is_read_stays(text: str, shown: str) -> None:
    assert plain(text) == shown


def test_one_line_is_one_line() -> None:
    assert plain("Kit\n2. another\tmistake", lines=False) == "Kit 2. another mistake"


@given(st.text())
def test_nothing_that_acts_is_left_of_any_text(text: str) -> None:
    for lines in (True, False):
        shown = plain(text, lines=lines)
        controls = {sign for sign in shown if unicodedata.category(sign) in ("Cc", "Cs")}
        assert controls <= ({"\n", "\t"} if lines else set())
        assert plain(shown, lines=lines) == shown
        assert len(shown) <= len(text)


NAMED = (
    LINE
    + 'amount = 3\nname = "\\u001b[31mKit\\u001b[0m\\nsecond\\u202eline"\nnote = "\\u001b]0;x\\u0007note"\n'
)


def test_names_are_read_as_one_plain_line(tmp_path: Path) -> None:
    file = tmp_path / "build.toml"
    file.write_text(HEAD + NAMED, encoding="utf-8")

    assert read_build(file).line[0].title == "Kit secondline"


def test_a_name_of_nothing_but_signs_that_act_is_empty() -> None:
    assert "an empty name" in complaints(HEAD + LINE + 'amount = 3\nname = "\\u001b[31m"\n')[0]


def test_no_command_prints_what_acts(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "build.toml"
    file.write_text(HEAD.replace("coupe", "coupe\\u001b[2J\\u009b") + NAMED, encoding="utf-8")
    for command in (["budget", "--trials", "64"], ["check"], ["open", "a"], ["check", "--json"]):
        name, *more = command
        told = run(capsys, name, str(file), *more)
        assert not {sign for sign in told if unicodedata.category(sign) == "Cc"} - {"\n"}
    assert json.loads(told)["ok"]

    file.write_text(HEAD + '"\\u001b[31mx" = 3\n', encoding="utf-8")
    assert "\x1b" not in run(capsys, "budget", str(file), expect=2)


@pytest.mark.parametrize(
    ("written", "bare"),
    [
        ("Größe (µm)", "grosse m"),
        ("Beløb", "belob"),
        ("Opłata celna", "oplata celna"),
        ("KIRMA / kırma", "kirma kirma"),
        ("Część-nr 5", "czesc nr 5"),
    ],
)
def test_a_heading_is_read_without_accents_whatever_letters_it_has(written: str, bare: str) -> None:
    assert bare_words(written) == bare
    assert folded(bare) == bare


@pytest.mark.parametrize(
    ("sentence", "said"),
    [
        ("Paid at a shop", "Paid at a shop."),
        ("Paid at Lakier sp. z o.o.", "Paid at Lakier sp. z o.o."),
        ("The rest later...", "The rest later..."),
        ("Half of it \u2026", "Half of it \u2026"),
    ],
)
def test_a_sentence_ends_in_one_full_stop(sentence: str, said: str) -> None:
    assert ended(sentence) == said
