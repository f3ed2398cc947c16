"""Stochastic dominance against discrete cases made by hand."""

from __future__ import annotations

import numpy as np
import pytest

from forecast.decide.dominance import dominance
from forecast.views.ways import dominance_sentence

CASES = [
    # lower everywhere: first order
    ([1, 3], [2, 4], None, None, 1, "a", "at least as often as"),
    ([2, 4], [1, 3], None, None, 1, "b", "at least as often as"),
    # equal below, lower above
    ([1, 3], [1, 4], None, None, 1, "a", "at least as often as"),
    # same mean, less spread: second order
    ([2, 2], [1, 3], None, None, 2, "a", "is safer than"),
    # milder tail and lower mean, though dearer in the good half
    ([1, 4], [2, 2.5], None, None, 2, "b", "is safer than"),
    # a lower mean with a worse tail: neither
    ([0, 5], [3, 3], None, None, 0, None, "how much you mind"),
    # of different numbers of outcomes: 1 or 3 with chances 3/4 and 1/4, against 1, 2, 3
    ([1, 3], [1, 2, 3], [0.75, 0.25], None, 1, "a", "at least as often as"),
    # chances given for both; crossing at the top
    ([10, 20], [12, 19], [0.5, 0.5], [0.5, 0.5], 0, None, "how much you mind"),
]


@pytest.mark.parametrize(("a", "b", "pa", "pb", "order", "better", "words"), CASES)
def test_hand_made_cases(
    a: list[float], b: list[float], pa: list[float] | None, pb: list[float] | None,
    order: int, better: str | None, words: str,
) -> None:  # fmt: skip
    found = dominance(np.array(a), np.array(b), ("a", "b"), (pa, pb))
    assert (found.order, found.better) == (order, better)
    assert words in dominance_sentence(found)
    other = dominance(np.array(b), np.array(a), ("b", "a"), (pb, pa))
    assert (other.order, other.better) == (order, better)


def test_share_of_percentiles() -> None:
    found = dominance(np.array([1.0, 2, 3, 5.5]), np.array([2.0, 3, 4, 5]), ("a", "b"))
    assert (found.order, found.cheaper_at) == (0, 0.75)
    assert (
        "From the cheapest build of each to the dearest, a costs less in 75 of 100 places"
        in dominance_sentence(found)
    )


def test_the_same_distribution_in_another_order() -> None:
    found = dominance(np.array([3.0, 1, 2]), np.array([1.0, 2, 3]), ("a", "b"))
    assert (found.order, found.better) == (1, None)
    assert "cost the same" in dominance_sentence(found)


def test_almost_everywhere_is_told_from_everywhere() -> None:
    a = np.arange(1000.0)
    b = a + 1
    a[-1] = 1100
    found = dominance(a, b, ("a", "b"))
    assert found.order == 0
    assert "only the rarest builds differ" in dominance_sentence(found)
