"""Weeks: own hours at what a week has room for, and then the waiting that the build file states."""

from __future__ import annotations

import math
import re
from itertools import product

import numpy as np
import pytest
from scipy.special import ndtri

from forecast.buildfile.reader import parse_build
from forecast.buildfile.schema import Build, Scenario
from forecast.decide.mix import Mix, MixSearch, mix
from forecast.decide.mixer import Mixer
from forecast.decide.mixes import unbeaten
from forecast.decide.scenarios import compare
from forecast.engine.forecast import simulate
from forecast.errors import BuildFileError, SimulationError
from forecast.views.mix_words import mixes_sentence
from tests.decide.sample import SMALL, euros
from tests.decide.test_mix import one_by_one

NORMALS = """
[build]
name = "Waiting"
currency = "EUR"
country = "IE"
estimating = 0
hours_per_week = 8
[[line]]
id = "own"
group = "finish"
package = "paint"
route = "self"
amount = 100
own_hours = { shape = "normal", mean = 160, sd = 24 }
[[line]]
id = "shop"
group = "finish"
package = "paint"
route = "shop"
amount = 400
wait_weeks = { shape = "normal", mean = 9, sd = 2 }
[[line]]
id = "kit"
group = "kit"
amount = 1000
wait_weeks = { shape = "normal", mean = 6, sd = 1.5 }
[[event]]
id = "late"
chance = 0.25
wait_weeks = 4
[scenario.diy]
all = "self"
[scenario.shop]
all = "shop"
"""

WAITING = (
    SMALL
    + """
[[line]]
id = "booth"
group = "finish"
package = "paint"
route = "shop"
wait_weeks = { low = 3, middle = 5, high = 9 }
[[line]]
id = "friend_has_time"
group = "finish"
package = "paint"
route = "friend"
wait_weeks = { low = 1, middle = 6, high = 14 }
[[event]]
id = "slot_lost"
chance = 0.3
package = "paint"
route = "shop"
wait_weeks = { low = 2, middle = 3, high = 6 }
"""
)


def without_late() -> Build:
    build = parse_build(NORMALS)
    return build.model_copy(update={"event": ()})


@pytest.mark.parametrize(
    ("scenario", "mean", "variance"), [("diy", 20 + 6, 3**2 + 1.5**2), ("shop", 9 + 6, 2**2 + 1.5**2)]
)
def test_weeks_of_normals_are_their_sum(scenario: str, mean: float, variance: float) -> None:
    weeks = simulate(without_late(), scenario, 65_536).weeks((0.1, 0.5, 0.8, 0.9))
    assert weeks is not None
    for found, share in zip(weeks, (0.1, 0.5, 0.8, 0.9), strict=True):
        assert found.value == pytest.approx(mean + ndtri(share) * math.sqrt(variance), abs=4 * found.error)
        assert 0 < found.error < 0.05


def test_an_event_brings_its_weeks_as_often_as_it_happens() -> None:
    late = simulate(parse_build(NORMALS), "shop").trials
    never = simulate(without_late(), "shop").trials
    assert late.weeks is not None
    assert never.weeks is not None
    extra = late.weeks - never.weeks
    assert set(np.round(extra, 9)) == {0.0, 4.0}
    assert extra.mean() == pytest.approx(1.0, abs=4 * 4 * math.sqrt(0.25 * 0.75 / extra.size))


def test_waiting_costs_nothing_and_moves_no_draw() -> None:
    plain = parse_build(SMALL)
    waiting = parse_build(WAITING)
    for scenario in ("diy", "shop", "mixed"):
        before, after = simulate(plain, scenario).trials, simulate(waiting, scenario).trials
        np.testing.assert_array_equal(before.totals, after.totals)
        np.testing.assert_array_equal(before.hours, after.hours)
        assert not before.waits.any()
    assert simulate(waiting, "shop").trials.waits.min() > 0


def test_a_build_that_does_not_say_what_a_week_holds_has_no_weeks() -> None:
    build = parse_build(SMALL.replace("hours_per_week = 10\n", ""))
    assert simulate(build, "diy").weeks((0.5,)) is None
    assert compare(build).scenarios[0].weeks is None
    assert mix(build, trials=1024).soonest is None
    with pytest.raises(SimulationError, match=re.escape("Add hours_per_week = 10 under [build]")):
        mix(build, weeks=20, trials=1024)


