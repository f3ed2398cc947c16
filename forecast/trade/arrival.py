"""What is charged between the border and the door: storage by steps, the fee for advancing duty and tax.

Demurrage is for space at the terminal, detention for the use of a container, free time the grace before
either. Part loads meet the depot's storage; full containers meet both.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from forecast.errors import RuleError
from forecast.figures.formula import Constant, Formula, Larger, Product, RoundedUp, Smaller, Sum

NOTHING = Constant(0)


@dataclass(frozen=True)
class Step:
    """A storage rate per chargeable unit and day, for so many days; ``None`` for the last step."""

    rate: Formula
    days: float | None = None


def less(first: Formula, second: Formula) -> Formula:
    """Give one formula less another."""
    return Sum((first, Product((Constant(-1), second))))


def above(value: Formula, limit: Formula) -> Formula:
    """Give 1 where a value of money is above a limit, else 0."""
    return RoundedUp(Smaller((Constant(1), Larger((NOTHING, less(value, limit))))), 1)


def at_most(value: Formula, limit: Formula) -> Formula:
    """Give 1 where a value of money is at most a limit, else 0."""
    return less(Constant(1), above(value, limit))


def charged_days(days: Formula, free_days: Formula) -> Formula:
    """Give the days of storage that are charged: those begun after the free ones."""
    return RoundedUp(Larger((NOTHING, less(days, free_days))), 1)


def storage(
    units: Formula,
    days: Formula,
    free_days: Formula,
    steps: Sequence[Step],
    minimum: Formula | None = None,
) -> Formula:
    """Give what storage costs: units × Σ over the steps of (days in the step × its rate).

    Parameters
    ----------
    units : Formula
        Chargeable units (W/M or kg).
    days : Formula
        Days from arrival until the goods leave the depot; a day begun counts.
    free_days : Formula
        Days without charge.
    steps : sequence of Step
        One after the other from the first charged day; the last has no days.
    minimum : Formula, optional
        The least that is charged once any day is.

    Returns
    -------
    Formula

    Raises
    ------
    RuleError
        When there is no step, or one but the last has no days.
    """
    if not steps or any(step.days is None for step in steps[:-1]):
        message = "storage.steps: every step but the last needs days, and there must be one. Add days = …"
        raise RuleError(message)
    charged = charged_days(days, free_days)
    parts: list[Formula] = []
    before = 0.0
    for step in steps:
        inside: Formula = Larger((NOTHING, less(charged, Constant(before)))) if before else charged
        if step.days is not None:
            inside = Smaller((Constant(step.days), inside))
            before += step.days
        parts.append(Product((inside, step.rate)))
    cost = Product((units, Sum(tuple(parts))))
    if minimum is None:
        return cost
    return Larger((cost, Product((minimum, Smaller((Constant(1), charged))))))


def disbursement(advanced: Formula, percent: Formula, minimum: Formula) -> Formula:
    """Give the fee for advancing duty and tax: the larger of a percentage and a minimum; 0 on nothing."""
    fee = Larger((minimum, Product((percent, Constant(0.01), advanced))))
    return Product((fee, above(advanced, NOTHING)))


def insurance_premium(insured: Formula, percent: float, uplift: float = 1.10) -> Formula:
    """Give the premium of transit insurance on CIF + 10 %.

    The insured value holds the premium itself: I = r u (C + I), hence I = r u C / (1 − r u), with the rate r,
    the uplift u (1.10) and the insured cost and freight C.
    """
    rate = round(percent / 100 * uplift, 12)
    return Product((insured, Constant(rate / (1 - rate))))
