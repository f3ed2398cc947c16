"""What moved the forecast between two days, split without a rest, and the forecasts between them.

Facts are put in one kind after the other, always in the same order, with the same draws; each part is the difference
between two neighbouring forecasts, so the parts add up to the whole. What two kinds do together falls to the later
one: the order is part of the answer, and is that of `ORDER`. What stands behind each part is that of `behind_moves`.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Literal, TypeAlias

import numpy as np

from forecast.buildfile.choosing import scenario_title, ways_with
from forecast.buildfile.schema import Build
from forecast.engine.forecast import DEFAULT_SEED, DEFAULT_TRIALS
from forecast.engine.known import KnownFacts
from forecast.engine.plan import Plan, compile_plan
from forecast.engine.replay import Outcome, Replay
from forecast.engine.statistics import percentile_estimates
from forecast.engine.trials import LEAST_EFFECTIVE
from forecast.ledger import Ledger
from forecast.watching.behind_moves import Behind, BothEnds, money_ids
from forecast.watching.known_facts import KnownByNow, known_from
from forecast.watching.reforecast import read_frozen, scenario_in_force
from forecast.watching.standing import Record, Standing, day_before
from forecast.words.minor_units import exponent, to_float

PartKind: TypeAlias = Literal[
    "receipts", "currency", "learning", "events", "scope dropped", "estimates", "scope added"
]
ORDER: tuple[PartKind, ...] = (
    "receipts", "currency", "learning", "events", "scope dropped", "estimates", "scope added",
)  # fmt: skip
"""In this order facts are put in."""


@dataclass(frozen=True)
class Figures:
    """Forecast final cost, or a change of it, in whole minor units of the build's currency."""

    mean: int
    p50: int
    p80: int
    p90: int

    def __sub__(self, other: Figures) -> Figures:
        """Give the change from another."""
        return Figures(
            self.mean - other.mean, self.p50 - other.p50, self.p80 - other.p80, self.p90 - other.p90
        )

    def __add__(self, other: Figures) -> Figures:
        """Add a change."""
        return Figures(
            self.mean + other.mean, self.p50 + other.p50, self.p80 + other.p80, self.p90 + other.p90
        )


@dataclass(frozen=True)
class Apart:
    """What of a part is told apart from the rest of it, put in after that.

    Attributes
    ----------
    ids : tuple of str
        Of "receipts": lines that brought money in. Of "events": those that happened. Of "scope dropped": lines that
        were to bring money in and are closed with nothing sold. Of "scope added": lines that the build has on another
        way than this one.
    change : Figures
        Its share of the part's change.
    over : int
        How far they are over their middle estimates in all, in whole minor units, once that is known; below 0 under,
        which is more of the money that came in.
    ways : tuple of str
        Of "scope added": what the ways are called that have these lines.
    """

    ids: tuple[str, ...]
    change: Figures
    over: int = 0
    ways: tuple[str, ...] = ()


@dataclass(frozen=True)
class MovedPart:
    """One part of a change.

    Attributes
    ----------
    kind : str
        "receipts": lines came in above or below their estimates, at the rates of exchange that were planned; what was
        sold, too.
        "currency": the rates at which they were really paid. "learning": what all that says about what is open.
        "events": events that happened or cannot happen any more, what they cost and what they say.
        "scope dropped": lines given up, or closed with nothing sold. "estimates": ranges changed in the build file.
        "scope added": money spent on what was not in the estimate, and lines added to the build file.
    change : Figures
    because : tuple of (str, str)
        Id and title of the lines, events, causes or currencies behind it, the one that pushed hardest first.
    pushes : tuple of float
        How hard each of them pushed: how far its middle figure moved, in whole minor units, and for a line with a price
        how far that is off its estimate; for a currency what the rates came to beside those planned; for a cause how
        far its score moved.
    settled, agreed, likely : int
        Of "receipts": lines that have a price by now, paid in all or agreed, how many of them are only agreed, and of
        how many what was paid is likely all, though nobody said so; lines that brought money in have none.
    over : int
        How far these prices are over the middle estimates in all, in whole minor units; below 0 under.
    with_margin : bool
        Of "currency": whether the rates planned hold what the card adds, as the sums charged do.
    margin_unused : bool
        Of "currency": whether what came cheaper is that margin alone, which was not charged, or not in full.
    closed : int
        Of "learning": closed lines with a range of the builder's own, at the end.
    apart : Apart or None
        What stands among `because` and is told apart: money that came in, or events that happened.
    """

    kind: PartKind
    change: Figures
    because: tuple[tuple[str, str], ...]
    pushes: tuple[float, ...] = ()
    settled: int = 0
    agreed: int = 0
    over: int = 0
    with_margin: bool = False
    closed: int = 0
    margin_unused: bool = False
    apart: Apart | None = None
    likely: int = 0


