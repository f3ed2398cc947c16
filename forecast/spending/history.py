"""The forecast as of any day, recomputed from the ledger with the same draws."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from forecast.build.schema import Build
from forecast.engine.forecast import DEFAULT_SEED, DEFAULT_TRIALS
from forecast.engine.plan import Plan, compile_plan
from forecast.engine.replay import Outcome, Replay
from forecast.engine.statistics import percentile_estimates
from forecast.engine.trials import LEAST_EFFECTIVE, run
from forecast.spending.base import base_given
from forecast.spending.known import Known, known_from
from forecast.spending.ledger import Ledger
from forecast.spending.money import to_float
from forecast.spending.reforecast import budget_in_force, scenario_in_force
from forecast.spending.standing import Record, Standing

MOST_DAYS = 200
"""Days of a history, unless more are asked for: as many as a picture can show."""


@dataclass(frozen=True)
class HistoryPoint:
    """The forecast final cost as it stood at the end of a day; money in the build's currency.

    Attributes
    ----------
    date : datetime.date
    p10, p50, p80, p90, mean : float
    paid, committed : float
    budget : float or None
        In force that day: the frozen one, else the build's own.
    chance_of_overrun : float or None
    contingency_left : float or None
        Budget less paid less the middle figures of what was open.
    contingency_needed : float
        For P80, over the same.
    effective : float
        Effective sample size; under 1,000 the figures are rough.
    error : float
        Simulation error of P80.
    """

    date: dt.date
    p10: float
    p50: float
    p80: float
    p90: float
    mean: float
    paid: float
    committed: float
    budget: float | None
    chance_of_overrun: float | None
    contingency_left: float | None
    contingency_needed: float
    effective: float
    error: float


@dataclass(frozen=True)
class History:
    """Forecasts day by day.

    Attributes
    ----------
    currency : str
    scenario : str or None
    trials, seed : int
    points : tuple of HistoryPoint
        By date; the first is of the day before anything was entered. Empty for an empty ledger.
    left_out : int
        Days on which something was entered, but which are not shown because there are too many.
    """

    currency: str
    scenario: str | None
    trials: int
    seed: int
    points: tuple[HistoryPoint, ...]
    left_out: int = 0


def history(
    build: Build,
    ledger: Ledger,
    scenario: str | None = None,
    trials: int = DEFAULT_TRIALS,
    seed: int = DEFAULT_SEED,
    *,
    days: Iterable[dt.date] | None = None,
    most: int = MOST_DAYS,
) -> History:
    """Give the forecast as of each day on which something was entered.

    Ranges are those of the build file as it is now, and draws are the same for all days, so that the forecast moves
    by what was entered alone. The trials are those of `forecast.spending.reforecast.reforecast`.

    Parameters
    ----------
    build : Build
    ledger : Ledger
    scenario : str, optional
        When left out, the one that the last baseline was frozen with, else the first of the file.
    trials, seed : int
    days : iterable of datetime.date, optional
        Other days.
    most : int
        Where there are more days than this, so many of them are taken, spread evenly, the last one among them.

    Returns
    -------
    History

    Raises
    ------
    SimulationError
        When the build or the scenario cannot be simulated.
    LedgerError
        When the ledger cannot be read.
    """
    record = Record.read(ledger)
    entered = sorted(set(days)) if days is not None else list(record.days())
    last = record.baselines[-1] if record.baselines else None
    plan = compile_plan(build, scenario_in_force(build, scenario, last))
    shown = _spread(entered, most)
    if days is None and shown and shown[0] > dt.date.min:
        shown = [shown[0] - dt.timedelta(days=1), *shown]
    replay = Replay(plan, trials, seed)
    points = []
    for standing in record.standings(shown):
        known = known_from(plan, standing)
        outcome = replay.run(replay.conditions(known.facts))
        if outcome.effective < LEAST_EFFECTIVE and standing.as_of == shown[-1]:
            # The figures of today must be those of every other page, which draws on until enough trials agree.
            today = run(plan, trials, seed, known=known.facts, keep="totals")
            outcome = Outcome(today.totals, today.weights, today.replicates)
        points.append(_point(build, plan, standing, known, outcome))
    return History(
        plan.currency,
        plan.scenario,
        replay.count,
        seed,
        tuple(points),
        len(entered) - len(_spread(entered, most)),
    )


def _spread(days: Sequence[dt.date], most: int) -> list[dt.date]:
    """Take at most so many days, spread evenly, first and last among them."""
    if len(days) <= most:
        return list(days)
    step = (len(days) - 1) / max(1, most - 1)
    return sorted({days[len(days) - 1 - round(place * step)] for place in range(most)})


def _point(build: Build, plan: Plan, standing: Standing, known: Known, outcome: Outcome) -> HistoryPoint:
    assert standing.as_of is not None  # a history is of days
    totals = outcome.totals + to_float(known.outside_minor, plan.currency)
    estimates = percentile_estimates(totals, (0.1, 0.5, 0.8, 0.9), outcome.replicates, outcome.weights)
    p10, p50, p80, p90 = (estimate.value for estimate in estimates)
    budget = budget_in_force(build, standing.baseline)
    base = sum(base_given(plan, known.facts).values()) + to_float(known.outside_minor, plan.currency)
    over: float | None = None
    if budget is not None:
        over = float(np.average(totals > budget, weights=outcome.weights))
    return HistoryPoint(
        date=standing.as_of,
        p10=p10,
        p50=p50,
        p80=p80,
        p90=p90,
        mean=float(np.average(totals, weights=outcome.weights)),
        paid=known.paid,
        committed=to_float(sum(standing.committed.values()), plan.currency),
        budget=budget,
        chance_of_overrun=over,
        contingency_left=None if budget is None else budget - base,
        contingency_needed=p80 - base,
        effective=outcome.effective,
        error=estimates[2].error,
    )
