"""What the ledger makes known of each line and event, and a forecast from what is known as it stands."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from typing import Literal, TypeAlias

from forecast.buildfile.schema import Bought, Build
from forecast.engine.facts import observe
from forecast.engine.forecast import DEFAULT_SEED, DEFAULT_TRIALS, Forecast, forecast_plan
from forecast.engine.known import Agreed, Foreign, KnownFacts, PartPaid, Taught
from forecast.engine.plan import compile_plan
from forecast.engine.replicate import Keep
from forecast.engine.rows import Plan, Row
from forecast.figures.formula import Constant
from forecast.ledger import Ledger
from forecast.ledger.records import AgreementKind
from forecast.watching.standing import Record, Standing
from forecast.words.minor_units import to_float
from forecast.words.money import exact

LineState: TypeAlias = Literal["untouched", "committed", "part-bought", "closed"]


@dataclass(frozen=True)
class KnownLine:
    """What the ledger says of one line or event.

    Attributes
    ----------
    id : str
    state : {"untouched", "committed", "part-bought", "closed"}
    paid_minor : int
        Minor units of the build's currency.
    committed_minor : int
        Agreed and not yet paid.
    still_minor : int or None
        What is left to buy, by the builder's last word on it.
    more : bool
        Whether more was said to come, beside what was paid; so too while something is left to buy.
    """

    id: str
    state: LineState
    paid_minor: int
    committed_minor: int
    still_minor: int | None
    more: bool = False


@dataclass(frozen=True)
class KnownByNow:
    """All that is known on a day.

    Attributes
    ----------
    facts : KnownFacts
        For the engine.
    lines : mapping of str to KnownLine
        Every line and event of the scenario.
    events : mapping of str to str
        "happened" or "cannot-happen", for those that are settled.
    paid_minor : int
        Everything paid, whether in the estimate or not.
    outside : mapping of str to int
        Paid for things that are not in this scenario: scope added, on top of the forecast.
    currency : str
        The build's.
    dropped : frozenset of str
        Lines closed with nothing paid: scope dropped.
    remarks : tuple of str
        What in the ledger does not fit together or does not fit the scenario.
    closed : frozenset of str
        All that was said to be closed: lines, and own hours that are worked.
    taken_out : mapping of str to str
        What they were called, by id, of those paid for that the build has no more, in none of its ways.
    """

    facts: KnownFacts
    lines: Mapping[str, KnownLine]
    events: Mapping[str, str]
    paid_minor: int
    outside: Mapping[str, int]
    currency: str
    dropped: frozenset[str] = frozenset()
    remarks: tuple[str, ...] = ()
    closed: frozenset[str] = frozenset()
    taken_out: Mapping[str, str] = field(default_factory=dict)

    @property
    def paid(self) -> float:
        """Everything paid, in the main unit."""
        return to_float(self.paid_minor, self.currency)

    @property
    def outside_minor(self) -> int:
        """Everything paid for what is not in the scenario."""
        return sum(self.outside.values())


SETTLED: Mapping[Bought, float] = {"once": 0.94, "several": 0.65, "running": 0.25}
"""Chance that a sum paid for a line is all of it, before the sum is looked at, by how the line is bought; common
practice, no source."""

EXTRAS: Mapping[AgreementKind, float] = {"fixed": 0.1, "estimate": 0.4}
"""Chance of extras on an agreed price, by the kind of agreement; common practice, no source."""


@dataclass
class _Gathered:
    """Facts while they are gathered, in the build's main unit."""

    amounts: dict[str, float] = field(default_factory=dict)
    part_paid: dict[str, PartPaid] = field(default_factory=dict)
    agreed: dict[str, Agreed] = field(default_factory=dict)
    gates: dict[str, bool] = field(default_factory=dict)
    fixed: dict[str, float] = field(default_factory=dict)
    foreign: dict[str, Foreign] = field(default_factory=dict)
    dropped: set[str] = field(default_factory=set)
    remarks: list[str] = field(default_factory=list)

    def facts(self) -> KnownFacts:
        """Give them to the engine."""
        return KnownFacts(self.amounts, self.part_paid, self.agreed, self.gates, self.fixed, self.foreign)


