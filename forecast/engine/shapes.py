"""Probability distributions behind the builder's figures, all through one interface on the latent score.

A latent score z is standard normal; ``ppf(z)`` is the quantile function at probability Φ(z), and ``score(x)``
its inverse. Working on z instead of on probabilities keeps both tails exact.

References
----------
[1] Keelin, T. W. (2016), The metalog distributions, Decision Analysis 13(4), section 6.2.1 (formulas from
    memory; the feasible set was recomputed from the density).
[2] Malcolm et al. (1959), Application of a technique for research and development program evaluation,
    Operations Research 7(5), for the mean of beta-PERT.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.special import betainc, betaincinv, log_ndtr, ndtr, ndtri

Array: TypeAlias = NDArray[np.float64]

Z90 = 1.2815515655446004
"""Score of P90: Φ⁻¹(0.9)."""

SCORE_LIMIT = 8.5
"""Scores beyond this do not occur in double precision draws."""


class Shape(ABC):
    """A distribution by its quantile function on the latent score."""

    @abstractmethod
    def ppf(self, z: Array) -> Array:
        """Give the values at scores z, of the same shape as z."""

    @property
    @abstractmethod
    def middle(self) -> float:
        """The mode where the shape is given by a mode, else the median."""

    @property
    def closed_form(self) -> bool:
        """Tell whether ``ppf`` itself is as fast as a table."""
        return False

    def score(self, x: float) -> float:
        """Give the latent score of a value; ±SCORE_LIMIT outside what the shape allows.

        Bisection on the exact quantile function, so that every shape has an inverse.
        """
        low, high = -SCORE_LIMIT, SCORE_LIMIT
        ends = self.ppf(np.array([low, high]))
        if x <= ends[0]:
            return low
        if x >= ends[1]:
            return high
        for _ in range(60):
            half = 0.5 * (low + high)
            if float(self.ppf(np.array([half]))[0]) < x:
                low = half
            else:
                high = half
        return 0.5 * (low + high)

    def percentile(self, q: float) -> float:
        """Give the value that a share q of outcomes does not exceed."""
        return float(self.ppf(np.array([ndtri(q)]))[0])

    @cached_property
    def moments(self) -> tuple[float, float]:
        """Mean and variance, by the trapezoidal rule on a fine grid of scores."""
        z = np.linspace(-SCORE_LIMIT, SCORE_LIMIT, 34_001)
        weight = np.exp(-0.5 * z * z)
        weight /= weight.sum()
        x = self.ppf(z)
        mean = float(weight @ x)
        return mean, float(weight @ (x - mean) ** 2)


@dataclass(frozen=True)
class Exact(Shape):
    """A value that is known."""

    value: float

    @property
    def closed_form(self) -> bool:
        """Constant."""
        return True

    def ppf(self, z: Array) -> Array:
        """Give the value at every score."""
        return np.full_like(z, self.value)

    @property
    def middle(self) -> float:
        """The value."""
        return self.value


@dataclass(frozen=True)
class Gaussian(Shape):
    """Normal with mean and standard deviation."""

    mean: float
    sd: float

    @property
    def closed_form(self) -> bool:
        """One multiplication."""
        return True

    def ppf(self, z: Array) -> Array:
        """Give mean + sd z."""
        return self.mean + self.sd * z

    def score(self, x: float) -> float:
        """Give (x − mean) / sd within the limits of a score."""
        return float(np.clip((x - self.mean) / self.sd, -SCORE_LIMIT, SCORE_LIMIT))

    @property
    def middle(self) -> float:
        """The mean."""
        return self.mean


@dataclass(frozen=True)
class TwoPieceLognormal(Shape):
    """middle · exp(s z), with one s below the median and another above; equal ones give the lognormal."""

    median: float
    sigma_low: float
    sigma_high: float

    @property
    def closed_form(self) -> bool:
        """One exponential."""
        return True

    def ppf(self, z: Array) -> Array:
        """Give median · exp(s± z)."""
        if self.sigma_low == self.sigma_high:
            return self.median * np.exp(self.sigma_low * z)
        scaled = np.minimum(z, 0.0)
        scaled *= self.sigma_low
        scaled += self.sigma_high * np.maximum(z, 0.0)
        np.exp(scaled, out=scaled)
        scaled *= self.median
        return scaled

    def score(self, x: float) -> float:
        """Give ln(x / median) / s±."""
        if x <= 0:
            return -SCORE_LIMIT
        logarithm = float(np.log(x / self.median))
        sigma = self.sigma_low if logarithm < 0 else self.sigma_high
        return float(np.clip(logarithm / sigma, -SCORE_LIMIT, SCORE_LIMIT))

    @property
    def middle(self) -> float:
        """The median."""
        return self.median


@dataclass(frozen=True)
class Metalog(Shape):
    """Three-percentile metalog [1] through P10, P50 and P90, with a lower and an upper bound or without.

    With a bound the metalog is fitted to ln(x − lower), −ln(upper − x) or ln((x − lower) / (upper − x)).
    """

    p10: float
    p50: float
    p90: float
    lower: float | None = None
    upper: float | None = None

    def _transform(self, x: float) -> float:
        if self.lower is not None and self.upper is not None:
            return float(np.log((x - self.lower) / (self.upper - x)))
        if self.lower is not None:
            return float(np.log(x - self.lower))
        if self.upper is not None:
            return float(-np.log(self.upper - x))
        return x

    @cached_property
    def coefficients(self) -> tuple[float, float, float]:
        """a1, a2, a3 of Q(y) = a1 + a2 L + a3 (y − 1/2) L, with L = ln(y / (1 − y))."""
        q10, q50, q90 = (self._transform(x) for x in (self.p10, self.p50, self.p90))
        ratio = (q50 - q10) / (q90 - q10)
        return q50, (q90 - q10) / (2 * np.log(9)), (1 - 2 * ratio) * (q90 - q10) / (0.8 * np.log(9))

    @property
    def feasible(self) -> bool:
        """Tell whether the quantile function rises everywhere."""
        _, a2, a3 = self.coefficients
        return bool(abs(a3) / a2 < METALOG_LIMIT)

    @property
    def tail(self) -> float:
        """Exponent of the upper tail when bounded below: moments of order 1 / tail and beyond do not exist."""
        _, a2, a3 = self.coefficients
        return a2 + 0.5 * a3

    def transformed(self, z: Array) -> Array:
        """Give Q at Φ(z), before a bound is applied."""
        a1, a2, a3 = self.coefficients
        logit = log_ndtr(z) - log_ndtr(-z)
        result: Array = a1 + (a2 + a3 * (ndtr(z) - 0.5)) * logit
        return result

    def ppf(self, z: Array) -> Array:
        """Give the quantiles at Φ(z)."""
        q = self.transformed(z)
        if self.lower is not None and self.upper is not None:
            return self.lower + (self.upper - self.lower) / (1 + np.exp(-q))
        if self.lower is not None:
            return self.lower + np.exp(q)
        if self.upper is not None:
            return self.upper - np.exp(-q)
        return q

    @property
    def middle(self) -> float:
        """P50."""
        return self.p50


METALOG_LIMIT = 1.6671133
"""Largest |a3| / a2 for which the three-term metalog has a density [1] (recomputed)."""


@dataclass(frozen=True)
class Triangle(Shape):
    """Triangular from least over mode to most."""

    least: float
    mode: float
    most: float

    def ppf(self, z: Array) -> Array:
        """Give the closed-form quantiles, each side from its own tail."""
        below, above = ndtr(z), ndtr(-z)
        width = self.most - self.least
        left = self.least + np.sqrt(below * width * (self.mode - self.least))
        right = self.most - np.sqrt(above * width * (self.most - self.mode))
        return np.where(below * width <= self.mode - self.least, left, right)

    @property
    def middle(self) -> float:
        """The mode."""
        return self.mode


@dataclass(frozen=True)
class Pert(Shape):
    """Beta-PERT from least over mode to most, with weight four on the mode [2]."""

    least: float
    mode: float
    most: float

    @cached_property
    def exponents(self) -> tuple[float, float]:
        """Alpha and beta of the beta distribution."""
        width = self.most - self.least
        return 1 + 4 * (self.mode - self.least) / width, 1 + 4 * (self.most - self.mode) / width

    def ppf(self, z: Array) -> Array:
        """Give the quantiles, each half from its own tail so that neither loses digits."""
        alpha, beta = self.exponents
        share = np.empty_like(z)
        low = z < 0
        share[low] = betaincinv(alpha, beta, ndtr(z[low]))
        share[~low] = 1 - betaincinv(beta, alpha, ndtr(-z[~low]))
        return self.least + (self.most - self.least) * share

    def score(self, x: float) -> float:
        """Invert through the regularised incomplete beta function."""
        share = (x - self.least) / (self.most - self.least)
        if not 0 < share < 1:
            return -SCORE_LIMIT if share <= 0 else SCORE_LIMIT
        alpha, beta = self.exponents
        below = betainc(alpha, beta, share)
        z = ndtri(below) if below < 0.5 else -ndtri(betainc(beta, alpha, 1 - share))
        return float(np.clip(z, -SCORE_LIMIT, SCORE_LIMIT))

    @property
    def middle(self) -> float:
        """The mode."""
        return self.mode


@dataclass(frozen=True)
class Flat(Shape):
    """Uniform from least to most."""

    least: float
    most: float

    def ppf(self, z: Array) -> Array:
        """Give least + (most − least) Φ(z)."""
        result: Array = self.least + (self.most - self.least) * ndtr(z)
        return result

    @property
    def middle(self) -> float:
        """Half-way."""
        return 0.5 * (self.least + self.most)


@dataclass(frozen=True)
class Steps(Shape):
    """One of several values, each with its chance; values rise."""

    values: tuple[float, ...]
    chances: tuple[float, ...]

    @property
    def closed_form(self) -> bool:
        """A search in a short list."""
        return True

    @cached_property
    def _edges(self) -> Array:
        edges: Array = ndtri(np.cumsum(self.chances)[:-1])
        return edges

    def ppf(self, z: Array) -> Array:
        """Give the smallest value whose cumulated chance reaches Φ(z)."""
        return np.asarray(self.values)[np.searchsorted(self._edges, z, side="left")]

    def score(self, x: float) -> float:
        """Give the score in the middle of the value's own chance."""
        cumulated = np.concatenate(([0.0], np.cumsum(self.chances)))
        place = int(np.argmin(np.abs(np.asarray(self.values) - x)))
        return float(ndtri(0.5 * (cumulated[place] + cumulated[place + 1])))

    @property
    def middle(self) -> float:
        """The median."""
        return self.values[int(np.searchsorted(np.cumsum(self.chances), 0.5 - 1e-12))]


