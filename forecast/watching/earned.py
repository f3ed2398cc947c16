"""Earned value: the contractor's way of saying where a job ends, beside the simulation.

Terms are those of ANSI/EIA-748. All arithmetic is exact, on fractions: a CPI rounded to two digits before it is
divided by can move an estimate at completion by a third of a percent.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from fractions import Fraction

from forecast.buildfile.schema import Build
from forecast.engine.plan import Plan, compile_plan
from forecast.ledger import Ledger
from forecast.watching.known_facts import known_from, margin_charged
from forecast.watching.reforecast import scenario_in_force
from forecast.watching.standing import Record, Standing
from forecast.words.minor_units import exponent, to_decimal

STARTED = Fraction(1, 2)
"""What a line that is begun, and of which nobody said how much is left, has earned: the 50/50 rule, common practice."""

NOT_THE_SAME = (
    "Earned value takes the middle figures of the lines as the whole plan: no risk event, no line that may not be "
    "needed, no contingency is in its budget at completion.",
    "It carries one ratio, what was earned by what was spent so far, over to everything that is still open, as if a "
    "dear freight bill made paint dear. The simulation moves what is still open by what it has in common with what "
    "came in, and as far as that goes: a shared cause, your own estimating behind all your guesses, how well your "
    "ranges held, a percentage.",
    "It gives one figure; the simulation gives a range and how often the budget is enough.",
    "A line that is begun counts as half earned unless you said what is left to buy. This plan has no dates, so there "
    "is no planned value, and no schedule index.",
)
"""Why these figures differ from the simulation's, in plain words."""


@dataclass(frozen=True)
class EarnedValue:
    """Earned-value figures, exact, in the currency's main unit.

    Attributes
    ----------
    bac : Fraction
        Budget at completion: what the plan's lines were to cost.
    ev : Fraction
        Earned value: what the work done was to cost.
    ac : Fraction
        Actual cost of it.
    """

    bac: Fraction
    ev: Fraction
    ac: Fraction

    @property
    def cv(self) -> Fraction:
        """Cost variance: EV − AC."""
        return self.ev - self.ac

    @property
    def cpi(self) -> Fraction | None:
        """Cost performance index: EV / AC; None before anything was paid."""
        return self.ev / self.ac if self.ac else None

    @property
    def eac(self) -> Fraction | None:
        """Estimate at completion, the rest going as what is done: BAC / CPI; None before anything was earned."""
        return self.eac_at(self.cpi) if self.cpi else None

    def eac_at(self, index: Fraction) -> Fraction:
        """Estimate at completion, the rest going at an index of one's own: AC + (BAC − EV) / index.

        Another index than the CPI is, for example, the CPI times a schedule index (the composite).
        """
        return self.ac + (self.bac - self.ev) / index

    @property
    def eac_as_planned(self) -> Fraction:
        """Estimate at completion, the rest going as planned: AC + BAC − EV."""
        return self.ac + self.bac - self.ev

    @property
    def etc(self) -> Fraction | None:
        """Estimate to complete: EAC − AC."""
        return None if self.eac is None else self.eac - self.ac

    @property
    def vac(self) -> Fraction | None:
        """Variance at completion: BAC − EAC; below zero where more is needed."""
        return None if self.eac is None else self.bac - self.eac

    def tcpi(self, target: Fraction | None = None) -> Fraction | None:
        """To-complete performance index: (BAC − EV) / (target − AC), the budget at completion left out being meant.

        None where nothing is left of the target, or nothing is left to do.
        """
        left = (self.bac if target is None else target) - self.ac
        return (self.bac - self.ev) / left if left > 0 and self.bac > self.ev else None


@dataclass(frozen=True)
class EarnedLine:
    """One line's part in it.

    Attributes
    ----------
    id, title : str
    planned, earned, paid : Fraction
    share_done : Fraction
        0, 1, or between: see `STARTED`.
    """

    id: str
    title: str
    planned: Fraction
    share_done: Fraction
    paid: Fraction

    @property
    def earned(self) -> Fraction:
        """What of it was earned."""
        return self.planned * self.share_done


