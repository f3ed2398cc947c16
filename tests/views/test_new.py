"""``forecast new`` as a builder uses it."""

from __future__ import annotations

import io
import json
import re
import shlex
import tomllib
from pathlib import Path

import pytest

from forecast.buildfile.reader import read_build
from forecast.figures.kinds import Known
from forecast.start import question, questions, read_answers
from forecast.views.cli import main
from forecast.views.commands.new import EXAMPLE

ANSWERS = 'name = "Wide coupe"\ncountry = "IE"\norigin = "JP"\nkit_price = { low = 180000, high = 320000 }\n'


ASKED = [item for item in questions() if item.id not in ("region", "private_use")]
"""What is asked in Ireland, whose rules ask neither where in it one lives nor whether it is for one's own use."""


def run(capsys: pytest.CaptureFixture[str], *arguments: str, expect: int = 0) -> str:
    code = main(arguments)
    captured = capsys.readouterr()
    assert code == expect, captured.err
    return captured.out if "--json" in arguments else captured.out + captured.err


def type_in(monkeypatch: pytest.MonkeyPatch, *lines: str) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("".join(f"{line}\n" for line in lines)))


@pytest.fixture
def answers(tmp_path: Path) -> Path:
    file = tmp_path / "answers.toml"
    file.write_text(ANSWERS, encoding="utf-8")
    return file


