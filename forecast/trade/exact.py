"""The arithmetic of invoices: formulas worked out once, in exact decimals, and workings filled with figures.

The engine works the same trees out over trials. Here one value is wanted, to the cent.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from decimal import ROUND_CEILING, ROUND_HALF_UP, Decimal, localcontext
from math import prod

from forecast.errors import RuleError
from forecast.figures.evaluate import worked_out
from forecast.figures.formula import Formula, Input, LineValue, walk

_PLACEHOLDER = re.compile(r"\{([^{}]+)\}")
_NOTHING: Mapping[str, Decimal] = {}


def decimal(value: float | int | str | Decimal) -> Decimal:
    """Give the decimal number that a person would have written for a float."""
    return value if isinstance(value, Decimal) else Decimal(str(value))


def evaluate(
    formula: Formula, inputs: Mapping[str, Decimal] = _NOTHING, lines: Mapping[str, Decimal] = _NOTHING
) -> Decimal:
    """Evaluate a tree for known inputs and lines.

    Parameters
    ----------
    formula : Formula
    inputs, lines : mapping
        Values of inputs and of other lines by id.

    Returns
    -------
    decimal.Decimal
        To 28 significant digits; exact for sums and products of money.

    Raises
    ------
    RuleError
        When an input or line is not given, or something is divided by zero.
    """
    for node in walk(formula):
        for kind, values in ((Input, inputs), (LineValue, lines)):
            if isinstance(node, kind) and node.id not in values:
                message = f"{node.id}: no value is given. Given are: {', '.join(values) or 'none'}."
                raise RuleError(message)
    with localcontext():
        return worked_out(formula, _EXACT, inputs, lines)


class _Exact:
    """Decimals, as on an invoice."""

    def number(self, value: float) -> Decimal:
        return decimal(value)

    def total(self, parts: Iterable[Decimal]) -> Decimal:
        return sum(parts, Decimal(0))

    def product(self, parts: Iterable[Decimal]) -> Decimal:
        return prod(parts, start=Decimal(1))

    def largest(self, parts: Iterable[Decimal]) -> Decimal:
        return max(parts)

    def smallest(self, parts: Iterable[Decimal]) -> Decimal:
        return min(parts)

    def quotient(self, top: Decimal, bottom: Decimal) -> Decimal:
        if bottom == 0:
            message = "A sum cannot be shared out: what it is divided by is zero."
            raise RuleError(message)
        return top / bottom

    def rounded_up(self, part: Decimal, step: float) -> Decimal:
        size = decimal(step)
        return (part / size).to_integral_value(ROUND_CEILING) * size

    def exponential(self, part: Decimal) -> Decimal:
        return part.exp()


_EXACT = _Exact()


def to_cents(value: Decimal, decimals: int = 2) -> Decimal:
    """Round money to its smallest coin, halves away from zero."""
    return value.quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_UP)


def fill(working: str, values: Mapping[str, str]) -> str:
    """Put figures into a working such as ``{kit.customs_value} × 4 %``; others stay as ids."""
    return _PLACEHOLDER.sub(lambda found: values.get(found.group(1), found.group(1)), working)


def placeholders(working: str) -> tuple[str, ...]:
    """Give the ids that a working refers to."""
    return tuple(_PLACEHOLDER.findall(working))
