"""What moved the forecast between two days, split without a rest.

Facts are put in one kind after the other, always in the same order, with the same draws; each part is the difference
between two neighbouring forecasts, so the parts add up to the whole. What two kinds do together falls to the later
one: the order is part of the answer, and is that of `ORDER`.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from forecast.buildfile.reader import parse_build
from forecast.buildfile.schema import Build
from forecast.engine.forecast import DEFAULT_SEED, DEFAULT_TRIALS
from forecast.engine.plan import compile_plan
from forecast.engine.replay import Replay
from forecast.engine.trials import LEAST_EFFECTIVE
from forecast.errors import BuildFileError
from forecast.ledger import Ledger
from forecast.watching.reforecast import scenario_in_force
from forecast.watching.standing import Record, day_before
from forecast.watching.steps import ORDER, Figures, PartKind, Steps

__all__ = ["ORDER", "Figures", "Moved", "MovedPart", "PartKind", "what_moved"]


@dataclass(frozen=True)
class MovedPart:
    """One part of a change.

    Attributes
    ----------
    kind : str
        "receipts": lines came in above or below their estimates, at the rates of exchange that were planned.
        "currency": the rates at which they were really paid. "learning": what all that says about what is open.
        "events": events that happened or cannot happen any more, what they cost and what they say.
        "scope dropped": lines given up. "estimates": ranges changed in the build file. "scope added": money spent
        on what was not in the estimate, and lines added to the build file.
    change : Figures
    because : tuple of (str, str)
        Id and title of the lines, events, causes or currencies behind it, the one that pushed hardest first.
    pushes : tuple of float
        How hard each of them pushed: how far its middle figure moved, in whole minor units; for a currency what the
        rates came to beside those planned; for a cause how far its score moved.
    """

    kind: PartKind
    change: Figures
    because: tuple[tuple[str, str], ...]
    pushes: tuple[float, ...] = ()


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
        steps = Steps(old, earlier, plan, record, ends, trials, seed, batches, replay)
        start, *others = steps.take()
        if steps.effective >= LEAST_EFFECTIVE or trials < LEAST_EFFECTIVE:
            break
    parts, figures = [], start[1]
    for kind, here, names in others:
        titles = tuple((name, title) for name, title, _ in names)
        parts.append(MovedPart(kind, here - figures, titles, tuple(push for *_, push in names)))
        figures = here
    late = record.frozen_late()
    within = late is not None and since < day_before(late.date) and (until is None or until >= late.date)
    return Moved(
        since, until, plan.currency, start[1], figures, tuple(parts), steps.error, steps.half_error,
        late.date if late is not None and within else None,
    )  # fmt: skip


def _frozen_build(text: str) -> Build | None:
    """Read the build as it was frozen; None where its text was not kept or can no longer be read."""
    try:
        return parse_build(text) if text.strip() else None
    except BuildFileError:
        return None
