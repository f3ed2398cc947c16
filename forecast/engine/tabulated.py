"""Quantile tables: from latent scores to values in a few nanoseconds each.

A table holds the quantile function on a uniform grid of scores and interpolates by index. Its error is
measured when it is built, half-way between grid points for all scores up to ±4, and the grid is refined until
the error is under 1e-6 of the P10–P90 span.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import TypeAlias

import numpy as np

from forecast.figures.shapes import SCORE_LIMIT, Array, MetalogShape, Pert, Shape

Sampler: TypeAlias = Callable[[Array], Array]
"""Turns scores into values; may overwrite its argument."""

TOLERANCE = 1e-6
"""Largest table error, as a share of the P10–P90 span."""

_COARSEST = 256
_FINEST = 8192


@dataclass(frozen=True)
class TabulatedValues:
    """Values on a uniform grid of scores.

    Attributes
    ----------
    values : ndarray, shape (2 · SCORE_LIMIT · per_unit + 1,)
    per_unit : int
        Grid points for each unit of score.
    logarithmic : bool
        True where the values are logarithms of amounts over ``offset``.
    offset : float
        What is added after exponentiation.
    """

    values: Array
    per_unit: int
    logarithmic: bool = False
    offset: float = 0.0

    @cached_property
    def lines(self) -> tuple[Array, Array]:
        """Height at zero, and slope, of the straight line over each grid step, in grid steps."""
        slopes = np.append(np.diff(self.values), 0.0)
        return self.values - slopes * np.arange(slopes.size), slopes

    def __call__(self, z: Array) -> Array:
        """Give the values at scores z; z is overwritten."""
        heights, slopes = self.lines
        z *= self.per_unit
        z += SCORE_LIMIT * self.per_unit
        step = z.astype(np.intp)
        value = slopes.take(step, mode="clip")
        value *= z
        value += heights.take(step, mode="clip")
        if self.logarithmic:
            np.exp(value, out=value)
            if self.offset:
                value += self.offset
        return value


def _grid(per_unit: int) -> Array:
    steps = int(2 * SCORE_LIMIT * per_unit)
    return np.arange(steps + 1) / per_unit - SCORE_LIMIT


def _smooth_values(shape: Shape, per_unit: int) -> Array:
    """Evaluate a costly smooth quantile function on a coarse grid and fill in by a cubic through the nodes.

    Slopes are fourth-order differences, so that the error is of fourth order in the coarse step.
    """
    coarse = 32
    z = _grid(coarse)
    nodes = shape.ppf(z)
    slopes = np.gradient(nodes)
    slopes[2:-2] = (8 * (nodes[3:-1] - nodes[1:-3]) - (nodes[4:] - nodes[:-4])) / 12
    steps = per_unit // coarse
    t = np.arange(steps) / steps
    start, rise = nodes[:-1, None], np.diff(nodes)[:, None]
    first, last = slopes[:-1, None], slopes[1:, None]
    filled = start + t * (first + t * ((3 * rise - 2 * first - last) + t * (first + last - 2 * rise)))
    return np.append(filled.ravel(), nodes[-1])


def _build(shape: Shape, per_unit: int) -> TabulatedValues:
    if isinstance(shape, Pert):
        return TabulatedValues(_smooth_values(shape, per_unit), per_unit)
    z = _grid(per_unit)
    if isinstance(shape, MetalogShape) and shape.lower is not None and shape.upper is None:
        return TabulatedValues(shape.transformed(z), per_unit, logarithmic=True, offset=shape.lower)
    return TabulatedValues(shape.ppf(z), per_unit)


def table_error(shape: Shape, table: TabulatedValues) -> float:
    """Give a table's largest error for scores up to ±4, as a share of the P10–P90 span."""
    step = 1 / table.per_unit
    stride = table.per_unit // 64  # some five hundred places, however fine the grid
    z = np.arange(-4, 4, step * stride) + 0.5 * step
    span = shape.percentile(0.9) - shape.percentile(0.1)
    return float(np.max(np.abs(table(z.copy()) - shape.ppf(z)))) / span


@lru_cache(maxsize=1024)
def sampler(shape: Shape) -> Sampler:
    """Give the fast way from scores to values of a shape: its closed form, or a table within TOLERANCE."""
    if shape.closed_form:
        return shape.ppf
    per_unit = _COARSEST
    while True:
        table = _build(shape, per_unit)
        if per_unit >= _FINEST or table_error(shape, table) < TOLERANCE:
            table.values.setflags(write=False)
            return table
        per_unit *= 2
