"""The small drawing of a range, held against densities in closed form."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from forecast.engine.sketch import sketch, three_points
from forecast.figures.shapes import Exact, Flat, Triangle, lognormal


def test_a_uniform_figure_is_flat() -> None:
    assert sketch(Flat(10, 20)) == pytest.approx(np.ones(24), abs=2e-3)  # the table of scores is 0.02 apart


def test_a_lognormal_figure_follows_its_density() -> None:
    drawn = sketch(lognormal(100, 0.5), points=40)
    law = stats.lognorm(s=0.5, scale=100)
    edges = np.linspace(law.ppf(stats.norm.cdf(-2.33)), law.ppf(stats.norm.cdf(2.33)), 41)
    share = np.diff(law.cdf(edges))
    assert drawn == pytest.approx(share / share.max(), abs=3e-3)


def test_the_peak_of_a_triangle_stands_at_its_mode() -> None:
    drawn = sketch(Triangle(0, 75, 100), points=50)
    low, high = Triangle(0, 75, 100).ppf(np.array([-2.33, 2.33]))
    assert low + (int(np.argmax(drawn)) + 0.5) / 50 * (high - low) == pytest.approx(75, abs=2)


def test_a_known_figure_has_no_drawing() -> None:
    assert sketch(Exact(12)).size == 0


def test_three_points_are_the_tenth_the_middle_and_the_ninetieth() -> None:
    """Quantiles in closed form: a uniform figure's lie on a line, a lognormal's at e^(±1.2816 σ) of its median."""
    assert three_points(Flat(100, 200)) == (110, 150, 190)
    law = stats.lognorm(s=0.5, scale=1234)
    assert three_points(lognormal(1234, 0.5)) == pytest.approx(law.ppf([0.1, 0.5, 0.9]), rel=1e-3)
