"""What stands behind a move of the forecast: which lines, events, causes and currencies, and how hard each pushed.

It is read from what is known at the two ends of the move; the walk from one to the other is that of `moved`.
"""

from __future__ import annotations

from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from forecast.buildfile.schema import Build
from forecast.engine.condition import Posterior
from forecast.engine.facts import observe, prepare
from forecast.engine.known import KnownFacts
from forecast.engine.plan import Plan
from forecast.engine.replay import Outcome, Replay
from forecast.watching.known_facts import KnownByNow, known_from, margin_charged
from forecast.watching.reforecast import cause_titles, settled_lines
from forecast.watching.standing import Record, Standing
from forecast.words.minor_units import exponent

Behind: TypeAlias = tuple[tuple[str, str, float], ...]
"""Id and title of what is behind a step, and how hard it pushed."""

OWN_RANGES = "own_ranges"
"""Stands among the causes for the width of the builder's own ranges."""
WIDER = 0.1
"""Move of ln κ, that width, from which it is told."""

_AS_PLANNED = 0.995
"""From this share of the rate planned on, the rate did not come cheaper: a bank's differs so much by the hour."""


@dataclass(frozen=True)
class Rates:
    """What receipts between the ends came to beside the rates of exchange that were planned.

    Attributes
    ----------
    less : dict of str to int
        By how much each line's receipts were to be other at the rates planned.
    over : dict of str to int
        By how much those of each currency came to more than at the rates planned.
    with_margin : bool
        Whether the rates planned hold what the card adds, as the sums charged do.
    margin_unused : bool
        Whether what came cheaper is that margin alone, which was not charged, or not in full.
    """

    less: dict[str, int]
    over: dict[str, int]
    with_margin: bool
    margin_unused: bool

    @property
    def behind(self) -> Behind:
        """The currencies, in the order of their receipts."""
        return tuple((code, code, float(over)) for code, over in self.over.items())


@dataclass(frozen=True)
class Priced:
    """Lines that came in, beside their middle estimates.

    Attributes
    ----------
    told : tuple of (str, str, float)
        How far each is off by its price; 0 for those that have none yet.
    settled, agreed, likely : int
        How many have a price, and how many of them by an agreement alone, or by a sum paid that is likely all.
    over : int
        How far these prices are over in all, in whole minor units.
    """

    told: Behind
    settled: int
    agreed: int
    likely: int
    over: int