def known_facts(plan: Plan, ledger: Ledger, as_of: dt.date | None = None) -> KnownByNow:
    """Gather what is known.

    - A closed line costs what was paid, refunds taken off. Closed with nothing paid it was given up: it costs
      nothing, and that says nothing about the shared causes.
    - A line of which the builder said how much is left costs what was paid by then and that; paying some of it
      does not make it dearer. A price agreed and said to be all that is left is so a known one.
    - A price agreed for a line that is bought once is its price, with a chance of extras; paid in full, or settled, the
      line is closed. A line bought in several goes may cost more than what is agreed for it.
    - Otherwise what was paid may be all or not: how likely that is follows from the sum, from the line's range and
      from how it is bought. Where more was said to come, it is not all.
    - An event with money spent on it happened. What was paid for no line of the scenario is counted on top.

    Parameters
    ----------
    plan : Plan
    ledger : Ledger
    as_of : datetime.date, optional
        As the ledger stood on that day; all of it when left out.

    Returns
    -------
    KnownByNow

    Raises
    ------
    LedgerError
        When the ledger cannot be read.
    """
    return known_from(plan, Record.read(ledger).standing(as_of))


def known_from(plan: Plan, standing: Standing, build: Build | None = None) -> KnownByNow:
    """Gather what is known from a ledger that was read already; see `known_facts`.

    Parameters
    ----------
    plan : Plan
    standing : Standing
    build : Build, optional
        The one that the plan is of: what was paid for lines of its other ways teaches the shared causes too.
    """
    gathered = _Gathered()
    gates = {gate.id for gate in plan.gates}
    lines = known_lines(plan, standing)
    for row in plan.rows:
        if row.is_money:
            _gather(row, plan, standing, gates, gathered)
    outside = {name: amount for name, amount in standing.paid.items() if name not in lines}
    unknown = [name for name in standing.events if name not in gates]
    gathered.remarks += [
        f"\u201c{plan.absent.get(name, name)}\u201d was marked as an event, but is none of this scenario."
        for name in unknown
    ]
    facts = gathered.facts()
    facts = replace(facts, paid=_towards(plan, standing, lines, facts.agreed))
    elsewhere = {
        name for name in (*outside, *standing.committed) if name in plan.absent
    }  # agreed prices teach too
    if build is not None and elsewhere:
        facts = replace(facts, taught=_taught(build, plan, standing, elsewhere))
    return KnownByNow(
        facts, lines, standing.events, standing.paid_minor, outside, plan.currency,
        frozenset(gathered.dropped), tuple(gathered.remarks), standing.closed,
        standing.former.titles(name for name in outside if name not in plan.absent),
    )  # fmt: skip


def known_lines(plan: Plan, standing: Standing) -> dict[str, KnownLine]:
    """Give how each line and event of a plan stands, by id."""
    return {row.id: _line(row, standing) for row in plan.rows if row.is_money}


def _towards(
    plan: Plan, standing: Standing, lines: Mapping[str, KnownLine], agreed: Collection[str]
) -> dict[str, float]:
    """Give what is paid for lines that an event is a share of as far as they are not paid yet.

    A deposit on an agreed price settles nothing of it: the whole price can still be overrun.
    """
    read = dict.fromkeys(name for row in plan.rows for name in row.unpaid)
    paid = {name: standing.paid.get(name, 0) for name in read if name in lines and name not in agreed}
    return {
        name: to_float(minor, plan.currency)
        for name, minor in paid.items()
        if minor > 0 or lines[name].state == "closed"
    }


def _taught(build: Build, plan: Plan, standing: Standing, missing: set[str]) -> dict[str, Taught]:
    """Give what amounts of lines say that a plan does not have: as in the first way of the build that has them."""
    found: dict[str, Taught] = {}
    for way in build.scenario:
        if way == plan.scenario or not missing - found.keys():
            continue
        other = compile_plan(build, way)
        facts = known_from(other, standing).facts
        here = {row.id for row in other.rows} & (missing - found.keys())
        for one in observe(other, facts.only(lambda name, here=here: name in here), DEFAULT_SEED):  # type: ignore[misc]
            if one.row in here and not one.follows:
                found[one.row] = Taught(
                    one.loadings[: len(plan.causes)],
                    one.score,
                    one.own,
                    one.evidence,
                    one.weight,
                    one.guessed,
                )
    return found


