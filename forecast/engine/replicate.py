"""One replicate: draw its inputs whole, then evaluate the rows in blocks that fit the cache."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from forecast.engine.condition import Posterior, at_least
from forecast.engine.draws import Stream, cause_scores, column
from forecast.engine.evaluate import Value, evaluate
from forecast.engine.plan import Gate, Plan, PlanInput
from forecast.engine.shapes import Array
from forecast.engine.tables import sampler

Keep: TypeAlias = Literal["rows", "totals"]

BLOCK = 4096
"""Trials evaluated at a time: some thirty arrays of this length fit a second-level cache."""


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
    """One replicate's results."""

    totals: Array
    hours: Array
    rows: Array | None
    gates: NDArray[np.bool_]
    weights: Array | None
    moments: Moments


def simulate_replicate(
    plan: Plan,
    seed: int,
    n: int,
    keep: Keep,
    conditions: Conditions | None,
    reference: Array,
    replicate: int,
) -> Part:
    """Simulate one replicate: draw its inputs whole, then evaluate the rows block by block."""
    stream = Stream()
    causes = cause_scores(stream, seed, replicate, plan.causes, n)
    if conditions is not None and conditions.posterior is not None:
        causes = conditions.posterior.apply(causes)
    weights: Array | None = None
    floors = conditions.input_floors if conditions is not None else {}
    sampled: dict[str, Array] = {}
    for item in plan.inputs:
        own = column(stream, seed, replicate, item.id, n)
        if item.id in floors:
            sampled[item.id], reach = floored(item, own, causes, floors[item.id])
            weights = reach if weights is None else weights * reach
        else:
            sampled[item.id] = sample(item, own, causes)
    gates = np.empty((len(plan.gates), n), dtype=np.bool_)
    for place, gate in enumerate(plan.gates):
        known = conditions.gates.get(gate.id) if conditions is not None else None
        happened, chance = happens(gate, column(stream, seed, replicate, f"gate {gate.id}", n), causes)
        gates[place] = happened if known is None else known
        if known is not None and any(gate.loadings):
            likelihood = chance if known else 1 - chance
            weights = likelihood if weights is None else weights * likelihood
    if conditions is not None and conditions.rejected and weights is None:
        weights = np.ones(n)
    totals, hours = np.zeros(n), np.zeros(n)
    kept = np.empty((len(plan.rows), n)) if keep == "rows" else None
    moments: Moments | None = None
    for start in range(0, n, BLOCK):
        block = slice(start, min(start + BLOCK, n))
        values = evaluate_rows(plan, conditions, sampled, gates, block, weights)
        add_up(plan, values, totals[block], hours[block])
        part = _moments(values, totals[block], reference, plan, None if weights is None else weights[block])
        moments = part if moments is None else moments + part
        if kept is not None:
            kept[:, block] = values
    assert moments is not None  # n is at least one
    return Part(totals, hours, kept, gates, weights, moments)


def evaluate_rows(
    plan: Plan,
    conditions: Conditions | None,
    sampled: dict[str, Array],
    gates: NDArray[np.bool_],
    block: slice,
    weights: Array | None,
) -> Array:
    """Evaluate all rows over one block, shape (rows, block)."""
    inputs: dict[str, Value] = {name: values[block] for name, values in sampled.items()}
    place_of = {gate.id: place for place, gate in enumerate(plan.gates)}
    values = np.empty((len(plan.rows), block.stop - block.start))
    lines: dict[str, Value] = {}
    for place, row in enumerate(plan.rows):
        out = values[place]
        if conditions is not None and row.id in conditions.amounts:
            out[:] = conditions.amounts[row.id]
        else:
            out[:] = evaluate(row.formula, inputs, lines)
            if row.gate is not None:
                out *= gates[place_of[row.gate], block]
            if conditions is not None and row.id in conditions.row_floors:
                floor = conditions.row_floors[row.id]
                if row.id in conditions.rejected and weights is not None:
                    weights[block] *= out >= floor
                np.maximum(out, floor, out=out)
        lines[row.id] = out
    return values


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


def _own_weight(loadings: tuple[float, ...]) -> float:
    return float(np.sqrt(1 - sum(loading * loading for loading in loadings)))


def sample(item: PlanInput, own: Array, causes: Array) -> Array:
    """Turn own scores into values, in place and block by block: x = F⁻¹(Φ(Σ λ f + √(1 − Σλ²) e))."""
    draw = sampler(item.shape)
    active = [(place, loading) for place, loading in enumerate(item.loadings) if loading]
    weight = _own_weight(item.loadings)
    for start in range(0, own.size, BLOCK):
        z = own[start : start + BLOCK]
        if active:
            z *= weight
            for place, loading in active:
                z += loading * causes[place, start : start + BLOCK]
        own[start : start + BLOCK] = draw(z)
    return own


def floored(item: PlanInput, own: Array, causes: Array, floor: float) -> tuple[Array, Array]:
    """Draw an input given that its score is at least a floor; the weights go with the trials."""
    loadings = np.asarray(item.loadings)
    pushed = loadings @ causes if loadings.size else np.zeros_like(own)
    weight = _own_weight(item.loadings)
    scores, reach = at_least(own, (floor - pushed) / weight)
    return sampler(item.shape)(pushed + weight * scores), reach


def happens(gate: Gate, own: Array, causes: Array) -> tuple[NDArray[np.bool_], Array]:
    """Give whether a gate opens in each trial, and its chance given the causes."""
    loadings = np.asarray(gate.loadings)
    threshold = float(ndtri(gate.chance))
    if not np.any(loadings):
        return own < threshold, np.full(own.shape, gate.chance)
    weight = _own_weight(gate.loadings)
    pushed = loadings @ causes
    return pushed + weight * own < threshold, ndtr((threshold - pushed) / weight)
