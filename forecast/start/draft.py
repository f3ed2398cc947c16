"""Answers on the way: kept as an answers file, so that any screen can go on, and how each was understood."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from forecast.buildfile.toml import parse_toml, toml_value
from forecast.errors import BuildFileError
from forecast.figures.kinds import Known, Percentiles, Quotes, Span
from forecast.start.answers import (
    HOURS_A_WEEK,
    LARGEST_FILE,
    Answers,
    answers_of,
    as_asked,
    is_asked,
    rate_context,
    read_answer,
)
from forecast.start.questions import Question, questions
from forecast.start.toml_text import comment
from forecast.start.written_answers import BoxSize, WrongAnswer, number_ends
from forecast.tables.files import read_regular, write_file
from forecast.words.chances import listed
from forecast.words.money import entered_in
from forecast.words.numbers import shown

_OPENING = (
    "Answers of the guided start so far. `forecast new FOLDER --answers THIS_FILE` makes a build of them."
)


@dataclass(frozen=True)
class DraftStanding:
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


def stand(written: Mapping[str, str]) -> DraftStanding:
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
    return DraftStanding(values, tuple(asked), first_open, wrong)


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


def understood(item: Question, written: str, value: Any, so_far: Mapping[str, Any]) -> str:
    """Say how a number, a price or sizes were understood: ``THB 65,000``.

    Parameters
    ----------
    item : Question
    written : str
        As it was answered.
    value : object
        As it was read.
    so_far : mapping
        Answers read before it.

    Returns
    -------
    str
        Empty for an answer that has no number.
    """
    home, foreign = str(so_far.get("currency") or ""), str(so_far.get("kit_currency") or "")
    match value:
        case None | bool() | str():
            return ""
        case float() | int() if item.id == "rate":
            ends = number_ends(written, rate_context(foreign, home))
            counted = f"{shown(ends[0])} to {shown(ends[1])} {home}, counted as " if ends else ""
            return f"1 {foreign} costs {counted}{shown(value)} {home}"
        case float() | int() if item.id == "week_hours":
            ends = number_ends(written, HOURS_A_WEEK)
            whole = f"{shown(value)} hours a week"
            return f"{shown(ends[0])} to {shown(ends[1])}, counted as {whole}" if ends else whole
        case float() | int():
            return entered_in(value, home)
        case Known(value=number):
            return entered_in(number, value.currency or foreign)
        case Span(low=low, high=high):
            return " to ".join(entered_in(end, value.currency or foreign) for end in (low, high))
        case Percentiles():
            least, half, most = (
                entered_in(one, value.currency or foreign) for one in (value.low, value.middle, value.high)
            )
            return f"{least} to {most}, {half} in the middle"
        case Quotes(quotes=quotes):
            return f"quotes of {listed([entered_in(quote, value.currency or foreign) for quote in quotes])}"
        case (BoxSize(), *_):
            return _boxes(value)
    return ""


def _boxes(boxes: Sequence[BoxSize]) -> str:
    count = sum(box.count for box in boxes)
    litres = sum(box.count * box.length * box.width * box.height for box in boxes) / 1000
    weight = sum(box.count * box.weight for box in boxes)
    volume = (
        f"{shown(round(litres / 1000, 2))} m\u00b3" if litres >= 100 else f"{shown(round(litres))} litres"
    )
    return f"{count} {'box' if count == 1 else 'boxes'}, {volume} and {shown(weight)} kg together"
