"""Money and chances in words: one formatter for screens, reports and the terminal.

A forecast is rounded to what its simulation error supports; a receipt is shown to the minor unit.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from decimal import Decimal
from functools import lru_cache
from typing import Protocol

from babel.core import Locale
from babel.numbers import format_currency, get_currency_symbol

from forecast.words.chances import builds as builds
from forecast.words.chances import rounded_hours
from forecast.words.currencies import is_currency, minor_digits, shown_digits
from forecast.words.numbers import shown

LOCALE = "en"


class Money(Protocol):
    """Writes a sum of the simulation in some currency, rounded by its standard error where that is given."""

    def __call__(self, value: float, /, *, error: float = 0.0) -> str:
        """Write it."""


class Simulated(Protocol):
    """A figure of the simulation, with its simulation error."""

    @property
    def value(self) -> float:
        """Give the figure."""

    @property
    def error(self) -> float:
        """Give its standard error."""


@lru_cache(maxsize=64)
def _pattern(currency: str, digits: int) -> str:
    """Give a pattern with so many decimals; a code in letters gets a space, a sign does not."""
    symbol = get_currency_symbol(currency, LOCALE)
    gap = "\u00a0" if symbol[-1].isalpha() else ""
    return f"¤{gap}#,##0" + (f".{'0' * digits}" if digits else "")


def rounding_step(currency: str, error: float = 0.0) -> float:
    """Give the step that a forecast is rounded to.

    The larger of ten units (or the like in currencies without a minor unit) and the power of ten of its
    simulation error.
    """
    digits = shown_digits(currency)
    least = 10.0 ** (3 - digits) if digits < 2 else 10.0
    if not math.isfinite(error) or error <= least:
        return least
    return float(10.0 ** math.floor(math.log10(error)))


def as_written(value: float, currency: str, error: float = 0.0) -> float:
    """Round a forecast sum as `about` writes it.

    Differences that stand beside both of their sums are taken of these, so that what is printed adds up.
    """
    step = rounding_step(currency, error)
    return float(round(value / step) * step)


def apportioned(changes: Sequence[int], unit: float, whole: float) -> list[float]:
    """Round changes to a unit so that they add up to a whole: up where most is left over, as seats are given by votes.

    What rounding the two ends leaves beyond that falls to the largest change, which it alters least. What did not
    change stays so.

    Parameters
    ----------
    changes : sequence of int
    unit, whole : float
        Counted as the changes are.
    """
    floors = [float(int(change // unit)) for change in changes]
    moved = [place for place, change in enumerate(changes) if change]
    if not moved:
        return [0.0 for _ in changes]
    by_rest = sorted(moved, key=lambda place: floors[place] - changes[place] / unit)
    up = sum(changes[place] % unit != 0 for place in moved)
    spare = int((whole - sum(floors) * unit) // unit)
    found = [floor * unit for floor in floors]
    for place in by_rest[: min(max(spare, 0), up)]:
        found[place] += unit
    largest = max(moved, key=lambda place: abs(changes[place]))
    found[largest] += whole - sum(found)
    return found


def about(value: float, currency: str, error: float = 0.0) -> str:
    """Write a forecast sum, rounded to what can be told apart: ``€9,450``."""
    step = rounding_step(currency, error)
    rounded = round(value / step) * step
    return _written(rounded + 0.0, currency, 0)


def apart(found: Simulated, known: float, currency: str) -> str:
    """Write how far a figure of the simulation is off a sum that was entered: the difference of both as written."""
    return entered(abs(as_written(found.value, currency, found.error) - known), currency)


def estimated(found: Simulated, currency: str) -> str:
    """Write a figure of the simulation, rounded by its own error."""
    return about(found.value, currency, found.error)


def rounded(money: Money, found: Simulated) -> str:
    """Write a figure of the simulation in some currency, rounded by its own error."""
    return money(found.value, error=found.error)


def signed(value: float, currency: str, error: float = 0.0) -> str:
    """Write a change with its sign: ``+€140``, ``−€20``; ``€0`` has none."""
    step = rounding_step(currency, error)
    rounded = round(value / step) * step
    if rounded == 0:
        return _written(0.0, currency, 0)
    return ("+" if rounded > 0 else "\u2212") + _written(abs(rounded), currency, 0)


def difference(value: float, currency: str) -> str:
    """Write how far a known sum is off another, to the minor unit: ``+€155``, ``−€34.50``; ``€0`` has no sign."""
    written = entered(abs(value), currency)
    return written if written == entered(0.0, currency) else ("+" if value > 0 else "\u2212") + written


def hourly(value: float, currency: str) -> str:
    """Write what an hour pays, rounded to the unit (or the like in currencies without a minor unit): ``€34``."""
    step = 10.0 ** (2 - min(shown_digits(currency), 2))
    return _written(round(value / step) * step + 0.0, currency, 0)


def to_the_coin(value: float, currency: str) -> str:
    """Write a sum for a column of such sums, to the smallest coin and without a sign: no cents of a yen."""
    return f"{value:,.{minor_digits(currency)}f}"


def error_of(error: float, currency: str) -> str:
    """Write a simulation error to the unit: ``€26``."""
    return _written(round(error), currency, 0)


def exact(minor: int, currency: str) -> str:
    """Write an exact sum of minor units: ``€1,234.50``.

    Decimals that nobody uses are left away where they are nothing: ``HUF 610,000``, but ``HUF 610,000.50``.
    """
    digits = minor_digits(currency)
    shown = digits if minor % 10**digits else shown_digits(currency)
    return _written(Decimal(minor).scaleb(-digits), currency, shown)


def entered(value: float, currency: str) -> str:
    """Write a sum that somebody entered and that stands as a number in the main unit, as it was entered.

    To the minor unit, without decimals where they are nothing: ``€37,000``, ``€25.50``. Paid, agreed and due sums and
    budgets are written so; `about` is for what was simulated.
    """
    digits = minor_digits(currency)
    minor = round(value * 10**digits)
    return _written(Decimal(minor).scaleb(-digits), currency, digits if minor % 10**digits else 0)


def entered_in(value: float, unit: str) -> str:
    """Write a number that somebody entered as it is counted: a sum in a currency, else ``1 250 kg``, or ``3``."""
    return entered(value, unit) if is_currency(unit) else f"{shown(value)} {unit}".rstrip()


@lru_cache(maxsize=4096)  # a page writes the same sums again each time it is drawn
def _written(value: float | Decimal, currency: str, digits: int) -> str:
    text: str = format_currency(
        Decimal(value).copy_abs(),
        currency,
        format=_pattern(currency, digits),
        locale=Locale.parse(LOCALE),
        currency_digits=False,
    )
    return ("\u2212" if value < 0 else "") + text


def percent(share: float) -> str:
    """Write a share in percent, with a digit more where it is small: ``17 %``, ``2.5 %``."""
    value = 100 * share
    text = f"{value:.1f}" if abs(value) < 9.95 else f"{value:.0f}"
    return f"{text.removesuffix('.0')}\u00a0%".replace("-", "\u2212")


def hours(value: float) -> str:
    """Write hours, rounded to what an estimate of work can mean."""
    return f"{rounded_hours(value)}\u00a0h"
