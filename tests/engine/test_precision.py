"""Less error than plain Monte Carlo of two and a half times as many trials; and what importing costs."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from forecast.buildfile.reader import read_build
from forecast.buildfile.schema import Build
from forecast.engine.plan import compile_plan
from forecast.engine.statistics import percentile
from forecast.engine.trials import run
from tests.references.portfolios import PORTFOLIOS, build_of

DEMO = Path(__file__).parents[2] / "scenarios" / "before-ordering-ireland"

PLAIN = 40_960


def plain_error(totals: np.ndarray, q: float, trials: int) -> float:  # type: ignore[type-arg]
    """Give the standard error of a percentile of independent trials, √(q (1 − q) / N) / density."""
    width = 0.01
    below, above = np.quantile(totals, [q - width, q + width])
    return float(np.sqrt(q * (1 - q) / trials) / (2 * width / (above - below)))


def error_over_seeds(build: Build, seeds: int, truth: float) -> float:
    plan = compile_plan(build)
    found = [percentile(run(plan, 16_384, seed, keep="totals").totals, 0.9) for seed in range(seeds)]
    return float(np.sqrt(np.mean((np.array(found) - truth) ** 2)))


def test_p90_of_portfolio_c_against_plain_monte_carlo() -> None:
    portfolio = PORTFOLIOS["C"]
    build = build_of(portfolio["items"], 0)
    long = run(compile_plan(build), 2_000_000, 987_654, keep="totals").totals
    plain = plain_error(long, 0.9, PLAIN)
    assert error_over_seeds(build, 480, portfolio["independent"]["P90"]) <= plain


def test_p90_of_the_demo_build_against_plain_monte_carlo() -> None:
    build = read_build(DEMO)
    long = run(compile_plan(build), 2_000_000, 987_654, keep="totals").totals
    assert error_over_seeds(build, 120, percentile(long, 0.9)) <= plain_error(long, 0.9, PLAIN)


@pytest.mark.parametrize("statement", ["import forecast", "from forecast import simulate"])
def test_importing_leaves_the_slow_libraries_alone(statement: str) -> None:
    check = f"import sys; {statement}; print([m for m in ('scipy.stats', 'pandas', 'altair') if m in sys.modules])"
    answer = subprocess.run([sys.executable, "-c", check], capture_output=True, text=True, check=True)
    assert answer.stdout.strip() == "[]"


def test_importing_the_package_needs_no_numeric_library() -> None:
    check = "import sys, forecast; print([m for m in ('numpy', 'scipy', 'pydantic') if m in sys.modules])"
    answer = subprocess.run([sys.executable, "-c", check], capture_output=True, text=True, check=True)
    assert answer.stdout.strip() == "[]"


def test_a_demos_figures_need_no_library_of_special_functions() -> None:
    """Loading it takes several times as long as simulating the build."""
    check = (
        "import sys; from forecast import read_build, simulate; simulate(read_build(sys.argv[1])).percentile(0.8); "
        "print([m for m in ('scipy', 'pandas', 'altair') if m in sys.modules])"
    )
    answer = subprocess.run([sys.executable, "-c", check, DEMO], capture_output=True, text=True, check=True)
    assert answer.stdout.strip() == "[]"
