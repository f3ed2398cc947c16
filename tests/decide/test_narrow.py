"""What to hold if ranges are as narrow as most people's: derived factors, closed form, and what such ranges hold."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest
from scipy.special import ndtri

from forecast.buildfile.reader import parse_build
from forecast.buildfile.schema import Build
from forecast.decide.contingency import USUALLY_HELD, if_narrow, widening
from forecast.engine.forecast import forecast_plan, simulate
from forecast.engine.known import KnownFacts, PartPaid
from forecast.engine.plan import compile_plan
from forecast.views.sentences import narrow_line
from forecast.watching.known_facts import with_outside
from forecast.words.money import estimated

HEAD = '[build]\nname = "Guessed"\ncurrency = "EUR"\ncountry = "IE"\nestimating_size = 0\nestimating = {}\n'
LINE = '[[line]]\nid = "n{}"\ngroup = "other"\namount = {{ shape = "normal", mean = {}, sd = {} }}\n'
NORMALS = [(1000.0, 120.0), (2000.0, 90.0), (1500.0, 160.0)]


def guessed_text(correlation: float) -> str:
    lines = (LINE.format(place, mean, sd) for place, (mean, sd) in enumerate(NORMALS))
    return HEAD.format(correlation) + "".join(lines)


def guessed(correlation: float) -> Build:
    return parse_build(guessed_text(correlation))


@pytest.mark.parametrize(("held", "factor"), [(0.7, 1.2365), (0.6, 1.5227), (0.5, 1.9000), (0.4, 2.4438)])
def test_factors_on_normal_scores(held: float, factor: float) -> None:
    """Derived: a range of ±z/k standard deviations holds erf(z / (k √2)), with z = 1.2816 for 80 %."""
    assert widening(held) == pytest.approx(factor, abs=5e-5)
    z90 = 1.2815515655446004  # tables of the normal distribution, P90
    assert math.erf(z90 / (widening(held) * math.sqrt(2))) == pytest.approx(held, abs=1e-12)
    assert widening(0.8) == pytest.approx(1)


@pytest.mark.parametrize(("held", "stated"), [(0, 0.8), (1, 0.8), (0.6, 0), (0.6, 1), (-0.5, 0.8)])
def test_shares_must_lie_between_nothing_and_all(held: float, stated: float) -> None:
    with pytest.raises(ValueError, match="must be between 0 and 1"):
        widening(held, stated)


def test_ranges_narrowed_by_the_factor_hold_so_many_and_widened_again_eight_of_ten() -> None:
    """Truths are drawn apart from the product; the builder states ranges that are too narrow by the factor."""
    spread, count = 0.5, 100_000
    truths = 1000 * np.exp(spread * np.random.default_rng(20).standard_normal(count))
    build = parse_build(
        HEAD.format(0)
        + '[[line]]\nid = "a"\ngroup = "other"\n'
        + f'amount = {{ shape = "lognormal", median = 1000, sigma = {spread / widening(USUALLY_HELD)!r} }}\n'
    )
    plan = compile_plan(build)
    as_stated = forecast_plan(plan, 65_536)
    wide = forecast_plan(plan, 65_536, wider=widening(USUALLY_HELD))
    for found, share in ((as_stated, 0.6), (wide, 0.8)):
        low, high = (one.value for one in found.percentile_set((0.1, 0.9)))
        inside = float(np.mean((truths >= low) & (truths <= high)))
        # four standard errors of a share of so many draws, and as much for the simulated ends
        assert inside == pytest.approx(share, abs=8 * math.sqrt(share * (1 - share) / count))


@pytest.mark.parametrize("correlation", [0.0, 0.25])
@pytest.mark.parametrize("level", [0.5, 0.8, 0.95])
@pytest.mark.parametrize("held", [0.6, 0.5])
def test_closed_form_of_normals(correlation: float, level: float, held: float) -> None:
    forecast = simulate(guessed(correlation), trials=65_536)
    sds = [sd for _, sd in NORMALS]
    variance = (1 - correlation) * sum(sd**2 for sd in sds) + correlation * sum(sds) ** 2
    expected = sum(mean for mean, _ in NORMALS) + ndtri(level) * widening(held) * math.sqrt(variance)
    found = if_narrow(forecast, level, held=held)
    assert found.value == pytest.approx(expected, abs=max(5 * found.error, 1.0))


def test_only_guesses_count_wider() -> None:
    """What is no guess of the builder's stays as it is: one price known, one said to be no estimate."""
    text = HEAD.format(0) + LINE.format(0, 1000.0, 120.0).replace(
        "sd = 120.0", "sd = 120.0, estimated = false"
    )
    forecast = simulate(parse_build(text + '[[line]]\nid = "k"\ngroup = "kit"\namount = 500\n'), trials=4096)
    assert if_narrow(forecast).value == forecast.percentile(0.8).value


@pytest.mark.parametrize("paid", [False, True])
def test_starter_ranges_count_as_they_are(paid: bool) -> None:
    """Nobody made them their own: they are as wide as such figures usually are, and do not widen with the builder's."""
    text = guessed_text(0).replace("sd = 120.0", "sd = 120.0, starter = true")
    known = KnownFacts(part_paid={"n0": PartPaid(1.0, 0.0)} if paid else {})
    forecast = simulate(parse_build(text), trials=65_536, known=known)
    variance = 120**2 + widening(USUALLY_HELD) ** 2 * (90**2 + 160**2)
    found = if_narrow(forecast, known=known)
    assert found.value == pytest.approx(
        4500 + ndtri(0.8) * math.sqrt(variance), abs=max(5 * found.error, 1.0)
    )


def test_of_starter_ranges_alone_nothing_is_said() -> None:
    text = guessed_text(0)
    assert narrow_line(simulate(parse_build(text), trials=4096)) is not None
    starters = re.sub(r"sd = ([0-9.]+)", r"sd = \1, starter = true", text)
    assert narrow_line(simulate(parse_build(starters), trials=4096)) is None


@pytest.mark.parametrize(
    ("starters", "said"),
    [
        (0, "If your ranges are as narrow as most people's, hold {}."),
        (
            1,
            "If the 2 ranges of your own are as narrow as most people's, hold {}. The other one is a starting",
        ),
        (
            2,
            "If the one range of your own is as narrow as most people's, hold {}. The other 2 are starting",
        ),
    ],
)
def test_only_the_builders_own_ranges_are_said_to_be_narrow(starters: int, said: str) -> None:
    text = guessed_text(0)
    if starters:  # a count of nothing would be all of them
        text = re.sub(r"sd = ([0-9.]+)", r"sd = \1, starter = true", text, count=starters)
    forecast = simulate(parse_build(text), trials=4096)
    told = narrow_line(forecast)
    assert told is not None
    assert told.text.startswith(said.format(estimated(told.hold, "EUR")))


def test_what_is_known_and_what_was_spent_elsewhere_do_not_widen() -> None:
    known = KnownFacts(fixed={"n0": 1100.0, "n2": 1400.0})
    forecast = with_outside(simulate(guessed(0), trials=65_536, known=known, keep="rows"), 250.0)
    expected = 1100 + 1400 + 250 + 2000 + ndtri(0.8) * widening(USUALLY_HELD) * 90
    found = if_narrow(forecast, known=known)
    assert found.value == pytest.approx(expected, abs=max(5 * found.error, 1.0))
