"""Answers on the way: kept as an answers file, so that a screen can go on where it stopped, or the terminal can."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from forecast.buildfile.toml import parse_toml
from forecast.errors import BuildFileError
from forecast.start.answers import LARGEST_FILE, Answers, answers_of, as_asked, is_asked, read_answer
from forecast.start.questions import Question, questions
from forecast.start.reading import WrongAnswer
from forecast.start.text import comment, toml_value
from forecast.tables.files import read_regular, write_file

_OPENING = (
    "Answers of the guided start so far. `forecast new FOLDER --answers THIS_FILE` makes a build of them."
)


@dataclass(frozen=True)
class Standing:
    """Where a half-answered guided start stands.

    Attributes
    ----------
    values : mapping
        What was read of each answer, by question; None where it is not known.
    asked : tuple of Question
        The questions that make sense after these answers.
    first_open : Question or None
        The first of them without an answer that can be used; None when all are answered.
    wrong : WrongAnswer or None
        Why, where that one has an answer that does not go with the earlier ones.
    """

    values: Mapping[str, Any]
    asked: tuple[Question, ...]
    first_open: Question | None
    wrong: WrongAnswer | None

    def answers(self) -> Answers:
        """Give all answers, open questions counted as not known.

        Raises
        ------
        WrongAnswer
            When one of the open questions must be answered first.
        """
        return answers_of(self.values)


def stand(written: Mapping[str, str]) -> Standing:
    """Read answers as they were written, in the order of the questions: an earlier one may rule a later one out."""
    values: dict[str, Any] = {}
    asked: list[Question] = []
    first_open: Question | None = None
    wrong: WrongAnswer | None = None
    for item in questions():
        if not is_asked(item, values):
            continue
        asked.append(as_asked(item, values))
        if item.id not in written:
            first_open = first_open or asked[-1]
            continue
        try:
            values[item.id] = read_answer(item, written[item.id], values)
        except WrongAnswer as error:
            if first_open is None:
                first_open, wrong = item, error
    return Standing(values, tuple(asked), first_open, wrong)


def write_draft(file: Path, written: Mapping[str, str]) -> None:
    """Keep answers as they were written; a folder that cannot be written is no reason to fail."""
    lines = [*comment(_OPENING), *(f"{key} = {toml_value(text)}" for key, text in _known(written))]
    with suppress(OSError):
        file.parent.mkdir(parents=True, exist_ok=True)
        write_file(file, ("\n".join(lines) + "\n").encode())


def read_draft(file: Path) -> dict[str, str]:
    """Give the answers kept; none where there is no such file or it cannot be used."""
    try:
        kept = parse_toml(read_regular(file, LARGEST_FILE).decode("utf-8-sig"), file.name, "")
    except (OSError, ValueError, BuildFileError):
        return {}
    return dict(_known({key: text for key, text in kept.items() if isinstance(text, str)}))


def _known(written: Mapping[str, str]) -> Iterator[tuple[str, str]]:
    return ((item.id, written[item.id]) for item in questions() if item.id in written)


__all__ = ["Standing", "read_draft", "stand", "write_draft"]
