"""A range from ten chips in five bins."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecast.buildfile.chips import BINS, CHIPS, check_ends, edges, range_of
from forecast.figures.kinds import Percentiles

laid = st.lists(st.integers(0, BINS - 1), min_size=CHIPS, max_size=CHIPS).map(
    lambda bins: [bins.count(place) for place in range(BINS)]
)
money = st.decimals(0, 10**7, places=2).map(float)
spans = st.tuples(money, money).map(sorted).filter(lambda ends: not check_ends(*ends))


def test_one_two_four_two_one_gives_edges_and_the_middle_exactly() -> None:
    """By hand: 1, 3, 7, 9 and 10 chips lie below the tops of the bins, and 5 halfway through the third."""
    assert range_of(1000, 2000, [1, 2, 4, 2, 1]) == (1200, 1500, 1800)


@given(spans)
def test_one_two_four_two_one_does_so_for_every_span(ends: list[float]) -> None:
    low, middle, high = range_of(*ends, [1, 2, 4, 2, 1])
    bounds = edges(*ends)
    assert (low, high) == (bounds[1], bounds[4])
    assert middle == pytest.approx((bounds[2] + bounds[3]) / 2, rel=1e-12)


@given(spans, laid)
def test_a_range_always_rises_and_lies_inside_the_span(ends: list[float], chips: list[int]) -> None:
    low, middle, high = range_of(*ends, chips)
    assert ends[0] < low < middle < high < ends[1]
    assert Percentiles(low=low, middle=middle, high=high).middle == middle  # what the file takes


@given(spans, laid)
def test_the_points_are_where_the_cumulative_reaches_them(ends: list[float], chips: list[int]) -> None:
    """Held against numpy's own piecewise-linear interpolation of the cumulative."""
    below = np.concatenate([[0], np.cumsum(chips)])
    reached = np.interp(range_of(*ends, chips), edges(*ends), below)
    assert reached == pytest.approx([1, 5, 9], abs=0.02)  # rounded to a number that is fit to be read


@given(spans, laid)
def test_a_chip_moved_up_moves_no_point_down(ends: list[float], chips: list[int]) -> None:
    before = range_of(*ends, chips)
    for place in range(BINS - 1):
        if chips[place]:
            moved = list(chips)
            moved[place], moved[place + 1] = moved[place] - 1, moved[place + 1] + 1
            step = (ends[1] - ends[0]) * 1e-4
            assert all(new >= old - step for old, new in zip(before, range_of(*ends, moved), strict=True))


@pytest.mark.parametrize("place", range(BINS))
def test_all_ten_in_one_bin_spread_over_it(place: int) -> None:
    chips = [0] * BINS
    chips[place] = CHIPS
    start = 100 * place
    assert range_of(0, 500, chips) == (start + 10, start + 50, start + 90)


def test_over_empty_bins_the_point_is_their_middle() -> None:
    assert range_of(0, 500, [5, 0, 0, 0, 5]) == (20, 250, 480)
    assert range_of(0, 500, [1, 0, 8, 0, 1]) == (150, 250, 350)


def test_what_never_ends_is_rounded_to_what_can_be_read() -> None:
    assert range_of(1000, 2000, [1, 3, 3, 2, 1]) == (1200, 1466.7, 1800)


@pytest.mark.parametrize(
    ("least", "most", "says"),
    [(200, 100, "above the least"), (100, 100, "above the least"), (-1, 5, "nothing or more"),
     (0, float("inf"), "are numbers"), (1e9, 1e9 + 1, "the same number")],
)  # fmt: skip
def test_ends_that_make_no_span_are_refused_in_words(least: float, most: float, says: str) -> None:
    assert says in check_ends(least, most)
    with pytest.raises(ValueError, match=says):
        edges(least, most)


@pytest.mark.parametrize("chips", [[1, 2, 4, 2], [1, 2, 4, 2, 2], [-1, 3, 4, 3, 1]])
def test_other_than_ten_chips_in_five_bins_are_refused(chips: list[int]) -> None:
    with pytest.raises(ValueError, match="10 chips in 5 bins"):
        range_of(0, 1, chips)
