"""Replicates: draw inputs and evaluate rows, in blocks that fit the cache."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from forecast.engine.condition import Posterior, at_least
from forecast.engine.draws import Columns, columns
from forecast.engine.evaluate import Value, evaluate
from forecast.engine.plan import Gate, Plan, PlanInput
from forecast.engine.shapes import Array
from forecast.engine.tables import sampler

Keep: TypeAlias = Literal["rows", "totals"]


@dataclass(frozen=True)
class Moments:
    """Sums over trials from which means, variances and variance shares follow.

    Attributes
    ----------
    weight : float
        Σ w.
    first : ndarray, shape (rows,)
        Σ w x.
    with_total : ndarray, shape (rows,)
        Σ w x T.
    total, total_squared : float
        Σ w T and Σ w T², with T less a fixed reference for stability.
    reference : ndarray, shape (rows,)
        Subtracted from each row before summing.
    """

    weight: float
    first: Array
    with_total: Array
    total: float
    total_squared: float

    def __add__(self, other: Moments) -> Moments:
        """Pool two sets of trials."""
        return Moments(
            self.weight + other.weight,
            self.first + other.first,
            self.with_total + other.with_total,
            self.total + other.total,
            self.total_squared + other.total_squared,
        )


@dataclass(frozen=True)
class Conditions:
    """Facts made ready for drawing.

    Attributes
    ----------
    posterior : Posterior or None
        Of the causes.
    amounts : dict
        Fixed amount by row id.
    input_floors : dict
        Least latent score by input id.
    row_floors : dict
        Least amount by row id; every floored row, whether by its input or as a whole.
    rejected : frozenset of str
        Rows of several inputs, whose floor is met by giving trials below it no weight.
    gates : dict
        Known gates.
    remarks : tuple of str
    """

    posterior: Posterior | None
    amounts: dict[str, float]
    input_floors: dict[str, float]
    row_floors: dict[str, float]
    rejected: frozenset[str]
    gates: dict[str, bool]
    remarks: tuple[str, ...]

    def unweighted(self) -> Conditions:
        """Give the same without anything that weighs trials, for facts that no trial agrees with together."""
        remark = (
            "No simulated build agrees with everything that is paid so far: lines paid in part count at least what was "
            "paid, and nothing is learnt from them. Check their ranges."
        )
        return replace(self, input_floors={}, rejected=frozenset(), remarks=(*self.remarks, remark))


@dataclass(frozen=True)
class Part:
    """Results of one or more replicates, one after another."""

    totals: Array
    hours: Array
    waits: Array
    rows: Array | None
    gates: NDArray[np.bool_]
    weights: Array | None
    moments: Moments


def simulate_replicates(
    plan: Plan,
    seed: int,
    n: int,
    keep: Keep,
    conditions: Conditions | None,
    reference: Array,
    replicates: tuple[int, ...],
    out: Array | None = None,
) -> Part:
    """Simulate replicates block by block: draw the inputs, then evaluate the rows.

    Parameters
    ----------
    n : int
        Trials in each replicate, a power of two.
    replicates : tuple of int
        Their numbers.
    out : ndarray, shape (rows, n times replicates), optional
        Where rows are written that are kept; an array of its own when left out.
    """
    names = [f"cause {cause}" for cause in plan.causes]
    names += [item.id for item in plan.inputs]
    names += [f"gate {gate.id}" for gate in plan.gates]
    drawn = columns(seed, replicates, names, n, plan.slots)
    count = n * len(replicates)
    weights = np.ones(count) if _weighted(plan, conditions) else None
    totals, hours, waits = np.zeros(count), np.zeros(count), np.zeros(count)
    gates = np.empty((len(plan.gates), count), dtype=np.bool_)
    kept = np.empty((len(plan.rows), count)) if keep == "rows" and out is None else out
    moments: Moments | None = None
    for block in drawn.blocks():
        weight = None if weights is None else weights[block]
        sampled = _draw_block(plan, conditions, drawn, block, gates[:, block], weight)
        values = kept[:, block] if kept is not None else np.empty((len(plan.rows), block.stop - block.start))
        sums = (totals[block], hours[block], waits[block])
        evaluate_rows(plan, conditions, sampled, gates[:, block], weight, values, sums)
        part = _moments(values, totals[block], reference, plan, weight)
        moments = part if moments is None else moments + part
    assert moments is not None  # there is at least one block
    return Part(totals, hours, waits, kept, gates, weights, moments)


def _weighted(plan: Plan, conditions: Conditions | None) -> bool:
    """Tell whether trials differ in weight: by floors, or by gates that share causes and are known."""
    if conditions is None:
        return False
    shared = any(gate.id in conditions.gates and any(gate.loadings) for gate in plan.gates)
    return shared or bool(conditions.input_floors or conditions.rejected)


class _Inputs(dict[str, Value]):
    """Inputs over one block, each drawn when a row first asks for it, so that it is still in the cache there."""

    def __init__(self, plan: Plan, drawn: Columns, block: slice, causes: Array) -> None:
        super().__init__()
        self._plan = plan
        self._drawn = drawn
        self._block = block
        self._causes = causes
        self._pushes: dict[tuple[float, ...], Array] = {}

    def __missing__(self, name: str) -> Value:
        place = self._plan.input_places[name]
        own = self._drawn.scores(len(self._plan.causes) + place, self._block)
        value = sample(self._plan.inputs[place], own, self._causes, self._pushes)
        if name in self._plan.shared_inputs:
            self[name] = value
        return value


def _draw_block(
    plan: Plan,
    conditions: Conditions | None,
    drawn: Columns,
    block: slice,
    gates: NDArray[np.bool_],
    weights: Array | None,
) -> Mapping[str, Value]:
    """Draw causes and gates over one block, and make inputs ready; gates and weights are written in place."""
    shared = len(plan.causes)
    causes = np.empty((shared, block.stop - block.start))
    for place in range(shared):
        causes[place] = drawn.scores(place, block)
    if conditions is not None and conditions.posterior is not None:
        causes = conditions.posterior.apply(causes)
    inputs = _Inputs(plan, drawn, block, causes)
    for name, floor in (conditions.input_floors if conditions is not None else {}).items():
        place = plan.input_places[name]
        own = drawn.scores(shared + place, block)
        inputs[name], reach = floored(plan.inputs[place], own, causes, floor)
        if weights is not None:
            weights *= reach
    known_gates = conditions.gates if conditions is not None else {}
    for place, gate in enumerate(plan.gates):
        known = known_gates.get(gate.id)
        if known is None:
            own = drawn.scores(shared + len(plan.inputs) + place, block)
            gates[place] = happens(gate, own, causes)
            continue
        gates[place] = known
        if any(gate.loadings) and weights is not None:
            chance = chance_given(gate, causes)
            weights *= chance if known else 1 - chance
    return inputs


def evaluate_rows(
    plan: Plan,
    conditions: Conditions | None,
    inputs: Mapping[str, Value],
    gates: NDArray[np.bool_],
    weights: Array | None,
    values: Array,
    sums: tuple[Array, Array, Array],
) -> None:
    """Evaluate all rows over one block, into ``values`` of shape (rows, block).

    Weights change in place, and each row is added to the totals, the own hours or the weeks of waiting of
    ``sums`` while it is at hand.
    """
    place_of = {gate.id: place for place, gate in enumerate(plan.gates)}
    lines: dict[str, Value] = {}
    for place, row in enumerate(plan.rows):
        out = values[place]
        if conditions is not None and row.id in conditions.amounts:
            out[:] = conditions.amounts[row.id]
        else:
            out[:] = evaluate(row.formula, inputs, lines)
            if row.gate is not None:
                out *= gates[place_of[row.gate]]
            if conditions is not None and row.id in conditions.row_floors:
                floor = conditions.row_floors[row.id]
                if row.id in conditions.rejected and weights is not None:
                    weights *= out >= floor
                np.maximum(out, floor, out=out)
        lines[row.id] = out
        total = sums[0] if row.is_money else sums[1 if row.kind == "hours" else 2]
        total += out


def _moments(values: Array, totals: Array, reference: Array, plan: Plan, weights: Array | None) -> Moments:
    """Sum up first moments, and products with the total, around the reference values."""
    money = list(plan.money_rows)
    about = totals - reference[money].sum()
    both = np.empty((totals.size, 2))
    both[:, 0] = 1.0 if weights is None else weights
    both[:, 1] = about * both[:, 0]
    mass, with_total = both.sum(axis=0)
    sums = values @ both
    return Moments(
        float(mass),
        sums[:, 0] - reference * mass,
        sums[:, 1] - reference * with_total,
        float(with_total),
        float(both[:, 1] @ about),
    )


@lru_cache(maxsize=4096)
def own_weight(loadings: tuple[float, ...]) -> float:
    """Give √(1 − Σλ²), the weight of what no cause moves."""
    return float(np.sqrt(1 - sum(loading * loading for loading in loadings)))


def sample(
    item: PlanInput, own: Array, causes: Array, pushes: dict[tuple[float, ...], Array] | None = None
) -> Array:
    """Turn own scores into values: x = F⁻¹(Φ(Σ λ f + √(1 − Σλ²) e)); own scores are overwritten.

    Parameters
    ----------
    item : PlanInput
    own : ndarray, shape (n,)
    causes : ndarray, shape (K, n)
    pushes : dict, optional
        Σ λ f by loadings, kept for other inputs over the same trials.
    """
    if any(item.loadings):
        pushed = pushes.get(item.loadings) if pushes is not None else None
        if pushed is None:
            pushed = np.asarray(item.loadings) @ causes
            if pushes is not None:
                pushes[item.loadings] = pushed
        own *= own_weight(item.loadings)
        own += pushed
    return sampler(item.shape)(own)


def floored(item: PlanInput, own: Array, causes: Array, floor: float) -> tuple[Array, Array]:
    """Draw an input given that its score is at least a floor; the weights go with the trials."""
    loadings = np.asarray(item.loadings)
    pushed = loadings @ causes if loadings.size else np.zeros_like(own)
    weight = own_weight(item.loadings)
    scores, reach = at_least(own, (floor - pushed) / weight)
    return sampler(item.shape)(pushed + weight * scores), reach


def happens(gate: Gate, own: Array, causes: Array) -> NDArray[np.bool_]:
    """Tell in which trials a gate opens; own scores are overwritten."""
    if any(gate.loadings):
        own *= own_weight(gate.loadings)
        own += np.asarray(gate.loadings) @ causes
    happened: NDArray[np.bool_] = own < float(ndtri(gate.chance))
    return happened


def chance_given(gate: Gate, causes: Array) -> Array:
    """Give a gate's chance to open in each trial, given the causes."""
    pushed = np.asarray(gate.loadings) @ causes
    chance: Array = ndtr((float(ndtri(gate.chance)) - pushed) / own_weight(gate.loadings))
    return chance
