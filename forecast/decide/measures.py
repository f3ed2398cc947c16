"""Which measures pay: each alone, and every combination, on the same trials.

A measure multiplies chances, impacts, figures or ranges; factors of several measures multiply. An event of a smaller
chance happens in a subset of the trials in which it happened before, so that differences are paired.

Combinations are exact and need no simulation of their own. Measures that touch common rows form a cluster; what a
cluster's states change is evaluated once, and totals of any combination are sums over clusters.

Letters: N trials, M measures.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from forecast.buildfile.checks import nearest
from forecast.buildfile.measure import Measure
from forecast.buildfile.schema import Build, Line
from forecast.decide.again import Again, Change, ChangedOutcome, replay_of, with_open_figures
from forecast.decide.paired import mean_change, percentile_change
from forecast.engine.forecast import DEFAULT_SEED, DEFAULT_TRIALS
from forecast.engine.plan import compile_plan
from forecast.engine.statistics import Estimate, percentiles
from forecast.errors import SimulationError
from forecast.figures.evaluate import Value
from forecast.figures.shapes import Array
from forecast.watching.known_facts import Knowledge, facts_about, forecast_given

MOST_MEASURES = 12


@dataclass(frozen=True)
class MeasureResult:
    """What one measure alone changes; negative means that it saves.

    Attributes
    ----------
    id, title : str
    cost : float
        Its mean cost.
    mean, p80, p90 : Estimate
        Change of the total's mean, P80 and P90, its own cost included.
    hours : float
        Change of mean own hours, its own included.
    without_effect : tuple of str
        Events and figures that it names and that do not count in this scenario.
    """

    id: str
    title: str
    cost: float
    mean: Estimate
    p80: Estimate
    p90: Estimate
    hours: float
    without_effect: tuple[str, ...]

    @property
    def pays(self) -> bool:
        """Tell whether it saves more than it costs, on average, beyond the simulation's own error."""
        return self.mean.value < -2 * self.mean.error


@dataclass(frozen=True)
class Combination:
    """A set of measures taken together; figures are the total's."""

    measures: tuple[str, ...]
    mean: float
    p80: float
    p90: float
    hours: float


@dataclass(frozen=True)
class Measures:
    """Which measures pay.

    Attributes
    ----------
    alone : tuple of MeasureResult
        Largest saving first.
    combinations : tuple of Combination
        All 2^M of them; the first is none at all, then by bits in the order of the file.
    best_mean, best_p80, best_p90 : Combination
        The one with the lowest.
    moved_p80 : Estimate
        Change of P80 from none of them to those of the lowest mean.
    """

    alone: tuple[MeasureResult, ...]
    combinations: tuple[Combination, ...]
    best_mean: Combination
    best_p80: Combination
    best_p90: Combination
    moved_p80: Estimate


