"""What moved the forecast between two days, split without a rest, and the forecasts between them.

Facts are put in one kind after the other, always in the same order, with the same draws; each part is the difference
between two neighbouring forecasts, so the parts add up to the whole. What two kinds do together falls to the later
one: the order is part of the answer, and is that of `ORDER`.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Literal, TypeAlias

import numpy as np

from forecast.buildfile.reader import parse_build
from forecast.buildfile.schema import Build
from forecast.engine.condition import Posterior
from forecast.engine.facts import observe, prepare
from forecast.engine.forecast import DEFAULT_SEED, DEFAULT_TRIALS
from forecast.engine.known import KnownFacts
from forecast.engine.plan import Plan, compile_plan
from forecast.engine.replay import Outcome, Replay
from forecast.engine.statistics import percentile_estimates
from forecast.engine.trials import LEAST_EFFECTIVE
from forecast.errors import BuildFileError
from forecast.ledger import Ledger
from forecast.watching.known_facts import KnownByNow, brings_money_in, known_from, margin_charged
from forecast.watching.reforecast import cause_titles, scenario_in_force
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


def planned_rates(build: Build) -> dict[str, tuple[float, float]]:
    """Give what one unit of each foreign currency was planned to cost: by itself, and with the card's margin."""
    found = {}
    for code, currency in build.currency.items():
        rate = currency.rate.shape().middle
        found[code] = rate, rate * (1 + currency.margin / 100)
    return found


Behind: TypeAlias = tuple[tuple[str, str, float], ...]
"""Id and title of what is behind a step, and how hard it pushed."""
Step: TypeAlias = tuple[PartKind, Figures, Behind]


OWN_RANGES = "own_ranges"
"""Stands among the causes for the width of the builder's own ranges."""
WIDER = 0.1
"""Move of ln κ, that width, from which it is told."""


_AS_PLANNED = 0.995
"""From this share of the rate planned on, the rate did not come cheaper: a bank's differs so much by the hour."""


