"""How many lines cost money, are closed, were bought and were not: one count each, for all that names a number."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from forecast.engine.plan import Plan
from forecast.watching.known_facts import KnownLine


@dataclass(frozen=True)
class LineCounts:
    """Lines by what became of them, each by id in the order of the plan; none of them is an event or own work.

    Attributes
    ----------
    costing : tuple of str
        Lines that cost money: those that were to, and bills that nobody told of.
    closed : tuple of str
        Of these, those of which nothing more will come.
    bought : tuple of str
        Of these, closed or not, those that something was paid for and that were in the estimate: no bill that nobody
        told of, and nothing that was sold.
    not_bought : tuple of str
        Of these, those closed with nothing paid. What was to bring money in was not sold instead, and what card or
        bank add came with what was paid abroad, or did not come with it.
    sure : tuple of str
        Of `not_bought`, those that were sure to be needed: their middle figures were in the base estimate.
    """

    costing: tuple[str, ...]
    closed: tuple[str, ...]
    bought: tuple[str, ...]
    not_bought: tuple[str, ...]
    sure: tuple[str, ...]


def line_counts(plan: Plan, lines: Mapping[str, KnownLine]) -> LineCounts:
    """Count lines by what became of them.

    Parameters
    ----------
    plan : Plan
    lines : mapping of str to KnownLine
        What the ledger says of each; see `known_facts.known_lines`.
    """
    paid = {name for name, line in lines.items() if line.paid_minor}
    rows = plan.counted(paid)
    closed = {row.id for row in rows if lines[row.id].state == "closed"}
    spent_on = [row for row in rows if row.id not in plan.income]
    never = [row for row in spent_on if row.id in closed - paid and not row.unpaid]
    middles = plan.base_estimate() if never else {}
    return LineCounts(
        tuple(row.id for row in rows),
        tuple(row.id for row in rows if row.id in closed),
        tuple(row.id for row in spent_on if row.id in paid and row.id not in plan.unforeseen),
        tuple(row.id for row in never),
        tuple(row.id for row in never if row.gate is None and middles[row.id] > 0),
    )
