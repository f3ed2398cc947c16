"""The end of a build: what it cost is said to the cent, and all that was open is closed by one word."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from forecast.buildfile.reader import read_build
from forecast.ledger.folder import BuildFolder, open_demo
from forecast.ledger.undoing import undo_last
from forecast.record.finishing import to_finish
from forecast.views.cli import main
from forecast.views.sentences import watch_sentence
from forecast.views.settling_words import finish_question
from forecast.views.watch_words import columns, line_figures
from forecast.watching.reforecast import reforecast
from forecast.words.money import about, exact

TWO_QUOTES = """
[[option]]
id = "one"
choice = "insurer"
[[option]]
id = "two"
choice = "insurer"
override = { insurer = { amount = 600 } }
"""


@pytest.fixture
def half_way(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> BuildFolder:
    monkeypatch.setenv("FORECAST_HOME", str(tmp_path / "home"))
    folder = open_demo("half-way-new-zealand")
    assert main(["receipt", "load", str(folder.folder)]) == 0
    capsys.readouterr()
    return folder


def test_one_word_ends_a_build_and_one_undo_takes_it_back(
    half_way: BuildFolder, capsys: pytest.CaptureFixture[str]
) -> None:
    before = reforecast(half_way.read(), half_way.ledger(), trials=1024)
    assert not before.finished
    assert main(["finish", str(half_way.folder), "--sure"]) == 0
    told = capsys.readouterr().out
    assert re.search(
        r"[0-9]+ lines that were open are closed, 1 risk that came is closed, [0-9]+ risks can happen no more",
        told,
    )
    assert "It cost NZ$21,106.37 in all: nothing is open any more." in told
    assert "That is NZ$15,893.63 under your budget of NZ$37,000." in told
    after = reforecast(half_way.read(), half_way.ledger(), trials=1024)
    assert after.finished
    assert {round(value, 2) for value in after.totals.tolist()} == {21106.37}
    assert main(["watch", str(half_way.folder)]) == 0
    told = capsys.readouterr().out
    assert "in 10 of 100 builds it was to cost no more\n" in told
    for word in (
        "it costs no more",
        "simulation error",
        "effective",
        "\n\n\n",
    ):  # nothing is uncertain any more
        assert word not in told
    assert main(["finish", str(half_way.folder), "--sure"]) == 0
    assert "All was closed already." in capsys.readouterr().out
    undo_last(half_way.ledger())
    again = reforecast(half_way.read(), half_way.ledger(), trials=1024)
    assert again.totals.tolist() == before.totals.tolist()


def test_the_end_names_what_nothing_was_ever_paid_for(
    half_way: BuildFolder, capsys: pytest.CaptureFixture[str]
) -> None:
    before = {line.id: line for line in reforecast(half_way.read(), half_way.ledger(), trials=1024).lines}
    assert main(["finish", str(half_way.folder), "--sure", "--json"]) == 0
    missing = json.loads(capsys.readouterr().out)["never_paid"]
    sure = {name for name, line in before.items() if line.before[0] > 0 and line.kind == "line"}
    assert set(missing) == {name for name in sure if not before[name].paid and before[name].state != "closed"}
    assert missing
    middles = [before[name].before[1] for name in missing]
    assert middles[0] == max(middles)
    undo_last(half_way.ledger())
    assert main(["finish", str(half_way.folder), "--sure"]) == 0
    told = capsys.readouterr().out
    sure_to_be = f"{len(missing)} lines that were sure to be needed: " if len(missing) > 1 else ""
    assert f"Nothing was paid for {sure_to_be}\u201c{before[missing[0]].title}\u201d" in told
    assert main(["finish", str(half_way.folder), "--sure"]) == 0
    assert "that were sure to be needed: " not in capsys.readouterr().out


def test_at_its_end_nothing_is_rounded_and_no_contingency_is_asked_for(
    half_way: BuildFolder, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["finish", str(half_way.folder), "--sure"]) == 0
    capsys.readouterr()
    assert main(["watch", str(half_way.folder)]) == 0
    told = capsys.readouterr().out
    assert told.startswith("It cost NZ$21,106.37 in all")
    assert "of contingency is left" not in told
    assert "The open ranges count" not in told
    assert main(["budget", str(half_way.folder)]) == 0
    told = capsys.readouterr().out
    assert "Your own work" not in told
    assert "It cost NZ$21,106.37 in all: nothing is open any more." in told
    assert "That is NZ$15,893.63 under your budget" in told
    assert "Hold NZ$" not in told
    assert main(["undo", str(half_way.folder), "--look"]) == 0
    told = capsys.readouterr().out
    assert re.search(
        r"Entered last: [0-9]+ lines closed and “[^”]+” closed and [0-9]+ risks cannot happen any more", told
    )
    assert main(["budget", str(half_way.folder), "--before-receipts"]) == 0
    assert "Your own work" in capsys.readouterr().out
    watch = reforecast(half_way.read(), half_way.ledger(), trials=1024)
    for column in columns(watch):
        assert column.still_open == 0
        assert column.paid == pytest.approx(21106.37)
    for line in watch.lines:
        _, paid, now, _, _ = line_figures(line, watch.currency)
        if line.state == "closed" and line.paid:
            assert now == paid


def test_how_far_a_line_is_off_is_the_difference_of_what_stands_beside_it(half_way: BuildFolder) -> None:
    watch = reforecast(half_way.read(), half_way.ledger(), trials=4096)
    off = maybe = 0
    for line in watch.lines:
        estimate, _, now, _, change = line_figures(line, watch.currency)
        if not line.needed:  # nothing was estimated to come, so nothing is off it
            maybe += 1
            assert change == ""
            assert re.search(r"^NZ\$[0-9,]+ if (needed|it happens)$", estimate)
            continue
        written = [read_sum(text) for text in (estimate, now, change)]
        assert written[2] == pytest.approx(written[1] - written[0], abs=0.001)
        off += written[2] != 0
    assert off > 5
    assert maybe > 3


def read_sum(text: str) -> float:
    """Read a sum back as it is written: ``−NZ$1,230``."""
    return float(re.sub(r"[^0-9.\-]", "", text.replace("\u2212", "-")))


def test_the_end_stands_where_it_does_among_what_was_forecast(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A uniform line from 1,000 to 3,000 costs no more than 2,260 in 63 of 100 builds."""
    text = '[build]\nname = "x"\ncurrency = "EUR"\ncountry = "IE"\n[[line]]\nid = "kit"\ngroup = "kit"\n'
    text += 'amount = { shape = "uniform", min = 1000, max = 3000 }\n'
    (tmp_path / "build.toml").write_text(text, encoding="utf-8")
    folder = BuildFolder.at(tmp_path)
    folder.ledger().add_receipt("2026-03-01", "somebody", 226_000, "EUR", [("kit", 226_000)])
    assert main(["finish", str(tmp_path), "--sure"]) == 0
    said = "As forecast then, 63 of 100 builds were to cost no more than this one."
    assert said in capsys.readouterr().out
    assert watch_sentence(reforecast(folder.read(), folder.ledger())).endswith(said)  # as the page says it
    assert main(["finish", str(tmp_path), "--sure", "--json"]) == 0
    share = json.loads(capsys.readouterr().out)["cost_no_more_before"]
    assert share["value"] == pytest.approx(0.63, abs=0.005)


