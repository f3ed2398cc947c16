"""Labels kept apart: as near as may be to where they are wanted, in order, within bounds."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import minimize

from forecast.views.charts.watch_charts import spread_apart

PLACES = st.lists(st.floats(0, 300), min_size=0, max_size=6)


@pytest.mark.parametrize(
    ("wanted", "found"),
    [
        ([], []),
        ([50], [50]),
        ([10, 40, 90], [10, 40, 90]),
        ([50, 50], [42.5, 57.5]),
        ([57, 50], [61, 46]),
        ([100, 100, 100], [85, 100, 115]),
        ([20, 100, 106], [20, 95.5, 110.5]),
    ],
)
def test_where_labels_go(wanted: list[float], found: list[float]) -> None:
    assert spread_apart(wanted, 15) == pytest.approx(found)


def test_bounds_push_all_of_them() -> None:
    assert spread_apart([0, 1], 15, low=6, high=294) == [6, 21]
    assert spread_apart([300, 299], 15, low=6, high=294) == [294, 279]


@given(PLACES)
def test_they_stand_apart_in_order_within_bounds(wanted: list[float]) -> None:
    found = spread_apart(wanted, 15, low=0, high=300)
    ranked = sorted(range(len(wanted)), key=lambda place: wanted[place])
    assert all(found[after] - found[before] >= 15 - 1e-9 for before, after in pairwise(ranked))
    assert all(-1e-9 <= place <= 300 + 1e-9 for place in found)


@pytest.mark.parametrize("wanted", [[50, 52, 53, 90], [10, 11, 25, 26], [40, 41, 42, 43], [30, 44, 60, 61]])
def test_no_other_places_are_nearer(wanted: list[float]) -> None:
    """Against a general minimiser of the squared moves under the same distances."""
    limits = [{"type": "ineq", "fun": lambda x, k=k: x[k + 1] - x[k] - 15} for k in range(3)]
    best = minimize(lambda x: ((x - wanted) ** 2).sum(), sorted(wanted), constraints=limits, tol=1e-12)
    assert spread_apart(wanted, 15) == pytest.approx(best.x, abs=1e-4)
