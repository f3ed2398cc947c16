"""Replicates: draw inputs and evaluate rows, in blocks that fit the cache."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
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


@dataclass(frozen=True)
class Part:
    """Results of one or more replicates, one after another."""

    totals: Array
    hours: Array
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
) -> Part:
    """Simulate replicates block by block: draw the inputs, then evaluate the rows.

    Parameters
    ----------
    n : int
        Trials in each replicate, a power of two.
    replicates : tuple of int
        Their numbers; more than one only where n is at most BLOCK.
    """
    names = [f"cause {cause}" for cause in plan.causes]
    names += [item.id for item in plan.inputs]
    names += [f"gate {gate.id}" for gate in plan.gates]
    drawn = columns(seed, replicates, names, n, plan.slots)
    count = n * len(replicates)
    weights = np.ones(count) if _weighted(plan, conditions) else None
    totals, hours = np.zeros(count), np.zeros(count)
    gates = np.empty((len(plan.gates), count), dtype=np.bool_)
    kept = np.empty((len(plan.rows), count)) if keep == "rows" else None
    moments: Moments | None = None
    for number in range(drawn.blocks):
        block = slice(number * drawn.block, (number + 1) * drawn.block)
        weight = None if weights is None else weights[block]
        sampled = _sampled_block(plan, conditions, drawn, number, gates[:, block], weight)
        values = kept[:, block] if kept is not None else np.empty((len(plan.rows), drawn.block))
        evaluate_rows(plan, conditions, sampled, gates[:, block], weight, values)
        add_up(plan, values, totals[block], hours[block])
        part = _moments(values, totals[block], reference, plan, weight)
        moments = part if moments is None else moments + part
    assert moments is not None  # there is at least one block
    return Part(totals, hours, kept, gates, weights, moments)


def _weighted(plan: Plan, conditions: Conditions | None) -> bool:
    """Tell whether trials differ in weight: by floors, or by gates that share causes and are known."""
    if conditions is None:
        return False
    shared = any(gate.id in conditions.gates and any(gate.loadings) for gate in plan.gates)
    return shared or bool(conditions.input_floors or conditions.rejected)


def _sampled_block(
    plan: Plan,
    conditions: Conditions | None,
    drawn: Columns,
    number: int,
    gates: NDArray[np.bool_],
    weights: Array | None,
) -> dict[str, Value]:
    """Draw inputs and gates over one block; gates and weights are written in place."""
    shared = len(plan.causes)
    causes = np.empty((shared, drawn.block))
    for place in range(shared):
        causes[place] = drawn.scores(place, number)
    if conditions is not None and conditions.posterior is not None:
        causes = conditions.posterior.apply(causes)
    floors = conditions.input_floors if conditions is not None else {}
    known_gates = conditions.gates if conditions is not None else {}
    pushes: dict[tuple[float, ...], Array] = {}
    sampled: dict[str, Value] = {}
    for place, item in enumerate(plan.inputs, start=shared):
        own = drawn.scores(place, number)
        if item.id in floors:
            sampled[item.id], reach = floored(item, own, causes, floors[item.id])
            if weights is not None:
                weights *= reach
        else:
            sampled[item.id] = sample(item, own, causes, pushes)
    for place, gate in enumerate(plan.gates):
        known = known_gates.get(gate.id)
        own = drawn.scores(shared + len(plan.inputs) + place, number)
        happened, chance = happens(gate, own, causes)
        gates[place] = happened if known is None else known
        if known is not None and any(gate.loadings) and weights is not None:
            weights *= chance if known else 1 - chance
    return sampled


def evaluate_rows(
    plan: Plan,
    conditions: Conditions | None,
    inputs: Mapping[str, Value],
    gates: NDArray[np.bool_],
    weights: Array | None,
    values: Array,
) -> None:
    """Evaluate all rows over one block, into ``values`` of shape (rows, block); weights change in place."""
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


def add_up(plan: Plan, values: Array, totals: Array, hours: Array) -> None:
    """Add rows up into totals and own hours, in place."""
    for place, row in enumerate(plan.rows):
        target = hours if row.kind == "hours" else totals
        target += values[place]


def _moments(values: Array, totals: Array, reference: Array, plan: Plan, weights: Array | None) -> Moments:
    """Sum up first moments, and products with the total, around the reference values."""
    money = list(plan.money_rows)
    about = totals - reference[money].sum()
    weighted = about if weights is None else about * weights
    first = values.sum(axis=1) if weights is None else values @ weights
    mass = float(values.shape[1]) if weights is None else float(weights.sum())
    return Moments(
        mass,
        first - reference * mass,
        values @ weighted - reference * weighted.sum(),
        float(weighted.sum()),
        float(weighted @ about),
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


def happens(gate: Gate, own: Array, causes: Array) -> tuple[NDArray[np.bool_], Array]:
    """Give whether a gate opens in each trial, and its chance given the causes."""
    loadings = np.asarray(gate.loadings)
    threshold = float(ndtri(gate.chance))
    if not np.any(loadings):
        return own < threshold, np.full(own.shape, gate.chance)
    weight = own_weight(gate.loadings)
    pushed = loadings @ causes
    return pushed + weight * own < threshold, ndtr((threshold - pushed) / weight)
