"""Probability distributions behind the builder's figures, all through one interface on the latent score.

A latent score z is standard normal; ``ppf(z)`` is the quantile function at probability Φ(z), and ``score(x)``
its inverse. Working on z instead of on probabilities keeps both tails exact.

References
----------
[1] Keelin, T. W. (2016), The metalog distributions, Decision Analysis 13(4), section 6.2.1 (formulas from
    memory; the feasible set was recomputed from the density).
[2] Malcolm et al. (1959), Application of a technique for research and development program evaluation,
    Operations Research 7(5), for the mean of beta-PERT.
[3] Hadlock, C. C. & Bickel, J. E. (2017), Johnson quantile-parameterized distributions, Decision Analysis 14(1),
    for the shape J-QPD-S through low, middle and high.
[4] Geisser, S. (1993), Predictive Inference, chapter 2: the next value of a normal sample (from memory).
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from forecast.figures.normal import (
    beta_quantiles,
    beta_share,
    normal_score,
    normal_scores,
    normal_share,
    student_p90,
)

Array: TypeAlias = NDArray[np.float64]

Z90 = 1.2815515655446004
"""Score of P90: Φ⁻¹(0.9)."""

SCORE_LIMIT = 8.5
"""Scores beyond this do not occur in double precision draws."""

STEEP = 10.0
"""Beyond this spread of the logarithm (high 10¹¹ times low) amounts are held within `LOGARITHMS`."""

LOGARITHMS = (-745.0, 340.0)
"""Least and largest logarithm of an amount: above zero, and small enough to be squared and multiplied."""

ONE_QUOTE_SPREAD = 0.15
"""Standard deviation of the logarithm around a single quote, which leaves 80 of 100 prices within a fifth of it (common
practice, no source)."""


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
        return float(self.ppf(np.array([normal_score(q)]))[0])

    @property
    def growth(self) -> float:
        """Rise of the logarithm for each unit of score far up; zero where values do not grow exponentially."""
        return 0.0

    @cached_property
    def moments(self) -> tuple[float, float]:
        """Mean and variance, by the trapezoidal rule on a fine grid of scores.

        The grid reaches ``SCORE_LIMIT`` beyond where the second moment comes from: at 2 `growth`.
        """
        steps = 2000
        last = SCORE_LIMIT + min(
            2 * self.growth, 30.0
        )  # beyond, the normal weights vanish in double precision
        z = np.arange(-round(SCORE_LIMIT * steps), round(last * steps) + 1) / steps
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

    @property
    def growth(self) -> float:
        """The upper s."""
        return self.sigma_high

    def ppf(self, z: Array) -> Array:
        """Give median · exp(s± z)."""
        if self.sigma_low == self.sigma_high:
            return _times_exponential(self.median, self.sigma_low * z, self.sigma_low)
        scaled = np.minimum(z, 0.0)
        scaled *= self.sigma_low
        scaled += self.sigma_high * np.maximum(z, 0.0)
        return _times_exponential(self.median, scaled, max(self.sigma_low, self.sigma_high))

    def score(self, x: float) -> float:
        """Give ln(x / median) / s±."""
        if x <= 0:
            return -SCORE_LIMIT
        logarithm = _log_ratio(x, self.median)
        sigma = self.sigma_low if logarithm < 0 else self.sigma_high
        return float(np.clip(logarithm / sigma, -SCORE_LIMIT, SCORE_LIMIT))

    @property
    def middle(self) -> float:
        """The median."""
        return self.median


@dataclass(frozen=True)
class Johnson(Shape):
    """Johnson quantile-parameterised shape bounded below by zero [3], through P10, P50 and P90.

    For low · high ≥ middle², where the logarithm leans upwards or not at all. The exponent of the published form
    low · exp(λ sinh(arcsinh(δ z) + arcsinh(c δ))), with c the score of P90, is a branch of a hyperbola in z once the
    sum is written out, and so stays exact as it flattens into the lognormal (δ → 0):

    ln x = ln low + slope z + √(fall² + bend² z²),

    with fall = ln(middle / low), rise = ln(high / middle), slope = (rise + fall) / 2c and
    bend² = (rise − fall)(rise + 3 fall) / 4c². Far out it is lognormal with slope ± bend, so that all moments exist.
    """

    p10: float
    p50: float
    p90: float

    @cached_property
    def _parts(self) -> tuple[float, float, float]:
        """Fall, slope and bend."""
        fall, rise = _log_ratio(self.p50, self.p10), _log_ratio(self.p90, self.p50)
        slope = (rise + fall) / (2 * Z90)
        bend = float(np.sqrt(max(0.0, rise - fall) * (rise + 3 * fall))) / (2 * Z90)
        return fall, slope, bend

    @property
    def closed_form(self) -> bool:
        """One root and one exponential."""
        return True

    @property
    def growth(self) -> float:
        """Slope and bend."""
        _, slope, bend = self._parts
        return slope + bend

    def ppf(self, z: Array) -> Array:
        """Give low · exp(slope z + √(fall² + bend² z²))."""
        fall, slope, bend = self._parts
        logs = bend * z
        np.square(logs, out=logs)
        logs += fall**2
        np.sqrt(logs, out=logs)
        logs += slope * z
        return _times_exponential(self.p10, logs, self.growth)

    def score(self, x: float) -> float:
        """Solve the hyperbola's square for z, in the form that loses no digits on either side."""
        if x <= 0:
            return -SCORE_LIMIT
        fall, slope, bend = self._parts
        lean = fall / Z90  # slope² − bend² is its square
        over = float(np.log(x)) - float(np.log(self.p10))
        root = float(np.hypot(bend * over, lean * fall))
        if over > 0:
            z = (over + fall) * _log_ratio(x, self.p50) / (slope * over + root)
        else:
            z = (slope * over - root) / lean**2
        return float(np.clip(z, -SCORE_LIMIT, SCORE_LIMIT))

    @property
    def middle(self) -> float:
        """P50."""
        return self.p50


