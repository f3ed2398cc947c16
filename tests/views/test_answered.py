"""Answers that are kept: said again word for word, and never once anything that they follow from has changed."""

from __future__ import annotations

import os
import shutil
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from forecast.tables.files import BACKUPS
from forecast.views import answered, cli

DEMOS = Path(__file__).parents[2] / "scenarios"
RULES = "FORECAST_RULES"


class Terminal:
    """Runs commands as a process of their own would, and counts those that were worked out."""

    def __init__(self, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
        self.capsys, self.monkeypatch, self.worked_out = capsys, monkeypatch, 0
        work = cli._run

        def counted(arguments: list[str]) -> int:
            self.worked_out += 1
            return work(arguments)

        monkeypatch.setattr(cli, "_run", counted)

    def __call__(self, *words: object) -> tuple[int, str, str]:
        self.monkeypatch.setattr(sys, "argv", ["forecast", *map(str, words)])
        code = cli.main()
        return code, *self.capsys.readouterr()


@pytest.fixture
def terminal(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Terminal:
    monkeypatch.setenv("FORECAST_HOME", str(tmp_path / "home"))
    return Terminal(capsys, monkeypatch)


@pytest.fixture
def build(tmp_path: Path) -> Path:
    folder = tmp_path / "build"
    shutil.copytree(DEMOS / "half-way-new-zealand", folder, ignore=lambda *_: {BACKUPS, "receipts.db"})
    return folder


def kept(tmp_path: Path) -> list[Path]:
    return sorted((tmp_path / "home" / "answers").glob("*"))


@pytest.mark.parametrize(
    "words", [("budget",), ("check",), ("watch", "--json"), ("check", "--json")], ids=" ".join
)
def test_an_answer_is_said_again_word_for_word(
    terminal: Terminal, build: Path, words: tuple[str, ...]
) -> None:
    first = terminal(words[0], build, *words[1:])
    assert first[0] == 0
    assert terminal(words[0], build, *words[1:]) == first
    assert terminal.worked_out == 1


def test_what_is_said_beside_an_answer_is_said_again(terminal: Terminal, build: Path) -> None:
    first, second = (terminal("budget", build) for _ in range(2))
    assert "receipts counted in this answer" in second[2]
    assert first == second


def test_a_no_is_kept_too(terminal: Terminal, build: Path) -> None:
    (build / "build.toml").write_text("[build]\nname = 3\n", encoding="utf-8")
    first, second = (terminal("check", build) for _ in range(2))
    assert first == second
    assert first[0] == terminal.worked_out == 1


def _same_size_and_time(build: Path, patch: pytest.MonkeyPatch) -> None:
    file = build / "build.toml"
    status, text = file.stat(), file.read_text(encoding="utf-8")
    changed = text.replace("middle = 1", "middle = 2", 1)
    assert changed != text
    file.write_text(changed, encoding="utf-8")
    os.utime(file, ns=(status.st_atime_ns, status.st_mtime_ns))


def _receipts(build: Path, patch: pytest.MonkeyPatch) -> None:
    file = build / "receipts.csv"
    rows = file.read_text(encoding="utf-8").splitlines()
    file.write_text("\n".join(rows[:-1]) + "\n", encoding="utf-8")


def _ledger(build: Path, patch: pytest.MonkeyPatch) -> None:
    assert cli.main(["receipt", "load", str(build)]) == 0


def _rules(build: Path, patch: pytest.MonkeyPatch) -> None:
    folder = build.parent / "rules"
    folder.mkdir()
    shutil.copy(DEMOS.parent / "forecast" / "trade" / "rules" / "nz.toml", folder)
    patch.setenv(RULES, str(folder))


def _day(build: Path, patch: pytest.MonkeyPatch) -> None:
    patch.setattr(answered.time, "strftime", lambda form: "2031-01-01")


def _language(build: Path, patch: pytest.MonkeyPatch) -> None:
    patch.setenv("LC_ALL", "de_DE.UTF-8")


def _program(build: Path, patch: pytest.MonkeyPatch) -> None:
    files = answered._files

    def later(folder: Path) -> list[tuple[str, os.stat_result]]:
        found = files(folder)
        return [("new.py", build.stat()), *found] if folder == Path(answered.__file__).parents[1] else found

    patch.setattr(answered, "_files", later)


def _library(build: Path, patch: pytest.MonkeyPatch) -> None:
    place = build.parent / "site-packages"
    (place / "numpy-99.dist-info").mkdir(parents=True)
    patch.syspath_prepend(str(place))


def _place(build: Path, patch: pytest.MonkeyPatch) -> None:
    patch.chdir(build.parent)


def _copies(build: Path, patch: pytest.MonkeyPatch) -> None:
    (build / BACKUPS).mkdir()


@pytest.mark.parametrize(
    "change",
    [_same_size_and_time, _receipts, _ledger, _rules, _day, _language, _program, _library, _place, _copies],
)
def test_whatever_changes_it_is_worked_out_again(
    terminal: Terminal, build: Path, monkeypatch: pytest.MonkeyPatch,
    change: Callable[[Path, pytest.MonkeyPatch], None],
) -> None:  # fmt: skip
    terminal("check", build)
    change(build, monkeypatch)
    before = terminal.worked_out
    terminal("check", build)
    assert terminal.worked_out == before + 1


def test_a_rule_file_that_is_edited_counts(
    terminal: Terminal, build: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    _rules(build, monkeypatch)
    first = terminal("check", build)
    assert terminal("check", build) == first
    file = build.parent / "rules" / "nz.toml"
    file.write_text(file.read_text(encoding="utf-8") + "\n# looked at\n", encoding="utf-8")
    terminal("check", build)
    assert terminal.worked_out == 2


def test_other_words_are_another_answer(terminal: Terminal, build: Path) -> None:
    assert terminal("budget", build) != terminal("budget", build, "--seed", "2")
    assert terminal.worked_out == 2


def test_what_was_written_while_it_answered_makes_it_no_answer_to_keep(
    terminal: Terminal, build: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def slow(arguments: list[str]) -> int:
        with (build / "build.toml").open("a", encoding="utf-8") as file:
            file.write("# edited meanwhile\n")
        return 0

    monkeypatch.setattr(cli, "_run", slow)
    terminal("check", build)
    assert not kept(tmp_path)


def test_commands_that_enter_something_are_never_kept(
    terminal: Terminal, build: Path, tmp_path: Path
) -> None:
    terminal("receipt", "load", build)
    words = (
        "receipt",
        "add",
        build,
        "--line",
        "filler",
        "--amount",
        "12.50",
        "--supplier",
        "shop",
        "--more-to-come",
    )
    assert [terminal(*words)[0], terminal(*words, "--sure")[0]] == [0, 0]
    assert not kept(tmp_path)


def test_what_failed_is_not_kept(terminal: Terminal, build: Path, tmp_path: Path) -> None:
    assert terminal("budget", build, "--scenario", "nobody")[0] == 2
    assert not kept(tmp_path)


def test_a_file_that_may_be_meant_is_a_doubt(
    terminal: Terminal, build: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "filler").write_text("something", encoding="utf-8")
    assert terminal("open", build, "filler")[0] == 0
    assert not kept(tmp_path)


def test_a_damaged_answer_is_worked_out_again(terminal: Terminal, build: Path, tmp_path: Path) -> None:
    first = terminal("check", build)
    (file,) = kept(tmp_path)
    text = file.read_text(encoding="utf-8")
    for damaged in (text.replace("mistakes", "mistake!"), text[:-20], "", "[]", '{"said": 3}'):
        file.write_text(damaged, encoding="utf-8")
        assert terminal("check", build) == first
    assert terminal.worked_out == 6


def test_where_nothing_can_be_kept_commands_answer_all_the_same(
    terminal: Terminal, build: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    monkeypatch.setenv("FORECAST_HOME", str(tmp_path / "file"))
    first, second = (terminal("check", build) for _ in range(2))
    assert first == second
    assert terminal.worked_out == 2


def test_nothing_is_kept_inside_a_builds_folder(
    terminal: Terminal, build: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("FORECAST_HOME", str(build))
    before = sorted(build.rglob("*"))
    assert terminal("check", build)[0] == 0
    assert sorted(build.rglob("*")) == before


def test_no_more_is_kept_than_the_bounds(
    terminal: Terminal, build: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(answered, "MOST_ANSWERS", 2)
    for place, words in enumerate((("check",), ("check", "--all"), ("check", "--json"))):
        terminal(words[0], build, *words[1:])
        for file in kept(tmp_path):  # as if the others had been asked for earlier
            if file.stat().st_mtime > time.time() - 5:
                os.utime(file, (1e9 + place, 1e9 + place))
    assert len(kept(tmp_path)) == 2
    terminal("check", build, "--json")
    assert terminal.worked_out == 3
    terminal("check", build)
    assert terminal.worked_out == 4  # the oldest had gone
    monkeypatch.setattr(answered, "MOST_BYTES", 10)
    terminal("check", build, "--all", "--json")
    assert not kept(tmp_path)


def test_a_program_that_calls_a_command_has_it_worked_out(
    build: Path, tmp_path: Path, terminal: Terminal
) -> None:
    assert cli.main(["check", str(build)]) == 0
    assert not kept(tmp_path)
