"""What two plans have in common: rows that come to the same in every trial need not be worked out again.

An input's draws follow from the seed and its id alone, so a row of the same formula over the same inputs has the same
amounts in both, to the last bit. After an edit that is every row but the one that was edited and those that read it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from numpy.typing import NDArray

from forecast.figures.shapes import Array

if TYPE_CHECKING:
    import numpy as np

    from forecast.engine.plan import Plan


@dataclass(frozen=True)
class Alike:
    """Rows and gates of a plan that earlier trials of another have already.

    Attributes
    ----------
    rows, gates : mapping
        Their places in the earlier plan, by place in this one.
    amounts : ndarray, shape (earlier rows, N)
    happened : ndarray of bool, shape (earlier gates, N)
    """

    rows: Mapping[int, int]
    gates: Mapping[int, int]
    amounts: Array
    happened: NDArray[np.bool_]

    def part(self, block: slice) -> Alike:
        """Give some of the trials."""
        return replace(self, amounts=self.amounts[:, block], happened=self.happened[:, block])

    def read(self, plan: Plan) -> frozenset[str]:
        """Name the inputs, and the gates as their columns, that have to be drawn all the same."""
        rows = (row for place, row in enumerate(plan.rows) if place not in self.rows)
        gates = (f"gate {gate.id}" for place, gate in enumerate(plan.gates) if place not in self.gates)
        return frozenset([*(name for row in rows for name in row.inputs), *gates])


def alike(plan: Plan, was: Plan, amounts: Array, happened: NDArray[np.bool_]) -> Alike | None:
    """Find what trials of a plan have in common with earlier ones of another, of the same seed and replicates.

    Parameters
    ----------
    plan, was : Plan
        This one, and the earlier one.
    amounts : ndarray, shape (rows of the earlier plan, N)
    happened : ndarray of bool, shape (gates of the earlier plan, N)

    Returns
    -------
    Alike or None
        None where shared causes are drawn otherwise.
    """
    if not all(
        _same_slot(was, plan, f"cause {cause}") for cause in plan.causes
    ):  # by their place in the file
        return None
    gate_places = {gate: place for place, gate in enumerate(was.gates)}
    gates = {
        place: gate_places[gate]
        for place, gate in enumerate(plan.gates)
        if gate in gate_places and _same_slot(was, plan, f"gate {gate.id}")
    }
    same_gates = {plan.gates[place].id for place in gates}
    inputs_before = {item.id: item for item in was.inputs}
    same_inputs = {
        item.id
        for item in plan.inputs
        if inputs_before.get(item.id) == item and _same_slot(was, plan, item.id)
    }
    row_places = {row.id: place for place, row in enumerate(was.rows)}
    rows: dict[int, int] = {}
    same_rows: set[str] = set()
    for place, row in enumerate(plan.rows):
        before = row_places.get(row.id)
        if (
            before is not None
            and was.rows[before].gate == row.gate
            and (row.gate is None or row.gate in same_gates)
            and same_inputs.issuperset(row.inputs)
            and same_rows.issuperset(row.reads)
            and was.rows[before].formula == row.formula
        ):
            rows[place] = before
            same_rows.add(row.id)
    return Alike(rows, gates, amounts, happened)


def _same_slot(was: Plan, plan: Plan, name: str) -> bool:
    return was.slots.get(name) == plan.slots.get(name)
