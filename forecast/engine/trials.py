"""Trials: the plan evaluated over draws, replicate by replicate, in blocks that fit the cache."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from functools import partial
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from forecast.engine.condition import SCORE_CLIP, Posterior, at_least, posterior, regressed_loadings
from forecast.engine.draws import REPLICATES, Stream, cause_scores, column
from forecast.engine.evaluate import Value, evaluate
from forecast.engine.known import KnownFacts
from forecast.engine.plan import Gate, Plan, PlanInput, Row, sole_input
from forecast.engine.shapes import Array
from forecast.engine.tables import sampler
from forecast.errors import SimulationError

Keep: TypeAlias = Literal["rows", "totals"]

BLOCK = 4096
"""Trials evaluated at a time: some thirty arrays of this length fit a second-level cache."""

LEAST_EFFECTIVE = 1000
"""Effective sample size under which more replicates are drawn."""

_PRIOR_TRIALS = 4096  # for the scores of rows that several inputs decide


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
class Trials:
    """Simulated builds.

    Letters: N trials = R replicates of n each, in replicate order.

    Attributes
    ----------
    plan : Plan
    seed : int
    replicates : int
        R.
    totals : ndarray, shape (N,)
        Money, in the build's currency.
    hours : ndarray, shape (N,)
        Own hours.
    rows : ndarray of shape (rows, N), or None
        Every row of the plan, where it was kept.
    gates : ndarray of bool, shape (gates, N)
        What happened.
    weights : ndarray of shape (N,), or None
        Relative weights, where facts are known by floors only; None means all alike.
    reference : ndarray, shape (rows,)
        Values near each row's mean, fixed by the plan, that moments are taken around.
    moments : Moments
    remarks : tuple of str
        Facts outside their stated range, and an effective sample size too small.
    """

    plan: Plan
    seed: int
    replicates: int
    totals: Array
    hours: Array
    rows: Array | None
    gates: NDArray[np.bool_]
    weights: Array | None
    reference: Array
    moments: Moments
    remarks: tuple[str, ...] = ()

    @property
    def count(self) -> int:
        """N."""
        return int(self.totals.size)

    @property
    def effective(self) -> float:
        """Effective sample size: (Σ w)² / Σ w² (Kish 1965)."""
        if self.weights is None:
            return float(self.count)
        return float(self.weights.sum() ** 2 / np.sum(self.weights**2))

    def row(self, row_id: str) -> Array:
        """Give one row's amounts, shape (N,).

        Raises
        ------
        SimulationError
            When rows were not kept or there is none of that id.
        """
        if self.rows is None:
            message = 'rows were not kept: run the simulation with keep="rows".'
            raise SimulationError(message)
        for place, row in enumerate(self.plan.rows):
            if row.id == row_id:
                return self.rows[place]
        message = f"there is no line or event {row_id!r} in this scenario."
        raise SimulationError(message)


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
class _Part:
    """One replicate's results."""

    totals: Array
    hours: Array
    rows: Array | None
    gates: NDArray[np.bool_]
    weights: Array | None
    moments: Moments


