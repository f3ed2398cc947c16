"""What may be left out: the command, and the build inside its own folder; and what the Tab key answers."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

import forecast
from forecast.views.cli import build_parser, main
from forecast.views.commands.common import with_build
from tests.views.test_cli import BUILD, run


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Stand in a build's folder, with another build in a folder of it."""
    for folder in (tmp_path, tmp_path / "other"):
        folder.mkdir(exist_ok=True)
        (folder / "build.toml").write_text(BUILD, encoding="utf-8")
    (tmp_path / "kit").mkdir()  # bears a line's name and holds no build
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.parametrize(
    ("typed", "read"),
    [
        ("budget", "budget ."),
        ("budget --trials 64 --json", "budget --trials 64 --json ."),
        ("budget other", "budget other"),
        ("budget nowhere", "budget nowhere"),
        ("open", "open ."),
        ("open kit", "open . kit"),
        ("open other", "open other"),
        ("open other kit", "open other kit"),
        ("open --json kit", "open --json . kit"),
        ("open other --json kit", "open --json other kit"),
        ("add primer", "add . primer"),
        ("add other primer", "add other primer"),
        ("add nowhere primer", "add nowhere primer"),
        ("add other", "add . other"),
        ("compare diy", "compare . diy"),
        ("compare other diy", "compare other diy"),
        ("quotes", "quotes ."),
        ("left kit 500", "left . kit 500"),
        ("left kit -5", "left . kit -5"),
        ("left other kit 500", "left other kit 500"),
        ("receipt void 3 --why typo", "receipt void --why typo . 3"),
        ("receipt add --amount 5 --supplier x --line kit", "receipt add --amount 5 --supplier x --line kit ."),
        ("receipt add --amo=5 other --supp x", "receipt add --amo=5 --supp x other"),
        ("receipt add --line x --new-line import", "receipt add --line x --new-line=import ."),
        ("receipt add --new-line other --line x", "receipt add --new-line= --line x other"),
        ("receipt add other --new-line import", "receipt add --new-line=import other"),
        ("receipt add --new-line --all nosuch --line x", "receipt add --new-line= --all=nosuch --line x ."),
        ("receipt add --line x --all", "receipt add --line x --all= ."),
        ("receipt add --line x --all kit", "receipt add --line x --all= kit"),  # a folder: that is a build misnamed
        ("receipts", "receipts ."),
        ("new folder", "new folder"),
        ("demo", "demo"),
    ],
)  # fmt: skip
@pytest.mark.usefixtures("here")
def test_the_build_is_the_one_of_the_folder(typed: str, read: str) -> None:
    assert with_build(build_parser(), typed.split()) == read.split()