@dataclass(frozen=True)
class Earned:
    """Earned value of a build on a day.

    Attributes
    ----------
    currency : str
    value : EarnedValue
    lines : tuple of EarnedLine
        Without those given up.
    from_baseline : bool
        Whether the plan is the frozen one; else it is the build file's middle figures.
    as_of : datetime.date or None
    given_up : tuple of EarnedLine
        Lines that were sure to be needed, closed with nothing paid: no work was done on them, and they count in no
        term. What card or bank add to what was never paid abroad is left out with them, and is no line of its own.
    """

    currency: str
    value: EarnedValue
    lines: tuple[EarnedLine, ...]
    from_baseline: bool
    as_of: dt.date | None
    given_up: tuple[EarnedLine, ...] = ()


def earned_value(
    build: Build, ledger: Ledger, scenario: str | None = None, as_of: dt.date | None = None
) -> Earned:
    """Give earned-value figures.

    The plan is that of the baseline, line by line, else the build's middle figures. A closed line is earned in full,
    a begun one by what was paid of what it comes to where the builder said what is left, else by half. One closed
    with nothing paid was given up: it is no work done, and is left out of the budget at completion. Everything paid
    counts as actual cost, in the plan or not.

    Parameters
    ----------
    build : Build
    ledger : Ledger
    scenario : str, optional
        When left out, the one that the baseline was frozen with, else the first of the file.
    as_of : datetime.date, optional
        As the ledger stood on that day.

    Returns
    -------
    Earned

    Raises
    ------
    SimulationError
        When the build or the scenario cannot be compiled.
    LedgerError
        When the ledger cannot be read.
    """
    standing = Record.read(ledger).standing(as_of)
    plan = compile_plan(build, scenario_in_force(build, scenario, standing.baseline))
    frozen = dict(standing.baseline.base_by_line) if standing.baseline is not None else {}
    planned = dict(frozen) or _middle_figures(plan)
    titles = {row.id: row.title for row in plan.rows}
    # What card or bank add comes with what was paid abroad: so much more that was to cost, and the margin less.
    scale, known = 10 ** exponent(plan.currency), known_from(plan, standing)
    for name, held in margin_charged(plan, known).items():
        if name in planned:
            planned[name] += round(scale * held)
    with_others = {row.id for row in plan.rows if row.kind == "line" and row.unpaid}
    every = tuple(
        EarnedLine(
            name,
            titles.get(name, name),
            _exact(amount, plan.currency),
            _share_done(name, standing),
            _exact(standing.paid.get(name, 0), plan.currency),
        )
        for name, amount in planned.items()
    )
    over = [line for line in every if line.id in standing.closed and not line.paid and line.planned > 0]
    given_up = tuple(line for line in over if line.id not in with_others)
    lines = tuple(line for line in every if line not in over)
    value = EarnedValue(
        sum((line.planned for line in lines), Fraction(0)),
        sum((line.earned for line in lines), Fraction(0)),
        _exact(standing.paid_minor, plan.currency),
    )
    return Earned(plan.currency, value, lines, bool(frozen), as_of, given_up)


def _middle_figures(plan: Plan) -> dict[str, int]:
    scale = 10 ** exponent(plan.currency)
    return {name: round(amount * scale) for name, amount in plan.base_estimate().items()}


def _exact(minor: int, currency: str) -> Fraction:
    return Fraction(to_decimal(minor, currency))


def _share_done(name: str, standing: Standing) -> Fraction:
    paid = standing.paid.get(name, 0)
    if name in standing.closed:
        return Fraction(1)
    if paid <= 0:
        return Fraction(0)
    said = standing.said.get(name, 0)
    return Fraction(paid, max(paid, said)) if name in standing.said else STARTED
