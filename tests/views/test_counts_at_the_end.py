"""Lines bought, not bought and closed are one count, whatever sentence, table or picture names it."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest

from forecast.ledger.folder import BuildFolder
from forecast.record.finishing import to_finish
from forecast.start import create_build, read_answers
from forecast.views.cli import main
from forecast.views.settling_words import finish_question, state_words
from forecast.watching.reforecast import reforecast

SAY = Callable[..., str]
PAID = {
    "kit.goods": 2400, "kit.freight": 410, "kit.tax": 700, "sander": 260, "hand_tools": 150, "filler": 61,
    "abrasives": 75, "lamps": 35, "paint_kit_parts": 1450,
}  # fmt: skip


@pytest.fixture
def say(capsys: pytest.CaptureFixture[str]) -> SAY:
    def told(*arguments: str) -> str:
        capsys.readouterr()
        assert main([str(one) for one in arguments]) == 0
        return capsys.readouterr().out

    return told


@pytest.fixture
def lived(tmp_path: Path, say: SAY) -> BuildFolder:
    """A kit bought abroad with a card, one bill nobody told of, one line given up before, one risk that came."""
    answers = {"country": "GB", "origin": "US", "kit_price": 3200, "paint": "shop", "filling": "self"}
    folder = BuildFolder.at(create_build(tmp_path / "car", read_answers(answers)))
    say("freeze", folder.folder, "--budget", "17000")
    ledger = folder.ledger()
    for name, paid in PAID.items():
        ledger.add_receipt("2026-03-02", "A shop", 100 * paid, "GBP", [(name, 100 * paid)])
        ledger.close_line(name, "2026-03-02")
    say(
        "receipt", "add", folder.folder, "--date", "2026-03-03", "--amount", "55", "--supplier", "Port",
        "--line", "Port sundry", "--new-line=import", "--all",
    )  # fmt: skip
    ledger.close_line("snags", "2026-03-04")
    ledger.mark_event("hidden_rust", "happened", "2026-03-04")
    return folder


def numbers(pattern: str, text: str) -> tuple[int, ...]:
    found = re.search(pattern, text)
    assert found is not None, text
    return tuple(int(one) for one in found.groups())


def test_lines_with_nothing_paid_are_one_count(lived: BuildFolder, say: SAY) -> None:
    """The end said 28 and 29, its picture 22, earned value 23 with the card's margin among them."""
    (asked,) = numbers(
        r"for (\d+) lines that were sure to be",
        finish_question(to_finish(lived.ledger(), lived.read()), "GBP"),
    )
    told = say("finish", lived.folder, "--sure")
    first, more, whole = numbers(
        r"Nothing was paid for (\d+) lines that were sure to be needed.* (\d+) more was closed before: (\d+) in all",
        told,
    )
    never, sure, maybe = numbers(
        r"Nothing was paid for (\d+) lines: (\d+) sure to be needed, [^ ]+ at their middle figures, and (\d+) perhaps",
        told,
    )
    assert asked == first
    assert (more, whole) == (1, sure)
    assert never == sure + maybe
    worth = re.search(r"(\d+) lines sure to be needed, worth £([\d,.]+), closed", say("earned", lived.folder))
    assert worth is not None
    assert int(worth[1]) == sure
    watch = reforecast(lived.read(), lived.ledger())
    assert (
        sum(state_words(line) == "not needed" for line in watch.lines)
        == never
        == len(watch.counts.not_bought)
    )
    middles = sum(line.base for line in watch.lines if line.not_bought)
    assert float(worth[2].replace(",", "")) == pytest.approx(middles, abs=0.2)
    moved = say("moved", lived.folder)
    assert numbers(r"and (\d+) others are not needed", moved) == (never - 1,)


def test_lines_that_close_are_told_apart_from_risks(lived: BuildFolder, say: SAY) -> None:
    """“49 open lines close” stood beside 12 of 60 that were closed: the risk that came was one of them."""
    counts = reforecast(lived.read(), lived.ledger(), trials=256).counts
    question = finish_question(to_finish(lived.ledger(), lived.read()), "GBP")
    (closing, came) = numbers(
        r"^(\d+) open lines close, (\d+) risk that came closes, and \d+ risks can", question
    )
    assert closing + len(counts.closed) == len(counts.costing)
    assert came == 1
    told = say("finish", lived.folder, "--sure")
    assert numbers(r"^(\d+) lines that were open are closed, (\d+) risk that came is closed, ", told) == (
        closing,
        came,
    )
    undone = say("undo", lived.folder, "--look")
    assert numbers(
        r"(\d+) lines closed and “Hidden rust or an old repair found” closed and \d+ risks cannot", undone
    ) == (closing,)
    done = reforecast(lived.read(), lived.ledger(), trials=256).counts
    assert done.closed == done.costing == counts.costing


def test_lines_bought_are_one_count(lived: BuildFolder, say: SAY) -> None:
    """“The 23 lines that you bought” and “Of 24 lines bought and closed” stood in one answer."""
    told = say("finish", lived.folder, "--sure")
    assert numbers(r"The (\d+) lines that you bought cost", told) == (len(PAID),)
    assert numbers(r"Of (\d+) lines bought and closed, \d+ had a range", told) == (len(PAID),)
    assert "£55 went on 1 bill that nobody foresaw." in told


def test_a_price_paid_in_full_closes_its_line_for_the_end_too(tmp_path: Path, say: SAY) -> None:
    """What is agreed and paid in full is closed without a word: it was counted as open only where the build ends."""
    folder = BuildFolder.at(create_build(tmp_path / "car", read_answers({"country": "GB", "origin": "US"})))
    ledger = folder.ledger()
    say("agreed", folder.folder, "paint_kit_parts", "--supplier", "Shop", "--amount", "1500")
    ledger.add_receipt("2026-03-02", "Shop", 150_000, "GBP", [("paint_kit_parts", 150_000)], commitment_id=1)
    watch = reforecast(folder.read(), ledger, trials=256)
    assert "paint_kit_parts" in watch.counts.closed
    found = to_finish(ledger, folder.read())
    assert found.lines + len(watch.counts.closed) == len(watch.counts.costing)
