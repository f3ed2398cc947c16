"""What to firm up first, and how: how much less would have to be held, on average, once a figure is known.

Two things happen when a figure becomes known. It takes its own uncertainty out of the total: that is the release
asked for, found by setting the figure to values spread over its range on the trials at hand. And it tells something
of every figure that shares a cause with it; with own estimating shared by all, any quote does, so that this part
would be had from the first quote of all and must not order the list. It is given beside, from the trials in which
the figure has about the same value. No further simulation is run.

Letters: N trials, B bins of the figure's values.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from forecast.buildfile.choosing import figure_name, options_by_choice
from forecast.buildfile.library import known_afterwards
from forecast.buildfile.schema import Build, Line
from forecast.buildfile.sheet import open_quotes
from forecast.decide.again import Again, Change, replay_of
from forecast.decide.drivers import own_swings
from forecast.decide.figure_words import figure_phrase, figure_words, titles_in_figures
from forecast.decide.paired import mean_percentile_change, percentile_change
from forecast.engine.forecast import Forecast
from forecast.engine.statistics import Estimate, percentile, percentiles
from forecast.figures.figure import FigureBase
from forecast.figures.shapes import Array

_SIZES = ("area", "length", "width", "height", "weight")
_OWN_DOING = ("consumables", "finish", "hardware", "wheels")
"""Groups whose percentages nobody can be asked for: they are shares of work that comes out well or badly."""
_UNITS = {"h": "hours", "pcs": "pieces"}


def how_to_know(
    figure: str,
    line: Line | None,
    titles: Mapping[str, str],
    *,
    begun: bool = False,
    quoted: Sequence[str] | None = None,
    came: bool = False,
) -> tuple[str, str]:
    """Give the effort that a firm figure takes, and how it is had, as a sentence without its full stop.

    Parameters
    ----------
    figure : str
        Such as ``freight.amount``.
    line : Line or None
        The line that it belongs to; None for an event or a consignment.
    titles : mapping
        Title by id of line, event or consignment.
    begun : bool
        Whether some of it is paid: it is ordered, and what can be asked for is what is still to come.
    quoted : sequence of str, optional
        Who quoted it, as far as they have names, where quotes are in: see `quoted_by`.
    came : bool
        Whether it is of an event that has happened.
    """
    id, _, key = figure.partition(".")
    last = key.rpartition(".")[2] or key
    phrase = figure_phrase(figure, titles, came=came)
    thing = figure_phrase(figure.rpartition(".")[0], titles) if last != "amount" else phrase
    by_shop = line is not None and line.group in ("labour", "finish") and line.route != "self"
    if id == "fx":
        return "low", f"Fix {phrase}, by paying early or agreeing a price in your own money"
    if id == "build":
        return "low", "Decide what an own hour counts for"
    if last == "wait_weeks":
        return "low", f"Ask for {phrase}"
    if last == "own_hours":
        return "high", f"Do a part of {thing} as a trial and time it"
    if last == "quantity":
        many = _how_many(line, thing)
        return "medium", f"Have a shop look at it and agree {many}" if by_shop else f"Find out {many}"
    if last in _SIZES or "takeoff" in key:
        return "medium", f"Measure {phrase}"
    if last in ("share", "penalty", "days") or (last == "cost" and line is None):
        return "high", f"Look into {phrase}"
    if last == "percent" and (line is None or line.group in _OWN_DOING):
        return "high", f"Look into {phrase}"
    if last in ("percent", "minimum", "maximum") or "overrides" in key:
        return "low", f"Look up or ask for {phrase}"
    if last == "resale":
        return "medium", f"Look at what {thing} sells for afterwards"
    if begun:
        asked = (
            f"Ask what is still to pay for {phrase}"
            if last == "amount"
            else f"Ask for {phrase} before buying more"
        )
        return "low", asked
    if quoted is not None:
        *most, last_one = quoted or ("",)
        names = f" ({', '.join(most)} or {last_one})" if most else f" ({last_one})" if last_one else ""
        many = "whether you take the quote" if len(quoted) == 1 else "which quote you take"
        return "low", f"Decide {many} for {phrase}{names}"
    if by_shop:
        return "medium", f"Have a shop look at it and quote a fixed price: {phrase}"
    return "low", f"Get {phrase} quoted before ordering it"


def quoted_by(build: Build) -> dict[str, tuple[str, ...]]:
    """Give the figures of which quotes are in, each with the names of those who quoted it, where they have names.

    Quotes are in as options of a choice that change the figure, or as several that stand in its place.
    """
    asked = (figure_name(build, one.path) for one in open_quotes(build))
    found: dict[str, tuple[str, ...]] = {name: () for name in asked if _is_price(name)}
    for options in options_by_choice(build).values():
        if len(options) < 2:
            continue
        for option in options:
            for item, keys in option.override.items():
                for name in filter(_is_price, _figures_of(build, item, keys)):
                    found[name] = (*found.get(name, ()), option.title)
    return found


def _is_price(figure: str) -> bool:
    return figure.rpartition(".")[2] in ("amount", "price")


def _figures_of(build: Build, item: str, keys: Iterable[str]) -> tuple[str, ...]:
    """Name the figures that an override changes; one of a consignment's goods replaces the whole list of them."""
    goods = {one.id: tuple(f"{item}.{part.id}.price" for part in one.items) for one in build.consignment}
    found: list[str] = []
    for key in keys:
        found += goods[item] if item in goods and key in ("price", "goods") else (f"{item}.{key}",)
    return tuple(found)


