"""The same plan evaluated in other ways, to compare with: SciPy's quantile functions, OpenTURNS, plain Monte Carlo."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from scipy.special import ndtr, ndtri

from forecast.engine.replicate import World, evaluate_rows, happens, sample
from forecast.engine.rows import Plan
from forecast.figures.evaluate import Value
from forecast.figures.shapes import Array, Flat, Pert, Shape, Triangle, TwoPieceLognormal

Model = Callable[[int, Sequence[float]], list[float]]


def _scipy_ppf(shape: Shape) -> Any:
    from scipy import stats

    match shape:
        case Triangle(least, mode, most):
            return stats.triang((mode - least) / (most - least), least, most - least).ppf
        case Pert(least, mode, most):
            return stats.beta(*shape.exponents, least, most - least).ppf
        case Flat(least, most):
            return stats.uniform(least, most - least).ppf
        case TwoPieceLognormal(median, sigma, other) if sigma == other:
            return stats.lognorm(sigma, scale=median).ppf
        case _:
            return lambda probabilities: shape.ppf(ndtri(probabilities))


def _totals(plan: Plan, values: dict[str, Value], causes: Array, generator: np.random.Generator) -> Array:
    """Draw the gates, and add up rows: the arithmetic is the plan's own in every rival."""
    trials = causes.shape[1]
    gates = np.empty((len(plan.gates), trials), dtype=np.bool_)
    for place, gate in enumerate(plan.gates):
        gates[place] = happens(gate, generator.standard_normal(trials), causes)
    rows = np.empty((len(plan.rows), trials))
    totals = np.zeros(trials)
    world = World(plan, None, lambda _: np.zeros(trials), trials)
    evaluate_rows(world, values, gates, rows, (totals, np.zeros(trials), np.zeros(trials)))
    return totals


def scipy_model(plan: Plan) -> Model:
    """Write the plan out with SciPy's quantile functions."""
    functions = {item.id: _scipy_ppf(item.shape) for item in plan.inputs}

    def simulate(trials: int, shares: Sequence[float]) -> list[float]:
        generator = np.random.default_rng(1)
        causes = generator.standard_normal((len(plan.causes), trials))
        values: dict[str, Value] = {}
        for item in plan.inputs:
            loadings = np.asarray(item.loadings)
            own = generator.standard_normal(trials) * np.sqrt(1 - loadings @ loadings)
            values[item.id] = functions[item.id](ndtr(loadings @ causes + own))
        return [float(found) for found in np.quantile(_totals(plan, values, causes, generator), shares)]

    return simulate


def openturns_model(plan: Plan) -> Model:
    """Write the plan out for OpenTURNS: the same marginals, and the normal copula of figures and events.

    Its sample holds figures and the scores of events; rows are added up as everywhere else.
    """
    import openturns as ot

    marginals: list[Any] = []
    for item in plan.inputs:
        match item.shape:
            case Triangle(least, mode, most):
                marginals.append(ot.Triangular(least, mode, most))
            case Pert(least, _, most):
                marginals.append(ot.Beta(*item.shape.exponents, least, most))
            case Flat(least, most):
                marginals.append(ot.Uniform(least, most))
            case TwoPieceLognormal(median, sigma):  # equal on both sides but for the events' own costs
                marginals.append(ot.LogNormal(float(np.log(median)), sigma, 0.0))
            case _:
                points = item.shape.ppf(ndtri((np.arange(2000) + 0.5) / 2000))
                marginals.append(
                    ot.LogNormal(float(np.mean(np.log(points))), float(np.std(np.log(points))), 0.0)
                )
    marginals += [ot.Normal() for _ in plan.gates]
    loadings = np.array([item.loadings for item in (*plan.inputs, *plan.gates)])
    matrix = loadings @ loadings.T
    np.fill_diagonal(matrix, 1.0)
    joint = ot.JointDistribution(marginals, ot.NormalCopula(ot.CorrelationMatrix(matrix.tolist())))

    def simulate(trials: int, shares: Sequence[float]) -> list[float]:
        ot.RandomGenerator.SetSeed(1)
        drawn = np.asarray(joint.getSample(trials)).T
        values: dict[str, Value] = {item.id: drawn[place] for place, item in enumerate(plan.inputs)}
        gates = np.array(
            [drawn[len(plan.inputs) + place] < ndtri(gate.chance) for place, gate in enumerate(plan.gates)]
        ).reshape(len(plan.gates), trials)
        rows = np.empty((len(plan.rows), trials))
        totals = np.zeros(trials)
        world = World(plan, None, lambda _: np.zeros(trials), trials)
        evaluate_rows(world, values, gates, rows, (totals, np.zeros(trials), np.zeros(trials)))
        sample_of_totals = ot.Sample(totals[:, None])
        return [float(sample_of_totals.computeQuantilePerComponent(share)[0]) for share in shares]

    return simulate


def plain_totals(plan: Plan, trials: int, seed: int) -> Array:
    """Give totals by plain Monte Carlo: every score an independent normal."""
    generator = np.random.default_rng([seed, 77])
    causes = generator.standard_normal((len(plan.causes), trials))
    values: dict[str, Value] = {
        item.id: sample(item, generator.standard_normal(trials), causes) for item in plan.inputs
    }
    return _totals(plan, values, causes, generator)
