"""The table of a row by itself: what is looked up in a grid is what a search among its points finds."""

from __future__ import annotations

import numpy as np
import pytest

from forecast.engine.margin import Margin, straight_quantiles
from forecast.figures.shapes import Johnson


def margins() -> list[Margin]:
    generator = np.random.default_rng(4)
    steep = np.concatenate(
        [np.zeros(900), generator.lognormal(9, 2.5, 3000)]
    )  # a line that may come to nothing
    return [
        Margin.of_shape(Johnson(20_000, 25_000, 40_000)),
        Margin.of_trials(generator.lognormal(9, 0.4, 4096)),
        Margin.of_trials(steep),
        Margin.of_trials(np.full(500, 70.0)),  # a known price
    ]


@pytest.mark.parametrize("margin", margins(), ids=["shape", "trials", "nothing", "known"])
def test_many_numbers_are_found_as_by_a_search_and_go_straight_on_beyond(margin: Margin) -> None:
    low, high = float(margin.logs[0]), float(margin.logs[-1])
    between = np.random.default_rng(5).uniform(low, high, 5000)
    hair = 1e-13 * max(1.0, abs(low), abs(high))
    logs = np.concatenate([between, margin.logs, margin.logs - hair, margin.logs + hair])
    logs = logs[(logs >= low) & (logs <= high)]
    scores = margin._to_scores(logs)
    assert np.array_equal(scores, np.interp(logs, margin.logs, margin.scores))
    assert np.array_equal(margin._to_logs(scores), np.interp(scores, margin.scores, margin.logs))
    for many in (1, 1000):  # few are searched for, many looked up
        ends = np.repeat([margin.scores[0], margin.scores[-1]], many)
        further = margin._to_logs(ends + np.repeat([-2.0, 2.0], many))
        unit = 8  # steps of the table
        slopes = [margin.logs[unit] - low, high - margin.logs[-1 - unit]]
        assert further == pytest.approx(np.repeat([low - 2 * slopes[0], high + 2 * slopes[1]], many))
        assert margin._to_scores(further) == pytest.approx(ends + np.repeat([-2.0, 2.0], many))


@pytest.mark.parametrize("count", [1, 2, 3, 500, 4096])
def test_straight_quantiles_are_numpys(count: int) -> None:
    values = np.random.default_rng(count).lognormal(9, 2.5, count)
    shares = np.concatenate([[0.0, 1.0, 0.5], np.random.default_rng(6).random(200)])
    assert np.array_equal(straight_quantiles(values, shares), np.quantile(values, shares))
