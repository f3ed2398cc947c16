"""The same trials under many sets of facts: what is drawn once is kept, and only what a fact touches is redone.

A history has one forecast for each day of a build. Between two days the draws are the same, so own scores and prior
causes are drawn once; a new fact then changes the causes (every open figure follows) or a single line.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from forecast.engine.draws import BLOCK, columns, replicate_sizes
from forecast.engine.facts import prepare, prior_of
from forecast.engine.known import KnownFacts
from forecast.engine.plan import Plan
from forecast.engine.replicate import Conditions, World, chance_given, evaluate_rows, weighted
from forecast.figures.evaluate import Value
from forecast.figures.shapes import Array

_LAST = 4
"""Outcomes kept: a history ends with the facts that what moved ends with, and several of its steps have them."""


@dataclass(frozen=True)
class Outcome:
    """Totals under one set of facts.

    Attributes
    ----------
    totals : ndarray, shape (N,)
    weights : ndarray of shape (N,), or None
        Relative weights; None means all alike.
    replicates : int
        R, of as many trials each.
    """

    totals: Array
    weights: Array | None
    replicates: int

    @property
    def effective(self) -> float:
        """Effective sample size: (Σ w)² / Σ w² (Kish 1965)."""
        if self.weights is None:
            return float(self.totals.size)
        squares = float(np.sum(self.weights**2))
        return float(self.weights.sum() ** 2 / squares) if squares > 0 else 0.0


class Replay:
    """A plan's draws, to be looked at under any number of sets of facts.

    The trials are those of `forecast.engine.trials.run` with the same number and seed, in the same order.

    Parameters
    ----------
    plan : Plan
    trials : int
        Rounded up as `forecast.engine.trials.run` does.
    seed : int
    batches : int
        How many times as many replicates, as `run` draws where few trials agree with the facts.
    """

    def __init__(self, plan: Plan, trials: int, seed: int, batches: int = 1) -> None:
        self.plan = plan
        self.seed = seed
        self.prior = prior_of(plan, seed)
        self._replicates, self._n = replicate_sizes(trials)
        self._replicates *= batches
        self.count = self._n * self._replicates
        self._last: list[tuple[KnownFacts, tuple[Conditions, Outcome]]] = []
        self._own: dict[str, Array] = {}
        self._inputs: dict[str, tuple[bytes, Array]] = {}
        self._gates: dict[str, tuple[bytes, NDArray[np.bool_], Array]] = {}

    def conditions(self, known: KnownFacts, joined: tuple[str, ...] = ()) -> Conditions:
        """Make facts ready for drawing; see `forecast.engine.facts.prepare`."""
        return prepare(self.plan, known, self.seed, self.prior, joined=joined)

    def under(self, known: KnownFacts) -> tuple[Conditions, Outcome]:
        """Make facts ready and give the totals under them; those asked for last are not run again."""
        for facts, kept in self._last:
            if facts == known:
                return kept
        conditions = self.conditions(known)
        found = conditions, self.run(conditions)
        self._last = [*self._last[1 - _LAST :], (known, found)]
        return found

    def run(self, conditions: Conditions, weights: Array | None = None, *, reweigh: bool = True) -> Outcome:
        """Give the totals under some facts.

        Parameters
        ----------
        conditions : Conditions
        weights : ndarray of shape (N,), optional
            With ``reweigh=False``: weights of other facts, to be used in place of those that follow from these.
        reweigh : bool
            Whether gates that are known change the trials' weights.

        Returns
        -------
        Outcome
        """
        world = World(self.plan, conditions, lambda name: self._column(name).copy(), self.count)
        found = conditions.posterior
        token = b"" if found is None else found.token + repr(conditions.joined).encode()
        width = b"" if found is None or found.width is None else found.width.token
        token, width = token + repr(conditions.wider).encode(), width + repr(conditions.wider).encode()
        sampled: dict[str, Array] = {}
        needed = _needed(self.plan, conditions)
        for item in self.plan.inputs:
            if item.id not in needed:
                continue
            moved = any(item.loadings) or item.id in conditions.joined
            key = token if moved else width if item.own else b""
            kept = self._inputs.get(item.id)
            if kept is None or kept[0] != key:
                kept = (key, world.figure(item))
                self._inputs[item.id] = kept
            sampled[item.id] = kept[1]
        gates = np.empty((len(self.plan.gates), self.count), dtype=np.bool_)
        own_weights = np.ones(self.count) if weighted(self.plan, conditions) else None
        for place, gate in enumerate(self.plan.gates):
            known = conditions.gates.get(gate.id)
            if known is not None and not any(gate.loadings):
                gates[place] = known
                continue
            gate_key = token if any(gate.loadings) else b""
            kept_gate = self._gates.get(gate.id)
            if kept_gate is None or kept_gate[0] != gate_key:
                kept_gate = (gate_key, world.happens(gate), chance_given(gate, world.causes))
                self._gates[gate.id] = kept_gate
            gates[place] = kept_gate[1] if known is None else known
            if known is not None and own_weights is not None:
                own_weights *= kept_gate[2] if known else 1 - kept_gate[2]
        totals, hours, waits = np.zeros(self.count), np.zeros(self.count), np.zeros(self.count)
        for start in range(0, self.count, BLOCK):
            block = slice(start, min(start + BLOCK, self.count))
            inputs: dict[str, Value] = {name: values[block] for name, values in sampled.items()}
            values = np.empty((len(self.plan.rows), block.stop - block.start))
            sums = totals[block], hours[block], waits[block]
            evaluate_rows(world.part(block), inputs, gates[:, block], values, sums)
        if not reweigh:
            own_weights = weights
        return Outcome(totals, own_weights, self._replicates)

    def pull(self, name: str, totals: Array) -> float:
        """Give how far totals go with a column of draws: their covariance, and so their slope, as its variance is 1.

        Parameters
        ----------
        name : str
            Of the column, such as ``cause kit_fit``.
        totals : ndarray, shape (N,)
            Evaluated over these draws.
        """
        return float(np.mean((totals - totals.mean()) * self._column(name)))

    def _column(self, name: str) -> Array:
        if name not in self._own:
            drawn = columns(self.seed, range(self._replicates), [name], self._n, self.plan.slots)
            self._own[name] = np.concatenate([drawn.scores(0, block) for block in drawn.blocks()])
        return self._own[name]


def _needed(plan: Plan, conditions: Conditions) -> frozenset[str]:
    """Name the inputs that rows not known read, and those that a price follows from."""
    return frozenset(
        name
        for row in plan.rows
        if row.id not in conditions.amounts or row.id in conditions.pivots
        for name in row.inputs
    )