def margin_charged(plan: Plan, known: KnownByNow) -> dict[str, float]:
    """Give how much of what card or bank were to add stands in sums that were charged, by row; it adds up to nothing.

    Planned in a row of its own, it comes with the payment: so much more was that line to cost, and the margin less.
    """
    middles = plan.at_middle(gated="by chance") if plan.margins else {}
    found: dict[str, float] = {}
    for margin, name, share in plan.margins:
        line = known.lines[name]
        paid = to_float(line.paid_minor, known.currency) / (1 + plan.added_abroad[name])
        if paid > 0:
            held = share * (middles[name] if line.state == "closed" else min(paid, middles[name]))
            found[name] = found.get(name, 0.0) + held
            found[margin] = found.get(margin, 0.0) - held
    return found


def _line(row: Row, standing: Standing) -> KnownLine:
    name = row.id
    paid, committed = standing.paid.get(name, 0), standing.committed.get(name, 0)
    left = max(0, standing.said[name] - paid) if name in standing.said else None
    state: LineState = "committed" if committed else "untouched"
    if name in standing.closed or _paid_up(row, standing):
        state = "closed"
    elif paid:
        state = "part-bought"
    more = state != "closed" and (bool(left) or name in standing.more)
    return KnownLine(name, state, paid, committed, left, more)


def _paid_up(row: Row, standing: Standing) -> bool:
    """Tell whether the price agreed for a line bought once is paid, and nothing else was said since."""
    return (
        row.id in standing.paid_up
        and row.bought == "once"
        and standing.paid.get(row.id, 0) > 0
        and row.id not in standing.more
        and row.id not in standing.said
    )


def _gather(row: Row, plan: Plan, standing: Standing, gates: set[str], gathered: _Gathered) -> None:
    """Sort what is known of one line or event into facts."""
    name = row.id
    paid = standing.paid.get(name, 0)
    least = paid + standing.committed.get(name, 0)
    said = standing.said.get(name)
    mark = standing.events.get(name) if name in gates else None
    if mark == "cannot-happen":
        if paid > 0:  # so it did happen, and is over
            gathered.amounts[name] = to_float(paid, plan.currency)
            gathered.remarks.append(f"{row.title} is marked as cannot happen, but money was spent on it.")
        else:
            gathered.gates[name] = False
        return
    if mark == "happened":
        gathered.gates[name] = True
    closed = name in standing.closed or _paid_up(row, standing)
    if closed or (said is not None and max(said, least) <= 0):
        if paid > 0:
            gathered.amounts[name] = to_float(paid, plan.currency)
            _in_foreign(name, paid, paid, standing, gathered)
        elif row.formula != Constant(0.0):  # a line of own hours alone costs nothing in any case
            _give_up(row, plan, to_float(paid, plan.currency), mark, gates, gathered)
    elif said is not None and said >= paid:
        gathered.amounts[name] = to_float(max(said, least), plan.currency)
        _in_foreign(name, paid, max(said, least), standing, gathered)
    elif name in standing.agreed and row.bought == "once" and least > 0 and name not in standing.more:
        gathered.agreed[name] = Agreed(to_float(least, plan.currency), EXTRAS[standing.agreed[name]])
        _in_foreign(name, paid, least, standing, gathered)
    else:
        if least > 0:
            settled = 0.0 if name in standing.more else SETTLED[row.bought]
            dearer = _exchange(row, plan, standing)
            back = to_float(standing.back.get(name, 0), plan.currency)
            gathered.part_paid[name] = PartPaid(
                to_float(least, plan.currency) - dearer, settled, dearer, back
            )
        if paid < 0:
            _more_back(row, plan, standing, mark, gates, gathered)


def _more_back(
    row: Row, plan: Plan, standing: Standing, mark: str | None, gates: set[str], gathered: _Gathered
) -> None:
    """Take what came in for an open line that brings money in, or what came back beyond what was paid for another.

    What is sold once, or brought more than was expected of it, brought what came in: else the forecast would count
    less than is in hand, or more than it was sold for.
    """
    paid = standing.paid[row.id]
    came, so_far = exact(-paid, plan.currency), to_float(paid, plan.currency)
    middle = plan.at_middle(gated="open")[row.id]
    if middle >= 0:
        gathered.remarks.append(
            f"{row.title}: {came} more came back than was paid, and it is still open. Its range is taken as what it "
            "costs in the end, refunds taken off; close it if nothing more will come."
        )
    elif so_far <= middle or (row.bought == "once" and row.id not in standing.more):
        _give_up(row, plan, so_far, mark, gates, gathered)
        gathered.remarks.append(
            f"{row.title}: {came} came in, and it counts as what it brings. Close it if nothing more will come in."
        )
    else:
        gathered.remarks.append(
            f"{row.title}: {came} came in, and it still counts as estimated. Close it if nothing more will come in."
        )


