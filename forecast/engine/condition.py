"""Learning from facts: what observed scores say about what rows share.

Latents are the shared causes, and those inputs (a rate of exchange) that an observed row shares with open ones:
independent standard normals. With loadings Λ (m observed rows × L latents), own variances Ψ = diag(1 − Σλ²) and
observed scores z, the latents given the observations are normal with

    V = (I + Λᵀ Ψ⁻¹ Λ)⁻¹,   mean = V Λᵀ Ψ⁻¹ z

(the linear-Gaussian update; Mardia, Kent & Bibby 1979, Multivariate Analysis, section 9.7, from memory, and
algebra). They are then drawn as mean + chol(V) f₀ with the prior's own draws f₀, so that a forecast before and one
after a receipt stay paired. An observation may count in part: its precision Ψ⁻¹ is then multiplied by its weight.

How wide the builder's own ranges should have been is one factor κ for all of them. Before any receipt ln κ has its
mode at −0.35 and normal sides, with deviations of 0.12 below and 0.45 above, from 1.3 of these on exponential: most
people's ranges are too narrow, few too wide, and a price that meets its middle figure to the cent was known beforehand
rather than ranged too widely. The stated P10 and P90 hold nearly what they say while κ is not known, and P80 of a build
stays where it was. Given κ the scores of own ranges are κ times those above, so that z ~ N(0, κ²(ΛΛᵀ + Ψ)), and κ's
posterior on a grid is in closed form. One closed line alone changes no width (`HEARD_FROM`).

A guess far from what the others say is more likely one range gone wrong than a sign that all are: own errors have the
tails of a t distribution (`TAILS`). The mean is then the mode of the latents under these tails, found by weights as
above; near the middle of its range nothing changes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from forecast.figures.normal import normal_scores, normal_share
from forecast.figures.shapes import Array

SCORE_CLIP = 3.5
"""Observed scores are taken as at most this: beyond it a range was wrong rather than a build unlucky."""

NO_NEWS = 0.02
"""Relative spread under which a computed row says nothing: duty on a kit whose price is known differs from its
formula by roundings and the day's rate, not by luck."""

TAILS = 4.0
"""Degrees of freedom of the t distribution that a guess's own error is taken to have, as robust regression mostly does:
a price far outside its range is more likely that one range gone wrong than a sign that all others are. Within one
deviation of what the other lines say a score counts in full, beyond it by (ν + 1) / (ν + r²), the weight of the EM
algorithm for such errors (Lange, Little & Taylor 1989, Robust statistical modeling using the t distribution, JASA 84,
equation 3, from memory)."""
_ROUNDS, _CLOSE = 50, 1e-4

FAR_OUT = 3.0
"""So many deviations out, by the width of the others, a price counts for the width of all ranges as if it lay there:
one that is wrong by itself must not make every open line three times as wide."""

WIDTH_CLIP = 6.0
"""The scores of own ranges are taken as at most this: a range that was wrong is the news of their width."""

HEARD_FROM, HEARD_WHOLLY = 1.0, 4.0
"""One receipt says next to nothing of how wide all other ranges should be, though the first that is dear would make
every tail longer: ln κ counts by so much as the closed lines are past the first of these numbers on the way to the
second."""

WIDTH_MODE, WIDTH_BELOW, WIDTH_ABOVE, WIDTH_BEND = -0.35, 0.12, 0.45, 1.3
"""Mode of ln κ before any receipt, its deviations to either side, and from how many of them on the upper side is no
longer normal but exponential: ranges that are far too narrow are rare, yet must not take twenty receipts to show."""

_WIDTHS = WIDTH_MODE + np.linspace(-0.8, 2.0, 281)


@dataclass(frozen=True)
class Width:
    """How wide the builder's own ranges should have been, as far as known amounts tell.

    Attributes
    ----------
    chances : ndarray, shape (281,)
        Posterior chance of each ln κ of the grid.
    heard : float
        What ln κ is taken by, from 0 to 1: see `HEARD_FROM`.
    """

    chances: Array
    heard: float = 1.0

    @classmethod
    def unknown(cls) -> Width:
        """Give what is thought before anything is closed."""
        return cls._from_log(_log_prior())

    @classmethod
    def _from_log(cls, log: Array, heard: float = 1.0) -> Width:
        chances = np.exp(log - log.max())
        return cls(chances / chances.sum(), heard)

    @cached_property
    def _below(self) -> Array:
        cumulative = np.cumsum(self.chances) - 0.5 * self.chances
        return np.asarray(np.maximum.accumulate(cumulative + 1e-12 * np.arange(cumulative.size)))

    def at(self, scores: Array) -> Array:
        """Give κ at standard normal scores, by its quantile function."""
        return np.asarray(np.exp(self.heard * np.interp(normal_share(scores), self._below, _WIDTHS)))

    @cached_property
    def likely(self) -> Array:
        """Values of κ that are each as likely as another, shape (15,), heard in full however little is known."""
        return replace(self, heard=1.0).at(normal_scores((np.arange(15) + 0.5) / 15))

    @property
    def middle(self) -> float:
        """Median of κ: by how much wider open ranges count."""
        return float(self.at(np.zeros(1))[0])

    @property
    def mean(self) -> float:
        """Mean of κ: what the upper percentiles of a build go by, which the wide ones among the likely carry."""
        return float(self.chances @ np.exp(self.heard * _WIDTHS))

    @property
    def inverse_mean(self) -> float:
        """Mean of 1/κ."""
        return float(self.chances @ np.exp(-self.heard * _WIDTHS))


