"""The draws behind trials: shared causes, figures and event scores, drawn a second time exactly as they were.

Trials keep amounts, not the figures and causes that led to them. What was drawn follows from the seed and from
ids alone, so it can be had again when a question needs it, at a small part of the cost of a simulation.

Letters: N trials, K shared causes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from forecast.engine.draws import columns
from forecast.engine.forecast import Forecast
from forecast.engine.replicate import Conditions, World
from forecast.engine.rows import Gate, PlanInput
from forecast.figures.normal import normal_score
from forecast.figures.shapes import Array


@dataclass(frozen=True)
class Draws:
    """Draws the trials of a forecast again, replicate by replicate.

    Attributes
    ----------
    forecast : Forecast
    world : World
        What was drawn: shared causes, and from them every figure.
    """

    forecast: Forecast
    world: World

    @property
    def conditions(self) -> Conditions | None:
        """What was known when it was simulated."""
        return self.world.conditions

    @property
    def causes(self) -> Array:
        """Scores of the shared causes, shape (K, N)."""
        return self.world.causes

    def figure(self, item: PlanInput) -> Array:
        """Give a figure's values as drawn, shape (N,); it may be one that the plan does not have."""
        return self.world.figure(item)

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
        own = self.world.scores(f"gate {gate.id}")
        loadings = np.asarray(gate.loadings)
        if np.any(loadings):
            own = loadings @ self.causes + float(np.sqrt(1 - np.sum(loadings**2))) * own
        happened: NDArray[np.bool_] = own < normal_score(wanted)
        return happened


def draws_behind(forecast: Forecast) -> Draws:
    """Draw again what stands behind a forecast's trials.

    Parameters
    ----------
    forecast : Forecast

    Returns
    -------
    Draws
    """
    trials = forecast.trials
    n = trials.count // trials.replicates

    def scores(name: str) -> Array:
        drawn = columns(trials.seed, trials.numbers, [name], n, forecast.plan.slots)
        return np.concatenate([drawn.scores(0, block) for block in drawn.blocks()])

    return Draws(forecast, World(forecast.plan, trials.conditions, scores, trials.count))
