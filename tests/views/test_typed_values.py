"""What is typed in a command: days as people write them, lines by their names, and a sentence for what is missing."""

from __future__ import annotations

import argparse
import datetime as dt
from pathlib import Path

import pytest

from forecast.ledger.folder import BuildFolder
from forecast.views.cli import main
from forecast.views.commands.naming import day

TEXT = """\
[build]
name = "x"
currency = "EUR"
country = "IE"
[[line]]
id = "storage"
name = "Storage of parts"
group = "other"
amount = 0
[[line]]
id = "kit"
name = "Body kit"
group = "kit"
amount = { low = 900, middle = 1200, high = 1600 }
[[line]]
id = "primer"
name = "Primer"
group = "consumables"
amount = { low = 60, middle = 90, high = 140 }
"""


@pytest.fixture
def folder(tmp_path: Path) -> str:
    (tmp_path / "build.toml").write_text(TEXT, encoding="utf-8")
    return str(tmp_path)


@pytest.mark.parametrize(
    "written",
    ["2026-11-28", "20261128", "28-11-2026", "28.11.2026", "28/11/2026", "28 Nov 2026",
     "28. November 2026", "Nov 28, 2026"],
)  # fmt: skip
def test_a_day_is_read_as_people_write_it(written: str) -> None:
    assert day(written) == dt.date(2026, 11, 28)


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("3/4/2026", "'3/4/2026' can be 3 April 2026 or 4 March 2026. Write 2026-04-03, or 2026-03-04."),
        ("tomorrow", "'tomorrow' is no day. Write it like 28 Nov 2026, or 2026-11-28."),
        ("31-02-2026", "'31-02-2026' is no day."),
        ("paid 28 Nov 2026", "is no day"),
    ],
)
def test_a_day_that_can_mean_two_names_both_and_what_is_none_says_how(written: str, said: str) -> None:
    with pytest.raises(argparse.ArgumentTypeError) as caught:
        day(written)
    assert said in str(caught.value)


def refused(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    try:
        code = main(list(words))
    except SystemExit as left:
        code = int(left.code or 0)
    assert code == 2
    return capsys.readouterr().err


def test_a_value_not_understood_and_one_left_out_are_a_sentence_without_the_usage(
    folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    bill = (
        "receipt",
        "add",
        folder,
        "--line",
        "kit",
        "--amount",
        "5",
        "--supplier",
        "x",
        "--date",
        "1/2/2026",
    )
    for words, said in (
        (bill, "--date: '1/2/2026' can be 1 February 2026 or 2 January 2026."),
        (
            ("receipt", "add", folder, "--line", "kit"),
            "forecast receipt add: --amount, --supplier are missing.",
        ),
        (("receipt", "void", folder, "x", "--why", "y"), "'x' is no whole number"),
    ):
        told = refused(capsys, *words)
        assert "usage:" not in told
        assert said in told
        assert len(told.splitlines()) == 1


def test_a_line_is_found_by_its_name_without_blanks_and_the_nearest_that_cost_money_are_suggested(
    folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """`--line bodykit` listed twelve ids, and not "Body kit"."""
    bill = ("receipt", "add", folder, "--amount", "5", "--supplier", "x", "--line")
    assert main([*bill, "bodykit"]) == 0
    assert "for “Body kit”" in capsys.readouterr().out
    told = refused(capsys, *bill, "kit of the body")
    assert "Nearest by name: “Body kit” (kit)" in told
    assert "Storage" not in told  # it costs nothing


def test_a_folder_that_is_not_there_is_no_mistake_of_a_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    told = refused(capsys, "watch", str(tmp_path / "nowhere"))
    assert "nowhere: there is no build here. Check its name and where it lies." in told
    assert "mistake" not in told


def test_a_sum_with_a_digit_too_many_can_be_typed_as_it_is_told(
    folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    bill = ("receipt", "add", folder, "--supplier", "x", "--line", "kit", "--amount")
    assert "'19.275' can mean 19275 or 19.28. Write 19275, or 19.28." in refused(capsys, *bill, "19.275")
    assert main([*bill, "19.28"]) == 0
    assert BuildFolder.at(folder).ledger().paid_by_line() == {"kit": 1_928}