class MovedSteps:
    """The forecasts between the two ends, each with one more kind of facts than the one before."""

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
        self.build, self.earlier, self.plan, self.record = build, earlier, plan, record
        self.first, self.last = ends
        there = replay is not None and replay.plan is earlier and batches == 1
        self.replay = replay if replay is not None and there else Replay(earlier, trials, seed, batches)
        self.trials, self.seed, self.batches = trials, seed, batches
        self.effective, self.half_error, self.error = float("inf"), 0.0, 0.0
        self.start_errors = 0.0, 0.0
        self.settled, self.agreed, self.over, self.with_margin = 0, 0, 0, False
        self.margin_unused = False
        self.closed = 0
        self.apart: dict[PartKind, Apart] = {}
        # with the build: what was paid on its other ways teaches at both ends, and is no news of the last step
        self.start = known_from(earlier, self.first, build)
        self.end = known_from(earlier, self.last, build)
        self.owner = {row.id: row.id if row.is_money else row.of for row in earlier.rows}
        self.titles = {**earlier.absent, **plan.absent} | {
            row.id: row.title for row in (*earlier.rows, *plan.rows)
        }
        self.events = {row.id for row in earlier.rows if row.kind == "event"}
        # an event on which nothing was spent is told among events, and is no line given up
        self.dropped = set(self.end.dropped - self.start.dropped) - self.events
        self.taken_up = set(self.start.dropped - self.end.dropped) - self.events
        now, then = _money(plan), _money(earlier)
        self.gone, self.new = then - now, now - then
        self.unforeseen = (
            self._differing(set(earlier.unforeseen & plan.unforeseen)) - self.dropped - self.taken_up
        )
        self._middle = self._pushes()

    def take(self) -> list[Step]:
        """Give each step's kind, the forecast after it and what is behind it; the first one is the start."""
        plan, late = self.earlier, self.events | self.dropped | self.taken_up | self.gone | self.unforeseen
        extra = self.start.outside_minor
        both = (self.replay.conditions(one.facts).joined for one in (self.start, self.end))
        joined = tuple({name: None for names in both for name in names})
        begin, outcome = self.replay.under(self.start.facts, joined)
        steps: list[Step] = [("receipts", self._figures(outcome, extra), ())]
        self.start_errors = self.half_error, self.error

        delta, codes = self._at_planned_rates()
        planned = known_from(plan, _with(self.last, delta), self.build) if delta else self.end
        conditions = self.replay.conditions(self._facts(planned, late), joined)
        held = self.replay.run(replace(conditions, posterior=begin.posterior), outcome.weights, reweigh=False)
        touched = self._touched(late)
        sold = self._sold(touched)
        told = self._priced(self._named(touched), sold)
        figures = self._figures(held, extra)
        if sold:
            change = figures - steps[0][1]
            if touched - sold:
                bare = self.replay.conditions(self._facts(planned, late | sold), joined)
                bought = self.replay.run(
                    replace(bare, posterior=begin.posterior), outcome.weights, reweigh=False
                )
                change = figures - self._figures(bought, extra)
            over = sum(push for name, _, push in told if name in sold)
            self.apart["receipts"] = Apart(tuple(sorted(sold)), change, round(over))
        steps.append(("receipts", figures, told))

        if delta:
            conditions = self.replay.conditions(self._facts(self.end, late), joined)
            other = replace(conditions, posterior=begin.posterior)
            held = self.replay.run(other, outcome.weights, reweigh=False)
        rates = tuple((code, code, float(over)) for code, over in codes.items())
        steps.append(("currency", self._figures(held, extra), rates))

        def after(facts: KnownFacts) -> Outcome:
            """Put facts in with all that they teach; at the end of a build nothing is left that it could move."""
            if not ended:
                return self.replay.under(facts)[1]
            bare = replace(self.replay.conditions(facts, joined), posterior=begin.posterior)
            return self.replay.run(bare, weights, reweigh=False)

        weights, ended = outcome.weights, self._ended()
        learned: Behind = ()
        if not ended:
            conditions, outcome = self.replay.under(self._facts(self.end, late), joined)
            learned = self._learned(begin.posterior, conditions.posterior, held)
            held = outcome
        self.closed = self._closed()
        steps.append(("learning", self._figures(held, extra), learned))

        late -= self.events
        moved = self._differing(self.events - self.gone)
        # one of which it was only said again that it happened is no news beside those that did or no longer can
        moved = {
            name
            for name in moved
            if self._middle.get(name)
            or self.last.events.get(name) == "cannot-happen"
            or _happened(self.start.facts, name) != _happened(self.end.facts, name)
        } or moved
        came = {name for name in moved if _happened(self.end.facts, name)}
        before = steps[-1][1]
        if came and moved - came:
            before = self._figures(after(self._facts(self.end, late | came)), extra)
        outcome = after(self._facts(self.end, late))
        figures = self._figures(outcome, extra)
        if came:
            self.apart["events"] = Apart(tuple(sorted(came)), figures - before, self._over_if_came(came))
        steps.append(("events", figures, self._named(moved)))

        late -= self.dropped | self.gone
        facts = self._facts(self.end, late)
        if self.gone:
            facts = self._settled(facts, self.gone, self.last, plan)
        outcome = after(facts)
        steps.append(("scope dropped", self._figures(outcome, extra), self._named(self.dropped | self.gone)))
        return steps + self._last_steps()

    def _ended(self) -> bool:
        """Tell whether every line and event is known at the end, in sums that cannot vary any more."""
        facts = self.end.facts
        known = facts.amounts.keys() | facts.fixed.keys()
        return all(
            row.id in known or (row.gate is not None and facts.gates.get(row.gate) is False)
            for row in self.earlier.rows
            if row.is_money and row.inputs and not row.unpaid and row.id not in self.gone
        )

    def _last_steps(self) -> list[Step]:
        """Give the steps taken with the build file as it is now."""
        end = known_from(self.plan, self.last, self.build)
        replay, steps = self.replay, list[Step]()
        outside = {name for name in end.outside if end.outside[name] != self.start.outside.get(name, 0)}
        added = self._named((outside | self.taken_up | self.new | self.unforeseen) - self.gone)
        if self.plan is not self.earlier:
            replay = Replay(self.plan, self.trials, self.seed, self.batches)
            late = {*self.new, *(self.taken_up - self.gone), *self.unforeseen}
            facts = _kept(end.facts, late, self._owner_now)
            facts = self._settled(facts, late, self.first, self.plan)
            outcome = replay.run(replay.conditions(facts))
            extra = sum(
                (self.last if name in self.gone else self.first).paid.get(name, 0)
                for name in {*self.first.paid, *self.last.paid} - _money(self.plan)
            )
            steps.append(("estimates", self._figures(outcome, extra), self._named(self._edited())))
        outcome = replay.under(end.facts)[1]
        steps.append(("scope added", self._figures(outcome, end.outside_minor), added))
        return steps

    def _figures(self, outcome: Outcome, extra_minor: int) -> Figures:
        self.effective = min(self.effective, outcome.effective)
        scale = 10 ** exponent(self.plan.currency)
        found = percentile_estimates(outcome.totals, (0.5, 0.8, 0.9), outcome.replicates, outcome.weights)
        p50, p80, p90 = (estimate.value for estimate in found)
        self.half_error, self.error = found[0].error, found[1].error
        mean = float(np.average(outcome.totals, weights=outcome.weights))
        whole = [round(value * scale) + extra_minor for value in (mean, p50, p80, p90)]
        return Figures(*whole)

    def _facts(self, known: KnownByNow, late: set[str]) -> KnownFacts:
        """Give what is known at the end, but as at the start of those that are to come later."""
        return known.facts.only(lambda name: self.owner.get(name, name) not in late) | self.start.facts.only(
            lambda name: self.owner.get(name, name) in late
        )

    def _settled(self, facts: KnownFacts, names: set[str], standing: Standing, plan: Plan) -> KnownFacts:
        """Give facts in which some lines cost what was paid, and nothing is learned from them."""
        fixed = {name: to_float(standing.paid.get(name, 0), plan.currency) for name in names}
        fixed |= {row.id: 0.0 for row in plan.rows if not row.is_money and row.of in names}
        kept = _kept(facts, names, lambda name: self.owner.get(name, name))
        return replace(kept, fixed={**kept.fixed, **fixed})

    def _owner_now(self, name: str) -> str:
        return next((row.of for row in self.plan.rows if row.id == name and not row.is_money), name)

    def _at_planned_rates(self) -> tuple[dict[str, int], dict[str, int]]:
        """Give by how much each line's receipts between the ends were to be other at the rates planned.

        And by how much those of each currency came to more than at the rates planned.
        """
        home, rates = self.plan.currency, planned_rates(self.build)
        bare = {line.id for expansion in self.earlier.consignments for line in expansion.lines}
        delta: dict[str, int] = {}
        codes: dict[str, int] = {}
        paid, without = 0, 0.0
        for one in self.record.payments:
            inside = self.first.as_of is not None and one.date > self.first.as_of
            inside = inside and (self.last.as_of is None or one.date <= self.last.as_of)
            if not inside or one.currency == home or one.currency not in rates:
                continue
            rate = rates[one.currency][0 if one.line_id in bare else 1]
            rate *= 1 + self.plan.added_abroad.get(one.line_id, 0.0)
            unit = one.foreign_minor * 10.0 ** (exponent(home) - exponent(one.currency))
            less = round(unit * rate) - one.amount_minor
            delta[one.line_id] = delta.get(one.line_id, 0) + less
            codes[one.currency] = codes.get(one.currency, 0) - less
            self.with_margin |= rate > rates[one.currency][0]
            without += unit * rates[one.currency][0]
            paid += one.amount_minor
        self.margin_unused = self.with_margin and sum(codes.values()) < 0 and paid >= _AS_PLANNED * without
        return delta, codes

    def _learned(self, begin: Posterior | None, end: Posterior | None, open_: Outcome) -> Behind:
        """Name the causes whose score moved, by what that does to what is still open; before them own ranges.

        A cause may have moved far and touch nothing that is still to come, as shipping once the kit is there.
        """
        causes = len(self.earlier.causes)
        means = [np.zeros(causes) if found is None else found.mean[:causes] for found in (begin, end)]
        change = means[1] - means[0]
        titles = cause_titles(self.build)
        pulls = [self.replay.pull(f"cause {cause}", open_.totals) for cause in self.earlier.causes]
        order = np.argsort(-np.abs(change * pulls), kind="stable")
        moved = [(self.earlier.causes[place], change[place]) for place in order if abs(change[place]) > 1e-9]
        told = tuple((name, titles.get(name, name), float(move)) for name, move in moved)
        widths = [
            1.0 if found is None or found.width is None else found.width.middle for found in (begin, end)
        ]
        wider = float(np.log(widths[1] / widths[0]))
        return ((OWN_RANGES, "How your ranges held", wider), *told) if abs(wider) > WIDER else told

    def _sold(self, touched: set[str]) -> set[str]:
        """Name lines that brought money in, as they were to, and are closed."""
        fixed = self.end.facts.fixed
        rows = {row.id: row for row in self.earlier.rows}
        return {
            name for name in touched if fixed.get(name, 0.0) < 0 and brings_money_in(rows[name], self.earlier)
        }

    def _over_if_came(self, came: set[str]) -> int:
        """Give how far events whose cost is known are over their middle figures if they happen."""
        scale, maybe = 10 ** exponent(self.plan.currency), self.earlier.middles_if_needed()
        known = {**self.end.facts.amounts, **self.end.facts.fixed}
        offs = [known[name] - maybe[name] for name in came & known.keys() & maybe.keys()]
        off: float = scale * sum(offs)
        return round(off)

    def _priced(self, touched: Behind, sold: set[str]) -> Behind:
        """Give how far lines are off their middle estimates by their price, and 0 for those that have none yet.

        What may not be needed stood in no sum in full: what it costs is no push, only what of it is over or under.
        """
        scale = 10 ** exponent(self.plan.currency)
        maybe = {name: scale * value for name, value in self.earlier.middles_if_needed().items()}
        final = {
            **dict.fromkeys(self.end.facts.agreed, True),
            **dict.fromkeys((*self.end.facts.amounts, *sold), False),
        }
        gated = {row.id for row in self.earlier.rows if row.gate is not None}
        told = []
        for name, title, push in touched:
            if name in final and name in gated and name not in self.start.facts.amounts:
                push += self._base_then.get(name, 0.0) - maybe[name]
            told.append((name, title, push if name in final else 0.0))
        self.settled = sum(name in final and name not in sold for name, *_ in told)
        self.agreed = sum(final.get(name, False) for name, *_ in told)
        self.over = round(sum(push for name, _, push in told if name not in sold))
        return tuple(told)

    def sure(self) -> tuple[int, int]:
        """Count lines given up that were sure to be needed, and give what they came to at their middle figures."""
        gated = {row.id for row in self.earlier.rows if row.gate is not None}
        middles = [self._base_then.get(name, 0.0) for name in self.dropped - gated]
        return sum(middle > 0 for middle in middles), round(sum(middle for middle in middles if middle > 0))

    def _closed(self) -> int:
        """Count the closed lines with a range of the builder's own: those that tell how such ranges hold."""
        final = self.end.facts.amounts
        return sum(
            one.own and one.row in final and not one.follows
            for one in observe(self.earlier, self.end.facts, self.seed, self.replay.prior)
        )

    def _touched(self, late: set[str]) -> set[str]:
        return self._differing({row.id for row in self.earlier.rows if row.kind == "line"} - late)

    def _differing(self, names: set[str]) -> set[str]:
        """Name those of which something else is known at the end than at the start."""
        return {name for name in names if self.start.facts.about(name) != self.end.facts.about(name)}

    def _edited(self) -> set[str]:
        """Name lines and events of both build files whose figures differ."""

        def of(plan: Plan) -> dict[str, tuple[object, ...]]:
            inputs = {item.id: item for item in plan.inputs}
            gates = {gate.id: gate for gate in plan.gates}
            return {
                row.id: (row.formula, gates.get(row.gate or ""),
                         *(inputs[name] for name in inputs if name.startswith(f"{row.id}.")))
                for row in plan.rows
            }  # fmt: skip

        then, now = of(self.earlier), of(self.plan)
        return {name for name in then.keys() & now.keys() if then[name] != now[name]}

    def _pushes(self) -> dict[str, float]:
        """Give how far the middle figure of each line and event, and of what is in no estimate, moved."""
        scale = 10 ** exponent(self.plan.currency)
        now = known_from(self.plan, self.last)

        def at(plan: Plan, known: KnownByNow) -> dict[str, float]:
            ready = prepare(plan, known.facts, self.seed, self.replay.prior if plan is self.earlier else None)
            held = margin_charged(plan, known)  # was to come with the payment: it is not dearer by it
            middle = {
                name: scale * (amount - held.get(name, 0.0))
                for name, amount in plan.base_estimate(known.facts, ready).items()
            }
            return {**known.outside, **middle}

        begin, end = at(self.earlier, self.start), at(self.plan, now)
        self._base_then = begin
        return {
            name: float(round(end.get(name, 0.0) - begin.get(name, 0.0)))
            for name in begin.keys() | end.keys()
        }

    def _named(self, names: set[str]) -> Behind:
        """Name lines and events, the one whose middle figure moved furthest first."""
        order = sorted(names, key=lambda name: (-abs(self._middle.get(name, 0.0)), name))
        return tuple((name, self.titles.get(name, name), self._middle.get(name, 0.0)) for name in order)