def _exchange(row: Row, plan: Plan, standing: Standing) -> float:
    """Give by how much the rates at which a row was paid in its own foreign money made that dearer than planned."""
    planned = plan.planned_rate(row)
    code, minor = standing.foreign.get(row.id, ("", 0.0))
    paid = to_float(standing.paid.get(row.id, 0), plan.currency)
    if planned is None or code != row.currency or minor <= 0 or paid <= 0:
        return 0.0
    return paid - minor * to_float(1, code) * planned


def _in_foreign(name: str, paid: int, whole: int, standing: Standing, gathered: _Gathered) -> None:
    """Note what a line cost in the one foreign currency it was paid in; what is left to pay at the same rate."""
    if name in standing.foreign and paid > 0:
        code, minor = standing.foreign[name]
        if minor > 0:
            gathered.foreign[name] = Foreign(code, to_float(1, code) * minor * whole / paid)


def _give_up(
    row: Row, plan: Plan, paid: float, mark: str | None, gates: set[str], gathered: _Gathered
) -> None:
    """Note a line on which nothing was spent in the end, or less than nothing."""
    # what is a share of what is not paid yet came with what was, and what was sold brought its money in
    if not row.unpaid and not (paid < 0 and row.id in plan.income):
        gathered.dropped.add(row.id)
    if row.id in gates and mark is None and paid == 0:
        gathered.gates[row.id] = False
        return
    gathered.fixed[row.id] = paid
    for other in plan.rows:
        if not other.is_money and other.of == row.id:
            gathered.fixed[other.id] = 0.0


Knowledge: TypeAlias = KnownFacts | Standing | None
"""What is known by now: facts about one plan's lines, a ledger as it stands, which fits any plan, or nothing."""


def facts_about(plan: Plan, known: Knowledge, build: Build | None = None) -> tuple[KnownFacts | None, float]:
    """Give what is known of a plan's lines, and what was paid for lines that it does not have.

    Money that is paid is paid: a way of doing the build that has no use for it bears it all the same. With the build
    that the plan is of, it also learns from it all the same.
    """
    if known is None or isinstance(known, KnownFacts):
        return known, 0.0
    found = known_from(plan, known, build)
    return found.facts, to_float(found.outside_minor, plan.currency)


def forecast_given(
    build: Build,
    scenario: str | None = None,
    trials: int = DEFAULT_TRIALS,
    seed: int = DEFAULT_SEED,
    known: Knowledge = None,
    keep: Keep | None = "rows",
) -> Forecast:
    """Forecast what a build costs, starting from what is known.

    Parameters
    ----------
    build : Build
    scenario : str, optional
        Its id; the first of the file when left out.
    trials, seed : int
    known : KnownFacts, Standing or None
    keep : {"rows", "totals"}, optional

    Returns
    -------
    Forecast
        What was paid for lines that the scenario does not have counts in its totals and in its base estimate.

    Raises
    ------
    SimulationError
        When something asked for cannot be simulated.
    """
    plan = compile_plan(build, scenario)
    facts, outside = facts_about(plan, known, build)
    return with_outside(forecast_plan(plan, trials, seed, known=facts, keep=keep), outside)


def spent(build: Build, known: Standing) -> dict[str, float]:
    """Give what was paid for each line or event, in the build's main unit."""
    code = build.build.currency
    return {name: to_float(amount, code) for name, amount in known.paid.items() if amount}


def with_outside(forecast: Forecast, outside: float) -> Forecast:
    """Give a forecast with a sum on top of every trial: money spent on what is none of its lines."""
    if not outside:
        return forecast
    trials = replace(forecast.trials, totals=forecast.trials.totals + outside)
    return replace(forecast, trials=trials, outside=forecast.outside + outside)