def test_waiting_needs_to_know_what_a_week_holds() -> None:
    with pytest.raises(BuildFileError) as caught:
        parse_build(WAITING.replace("hours_per_week = 10\n", ""))
    assert "build, hours_per_week: missing, and there are wait_weeks" in str(caught.value)
    assert "Add hours_per_week = 10" in str(caught.value)


def test_time_has_no_currency() -> None:
    with pytest.raises(BuildFileError) as caught:
        parse_build(NORMALS.replace("sd = 2 }", 'sd = 2, currency = "EUR" }'))
    assert "wait_weeks, currency" in str(caught.value)
    assert "wait_weeks is time, not money" in str(caught.value)


def test_weeks_of_every_mix_are_those_of_a_simulation_of_its_own() -> None:
    build = parse_build(WAITING)
    for routes, totals in Mixer(build, Scenario(), 2048, 1).all():
        alone = one_by_one(build, routes)
        np.testing.assert_allclose(totals.waits, alone.trials.waits, atol=1e-9)
    for item in MixSearch(build, trials=2048).mixes:
        weeks = one_by_one(build, dict(item.routes)).weeks((0.8,))
        assert weeks is not None
        assert item.weeks == pytest.approx(weeks[0].value)


def test_no_mix_beats_those_kept_in_all_three() -> None:
    found = mix(parse_build(WAITING), trials=4096)

    def three(item: Mix) -> tuple[float, float, float]:
        assert item.weeks is not None
        return item.p80, item.hours_p80, item.weeks

    kept = {three(item) for item in found.frontier}
    brute = {
        three(item)
        for item in found.mixes
        if not any(
            all(a <= b for a, b in zip(three(other), three(item), strict=True))
            and three(other) != three(item)
            for other in found.mixes
        )
    }
    assert kept == brute
    assert found.soonest in found.frontier
    flat = [item for item in found.frontier if item.p80 == min(other.p80 for other in found.frontier)]
    assert found.cheapest in flat


def test_unbeaten_keeps_the_first_of_equals() -> None:
    """Every point of a small grid, some of them twice: held against the definition."""
    points = [*product((1.0, 2.0, 3.0), repeat=3)][::2] * 2
    mixes = sorted(
        (
            Mix({}, {}, p80, p80, p80, p80, hours, hours, weeks)
            for p80, hours, weeks in points
            if p80 + hours + weeks > 4
        ),
        key=lambda item: (item.p80, item.hours_p80, item.weeks),
    )
    kept = [(item.p80, item.hours_p80, item.weeks) for item in unbeaten(mixes)]
    every = {(item.p80, item.hours_p80, item.weeks) for item in mixes}
    brute = {
        one
        for one in every
        if not any(other != one and all(a <= b for a, b in zip(other, one, strict=True)) for other in every)  # type: ignore[operator]
    }
    assert len(kept) == len(set(kept))
    assert set(kept) == brute


def test_the_best_mix_stays_within_the_weeks_given() -> None:
    build = parse_build(WAITING)
    free = mix(build, trials=4096)
    assert free.best is not None
    assert free.best.weeks is not None
    least = min(item.weeks for item in free.mixes if item.weeks is not None)
    limit = 0.5 * (least + free.best.weeks)
    found = mix(build, weeks=limit, trials=4096)
    inside = [item for item in found.mixes if item.weeks is not None and item.weeks <= limit]
    assert found.best is not None
    assert found.best.p80 == min(item.p80 for item in inside)
    assert f"within {limit:.0f} weeks" in mixes_sentence(found, euros)
    assert f" own hours and {found.best.weeks:.0f} weeks." in mixes_sentence(found, euros)
    never = mix(build, weeks=0.1, trials=4096)
    assert never.best is None
    assert "No mix stays within 0 weeks" in mixes_sentence(never, euros)


def test_scenarios_have_their_weeks() -> None:
    diy, shop = compare(parse_build(NORMALS), trials=4096).scenarios
    assert diy.weeks is not None
    assert shop.weeks is not None
    assert diy.weeks[1].value > shop.weeks[1].value
