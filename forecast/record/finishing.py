"""The end of a build: nothing more is paid for any line, and what did not happen no longer can."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from forecast.buildfile.schema import Build
from forecast.engine.known import KnownFacts
from forecast.engine.plan import compile_plan
from forecast.ledger import Ledger
from forecast.watching.counts import line_counts
from forecast.watching.known_facts import known_lines
from forecast.watching.reforecast import scenario_in_force
from forecast.watching.settling import close_lines
from forecast.watching.standing import Record


@dataclass(frozen=True)
class Finished:
    """What the end of a build closed.

    Attributes
    ----------
    closed, ruled_out : tuple of str
        Ids of the lines and events closed, and of the events that cannot happen any more.
    never_paid : mapping
        Titles by id of the lines closed that the build has for sure and nothing was paid for, the dearest first.
    paid_minor : int
        All that is paid: what the build costs then, in minor units of its currency.
    agreed_minor : int
        Of prices agreed, what is not paid and never will be.
    never_paid_middle : float
        The middle figures of what was never paid, added up: they count nothing any more.
    came_unpaid : mapping
        Titles by id of the events closed that were said to have happened, and that nothing was paid for.
    risks : tuple of str
        Those of `closed` that are events: they happened.
    given_up : int
        How many more lines that the build has for sure were closed before with nothing paid.
    """

    closed: tuple[str, ...]
    ruled_out: tuple[str, ...]
    never_paid: Mapping[str, str]
    paid_minor: int = 0
    agreed_minor: int = 0
    never_paid_middle: float = 0.0
    came_unpaid: Mapping[str, str] = field(default_factory=dict)
    risks: tuple[str, ...] = ()
    given_up: int = 0

    @property
    def lines(self) -> int:
        """How many lines it closed."""
        return len(self.closed) - len(self.risks)


def finish(
    ledger: Ledger, build: Build, scenario: str | None = None, day: dt.date | None = None, note: str = ""
) -> Finished:
    """Say that a build is done: nothing more is paid for any line, and what did not happen no longer can.

    Parameters
    ----------
    ledger : Ledger
    build : Build
    scenario : str, optional
        The one in force when left out.
    day, note
        As for `close_lines`.

    Returns
    -------
    Finished

    Raises
    ------
    LedgerError
        If a later word says otherwise; nothing was entered then.
    SimulationError
        If the build cannot be simulated.
    """
    found = to_finish(ledger, build, scenario)
    with ledger.together():
        close_lines(ledger, found.closed, day, note)
        for name in found.ruled_out:
            ledger.mark_event(name, "cannot-happen", day, note)
    return found


def to_finish(ledger: Ledger, build: Build, scenario: str | None = None) -> Finished:
    """Give what `finish` would close, and enter nothing.

    Raises
    ------
    SimulationError
        If the build cannot be simulated.
    """
    plan = compile_plan(build, scenario_in_force(build, scenario, ledger.baseline()))
    paid, marks = ledger.paid_by_line(), ledger.event_states()
    known = known_lines(plan, Record.read(ledger).standing())
    happened = {name for name, mark in marks.items() if mark.state == "happened"}
    impossible = {name for name, mark in marks.items() if mark.state == "cannot-happen"}
    costing = {row.id for row in plan.counted(paid)}
    closed, ruled_out = [], []
    for row in plan.payable:
        if row.kind == "event" and not paid.get(row.id) and row.id not in happened:
            if row.id not in impossible:
                ruled_out.append(row.id)
        elif known[row.id].state != "closed" and (row.kind == "event" or row.id in costing):
            closed.append(row.id)
    # A share of what is not paid yet comes to nothing at the end: what a card adds to a price is in what was charged.
    over = dict.fromkeys((name for row in plan.rows for name in row.unpaid), 0.0)
    rest = plan.base_estimate(KnownFacts(amounts=over, paid=over))
    estimates = plan.base_estimate() | {row.id: rest[row.id] for row in plan.rows if row.unpaid}
    sure = line_counts(plan, {name: replace(line, state="closed") for name, line in known.items()}).sure
    missing = [row for row in plan.payable if row.id in closed and row.id in sure]
    missing.sort(key=lambda row: -estimates[row.id])
    owed = ledger.committed_by_line()
    costs = {name for name, middle in plan.middles_if_needed().items() if middle > 0}  # not hours alone
    unpaid = {name for name in closed if name in happened & costs and not paid.get(name)}
    return Finished(
        tuple(closed), tuple(ruled_out), {row.id: row.title for row in missing}, sum(paid.values()),
        sum(owed.get(name, 0) for name in closed), sum(estimates[row.id] for row in missing),
        {row.id: row.title for row in plan.payable if row.id in unpaid},
        tuple(row.id for row in plan.payable if row.kind == "event" and row.id in closed),
        len(sure) - len(missing),
    )  # fmt: skip