def _money(plan: Plan) -> set[str]:
    return {row.id for row in plan.rows if row.is_money}


def _happened(facts: KnownFacts, name: str) -> bool:
    """Tell whether an event came: it was said to have, or money was spent on it."""
    spent = name in facts.amounts or name in facts.part_paid or name in facts.agreed or name in facts.fixed
    return facts.gates.get(name, spent)


def _kept(facts: KnownFacts, without: set[str], owner: Callable[[str], str]) -> KnownFacts:
    """Give facts without those of some lines."""
    return facts.only(lambda name: owner(name) not in without)


def _with(standing: Standing, delta: Mapping[str, int]) -> Standing:
    """Give a standing with other sums paid on some lines."""
    paid = {name: amount + delta.get(name, 0) for name, amount in standing.paid.items()}
    said = {name: amount + delta.get(name, 0) for name, amount in standing.said.items()}
    return replace(standing, paid=paid, said=said)


@dataclass(frozen=True)
class Apart:
    """What of a part is told apart from the rest of it, put in after that.

    Attributes
    ----------
    ids : tuple of str
        Of "receipts": lines that brought money in. Of "events": those that happened.
    change : Figures
        Its share of the part's change.
    over : int
        How far they are over their middle estimates in all, in whole minor units, once that is known; below 0 under,
        which is more of the money that came in.
    """

    ids: tuple[str, ...]
    change: Figures
    over: int


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
        "scope dropped": lines given up. "estimates": ranges changed in the build file. "scope added": money spent
        on what was not in the estimate, and lines added to the build file.
    change : Figures
    because : tuple of (str, str)
        Id and title of the lines, events, causes or currencies behind it, the one that pushed hardest first.
    pushes : tuple of float
        How hard each of them pushed: how far its middle figure moved, in whole minor units, and for a line with a price
        how far that is off its estimate; for a currency what the rates came to beside those planned; for a cause how
        far its score moved.
    settled, agreed : int
        Of "receipts": lines that have a price by now, paid in all or agreed, and how many of them are only agreed;
        lines that brought money in have none.
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
    sure, sure_middle : int
        Of "scope dropped": lines that were sure to be needed, and what they came to at their middle figures.
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
    sure: int = 0
    sure_middle: int = 0


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
        before = before or _frozen_build(frozen.build_text)
    plan = compile_plan(build, scenario)
    earlier, old = plan, build
    if before is not None and before.fingerprint() != build.fingerprint():
        old = before
        earlier = compile_plan(before, scenario if scenario in before.scenario else None)
    ends = record.standing(since), record.standing(until)
    for batches in (1, 2, 4, 8):
        steps = MovedSteps(old, earlier, plan, record, ends, trials, seed, batches, replay)
        start, *others = steps.take()
        if steps.effective >= LEAST_EFFECTIVE or trials < LEAST_EFFECTIVE:
            break
    parts, figures = [], start[1]
    for kind, here, names in others:
        titles = tuple((name, title) for name, title, _ in names)
        part = MovedPart(
            kind, here - figures, titles, tuple(push for *_, push in names), apart=steps.apart.get(kind)
        )
        if kind == "receipts":
            part = replace(part, settled=steps.settled, agreed=steps.agreed, over=steps.over)
        elif kind == "currency":
            part = replace(part, with_margin=steps.with_margin, margin_unused=steps.margin_unused)
        elif kind == "learning":
            part = replace(part, closed=steps.closed)
        elif kind == "scope dropped":
            sure, middle = steps.sure()
            part = replace(part, sure=sure, sure_middle=middle)
        parts.append(part)
        figures = here
    days = record.days()
    begun = days[0] if days and day_before(days[0]) == since else None
    since_freeze = next((one.date for one in record.baselines if day_before(one.date) == since), None)
    late = record.frozen_late()
    within = late is not None and since < day_before(late.date) and (until is None or until >= late.date)
    return Moved(
        since, until, plan.currency, start[1], figures, tuple(parts), steps.error, steps.half_error,
        late.date if late is not None and within else None,
        steps.start_errors, begun, since_freeze,
    )  # fmt: skip


def moved_in_all(
    build: Build,
    ledger: Ledger,
    scenario: str | None = None,
    trials: int = DEFAULT_TRIALS,
    seed: int = DEFAULT_SEED,
    *,
    replay: Replay | None = None,
) -> Moved | None:
    """Split how the forecast moved since before anything was entered, with the ranges as they are now.

    It starts where `reforecast` has what was forecast before the first receipt. None for an empty ledger.
    """
    eve = Record.read(ledger).eve()
    if eve is None:
        return None
    return what_moved(build, ledger, eve, None, scenario, trials, seed, before=build, replay=replay)


def _frozen_build(text: str) -> Build | None:
    """Read the build as it was frozen; None where its text was not kept or can no longer be read."""
    try:
        return parse_build(text) if text.strip() else None
    except BuildFileError:
        return None