@dataclass(frozen=True)
class Posterior:
    """The latents given what was observed.

    Attributes
    ----------
    own, other : ndarray, shape (L,)
        Their mean is own / κ + other: what own ranges taught counts less the wider these should have been.
    root : ndarray, shape (L, L)
        Lower triangular, with root @ root.T the covariance.
    width : Width or None
        None where no own range is known: all count as stated.
    moves : ndarray, shape (L, m)
        What each observation adds to ``own`` or ``other``.
    """

    own: Array
    other: Array
    root: Array
    width: Width | None
    moves: Array

    @property
    def mean(self) -> Array:
        """Mean of the latents, shape (L,)."""
        factor = 1.0 if self.width is None else self.width.inverse_mean
        mean: Array = self.own * factor + self.other
        return mean

    @property
    def covariance(self) -> Array:
        """Covariance of the latents about the mean given κ, shape (L, L)."""
        return self.root @ self.root.T

    def apply(self, prior: Array, width: Array | None) -> Array:
        """Turn prior scores, shape (L, n), into posterior ones; width is κ by trial."""
        moved = self.root @ prior + self.other[:, None]
        moved += self.own[:, None] if width is None else self.own[:, None] / width
        return moved


def posterior(
    loadings: Sequence[Sequence[float]],
    scores: Sequence[float],
    latents: int,
    *,
    weights: Sequence[float] | None = None,
    own: Sequence[bool] | None = None,
    evidence: Sequence[float] | None = None,
    guessed: Sequence[bool] | None = None,
) -> Posterior | None:
    """Condition the latents on observed scores.

    Parameters
    ----------
    loadings : sequence of m rows of L numbers
    scores : sequence of m numbers
        Clipped here at ±SCORE_CLIP, those of own ranges at ±WIDTH_CLIP: how far these count is a matter of `TAILS`.
    latents : int
        L.
    weights : sequence of m numbers, optional
        How far each observation counts, from 0 to 1; all in full when left out.
    own : sequence of m booleans, optional
        Which scores are those of own ranges, whose width is learnt; none when left out.
    evidence : sequence of m numbers, optional
        Variance added to each score: what was paid for little says little of the rest.
    guessed : sequence of m booleans, optional
        Which scores rest on own ranges, be it through another row: see `TAILS`. Those of own ranges when left out.

    Returns
    -------
    Posterior or None
        None where nothing observed says anything.
    """
    count = len(scores)
    matrix = np.asarray(loadings, dtype=float).reshape(count, latents)
    weight = np.ones(count) if weights is None else np.asarray(weights, dtype=float)
    mine = np.zeros(count, dtype=np.bool_) if own is None else np.asarray(own, dtype=np.bool_)
    noise = np.zeros(count) if evidence is None else np.asarray(evidence, dtype=float)
    farthest = np.where(mine, WIDTH_CLIP, SCORE_CLIP)
    z = np.clip(np.asarray(scores, dtype=float), -farthest, farthest)
    said = weight / (1 + noise)
    guess = mine if guessed is None else np.asarray(guessed, dtype=np.bool_)
    trust, scale = trusted(matrix, z, weight, noise, mine, guess)
    near = np.clip(z, -FAR_OUT * scale, FAR_OUT * scale)
    width = _width(matrix[mine], near[mine], said[mine]) if np.any(weight[mine] > 0) else None
    if width is None and not np.any(matrix):
        return None
    alone = 1 - np.sum(matrix**2, axis=1) + noise
    weighted = matrix * (trust * weight / alone)[:, None]
    covariance = np.linalg.inv(np.eye(latents) + matrix.T @ weighted)
    taught = covariance @ weighted.T
    covariance = 0.5 * (covariance + covariance.T)
    root = np.linalg.cholesky(covariance).astype(np.float64) if latents else np.zeros((0, 0))
    moves = taught * z
    return Posterior(moves[:, mine].sum(axis=1), moves[:, ~mine].sum(axis=1), root, width, moves)


