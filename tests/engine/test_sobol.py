"""The generator matrices of the Sobol' sequence, against SciPy's."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import qmc

from forecast.engine import sobol
from forecast.engine.draws import column


def multiplied(rows: tuple[int, ...], m: int) -> np.ndarray:  # type: ignore[type-arg]
    numbers = np.arange(1 << m)
    points = np.zeros(1 << m, dtype=np.int64)
    for row in rows:
        points = 2 * points + np.array([bin(number & row).count("1") % 2 for number in numbers])
    return points


@pytest.mark.parametrize("m", [8, 10])
def test_points_are_scipys(m: int) -> None:
    n = 1 << m
    scipy = (qmc.Sobol(sobol.DIMENSIONS, scramble=False, bits=m).random_base2(m) * n).astype(np.int64)
    gray = np.arange(n) ^ (np.arange(n) >> 1)  # SciPy gives them in Gray code order
    for dimension in range(sobol.DIMENSIONS):
        assert np.array_equal(multiplied(sobol.rows(dimension, m), m)[gray], scipy[:, dimension])


def test_every_dimension_on_file_is_taken() -> None:
    assert len(sobol.rows(sobol.DIMENSIONS - 1, 8)) == 8
    with pytest.raises(IndexError):
        sobol.rows(sobol.DIMENSIONS, 8)


def test_two_slots_fill_every_box_of_a_grid_alike() -> None:
    """A digital shift leaves the net a net: 1,024 points put one in each of 32 × 32 boxes (slots 0 and 1)."""
    slots = {"first": 0, "second": 1}
    boxes = []
    for name in slots:
        order = np.argsort(np.argsort(column(9, 3, name, 1024, slots)))
        boxes.append(order // 32)
    counts = np.zeros((32, 32), dtype=int)
    np.add.at(counts, tuple(boxes), 1)
    assert np.all(counts == 1)


@pytest.mark.parametrize("slot", [0, 1, 7, 13, 19, 20])
def test_a_figure_and_a_slot_fill_their_quarters_alike(slot: int) -> None:
    """The leading bit of a figure is apart from those of the slots: each quarter of the plane holds n / 4 points."""
    for place in range(50):
        slots = {"slot": slot}
        figure = column(4, place, f"figure {place}", 1024, slots) > 0
        cause = column(4, place, "slot", 1024, slots) > 0
        assert np.count_nonzero(figure & cause) == 256
