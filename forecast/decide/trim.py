"""What could go: optional lines by the money that leaving them out frees, and lines that must not."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace

from forecast.buildfile.schema import Build, Line
from forecast.decide.again import Again, Change
from forecast.decide.paired import mean_change, percentile_change
from forecast.engine.statistics import Estimate

SAFETY_WORDS: Mapping[str, str] = {
    r"wheel (bolt|nut|stud|fixing|spacer)|lug ?nut|hub ?ring|centring ring": "it holds a wheel on",
    r"tyre|tires?\b": "tyres carry the car and everybody in it",
    r"brake": "it stops the car",
    r"weld|structur|inner arch|crash|seat ?belt|bumper beam|chassis|jacks?\b|axle stand": "it keeps the structure, or "
    "the car over you, where it belongs",
    r"(head|tail|fog|side)?(lamp|lights?\b|lighting)|reflector|indicator": "others see you by it",
    r"mask|respirator|breath|filter cartridge|extraction|goggles|gloves|ear protection|extinguisher": "it protects "
    "your lungs, eyes and skin",
    r"alignment|suspension|steering|spring|damper": "it decides how the car steers",
}
"""What a line's name tells of safety, and why such a line stays; a net below the ``safety`` key, not in its place."""


@dataclass(frozen=True)
class Trim:
    """What leaving out one optional line frees.

    Attributes
    ----------
    id, title : str
    p80, mean : Estimate
        By how much they fall; what depends on the line (duty, fees) goes with it.
    hours : float
        Mean own hours that go with it.
    """

    id: str
    title: str
    p80: Estimate
    mean: Estimate
    hours: float


@dataclass(frozen=True)
class NotProposed:
    """An optional line that is not proposed, and why."""

    id: str
    title: str
    why: str


@dataclass(frozen=True)
class Trims:
    """What could go, largest relief first, and what stays."""

    proposed: tuple[Trim, ...]
    kept: tuple[NotProposed, ...]


def why_safe(line: Line) -> str | None:
    """Give why a line must stay for safety's sake; None where nothing says so."""
    words = f"{line.id} {line.name or ''}".replace("_", " ").replace("-", " ").lower()
    for pattern, why in SAFETY_WORDS.items():
        if re.search(rf"\b({pattern})", words):
            return why
    return "you marked it as a matter of safety" if line.safety else None


def trims(replay: Again, build: Build) -> Trims:
    """Rank optional lines by what leaving them out frees at P80.

    What was paid is spent: a line that is closed or agreed is not proposed, one begun frees what is still to come. A
    line that brings money in frees nothing by being left out, and is neither proposed nor said to stay.

    Parameters
    ----------
    replay : Again
        Of the scenario in question.
    build : Build

    Returns
    -------
    Trims
    """
    present = {row.id for row in replay.forecast.plan.rows if row.kind == "line"}
    known = replay.forecast.trials.conditions
    over = set() if known is None else {*known.amounts, *known.agreed}
    sunk = {} if known is None else {name: part.paid + part.exchange for name, part in known.partial.items()}
    proposed: list[Trim] = []
    kept: list[NotProposed] = []
    trials = replay.forecast.trials
    for line in build.line:
        if not line.optional or line.id not in present or line.id in over:
            continue
        if line.id in build.income:
            continue
        why = why_safe(line)
        if why is not None:
            kept.append(NotProposed(line.id, line.title, why))
            continue
        own = [row.id for row in replay.forecast.plan.rows if row.of == line.id]
        outcome = replay.run(Change(factors=dict.fromkeys(own, 0.0)))
        outcome = replace(outcome, totals=outcome.totals + sunk.get(line.id, 0.0))
        proposed.append(
            Trim(
                line.id, line.title,
                percentile_change(outcome.totals, trials.totals, 0.8, trials.replicates, trials.weights),
                mean_change(outcome.totals, trials.totals, trials.replicates, trials.weights),
                mean_change(outcome.hours, trials.hours, trials.replicates, trials.weights).value,
            )
        )  # fmt: skip
    return Trims(tuple(sorted(proposed, key=lambda item: -item.p80.value)), tuple(kept))