def test_every_command_about_a_build_answers_without_it(
    here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """All of them, so that a new one cannot be forgotten: what is said must not be that FILE is missing."""
    given = {
        "add": ["no_such"], "not-needed": ["no_such", "--why", "x"], "add-lines": ["no.csv"],
        "statement": ["no.csv"], "close": ["kit"], "reopen": ["kit"], "happened": ["transit_damage"],
        "cannot-happen": ["transit_damage"], "left": ["kit", "5"], "afford": ["--money", "9000"],
    }  # fmt: skip
    commands = build_parser()._subparsers._group_actions[0].choices  # type: ignore[union-attr,index]
    about = [
        name for name, parser in commands.items() if "file" in [action.dest for action in parser._actions]
    ]
    assert len(about) >= 24
    for name in about:
        main([name, *given.get(name, [])])
        said = capsys.readouterr()
        assert "FILE" not in said.err, name
        assert "usage" not in said.err, name
    assert (here / "receipts.db").exists()
    assert not (here / "other" / "receipts.db").exists()


def test_the_answer_is_that_of_the_build_named(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    named = json.loads(run(capsys, "budget", str(here), "--json"))
    assert json.loads(run(capsys, "budget", "--json")) == named
    opened = run(capsys, "open", "filler")
    assert opened == run(capsys, "open", ".", "filler")
    assert opened.startswith("Filler, at your middle figures: 60 EUR")


@pytest.mark.usefixtures("here")
def test_a_sum_where_the_build_may_be_left_out_is_no_file(capsys: pytest.CaptureFixture[str]) -> None:
    for typed, told in (
        (["freeze", "33000"], "33000 is no build. For a sum say --budget 33000."),
        (["budget", "12,500.00"], "12,500.00 is no build. For a sum say --within 12,500.00."),
    ):
        with pytest.raises(SystemExit) as caught:
            with_build(build_parser(), typed)
        assert caught.value.code == 2
        assert told.rstrip(".") in capsys.readouterr().err
    # what being short costs is another sum than the one that would be meant
    assert with_build(build_parser(), ["advise", "12000"]) == ["advise", "12000"]
    assert with_build(build_parser(), ["left", "filler", "50"]) == ["left", ".", "filler", "50"]


def test_elsewhere_it_says_what_is_missing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "build.toml").write_text(BUILD, encoding="utf-8")
    for typed, told in (
        (["budget"], "FILE is missing: there is no build.toml here."),
        (["add", "primer"], "FILE is missing: there is no build.toml here."),
        (["add", "mine"], "after the build say starter too"),
        (["happened", "mine"], "after the build say EVENT too"),
        (["reopen", "mine"], "after the build say LINE too"),
    ):
        with pytest.raises(SystemExit) as left:
            main(typed)
        assert left.value.code == 2
        assert told in capsys.readouterr().err
    with pytest.raises(SystemExit) as left:
        main(["budget", "--help"])
    assert left.value.code == 0
    assert "usage: forecast budget [-h]" in capsys.readouterr().out


@pytest.mark.usefixtures("here")
def test_what_a_command_does_not_know_is_told_with_the_usage_of_that_command(
    capsys: pytest.CaptureFixture[str],
) -> None:
    for typed, usage, told in (
        ("budget --scenery diy", "budget", "--scenery"),
        ("budget other diy", "budget", "diy"),
        ("receipt void 3 --why typo --for me", "receipt void", "--for me"),
        ("--for budget", "", "--for"),
    ):
        with pytest.raises(SystemExit) as left:
            main(typed.split())
        assert left.value.code == 2
        said = capsys.readouterr().err
        assert said.startswith(f"usage: forecast {usage}".rstrip() + " [-h]")
        assert "error: " in said
        assert told in said.rpartition("error: ")[2]


def test_alone_it_says_what_to_do_first(
    here: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    said = run(capsys)
    assert "There is a build in this folder" in said
    monkeypatch.chdir(here / "kit")
    said = run(capsys)
    assert (
        said.index("forecast app")
        < said.index("forecast new my-build")
        < said.index("forecast budget my-build")
    )


def test_every_command_named_there_can_be_typed() -> None:
    from forecast.views.cli import FIRST, HERE

    names = build_parser()._subparsers._group_actions[0].choices  # type: ignore[union-attr,index]
    typed = [line.split()[1] for line in (FIRST + HERE).splitlines() if line.startswith("  forecast ")]
    assert len(typed) == 9
    assert set(typed) <= set(names)


def test_the_version_is_the_packages(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as left:
        main(["--version"])
    assert left.value.code == 0
    assert capsys.readouterr().out == f"forecast {forecast.__version__}\n"


def tab(folder: Path, typed: str) -> list[str]:
    """Press Tab at the end of a line, as a shell does: what may follow comes on descriptor 8, here a file."""
    answers = folder / "answers"
    variables = os.environ | {
        "_ARGCOMPLETE": "1", "_ARGCOMPLETE_IFS": "\n", "_ARGCOMPLETE_SUPPRESS_SPACE": "1", "COMP_LINE": typed,
        "COMP_POINT": str(len(typed)), "_ARGCOMPLETE_STDOUT_FILENAME": str(answers),
    }  # fmt: skip
    subprocess.run(
        [sys.executable, "-m", "forecast"], env=variables, cwd=folder, check=False, capture_output=True
    )
    return answers.read_text(encoding="utf-8").split("\n")


@pytest.mark.parametrize(
    ("typed", "offered"),
    [
        ("forecast bud", {"budget"}),
        ("forecast receipt vo", {"void"}),
        ("forecast open fil", {"filler"}),
        ("forecast open other ki", {"kit", "kit/"}),
        ("forecast budget --scenario d", {"diy"}),
        ("forecast receipt add --line tra", {"transit_damage"}),
        ("forecast demo half", {"half-way-new-zealand"}),
        ("forecast budget --trials 64 --se", {"--seed"}),
    ],
)
def test_tab_offers_what_may_follow(here: Path, typed: str, offered: set[str]) -> None:
    found = {item.strip() for item in tab(here, typed)}
    assert found
    assert found <= offered


def test_tab_is_silent_about_a_build_that_cannot_be_read(here: Path) -> None:
    (here / "build.toml").write_text("[broken", encoding="utf-8")
    assert tab(here, "forecast budget --scenario d") == [""]


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish", "powershell"])
def test_each_shell_is_taught(shell: str, capsys: pytest.CaptureFixture[str]) -> None:
    said = run(capsys, "completion", shell)
    assert "forecast" in said
    assert "_ARGCOMPLETE" in said
