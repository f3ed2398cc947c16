"""The forecast: percentiles with their error, and more trials until they are stable. Everything above only reads it.

JCGM 101:2008, clause 7.9.4, steps a to l. Two things it is easy to get wrong: only values of the pooled trials
may be reported (averages of block intervals are biased inwards), and the rule may pass by luck at two
blocks, so that at least LEAST_BLOCKS are drawn here.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal

import numpy as np

from forecast.buildfile.schema import Build
from forecast.engine.known import KnownFacts
from forecast.engine.plan import Plan, compile_plan
from forecast.engine.replicate import Keep
from forecast.engine.sensitivity import row_means, shares_near, tail_shares, variance_shares
from forecast.engine.statistics import (
    Estimate,
    expected_shortfall,
    mean_estimate,
    order_statistic_interval,
    percentile_estimates,
    percentiles,
    share_within,
)
from forecast.engine.trials import Trials, run
from forecast.errors import SimulationError
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


DEFAULT_TRIALS = 16_384
DEFAULT_SEED = 1

_ROW_MEMORY = 512 * 2**20  # bytes of rows kept without being asked


@dataclass(frozen=True)
class LineSummary:
    """One line or event in the forecast.

    Attributes
    ----------
    id, title, group, kind : str
        As in the plan; kind is "line" or "event".
    base : float
        What it adds to the base estimate.
    mean : float
    p10, p50, p90 : float or None
        None where rows were not kept.
    variance_share : float
        Share of the total's variance; all of them add up to 1.
    """

    id: str
    title: str
    group: str
    kind: str
    package: str | None
    base: float
    mean: float
    p10: float | None
    p50: float | None
    p90: float | None
    variance_share: float


@dataclass(frozen=True)
class Forecast:
    """What a build may cost.

    Attributes
    ----------
    trials : Trials
    base_rows : ndarray, shape (rows,)
        The base estimate by row: middle figures, no events, no lines that may not be needed; what is known of them.
    outside : float
        Money spent on what is none of the lines; it is in the totals and in the base estimate.
    stability : Stability or None
        How the run ended, where it was asked to go on until stable.
    """

    trials: Trials
    base_rows: Array
    stability: Stability | None = None
    outside: float = 0.0

    @property
    def plan(self) -> Plan:
        """What was simulated."""
        return self.trials.plan

    @property
    def currency(self) -> str:
        """ISO 4217 code of all money in it."""
        return self.plan.currency

    @property
    def remarks(self) -> tuple[str, ...]:
        """What a reader should know about the facts and the trials."""
        return self.trials.remarks

    @cached_property
    def base_estimate(self) -> float:
        """Sum of the middle figures: no events, no lines that may not be needed."""
        return float(sum(self.base_rows[place] for place in self.plan.money_rows)) + self.outside

    @cached_property
    def mean(self) -> Estimate:
        """Mean total."""
        return mean_estimate(self.trials.totals, self.trials.replicates, self.trials.weights)

    @cached_property
    def standard_deviation(self) -> float:
        """Standard deviation of the total."""
        totals, weights = self.trials.totals, self.trials.weights
        return float(np.sqrt(np.average((totals - self.mean.value) ** 2, weights=weights)))

    def percentile(self, q: float) -> Estimate:
        """Give the total that a share q of builds does not exceed; q = 0.8 for P80.

        Raises
        ------
        SimulationError
            When q is not from 0 to 1.
        """
        return self.percentile_set((q,))[0]

    def percentile_set(self, shares: Sequence[float]) -> list[Estimate]:
        """Give several percentiles of the total at once."""
        key = tuple(shares)
        if key not in self._percentiles:  # a page names the same few many times
            self._percentiles[key] = tuple(
                percentile_estimates(self.trials.totals, key, self.trials.replicates, self.trials.weights)
            )
        return list(self._percentiles[key])

    @cached_property
    def _percentiles(self) -> dict[tuple[float, ...], tuple[Estimate, ...]]:
        return {}

    def interval(self, q: float, confidence: float = 0.95) -> tuple[float, float]:
        """Give the order-statistic confidence interval of a percentile.

        Raises
        ------
        SimulationError
            When trials carry weights: ranks then mean nothing.
        """
        if self.trials.weights is not None:
            message = "order statistics need trials that count alike; use the error of percentile() instead."
            raise SimulationError(message)
        return order_statistic_interval(self.trials.totals, q, confidence)

    def chance_within(self, amount: float) -> Estimate:
        """Give the chance that an amount is enough."""
        return share_within(self.trials.totals, amount, self.trials.replicates, self.trials.weights)

    def contingency(self, q: float) -> Estimate:
        """Give the chosen percentile less the base estimate."""
        chosen = self.percentile(q)
        return Estimate(chosen.value - self.base_estimate, chosen.error)

    def expected_shortfall(self, q: float) -> float:
        """Give the mean total of the worst 1 − q of builds."""
        return expected_shortfall(self.trials.totals, q, self.trials.weights)

    def held_by_line(self, q: float) -> dict[str, float]:
        """Give what a percentile of the total holds for each line and event: they add up to it, less what is outside.

        Returns
        -------
        dict of str to float
            Money by id, in the order of the plan (`shares_near`).
        """
        ids = [self.plan.rows[place].id for place in self.plan.money_rows]
        rows = np.stack([self.trials.row(name) for name in ids])
        total = self.percentile(q).value - self.outside
        near = shares_near(rows, self.trials.totals, q, total, self.trials.weights)
        return {name: float(value) for name, value in zip(ids, near, strict=True)}

    def hours(self, shares: Sequence[float]) -> list[Estimate]:
        """Give percentiles of own hours."""
        return percentile_estimates(self.trials.hours, shares, self.trials.replicates, self.trials.weights)

    def weeks(self, shares: Sequence[float]) -> list[Estimate] | None:
        """Give percentiles of the weeks that the work takes: own hours one after another, then waiting for shops.

        Returns
        -------
        list of Estimate, or None
            None where the build does not say how many hours a week has room for.
        """
        weeks = self.trials.weeks
        if weeks is None:
            return None
        return percentile_estimates(weeks, shares, self.trials.replicates, self.trials.weights)

    @cached_property
    def lines(self) -> tuple[LineSummary, ...]:
        """Lines and events in the order of the plan."""
        means = row_means(self.trials)
        shares = variance_shares(self.trials.moments)
        found = []
        for place in self.plan.money_rows:
            row = self.plan.rows[place]
            p10: float | None = None
            p50: float | None = None
            p90: float | None = None
            if self.trials.rows is not None:
                p10, p50, p90 = percentiles(self.trials.rows[place], (0.1, 0.5, 0.9), self.trials.weights)
            found.append(
                LineSummary(
                    row.id, row.title, row.group, row.kind, row.package, float(self.base_rows[place]),
                    float(means[place]), p10, p50, p90, float(shares[place]),
                )
            )  # fmt: skip
        return tuple(found)

    @cached_property
    def means(self) -> Mapping[str, float]:
        """Mean of each line and event, by id, without what else `lines` works out."""
        means = row_means(self.trials)
        return {self.plan.rows[place].id: float(means[place]) for place in self.plan.money_rows}

    def tail_means(self, q: float) -> dict[str, float]:
        """Give each line's mean in the worst 1 − q of builds; with ``outside`` they are the expected shortfall."""
        rows = self._kept_rows()
        shares = tail_shares(rows, self.trials.totals, q, self.trials.weights)
        return {self.plan.rows[place].id: float(shares[place]) for place in self.plan.money_rows}

    def _kept_rows(self) -> Array:
        if self.trials.rows is None:
            message = 'rows were not kept: run the simulation with keep="rows".'
            raise SimulationError(message)
        return self.trials.rows


