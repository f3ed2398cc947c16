"""The base estimate given what is known: what one would write on an envelope today."""

from __future__ import annotations

import numpy as np

from forecast.engine.known import KnownFacts
from forecast.engine.plan import Plan
from forecast.engine.replicate import Conditions
from forecast.engine.trials import reference_values
from forecast.figures.evaluate import Value, evaluate
from forecast.figures.formula import less_paid
from forecast.figures.shapes import Array


def base_given(plan: Plan, known: KnownFacts, conditions: Conditions | None = None) -> dict[str, float]:
    """Give each line and event at its middle figure, or at what is known of it.

    Known amounts and agreed prices stand as they are, and what is computed from them follows. A line paid in part
    counts at what was paid so far as that is likely to be all, and at its middle figure, or what was paid if that is
    more, for the rest. Events and lines that may not be needed count where they are known to have come, and not at all
    where they are open.

    Parameters
    ----------
    plan : Plan
    known : KnownFacts
    conditions : Conditions, optional
        The same facts made ready for drawing, which say how likely a sum paid is all.

    Returns
    -------
    dict of str to float
        Money rows only, in the build's main unit.
    """
    inputs: dict[str, Value] = {item.id: item.shape.middle for item in plan.inputs}
    certain = {**{name: one.price for name, one in known.agreed.items()}, **known.amounts, **known.fixed}
    partial = {} if conditions is None else conditions.partial
    lines: dict[str, Value] = {}
    for row in plan.rows:
        paid = known.part_paid.get(row.id)
        if row.id in certain:
            lines[row.id] = certain[row.id]
        else:
            counts = row.gate is None or known.gates.get(row.gate, paid is not None)
            value = float(evaluate(less_paid(row.formula, known.paid), inputs, lines)) if counts else 0.0
            if paid is not None:
                settled = partial[row.id].settled if row.id in partial else paid.settled
                value = settled * paid.paid + (1 - settled) * max(value, paid.paid) + paid.exchange
            lines[row.id] = value
        pivot = None if conditions is None else conditions.pivots.get(row.id)
        if pivot is not None:  # what was paid decides the price that duty and tax are reckoned from
            if pivot.foreign:
                inputs.update(pivot.neutral)
            one = float(evaluate(row.formula, {**inputs, pivot.price: 1.0}, lines))
            cost = pivot.foreign or float(lines[row.id])
            inputs[pivot.price] = cost / one if one else inputs[pivot.price]
    return {row.id: float(lines[row.id]) for row in plan.rows if row.is_money}


def base_rows(plan: Plan, known: KnownFacts, conditions: Conditions) -> Array:
    """Give the same for every row of a plan, shape (rows,); own hours and weeks at their middle figures."""
    money = base_given(plan, known, conditions)
    plain = reference_values(plan, events=False)
    return np.array(
        [money[row.id] if row.is_money else float(plain[place]) for place, row in enumerate(plan.rows)]
    )
