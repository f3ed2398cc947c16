"""The base estimate given what is known: what one would write on an envelope today."""

from __future__ import annotations

from forecast.engine.evaluate import Value, evaluate
from forecast.engine.known import KnownFacts
from forecast.engine.plan import Plan


def base_given(plan: Plan, known: KnownFacts) -> dict[str, float]:
    """Give each line and event at its middle figure, or at what is known of it.

    Known amounts stand as they are, and what is computed from them follows. Floors are met. Events and lines that
    may not be needed count where they are known to have come, and not at all where they are open.

    Parameters
    ----------
    plan : Plan
    known : KnownFacts

    Returns
    -------
    dict of str to float
        Money rows only, in the build's main unit.
    """
    inputs: dict[str, Value] = {item.id: item.shape.middle for item in plan.inputs}
    certain = {**known.amounts, **known.fixed}
    lines: dict[str, Value] = {}
    for row in plan.rows:
        if row.id in certain:
            lines[row.id] = certain[row.id]
            continue
        floor = known.floors.get(row.id)
        counts = row.gate is None or known.gates.get(row.gate, floor is not None)
        value = float(evaluate(row.formula, inputs, lines)) if counts else 0.0
        lines[row.id] = value if floor is None else max(value, floor)
    return {row.id: float(lines[row.id]) for row in plan.rows if row.is_money}
