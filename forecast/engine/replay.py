"""The same trials under many sets of facts: what is drawn once is kept.

A history has one forecast for each day of a build. Between two days the draws are the same, so own scores and prior
causes are drawn once; a new fact then changes the causes, and every open figure follows.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from forecast.engine.draws import GROUP, Columns, columns, replicate_sizes
from forecast.engine.facts import prepare, prior_of
from forecast.engine.known import Conditions, KnownFacts
from forecast.engine.plan import Plan
from forecast.engine.replicate import (
    Inputs,
    World,
    column_names,
    draw_gates,
    evaluate_rows,
    weighted,
)
from forecast.figures.normal import normal_share
from forecast.figures.shapes import Array

_KEPT = 2**26
"""Bytes of draws kept, each as the number of its stratum: the rest are put together anew for each set of facts."""

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
        self._last: list[tuple[KnownFacts, tuple[str, ...], tuple[Conditions, Outcome]]] = []
        self._columns: dict[str, tuple[Columns, int]] = {}
        self._strata: dict[str, NDArray[np.unsignedinteger]] = {}
        self._number = np.dtype(np.uint16 if self.count <= 2**16 else np.uint32)
        self._heights = self._tails = np.empty(0)

    def conditions(self, known: KnownFacts, joined: tuple[str, ...] = ()) -> Conditions:
        """Make facts ready for drawing; see `forecast.engine.facts.prepare`."""
        return prepare(self.plan, known, self.seed, self.prior, joined=joined)

    def under(self, known: KnownFacts, joined: tuple[str, ...] = ()) -> tuple[Conditions, Outcome]:
        """Make facts ready and give the totals under them; those asked for last are not run again."""
        for facts, asked, kept in self._last:
            if (facts, asked) == (known, joined):
                return kept
        conditions = self.conditions(known, joined)
        for facts, _, kept in self._last:
            if facts == known and kept[0].joined == conditions.joined:
                return kept
        found = conditions, self.run(conditions)
        self._last = [*self._last[1 - _LAST :], (known, joined, found)]
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
        self._draw(column_names(self.plan, conditions))
        totals, hours, waits = np.zeros(self.count), np.zeros(self.count), np.zeros(self.count)
        if reweigh:
            weights = np.ones(self.count) if weighted(self.plan, conditions) else None
        read = {name for row in self.plan.rows for name in row.reads}
        scratch = np.empty(min(GROUP, self.count))
        rows = [np.empty(scratch.size) if row.id in read else scratch for row in self.plan.rows]
        for start in range(0, self.count, GROUP):
            block = slice(start, min(start + GROUP, self.count))
            size = block.stop - block.start
            scores, tails = partial(self._scores, block), partial(self._shares_above, block)
            world = World(self.plan, conditions, scores, size, tails)
            gates = np.empty((len(self.plan.gates), size), dtype=np.bool_)
            draw_gates(world, gates, weights[block] if reweigh and weights is not None else None)
            sums = totals[block], hours[block], waits[block]
            evaluate_rows(world, Inputs(world), gates, [row[:size] for row in rows], sums)
        return Outcome(totals, weights, self._replicates)

    def pull(self, name: str, totals: Array) -> float:
        """Give how far totals go with a column of draws: their covariance, and so their slope, as its variance is 1.

        Parameters
        ----------
        name : str
            Of the column, such as ``cause kit_fit``.
        totals : ndarray, shape (N,)
            Evaluated over these draws.
        """
        return float(np.mean((totals - totals.mean()) * self._scores(slice(0, self.count), name)))

    def _draw(self, names: Sequence[str]) -> None:
        """Make columns ready that were not asked for before."""
        new = [name for name in names if name not in self._columns]
        if not new:
            return
        drawn = columns(self.seed, range(self._replicates), new, self._n, self.plan.slots)
        self._heights = drawn.heights
        self._columns.update((name, (drawn, place)) for place, name in enumerate(new))

    def _scores(self, block: slice, name: str) -> Array:
        """Give the scores of a column over a block, in an array of its own."""
        strata = self._strata_of(block, name)
        return np.asarray(self._heights.take(strata, mode="clip"))

    def _shares_above(self, block: slice, name: str) -> Array:
        """Give the share of a standard normal above each of the same scores."""
        strata = self._strata_of(block, name)
        if self._tails.size != self._heights.size:
            self._tails = normal_share(-self._heights)
        return np.asarray(self._tails.take(strata, mode="clip"))

    def _strata_of(self, block: slice, name: str) -> NDArray[np.integer]:
        if name not in self._columns:
            self._draw([name])
        strata = self._strata.get(name)
        if strata is None:
            drawn, place = self._columns[name]
            if len(self._strata) * self.count * self._number.itemsize >= _KEPT:
                parts = [part for part in drawn.blocks() if block.start <= part.start < block.stop]
                return np.concatenate([drawn.strata(place, part) for part in parts])
            whole = np.concatenate([drawn.strata(place, part) for part in drawn.blocks()])
            strata = whole.astype(self._number)
            self._strata[name] = strata
        return strata[block]
