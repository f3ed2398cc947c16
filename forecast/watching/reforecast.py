"""Where the build ends, with the receipts in: the same draws, conditioned on all that is known."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from forecast.buildfile.choosing import scenario_name
from forecast.buildfile.reader import parse_build
from forecast.buildfile.schema import OWN_ESTIMATING, Bought, Build
from forecast.engine.condition import Width
from forecast.engine.facts import Prior, observe, prior_of
from forecast.engine.forecast import DEFAULT_SEED, DEFAULT_TRIALS, Forecast, LineSummary, forecast_plan
from forecast.engine.plan import Plan, compile_plan
from forecast.engine.sensitivity import row_means
from forecast.engine.statistics import (
    Estimate,
    mean_estimate,
    percentile_estimates,
    share_within,
)
from forecast.errors import BuildFileError
from forecast.figures.shapes import Array
from forecast.ledger import Baseline, Ledger
from forecast.watching.counts import LineCounts, line_counts
from forecast.watching.delivered import over_with_delivery
from forecast.watching.known_facts import KnownByNow, LineState, known_from, margin_charged
from forecast.watching.reasons import (
    LearnedCause,
    Reason,
    TaughtCause,
    learned_causes,
    reasons_for,
    taught_causes,
    width_of,
)
from forecast.watching.standing import Record
from forecast.words.minor_units import exponent, to_float

LOOKS_SETTLED: Mapping[Bought, float] = {"once": 0.75, "several": 0.95, "running": 0.95}
"""Chance of being all from which a sum paid looks settled, by how the line is bought: after the first tin of filler
nobody can tell."""


@dataclass(frozen=True)
class LineWatch:
    """One line or event: what was thought, what was paid, what is thought now.

    Attributes
    ----------
    id, title, group, kind : str
    state : str
    base : float
        Its middle figure.
    paid : float
    before, now : tuple of float
        P10, P50 and P90, without and with what is known.
    mean_before, mean_now : float
    committed : float
        Agreed and not yet paid.
    score : float or None
        Where a known amount lies in its range: 0 in the middle, ±1.28 at its ends; beyond ±3.5 outside of it.
    settled : float or None
        Chance that what was paid is all, where nobody said so.
    more : bool
        Whether more was said to come.
    bought : str
        How it is bought.
    if_needed : float or None
        Its middle figure if it is needed, or happens; None where that is sure, and the base has it.
    happened : bool
        Whether it was said to have happened.
    unforeseen : bool
        Whether it was to cost nothing, and something was paid or agreed: a bill that nobody told of.
    not_bought : bool
        Whether it is a line that was closed with nothing paid; see `LineCounts`.
    """

    id: str
    title: str
    group: str
    kind: str
    state: LineState
    base: float
    paid: float
    before: tuple[float, float, float]
    now: tuple[float, float, float]
    mean_before: float
    mean_now: float
    committed: float = 0.0
    score: float | None = None
    settled: float | None = None
    more: bool = False
    bought: Bought = "once"
    if_needed: float | None = None
    happened: bool = False
    unforeseen: bool = False
    not_bought: bool = False

    @property
    def is_income(self) -> bool:
        """Whether it was to bring money in, as what is sold."""
        return (self.estimate if self.if_needed is None else self.if_needed) < 0

    @property
    def needed(self) -> bool:
        """Whether it is sure that it is needed, or has happened."""
        return self.if_needed is None or self.paid != 0 or self.committed != 0 or self.happened

    @property
    def estimate(self) -> float:
        """What was thought that it would cost: the middle figure of what is needed, nothing of what may not be."""
        return self.base if self.if_needed is None or not self.needed else self.if_needed

    @property
    def looks_settled(self) -> bool:
        """Whether what was paid is likely all."""
        return self.settled is not None and self.settled >= LOOKS_SETTLED[self.bought]

    @property
    def moved(self) -> float:
        """How its mean moved with what is known."""
        return self.mean_now - self.mean_before


@dataclass(frozen=True)
class HeldLine:
    """What P80 held for one line or event before anything was known, and what it holds now; all add up to P80.

    Attributes
    ----------
    id, title : str
    before, now : float
        In the build's currency. Of what is closed, `now` is what it cost.
    reason : Reason or None
        Why it moved; None where it only moved with how far all others can.
    """

    id: str
    title: str
    before: float
    now: float
    reason: Reason | None


@dataclass(frozen=True)
class UnpaidShare:
    """An event, or what card or bank add to payments abroad, that is a share of what is not paid yet.

    Attributes
    ----------
    id : str
    kind : str
        "event" or "line".
    unpaid : float
        What its lines have yet to be paid, at their middle figures; 0 once all are closed.
    whole : float
        What its lines come to, what is paid included.
    """

    id: str
    kind: str
    unpaid: float
    whole: float


@dataclass(frozen=True)
class Reforecast:
    """The forecast final cost.

    Attributes
    ----------
    before, now : Forecast
        Without and with what is known; they share their draws.
    known : KnownByNow
    budget : float or None
        The frozen one, else the build's.
    frozen : datetime.date or None
        When the budget was frozen.
    as_of : datetime.date or None
    titles : mapping of str to str
        Of shared causes.
    frozen_build : Build or None
        The build as it was first frozen; None where it is the same still, or was never frozen.
    """

    before: Forecast
    now: Forecast
    known: KnownByNow
    budget: float | None
    frozen: dt.date | None
    as_of: dt.date | None
    titles: Mapping[str, str] = field(default_factory=dict)
    frozen_build: Build | None = None

    @cached_property
    def at_first(self) -> Forecast:
        """What a build was to cost before anything was known: once it is finished, as it was first frozen.

        A range that was put right half-way must not change what was said at the start, nor how good it was.
        """
        first, trials = self.frozen_build, self.before.trials
        if first is None or not self.finished:
            return self.before
        scenario = self.before.plan.scenario
        plan = compile_plan(first, scenario if scenario in first.scenario else None)
        return forecast_plan(plan, trials.count, trials.seed, keep="rows")

    @property
    def currency(self) -> str:
        """ISO 4217 code of all money in it."""
        return self.now.currency

    @property
    def paid(self) -> float:
        """Everything paid so far."""
        return to_float(self.known.paid_minor, self.currency)

    @property
    def committed(self) -> float:
        """Agreed and not yet paid."""
        return to_float(sum(line.committed_minor for line in self.known.lines.values()), self.currency)

    @property
    def outside(self) -> float:
        """Paid for what is not in the estimate."""
        return to_float(self.known.outside_minor, self.currency)

    @cached_property
    def totals(self) -> Array:
        """Forecast final cost by trial, with what was paid outside the estimate, shape (N,)."""
        return self.now.trials.totals + self.outside

    @cached_property
    def finished(self) -> bool:
        """Whether all is paid and said: every trial comes to the same sum."""
        return self.paid > 0 and float(np.ptp(self.totals)) < 0.5 * 10.0 ** -exponent(self.currency)

    def percentile_set(self, shares: tuple[float, ...]) -> list[Estimate]:
        """Give percentiles of the forecast final cost."""
        if shares not in self._percentiles:  # a page names the same few many times
            trials = self.now.trials
            found = percentile_estimates(self.totals, shares, trials.replicates, trials.weights)
            self._percentiles[shares] = tuple(found)
        return list(self._percentiles[shares])

    @cached_property
    def _percentiles(self) -> dict[tuple[float, ...], tuple[Estimate, ...]]:
        return {}

    def percentile(self, q: float) -> Estimate:
        """Give one percentile of the forecast final cost."""
        return self.percentile_set((q,))[0]

    @cached_property
    def mean(self) -> Estimate:
        """Mean forecast final cost."""
        return mean_estimate(self.totals, self.now.trials.replicates, self.now.trials.weights)

    def cost_to_complete(self, q: float) -> Estimate:
        """Give a percentile of the forecast final cost less what is paid."""
        final = self.percentile(q)
        return Estimate(final.value - self.paid, final.error)

    @cached_property
    def chance_of_overrun(self) -> Estimate | None:
        """Chance that the final cost is over the budget; None without a budget."""
        if self.budget is None:
            return None
        trials = self.now.trials
        inside = share_within(self.totals, self.budget, trials.replicates, trials.weights)
        return Estimate(1 - inside.value, inside.error)

    @cached_property
    def median_overrun(self) -> Estimate | None:
        """What is missing at least in half of the builds that overrun; None where none does or there is no budget.

        The median, for a few builds that go far wrong carry the mean away.
        """
        chance = self.chance_of_overrun
        if self.budget is None or chance is None or chance.value <= 0:
            return None
        half = self.percentile(1 - chance.value / 2)
        return Estimate(half.value - self.budget, half.error)

    @cached_property
    def base_given(self) -> dict[str, float]:
        """Middle figures of lines and events, given what is known of them."""
        return self.now.plan.base_estimate(self.known.facts, self.now.trials.conditions)

    @cached_property
    def open_base(self) -> float:
        """Middle figures of what is still to be paid: each open line's, less what was paid for it."""
        return sum(self.base_given.values()) + self.outside - self.paid

    @property
    def contingency_left(self) -> float | None:
        """Budget less paid less the middle figures of what is still open; None without a budget."""
        return None if self.budget is None else self.budget - self.paid - self.open_base

    def contingency_needed(self, q: float) -> Estimate:
        """Give what must be left over the middle figures of what is open, for the final cost at a percentile."""
        rest = self.cost_to_complete(q)
        return Estimate(rest.value - self.open_base, rest.error)

    @cached_property
    def cost_no_more_before(self) -> Estimate:
        """Share of the builds forecast before the first receipt that cost no more than this one does on average."""
        trials = self.at_first.trials
        return share_within(trials.totals, self.mean.value, trials.replicates, trials.weights)

    def chance_with(self, more: float) -> Estimate | None:
        """Give the chance of overrunning with so much more in the budget."""
        if self.budget is None:
            return None
        trials = self.now.trials
        inside = share_within(self.totals, self.budget + more, trials.replicates, trials.weights)
        return Estimate(1 - inside.value, inside.error)

    def bought_by(self, more: float = 100.0) -> Estimate | None:
        """Give how much the chance of overrunning falls with so much more in the budget; None without a budget."""
        if self.budget is None:
            return None
        trials = self.now.trials
        saved = (self.totals > self.budget) & (self.totals <= self.budget + more)
        return mean_estimate(saved.astype(float), trials.replicates, trials.weights)

    @cached_property
    def lines(self) -> tuple[LineWatch, ...]:
        """Every line and event of the scenario, in the order of the plan."""
        observed = observe(self.now.plan, self.known.facts, self.now.trials.seed, self._prior)
        scores = {one.row: one.score for one in observed if one.weight > 0.5 and not one.follows}
        ways = {row.id: row.bought for row in self.now.plan.rows}
        first = self.at_first
        maybe = self.now.plan.middles_if_needed() | first.plan.middles_if_needed()
        bases = {line.id: line.base for line in first.lines}
        gates = {row.id: row.gate for row in self.now.plan.rows if row.gate is not None}
        happened = {name for name, gate in gates.items() if self.known.facts.gates.get(gate)}
        held, never = self.margin_held, frozenset(self.counts.not_bought)
        found = []
        for before, now in zip(self.before.lines, self.now.lines, strict=True):
            known = self.known.lines[now.id]
            found.append(
                LineWatch(
                    now.id, now.title, now.group, now.kind, known.state,
                    bases.get(now.id, before.base) + held.get(now.id, 0.0),
                    to_float(known.paid_minor, self.currency), _range(before),
                    _range(now), before.mean, now.mean,
                    to_float(known.committed_minor, self.currency), scores.get(now.id),
                    self.settled.get(now.id), known.more, ways.get(now.id, "once"), maybe.get(now.id),
                    now.id in happened,
                    now.id in self.now.plan.unforeseen and bool(known.paid_minor or known.committed_minor),
                    now.id in never,
                )
            )  # fmt: skip
        return tuple(found)

    @cached_property
    def margin_held(self) -> Mapping[str, float]:
        """How much of what card or bank were to add stands in a line's estimate since it was paid, by id.

        It is planned on a line of its own, of which as much is taken off.
        """
        return margin_charged(self.now.plan, self.known)

    @cached_property
    def settled(self) -> dict[str, float]:
        """Chance that what was paid is all, for each line and event of which nobody said so."""
        conditions = self.now.trials.conditions
        return {} if conditions is None else {name: one.settled for name, one in conditions.partial.items()}

    @property
    def looking_settled(self) -> tuple[str, ...]:
        """Lines of which what was paid is likely all, by id, in the order of the plan.

        An event is never settled so, nor is a line of which an agreed price is still to pay.
        """
        return settled_lines(self.now.plan, self.known, self.settled)

    @property
    def share_of_closed(self) -> tuple[str, ...]:
        """Events still open that are a share of lines which are all closed, by id.

        They are asked about: what is paid can still be damaged, or have to be done again. What is a share of
        what is not paid yet counts no more by itself; see `unpaid_shares`.
        """
        lines = self.known.lines
        found = []
        for row in self.now.plan.rows:
            if row.kind != "event" or row.gate in self.known.facts.gates or lines[row.id].paid_minor:
                continue
            read = (set(row.reads) - set(row.unpaid)) & lines.keys()
            if read and all(lines[name].state == "closed" for name in read):
                found.append(row.id)
        return tuple(found)

    @cached_property
    def unpaid_shares(self) -> tuple[UnpaidShare, ...]:
        """Events and lines still open that are a share of what is not paid yet, once some of that is paid."""
        facts, lines, found = self.known.facts, self.known.lines, []
        for row in self.now.plan.rows:
            read = [name for name in row.unpaid if name in lines]
            ruled_out = row.gate is not None and facts.gates.get(row.gate) is False
            if not read or ruled_out or lines[row.id].paid_minor or lines[row.id].state == "closed":
                continue
            if any(name in facts.paid for name in read):
                whole = [self.base_given[name] for name in read]
                rest = [max(0.0, self.base_given[name] - facts.paid.get(name, 0.0)) for name in read]
                found.append(UnpaidShare(row.id, row.kind, sum(rest), sum(whole)))
        return tuple(found)

    @property
    def counting_no_more(self) -> frozenset[str]:
        """Events and lines that are a share of what is not paid yet, once all of that is paid, by id."""
        return frozenset(one.id for one in self.unpaid_shares if one.unpaid == 0)

    @cached_property
    def hours_done(self) -> tuple[str, ...]:
        """Own hours that were said to be worked, by the id of their row."""
        work = self.now.plan.own_work.items()
        return tuple(name for name, (_, told) in work if {name, told} & self.known.closed)

    @cached_property
    def hours_moved(self) -> tuple[float, float]:
        """How far own hours moved on average, by what happened or no longer can, and by what bills say of the rest."""
        facts, rows = self.known.facts, self.now.plan.rows
        change = row_means(self.now.trials) - row_means(self.before.trials)
        said = taught = 0.0
        for place, row in enumerate(rows):
            if row.kind == "hours" and row.id not in self.hours_done:
                if row.id in facts.fixed or row.gate in facts.gates:
                    said += float(change[place])
                else:
                    taught += float(change[place])
        return said, taught

    def hours_left(self, shares: tuple[float, ...]) -> list[Estimate]:
        """Give percentiles of the own hours that are still to be worked, as far as it was said."""
        trials = self.now.trials
        left = trials.hours - sum((trials.row(name) for name in self.hours_done), np.zeros(trials.count))
        return percentile_estimates(left, shares, trials.replicates, trials.weights)

    @cached_property
    def over_by_now(self) -> tuple[str, ...]:
        """Events and lines still open that belong to the way of goods whose bills are settled, by id.

        They are asked about; what `share_of_closed` asks about already is left out.
        """
        found = over_with_delivery(self.now.plan, self.known, self.looking_settled)
        return tuple(name for name in found if name not in self.share_of_closed)

    @cached_property
    def width(self) -> Width | None:
        """How wide the builder's own ranges should have been; None before anything is closed."""
        return width_of(self.now)

    @cached_property
    def closed_with_range(self) -> tuple[LineWatch, ...]:
        """Closed lines and events that tell how ranges held: their amount lies somewhere in a range of their own."""
        own = {row.id for row in self.now.plan.rows if row.inputs}
        return tuple(
            line
            for line in self.lines
            if line.state == "closed" and line.score is not None and line.id in own
        )

    @cached_property
    def counts(self) -> LineCounts:
        """How many lines are closed, were bought, and were not."""
        return line_counts(self.now.plan, self.known.lines)

    @property
    def closed_and_bought(self) -> int:
        """How many lines of the estimate are closed and were bought; no bill that nobody told of is among them."""
        return len(set(self.counts.bought).intersection(self.counts.closed))

    @property
    def judged_lines(self) -> tuple[LineWatch, ...]:
        """The lines among them that have a range: what they cost stands beside what they were thought to cost."""
        return tuple(line for line in self.closed_with_range if line.kind == "line" and line.paid > 0)

    @cached_property
    def reasons(self) -> tuple[Reason, ...]:
        """Why the mean moved, line by line, the largest move first; they add up to how far it moved."""
        moved = {
            now.id: now.mean - before.mean
            for before, now in zip(self.before.lines, self.now.lines, strict=True)
        }
        return reasons_for(self.now.plan, self.known, moved, self._learned)

    @cached_property
    def held(self) -> tuple[HeldLine, ...]:
        """What P80 held for each line and event before anything was known, and holds now, the largest move first."""
        first = self.at_first
        before, now = first.held_by_line(0.8), self.now.held_by_line(0.8)
        reasons = {one.id: one for one in self.reasons}
        titles = {line.id: line.title for line in first.lines} | {line.id: line.title for line in self.lines}
        found = [
            HeldLine(name, title, before.get(name, 0.0), now.get(name, 0.0), reasons.get(name))
            for name, title in titles.items()
        ]
        found += [
            HeldLine(one.id, one.title, 0.0, one.amount, one) for one in self.reasons if one.id not in now
        ]
        return tuple(sorted(found, key=lambda line: -abs(line.now - line.before)))

    @cached_property
    def causes(self) -> tuple[TaughtCause, ...]:
        """What the receipts say about each shared cause, and what that does to what is still open."""
        return taught_causes(self.now.plan, self._learned, self.reasons, self.titles)

    @cached_property
    def _prior(self) -> Prior:
        return prior_of(self.now.plan, self.now.trials.seed)

    @cached_property
    def _learned(self) -> tuple[LearnedCause, ...]:
        return learned_causes(self.now.plan, self.known.facts, self.now.trials.seed, self._prior)

    @property
    def remarks(self) -> tuple[str, ...]:
        """What a reader should know: figures outside their range, and what of the ledger does not fit the scenario."""
        return self.now.remarks + self.known.remarks

    @property
    def not_in_this_way(self) -> dict[str, str]:
        """Titles by id of what was paid for and this way does not have: it comes on top of the forecast."""
        titles = {**self.now.plan.absent, **self.known.taken_out}
        return {name: titles[name] for name in self.known.outside}


