"""Swings and variance shares against closed forms of normals."""

from __future__ import annotations

import math

import pytest
from scipy.special import ndtri

from forecast.decide.sensitivity import drivers
from forecast.engine.forecast import simulate
from tests.decide.sample import euros, small
from tests.references.portfolios import normals
from tests.references.trade_facts import (
    CORRELATED_VARIANCE_SHARES,
    FOUR_SPREADS,
    INDEPENDENT_VARIANCE_SHARES,
    NORMALS,
)


@pytest.mark.parametrize(
    ("figures", "correlation", "expected"),
    [
        (FOUR_SPREADS[0], 0.0, FOUR_SPREADS[1]),
        (NORMALS, 0.0, INDEPENDENT_VARIANCE_SHARES),
        (NORMALS, 0.3, CORRELATED_VARIANCE_SHARES),
    ],
)
def test_variance_shares_of_normals(
    figures: list[tuple[float, float]], correlation: float, expected: tuple[float, ...]
) -> None:
    found = drivers(simulate(normals(figures, correlation), trials=65_536, seed=11))
    by_id = {item.id: item.share for item in found.lines}
    for place, share in enumerate(expected):
        estimate = by_id[f"n{place}"]
        assert estimate.value == pytest.approx(share, abs=4 * estimate.error)
    if correlation:
        cause = next(item.share for item in found.causes if item.id == "own_estimating")
        expected_cause = 0.3 * 120**2 / (20**2 + 40**2 + 60**2 + 0.6 * (800 + 1200 + 2400))
        assert cause.value == pytest.approx(expected_cause, abs=4 * cause.error)


def test_swing_of_a_normal_is_twice_the_mean_of_its_upper_tenth() -> None:
    found = drivers(simulate(normals(NORMALS), trials=65_536, seed=12))
    upper = math.exp(-(ndtri(0.9) ** 2) / 2) / math.sqrt(2 * math.pi) / 0.1
    assert [bar.id for bar in found.swings] == ["n2", "n1", "n0"]
    for bar, sd in zip(found.swings, (60, 40, 20), strict=True):
        assert bar.width == pytest.approx(2 * upper * sd, abs=4 * bar.error)


def test_shares_of_each_kind_add_up_to_one() -> None:
    found = drivers(simulate(small(), "diy"), names={"kit_fit": "How well the kit fits"})
    for shares in (found.lines, found.groups, found.causes):
        assert math.fsum(item.share.value for item in shares) == pytest.approx(1, abs=1e-9)
    assert "How well the kit fits" in {item.title for item in found.causes}


def test_figures_are_those_of_the_forecast() -> None:
    forecast = simulate(small(), "diy")
    found = drivers(forecast)
    swings = forecast.swings()
    assert {bar.id for bar in found.swings} == set(swings)
    for bar in found.swings:
        assert (bar.low, bar.high) == pytest.approx((swings[bar.id].low, swings[bar.id].high))
    shares = {line.id: line.variance_share for line in forecast.lines}
    for item in found.lines:
        assert item.share.value == pytest.approx(shares[item.id], abs=1e-9)


def test_a_computed_line_is_not_named_as_what_moves_the_total() -> None:
    found = drivers(simulate(small(), "diy"))
    computed = {bar.id for bar in found.swings if bar.computed}
    assert {"duty", "card_fee", "compressor.resale"} <= computed
    first = next(bar for bar in found.swings if not bar.computed)
    assert found.sentence(euros).startswith(first.title)
    assert found.lines[0].sentence().endswith("% of the uncertainty.")
    assert "in its lowest tenth" in first.sentence(euros)


def test_nothing_uncertain() -> None:
    forecast = simulate(normals([(100.0, 1.0)]), trials=1024)
    fixed = drivers(simulate(small_fixed(), trials=1024))
    assert drivers(forecast).swings
    assert fixed.swings == ()
    assert fixed.sentence(euros) == "Nothing in this build is uncertain."
    assert all(item.share.value == 0 for item in fixed.lines)


def small_fixed():  # type: ignore[no-untyped-def]
    from forecast.build.buildfile import parse_build

    return parse_build(
        '[build]\nname = "Fixed"\ncurrency = "EUR"\ncountry = "IE"\n[[line]]\nid = "a"\ngroup = "kit"\namount = 5\n'
    )
