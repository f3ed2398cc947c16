"""The distribution of one row by itself, as a short table: where a sum lies in it, and whether it looks settled."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from forecast.engine.condition import SCORE_CLIP
from forecast.figures.normal import normal_share
from forecast.figures.shapes import Array, Shape

_GRID = np.linspace(-4.0, 4.0, 65)
_SEEN = np.linspace(-3.0, 3.0, 49)  # of 4,096 prior trials, five lie beyond either end
_UNIT = 8  # steps of either grid to a unit of score; the last step of prior trials alone is mostly chance
_WINDOW = 0.25  # of scores to either side, over which a density is taken
_SURE = 0.1  # from this percentile on a sum paid is taken as any share of the whole, one as likely as another
_LEAST_SLOPE = 0.02
"""Least relative spread: a known price is met to within some percent, roundings and fees being what they are."""

ONE_WIDTH = np.ones(1)
TENTHS = np.array([-1.2815515655446004, 1.2815515655446004])
"""Scores of P10 and P90."""
SPAN = 20.0
"""A range whose P90 is so many times its P10 counts no wider than stated, and none is widened beyond: who writes 20 to
1,500 says already that nobody knows, and the same again at both ends would be a thousandfold. Common practice, no
source."""
_STEPS = np.arange(241.0)
_MANY = 200  # numbers, for which a grid is worth making


def straight_quantiles(values: Array, shares: Array) -> Array:
    """Give quantiles, straight between neighbouring values, as NumPy's own does to the last digit.

    NumPy's loads what it has for masked arrays, which takes longer than all that a command asks of it.

    Parameters
    ----------
    values : ndarray, shape (N,)
        One at least.
    shares : ndarray, shape (Q,)
        From 0 to 1.
    """
    rising = np.sort(values)
    last = rising.size - 1
    place = shares * last
    step = place.astype(np.intp)
    part = place - step
    low, high = rising[step], rising[np.minimum(step + 1, last)]
    rise = high - low
    return np.where(part < 0.5, low + rise * part, high - rise * (1 - part))


def steepness(values: Callable[[Array], Array]) -> float:
    """Give how far values rise with each unit of score at `SCORE_CLIP`, where a range goes straight on."""
    step = 0.05
    before, end = values(np.array([SCORE_CLIP - step, SCORE_CLIP]))
    return float((end - before) / step)


def widest(low: float, high: float) -> float:
    """Give how many times as wide as stated a range may count, from its P10 and P90: see `SPAN`."""
    if not 0 < low < high:
        return math.inf
    return max(1.0, math.log(SPAN) / math.log(high / low))


@dataclass(frozen=True)
class Margin:
    """Scores and logarithms of amounts along a quantile function; straight between them and beyond.

    Attributes
    ----------
    scores, logs : ndarray, shape (points,)
        Both rising.
    """

    scores: Array
    logs: Array

    @classmethod
    def of_shape(cls, shape: Shape, factor: float = 1.0) -> Margin:
        """Tabulate a shape times a factor."""
        return cls._from(_GRID, shape.ppf(_GRID.copy()) * factor)

    @classmethod
    def of_trials(cls, values: Array) -> Margin:
        """Tabulate prior trials, shape (N,)."""
        return cls._from(_SEEN, straight_quantiles(values, normal_share(_SEEN)))

    @classmethod
    def _from(cls, scores: Array, values: Array) -> Margin:
        positive = values[values > 0]
        least = 1e-3 * float(positive[0]) if positive.size else 1e-9  # a line that may come to nothing
        logs = np.log(np.maximum(values, least))
        rising = _LEAST_SLOPE * (scores - scores[0])
        middle = len(scores) // 2  # from here outwards it rises at least so much
        above = np.maximum.accumulate((logs - rising)[middle:]) + rising[middle:]
        below = np.minimum.accumulate((logs - rising)[middle::-1])[::-1] + rising[: middle + 1]
        return cls(scores, np.concatenate([below[:-1], above]))

    @cached_property
    def _to_scores(self) -> _Straight:
        return _Straight.through(self.logs, self.scores)

    @cached_property
    def _to_logs(self) -> _Straight:
        return _Straight.through(self.scores, self.logs)

    def score(self, amounts: Array) -> Array:
        """Give the scores of amounts above zero."""
        return self._to_scores(np.log(np.maximum(amounts, 1e-300)))

    def amount(self, scores: Array) -> Array:
        """Give the amounts at scores."""
        return np.asarray(np.exp(self._to_logs(scores)))

    @cached_property
    def tenths(self) -> tuple[float, float]:
        """P10 and P90."""
        low, high = self.amount(TENTHS)
        return float(low), float(high)

    @cached_property
    def steep(self) -> float:
        """See `steepness`."""
        return steepness(self.amount)

    def settled(
        self, paid: float, prior: float, mean: float = 0.0, sd: float = 1.0, widths: Array = ONE_WIDTH
    ) -> float:
        """Give the chance that a sum paid is all, when nobody said so.

        Either it is the final amount X, with the density of X there; or it is a share of X, any share as likely as
        another, which has the density E[paid / X; X > paid] of its logarithm.

        Parameters
        ----------
        paid : float
            Above zero.
        prior : float
            The chance before the sum is looked at.
        mean, sd : float
            Of the row's score, as far as others' receipts tell.
        widths : ndarray, shape (W,)
            By how much wider the range may have to be, each as likely as another.

        Returns
        -------
        float
            From 0 to 1, without a jump anywhere in the sum paid.
        """
        if prior <= 0 or prior >= 1:
            return float(prior > 0)
        here = self.score_of(paid)
        below, above = self._to_logs(here + np.array([-_WINDOW, _WINDOW]))
        slope = 2 * _WINDOW / float(above - below)  # logarithms rise everywhere: see `_LEAST_SLOPE`
        u = (here - mean) / sd
        whole = float(_log_density(np.array([u]), widths)[0]) + np.log(slope / sd)
        top = max(u, 0.0) + 8.0 * float(widths.max())
        grid = _STEPS * ((top - u) / _STEPS[-1]) + u
        grid[-1] = top
        share = _log_density(grid, widths) + np.log(paid) - self._to_logs(mean + sd * grid)
        most = float(share.max())
        height = np.exp(share - most)
        area = float((np.diff(grid) * (height[1:] + height[:-1]) / 2.0).sum())
        part = most + float(np.log(area))
        odds = np.log(prior) + whole - np.log1p(-prior) - part
        return float(1 / (1 + np.exp(-np.clip(odds, -700, 700))))

    def pull(self, paid: float) -> float:
        """Give by how much, for each unit of variance, scores lie lower once a sum is a share of what it will be.

        Where any share of the whole X is as likely as another, X has its own density above the sum, times 1 / X: on
        the score, whose logarithm of X is nearly straight there, a normal density shifted by the slope. A first cent
        says nothing of the sort, or it alone would lower the forecast: the shift grows with the chance of less.

        Parameters
        ----------
        paid : float
            Above zero.
        """
        if paid not in self._pulls:
            here = self.score_of(paid)
            below, above = self._to_logs(here + np.array([0.0, 1.0]))
            self._pulls[paid] = min(1.0, float(normal_share(here)) / _SURE) * float(above - below)
        return self._pulls[paid]

    @cached_property
    def _pulls(self) -> dict[float, float]:
        return {}  # a history asks for the same sum on every day after it was paid

    def score_of(self, amount: float) -> float:
        """Give the score of one amount."""
        if amount not in self._scores_of:
            self._scores_of[amount] = float(self.score(np.array([max(amount, 1e-300)]))[0])
        return self._scores_of[amount]

    @cached_property
    def _scores_of(self) -> dict[float, float]:
        return {}


def _log_density(u: Array, widths: Array) -> Array:
    """Give the logarithm of a mixture of normal densities of several widths, but for a constant, shape as u."""
    widest = widths.max()  # of all the last to be next to nothing: taken out, nothing underflows
    least = -0.5 * (u / widest) ** 2
    precision = 1 / widths**2 - 1 / widest**2
    sums = np.exp(-0.5 * np.square(u)[:, None] * precision) @ (1 / widths)
    return np.asarray(least + np.log(sums / widths.size))


@dataclass(frozen=True)
class _Straight:
    """Straight lines between points, and on beyond both ends as steep as over the last unit of score there.

    Each line begins at a point; before the first there is one more. Which line a number is on is looked up in a grid
    finer than the points lie, of which each step has one of them at most: a search takes five times as long.

    Attributes
    ----------
    points : ndarray, shape (points,)
        Rising.
    begins, heights, slopes : ndarray, shape (points + 1,)
        Of each line: where it begins, its height there, and its slope.
    """

    points: Array
    begins: Array
    heights: Array
    slopes: Array

    @classmethod
    def through(cls, points: Array, values: Array) -> _Straight:
        """Draw the lines; what is asked of a point is its value."""
        low = (values[_UNIT] - values[0]) / (points[_UNIT] - points[0])
        high = (values[-1] - values[-1 - _UNIT]) / (points[-1] - points[-1 - _UNIT])
        slopes = np.concatenate([[low], np.diff(values) / np.diff(points), [high]])
        return cls(points, np.append(points[0], points), np.append(values[0], values), slopes)

    def __call__(self, x: Array) -> Array:
        """Give the values at some numbers."""
        line = self._line(x) if x.size > _MANY else np.searchsorted(self.points, x, side="right")
        return np.asarray(self.slopes.take(line) * (x - self.begins.take(line)) + self.heights.take(line))

    def _line(self, x: Array) -> NDArray[np.intp]:
        width, least, following = self._grid
        line = least.take(((x - self.points[0]) / width).astype(np.intp), mode="clip")
        found: NDArray[np.intp] = line + (x >= following.take(line))
        return found

    @cached_property
    def _grid(self) -> tuple[float, NDArray[np.intp], Array]:
        """Width of its steps, the line on which each step begins or a hair before it, and where the next one begins."""
        width = 0.9 * float(np.diff(self.points).min())
        steps = int((self.points[-1] - self.points[0]) / width) + 2
        starts = self.points[0] + (np.arange(steps) - 0.001) * width
        return width, np.searchsorted(self.points, starts, side="right"), np.append(self.points, np.inf)