def lognormal(median: float, sigma: float) -> Shape:
    """Give the lognormal of that median and standard deviation of the logarithm."""
    return TwoPieceLognormal(median, sigma, sigma)


def lognormal_from_percentiles(p10: float, p90: float) -> Shape:
    """Give the lognormal through P10 and P90."""
    return lognormal(float(np.sqrt(p10 * p90)), float(np.log(p90 / p10)) / (2 * Z90))


@lru_cache(maxsize=4096)
def three_percentiles(low: float, middle: float, high: float) -> Shape:
    """Give the smooth positive shape through P10, P50 and P90.

    The metalog bounded below by zero where it exists and its tail is light enough to have a variance;
    else the two-piece lognormal, which always exists and has all moments. Beyond a high/low ratio of about nine
    the metalog's upper tail falls off so slowly that a single line would decide the spread of the whole build.
    """
    smooth = Metalog(low, middle, high, lower=0.0)
    if smooth.feasible and smooth.tail < VARIANCE_EXISTS:
        return smooth
    return TwoPieceLognormal(middle, float(np.log(middle / low)) / Z90, float(np.log(high / middle)) / Z90)


VARIANCE_EXISTS = 0.5
"""A tail exponent below this leaves the second moment finite."""


def quoted(quotes: tuple[float, ...]) -> Shape:
    """Give what the price will be, from prices quoted.

    A lognormal around the geometric mean whose spread is that of the quotes, widened by √(1 + 1/n) because the
    centre is itself only known from n quotes (the predictive standard deviation of a normal sample).
    """
    logs = np.log(quotes)
    count = len(quotes)
    sigma = float(np.std(logs, ddof=1)) * float(np.sqrt(1 + 1 / count))
    centre = float(np.exp(np.mean(logs)))
    return lognormal(centre, sigma) if sigma > 0 else Exact(centre)