def run(
    plan: Plan,
    trials: int = 16_384,
    seed: int = 1,
    *,
    known: KnownFacts | None = None,
    keep: Keep = "rows",
    executor: Executor | None = None,
    first_replicate: int = 0,
) -> Trials:
    """Simulate a plan.

    Parameters
    ----------
    plan : Plan
    trials : int
        Rounded up to a multiple of 16, the number of replicates.
    seed : int
        Any whole number; the same seed gives the same trials.
    known : KnownFacts, optional
        What is known by now.
    keep : {"rows", "totals"}
        Whether every row is kept, or totals, hours and moments only.
    executor : concurrent.futures.Executor, optional
        Runs replicates side by side. Results do not depend on it.
    first_replicate : int
        Number of the first replicate; batches with other numbers are further draws of the same kind.

    Returns
    -------
    Trials

    Raises
    ------
    SimulationError
        When trials is not a sensible number.
    """
    if not REPLICATES <= trials <= 100_000_000:
        message = f"trials: got {trials}, must be from {REPLICATES} to 100,000,000."
        raise SimulationError(message)
    n = -(-trials // REPLICATES)
    conditions = prepare(plan, known, seed) if known is not None and not known.nothing else None
    reference = reference_values(plan)
    job = partial(_replicate, plan, seed, n, keep, conditions, reference)
    numbers = list(range(first_replicate, first_replicate + REPLICATES))
    parts = _map(job, numbers, executor)
    while _effective(parts) < LEAST_EFFECTIVE <= n * REPLICATES and len(parts) < 8 * REPLICATES:
        start = numbers[-1] + 1
        numbers += range(start, start + REPLICATES)
        parts += _map(job, numbers[-REPLICATES:], executor)
    return _gather(plan, seed, parts, reference, conditions)


def _map(job: partial[_Part], numbers: Sequence[int], executor: Executor | None) -> list[_Part]:
    return list(executor.map(job, numbers)) if executor is not None else [job(number) for number in numbers]


def _effective(parts: Sequence[_Part]) -> float:
    if parts[0].weights is None:
        return np.inf
    weights = np.concatenate([part.weights for part in parts if part.weights is not None])
    squares = float(np.sum(weights**2))
    return float(weights.sum() ** 2 / squares) if squares > 0 else 0.0


def _gather(
    plan: Plan, seed: int, parts: Sequence[_Part], reference: Array, conditions: Conditions | None
) -> Trials:
    weights = None
    remarks = conditions.remarks if conditions is not None else ()
    if parts[0].weights is not None:
        weights = np.concatenate([part.weights for part in parts if part.weights is not None])
        effective = _effective(parts)
        if effective < min(LEAST_EFFECTIVE, weights.size / 2):
            remarks += (
                f"Only {effective:,.0f} of {weights.size:,} trials agree with what is paid so far: read these "
                "figures as rough, and check the ranges of the lines that are paid in part.",
            )
        if not weights.sum() > 0:
            weights = None
    moments = parts[0].moments
    for part in parts[1:]:
        moments = moments + part.moments
    kept = [part.rows for part in parts if part.rows is not None]
    return Trials(
        plan=plan,
        seed=seed,
        replicates=len(parts),
        totals=np.concatenate([part.totals for part in parts]),
        hours=np.concatenate([part.hours for part in parts]),
        rows=np.concatenate(kept, axis=1) if kept else None,
        gates=np.concatenate([part.gates for part in parts], axis=1),
        weights=weights,
        reference=reference,
        moments=moments,
        remarks=remarks,
    )


def reference_values(plan: Plan, *, events: bool = True) -> Array:
    """Evaluate the plan once with every figure at its middle.

    Parameters
    ----------
    plan : Plan
    events : bool
        Whether gated rows count at their chance (for a value near the mean) or not at all (for the base estimate).

    Returns
    -------
    ndarray, shape (rows,)
    """
    inputs: dict[str, Value] = {item.id: item.shape.middle for item in plan.inputs}
    chances = {gate.id: gate.chance for gate in plan.gates}
    lines: dict[str, Value] = {}
    for row in plan.rows:
        share = 1.0 if row.gate is None else (chances[row.gate] if events else 0.0)
        lines[row.id] = float(evaluate(row.formula, inputs, lines)) * share
    return np.array([float(lines[row.id]) for row in plan.rows])


def prepare(plan: Plan, known: KnownFacts, seed: int) -> Conditions:
    """Make facts ready for drawing: scores and loadings of what is known, and the causes given them."""
    rows = {row.id: row for row in plan.rows}
    inputs = {item.id: item for item in plan.inputs}
    unknown = [name for name in (*known.amounts, *known.floors) if name not in rows]
    unknown += [name for name in known.gates if name not in {gate.id for gate in plan.gates}]
    if unknown:
        message = f"nothing called {unknown[0]!r} in this scenario; facts must name its lines and events."
        raise SimulationError(message)
    loadings: list[Sequence[float]] = []
    scores: list[float] = []
    remarks: list[str] = []
    several: list[Row] = []
    for name, amount in known.amounts.items():
        sole = sole_input(rows[name])
        if sole is None:
            several.append(rows[name])
            continue
        item = inputs[sole[0]]
        loadings.append(item.loadings)
        scores.append(item.shape.score(amount / sole[1]))
        remarks += _remark(rows[name], scores[-1])
    if several:
        values, causes = _prior_rows(plan, known, seed, several)
        for row, sample in zip(several, values, strict=True):
            slopes, score = regressed_loadings(sample, causes, known.amounts[row.id])
            loadings.append([float(slope) for slope in slopes])
            scores.append(score)
            remarks += _remark(row, score)
    gates = dict(known.gates)
    for name in (*known.amounts, *known.floors):
        gate = rows[name].gate
        if gate is not None:
            gates.setdefault(gate, True)
    input_floors: dict[str, float] = {}
    rejected: set[str] = set()
    row_floors = {name: floor for name, floor in known.floors.items() if name not in known.amounts}
    for name, floor in row_floors.items():
        sole = sole_input(rows[name])
        if sole is None:
            rejected.add(name)
        else:
            score = inputs[sole[0]].shape.score(floor / sole[1])
            input_floors[sole[0]] = min(score, SCORE_CLIP)
            remarks += _remark(rows[name], score) if score > SCORE_CLIP else []
    return Conditions(
        posterior(loadings, scores, len(plan.causes)) if scores else None,
        dict(known.amounts),
        input_floors,
        row_floors,
        frozenset(rejected),
        gates,
        tuple(remarks),
    )


def _remark(row: Row, score: float) -> list[str]:
    """Say that a figure lies outside its stated range."""
    if abs(score) < SCORE_CLIP:
        return []
    side = "above" if score > 0 else "below"
    return [f"{row.title} came in {side} anything its stated range allows."]


def _prior_rows(plan: Plan, known: KnownFacts, seed: int, wanted: Sequence[Row]) -> tuple[list[Array], Array]:
    """Give prior amounts of rows, with other known rows already at what they cost, and the causes' scores."""
    n = _PRIOR_TRIALS
    stream = Stream()
    causes = cause_scores(stream, seed, 0, plan.causes, n)
    inputs: dict[str, Value] = {}
    for item in plan.inputs:
        inputs[item.id] = _sample(item, column(stream, seed, 0, item.id, n), causes)
    lines: dict[str, Value] = {}
    found: dict[str, Array] = {}
    names = {row.id for row in wanted}
    for row in plan.rows:
        value = evaluate(row.formula, inputs, lines)
        if row.id in names:
            found[row.id] = np.broadcast_to(np.asarray(value, dtype=float), (n,))
        lines[row.id] = known.amounts.get(row.id, value)
    return [found[row.id] for row in wanted], causes


def _own_weight(loadings: tuple[float, ...]) -> float:
    return float(np.sqrt(1 - sum(loading * loading for loading in loadings)))


def _sample(item: PlanInput, own: Array, causes: Array) -> Array:
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


def _floored(item: PlanInput, own: Array, causes: Array, floor: float) -> tuple[Array, Array]:
    """Draw an input given that its score is at least a floor; the weights go with the trials."""
    loadings = np.asarray(item.loadings)
    pushed = loadings @ causes if loadings.size else np.zeros_like(own)
    weight = _own_weight(item.loadings)
    scores, reach = at_least(own, (floor - pushed) / weight)
    return sampler(item.shape)(pushed + weight * scores), reach


def _happens(gate: Gate, own: Array, causes: Array) -> tuple[NDArray[np.bool_], Array]:
    """Give whether a gate opens in each trial, and its chance given the causes."""
    loadings = np.asarray(gate.loadings)
    threshold = float(ndtri(gate.chance))
    if not np.any(loadings):
        return own < threshold, np.full(own.shape, gate.chance)
    weight = _own_weight(gate.loadings)
    pushed = loadings @ causes
    return pushed + weight * own < threshold, ndtr((threshold - pushed) / weight)


def _replicate(
    plan: Plan,
    seed: int,
    n: int,
    keep: Keep,
    conditions: Conditions | None,
    reference: Array,
    replicate: int,
) -> _Part:
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
            sampled[item.id], reach = _floored(item, own, causes, floors[item.id])
            weights = reach if weights is None else weights * reach
        else:
            sampled[item.id] = _sample(item, own, causes)
    gates = np.empty((len(plan.gates), n), dtype=np.bool_)
    for place, gate in enumerate(plan.gates):
        known = conditions.gates.get(gate.id) if conditions is not None else None
        happened, chance = _happens(gate, column(stream, seed, replicate, f"gate {gate.id}", n), causes)
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
        values = _rows(plan, conditions, sampled, gates, block, weights)
        _add_up(plan, values, totals[block], hours[block])
        part = _moments(values, totals[block], reference, plan, None if weights is None else weights[block])
        moments = part if moments is None else moments + part
        if kept is not None:
            kept[:, block] = values
    assert moments is not None  # noqa: S101 - n is at least one
    return _Part(totals, hours, kept, gates, weights, moments)


def _rows(
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


def _add_up(plan: Plan, values: Array, totals: Array, hours: Array) -> None:
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
