"""What receipts teach is calibrated, for each kind of line apart: short form of ``tests.benchmarks.calibration``.

Simulation-based calibration (Talts, Betancourt, Simpson, Vehtari & Gelman 2018, Validating Bayesian inference
algorithms with simulation-based calibration): ranks of the truth among the trials are uniform.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.benchmarks.calibration import BUILDERS, KINDS, calibrate, misspecified

BUILDS = 400
STATED = [kind for kind in KINDS if "more to come" not in kind]


@pytest.mark.parametrize("kind", STATED)
def test_ranks_of_the_truth_are_uniform(kind: str) -> None:
    found = calibrate(kind, BUILDS, trials=512)
    assert found.p_value > 0.01
    assert abs(found.inside - 0.8) <= 3 * np.sqrt(0.8 * 0.2 / BUILDS)
    for name in found.by:
        for mean, inside in found.quarters(name):
            assert abs(mean - 0.5) <= 4 * np.sqrt(4 / 12 / BUILDS)
            assert inside >= 0.8 - 4 * np.sqrt(4 * 0.16 / BUILDS)


def test_more_to_come_is_told_for_what_it_is_up_to_a_late_share() -> None:
    """At a share of 0.3 or 0.6 the truth lies in the middle; at 0.9 nobody can know how little is left."""
    for share in (0.3, 0.6):
        found = calibrate(f"part-paid {share}, more to come", BUILDS, trials=512)
        assert abs(found.ranks.mean() - 0.5) <= 0.06
        assert found.inside >= 0.77
    late = calibrate("part-paid 0.9, more to come", BUILDS, trials=512)
    assert 0.2 < late.ranks.mean() < 0.5  # on the safe side: the forecast is rather too high


LEAST = {
    "right": 0.70,
    "twice as wide": 0.62,
    "a fifth dearer": 0.66,
    "both": 0.58,
    "one in ten twice its price": 0.58,
}
"""Least share held from P10 to P90 with a quarter to three quarters of thirty lines closed: what was tried with such a
scale (.71 to .78 for ranges that should be twice as wide, .41 to .49 without it), less three standard errors."""


@pytest.mark.parametrize("builder", BUILDERS)
def test_builders_who_are_wrong_are_told_the_real_doubt(builder: str) -> None:
    before = misspecified(builder, 0.0, 200, trials=512)
    for share in (0.25, 0.5, 0.75):
        held = misspecified(builder, share, 200, trials=512)
        assert held >= LEAST[builder]
        assert builder == "right" or held > before
