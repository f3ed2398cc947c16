"""What is known by now: the ledger's word on each line and event, made ready for the engine."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, TypeAlias

from forecast.engine.known import KnownFacts
from forecast.engine.rows import Plan
from forecast.spending.ledger import Ledger
from forecast.spending.money import to_float

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
        What the builder said is left to buy.
    """

    id: str
    state: LineState
    paid_minor: int
    committed_minor: int
    still_minor: int | None


@dataclass(frozen=True)
class Known:
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
    """

    facts: KnownFacts
    lines: Mapping[str, KnownLine]
    events: Mapping[str, str]
    paid_minor: int
    outside: Mapping[str, int]

    @property
    def outside_minor(self) -> int:
        """Everything paid for what is not in the scenario."""
        return sum(self.outside.values())


def known_facts(plan: Plan, ledger: Ledger, as_of: dt.date | None = None) -> Known:
    """Gather what is known.

    A closed line costs what was paid. A line of which the builder said how much is left costs that much more
    than was paid. An agreed price is the least a line can cost, as is what was paid for an open one.

    Parameters
    ----------
    plan : Plan
    ledger : Ledger
    as_of : datetime.date, optional
        As the ledger stood on that day; all of it when left out.

    Returns
    -------
    Known
    """
    currency = plan.currency
    paid = ledger.paid_by_line(as_of)
    committed = ledger.committed_by_line(as_of)
    closed = ledger.closed_lines(as_of)
    still = ledger.still_to_buy(as_of)
    marks = {name: mark.state for name, mark in ledger.event_states(as_of).items() if mark.state != "open"}
    amounts: dict[str, float] = {}
    floors: dict[str, float] = {}
    gates: dict[str, bool] = {}
    lines: dict[str, KnownLine] = {}
    gate_ids = {gate.id for gate in plan.gates}
    for row in plan.rows:
        if row.kind == "hours":
            continue
        name = row.id
        left = still[name].amount_minor if name in still else None
        entry = KnownLine(
            name, _state(name, paid, committed, closed), paid.get(name, 0), committed.get(name, 0), left
        )
        lines[name] = entry
        spent = to_float(entry.paid_minor, currency)
        least = to_float(entry.paid_minor + entry.committed_minor, currency)
        if name in closed:
            if spent == 0 and name in gate_ids:
                gates[name] = False
            else:
                amounts[name] = spent
        elif left is not None and marks.get(name) != "cannot-happen":
            amounts[name] = to_float(entry.paid_minor + left, currency)
        elif least > 0:
            floors[name] = least
        if name in marks and name in gate_ids:
            gates[name] = marks[name] == "happened"
            if not gates[name] and (spent > 0 or name in amounts):
                amounts[name], _ = spent, floors.pop(name, None)
                gates[name] = True  # money was spent on it all the same
    outside = {name: amount for name, amount in paid.items() if name not in lines}
    return Known(KnownFacts(amounts, floors, gates), lines, marks, sum(paid.values()), outside)


def _state(
    name: str, paid: Mapping[str, int], committed: Mapping[str, int], closed: frozenset[str]
) -> LineState:
    if name in closed:
        return "closed"
    if paid.get(name, 0):
        return "part-bought"
    return "committed" if committed.get(name, 0) else "untouched"
