"""A figure's shape in a few numbers, small enough to draw in a cell of a sheet."""

from __future__ import annotations

import numpy as np

from forecast.figures.normal import normal_scores, normal_share
from forecast.figures.shapes import Array, Shape

_SCORES = np.linspace(-2.33, 2.33, 234)  # P1 to P99
_POINTS = 24


def sketch(shape: Shape, points: int = _POINTS) -> Array:
    """Give the relative density of a shape on an even grid from its P1 to its P99.

    Parameters
    ----------
    shape : Shape
    points : int
        Values of the grid.

    Returns
    -------
    ndarray, shape (points,)
        Between 0 and 1, the peak being 1; empty for a figure that is known.
    """
    x = shape.ppf(_SCORES)
    low, high = float(x[0]), float(x[-1])
    if not high > low:
        return np.empty(0)
    # The share between neighbouring grid lines: it needs no density, so it serves shapes with steps as well.
    edges = np.linspace(low, high, points + 1)
    share = np.diff(np.interp(edges, x, _normal(_SCORES)))
    return np.asarray(share / share.max(), dtype=np.float64)


def _normal(z: Array) -> Array:
    return normal_share(z)


def three_points(shape: Shape) -> tuple[float, float, float]:
    """Give P10, P50 and P90 of a shape, to four digits."""
    values = shape.ppf(normal_scores(np.array([0.1, 0.5, 0.9])))
    low, middle, high = (float(f"{value:.4g}") for value in values)
    return low, middle, high
