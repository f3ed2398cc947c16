"""The draws behind trials: shared causes, figures and event scores, drawn a second time exactly as they were.

Trials keep amounts, not the figures and causes that led to them. What was drawn follows from the seed and from
ids alone, so it can be had again when a question needs it, at a small part of the cost of a simulation.

Letters: N trials, K shared causes.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from forecast.engine.condition import at_least
from forecast.engine.draws import column
from forecast.engine.facts import prepare
from forecast.engine.forecast import Forecast
from forecast.engine.known import KnownFacts
from forecast.engine.replicate import Conditions, sample
from forecast.engine.rows import Gate, PlanInput
from forecast.engine.shapes import Array
from forecast.engine.tables import sampler


@dataclass(frozen=True)
class Draws:
    """Draws the trials of a forecast again, replicate by replicate.

    Attributes
    ----------
    forecast : Forecast
    conditions : Conditions or None
        What was known when it was simulated.
    causes : ndarray, shape (K, N)
        Scores of the shared causes.
    """

    forecast: Forecast
    conditions: Conditions | None
    causes: Array

    def figure(self, item: PlanInput) -> Array:
        """Give a figure's values, shape (N,); it may be one that the plan does not have."""
        values = []
        for place, number, n in self._replicates():
            own = self._column(item.id, number, n)
            causes = self.causes[:, place * n : (place + 1) * n]
            floor = None if self.conditions is None else self.conditions.input_floors.get(item.id)
            if floor is None:
                values.append(sample(item, own, causes))
                continue
            loadings = np.asarray(item.loadings)
            pushed = loadings @ causes if loadings.size else np.zeros(n)
            weight = float(np.sqrt(1 - np.sum(loadings**2)))
            scores, _ = at_least(own, (floor - pushed) / weight)
            values.append(sampler(item.shape)(pushed + weight * scores))
        return np.concatenate(values)

    def opens(self, gate: Gate, chance: float | None = None) -> NDArray[np.bool_]:
        """Tell in which trials an event happens, at its own chance or at another, shape (N,).

        The same score is held against another threshold: with a smaller chance it happens in a subset of trials.
        """
        known = None if self.conditions is None else self.conditions.gates.get(gate.id)
        if known is not None:
            return np.full(self.forecast.trials.count, known)
        wanted = gate.chance if chance is None else chance
        if wanted <= 0 or wanted >= 1:
            return np.full(self.forecast.trials.count, wanted >= 1)
        own = np.concatenate(
            [self._column(f"gate {gate.id}", number, n) for _, number, n in self._replicates()]
        )
        loadings = np.asarray(gate.loadings)
        if np.any(loadings):
            own = loadings @ self.causes + float(np.sqrt(1 - np.sum(loadings**2))) * own
        happened: NDArray[np.bool_] = own < float(ndtri(wanted))
        return happened

    def _column(self, name: str, number: int, n: int) -> Array:
        return column(self.forecast.trials.seed, number, name, n, self.forecast.plan.slots)

    def _replicates(self) -> Iterable[tuple[int, int, int]]:
        trials = self.forecast.trials
        n = trials.count // trials.replicates
        return ((place, number, n) for place, number in enumerate(trials.numbers))


def draws_behind(forecast: Forecast, known: KnownFacts | None = None) -> Draws:
    """Draw again what stands behind a forecast's trials.

    Parameters
    ----------
    forecast : Forecast
    known : KnownFacts, optional
        What it was conditioned on, if anything.

    Returns
    -------
    Draws
    """
    trials = forecast.trials
    conditions: Conditions | None = None
    if known is not None and not known.nothing:
        conditions = prepare(forecast.plan, known, trials.seed)
    n = trials.count // trials.replicates
    parts = []
    for number in trials.numbers:
        scores = np.empty((len(forecast.plan.causes), n))
        for place, cause in enumerate(forecast.plan.causes):
            scores[place] = column(trials.seed, number, f"cause {cause}", n, forecast.plan.slots)
        if conditions is not None and conditions.posterior is not None:
            scores = conditions.posterior.apply(scores)
        parts.append(scores)
    return Draws(forecast, conditions, np.concatenate(parts, axis=1))
