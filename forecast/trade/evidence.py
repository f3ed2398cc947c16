"""Published evidence on how estimates end, and the arithmetic to compare with it.

No statistic on body conversions was found in print; these are other kinds of work, and are shown as such.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

Z90 = 1.2815515655446004
"""90 % point of the standard normal distribution."""


def overrun_factor(ended: ArrayLike, expected: ArrayLike) -> NDArray[np.float64]:
    """Give how many times the estimate something took: ended / expected."""
    return np.asarray(ended, np.float64) / np.asarray(expected, np.float64)


def share_over(over: float, on: float, under: float) -> float:
    """Give the share that went over budget among those that had one."""
    return over / (over + on + under)


def mixed_uplift(shares: ArrayLike, uplifts: ArrayLike) -> float:
    """Give the uplift of a job made of several kinds of work: the sum of share × uplift."""
    return float(np.dot(np.asarray(shares, np.float64), np.asarray(uplifts, np.float64)))


def lognormal_through(p10: float, p90: float) -> tuple[float, float, float]:
    """Give sigma, median and mean of the lognormal distribution through P10 and P90."""
    sigma = math.log(p90 / p10) / (2 * Z90)
    median = math.sqrt(p10 * p90)
    return sigma, median, median * math.exp(sigma**2 / 2)