def how_to_know_event(id: str, line: Line | None, titles: Mapping[str, str]) -> tuple[str, str]:
    """Give the effort of knowing whether something comes, and how; a line may or may not be needed."""
    thing = figure_phrase(id, titles)
    if line is not None:
        return "medium", f"Find out whether {thing} is needed"
    return "medium", f"See beforehand whether {thing} can be ruled out"


def _how_many(line: Line | None, thing: str) -> str:
    quantity = None if line is None else line.quantity
    unit = quantity.unit if isinstance(quantity, FigureBase) else None
    return f"how many {_UNITS.get(unit, unit)} {thing} takes" if unit else f"how many of {thing} it takes"


BINS = 32
POINTS = 8
"""Values that a figure is set to in turn, each the middle of an equal share of its range."""

CANDIDATES = 16
"""Figures and events that are looked at: those whose own lines vary most, of which the list is made."""

_GROUPS = 8  # of replicates, for the simulation error
_FEW_VALUES = 12
_END = 0.05
"""The middle of the cheapest tenth."""


_NO_SWING = Estimate(0.0, 0.0)


@dataclass(frozen=True)
class FirmUp:
    """One figure that could be known better.

    Attributes
    ----------
    figure : str
        Its name, such as ``freight.amount``; of an event, its id.
    title : str
        In words.
    release : Estimate
        By how much the money to hold falls, on average, once the figure itself is settled.
    with_learning : Estimate or None
        The same, with what knowing it tells of figures that share a cause with it; None where it was not asked for.
    level : float
        The percentile held.
    into_base : float
        What the base estimate rises by on average, because the middle figure lies below the mean: that part of the
        contingency is not released but becomes a known cost.
    effort : str
        "low", "medium" or "high" (our choice): a message or two; some hours; days, or part of the work itself.
    how : str
        How it could be known, as a sentence without its full stop.
    to_decide : bool
        Whether quotes for it are in, and what is left is to take one.
    swing : Estimate
        What its line moves the total by itself: the order of the list.
    with_it, without_it : Estimate or None
        By how much the money to hold rises once it is sure that it comes, and falls once it is sure that it does not;
        `release` is their average. None for a figure.
    """

    figure: str
    title: str
    release: Estimate
    with_learning: Estimate | None
    level: float
    into_base: float
    effort: str
    how: str
    to_decide: bool = False
    swing: Estimate = _NO_SWING
    with_it: Estimate | None = None
    without_it: Estimate | None = None

    @property
    def certain(self) -> bool:
        """Tell whether the release is more than what the simulation itself cannot tell apart (two errors)."""
        return self.release.value > 2 * self.release.error


