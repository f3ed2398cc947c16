"""How far a line is off its estimate: one figure for the table, for the message after an entry and for the end."""

from __future__ import annotations

from collections.abc import Iterable

from forecast.watching.reforecast import LineWatch
from forecast.words.minor_units import from_float, to_float
from forecast.words.money import about, as_written, difference, entered, rounding_step


def is_known(line: LineWatch, currency: str) -> bool:
    """Tell whether what a line comes to is known to the cent: closed, agreed at one price, or likely all paid."""
    agreed = line.state == "committed" and line.now[0] == line.now[2]
    return line.state == "closed" or agreed or _is_all_paid(line, currency)


def _is_all_paid(line: LineWatch, currency: str) -> bool:
    return bool(line.paid) and abs(line.now[1] - line.paid) < rounding_step(currency) / 2


def ends_at(line: LineWatch, currency: str) -> float:
    """Give what a line comes to: to the cent where that is known, else the middle of its forecast as it is written."""
    if _is_all_paid(line, currency):
        return line.paid
    known = is_known(line, currency)
    return _to_the_cent(line.now[1], currency) if known else as_written(line.now[1], currency)


def estimate_of(line: LineWatch, currency: str) -> float:
    """Give a line's estimate to the digits of what it comes to, which stands beside it."""
    known = is_known(line, currency)
    return _to_the_cent(line.estimate, currency) if known else as_written(line.estimate, currency)


def off_estimate(line: LineWatch, currency: str) -> float:
    """Give how far a line is off its estimate: the difference of the two as they are written."""
    return off_in_all((line,), currency)


def off_in_all(lines: Iterable[LineWatch], currency: str) -> float:
    """Add up how far lines are off their estimates; the sum is that of the figures that stand for each."""
    minor = (
        from_float(ends_at(line, currency), currency) - from_float(estimate_of(line, currency), currency)
        for line in lines
    )
    return to_float(sum(minor), currency)


def estimate_words(line: LineWatch, currency: str) -> str:
    """Write a line's estimate to the digits of what stands beside it."""
    known = is_known(line, currency)
    return entered(line.estimate, currency) if known else about(line.estimate, currency)


def off_words(off: float, currency: str) -> str:
    """Write how far something is off an estimate: ``€110 over``; ``at`` where it is not."""
    far = difference(off, currency).lstrip("+\u2212")
    return f"{far} {'over' if off > 0 else 'under'}" if from_float(off, currency) else "at"


def _to_the_cent(value: float, currency: str) -> float:
    return to_float(from_float(value, currency), currency)