def test_as_data(half_way: BuildFolder, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["finish", str(half_way.folder), "--sure", "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["paid"] == pytest.approx(21106.37)
    events = {event.id for event in read_build(half_way.build_file).event}
    assert set(data["cannot_happen"]) <= events


def test_at_its_end_nothing_is_said_to_be_open(
    half_way: BuildFolder, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["moved", str(half_way.folder)]) == 0
    capsys.readouterr()
    assert main(["finish", str(half_way.folder), "--sure"]) == 0
    capsys.readouterr()
    assert main(["moved", str(half_way.folder)]) == 0
    told = capsys.readouterr().out.splitlines()[0]
    assert "still open" not in told
    assert "open ones count" not in told
    assert "looked dearer" not in told
    assert "looked cheaper" not in told


def test_nothing_is_advised_once_a_build_is_finished(
    half_way: BuildFolder, capsys: pytest.CaptureFixture[str]
) -> None:
    commands = (
        ["advise"],
        ["compare"],
        ["mix"],
        ["quotes"],
        ["afford", "--money", "30000"],
        ["budget"],
    )
    with half_way.build_file.open("a", encoding="utf-8") as file:
        file.write(TWO_QUOTES)
    for command, *rest in commands:
        assert main([command, str(half_way.folder), *rest, "--trials", "1024"]) == 0
        assert "Nothing is left to decide" not in capsys.readouterr().out
    assert main(["finish", str(half_way.folder), "--sure"]) == 0
    capsys.readouterr()
    for command, *rest in commands:
        assert main([command, str(half_way.folder), *rest]) == 0
        told = capsys.readouterr().out
        assert told.startswith(
            "It cost NZ$21,106.37 in all: nothing is open any more. That is NZ$15,893.63 under your budget of "
            "NZ$37,000. Nothing is left to decide. What was thought before the first receipt: "
            f"{'compare' if command == 'compare' else 'budget'} with --before-receipts."
        )
        assert main([command, str(half_way.folder), *rest, "--before-receipts", "--trials", "1024"]) == 0
        assert "Nothing is left to decide" not in capsys.readouterr().out
    assert main(["check", str(half_way.folder)]) == 0
    told = capsys.readouterr().out
    assert "Nothing is left to decide" in told
    assert "look these up" not in told


def test_a_person_is_asked_before_a_build_ends_with_lines_never_paid(
    half_way: BuildFolder, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("forecast.views.commands.common.somebody_there", lambda: True)
    monkeypatch.setattr("builtins.input", lambda: "n")
    assert main(["finish", str(half_way.folder)]) == 2
    told = capsys.readouterr().err
    assert re.search(
        r"Nothing was paid for .+\. One undo takes all of it back\. Is the build done\? \[y/N\]", told
    )
    assert not reforecast(half_way.read(), half_way.ledger(), trials=256).finished
    monkeypatch.setattr("builtins.input", lambda: "y")
    assert main(["finish", str(half_way.folder)]) == 0
    assert reforecast(half_way.read(), half_way.ledger(), trials=256).finished


def test_what_ends_with_a_build_is_said_before_it_does(
    half_way: BuildFolder, capsys: pytest.CaptureFixture[str]
) -> None:
    """By number and sum, held against what the end then is, and against what stands line by line."""
    build, ledger = half_way.read(), half_way.ledger()
    found = to_finish(ledger, build)
    asked = finish_question(found, "NZD")
    before = {line.id: line for line in reforecast(build, ledger, trials=1024).lines}
    middles = sum(before[name].before[1] for name in found.never_paid)
    assert found.never_paid_middle == pytest.approx(
        middles, rel=0.2
    )  # a middle figure is no P50 where lines follow
    assert about(found.never_paid_middle, "NZD") in asked
    assert f"Nothing was paid for {len(found.never_paid)} lines that were sure to be needed: " in asked
    owed = sum(item.outstanding_minor for item in ledger.list_commitments())
    assert owed == found.agreed_minor
    assert (exact(owed, "NZD") in asked) == (owed > 0)
    assert main(["finish", str(half_way.folder), "--sure"]) == 0
    told = capsys.readouterr().out
    ended = re.search(
        r"([0-9]+) lines that were open are closed, 1 risk that came is closed, ([0-9]+) risks can ", told
    )
    assert ended is not None
    assert asked.startswith(
        f"{ended[1]} open lines close, 1 risk that came closes, and {ended[2]} risks can "
    )
    assert "The build then cost what is paid: NZ$21,106.37." in asked
    assert "It cost NZ$21,106.37 in all" in told
    assert finish_question(to_finish(ledger, build), "NZD") == ""
