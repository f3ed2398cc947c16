"""The forecast as of any day, recomputed from the ledger with the same draws."""

from __future__ import annotations

import datetime as dt
import heapq
from collections.abc import Callable, Iterable, MutableMapping, Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from forecast.buildfile.schema import Build
from forecast.engine.forecast import DEFAULT_SEED, DEFAULT_TRIALS
from forecast.engine.known import Conditions
from forecast.engine.plan import Plan, compile_plan
from forecast.engine.replay import Outcome, Replay
from forecast.engine.statistics import Estimate, percentile_estimates
from forecast.engine.trials import LEAST_EFFECTIVE, run
from forecast.ledger import Ledger
from forecast.watching.known_facts import KnownByNow, known_from
from forecast.watching.reforecast import budget_in_force, scenario_in_force
from forecast.watching.standing import Moment, Record, Standing, day_before
from forecast.words.minor_units import to_float

MOST_DAYS = 200
"""Days of a history, unless more are asked for: as many as a picture can show."""
LEAST_DAYS = 9
"""Days of a history of even the largest build."""
_ROWS_AND_DAYS = 2000
"""How many rows times days are forecast unasked: some seconds' work."""
_FEW_DAYS, _MANY_ROWS = 24, 200
"""So few days are all forecast, unless the build has more rows than this: a season's receipts leave nothing out."""

Progress: TypeAlias = Callable[[int, int], None]
"""Is told how many days are done, and of how many."""


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
    contingency_needed, contingency_needed_p90 : float
        For P80 and P90, over the same.
    effective : float
        Effective sample size; under 1,000 the figures are rough.
    errors : tuple of float
        Simulation errors of P10, P50, P80 and P90: each is rounded by its own, here as in every other place.
    half, nearly_all : tuple of float
        Between which sums 50 and 95 of 100 builds end: P25 and P75, P2.5 and P97.5.
    receipt, supplier : int or None, str
        The receipt after which it stood so, in a history by receipt.
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
    contingency_needed_p90: float
    effective: float
    errors: tuple[float, float, float, float]
    half: tuple[float, float]
    nearly_all: tuple[float, float]
    receipt: int | None = None
    supplier: str = ""

    @property
    def levels(self) -> dict[str, Estimate]:
        """P10, P50, P80 and P90, each with its simulation error."""
        values = (self.p10, self.p50, self.p80, self.p90)
        return {
            name: Estimate(value, error)
            for name, value, error in zip(("P10", "P50", "P80", "P90"), values, self.errors, strict=True)
        }


@dataclass(frozen=True)
class History:
    """Forecasts day by day, or receipt by receipt.

    Attributes
    ----------
    currency : str
    scenario : str or None
    trials, seed : int
    points : tuple of HistoryPoint
        By date; the first is of the day before anything was entered. Empty for an empty ledger.
    entered, left_out : int
        Moments at which something was entered, and how many of them are not shown because there are too many.
    since : datetime.date or None
        The day that moves are told from, as `forecast.watching.moved.what_moved` does: see `Record.told_since`.
        There is a point for it. None for an empty ledger.
    ranges_changed : bool
        Whether the build file is another one than when the budget was frozen. All points are forecast with the
        ranges as they are now; `what_moved` tells what their change did.
    days : tuple of datetime.date
        Every day that it could be told of, oldest first, those left out too.
    """

    currency: str
    scenario: str | None
    trials: int
    seed: int
    points: tuple[HistoryPoint, ...]
    entered: int
    left_out: int = 0
    since: dt.date | None = None
    ranges_changed: bool = False
    days: tuple[dt.date, ...] = ()

    @property
    def start(self) -> HistoryPoint:
        """The point that moves are told from."""
        return next((point for point in self.points if point.date == self.since), self.points[0])


