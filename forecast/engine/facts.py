"""Facts made ready for drawing: what is known by now, as scores, floors and opened or closed gates."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtr

from forecast.build.formula import LineValue, walk
from forecast.engine.condition import SCORE_CLIP, posterior, regressed_loadings
from forecast.engine.draws import column
from forecast.engine.evaluate import Value, evaluate
from forecast.engine.known import KnownFacts
from forecast.engine.plan import Plan, Row, inputs_of, sole_input
from forecast.engine.replicate import Conditions, sample
from forecast.engine.shapes import Array
from forecast.errors import SimulationError

_PRIOR_TRIALS = 4096  # for the scores of rows that several inputs decide

LEAST_REACH = 0.002
"""Prior chance under which a line is taken at what was paid: about eight of the prior trials, or 2.9 deviations."""


@dataclass(frozen=True)
class Observation:
    """What one known amount says about the shared causes.

    Attributes
    ----------
    row : str
        Id of the row that is known.
    loadings : tuple of K floats
        How far each cause moves the row's score.
    score : float
        Where the amount lies in its stated range; not yet clipped.
    """

    row: str
    loadings: tuple[float, ...]
    score: float


class Prior:
    """Prior trials of a plan, in which amounts of rows that several inputs decide are judged.

    Drawn when first needed, and kept: one object serves any number of sets of facts about its plan.

    Parameters
    ----------
    plan : Plan
    seed : int
    """

    def __init__(self, plan: Plan, seed: int) -> None:
        self.plan = plan
        self.seed = seed
        self.rows = {row.id: row for row in plan.rows}
        self.inputs = {item.id: item for item in plan.inputs}
        self._drawn: tuple[dict[str, Value], Array] | None = None
        self._judged: dict[tuple[object, ...], tuple[tuple[float, ...], float]] = {}

    def observe(self, name: str, amounts: Mapping[str, float]) -> Observation:
        """Give what the known amount of a row says, with other known rows already at what they cost."""
        row, amount = self.rows[name], amounts[name]
        sole = sole_input(row)
        if sole is not None:
            item = self.inputs[sole[0]]
            return Observation(name, item.loadings, item.shape.score(amount / sole[1]))
        given = {other: amounts[other] for other in self._above(row) if other in amounts}
        key = (name, amount, *given.items())
        if key not in self._judged:
            values, causes = self._draw()
            prior = np.broadcast_to(
                np.asarray(self._value(row, values, given), dtype=float), (_PRIOR_TRIALS,)
            )
            slopes, score = regressed_loadings(prior, causes, amount)
            self._judged[key] = tuple(float(slope) for slope in slopes), score
        return Observation(name, *self._judged[key])

    def reach(self, name: str, floor: float, amounts: Mapping[str, float]) -> float:
        """Give the prior chance that a row costs at least its floor, other known rows at what they cost.

        A row that follows from other lines alone can always be taken at its floor: 1, unless it cannot vary at all.
        """
        row = self.rows[name]
        sole = sole_input(row)
        if sole is not None:
            return float(ndtr(-self.inputs[sole[0]].shape.score(floor / sole[1])))
        if not inputs_of(row) and _read_by(row):
            return 1.0
        given = {other: amounts[other] for other in self._above(row) if other in amounts}
        values, _ = self._draw()
        prior = np.asarray(self._value(row, values, given), dtype=float)
        return float(np.mean(prior >= floor))

    def _draw(self) -> tuple[dict[str, Value], Array]:
        if self._drawn is None:
            n, slots = _PRIOR_TRIALS, self.plan.slots
            causes = np.empty((len(self.plan.causes), n))
            for place, cause in enumerate(self.plan.causes):
                causes[place] = column(self.seed, 0, f"cause {cause}", n, slots)
            inputs: dict[str, Value] = {}
            for item in self.plan.inputs:
                inputs[item.id] = sample(item, column(self.seed, 0, item.id, n, slots), causes)
            self._drawn = inputs, causes
        return self._drawn

    def _value(self, row: Row, inputs: Mapping[str, Value], given: Mapping[str, float]) -> Value:
        lines = {
            name: given[name] if name in given else self._value(self.rows[name], inputs, given)
            for name in _read_by(row)
        }
        return evaluate(row.formula, inputs, lines)

    def _above(self, row: Row) -> tuple[str, ...]:
        """Name the rows that a row is computed from, directly or through others."""
        found: dict[str, None] = {}
        open_rows = [row]
        while open_rows:
            for name in _read_by(open_rows.pop()):
                if name not in found:
                    found[name] = None
                    open_rows.append(self.rows[name])
        return tuple(found)


def _read_by(row: Row) -> tuple[str, ...]:
    return tuple(dict.fromkeys(node.id for node in walk(row.formula) if isinstance(node, LineValue)))


def observe(plan: Plan, known: KnownFacts, seed: int, prior: Prior | None = None) -> tuple[Observation, ...]:
    """Give what each known amount says about the shared causes.

    Raises
    ------
    SimulationError
        When a fact names nothing of the plan.
    """
    rows = {row.id for row in plan.rows}
    unknown = [name for name in (*known.amounts, *known.floors, *known.fixed) if name not in rows]
    unknown += [name for name in known.gates if name not in {gate.id for gate in plan.gates}]
    if unknown:
        message = f"nothing called {unknown[0]!r} in this scenario; facts must name its lines and events."
        raise SimulationError(message)
    prior = prior or Prior(plan, seed)
    amounts = {**known.amounts, **known.fixed}
    return tuple(prior.observe(name, amounts) for name in known.amounts if name not in known.fixed)


def prepare(plan: Plan, known: KnownFacts, seed: int, prior: Prior | None = None) -> Conditions:
    """Make facts ready for drawing: scores and loadings of what is known, and the causes given them.

    Parameters
    ----------
    plan : Plan
    known : KnownFacts
    seed : int
    prior : Prior, optional
        Of the same plan and seed, to be used again.

    Returns
    -------
    Conditions

    Raises
    ------
    SimulationError
        When a fact names nothing of the plan.
    """
    prior = prior or Prior(plan, seed)
    rows = prior.rows
    unheld, known = known, _beyond_reach(known, prior)
    observed = observe(plan, known, seed, prior)
    beyond = [name for name in known.amounts if name not in unheld.amounts]
    remarks = [
        remark for one in observed if one.row not in beyond for remark in _remark(rows[one.row], one.score)
    ]
    remarks += [
        f"{rows[name].title}: paid more than its stated range allows. It counts as what was paid; widen the range if "
        "more is to come, or close it."
        for name in beyond
    ]
    gates = dict(known.gates)
    for name in (*known.amounts, *known.floors):
        gate = rows[name].gate
        if gate is not None:
            gates.setdefault(gate, True)
    input_floors: dict[str, float] = {}
    rejected: set[str] = set()
    amounts = {**known.amounts, **known.fixed}
    row_floors = {name: floor for name, floor in known.floors.items() if name not in amounts}
    for name, floor in row_floors.items():
        sole = sole_input(rows[name])
        if sole is not None:
            input_floors[sole[0]] = prior.inputs[sole[0]].shape.score(floor / sole[1])
        elif inputs_of(rows[name]):
            rejected.add(name)
        # A row that follows from other lines alone has no luck of its own to learn from: it costs at least its floor.
    learned = (
        posterior([one.loadings for one in observed], [one.score for one in observed], len(plan.causes))
        if observed
        else None
    )
    return Conditions(
        learned,
        amounts,
        input_floors,
        row_floors,
        frozenset(rejected),
        gates,
        tuple(remarks),
    )


def _beyond_reach(known: KnownFacts, prior: Prior) -> KnownFacts:
    """Take a line at what was paid where its stated range can hardly reach that.

    No trial would agree with such a floor, so that nothing could be weighed; and more than the range allows is news
    enough. The line then counts as one that cost just that, its score clipped as any other.
    """
    amounts = {**known.amounts, **known.fixed}
    reached = {
        name: floor
        for name, floor in known.floors.items()
        if name in prior.rows and name not in amounts and prior.reach(name, floor, amounts) < LEAST_REACH
    }
    if not reached:
        return known
    floors = {name: floor for name, floor in known.floors.items() if name not in reached}
    return replace(known, amounts={**known.amounts, **reached}, floors=floors)


def _remark(row: Row, score: float) -> list[str]:
    """Say that a figure lies outside its stated range."""
    if abs(score) < SCORE_CLIP:
        return []
    side = "above" if score > 0 else "below"
    return [f"{row.title} came in {side} anything its stated range allows."]