@dataclass(frozen=True)
class Moved:
    """What moved between two days; the start and all parts add up to the end.

    Attributes
    ----------
    since : datetime.date
    until : datetime.date or None
        None for all that was entered.
    currency : str
    start, end : Figures
    parts : tuple of MovedPart
        In the order of `ORDER`; "estimates" only where the build file was another one at the start.
    error : float
        Simulation error of P80 at the end, in the currency's main unit.
    half_error : float
        The same of P50.
    frozen_late : datetime.date or None
        When the budget was frozen, where that was between the two days and buying had begun by then.
    start_errors : tuple of (float, float)
        Simulation errors of P50 and P80 at the start.
    begun, frozen : datetime.date or None
        When the first thing was entered, or the budget frozen, where it is told from the end of the day before.
    """

    since: dt.date
    until: dt.date | None
    currency: str
    start: Figures
    end: Figures
    parts: tuple[MovedPart, ...]
    error: float = 0.0
    half_error: float = 0.0
    frozen_late: dt.date | None = None
    start_errors: tuple[float, float] = (0.0, 0.0)
    begun: dt.date | None = None
    frozen: dt.date | None = None


class MovedSteps:
    """The forecasts between the two ends, each with one more kind of facts than the one before.

    Attributes
    ----------
    parts : list of MovedPart
        What each step taken so far moved.
    start, here : Figures
        The forecast at the first end, and after the last step taken so far.
    start_errors, errors : tuple of (float, float)
        Simulation errors of P50 and P80 at the first end, and of the forecast worked out last.
    effective : float
        The fewest trials that any of the forecasts rests on.
    """

    def __init__(
        self,
        build: Build,
        earlier: Plan,
        plan: Plan,
        record: Record,
        ends: tuple[Standing, Standing],
        trials: int,
        seed: int,
        batches: int = 1,
        replay: Replay | None = None,
    ) -> None:
        self.build, self.earlier, self.plan = build, earlier, plan
        self.first, self.last = ends
        there = replay is not None and replay.plan is earlier and batches == 1
        self.replay = replay if replay is not None and there else Replay(earlier, trials, seed, batches)
        self.trials, self.seed, self.batches = trials, seed, batches
        self.ends = BothEnds(build, earlier, plan, record, ends, self.replay, seed)
        self.owner = {row.id: row.id if row.is_money else row.of for row in earlier.rows}
        self.parts: list[MovedPart] = []
        self.effective, self.errors = float("inf"), (0.0, 0.0)
        both = (self.replay.conditions(one.facts).joined for one in (self.ends.start, self.ends.end))
        self.joined = tuple({name: None for names in both for name in names})
        begin, outcome = self.replay.under(self.ends.start.facts, self.joined)
        self.posterior, self.weights = begin.posterior, outcome.weights
        self.start = self.here = self._figures(outcome, self.ends.start.outside_minor)
        self.start_errors = self.errors

    def take(self) -> None:
        """Take all steps, from the first end to the last."""
        ends = self.ends
        extra = ends.start.outside_minor
        late = ends.events | ends.dropped | ends.taken_up | ends.gone | ends.unforeseen
        rates = ends.at_planned_rates()
        planned = ends.end
        if rates.less:
            planned = known_from(self.earlier, _with(self.last, rates.less), self.build)
        held = self._receipts(planned, late)

        if rates.less:
            held = self._taught_nothing(self._facts(ends.end, late))
        part = self._step("currency", self._figures(held, extra), rates.behind)
        self.parts.append(replace(part, with_margin=rates.with_margin, margin_unused=rates.margin_unused))

        ended = ends.ended
        learned: Behind = ()
        if not ended:
            conditions, outcome = self.replay.under(self._facts(ends.end, late), self.joined)
            learned = ends.learned(self.posterior, conditions.posterior, held)
            held = outcome
        part = self._step("learning", self._figures(held, extra), learned)
        self.parts.append(replace(part, closed=ends.closed()))

        def after(facts: KnownFacts) -> Outcome:
            """Put facts in with all that they teach; at the end of a build nothing is left that it could move."""
            return self._taught_nothing(facts) if ended else self.replay.under(facts)[1]

        late -= ends.events
        moved, came = ends.events_moved()
        before = self.here
        if came and moved - came:
            before = self._figures(after(self._facts(ends.end, late | came)), extra)
        figures = self._figures(after(self._facts(ends.end, late)), extra)
        part = self._step("events", figures, ends.named(moved))
        if came:
            part = replace(part, apart=Apart(tuple(sorted(came)), figures - before, ends.over_if_came(came)))
        self.parts.append(part)

        late -= ends.dropped | ends.gone
        unsold, before = ends.unsold(), self.here

        def given_up(later: set[str]) -> Figures:
            facts = self._facts(ends.end, late | later)
            if ends.gone:
                facts = self._settled(facts, ends.gone, self.last, self.earlier)
            return self._figures(after(facts), extra)

        if unsold and (ends.dropped | ends.gone) - unsold:
            before = given_up(unsold)
        figures = given_up(set())
        part = self._step("scope dropped", figures, ends.named(ends.dropped | ends.gone))
        if unsold:
            part = replace(part, apart=Apart(tuple(sorted(unsold)), figures - before, ends.missed(unsold)))
        self.parts.append(part)
        self._last_steps()

    def _receipts(self, planned: KnownByNow, late: set[str]) -> Outcome:
        """Take the step of receipts at the rates planned, and give the totals after it."""
        ends, extra = self.ends, self.ends.start.outside_minor
        held = self._taught_nothing(self._facts(planned, late))
        touched = ends.touched(late)
        sold = ends.sold(touched)
        priced = ends.priced(touched, sold)
        figures = self._figures(held, extra)
        part = self._step("receipts", figures, priced.told)
        if sold:
            change = part.change
            if touched - sold:
                bought = self._taught_nothing(self._facts(planned, late | sold))
                change = figures - self._figures(bought, extra)
            more = sum(push for name, _, push in priced.told if name in sold)
            part = replace(part, apart=Apart(tuple(sorted(sold)), change, round(more)))
        self.parts.append(
            replace(
                part, settled=priced.settled, agreed=priced.agreed, likely=priced.likely, over=priced.over
            )
        )
        return held

    def _last_steps(self) -> None:
        """Take the steps with the build file as it is now."""
        ends = self.ends
        end = known_from(self.plan, self.last, self.build)
        replay = self.replay
        outside = {name for name in end.outside if end.outside[name] != ends.start.outside.get(name, 0)}
        added = ends.named((outside | ends.taken_up | ends.new | ends.unforeseen) - ends.gone)
        if self.plan is not self.earlier:
            replay = Replay(self.plan, self.trials, self.seed, self.batches)
            late = {*ends.new, *(ends.taken_up - ends.gone), *ends.unforeseen}
            facts = _kept(end.facts, late, self._owner_now)
            facts = self._settled(facts, late, self.first, self.plan)
            outcome = replay.run(replay.conditions(facts))
            extra = sum(
                (self.last if name in ends.gone else self.first).paid.get(name, 0)
                for name in {*self.first.paid, *self.last.paid} - money_ids(self.plan)
            )
            figures = self._figures(outcome, extra)
            self.parts.append(self._step("estimates", figures, ends.named(ends.edited())))
        outcome = replay.under(end.facts)[1]
        part = self._step("scope added", self._figures(outcome, end.outside_minor), added)
        if elsewhere := ways_with(self.build, outside - ends.gone):
            paid = sum(end.outside[name] - ends.start.outside.get(name, 0) for name in elsewhere)
            ways = dict.fromkeys(way for found in elsewhere.values() for way in found)
            titles = tuple(scenario_title(self.build, way) for way in ways)
            part = replace(
                part, apart=Apart(tuple(sorted(elsewhere)), Figures(paid, paid, paid, paid), ways=titles)
            )
        self.parts.append(part)

    def _step(self, kind: PartKind, figures: Figures, behind: Behind) -> MovedPart:
        """Go on to the next forecast, and give what that moved."""
        change, self.here = figures - self.here, figures
        titles = tuple((name, title) for name, title, _ in behind)
        return MovedPart(kind, change, titles, tuple(push for *_, push in behind))

    def _taught_nothing(self, facts: KnownFacts) -> Outcome:
        """Put facts in for the sums that they settle, with what was known at the start of all that is open."""
        conditions = replace(self.replay.conditions(facts, self.joined), posterior=self.posterior)
        return self.replay.run(conditions, self.weights, reweigh=False)

    def _figures(self, outcome: Outcome, extra_minor: int) -> Figures:
        self.effective = min(self.effective, outcome.effective)
        scale = 10 ** exponent(self.plan.currency)
        found = percentile_estimates(outcome.totals, (0.5, 0.8, 0.9), outcome.replicates, outcome.weights)
        p50, p80, p90 = (estimate.value for estimate in found)
        self.errors = found[0].error, found[1].error
        mean = float(np.average(outcome.totals, weights=outcome.weights))
        whole = [round(value * scale) + extra_minor for value in (mean, p50, p80, p90)]
        return Figures(*whole)

    def _facts(self, known: KnownByNow, late: set[str]) -> KnownFacts:
        """Give what is known at the end, but as at the start of those that are to come later."""
        now = known.facts.only(lambda name: self.owner.get(name, name) not in late)
        return now | self.ends.start.facts.only(lambda name: self.owner.get(name, name) in late)

    def _settled(self, facts: KnownFacts, names: set[str], standing: Standing, plan: Plan) -> KnownFacts:
        """Give facts in which some lines cost what was paid, and nothing is learned from them."""
        fixed = {name: to_float(standing.paid.get(name, 0), plan.currency) for name in names}
        fixed |= {row.id: 0.0 for row in plan.rows if not row.is_money and row.of in names}
        kept = _kept(facts, names, lambda name: self.owner.get(name, name))
        return replace(kept, fixed={**kept.fixed, **fixed})

    def _owner_now(self, name: str) -> str:
        return next((row.of for row in self.plan.rows if row.id == name and not row.is_money), name)


