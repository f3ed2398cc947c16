"""How an answer was understood, in words that can be read in one way only."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from forecast.figures.kinds import Known, Percentiles, Quotes, Span
from forecast.start.answers import HOURS_A_WEEK
from forecast.start.questions import Question
from forecast.start.reading import BoxSize, number_ends
from forecast.words.numbers import shown


def understood(item: Question, written: str, value: Any, so_far: Mapping[str, Any]) -> str:
    """Say how a number, a price or sizes were understood: ``65 000 THB``.

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
            return f"1 {foreign} costs {shown(value)} {home}"
        case float() | int() if item.id == "week_hours":
            ends = number_ends(written, HOURS_A_WEEK)
            whole = f"{shown(value)} hours a week"
            return f"{shown(ends[0])} to {shown(ends[1])}, counted as {whole}" if ends else whole
        case float() | int():
            return f"{shown(value)} {home}".strip()
        case Known(value=number):
            return _with(shown(number), value.currency or foreign)
        case Span(low=low, high=high):
            return _with(f"{shown(low)} to {shown(high)}", value.currency or foreign)
        case Percentiles(low=low, middle=middle, high=high):
            between = f"{shown(low)} to {shown(high)}, {shown(middle)} in the middle"
            return _with(between, value.currency or foreign)
        case Quotes(quotes=quotes):
            listed = [shown(quote) for quote in quotes]
            return _with(f"quotes of {', '.join(listed[:-1])} and {listed[-1]}", value.currency or foreign)
        case (BoxSize(), *_):
            return _boxes(value)
    return ""


def _with(numbers: str, currency: str) -> str:
    return f"{numbers} {currency}".strip()


def _boxes(boxes: Sequence[BoxSize]) -> str:
    count = sum(box.count for box in boxes)
    litres = sum(box.count * box.length * box.width * box.height for box in boxes) / 1000
    weight = sum(box.count * box.weight for box in boxes)
    volume = (
        f"{shown(round(litres / 1000, 2))} m\u00b3" if litres >= 100 else f"{shown(round(litres))} litres"
    )
    return f"{count} {'box' if count == 1 else 'boxes'}, {volume} and {shown(weight)} kg together"


__all__ = ["understood"]