def firm_up(replay: Again, build: Build, level: float = 0.8, *, learning: bool = True) -> tuple[FirmUp, ...]:
    """Give what knowing each uncertain figure and event would release, those first whose lines move the total most.

    Parameters
    ----------
    replay : Again
        Of the scenario in question.
    build : Build
    level : float
        The percentile held.
    learning : bool
        Whether to give beside what each figure tells of the others; the order of the list does not rest on it.

    Returns
    -------
    tuple of FirmUp
        The dearest own swing first, CANDIDATES at most; figures of one line by their release, and what the simulation
        cannot tell from nothing in the order of the build. Figures that are known already are not in it.
    """
    plan, trials = replay.forecast.plan, replay.forecast.trials
    titles = titles_in_figures(build)
    lines = {line.id: line for line in build.line}
    quotes = quoted_by(build)
    figures, events = _candidates(replay, quotes)
    swings = own_swings(replay, 2 * CANDIDATES)
    gates = [
        (gate.id, trials.gates[place].astype(float))
        for place, gate in enumerate(plan.gates)
        if gate.id in events
    ]
    found = []
    for item in plan.inputs:
        if item.id not in figures or np.ptp(values := replay.figure(item.id)) <= 0:
            continue
        id = item.id.partition(".")[0]
        came = id in _came(replay)
        effort, how = how_to_know(
            item.id,
            lines.get(id),
            titles,
            begun=_begun(replay, item.id),
            quoted=quotes.get(item.id),
            came=came,
        )
        gain = float(np.average(values, weights=trials.weights)) - item.shape.middle
        found.append(
            FirmUp(
                item.id, figure_words(item.id, titles, came=came), settled(values, item.id, replay, level),
                release(values, replay, level) if learning else None, level,
                _base_gain(replay, item.id, item.shape.middle + gain), effort, how,
                item.id in quotes and not _begun(replay, item.id), _swing(item.id, values, replay, swings),
            )
        )  # fmt: skip
    for id, happens in gates:
        if np.ptp(happens) <= 0:
            continue
        learnt = release(happens, replay, level) if learning else None
        effort, how = how_to_know_event(id, lines.get(id), titles)
        on_average, more, less = _settled_event(id, replay, level)
        found.append(
            FirmUp(
                id, titles.get(id) or figure_words(id, titles), on_average, learnt,
                level, 0.0, effort, how, swing=swings.get(id, _NO_SWING), with_it=more, without_it=less,
            )
        )  # fmt: skip

    def place(item: FirmUp) -> tuple[float, float]:
        told = item.swing.value > 2 * item.swing.error
        return (-item.swing.value, -item.release.value) if told else (0.0, 0.0)

    return tuple(sorted(found, key=place))


def _swing(figure: str, values: Array, replay: Again, swings: Mapping[str, Estimate]) -> Estimate:
    """Give what the line of a figure moves the total by; of a figure of several lines, as a rate is, what it moves."""
    rows, id = replay.forecast.plan.rows, figure.partition(".")[0]
    own = [
        swings[row.id]
        for row in (rows[place] for place in replay.affected([figure]))
        if id in (row.id, row.of) and row.id in swings
    ]
    if own:
        return max(own, key=lambda one: one.value)
    ends = percentiles(values, [_END, 1 - _END], replay.forecast.trials.weights)
    low, high = (
        replay.run(Change(figures={figure: np.full(replay.forecast.trials.count, end)})).totals
        for end in ends
    )
    moved = np.abs(high - low)
    return Estimate(
        float(np.average(moved, weights=replay.forecast.trials.weights)),
        float(np.std(moved) / np.sqrt(moved.size)),
    )


def firm_up_of(forecast: Forecast, build: Build, level: float) -> tuple[FirmUp, ...]:
    """Rank what to firm up first from a forecast alone, without what a figure tells of others; see `firm_up`.

    Parameters
    ----------
    forecast : Forecast
        With rows kept.
    build : Build
    level : float
    """
    return firm_up(replay_of(forecast), build, level, learning=False)