def _range(line: LineSummary) -> tuple[float, float, float]:
    assert line.p10 is not None  # rows are always kept here
    assert line.p50 is not None
    assert line.p90 is not None
    return line.p10, line.p50, line.p90


def reforecast(
    build: Build,
    ledger: Ledger,
    scenario: str | None = None,
    trials: int = DEFAULT_TRIALS,
    seed: int = DEFAULT_SEED,
    as_of: dt.date | None = None,
    before: Forecast | None = None,
) -> Reforecast:
    """Forecast the final cost given all that is known.

    Parameters
    ----------
    build : Build
    ledger : Ledger
    scenario : str, optional
        When left out, the one that the baseline was frozen with, else the first of the file.
    trials, seed : int
    as_of : datetime.date, optional
        As the ledger stood on that day.
    before : Forecast, optional
        Of the same build, scenario, trials and seed from its ranges alone, with its rows, where it is at hand.

    Returns
    -------
    Reforecast

    Raises
    ------
    SimulationError
        When the build or the scenario cannot be simulated.
    LedgerError
        When the ledger cannot be read.
    """
    record = Record.read(ledger)
    standing = record.standing(as_of)
    plan = compile_plan(build, scenario_in_force(build, scenario, standing.baseline))
    known = known_from(plan, standing, build)
    before = forecast_plan(plan, trials, seed, keep="rows") if before is None else before
    now = before if known.facts.nothing else forecast_plan(plan, trials, seed, known=known.facts, keep="rows")
    frozen = None if standing.baseline is None else standing.baseline.date
    budget = budget_in_force(build, standing.baseline)
    first = frozen_at_first(record)
    same = first is None or first.fingerprint() == build.fingerprint()
    return Reforecast(before, now, known, budget, frozen, as_of, cause_titles(build), None if same else first)


