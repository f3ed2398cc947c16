"""Counts as a person says them."""

from __future__ import annotations

import pytest

from forecast.words.chances import listed, so_many, so_many_of


@pytest.mark.parametrize(
    ("count", "said"), [(0, "no figures"), (1, "1 figure"), (2, "2 figures"), (30, "30 figures")]
)
def test_nought_is_none(count: int, said: str) -> None:
    assert so_many(count, "figure") == said


@pytest.mark.parametrize(
    ("count", "whole", "said"),
    [
        (0, 7, "none of 7 lines is"),
        (1, 1, "1 of 1 line is"),
        (1, 7, "1 of 7 lines is"),
        (7, 7, "7 of 7 lines are"),
    ],
)
def test_how_many_of_all(count: int, whole: int, said: str) -> None:
    assert so_many_of(count, whole, "line") == said


@pytest.mark.parametrize(
    ("names", "said"),
    [
        ([], ""),
        (["paint"], "paint"),
        (["paint", "refit"], "paint and refit"),
        (["a", "b", "c"], "a, b and c"),
    ],
)
def test_several_things_are_said_one_after_the_other(names: list[str], said: str) -> None:
    assert listed(names) == said
