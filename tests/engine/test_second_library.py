"""A demo build's inputs in OpenTURNS: another general-purpose library must give the same percentiles."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import openturns as ot
import pytest

from forecast import read_build
from forecast.engine.forecast import forecast_plan
from forecast.engine.plan import compile_plan
from forecast.engine.rows import PlanInput
from forecast.figures.evaluate import Value, evaluate
from forecast.figures.shapes import Exact, Flat, Gaussian, Pert, Shape, Steps, Triangle, TwoPieceLognormal

DEMO = Path(__file__).parents[2] / "scenarios" / "before-ordering-ireland"
COUNT = 40_000


def marginal(shape: Shape) -> ot.Distribution | None:
    """Give a shape as OpenTURNS has it; None where it has no such distribution."""
    match shape:
        case Gaussian(mean, sd):
            return ot.Normal(mean, sd)
        case TwoPieceLognormal(median, low, high) if low == high:
            return ot.LogNormal(float(np.log(median)), low)
        case Triangle(least, mode, most):
            return ot.Triangular(least, mode, most)
        case Pert(least, _, most):
            alpha, beta = shape.exponents
            return ot.Beta(alpha, beta, least, most)
        case Flat(least, most):
            return ot.Uniform(least, most)
        case Steps(values, chances):
            return ot.UserDefined([[value] for value in values], list(chances))
    return None


def correlation_of(inputs: tuple[PlanInput, ...]) -> ot.CorrelationMatrix:
    loadings = np.array([item.loadings for item in inputs])
    matrix = loadings @ loadings.T
    np.fill_diagonal(matrix, 1.0)
    return ot.CorrelationMatrix(matrix.tolist())


@pytest.mark.parametrize("scenario", ["diy", "outsourced"])
def test_percentiles_agree_with_openturns(scenario: str) -> None:
    plan = compile_plan(read_build(DEMO), scenario)
    ours = forecast_plan(plan, trials=131_072, seed=21)
    ot.RandomGenerator.SetSeed(20261125)
    scores = np.array(ot.NormalCopula(correlation_of(plan.inputs)).getSample(COUNT))
    inputs: dict[str, Value] = {}
    own_shapes = 0
    for place, item in enumerate(plan.inputs):
        distribution = marginal(item.shape)
        shares = scores[:, place]
        if distribution is None:  # three percentiles: its quantile function is ours, its dependence theirs
            assert not isinstance(item.shape, Exact)
            own_shapes += 1
            normal = np.array(ot.Normal().computeQuantile(shares.tolist())).ravel()
            inputs[item.id] = item.shape.ppf(normal)
        else:
            inputs[item.id] = np.array(distribution.computeQuantile(shares.tolist())).ravel()
    assert own_shapes < len(plan.inputs)
    gates = {gate.id: np.array(ot.Bernoulli(gate.chance).getSample(COUNT)).ravel() for gate in plan.gates}
    lines: dict[str, Value] = {}
    totals = np.zeros(COUNT)
    for row in plan.rows:
        value = evaluate(row.formula, inputs, lines) * (1.0 if row.gate is None else gates[row.gate])
        lines[row.id] = value
        if row.is_money:
            totals += value
    for q in (0.1, 0.5, 0.8, 0.9):
        estimate = ours.percentile(q)
        theirs = float(np.quantile(totals, q))
        near = np.quantile(totals, [q - 0.01, q + 0.01])
        error = np.sqrt(q * (1 - q) / COUNT) * float(near[1] - near[0]) / 0.02
        assert abs(estimate.value - theirs) < 4 * np.hypot(error, estimate.error), q
