"""Formulas worked out: on numbers and arrays, or in another arithmetic that is handed in."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from operator import add, mul
from typing import Protocol, TypeVar

import numpy as np

from forecast.figures.figure import FigureBase
from forecast.figures.formula import (
    Constant,
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


T = TypeVar("T")


class Arithmetic(Protocol[T]):
    """What formulas are worked out in: arrays and numbers here, or decimals to the cent (`forecast.trade.exact`)."""

    def number(self, value: float) -> T:
        """Give a constant of the formula."""

    def total(self, parts: Iterable[T]) -> T:
        """Add up."""

    def product(self, parts: Iterable[T]) -> T:
        """Multiply."""

    def largest(self, parts: Iterable[T]) -> T:
        """Give the largest."""

    def smallest(self, parts: Iterable[T]) -> T:
        """Give the smallest."""

    def quotient(self, top: T, bottom: T) -> T:
        """Divide."""

    def rounded_up(self, part: T, step: float) -> T:
        """Give the next whole multiple of a step."""

    def exponential(self, part: T) -> T:
        """Give e to the power of it."""


def worked_out(
    formula: Formula, arithmetic: Arithmetic[T], inputs: Mapping[str, T], lines: Mapping[str, T]
) -> T:
    """Work a formula out in any arithmetic: the one place where it is said what a node of the tree does.

    Parameters
    ----------
    formula : Formula
    arithmetic : Arithmetic
        Parts are handed to it one by one, as they are worked out.
    inputs, lines : mapping
        Values by id.
    """

    def values(parts: tuple[Formula, ...]) -> Iterator[T]:
        return (value(part) for part in parts)

    def value(node: Formula) -> T:
        # The commonest first, and no `match`, which takes half as long again: plans have thousands of nodes.
        if isinstance(node, Input):
            return inputs[node.id]
        if isinstance(node, Product):
            return arithmetic.product(values(node.parts))
        if isinstance(node, Constant):
            return arithmetic.number(node.value)
        if isinstance(node, LineValue):
            return lines[node.id]
        if isinstance(node, Sum):
            return arithmetic.total(values(node.parts))
        if isinstance(node, Larger):
            return arithmetic.largest(values(node.parts))
        if isinstance(node, Smaller):
            return arithmetic.smallest(values(node.parts))
        if isinstance(node, Quotient):
            return arithmetic.quotient(value(node.top), value(node.bottom))
        if isinstance(node, RoundedUp):
            return arithmetic.rounded_up(value(node.part), node.step)
        return arithmetic.exponential(value(node.part))

    return value(formula)


class _Arrays:
    """Numbers and arrays of one shape, mixed."""

    def number(self, value: float) -> Value:
        return value

    def total(self, parts: Iterable[Value]) -> Value:
        return _fold(np.add, parts, 0.0, add)

    def product(self, parts: Iterable[Value]) -> Value:
        return _fold(np.multiply, parts, 1.0, mul)

    def largest(self, parts: Iterable[Value]) -> Value:
        return _fold(np.maximum, parts, -np.inf)

    def smallest(self, parts: Iterable[Value]) -> Value:
        return _fold(np.minimum, parts, np.inf)

    def quotient(self, top: Value, bottom: Value) -> Value:
        return top / bottom

    def rounded_up(self, part: Value, step: float) -> Value:
        packs = np.ceil(np.asarray(part) / step - _PACK_SLACK) * step
        return float(packs) if packs.ndim == 0 else packs

    def exponential(self, part: Value) -> Value:
        grown = np.exp(part)
        return float(grown) if np.ndim(grown) == 0 else grown


_ARRAYS = _Arrays()


def evaluate(formula: Formula, inputs: Mapping[str, Value], lines: Mapping[str, Value]) -> Value:
    """Evaluate a formula on numbers and arrays.

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
    return worked_out(formula, _ARRAYS, inputs, lines)


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
    values: Iterable[Value],
    neutral: float,
    of_numbers: Callable[[float, float], float] | None = None,
) -> Value:
    """Combine values from left to right: numbers first among themselves, then into one array of our own.

    Numbers go by ``of_numbers`` where it is given, which does the same to two of them in an eighth of the time.
    """
    of_two = of_numbers or operation
    number: float | None = None
    own: Array | None = None
    first: Array | None = None
    for value in values:
        if not isinstance(value, np.ndarray):
            number = float(value) if number is None else float(of_two(number, float(value)))
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