def _candidates(replay: Again, quotes: Container[str]) -> tuple[frozenset[str], frozenset[str]]:
    """Name the uncertain figures and the events that are worth a look, and of which one can tell anything.

    What no look and no quote settles beforehand is left out: what helps there are measures.
    Once such an event has happened what it costs can be found out, and where quotes are in, one can be taken.

    Settling a figure releases the less, the less the rows that read it vary; their spread is known without a further
    run, and orders the figures well enough to leave out what has no chance of being near the top.
    """
    plan, trials = replay.forecast.plan, replay.forecast.trials
    known, later = _known(replay), known_afterwards() - _came(replay)
    spread = {row.id: float(np.std(trials.row(row.id))) for row in plan.rows if row.is_money}
    worth: list[tuple[float, bool, str]] = []

    def consider(name: str, of: Iterable[int], *, event: bool) -> None:
        moved = [plan.rows[place] for place in of if plan.rows[place].is_money]
        if moved:
            worth.append((sum(spread[row.id] for row in moved), event, name))

    for item in plan.inputs:
        id = item.id.partition(".")[0]
        if id not in known and item.id not in known and (id not in later or item.id in quotes):
            consider(item.id, replay.affected([item.id]), event=False)
    for gate in plan.gates:
        if gate.id in later:
            continue
        consider(gate.id, replay.affected(gates=[gate.id]), event=True)
    taken = sorted(worth, key=lambda one: -one[0])[:CANDIDATES]
    return (
        frozenset(name for spread_, event, name in taken if spread_ > 0 and not event),
        frozenset(name for spread_, event, name in taken if event),
    )


def _known(replay: Again) -> set[str]:
    conditions = replay.draws.conditions
    return set() if conditions is None else {*conditions.amounts, *conditions.agreed}


def _came(replay: Again) -> frozenset[str]:
    """Give the events that have happened, and lines that turned out to be needed."""
    conditions = replay.draws.conditions
    gates = {} if conditions is None else conditions.gates
    return frozenset(name for name, came in gates.items() if came)


def _begun(replay: Again, figure: str) -> bool:
    """Tell whether some was paid already for the line or goods that a figure belongs to."""
    conditions, id = replay.draws.conditions, figure.partition(".")[0]
    return conditions is not None and bool({id, f"{id}.goods"} & conditions.partial.keys())


def _base_gain(replay: Again, figure: str, mean: float) -> float:
    """Give what the base estimate moves by when one figure goes from its middle to its mean."""
    plan = replay.forecast.plan
    # What is paid is in neither.
    before, after = plan.at(plan.middles), plan.at({**plan.middles, figure: mean})
    return sum(after[row.id] - before[row.id] for row in plan.rows if row.is_money)


def settled(values: Array, figure: str, replay: Again, level: float) -> Estimate:
    """Give P_q of the total less the mean of P_q with a figure set to each of several values in turn.

    Parameters
    ----------
    values : ndarray, shape (N,)
        The figure in the trials.
    figure : str
    replay : Again
    level : float
        q.
    """
    trials = replay.forecast.trials
    points = percentiles(values, [(place + 0.5) / POINTS for place in range(POINTS)], trials.weights)
    tails = float(np.average(values, weights=trials.weights)) - float(
        np.mean(points)
    )  # what the points cut off
    changes = [Change(figures={figure: np.full(trials.count, point + tails)}) for point in points]
    return _mean_fall(replay, changes, [1 / POINTS] * POINTS, level)


def _settled_event(gate: str, replay: Again, level: float) -> tuple[Estimate, Estimate, Estimate]:
    """Give the mean fall once it is known whether it comes, the rise where it does, and the fall where it does not."""
    trials = replay.forecast.trials
    chance = next(item.chance for item in replay.forecast.plan.gates if item.id == gate)
    with_it, without_it = (
        replay.run(Change(gates={gate: np.full(trials.count, happens)})).totals for happens in (True, False)
    )
    moved = mean_percentile_change(
        trials.totals, [(chance, with_it), (1 - chance, without_it)], level, trials.replicates, trials.weights
    )
    more, less = (
        percentile_change(trials.totals, totals, level, trials.replicates, trials.weights)
        for totals in (with_it, without_it)
    )
    return Estimate(-moved.value, moved.error), more, Estimate(-less.value, less.error)