def frozen_at_first(record: Record) -> Build | None:
    """Read the build as it was frozen where moves are told from; None where none was by then, or it cannot be read."""
    since = record.told_since()
    found = None if since is None else record.frozen_at(since)
    return None if found is None else read_frozen(found.build_text)


def read_frozen(text: str) -> Build | None:
    """Read the build as it was frozen; None where its text was not kept or can no longer be read."""
    try:
        return parse_build(text) if text.strip() else None
    except BuildFileError:
        return None


def settled_lines(plan: Plan, known: KnownByNow, chances: Mapping[str, float]) -> tuple[str, ...]:
    """Give the lines that look settled, from the chance that what was paid is all; see `Reforecast.looking_settled`."""
    rows = {row.id: row for row in plan.rows if row.kind == "line"}
    return tuple(
        name
        for name, one in known.lines.items()
        if name in rows
        and not one.committed_minor
        and chances.get(name, 0.0) >= LOOKS_SETTLED[rows[name].bought]
    )


def scenario_in_force(build: Build, scenario: str | None, baseline: Baseline | None) -> str | None:
    """Give the scenario asked for, else the plan: the file's, else the frozen budget's, else the first; or None."""
    if (
        scenario is None
        and build.build.way is None
        and baseline is not None
        and baseline.scenario in build.scenario
    ):
        return baseline.scenario
    return scenario_name(build, scenario)


def budget_in_force(build: Build, baseline: Baseline | None) -> float | None:
    """Give the frozen budget, else the build's own, in the main unit."""
    if baseline is not None:
        return to_float(baseline.budget_minor, baseline.currency)
    return build.build.budget


def cause_titles(build: Build) -> dict[str, str]:
    """Give the names of the shared causes."""
    named = {cause.id: cause.name or cause.id.replace("_", " ").capitalize() for cause in build.cause}
    return {OWN_ESTIMATING: "Own estimating", **named}
