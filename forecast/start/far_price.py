"""A price of a kit that no kit has: it is asked about, and taken where it is meant."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from forecast.buildfile.library import load_library
from forecast.figures.kinds import Known, Percentiles, Quotes, Span
from forecast.start.answers import AnswersSoFar, default_of
from forecast.start.kit import parts_of
from forecast.start.questions import Question, question
from forecast.words.currencies import reference
from forecast.words.money import about, entered
from forecast.words.numbers import plainly

FAR = 5.0
"""A price so many times under the low, or over the high, of what a kit of these parts usually costs is asked about: a
used part or a dear one stays well within, a price in another money or without its thousands does not."""

_SLIPS = (1000, 100, 10, Decimal("0.1"), Decimal("0.01"), Decimal("0.001"))
"""What a price has to be times to be what was meant, where its zeros or its point are wrong; the likeliest first."""


@dataclass(frozen=True)
class FarPrice:
    """A kit's price far from what a kit costs.

    Attributes
    ----------
    question : str
        Says what it comes to, and asks.
    told : str
        The price as it is understood.
    instead, instead_told : str
        What may be meant in its place, as it would be answered and as it is shown; empty where nothing is likely.
    """

    question: str
    told: str
    instead: str = ""
    instead_told: str = ""


def far_price(item: Question, value: object, so_far: AnswersSoFar) -> FarPrice | None:
    """Find that a kit's price is far from what any kit of its parts costs, at the rates on file.

    Parameters
    ----------
    item : Question
    value : object
        As it was read.
    so_far : mapping
        Answers read before it.

    Returns
    -------
    FarPrice or None
        None for other questions, for a price that may be, and where the worth of its money is not on file.
    """
    if item.id != "kit_price" or not (numbers := _numbers(value)):
        return None
    home = str(so_far.get("currency") or default_of(question("currency"), so_far))
    beside = getattr(value, "currency", None)
    money = str(beside or so_far.get("kit_currency") or default_of(question("kit_currency"), so_far))
    worth, euro = reference(money, home), reference("EUR", home)
    if worth is None or euro is None:
        return None
    share = sum(panel.share for panel in parts_of(so_far.get("panels")))
    low, _, high = (end * share * euro.rate for end in load_library(1.0).line("kit").range)
    prices = [number * worth.rate for number in numbers]
    # Each quote is a price; of a range all has to be far, for its ends may be wide.
    judged = [(one, one) for one in prices] if isinstance(value, Quotes) else [(min(prices), max(prices))]
    if not any(most < low / FAR or least > high * FAR for least, most in judged):
        return None
    told = _told(numbers, money)
    same = (
        ""
        if money == home
        else f" {'is' if len(numbers) == 1 else 'are'} about {_told([float(f'{price:.2g}') for price in prices], home)}"
    )
    usually = f"Such parts usually cost {about(low, home)} to {about(high, home)}."
    opening = f"{told}{same}. {usually}" if same else usually
    times = next((one for one in _SLIPS if all(low <= price * float(one) <= high for price in prices)), None)
    if times is None:
        return FarPrice(f"{opening} Is it {told}, or did you mean another sum?", told)
    meant = [Decimal(repr(number)) * times for number in numbers]
    instead_told = _told([float(number) for number in meant], money)
    between = "; " if isinstance(value, Quotes) else "-" if isinstance(value, Span) else "/"
    asks = f"{opening} Is it {told}, or did you mean {instead_told}?"
    if money != home and all(low <= number <= high for number in numbers):
        asks += f" If {_told(numbers, home)} is meant, write what that is in {money}."
    return FarPrice(asks, told, between.join(map(plainly, meant)), instead_told)


def _numbers(value: Any) -> list[float]:
    match value:
        case Known(value=number):
            return [number]
        case Span(low=low, high=high):
            return [low, high]
        case Percentiles():
            return [value.low, value.middle, value.high]
        case Quotes(quotes=quotes):
            return list(quotes)
    return []


def _told(numbers: Sequence[float], currency: str) -> str:
    """Write the ends of what was priced."""
    ends = dict.fromkeys((min(numbers), max(numbers)))
    return " to ".join(entered(round(number, 2), currency) for number in ends)


__all__ = ["FAR", "FarPrice", "far_price"]
