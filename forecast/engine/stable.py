"""Stop when stable: more blocks of trials until the figures no longer move by more than a tolerance.

JCGM 101:2008, clause 7.9.4, steps a to l. Two things it is easy to get wrong: only values of the pooled trials
may be reported (averages of block intervals are biased inwards), and the rule may pass by luck at two
blocks, so that at least LEAST_BLOCKS are drawn here.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from forecast.engine.statistics import percentiles
from forecast.engine.trials import Trials
from forecast.figures.shapes import Array

LEAST_BLOCKS = 4
COVERAGE = 0.8
"""Coverage of the interval whose ends must be stable: P10 to P90."""


@dataclass(frozen=True)
class Stability:
    """How an adaptive run ended.

    Attributes
    ----------
    blocks : int
        h.
    errors : tuple of float
        Twice the standard error of mean, standard deviation, lower and upper end.
    tolerance : float
    stable : bool
        Whether all of them are within the tolerance.
    """

    blocks: int
    errors: tuple[float, float, float, float]
    tolerance: float
    stable: bool


def numerical_tolerance(value: float, digits: int) -> float:
    """Give δ = ½·10^l for a value written as c × 10^l with that many significant digits (clause 7.9.2)."""
    exponent = math.floor(math.log10(abs(value)) + 1e-12)
    return 0.5 * 10.0 ** (exponent - digits + 1)


def block_size(coverage: float = COVERAGE) -> int:
    """Give M = max(J, 10⁴), J the smallest whole number of at least 100 / (1 − p) (step b)."""
    return max(math.ceil(100 / (1 - coverage) - 1e-9), 10_000)


def until_stable(
    block: Callable[[int], Trials], tolerance: float, largest: int = 2_000_000
) -> tuple[Trials, Stability]:
    """Draw blocks until twice the standard error of all four results is within the tolerance.

    Parameters
    ----------
    block : callable
        Gives the trials of block number h (from 0), each block independent of the others.
    tolerance : float
        δ, in money.
    largest : int
        Trials after which to give up; the result then says that it is not stable.

    Returns
    -------
    trials : Trials
        All blocks pooled.
    stability : Stability
    """
    blocks: list[Trials] = []
    results: list[Array] = []
    while True:
        blocks.append(block(len(blocks)))
        results.append(_four_results(blocks[-1]))
        count = len(blocks)
        if count < LEAST_BLOCKS:
            continue
        errors = 2 * np.std(results, axis=0, ddof=1) / math.sqrt(count)
        stable = bool(np.all(errors <= tolerance))
        if stable or sum(part.count for part in blocks) >= largest:
            mean, sd, low, high = (float(error) for error in errors)
            return pool(blocks), Stability(count, (mean, sd, low, high), tolerance, stable)


def _four_results(trials: Trials) -> Array:
    ends = percentiles(trials.totals, ((1 - COVERAGE) / 2, (1 + COVERAGE) / 2), trials.weights)
    mean = np.average(trials.totals, weights=trials.weights)
    variance = np.average((trials.totals - mean) ** 2, weights=trials.weights)
    return np.array([mean, np.sqrt(variance), *ends])


def pool(blocks: list[Trials]) -> Trials:
    """Put blocks of the same plan together."""
    first = blocks[0]
    moments = first.moments
    for block in blocks[1:]:
        moments = moments + block.moments
    weights = [block.weights for block in blocks if block.weights is not None]  # all of one plan, or none
    rows = [block.rows for block in blocks if block.rows is not None]
    return replace(
        first,
        numbers=tuple(number for block in blocks for number in block.numbers),
        totals=np.concatenate([block.totals for block in blocks]),
        hours=np.concatenate([block.hours for block in blocks]),
        waits=np.concatenate([block.waits for block in blocks]),
        rows=np.concatenate(rows, axis=1) if len(rows) == len(blocks) else None,
        gates=np.concatenate([block.gates for block in blocks], axis=1),
        weights=np.concatenate(weights) if weights else None,
        moments=moments,
        remarks=tuple(dict.fromkeys(remark for block in blocks for remark in block.remarks)),
    )