class _Effects:
    """The trials of a build with the costs of all measures in it, and what each set of measures makes of them."""

    def __init__(self, replay: Again, measures: Sequence[Measure]) -> None:
        self.replay = replay
        self.measures = measures
        plan = replay.forecast.plan
        self.gates = {gate.id: gate for gate in plan.gates}
        self.rows_of: dict[str, list[str]] = {}
        for row in plan.rows:
            self.rows_of.setdefault(row.of, []).append(row.id)
            if row.id != row.of:
                self.rows_of.setdefault(row.id, []).append(row.id)
        self.middles = plan.middles

    def own_rows(self, measure: Measure) -> list[str]:
        """Give the rows of what a measure itself costs."""
        return self.rows_of[measure.id]

    def missing(self, measure: Measure) -> tuple[str, ...]:
        """Give what a measure names that this scenario does not have."""
        gone = [name for name in (*measure.chances, *measure.impacts) if name not in self.rows_of]
        gone += [name for name in (*measure.figures, *measure.ranges) if name not in self.middles]
        return tuple(dict.fromkeys(gone))

    @cached_property
    def touched(self) -> list[frozenset[int]]:
        """Places of the rows that each measure touches."""
        found = []
        for measure in self.measures:
            rows = list(self.own_rows(measure))
            for name in measure.impacts:
                rows += self.rows_of.get(name, [])
            figures = [name for name in (*measure.figures, *measure.ranges) if name in self.middles]
            gates = [name for name in measure.chances if name in self.gates]
            found.append(frozenset(self.replay.affected(figures, gates, rows)))
        return found

    def clusters(self) -> list[list[int]]:
        """Give the measures, by number, in clusters that touch no common row; largest first."""
        found: list[tuple[set[int], set[int]]] = []
        for number, rows in enumerate(self.touched):
            numbers, places = {number}, set(rows)
            apart = []
            for other_numbers, other_places in found:
                if other_places & places:
                    numbers |= other_numbers
                    places |= other_places
                else:
                    apart.append((other_numbers, other_places))
            found = [*apart, (numbers, places)]
        return sorted((sorted(numbers) for numbers, _ in found), key=len, reverse=True)

    def change(self, taken: frozenset[int], among: Sequence[int]) -> Change:
        """Give what a set of measures changes; measures of ``among`` that are not taken cost nothing."""
        chances: dict[str, float] = {}
        factors: dict[str, float] = {}
        scale: dict[str, float] = {}
        spread: dict[str, float] = {}
        for number in among:
            measure = self.measures[number]
            if number not in taken:
                factors |= dict.fromkeys(self.own_rows(measure), 0.0)
                continue
            for name, factor in measure.chances.items():
                if name in self.gates:
                    chances[name] = chances.get(name, self.gates[name].chance) * factor
            for name, factor in measure.impacts.items():
                for row in self.rows_of.get(name, []):
                    factors[row] = factors.get(row, 1.0) * factor
            for target, names in ((scale, measure.figures), (spread, measure.ranges)):
                for name, factor in names.items():
                    if name in self.middles:
                        target[name] = target.get(name, 1.0) * factor
        figures: dict[str, Value] = {}
        for name in {**scale, **spread}:
            values = self.replay.figure(name)
            middle = self.middles[name]
            figures[name] = scale.get(name, 1.0) * (middle + spread.get(name, 1.0) * (values - middle))
        gates = {
            name: self.replay.draws.opens(self.gates[name], min(chance, 1.0))
            for name, chance in chances.items()
        }
        return Change(figures, gates, factors)

    def outcome(self, taken: frozenset[int]) -> ChangedOutcome:
        """Give totals and hours with a set of measures taken."""
        return self.replay.run(self.change(taken, range(len(self.measures))))

    def differences(self, cluster: Sequence[int]) -> Iterator[tuple[frozenset[int], ChangedOutcome]]:
        """Give, for every state of a cluster, what it changes in totals and hours."""
        trials = self.replay.forecast.trials
        for bits in range(1 << len(cluster)):
            taken = frozenset(number for place, number in enumerate(cluster) if bits >> place & 1)
            here = self.replay.run(self.change(taken, cluster))
            yield taken, ChangedOutcome(here.totals - trials.totals, here.hours - trials.hours)


def measures_of(
    build: Build,
    scenario: str | None = None,
    trials: int = DEFAULT_TRIALS,
    seed: int = DEFAULT_SEED,
    *,
    known: Knowledge = None,
    only: Sequence[str] | None = None,
) -> Measures:
    """Tell which measures of a build pay, alone and in every combination.

    Parameters
    ----------
    build : Build
    scenario : str, optional
    trials, seed : int
    known : KnownFacts or Standing, optional
    only : sequence of str, optional
        Ids of the measures to consider, at most 12; all that do not come too late when left out.

    Returns
    -------
    Measures

    Raises
    ------
    SimulationError
        When there are more than 12 measures to combine, or one is not in the build.
    """
    listed = {measure.id: measure for measure in build.measure}
    for id in only or ():
        if id not in listed:
            message = f"measure {id!r}: not in the build. {nearest(id, listed)}"
            raise SimulationError(message)
    late = _too_late(build, scenario, known) if only is None else frozenset()
    chosen = [item for item in build.measure if item.id not in late and (only is None or item.id in only)]
    if len(chosen) > MOST_MEASURES:
        message = (
            f"measures: {len(chosen)} of them make {2 ** len(chosen):,} combinations; at most {MOST_MEASURES} can be "
            "combined. Name those to consider."
        )
        raise SimulationError(message)
    with_costs = build.model_copy(
        update={"line": (*build.line, *(_cost_line(item) for item in chosen)), "measure": ()}
    )
    named = [name for item in chosen for name in (*item.figures, *item.ranges)]
    opened = with_open_figures(with_costs, dict.fromkeys(named))
    forecast = forecast_given(opened, scenario, trials, seed, known)
    effects = _Effects(replay_of(forecast), chosen)
    base = effects.outcome(frozenset())
    alone = [_alone(effects, number, base) for number in range(len(chosen))]
    combinations = _combine(effects)
    best_mean = min(combinations, key=lambda item: (item.mean, len(item.measures)))
    best = effects.outcome(
        frozenset(number for number, item in enumerate(chosen) if item.id in best_mean.measures)
    )
    drawn = forecast.trials
    return Measures(
        tuple(sorted(alone, key=lambda item: item.mean.value)), combinations, best_mean,
        min(combinations, key=lambda item: (item.p80, len(item.measures))),
        min(combinations, key=lambda item: (item.p90, len(item.measures))),
        percentile_change(base.totals, best.totals, 0.8, drawn.replicates, drawn.weights),
    )  # fmt: skip


