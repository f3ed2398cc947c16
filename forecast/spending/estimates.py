"""Splitting a receipt over lines: parts that are known, and the rest evenly or as the lines were estimated."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Literal

from forecast.build.schema import Build
from forecast.engine.plan import compile_plan
from forecast.engine.trials import reference_values
from forecast.errors import LedgerError
from forecast.spending.splitting import split_rest

Way = Literal["evenly", "by estimate"]


def middle_figures(build: Build, scenario: str | None = None) -> dict[str, float]:
    """Give the middle figure of each line, by id, in the build's currency; an event's at its chance."""
    plan = compile_plan(build, scenario)
    values = reference_values(plan)
    return {row.id: float(value) for row, value in zip(plan.rows, values, strict=True)}


def shared_out(
    total: int,
    given: Mapping[str, int],
    others: Sequence[str],
    way: Way,
    estimates: Mapping[str, float] | None = None,
    names: Mapping[str, str] | None = None,
) -> tuple[tuple[str, int], ...]:
    """Keep the parts of a receipt that are given and share the rest out over the other lines.

    Parameters
    ----------
    total : int
        The receipt, minor units.
    given : mapping of str to int
        Parts already known.
    others : sequence of str
        Lines that share the rest.
    way : {"evenly", "by estimate"}
    estimates : mapping of str to float, optional
        From ``middle_figures``; needed for "by estimate".
    names : mapping of str to str, optional
        What a message calls each line; its id when left out.

    Raises
    ------
    LedgerError
        If nothing is left to share, or a line has no estimate to share by.
    """
    named = [(names or {}).get(line, repr(line)) for line in others]
    rest = total - sum(given.values())
    if others and given and rest <= 0:
        message = f"parts: nothing is left for {', '.join(named)}. Correct a part, or leave the line out."
        raise LedgerError(message)
    if way == "evenly":
        return split_rest(total, given, others)
    known = {line: max(0.0, (estimates or {}).get(line, 0.0)) for line in others}
    without = [name for name, line in zip(named, others, strict=True) if not known[line]]
    if without and len(others) > 1:
        message = (
            f"parts: {without[0]} has no estimate to share by. Give its part in figures, or share evenly."
        )
        raise LedgerError(message)
    return split_rest(total, given, others, known)