def history(
    build: Build,
    ledger: Ledger,
    scenario: str | None = None,
    trials: int = DEFAULT_TRIALS,
    seed: int = DEFAULT_SEED,
    *,
    days: Iterable[dt.date] | None = None,
    most: int | None = None,
    by: Literal["day", "receipt"] = "day",
    progress: Progress | None = None,
    earlier: MutableMapping[str, HistoryPoint] | None = None,
    replay: Replay | None = None,
) -> History:
    """Give the forecast as of each day on which something was entered, or after each receipt.

    Ranges are those of the build file as it is now, and draws are the same for all days, so that the forecast moves
    by what was entered alone. The trials are those of `forecast.watching.reforecast.reforecast`.

    Parameters
    ----------
    build : Build
    ledger : Ledger
    scenario : str, optional
        When left out, the one that the last baseline was frozen with, else the first of the file.
    trials, seed : int
    days : iterable of datetime.date, optional
        Other days.
    most : int, optional
        Where there are more days (or receipts) than this, so many of them are taken: the first, the last, and those
        on which most money was paid, agreed or settled. When left out, as many as are forecast in some seconds.
    by : {"day", "receipt"}
        With "receipt" there is a point for each receipt, those of a day in the order in which they were entered; what
        else was said that day counts with the last receipt of its line.
    progress : callable, optional
        Is told after each day how many are done, and of how many.
    earlier : mutable mapping, optional
        Points of an earlier call with the same build, scenario, trials and seed: those of moments at which the ledger
        stood as it does now are taken from it. It then holds the points of this one.
    replay : Replay, optional
        Draws of the same plan, trials and seed, where they are at hand.

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
    record = Record.read(ledger, by_receipt=by == "receipt")
    if days is not None:
        entered = [Moment(day) for day in sorted(set(days))]
    else:
        entered = list(record.moments() if by == "receipt" else (Moment(day) for day in record.days()))
    last = record.baselines[-1] if record.baselines else None
    plan = compile_plan(build, scenario_in_force(build, scenario, last))
    if most is None:
        most = days_unasked(len(plan.rows), len(entered))
    kept = _that_matter(entered, record, most)
    since = record.told_since() if entered else None
    shown = _with_eves(kept, since) if days is None else kept
    replay = replay if replay is not None and replay.plan is plan else Replay(plan, trials, seed)
    points: list[HistoryPoint] = []
    found: dict[str, HistoryPoint] = {}
    for moment, standing in zip(shown, record.standings(shown), strict=True):
        name = repr((moment, moment == shown[-1], standing))
        point = None if earlier is None else earlier.get(name)
        if point is None:
            known = known_from(plan, standing, build)
            conditions, outcome = replay.under(known.facts)
            if outcome.effective < LEAST_EFFECTIVE and moment == shown[-1]:
                # The figures of today must be those of every other page, which draws on until enough trials agree.
                today = run(plan, trials, seed, known=known.facts, keep="totals")
                outcome = Outcome(today.totals, today.weights, today.replicates)
            point = _point(build, plan, moment, standing, known, conditions, outcome)
        found[name] = point
        points.append(point)
        if progress is not None:
            progress(len(points), len(shown))
    if earlier is not None:
        earlier.clear()
        earlier.update(found)
    changed = last is not None and last.fingerprint not in ("", build.fingerprint())
    return History(
        plan.currency, plan.scenario, replay.count, seed, tuple(points), len(entered), len(entered) - len(kept),
        since, changed, _days_told(entered, record, since),
    )  # fmt: skip


def days_unasked(rows: int, days: int) -> int:
    """Say of how many days, at most, a build of so many rows and days is told without being asked for all."""
    most = min(MOST_DAYS, max(LEAST_DAYS, _ROWS_AND_DAYS // max(1, rows)))
    return max(most, days) if days <= _FEW_DAYS and rows <= _MANY_ROWS else most


def _that_matter(moments: Sequence[Moment], record: Record, most: int) -> list[Moment]:
    """Take at most so many moments: first, last, and those at which most money was entered, the earlier of equals."""
    if len(moments) <= most:
        return list(moments)
    sums = record.sums_of(moments)
    between = range(1, len(moments) - 1)
    taken = heapq.nlargest(max(0, most - 2), between, key=lambda place: (sums[place], -place))
    ends = {len(moments) - 1} if most < 2 else {0, len(moments) - 1}
    return [moments[place] for place in sorted({*taken, *ends})]


def _with_eves(moments: Sequence[Moment], since: dt.date | None) -> list[Moment]:
    """Add the day before the first moment, and the day that moves are told from."""
    if not moments:
        return []
    eves = {day_before(moments[0].date)}
    eves |= {since} if since is not None else set()
    eves -= {moment.date for moment in moments if moment.day_over}
    return sorted([*moments, *(Moment(day) for day in eves)], key=lambda moment: moment.date)


def _days_told(entered: Sequence[Moment], record: Record, since: dt.date | None) -> tuple[dt.date, ...]:
    """Give every day that moves can be told from: also the one before a late freeze."""
    days = {moment.date for moment in _with_eves(entered, since)}
    late = record.frozen_late()
    if days and late is not None:
        days.add(day_before(late.date))
    return tuple(sorted(days))


def _point(
    build: Build,
    plan: Plan,
    moment: Moment,
    standing: Standing,
    known: KnownByNow,
    conditions: Conditions,
    outcome: Outcome,
) -> HistoryPoint:
    totals = outcome.totals + to_float(known.outside_minor, plan.currency)
    asked = (0.025, 0.1, 0.25, 0.5, 0.75, 0.8, 0.9, 0.975)
    estimates = percentile_estimates(totals, asked, outcome.replicates, outcome.weights)
    found = {q: estimate.value for q, estimate in zip(asked, estimates, strict=True)}
    errors = {q: estimate.error for q, estimate in zip(asked, estimates, strict=True)}
    p10, p50, p80, p90 = (found[q] for q in (0.1, 0.5, 0.8, 0.9))
    budget = budget_in_force(build, standing.baseline)
    base = sum(plan.base_estimate(known.facts, conditions).values()) + to_float(
        known.outside_minor, plan.currency
    )
    over: float | None = None
    if budget is not None:
        over = float(np.average(totals > budget, weights=outcome.weights))
    return HistoryPoint(
        date=moment.date,
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
        contingency_needed_p90=p90 - base,
        effective=outcome.effective,
        errors=(errors[0.1], errors[0.5], errors[0.8], errors[0.9]),
        half=(found[0.25], found[0.75]),
        nearly_all=(found[0.025], found[0.975]),
        receipt=moment.receipt,
        supplier=moment.supplier,
    )
