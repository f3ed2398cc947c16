"""How a computed sum of money follows from figures and other lines: a small tree of plain nodes.

The build file and the trade rules write these trees; the engine evaluates them over trials. They hold no
numbers of their own beyond constants, so the same tree gives one trial, a million trials, or the words that
open a total down to what makes it up.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class Constant:
    """A known number."""

    value: float


@dataclass(frozen=True)
class Input:
    """The uncertain figure of that id, such as ``filler.price``."""

    id: str


@dataclass(frozen=True)
class LineValue:
    """What another line costs, in the build's currency.

    Attributes
    ----------
    id : str
    unpaid : bool
        Whether only what is not paid yet counts, as for a bill that may still grow; see `less_paid`.
    """

    id: str
    unpaid: bool = False


@dataclass(frozen=True)
class Sum:
    """All parts added up."""

    parts: tuple[Formula, ...]


@dataclass(frozen=True)
class Product:
    """All parts multiplied."""

    parts: tuple[Formula, ...]


@dataclass(frozen=True)
class Quotient:
    """One part divided by another."""

    top: Formula
    bottom: Formula


@dataclass(frozen=True)
class Larger:
    """The largest of the parts, as in a minimum charge."""

    parts: tuple[Formula, ...]


@dataclass(frozen=True)
class Smaller:
    """The smallest of the parts, as in a maximum charge."""

    parts: tuple[Formula, ...]


@dataclass(frozen=True)
class RoundedUp:
    """A part rounded up to whole multiples of a step, as in buying whole packs."""

    part: Formula
    step: float


@dataclass(frozen=True)
class Exponential:
    """e to the power of a part, for rates that move by proportions."""

    part: Formula


Formula = Constant | Input | LineValue | Sum | Product | Quotient | Larger | Smaller | RoundedUp | Exponential
"""Any node of the tree."""


def parts_of(formula: Formula) -> tuple[Formula, ...]:
    """Give the nodes directly below one node."""
    match formula:
        case Sum(parts) | Product(parts) | Larger(parts) | Smaller(parts):
            return parts
        case Quotient(top, bottom):
            return (top, bottom)
        case RoundedUp(part) | Exponential(part):
            return (part,)
        case _:
            return ()


def walk(formula: Formula) -> list[Formula]:
    """Give a node and all nodes below it, the node itself first."""
    found: list[Formula] = [formula]
    for part in parts_of(formula):
        found.extend(walk(part))
    return found


def less_paid(formula: Formula, paid: Mapping[str, float]) -> Formula:
    """Give the same tree where lines that count as far as they are not paid count less by what is paid for them."""
    match formula:
        case LineValue(name, True) if name in paid:
            return Larger((Constant(0.0), Sum((LineValue(name), Constant(-paid[name])))))
        case _:
            return _rebuilt(formula, lambda part: less_paid(part, paid))


def bind(formula: Formula, known: Mapping[str, float]) -> Formula:
    """Give the same tree with known inputs written as constants."""
    match formula:
        case Input(name) if name in known:
            return Constant(known[name])
        case _:
            return _rebuilt(formula, lambda part: bind(part, known))


def _rebuilt(formula: Formula, each: Callable[[Formula], Formula]) -> Formula:
    """Give a node with the nodes directly below it changed."""
    match formula:
        case Sum(parts) | Product(parts) | Larger(parts) | Smaller(parts):
            return type(formula)(tuple(map(each, parts)))
        case Quotient(top, bottom):
            return Quotient(each(top), each(bottom))
        case RoundedUp(part, step):
            return RoundedUp(each(part), step)
        case Exponential(part):
            return Exponential(each(part))
        case _:
            return formula
