"""Learning from facts: what observed scores say about the shared causes, exactly.

With loadings Λ (m observed rows × K causes), own variances Ψ = diag(1 − Σλ²) and observed scores z, the causes
given the observations are normal with

    V = (I + Λᵀ Ψ⁻¹ Λ)⁻¹,   mean = V Λᵀ Ψ⁻¹ z

(the linear-Gaussian update; Mardia, Kent & Bibby 1979, Multivariate Analysis, section 9.7, from memory, and
algebra). The causes are then drawn as mean + chol(V) f₀ with the prior's own draws f₀, so that a forecast
before and one after a receipt stay paired.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr, ndtri

from forecast.engine.shapes import Array

SCORE_CLIP = 3.5
"""Observed scores are taken as at most this: beyond it a range was wrong rather than a build unlucky."""


NO_NEWS = 0.02
"""Relative spread under which a computed row says nothing: duty on a kit whose price is known differs from its
formula by roundings and the day's rate, not by luck."""


@dataclass(frozen=True)
class Posterior:
    """Mean and Cholesky factor of the causes given what was observed.

    Attributes
    ----------
    mean : ndarray, shape (K,)
    root : ndarray, shape (K, K)
        Lower triangular, with root @ root.T the covariance.
    """

    mean: Array
    root: Array

    def apply(self, prior: Array) -> Array:
        """Turn prior cause scores, shape (K, n), into posterior ones."""
        return self.mean[:, None] + self.root @ prior


def posterior(loadings: Sequence[Sequence[float]], scores: Sequence[float], causes: int) -> Posterior | None:
    """Condition the causes on observed scores.

    Parameters
    ----------
    loadings : sequence of m rows of K numbers
    scores : sequence of m numbers
        Clipped here at ±SCORE_CLIP.
    causes : int
        K.

    Returns
    -------
    Posterior or None
        None where nothing observed says anything about a cause.
    """
    matrix = np.asarray(loadings, dtype=float).reshape(len(scores), causes)
    if not causes or not np.any(matrix):
        return None
    z = np.clip(np.asarray(scores, dtype=float), -SCORE_CLIP, SCORE_CLIP)
    own = 1 - np.sum(matrix**2, axis=1)
    weighted = matrix / own[:, None]
    covariance = np.linalg.inv(np.eye(causes) + matrix.T @ weighted)
    covariance = 0.5 * (covariance + covariance.T)
    root = np.linalg.cholesky(covariance).astype(np.float64)
    return Posterior(covariance @ (weighted.T @ z), root)


def at_least(own_scores: Array, bound: Array) -> tuple[Array, Array]:
    """Draw own scores given that each is at least its bound.

    Parameters
    ----------
    own_scores : ndarray, shape (n,)
        Unconditional standard normal draws, which keep their order.
    bound : ndarray, shape (n,)

    Returns
    -------
    scores : ndarray, shape (n,)
        From the truncated normal, by inversion of the upper tail.
    weights : ndarray, shape (n,)
        Probability that an unconditional draw reaches the bound.
    """
    reach = ndtr(-bound)
    tail = reach * ndtr(-own_scores)
    scores = -ndtri(np.maximum(tail, 1e-300))
    return np.maximum(scores, bound), reach


def regressed_loadings(values: Array, causes: Array, observed: float) -> tuple[Array, float]:
    """Give the loadings and the score of a row that several inputs decide, from its own prior trials.

    Parameters
    ----------
    values : ndarray, shape (N,)
        The row's amounts in prior trials.
    causes : ndarray, shape (K, N)
        Cause scores in the same trials.
    observed : float
        What it really cost.

    Returns
    -------
    loadings : ndarray, shape (K,)
        Least-squares coefficients of the row's normal scores on the causes, their squares adding up to less
        than one; all zero where the row does not vary.
    score : float
        Normal score of the observed amount among the trials.
    """
    count = values.size
    if float(np.std(values)) <= NO_NEWS * float(np.mean(np.abs(values))):
        return np.zeros(causes.shape[0]), 0.0
    order = np.argsort(values, kind="stable")
    scores = np.empty(count)
    scores[order] = ndtri((np.arange(count) + 0.5) / count)
    centred = causes - causes.mean(axis=1, keepdims=True)
    gram = centred @ centred.T
    coefficients = np.linalg.lstsq(gram, centred @ scores, rcond=None)[0]
    noise = 2 / np.sqrt(count)
    coefficients[np.abs(coefficients) < noise] = 0.0
    strength = float(coefficients @ coefficients)
    if strength > 0.98:
        coefficients *= np.sqrt(0.98 / strength)
    below = 0.5 * (np.sum(values < observed) + np.sum(values <= observed))
    score = float(ndtri(np.clip(below / count, 0.5 / count, 1 - 0.5 / count)))
    if below == count:
        score = SCORE_CLIP
    elif below == 0:
        score = -SCORE_CLIP
    return coefficients, score