def _log_ratio(larger: float, smaller: float) -> float:
    """Give ln(larger / smaller), with all digits where the two are close and without overflow where they are not."""
    if abs(larger - smaller) < 0.5 * smaller:
        return float(np.log1p((larger - smaller) / smaller))
    return float(np.log(larger)) - float(np.log(smaller))


def _times_exponential(value: float, logs: Array, spread: float) -> Array:
    """Give value · exp(logs), where logs rise by no more than spread for each unit of score; logs is overwritten."""
    if spread > STEEP:
        logs += float(np.log(value))
        np.clip(logs, *LOGARITHMS, out=logs)
        value = 1.0
    np.exp(logs, out=logs)
    logs *= value
    return logs


@dataclass(frozen=True)
class MetalogShape(Shape):
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
        """Tell whether the quantile function rises everywhere, and the percentiles can be told apart."""
        low, middle, high = (self._transform(x) for x in (self.p10, self.p50, self.p90))
        if (
            not low < middle < high
        ):  # they lie closer than floating point has digits, seen from a bound far away
            return False
        _, a2, a3 = self.coefficients
        return bool(abs(a3) / a2 < METALOG_LIMIT)

    def transformed(self, z: Array) -> Array:
        """Give Q at Φ(z), before a bound is applied."""
        from scipy.special import log_ndtr  # loading it takes longer than simulating a build

        a1, a2, a3 = self.coefficients
        logit = log_ndtr(z) - log_ndtr(-z)
        result: Array = a1 + (a2 + a3 * (normal_share(z) - 0.5)) * logit
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
        below, above = normal_share(z), normal_share(-z)
        width = self.most - self.least
        left = self.least + np.sqrt(below * width * (self.mode - self.least))
        right = self.most - np.sqrt(above * width * (self.most - self.mode))
        return np.where(below * width <= self.mode - self.least, left, right)

    def score(self, x: float) -> float:
        """Give the score from the tail that is nearer."""
        width = self.most - self.least
        if not self.least < x < self.most:
            return -SCORE_LIMIT if x <= self.least else SCORE_LIMIT
        if x <= self.mode:
            z = normal_score((x - self.least) / width * ((x - self.least) / (self.mode - self.least)))
        else:
            z = -normal_score((self.most - x) / width * ((self.most - x) / (self.most - self.mode)))
        return min(max(z, -SCORE_LIMIT), SCORE_LIMIT)

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
        share[low] = beta_quantiles(alpha, beta, normal_share(z[low]))
        share[~low] = 1 - beta_quantiles(beta, alpha, normal_share(-z[~low]))
        return self.least + (self.most - self.least) * share

    def score(self, x: float) -> float:
        """Invert through the regularised incomplete beta function."""
        share = (x - self.least) / (self.most - self.least)
        if not 0 < share < 1:
            return -SCORE_LIMIT if share <= 0 else SCORE_LIMIT
        alpha, beta = self.exponents
        below = float(beta_share(alpha, beta, np.array([share]))[0])
        if below < 0.5:
            z = normal_score(below)
        else:
            z = -normal_score(float(beta_share(beta, alpha, np.array([1 - share]))[0]))
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
        result: Array = self.least + (self.most - self.least) * normal_share(z)
        return result

    def score(self, x: float) -> float:
        """Give the score from the tail that is nearer."""
        share, above = ((end / (self.most - self.least)) for end in (x - self.least, self.most - x))
        if not 0 < share < 1:
            return -SCORE_LIMIT if share <= 0 else SCORE_LIMIT
        z = normal_score(share) if share <= 0.5 else -normal_score(above)
        return min(max(z, -SCORE_LIMIT), SCORE_LIMIT)

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
        edges: Array = normal_scores(np.cumsum(self.chances)[:-1])
        return edges

    def ppf(self, z: Array) -> Array:
        """Give the smallest value whose cumulated chance reaches Φ(z)."""
        return np.asarray(self.values)[np.searchsorted(self._edges, z, side="left")]

    def score(self, x: float) -> float:
        """Give the score in the middle of the value's own chance."""
        cumulated = np.concatenate(([0.0], np.cumsum(self.chances)))
        place = int(np.argmin(np.abs(np.asarray(self.values) - x)))
        return normal_score(float(0.5 * (cumulated[place] + cumulated[place + 1])))

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
    """Give the positive shape through P10, P50 and P90, all moments of which exist.

    `Johnson`'s where high is at least as many times middle as middle is of low, else the two-piece lognormal. Where the
    two meet both are the lognormal, so that nothing jumps when a range is widened.
    """
    if _log_ratio(high, middle) >= _log_ratio(middle, low):
        return Johnson(low, middle, high)
    return TwoPieceLognormal(middle, _log_ratio(middle, low) / Z90, _log_ratio(high, middle) / Z90)


def quoted(quotes: tuple[float, ...]) -> Shape:
    """Give what the price will be, from prices quoted.

    The logarithm of the next price is m + s √(1 + 1/n) t, with m and s the mean and standard deviation of the n
    logarithms and t of Student's distribution with n − 1 degrees of freedom [4]. The lognormal through the P10, P50 and
    P90 of that stands for it: its 80 % interval holds what it says, and unlike the exponential of t it has a mean.

    One quote says nothing of the spread: `ONE_QUOTE_SPREAD` is then taken. Equal quotes are a known price.
    """
    logs = np.log(quotes)
    count = len(quotes)
    centre = float(np.exp(np.mean(logs)))
    if count == 1:
        return lognormal(centre, ONE_QUOTE_SPREAD)
    student = student_p90(count - 1) / Z90
    sigma = float(np.std(logs, ddof=1)) * float(np.sqrt(1 + 1 / count)) * student
    return lognormal(centre, sigma) if sigma > 0 else Exact(centre)
