"""Formulas evaluated on numbers and arrays."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Protocol

import numpy as np

from forecast.figures.figure import FigureBase
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
    walk,
)
from forecast.figures.shapes import Array

_PACK_SLACK = 1e-9  # a quantity that fills its packs exactly must not need one more through rounding

Value = Array | float


def evaluate(formula: Formula, inputs: Mapping[str, Value], lines: Mapping[str, Value]) -> Value:
    """Evaluate a formula.

    Parameters
    ----------
    formula : Formula
    inputs, lines : mapping
        Values by id: arrays of one shape (n,), or numbers.

    Returns
    -------
    ndarray of shape (n,), or float
        A number where nothing in the formula varies. May be an array that was passed in: read it only.
    """
    match formula:
        case Constant(value):
            return value
        case Input(name):
            return inputs[name]
        case LineValue(name):
            return lines[name]
        case Sum(parts):
            return _fold(np.add, parts, inputs, lines, 0.0)
        case Product(parts):
            return _fold(np.multiply, parts, inputs, lines, 1.0)
        case Larger(parts):
            return _fold(np.maximum, parts, inputs, lines, -np.inf)
        case Smaller(parts):
            return _fold(np.minimum, parts, inputs, lines, np.inf)
        case Quotient(top, bottom):
            return evaluate(top, inputs, lines) / evaluate(bottom, inputs, lines)
        case RoundedUp(part, step):
            packs = np.ceil(np.asarray(evaluate(part, inputs, lines)) / step - _PACK_SLACK) * step
            return float(packs) if packs.ndim == 0 else packs
        case Exponential(part):
            grown = np.exp(evaluate(part, inputs, lines))
            return float(grown) if np.ndim(grown) == 0 else grown


class Computed(Protocol):
    """Something whose value a formula gives, such as a row of a plan or a line of a consignment."""

    @property
    def id(self) -> str:
        """What formulas of later ones call it."""

    @property
    def formula(self) -> Formula:
        """Of inputs and earlier ones."""


def in_turn(computed: Iterable[Computed], inputs: Mapping[str, Value]) -> dict[str, float]:
    """Evaluate formulas one after the other, each of which may read what those before it came to; numbers alone."""
    lines: dict[str, float] = {}
    for one in computed:
        lines[one.id] = float(evaluate(one.formula, inputs, lines))
    return lines


def at_middle(formula: Formula, figures: Mapping[str, FigureBase]) -> float:
    """Evaluate a formula of figures, each at the middle of its shape: the one middle that every base estimate adds up.

    Parameters
    ----------
    formula : Formula
        Of inputs and constants.
    figures : mapping
        Figure by input id.
    """
    wanted = {node.id for node in walk(formula) if isinstance(node, Input)}
    return float(evaluate(formula, {id: figures[id].shape(id).middle for id in wanted}, {}))


def _fold(
    operation: np.ufunc,
    parts: tuple[Formula, ...],
    inputs: Mapping[str, Value],
    lines: Mapping[str, Value],
    neutral: float,
) -> Value:
    """Combine parts from left to right: numbers first among themselves, then into one array of our own."""
    number: float | None = None
    own: Array | None = None
    first: Array | None = None
    for part in parts:
        value = evaluate(part, inputs, lines)
        if not isinstance(value, np.ndarray):
            number = float(value) if number is None else float(operation(number, value))
        elif own is not None:
            operation(own, value, out=own)
        elif first is None:
            first = value
        else:
            own = operation(first, value)
    if own is None and first is None:
        return neutral if number is None else number
    if number is None:
        return own if own is not None else first  # type: ignore[return-value]  # one of them is there
    if own is not None:
        operation(own, number, out=own)
        return own
    combined: Array = operation(first, number)
    return combined
