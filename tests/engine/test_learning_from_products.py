"""What a line of quantity × price teaches when it is paid: as much as one lognormal amount of the same spread.

A lognormal quantity times a lognormal price is lognormal. With deviations s and t of the logarithms and loadings a and
b on the shared causes, the product's deviation is σ = √(s² + t² + 2 s t (a · b)), and its score loads (s a + t b) / σ
on them. So a build in which the line is one amount with these numbers must learn the same from the same receipt; what
one amount teaches is held against the normal update in test_knowing.py.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from forecast import KnownFacts, simulate
from forecast.buildfile.reader import parse_build
from forecast.engine.forecast import Forecast

HEAD = """\
[build]
name = "x"
currency = "EUR"
country = "IE"
estimating = 0
[[cause]]
id = "fit"
[[cause]]
id = "market"
"""
OTHERS = """
[[line]]
id = "shaping"
group = "labour"
amount = { shape = "normal", mean = 1000, sd = 100, causes = { fit = 0.8 } }
[[line]]
id = "paint"
group = "finish"
amount = { shape = "normal", mean = 1000, sd = 100, causes = { market = 0.8 } }
"""
QUANTITY, PRICE = 0.45, 0.25
"""Deviations of the logarithms."""
LOADED_QUANTITY, LOADED_PRICE = np.array([0.75, 0.0]), np.array([0.3, 0.85])
"""Loadings on fit and market."""
MEDIAN = 20.0 * 60.0
SIGMA = float(np.sqrt(QUANTITY**2 + PRICE**2 + 2 * QUANTITY * PRICE * (LOADED_QUANTITY @ LOADED_PRICE)))
LOADINGS = (QUANTITY * LOADED_QUANTITY + PRICE * LOADED_PRICE) / SIGMA
JUDGED_BY = 4096
"""Prior trials in which such a line is judged."""


def figure(median: float, sigma: float, loadings: np.ndarray) -> str:
    fit, market = loadings
    causes = f"{{ fit = {fit}, market = {market} }}"
    return f'{{ shape = "lognormal", median = {median}, sigma = {sigma}, causes = {causes} }}'


FILLER = '\n[[line]]\nid = "filler"\ngroup = "consumables"\n'
PRODUCT = f"quantity = {figure(20, QUANTITY, LOADED_QUANTITY)}\nprice = {figure(60, PRICE, LOADED_PRICE)}\n"
AMOUNT = f"amount = {figure(MEDIAN, SIGMA, LOADINGS)}\n"


def paid(filler: str, amount: float) -> Forecast:
    build = parse_build(HEAD + OTHERS + FILLER + filler)
    return simulate(build, trials=16_384, seed=3, known=KnownFacts(amounts={"filler": amount}))


def test_the_product_is_the_lognormal_it_is_held_against() -> None:
    alone = [simulate(parse_build(HEAD + FILLER + text), trials=16_384) for text in (PRODUCT, AMOUNT)]
    for q in (0.1, 0.5, 0.9):
        found, same = (forecast.percentile(q) for forecast in alone)
        truth = MEDIAN * np.exp(SIGMA * stats.norm.ppf(q))
        assert abs(found.value - truth) <= 4 * found.error
        assert abs(same.value - truth) <= 4 * same.error


@pytest.mark.parametrize("score", [-1.5, 0.7, 2.0])
def test_it_moves_the_others_as_one_amount_would(score: float) -> None:
    amount = MEDIAN * float(np.exp(SIGMA * score))
    product, single = paid(PRODUCT, amount), paid(AMOUNT, amount)
    # Loadings and score come from so many prior trials: standard errors of a coefficient and of a rank.
    share = stats.norm.cdf(score)
    of_loading = np.sqrt((1 - LOADINGS @ LOADINGS) / JUDGED_BY)
    of_score = np.sqrt(share * (1 - share) / JUDGED_BY) / stats.norm.pdf(score)
    for row, place in (("shaping", 0), ("paint", 1)):
        found, truth = product.trials.row(row), single.trials.row(row)
        error = 100 * 0.8 * np.hypot(score * of_loading, LOADINGS[place] * of_score)
        moved = truth.mean() - 1000
        assert abs(moved) > 6 * error  # else nothing would be shown
        assert abs(found.mean() - truth.mean()) <= 4 * error
        assert found.std() == pytest.approx(truth.std(), rel=8 * 0.64 * LOADINGS[place] * of_loading)
    assert np.allclose(product.trials.row("filler"), amount)