def trusted(
    matrix: Array, z: Array, weight: Array, noise: Array, mine: NDArray[np.bool_], guess: NDArray[np.bool_]
) -> tuple[Array, float]:
    """Give how far each score counts, far as it lies from what the others say: see `TAILS`.

    Parameters
    ----------
    matrix : ndarray, shape (m, L)
        Loadings.
    z, weight, noise : ndarray, shape (m,)
        As for `posterior`.
    mine, guess : ndarray of bool, shape (m,)
        Which are scores of own ranges, whose width is learnt, and which rest on some; the others count in full.

    Returns
    -------
    trust : ndarray, shape (m,)
        From 0 to 1.
    scale : float
        κ by which they were judged. What is far off counts less for it too, or one price would excuse itself.
    """
    alone = 1 - np.sum(matrix**2, axis=1) + noise
    trust, scale, one = np.ones(z.size), 1.0, np.eye(matrix.shape[1])
    learnt = np.any(weight[mine] > 0)
    for _ in range(_ROUNDS if np.any(guess) else 0):
        if learnt:
            scale = _width(matrix[mine], z[mine], (trust * weight / (1 + noise))[mine]).middle
        scores = z / np.where(mine, scale, 1.0)
        weighted = matrix * (trust * weight / alone)[:, None]
        others = matrix @ np.linalg.solve(one + matrix.T @ weighted, weighted.T @ scores)
        counts = (TAILS + 1) / (TAILS + (scores - others) ** 2 / alone)
        before, trust = trust, np.where(guess, np.minimum(1.0, counts), 1.0)
        if np.max(np.abs(trust - before)) < _CLOSE:
            break
    return trust, scale


def _width(matrix: Array, z: Array, weight: Array) -> Width:
    """Give the posterior of κ: Σw observations, and zᵀ(ΛΛᵀ + Ψ)⁻¹z by the matrix inversion lemma.

    An observation that counts in part has its score and its loadings taken by √w: alone it adds w z², and with w = 0
    it adds nothing to itself or to others.
    """
    part = np.sqrt(weight)
    matrix, z = matrix * part[:, None], z * part
    precision = 1 / (1 - np.sum(matrix**2, axis=1))
    taught = matrix.T @ (precision * z)
    inner = np.eye(matrix.shape[1]) + matrix.T @ (matrix * precision[:, None])
    square = float(z @ (precision * z) - taught @ np.linalg.solve(inner, taught))
    likelihood = -weight.sum() * _WIDTHS - 0.5 * square * np.exp(-2 * _WIDTHS)
    heard = np.clip((weight.sum() - HEARD_FROM) / (HEARD_WHOLLY - HEARD_FROM), 0.0, 1.0)
    return Width._from_log(_log_prior() + likelihood, float(heard))


def _log_prior() -> Array:
    away = _WIDTHS - WIDTH_MODE
    away = away / np.where(away < 0, WIDTH_BELOW, WIDTH_ABOVE)
    return np.where(away > WIDTH_BEND, -WIDTH_BEND * (away - 0.5 * WIDTH_BEND), -0.5 * away**2)


def at_least(own_tails: Array, bound: Array) -> Array:
    """Draw own scores given that each is at least its bound.

    Parameters
    ----------
    own_tails : ndarray, shape (n,)
        Share of a standard normal above each unconditional draw; the draws keep their order.
    bound : ndarray, shape (n,)

    Returns
    -------
    ndarray, shape (n,)
        From the truncated normal, by inversion of the upper tail.
    """
    tail = normal_share(-bound) * own_tails
    scores = -normal_scores(np.maximum(tail, 1e-300))
    return np.maximum(scores, bound)


def regressed_loadings(values: Array, latents: Array) -> Array:
    """Give the loadings of a row that several inputs decide, from its own prior trials.

    Parameters
    ----------
    values : ndarray, shape (N,)
        The row's amounts in prior trials.
    latents : ndarray, shape (L, N)
        Scores of the latents in the same trials.

    Returns
    -------
    ndarray, shape (L,)
        Least-squares coefficients of the row's normal scores on the latents, their squares adding up to less
        than one; all zero where the row does not vary.
    """
    count = values.size
    if float(np.std(values)) <= NO_NEWS * float(np.mean(np.abs(values))):
        return np.zeros(latents.shape[0])
    order = np.argsort(values, kind="stable")
    scores = np.empty(count)
    scores[order] = normal_scores((np.arange(count) + 0.5) / count)
    centred = latents - latents.mean(axis=1, keepdims=True)
    gram = centred @ centred.T
    coefficients = np.linalg.lstsq(gram, centred @ scores, rcond=None)[0]
    noise = 2 / np.sqrt(count)
    coefficients[np.abs(coefficients) < noise] = 0.0
    strength = float(coefficients @ coefficients)
    if strength > 0.98:
        coefficients *= np.sqrt(0.98 / strength)
    return np.asarray(coefficients)
