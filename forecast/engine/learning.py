"""What known amounts taught about the shared causes, and which of them taught it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from forecast.engine.condition import SCORE_CLIP
from forecast.engine.facts import Prior, learn
from forecast.engine.known import KnownFacts
from forecast.engine.plan import Plan


@dataclass(frozen=True)
class LearnedCause:
    """One shared cause, given all known amounts.

    Attributes
    ----------
    cause : str
        Its id.
    mean : float
        Its score: 0 before anything was known, above where what it pushes came in dear.
    sd : float
        How uncertain it still is: 1 before anything was known.
    taught_by : tuple of (str, float)
        How far each known row moved the mean, the largest move first; they add up to the mean.
    """

    cause: str
    mean: float
    sd: float
    taught_by: tuple[tuple[str, float], ...]


def learned_causes(
    plan: Plan, known: KnownFacts, seed: int, prior: Prior | None = None
) -> tuple[LearnedCause, ...]:
    """Give what known amounts taught about each shared cause.

    The mean V Λᵀ Ψ⁻¹ z is a sum over what was observed (see `forecast.engine.condition`), so it can be shared out
    without a rest. Events, which reweight trials instead, are not in it.

    Parameters
    ----------
    plan : Plan
    known : KnownFacts
    seed : int
    prior : Prior, optional
        Of the same plan and seed, to be used again.

    Returns
    -------
    tuple of LearnedCause
        In the order of the plan's causes; empty where nothing known says anything about any.
    """
    learned = learn(plan, known, seed, prior)
    found = learned.posterior
    observed = learned.observations
    if found is None or not observed:
        return ()
    loadings = np.array([one.loadings for one in observed])
    scores = np.clip([one.score for one in observed], -SCORE_CLIP, SCORE_CLIP)
    precision = np.array(
        [one.weight / (1 - sum(value * value for value in one.loadings) + one.evidence) for one in observed]
    )
    if found.width is not None:  # what own ranges taught counts less the wider these should have been
        scores = scores * np.where([one.own for one in observed], found.width.inverse_mean, 1.0)
    moves = found.covariance @ (loadings * (scores * precision)[:, None]).T
    mean = found.mean
    told = []
    for place, cause in enumerate(plan.causes):
        pairs = [(one.row, float(move)) for one, move in zip(observed, moves[place], strict=True) if move]
        pairs.sort(key=lambda pair: -abs(pair[1]))
        spread = float(np.sqrt(found.covariance[place, place]))
        told.append(LearnedCause(cause, float(mean[place]), spread, tuple(pairs)))
    return tuple(told)