def test_an_answers_file_makes_a_build_that_can_be_checked_and_budgeted(
    tmp_path: Path, answers: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "car"
    text = run(capsys, "new", str(folder), "--answers", str(answers))
    assert f"Next: forecast check {folder}" in text
    (rough,) = (line for line in text.splitlines() if line.startswith("A first rough budget: Hold €"))
    assert rough.partition(": ")[2] == run(capsys, "budget", str(folder)).splitlines()[0]
    assert "Wide coupe: no mistakes." in run(capsys, "check", str(folder))
    for scenario in read_build(folder).scenario:
        assert "Hold €" in run(capsys, "budget", str(folder), "--scenario", scenario, "--trials", "1024")


def test_the_terminal_offers_what_a_price_includes_in_words_with_its_letters_behind(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    type_in(monkeypatch, *[""] * 40)
    text = run(capsys, "new", str(tmp_path / "car"))
    assert "What does the seller's price include?\n    the kit alone, at the seller's door (EXW)\n" in text
    assert "    sea         by sea" in text  # a word is typed as it stands


def test_programs_get_json(tmp_path: Path, answers: Path, capsys: pytest.CaptureFixture[str]) -> None:
    data = json.loads(run(capsys, "new", str(tmp_path / "car"), "--answers", str(answers), "--json"))
    assert data["file"] == str(tmp_path / "car" / "build.toml")
    assert data["scenarios"] == ["mixed", "diy", "outsourced"]


def test_questions_are_asked_one_by_one(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    # name, country, currency (default), panels, origin, sent from and kit's currency (defaults), price, rate, defaults
    type_in(
        monkeypatch, "Track day", "ie", "", "front, arches", "?", "JP", "", "", "245000", "0.0057", *[""] * 12
    )
    text = run(capsys, "new", str(tmp_path / "car"))
    assert text.count("> ") == len(ASKED) + 1  # one was asked again after its help
    assert "In which currency do you count your money?\nEnter: EUR, going by what you said > " in text
    assert "From which country is it sent?\nEnter: Japan (JP), going by what you said > " in text
    assert "In which currency is it priced?\nEnter: JPY, going by what you said > " in text
    assert "Duty depends on where it was made, which need not be where it is sold" in text
    build = read_build(tmp_path / "car")
    assert build.name == "Track day"
    assert build.consignment[0].origin == build.consignment[0].sent_from == "JP"


def test_enter_alone_means_i_do_not_know_and_what_is_taken_then_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    type_in(monkeypatch, *[""] * len(questions()))
    text = run(capsys, "new", str(tmp_path / "car"))
    asked = dict(re.findall(r"of (?:about )?\d+  ([^\n]+)\n(?:    [^\n]+\n)*([^\n]+) > ", text))
    assert len(asked) == text.count(" > ") > 15
    assert asked.pop(question("name").text) == "Enter: My conversion"
    for id in ("currency", "kit_currency"):
        assert asked.pop(question(id).text) == "Enter: I don't know, EUR is taken"
    for item in questions():
        if item.kind == "yes-no" and item.text in asked:
            assert asked.pop(item.text) == "y: yes, n: no, Enter: I don't know"
    assert set(asked.values()) == {"Enter: I don't know"}


def test_needless_questions_are_left_out(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    type_in(monkeypatch, "", "IE", "", "", "DE", *[""] * 12)
    text = run(capsys, "new", str(tmp_path / "car"))
    assert "How is it shipped?" not in text
    assert "What does one unit of that currency cost" not in text


def test_json_keeps_questions_out_of_the_answer(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    type_in(monkeypatch, *[""] * len(questions()))
    assert json.loads(run(capsys, "new", str(tmp_path / "car"), "--json"))["lines"] > 50


def test_input_that_ends_is_said_and_leaves_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    type_in(monkeypatch, "Track day", "IE")
    text = run(capsys, "new", str(tmp_path / "car"), expect=2)
    assert "currency: the input ended before this question was answered. Answer every question" in text
    assert not (tmp_path / "car").exists()


@pytest.mark.parametrize("terminal", [True, False])
def test_a_wrong_answer_is_asked_again(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, terminal: bool
) -> None:
    type_in(monkeypatch, "Track day", "Atlantis", "IE", *[""] * 20)
    monkeypatch.setattr("sys.stdin.isatty", lambda: terminal, raising=False)
    text = run(capsys, "new", str(tmp_path / "car"))
    assert "there is no country called 'Atlantis'" in text
    assert text.count("> ") == len(ASKED)  # one was asked twice; without a foreign currency no rate is
    assert read_build(tmp_path / "car").build.country == "IE"


def test_a_sum_that_can_mean_two_is_asked_for_and_picked(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    told = {"country": ["IE"], "kit_price": ["420.000", "1", "1"], "budget": ["950,000", "925,000", "9 500"]}
    type_in(monkeypatch, *[text for item in ASKED if item.id != "rate" for text in told.get(item.id, [""])])
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    text = run(capsys, "new", str(tmp_path / "car"))
    assert "'420.000' can mean 420000 EUR or 420 EUR: type 1 for 420000 EUR, 2 for 420 EUR." in text
    build = read_build(tmp_path / "car")
    assert build.build.budget == 9500
    assert build.consignment[0].price == Known(value=420_000)


def test_enter_alone_does_not_drop_a_sum_that_can_mean_two(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    told = {"country": ["IE"], "kit_price": ["145,000", "", "1", "1"]}
    type_in(monkeypatch, *[text for item in ASKED if item.id != "rate" for text in told.get(item.id, [""])])
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    text = run(capsys, "new", str(tmp_path / "car"))
    assert "Type 1 for 145000 EUR, 2 for 145 EUR, or write another answer." in text
    assert read_build(tmp_path / "car").consignment[0].price == Known(value=145_000)


def test_answers_refused_from_a_pipe_are_all_named_when_it_ends(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    type_in(monkeypatch, "Track day", "Atlantis", "IE", "lots")
    text = run(capsys, "new", str(tmp_path / "car"), expect=2)
    assert "3 mistakes" in text
    assert "country: there is no country called 'Atlantis'" in text
    assert "currency: found 'lots'" in text
    assert "currency: the input ended" in text
    assert not (tmp_path / "car").exists()


def test_the_next_command_can_be_typed_as_it_is_printed(
    tmp_path: Path, answers: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "my car's build"
    text = run(capsys, "new", str(folder), "--answers", str(answers))
    typed = text.partition("Next: ")[2].partition(", then ")[0]
    assert shlex.split(typed) == ["forecast", "check", str(folder)]
    assert "no mistakes" in run(capsys, *shlex.split(typed)[1:])


def test_stopping_leaves_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    given = iter(["Track day", "IE"])

    def answer_or_stop() -> str:
        try:
            return next(given)
        except StopIteration:
            raise KeyboardInterrupt from None

    monkeypatch.setattr("builtins.input", answer_or_stop)
    assert "stopped" in run(capsys, "new", str(tmp_path / "car"), expect=130)
    assert not (tmp_path / "car").exists()


def test_nobody_answers_in_vain_where_a_build_stands(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "build.toml").write_text("mine", encoding="utf-8")
    type_in(monkeypatch)
    text = run(capsys, "new", str(tmp_path), expect=2)
    assert "is there already" in text
    assert "?" not in text


def test_mistakes_in_an_answers_file_are_all_named(
    tmp_path: Path, answers: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    answers.write_text('country = "IE"\npaint = "everybody"\nbudget = "lots"\n', encoding="utf-8")
    text = run(capsys, "new", str(tmp_path / "car"), "--answers", str(answers), expect=2)
    assert "2 mistakes" in text
    assert not (tmp_path / "car").exists()


def test_the_example_of_an_answers_file_can_be_used(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = run(capsys, "new", "anywhere", "--questions")
    for item in questions():
        assert item.text in text
    example = "\n".join(line for line in EXAMPLE.splitlines() if line.startswith("  "))
    assert read_answers(tomllib.loads(example)).origin == "JP"


YEN = {"country": ["IE"], "origin": ["JP"], "kit_price": ["2400"]}


def _typed(**told: list[str]) -> list[str]:
    asked_for = YEN | told
    return [text for item in ASKED for text in asked_for.get(item.id, [""])]


@pytest.mark.parametrize(
    ("then", "price"), [(["1"], 2400), (["2"], 240_000), (["", "250 000"], 250_000), (["245", "1"], 245)]
)
def test_a_price_that_no_kit_has_is_asked_about_and_taken_where_it_is_meant(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, then: list[str],
    price: float,
) -> None:  # fmt: skip
    type_in(monkeypatch, *_typed(kit_price=["2400", *then]))
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    text = run(capsys, "new", str(tmp_path / "car"))
    assert "¥2,400 is about €14. Such parts usually cost €1,200 to €6,500." in text
    assert "Is it ¥2,400, or did you mean ¥240,000? If €2,400 is meant, write what that is in JPY." in text
    assert "1 for ¥2,400, 2 for ¥240,000, or write another price > " in text
    assert read_build(tmp_path / "car").consignment[0].price == Known(value=price)


def test_a_price_that_no_kit_has_is_said_where_nobody_can_be_asked(
    tmp_path: Path, answers: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    type_in(monkeypatch, *_typed())
    assert "¥2,400 is about €14." in run(capsys, "new", str(tmp_path / "piped"))
    assert read_build(tmp_path / "piped").consignment[0].price == Known(value=2400)
    answers.write_text('country = "IE"\norigin = "JP"\nkit_price = 2400\n', encoding="utf-8")
    text = run(capsys, "new", str(tmp_path / "file"), "--answers", str(answers))
    assert "kit_price: ¥2,400 is about €14." in text
    assert read_build(tmp_path / "file").consignment[0].price == Known(value=2400)
