"""Answers as builders write them: the words that a question shows, boxes counted in words, and a count without gaps."""

from __future__ import annotations

import io
import re

import pytest

from forecast.start import WrongAnswer, read_answer
from forecast.start.questions import question, questions
from forecast.start.written_answers import BoxSize
from forecast.views.commands.new import ask


@pytest.mark.parametrize(
    ("written", "means"),
    [
        ("some rust", "worn"),
        ("10 to 20 years", "worn"),
        ("Under 10 years", "sound"),
        ("older", "rusty"),
        ("rusty", "rusty"),
    ],
)
def test_a_part_of_what_a_choice_says_is_that_choice(written: str, means: str) -> None:
    assert read_answer(question("car_state"), written, {}) == means


def test_what_no_choice_says_is_refused() -> None:
    with pytest.raises(WrongAnswer, match="found 'some'"):
        read_answer(question("car_state"), "some", {})


@pytest.mark.parametrize(
    "written",
    [
        "2 boxes 190x80x60 45 kg",
        "2 boxes of 190x80x60 45 kg",
        "2 x 190x80x60 45 kg",
        "2 x box 190x80x60 45 kg",
        "2x boxes 190 x 80 x 60 cm, 45 kg",
    ],
)
def test_boxes_are_counted_in_words_too(written: str) -> None:
    assert read_answer(question("boxes"), written, {}) == (BoxSize(2, 190, 80, 60, 45),)


def test_one_box_needs_no_count() -> None:
    for written in ("1 box 190x80x60 45 kg", "box 190x80x60 45 kg", "190x80x60 45 kg"):
        assert read_answer(question("boxes"), written, {}) == (BoxSize(1, 190, 80, 60, 45),)


def test_questions_are_counted_without_gaps(monkeypatch: pytest.MonkeyPatch) -> None:
    """A kit from the builder's own country asks nothing about terms of trade or boxes."""
    given = {"country": "GB", "origin": "GB"}
    heard = io.StringIO()
    texts = {item.text: item.id for item in questions()}

    def typed() -> str:
        last = heard.getvalue().rsplit("\n\n", 1)[-1].splitlines()[0].split("  ", 1)[1]
        return given.get(texts.get(last, ""), "")

    monkeypatch.setattr("builtins.input", typed)
    ask(heard)
    places = re.findall(r"^(\d+) of (?:about )?(\d+)  ", heard.getvalue(), re.MULTILINE)
    numbers = [int(place) for place, _ in places]
    assert numbers == list(range(1, len(numbers) + 1))
    assert int(places[-1][1]) == len(numbers)
    assert len(numbers) < len(questions())