def _mean_fall(replay: Again, changes: Sequence[Change], shares: Sequence[float], level: float) -> Estimate:
    """Give by how much a percentile falls, on average over changes, with the paired error."""
    trials = replay.forecast.trials
    after = [(share, replay.run(change).totals) for change, share in zip(changes, shares, strict=True)]
    moved = mean_percentile_change(trials.totals, after, level, trials.replicates, trials.weights)
    return Estimate(-moved.value, moved.error)


def release(values: Array, replay: Again, level: float) -> Estimate:
    """Give P_q of the total less the mean of P_q given a figure, with its simulation error.

    Parameters
    ----------
    values : ndarray, shape (N,)
        The figure, or 0 and 1 for an event.
    replay : Again
    level : float
        q.
    """
    trials = replay.forecast.trials
    whole = _release(values, trials.totals, level, trials.weights)
    size = trials.count // trials.replicates
    single = []
    for part in np.array_split(np.arange(trials.replicates), min(_GROUPS, trials.replicates)):
        inside = slice(int(part[0]) * size, (int(part[-1]) + 1) * size)
        weights = None if trials.weights is None else trials.weights[inside]
        if weights is None or weights.sum() > 0:
            single.append(_release(values[inside], trials.totals[inside], level, weights))
    return Estimate(
        whole, float(np.std(single, ddof=1) / np.sqrt(len(single))) if len(single) > 1 else np.nan
    )


def _release(values: Array, totals: Array, level: float, weights: Array | None) -> float:
    order = np.argsort(values, kind="stable")
    different = values[order][np.diff(values[order], prepend=-np.inf) > 0]
    if different.size <= _FEW_VALUES:
        now, then = percentile(totals, level, weights), 0.0
        for value in different:
            inside = values == value
            mass = inside.mean() if weights is None else weights[inside].sum() / weights.sum()
            if mass > 0:
                heavy = None if weights is None else weights[inside]
                then += float(mass) * percentile(totals[inside], level, heavy)
        return now - then
    if weights is not None:
        return percentile(totals, level, weights) - _weighted_bins(values, totals, level, weights, order)
    bins = min(BINS, max(1, values.size // 4))  # with few trials a bin would hold one, or none
    count = values.size - values.size % bins
    # Percentiles of small bins are biased where the density is thin; bins of mixed trials are biased alike.
    now = float(np.quantile(totals[:count].reshape(-1, bins), level, axis=0, method="hazen").mean())
    x = values[order[:count]].reshape(bins, -1)
    t = totals[order[:count]].reshape(bins, -1)
    x = x - x.mean(axis=1, keepdims=True)
    scatter = np.sum(x * x, axis=1, keepdims=True)
    slopes = np.divide(
        np.sum(x * t, axis=1, keepdims=True), scatter, out=np.zeros_like(scatter), where=scatter > 0
    )
    return now - float(np.quantile(t - slopes * x, level, axis=1, method="hazen").mean())


def _weighted_bins(
    values: Array, totals: Array, level: float, weights: Array, order: NDArray[np.intp]
) -> float:
    """Average the percentile over bins of equal weight, less what the figure moves within each bin."""
    mass = np.cumsum(weights[order]) / weights.sum()
    edges = np.searchsorted(mass, np.arange(1, BINS) / BINS)
    then = 0.0
    for places in np.split(order, edges):
        heavy = weights[places]
        if heavy.sum() <= 0:
            continue
        x = values[places] - np.average(values[places], weights=heavy)
        scatter = float(heavy @ x**2)
        slope = float((heavy * x) @ totals[places]) / scatter if scatter > 0 else 0.0
        then += float(heavy.sum() / weights.sum()) * percentile(totals[places] - slope * x, level, heavy)
    return then