def simulate(
    build: Build,
    scenario: str | None = None,
    trials: int | Literal["until stable"] = DEFAULT_TRIALS,
    seed: int = DEFAULT_SEED,
    *,
    tolerance: float | None = None,
    known: KnownFacts | None = None,
    keep: Keep | None = None,
    executor: Executor | None = None,
    like: Forecast | None = None,
) -> Forecast:
    """Forecast what a build costs.

    Parameters
    ----------
    build : Build
    scenario : str, optional
        Its id; the first of the file when left out.
    trials : int or "until stable"
        How many builds to simulate, or to go on until mean, spread, P10 and P90 are stable within the tolerance.
    seed : int
        The same seed gives the same figures.
    tolerance : float, optional
        With "until stable": money within which twice the standard error of each result must lie; half a percent of
        the base estimate when left out.
    known : KnownFacts, optional
        What is known by now.
    keep : {"rows", "totals"}, optional
        Whether every line's trials are kept; when left out, if they fit half a gigabyte.
    executor : concurrent.futures.Executor, optional
        Runs replicates side by side; figures do not depend on it.
    like : Forecast, optional
        Of a build that differs little, such as before an edit, with its lines kept: what is the same in both is taken
        from it. The figures are the same, and there sooner.

    Returns
    -------
    Forecast

    Raises
    ------
    SimulationError
        When something asked for cannot be simulated.
    """
    return forecast_plan(
        compile_plan(build, scenario), trials, seed,
        tolerance=tolerance, known=known, keep=keep, executor=executor, like=like,
    )  # fmt: skip


def forecast_plan(
    plan: Plan,
    trials: int | Literal["until stable"] = DEFAULT_TRIALS,
    seed: int = DEFAULT_SEED,
    *,
    tolerance: float | None = None,
    known: KnownFacts | None = None,
    keep: Keep | None = None,
    executor: Executor | None = None,
    wider: float = 1.0,
    like: Forecast | None = None,
) -> Forecast:
    """Forecast from a compiled plan; see `simulate`. Own ranges may count `wider` than stated."""
    plain = plan.at_middle()
    base = np.array(list(plain.values()))
    stability: Stability | None = None
    if trials == "until stable":
        money = float(base[list(plan.money_rows)].sum())
        allowed = tolerance if tolerance is not None else max(money, 1.0) / 200
        if not allowed > 0:
            message = f"tolerance: got {allowed:g}, must be above zero, in {plan.currency}."
            raise SimulationError(message)
        size = block_size()

        def block(number: int) -> Trials:
            return run(
                plan, size, seed, known=known, keep=keep or "totals", executor=executor,
                first_replicate=number * 1_000, wider=wider,
            )  # fmt: skip

        simulated, stability = until_stable(block, allowed)
    elif isinstance(trials, int):
        fits = len(plan.rows) * trials * 8 <= _ROW_MEMORY
        chosen: Keep = keep or ("rows" if fits else "totals")
        simulated = run(
            plan, trials, seed, known=known, keep=chosen, executor=executor, wider=wider,
            like=None if like is None else like.trials,
        )  # fmt: skip
    else:
        message = f'trials: got {trials!r}, must be a whole number or "until stable".'
        raise SimulationError(message)
    if simulated.conditions is not None and known is not None:
        # Own hours and weeks stay at their middle figures, whatever is known of them.
        base = np.array(list((plain | plan.base_estimate(known, simulated.conditions)).values()))
    return Forecast(simulated, base, stability)
