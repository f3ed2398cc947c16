"""Shares and quantiles without SciPy, held against SciPy's over all that can be asked of them."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest
from scipy import special

from forecast.figures.normal import (
    beta_quantiles,
    beta_share,
    normal_score,
    normal_scores,
    normal_share,
    student_p90,
)

ULPS = 4
"""Units in the last place: what a library's own logarithm and exponential may differ by, twice over."""
SPECIAL = np.array(
    [0.0, 1.0, 0.5, 5e-324, 1e-300, np.exp(-2.0), 1 - np.exp(-2.0), np.exp(-32.0), 1 - 2.0**-53]
)


@pytest.mark.parametrize(
    "shares",
    [
        np.random.default_rng(1).random(100_000),
        np.exp(-np.linspace(0.5, 744.0, 100_000)),
        1 - np.exp(-np.linspace(0.5, 36.0, 20_000)),
        SPECIAL,
    ],
    ids=["anywhere", "lower tail", "upper tail", "edges"],
)
def test_scores_of_shares_are_scipys(shares: np.ndarray) -> None:
    ours, theirs = normal_scores(shares), special.ndtri(shares)
    inner = np.isfinite(theirs)
    assert np.array_equal(ours[~inner], theirs[~inner])
    away = np.abs(ours[inner] - theirs[inner])
    assert np.all(away <= ULPS * np.spacing(np.abs(theirs[inner])))


@pytest.mark.parametrize(
    "scores",
    [
        np.random.default_rng(2).standard_normal(100_000),
        np.linspace(-37.5, 37.5, 100_001),
        np.array([-np.inf, np.inf, 0.0, np.sqrt(2.0), -np.sqrt(2.0), -37.6, -40.0, 40.0]),
    ],
    ids=["usual", "far", "edges"],
)
def test_shares_of_scores_are_scipys(scores: np.ndarray) -> None:
    ours, theirs = normal_share(scores), special.ndtr(scores)
    assert np.all(np.abs(ours - theirs) <= ULPS * np.spacing(theirs))


def test_what_is_no_share_has_no_score() -> None:
    assert np.isnan(normal_scores(np.array([-0.1, 1.1, np.nan]))).all()
    assert np.isnan(normal_share(np.array([np.nan]))).all()


def test_the_form_of_what_is_asked_is_kept() -> None:
    table = np.random.default_rng(3).random((3, 5))
    assert np.array_equal(normal_scores(table), normal_scores(table.ravel()).reshape(3, 5))
    assert np.array_equal(normal_share(table), normal_share(table.ravel()).reshape(3, 5))
    assert normal_scores(np.empty(0)).shape == (0,)
    assert normal_score(0.9) == normal_scores(np.array([0.9]))[0]


@pytest.mark.parametrize("freedom", [*range(1, 41), 200])
def test_students_p90_is_scipys(freedom: int) -> None:
    """SciPy before 1.16 solves for it less exactly; the closed forms below are exact."""
    assert student_p90(freedom) == pytest.approx(special.stdtrit(freedom, 0.9), rel=1e-10)


def test_students_p90_is_its_closed_form_where_there_is_one() -> None:
    """Shaw (2006), Sampling Student's T distribution, J. Comput. Finance 9(4), equations 35 to 37, from memory."""
    a = 4 * 0.9 * 0.1
    q = np.cos(np.arccos(np.sqrt(a)) / 3) / np.sqrt(a)
    closed = [np.tan(np.pi * 0.4), 0.8 * np.sqrt(2 / a), 2 * np.sqrt(q - 1)]
    assert [student_p90(freedom) for freedom in (1, 2, 4)] == pytest.approx(closed, rel=1e-14)


def test_students_p90_is_the_published_one() -> None:
    """Tables of the distribution, such as NIST/SEMATECH e-Handbook, section 1.3.6.7.2."""
    published = {1: 3.078, 2: 1.886, 3: 1.638, 4: 1.533, 10: 1.372, 30: 1.310}
    assert {freedom: round(student_p90(freedom), 3) for freedom in published} == published


@pytest.mark.parametrize("a", np.linspace(1.0, 5.0, 33))
def test_beta_shares_and_quantiles_are_scipys(a: float) -> None:
    """For every beta-PERT: the two exponents add up to six."""
    b = 6.0 - a
    x = np.linspace(0.0, 1.0, 2001)
    assert beta_share(a, b, x) == pytest.approx(special.betainc(a, b, x), rel=1e-14, abs=1e-300)
    shares = special.ndtr(np.linspace(-8.5, 0.0, 545))
    found = beta_quantiles(a, b, shares)
    assert found == pytest.approx(special.betaincinv(a, b, shares), rel=2e-14)
    assert special.betainc(a, b, found) == pytest.approx(shares, rel=1e-14)


def test_a_beta_with_whole_exponents_is_a_polynomial() -> None:
    """With a = 2 and b = 4: P(X < x) = 1 − (1 − x)⁵ − 5x(1 − x)⁴."""
    x = np.linspace(0.01, 0.99, 99)
    polynomial = 1 - (1 - x) ** 5 - 5 * x * (1 - x) ** 4
    assert beta_share(2.0, 4.0, x) == pytest.approx(polynomial, rel=1e-12)


def test_a_figure_is_the_same_whatever_else_its_process_has_loaded() -> None:
    """SciPy's may differ in the last digit: NumPy's exponential is not the C library's on every processor."""
    code = (
        "import sys{}\n"
        "import numpy as np\n"
        "from forecast.figures.normal import normal_scores, normal_share\n"
        "drawn = np.random.default_rng(4)\n"
        "sys.stdout.write(normal_share(3 * drawn.standard_normal(50_000)).tobytes().hex())\n"
        "sys.stdout.write(normal_scores(drawn.random(50_000)).tobytes().hex())\n"
    )
    alone, beside = (
        subprocess.run([sys.executable, "-c", code.format(more)], capture_output=True, check=True).stdout
        for more in ("", ", scipy.special")
    )

    assert len(alone) == 2 * 8 * 100_000
    assert alone == beside