def _kept(facts: KnownFacts, without: set[str], owner: Callable[[str], str]) -> KnownFacts:
    """Give facts without those of some lines."""
    return facts.only(lambda name: owner(name) not in without)


def _with(standing: Standing, delta: Mapping[str, int]) -> Standing:
    """Give a standing with other sums paid on some lines."""
    paid = {name: amount + delta.get(name, 0) for name, amount in standing.paid.items()}
    said = {name: amount + delta.get(name, 0) for name, amount in standing.said.items()}
    return replace(standing, paid=paid, said=said)


def what_moved(
    build: Build,
    ledger: Ledger,
    since: dt.date | None = None,
    until: dt.date | None = None,
    scenario: str | None = None,
    trials: int = DEFAULT_TRIALS,
    seed: int = DEFAULT_SEED,
    *,
    before: Build | None = None,
    replay: Replay | None = None,
) -> Moved:
    """Split how the forecast final cost moved between two days.

    Parameters
    ----------
    build : Build
        As it is now.
    ledger : Ledger
    since : datetime.date, optional
        As of the end of that day. When left out: since the day before the budget was frozen, so that what was paid
        on the day of the freeze counts; or else, and where it was frozen once buying had begun, since the day before
        anything was entered. From the day before a freeze on, the build at the start is the frozen one, and from before
        a late freeze too; from any other day it is as it is now.
    until : datetime.date, optional
        All that was entered when left out.
    scenario : str, optional
        When left out, the one that the last baseline was frozen with, else the first of the file.
    trials, seed : int
    before : Build, optional
        The build as it was at the start, where it has changed.
    replay : Replay, optional
        Draws of the same plan, trials and seed, where they are at hand.

    Returns
    -------
    Moved

    Raises
    ------
    SimulationError
        When a build or the scenario cannot be simulated.
    LedgerError
        When the ledger cannot be read.
    """
    record = Record.read(ledger)
    last = record.baselines[-1] if record.baselines else None
    scenario = scenario_in_force(build, scenario, last)
    told_since = record.told_since() or dt.date.today()
    if since is None:
        since = told_since if until is None or until >= told_since else min(until, record.eve() or until)
    frozen = record.frozen_at(since)
    if frozen is not None:
        before = before or read_frozen(frozen.build_text)
    plan = compile_plan(build, scenario)
    earlier, old = plan, build
    if before is not None and before.fingerprint() != build.fingerprint():
        old = before
        earlier = compile_plan(before, scenario if scenario in before.scenario else None)
    ends = record.standing(since), record.standing(until)
    for batches in (1, 2, 4, 8):
        steps = MovedSteps(old, earlier, plan, record, ends, trials, seed, batches, replay)
        steps.take()
        if steps.effective >= LEAST_EFFECTIVE or trials < LEAST_EFFECTIVE:
            break
    days = record.days()
    begun = days[0] if days and day_before(days[0]) == since else None
    since_freeze = next((one.date for one in record.baselines if day_before(one.date) == since), None)
    late = record.frozen_late()
    within = late is not None and since < day_before(late.date) and (until is None or until >= late.date)
    half_error, error = steps.errors
    return Moved(
        since, until, plan.currency, steps.start, steps.here, tuple(steps.parts), error, half_error,
        late.date if late is not None and within else None,
        steps.start_errors, begun, since_freeze,
    )  # fmt: skip
