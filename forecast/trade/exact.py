"""Evaluates a formula once, in exact decimal arithmetic, and fills workings with figures.

The engine evaluates the same trees over trials. Here one value is wanted, to the cent.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from decimal import ROUND_CEILING, ROUND_HALF_UP, Decimal, localcontext
from math import prod

from forecast.errors import RuleError
from forecast.figures.formula import (
    Constant,
    Exponential,
    Formula,
    Input,
    Larger,
    LineValue,
    Product,
    Quotient,
    RoundedUp,
    Smaller,
    Sum,
)

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

    def value(node: Formula) -> Decimal:
        match node:
            case Constant(number):
                return decimal(number)
            case Input(id):
                return _look_up(id, inputs)
            case LineValue(id):
                return _look_up(id, lines)
            case Sum(parts):
                return sum((value(part) for part in parts), Decimal(0))
            case Product(parts):
                return prod((value(part) for part in parts), start=Decimal(1))
            case Quotient(top, bottom):
                divisor = value(bottom)
                if divisor == 0:
                    message = "A sum cannot be shared out: what it is divided by is zero."
                    raise RuleError(message)
                return value(top) / divisor
            case Larger(parts):
                return max(value(part) for part in parts)
            case Smaller(parts):
                return min(value(part) for part in parts)
            case RoundedUp(part, step):
                size = decimal(step)
                return (value(part) / size).to_integral_value(ROUND_CEILING) * size
            case Exponential(part):
                return value(part).exp()

    with localcontext():
        return value(formula)


def _look_up(id: str, values: Mapping[str, Decimal]) -> Decimal:
    if id not in values:
        message = f"{id}: no value is given. Given are: {', '.join(values) or 'none'}."
        raise RuleError(message)
    return decimal(values[id])


def to_cents(value: Decimal, decimals: int = 2) -> Decimal:
    """Round money to its smallest coin, halves away from zero."""
    return value.quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_UP)


def fill(working: str, values: Mapping[str, str]) -> str:
    """Put figures into a working such as ``{kit.customs_value} × 4 %``; others stay as ids."""
    return _PLACEHOLDER.sub(lambda found: values.get(found.group(1), found.group(1)), working)


def placeholders(working: str) -> tuple[str, ...]:
    """Give the ids that a working refers to."""
    return tuple(_PLACEHOLDER.findall(working))
