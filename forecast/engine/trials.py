"""Trials: the plan evaluated over draws, replicate by replicate, in blocks that fit the cache."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from forecast.engine.alike import Alike, alike
from forecast.engine.draws import GROUP, REPLICATES, replicate_sizes
from forecast.engine.facts import prepare
from forecast.engine.known import Conditions, KnownFacts
from forecast.engine.plan import Plan
from forecast.engine.replicate import Keep, Moments, Replicates, simulate_replicates
from forecast.errors import SimulationError
from forecast.figures.shapes import Array

LEAST_EFFECTIVE = 1000
"""Effective sample size under which more replicates are drawn."""


@dataclass(frozen=True)
class Trials:
    """Simulated builds.

    Letters: N trials = R replicates of n each, in replicate order.

    Attributes
    ----------
    plan : Plan
    seed : int
    numbers : tuple of R ints
        Numbers of the replicates, in the order of the trials.
    totals : ndarray, shape (N,)
        Money, in the build's currency.
    hours : ndarray, shape (N,)
        Own hours.
    waits : ndarray, shape (N,)
        Weeks of waiting, as for a shop.
    rows : ndarray of shape (rows, N), or None
        Every row of the plan, where it was kept.
    gates : ndarray of bool, shape (gates, N)
        What happened.
    weights : ndarray of shape (N,), or None
        Relative weights, where something happened that shares causes with open figures; None means all alike.
    reference : ndarray, shape (rows,)
        Values near each row's mean, fixed by the plan, that moments are taken around.
    moments : Moments
    remarks : tuple of str
        Facts outside their stated range, and an effective sample size too small.
    conditions : Conditions or None
        What is known by now, as it was drawn under.
    """

    plan: Plan
    seed: int
    numbers: tuple[int, ...]
    totals: Array
    hours: Array
    waits: Array
    rows: Array | None
    gates: NDArray[np.bool_]
    weights: Array | None
    reference: Array
    moments: Moments
    remarks: tuple[str, ...] = ()
    conditions: Conditions | None = None

    @property
    def replicates(self) -> int:
        """R."""
        return len(self.numbers)

    @property
    def count(self) -> int:
        """N."""
        return int(self.totals.size)

    @property
    def weeks(self) -> Array | None:
        """Weeks that the work takes, own hours, then waiting; None where the build does not say what a week holds."""
        week = self.plan.hours_per_week
        return None if week is None else self.hours / week + self.waits

    @property
    def effective(self) -> float:
        """Effective sample size: (Σ w)² / Σ w² (Kish 1965)."""
        if self.weights is None:
            return float(self.count)
        return float(self.weights.sum() ** 2 / np.sum(self.weights**2))

    def row(self, row_id: str) -> Array:
        """Give one row's amounts, shape (N,).

        Raises
        ------
        SimulationError
            When rows were not kept or there is none of that id.
        """
        if self.rows is None:
            message = 'rows were not kept: run the simulation with keep="rows".'
            raise SimulationError(message)
        for place, row in enumerate(self.plan.rows):
            if row.id == row_id:
                amounts: Array = self.rows[place]
                return amounts
        message = f"there is no line or event {row_id!r} in this scenario."
        raise SimulationError(message)


def run(
    plan: Plan,
    trials: int = 16_384,
    seed: int = 1,
    *,
    known: KnownFacts | None = None,
    keep: Keep = "rows",
    executor: Executor | None = None,
    first_replicate: int = 0,
    wider: float = 1.0,
    like: Trials | None = None,
) -> Trials:
    """Simulate a plan.

    Parameters
    ----------
    plan : Plan
    trials : int
        At least so many: rounded up to from 16 to 32 replicates of 2^m each.
    seed : int
        Any whole number; the same seed gives the same trials.
    known : KnownFacts, optional
        What is known by now.
    keep : {"rows", "totals"}
        Whether every row is kept, or totals, hours, waits and moments only.
    executor : concurrent.futures.Executor, optional
        Runs replicates side by side. Results do not depend on it.
    first_replicate : int
        Number of the first replicate; batches with other numbers are further draws of the same kind.
    wider : float
        All own ranges count so many times as wide as stated; see `forecast.decide.contingency`.
    like : Trials, optional
        Of a plan that differs little, such as before an edit: what is the same in both is taken from them. The trials
        are the same to the bit, and there sooner.

    Returns
    -------
    Trials

    Raises
    ------
    SimulationError
        When trials is not a sensible number.
    """
    if isinstance(seed, bool) or not isinstance(seed, int):
        message = f"seed: got {seed!r}, must be a whole number."
        raise SimulationError(message)
    if isinstance(trials, bool) or not REPLICATES <= trials <= 100_000_000:
        message = f"trials: got {trials}, must be from {REPLICATES} to 100,000,000."
        raise SimulationError(message)
    replicates, n = replicate_sizes(trials)
    facts = known or KnownFacts()
    conditions = None if facts.nothing and wider == 1 else prepare(plan, facts, seed, wider=wider)
    reference = np.array(list(plan.at_middle(gated="by chance").values()))
    job = partial(simulate_replicates, plan, seed, n, keep, conditions, reference)
    first, last = first_replicate, first_replicate + replicates
    same = None
    if conditions is None and executor is None and like is not None:
        same = in_common(plan, like, seed, tuple(range(first, last)), n * replicates)
    parts, rows = _map(job, first, last, n, keep, executor, same)
    while _effective(parts) < LEAST_EFFECTIVE <= n * replicates and last - first_replicate < 8 * replicates:
        first, last = (
            last,
            2 * last - first_replicate,
        )  # as many again, so that all views grow in the same steps
        more, more_rows = _map(job, first, last, n, keep, executor)
        parts += more
        if rows is not None and more_rows is not None:
            rows = np.concatenate([rows, more_rows], axis=1)
    numbers = tuple(range(first_replicate, last))
    return _gather(plan, seed, numbers, parts, rows, reference, conditions)


def in_common(plan: Plan, like: Trials, seed: int, numbers: tuple[int, ...], count: int) -> Alike | None:
    """Give what earlier trials have already; None where they are not of these draws, or something was known there."""
    if like.rows is None or like.conditions is not None or (like.seed, like.numbers) != (seed, numbers):
        return None
    return alike(plan, like.plan, like.rows, like.gates) if like.count == count else None


def _map(
    job: partial[Replicates],
    first: int,
    last: int,
    n: int,
    keep: Keep,
    executor: Executor | None,
    same: Alike | None = None,
) -> tuple[list[Replicates], Array | None]:
    """Run replicates, short ones several at a time: preparing sixteen takes little longer than preparing one.

    Returns
    -------
    parts : list of Replicates
    rows : ndarray of shape (rows, trials), or None
        Written where they stay, unless an executor brings them from elsewhere.
    """
    together = max(1, GROUP // n)
    groups = [tuple(range(start, min(start + together, last))) for start in range(first, last, together)]
    if executor is not None:
        parts = list(executor.map(job, groups))
        kept = [part.rows for part in parts if part.rows is not None]
        return parts, np.concatenate(kept, axis=1) if kept else None
    plan: Plan = job.args[0]
    rows = np.empty((len(plan.rows), (last - first) * n)) if keep == "rows" else None
    parts = []
    for group in groups:
        block = slice((group[0] - first) * n, (group[-1] + 1 - first) * n)
        out = None if rows is None else rows[:, block]
        parts.append(job(group, out=out, alike=None if same is None else same.part(block)))
    return parts, rows


def _effective(parts: Sequence[Replicates]) -> float:
    if parts[0].weights is None:
        return np.inf
    weights = np.concatenate([part.weights for part in parts if part.weights is not None])
    squares = float(np.sum(weights**2))
    return float(weights.sum() ** 2 / squares) if squares > 0 else 0.0


def _gather(
    plan: Plan,
    seed: int,
    numbers: tuple[int, ...],
    parts: Sequence[Replicates],
    rows: Array | None,
    reference: Array,
    conditions: Conditions | None,
) -> Trials:
    weights = None
    remarks = conditions.remarks if conditions is not None else ()
    if parts[0].weights is not None:
        weights = np.concatenate([part.weights for part in parts if part.weights is not None])
        effective = _effective(parts)
        if effective < min(LEAST_EFFECTIVE, weights.size / 2):
            remarks += (
                f"Only {effective:,.0f} of {weights.size:,} trials agree with what happened so far: read these "
                "figures as rough, and check the chances of the events that happened.",
            )
    moments = parts[0].moments
    for part in parts[1:]:
        moments = moments + part.moments
    return Trials(
        plan=plan,
        seed=seed,
        numbers=numbers,
        totals=np.concatenate([part.totals for part in parts]),
        hours=np.concatenate([part.hours for part in parts]),
        waits=np.concatenate([part.waits for part in parts]),
        rows=rows,
        gates=np.concatenate([part.gates for part in parts], axis=1),
        weights=weights,
        reference=reference,
        moments=moments,
        remarks=remarks,
        conditions=conditions,
    )