_ORDERING = re.compile(r"\b(before|when|while) ordering\b", re.IGNORECASE)
_PAYING = re.compile(r"\bbefore paying\b", re.IGNORECASE)
"""What a measure's name says of when it is taken, where the file does not say it by `before`."""


def _too_late(build: Build, scenario: str | None, known: Knowledge) -> frozenset[str]:
    """Name measures that nobody can take any more.

    Those before ordering, once the kit is paid, in part too, or agreed; those before what is closed or paid in full by
    now (`Measure.before`); those that would firm up figures (a quote in writing) where each of these figures belongs to
    a line that is paid or agreed; and those of which all that they name has happened, cannot any more, or is paid.
    """
    plan = compile_plan(build, scenario)
    facts, _ = facts_about(plan, known)
    if facts is None:
        return frozenset()
    once = {row.id for row in plan.rows if row.bought == "once"}
    settled = {*facts.amounts, *facts.agreed, *(once & facts.part_paid.keys())}
    kit = {item.id for item in build.line if item.group == "kit"}
    kit |= {f"{item.id}.goods" for item in build.consignment}
    ordered = bool(kit & (settled | facts.part_paid.keys()))
    done = facts.amounts.keys() | facts.fixed.keys()

    def late(measure: Measure) -> bool:
        figures = (*measure.figures, *measure.ranges)
        quoted = bool(figures) and all(name.partition(".")[0] in settled for name in figures)
        past = any(name in done or f"{name}.goods" in done for name in measure.before)
        past = past or (bool(kit & done) and _PAYING.search(measure.title) is not None)
        touched = {*measure.chances, *measure.impacts, *(name.partition(".")[0] for name in figures)}
        nothing_left = touched <= facts.gates.keys() | done
        return quoted or past or nothing_left or (ordered and _ORDERING.search(measure.title) is not None)

    return frozenset(item.id for item in build.measure if late(item))


def _cost_line(measure: Measure) -> Line:
    """Give the line that a measure's own cost and work make."""
    return Line(
        id=measure.id, name=measure.title, group="other", amount=measure.cost, own_hours=measure.own_hours
    )


def _alone(effects: _Effects, number: int, base: ChangedOutcome) -> MeasureResult:
    measure = effects.measures[number]
    trials = effects.replay.forecast.trials
    here = effects.outcome(frozenset([number]))
    replicates, weights = trials.replicates, trials.weights
    cost = float(np.average(trials.row(measure.id), weights=weights))
    return MeasureResult(
        measure.id, measure.title, cost,
        mean_change(base.totals, here.totals, replicates, weights),
        percentile_change(base.totals, here.totals, 0.8, replicates, weights),
        percentile_change(base.totals, here.totals, 0.9, replicates, weights),
        mean_change(base.hours, here.hours, replicates, weights).value,
        effects.missing(measure),
    )  # fmt: skip


def _combine(effects: _Effects) -> tuple[Combination, ...]:
    """Give every combination, by walking over the states of one cluster inside those of the ones before it."""
    trials = effects.replay.forecast.trials
    clusters = effects.clusters()
    stored = [
        list(effects.differences(cluster)) for cluster in clusters[1:]
    ]  # the largest is walked, not stored
    found: dict[frozenset[int], Combination] = {}

    def walk(depth: int, taken: frozenset[int], totals: Array, hours: Array) -> None:
        if depth == len(stored):
            found[taken] = _combination(effects, taken, totals, hours)
            return
        for more, change in stored[depth]:
            walk(depth + 1, taken | more, totals + change.totals, hours + change.hours)

    first = (
        effects.differences(clusters[0]) if clusters else iter([(frozenset[int](), _nothing(trials.count))])
    )
    for taken, change in first:
        walk(0, taken, trials.totals + change.totals, trials.hours + change.hours)
    order = sorted(found, key=lambda taken: sum(1 << number for number in taken))
    return tuple(found[taken] for taken in order)


def _nothing(count: int) -> ChangedOutcome:
    return ChangedOutcome(np.zeros(count), np.zeros(count))


def _combination(effects: _Effects, taken: frozenset[int], totals: Array, hours: Array) -> Combination:
    weights = effects.replay.forecast.trials.weights
    p80, p90 = percentiles(totals, (0.8, 0.9), weights)
    ids = tuple(effects.measures[number].id for number in sorted(taken))
    return Combination(
        ids, float(np.average(totals, weights=weights)), p80, p90, float(np.average(hours, weights=weights))
    )
