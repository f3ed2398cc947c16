"""What is likely over once goods from abroad are here: risks of their way, and charges that it may bring."""

from __future__ import annotations

from collections.abc import Collection
from functools import cache

from forecast.buildfile.library import load_library
from forecast.engine.rows import Plan
from forecast.watching.known_facts import KnownByNow


def over_with_delivery(plan: Plan, known: KnownByNow, settled: Collection[str]) -> tuple[str, ...]:
    """Give the events and lines, still open, that are over where the bills of the way here are settled.

    Nobody is taken at a bill's word: damage may be found when the crate is opened, so they are asked about.

    Parameters
    ----------
    plan : Plan
    known : KnownByNow
    settled : collection of str
        Lines of which what was paid is likely all, beside those that are closed.

    Returns
    -------
    tuple of str
        In the order of the plan. An event of the file, which is of no consignment, is over once all are here.
    """

    def done(name: str) -> bool:
        return known.lines[name].state == "closed" or name in settled

    here = [one for one in plan.consignments if one.told_by and all(map(done, one.told_by))]
    over = {name for one in here for name in one.over_once_here}
    if here and len(here) == len(plan.consignments):
        over |= _over_by_kind()
    found = []
    for row in plan.rows:
        if row.id not in over or not row.is_money:
            continue
        line = known.lines[row.id]
        said = line.state != "untouched" or line.more or row.gate in known.facts.gates
        if not said:
            found.append(row.id)
    return tuple(found)


@cache
def _over_by_kind() -> frozenset[str]:
    """Give the starter events that are over with the delivery, by the id that they keep in a build file."""
    return frozenset(event.id for event in load_library(1.0).events if event.over == "delivery")
