"""Facts made ready for drawing: what is known by now, as scores, floors and opened or closed gates."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from forecast.engine.condition import SCORE_CLIP, posterior, regressed_loadings
from forecast.engine.draws import Stream, cause_scores, column
from forecast.engine.evaluate import Value, evaluate
from forecast.engine.known import KnownFacts
from forecast.engine.plan import Plan, Row, sole_input
from forecast.engine.replicate import Conditions, sample
from forecast.engine.shapes import Array
from forecast.errors import SimulationError

_PRIOR_TRIALS = 4096  # for the scores of rows that several inputs decide


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
        inputs[item.id] = sample(item, column(stream, seed, 0, item.id, n), causes)
    lines: dict[str, Value] = {}
    found: dict[str, Array] = {}
    names = {row.id for row in wanted}
    for row in plan.rows:
        value = evaluate(row.formula, inputs, lines)
        if row.id in names:
            found[row.id] = np.broadcast_to(np.asarray(value, dtype=float), (n,))
        lines[row.id] = known.amounts.get(row.id, value)
    return [found[row.id] for row in wanted], causes