class BothEnds:
    """What is known at the two ends of a move, and what of it differs.

    Attributes
    ----------
    start, end : KnownByNow
        What is known at the ends, by the build as it was at the first.
    events : set of str
        All events of that build.
    dropped, taken_up : set of str
        Lines given up between the ends, and lines that were given up at the first and are not at the last.
    gone, new : set of str
        Lines and events of one of the two builds only.
    unforeseen : set of str
        Rows of both builds for money that was in no estimate, of which more is known.
    """

    def __init__(
        self,
        build: Build,
        earlier: Plan,
        plan: Plan,
        record: Record,
        ends: tuple[Standing, Standing],
        replay: Replay,
        seed: int,
    ) -> None:
        self.build, self.earlier, self.plan, self.record = build, earlier, plan, record
        self.first, self.last = ends
        self.replay, self.seed = replay, seed
        # with the build: what was paid on its other ways teaches at both ends, and is no news of the last step
        self.start = known_from(earlier, self.first, build)
        self.end = known_from(earlier, self.last, build)
        self.titles = {**self.end.taken_out, **earlier.absent, **plan.absent} | {
            row.id: row.title for row in (*earlier.rows, *plan.rows)
        }
        self.events = {row.id for row in earlier.rows if row.kind == "event"}
        # an event on which nothing was spent is told among events, and is no line given up
        self.dropped = set(self.end.dropped - self.start.dropped) - self.events
        self.taken_up = set(self.start.dropped - self.end.dropped) - self.events
        now, then = money_ids(plan), money_ids(earlier)
        self.gone, self.new = then - now, now - then
        self.unforeseen = (
            self._differing(set(earlier.unforeseen & plan.unforeseen)) - self.dropped - self.taken_up
        )
        self._base_then, self._pushes = self._middles()

    @property
    def ended(self) -> bool:
        """Whether every line and event is known at the end, in sums that cannot vary any more."""
        facts = self.end.facts
        known = facts.amounts.keys() | facts.fixed.keys()
        return all(
            row.id in known or (row.gate is not None and facts.gates.get(row.gate) is False)
            for row in self.earlier.rows
            if row.is_money and row.inputs and not row.unpaid and row.id not in self.gone
        )

    def touched(self, late: set[str]) -> set[str]:
        """Name lines of which something else is known at the end, but for those that are told later."""
        return self._differing({row.id for row in self.earlier.rows if row.kind == "line"} - late)

    def sold(self, touched: set[str]) -> set[str]:
        """Name lines that brought money in, as they were to, and are closed."""
        fixed = self.end.facts.fixed
        return {name for name in touched & self.earlier.income if fixed.get(name, 0.0) < 0}

    def unsold(self) -> set[str]:
        """Name lines that were to bring money in and were closed, between the ends, with nothing sold."""
        return self.dropped & self.earlier.income & {row.id for row in self.earlier.rows}

    def missed(self, unsold: set[str]) -> int:
        """Give what lines were to bring in at their middle figures, in minor units."""
        maybe = self.earlier.middles_if_needed()
        scale, middles = 10 ** exponent(self.plan.currency), self.earlier.at_middle()
        missed: float = -scale * sum(maybe.get(name, middles[name]) for name in unsold)
        return round(missed)

    def priced(self, touched: set[str], sold: set[str]) -> Priced:
        """Give how far lines are off their middle estimates by their price, and 0 for those that have none yet.

        What may not be needed stood in no sum in full: what it costs is no push, only what of it is over or under.
        A line of which what was paid is likely all counts by that: it can hardly vary more than one that is closed.
        Lines sold count in none of the numbers.
        """
        scale = 10 ** exponent(self.plan.currency)
        maybe = {name: scale * value for name, value in self.earlier.middles_if_needed().items()}
        final = {
            **dict.fromkeys(self.end.facts.agreed, True),
            **dict.fromkeys((*self.end.facts.amounts, *sold), False),
        }
        likely = self._likely_all() & touched - final.keys()
        final |= dict.fromkeys(likely, False)
        gated = {row.id for row in self.earlier.rows if row.gate is not None}
        told = []
        for name, title, push in self.named(touched):
            if name in final and name in gated and name not in self.start.facts.amounts:
                push += self._base_then.get(name, 0.0) - maybe[name]
            told.append((name, title, push if name in final else 0.0))
        settled = sum(name in final and name not in sold for name, *_ in told)
        agreed = sum(final.get(name, False) for name, *_ in told)
        over = round(sum(push for name, _, push in told if name not in sold))
        return Priced(tuple(told), settled, agreed, len(likely - sold), over)

    def _likely_all(self) -> set[str]:
        """Name lines of which what was paid by the end is likely all, though nobody said so."""
        partial = self.replay.conditions(self.end.facts).partial
        chances = {name: one.settled for name, one in partial.items()}
        return {
            name
            for name in settled_lines(self.earlier, self.end, chances)
            if not self.end.lines[name].more and name not in self.earlier.income
        }

    def at_planned_rates(self) -> Rates:
        """Hold the receipts between the ends against the rates planned."""
        home, rows = self.plan.currency, {row.id: row for row in self.earlier.rows}
        less: dict[str, int] = {}
        over: dict[str, int] = {}
        paid, without, with_margin = 0, 0.0, False
        for one in self.record.payments:
            inside = self.first.as_of is not None and one.date > self.first.as_of
            inside = inside and (self.last.as_of is None or one.date <= self.last.as_of)
            planned = self.earlier.rates.get(one.currency)
            if not inside or one.currency == home or planned is None:
                continue
            rate = planned.middle * planned.with_margin(rows.get(one.line_id))
            rate *= 1 + self.plan.added_abroad.get(one.line_id, 0.0)
            unit = one.foreign_minor * 10.0 ** (exponent(home) - exponent(one.currency))
            other = round(unit * rate) - one.amount_minor
            less[one.line_id] = less.get(one.line_id, 0) + other
            over[one.currency] = over.get(one.currency, 0) - other
            with_margin |= rate > planned.middle
            without += unit * planned.middle
            paid += one.amount_minor
        unused = with_margin and sum(over.values()) < 0 and paid >= _AS_PLANNED * without
        return Rates(less, over, with_margin, unused)

    def learned(self, begin: Posterior | None, end: Posterior | None, open_: Outcome) -> Behind:
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

    def closed(self) -> int:
        """Count the closed lines with a range of the builder's own: those that tell how such ranges hold."""
        final = self.end.facts.amounts
        return sum(
            one.own and one.row in final and not one.follows
            for one in observe(self.earlier, self.end.facts, self.seed, self.replay.prior)
        )

    def events_moved(self) -> tuple[set[str], set[str]]:
        """Name events of which something else is known at the end, and those of them that happened.

        One of which it was only said again that it happened is no news beside those that did or no longer can.
        """
        moved = self._differing(self.events - self.gone)
        moved = {
            name
            for name in moved
            if self._pushes.get(name)
            or self.last.events.get(name) == "cannot-happen"
            or _happened(self.start.facts, name) != _happened(self.end.facts, name)
        } or moved
        return moved, {name for name in moved if _happened(self.end.facts, name)}

    def over_if_came(self, came: set[str]) -> int:
        """Give how far events whose cost is known are over their middle figures if they happen."""
        scale, maybe = 10 ** exponent(self.plan.currency), self.earlier.middles_if_needed()
        known = {**self.end.facts.amounts, **self.end.facts.fixed}
        offs = [known[name] - maybe[name] for name in came & known.keys() & maybe.keys()]
        off: float = scale * sum(offs)
        return round(off)

    def edited(self) -> set[str]:
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

    def named(self, names: AbstractSet[str]) -> Behind:
        """Name lines and events, the one whose middle figure moved furthest first."""
        order = sorted(names, key=lambda name: (-abs(self._pushes.get(name, 0.0)), name))
        return tuple((name, self.titles.get(name, name), self._pushes.get(name, 0.0)) for name in order)

    def _differing(self, names: set[str]) -> set[str]:
        """Name those of which something else is known at the end than at the start."""
        return {name for name in names if self.start.facts.about(name) != self.end.facts.about(name)}

    def _middles(self) -> tuple[dict[str, float], dict[str, float]]:
        """Give the middle figure of each line and event, and of what is in no estimate, at the start.

        And how far each moved by the end.
        """
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
        return begin, {
            name: float(round(end.get(name, 0.0) - begin.get(name, 0.0)))
            for name in begin.keys() | end.keys()
        }


def money_ids(plan: Plan) -> set[str]:
    """Name the lines and events of a plan."""
    return {row.id for row in plan.rows if row.is_money}


def _happened(facts: KnownFacts, name: str) -> bool:
    """Tell whether an event came: it was said to have, or money was spent on it."""
    spent = name in facts.amounts or name in facts.part_paid or name in facts.agreed or name in facts.fixed
    return facts.gates.get(name, spent)
