"""What moves the total: shared causes, events and lines, by what goes with them in the same trials.

The total is split, trial by trial, into parts that add up: what events cost, what each shared cause moves (a
least-squares fit of everything else on the causes' scores and their squares), and the rest, which belongs to
single figures.

A line that comes in dear is often seen in builds that are dear for another reason: a shared cause makes other lines
dear with it. So two differences are told apart. The own one holds all else in every trial as it is; what is computed
from the line follows, as duty follows the kit. The other, between builds in which the line is dear and builds in which
it is cheap, holds what shared causes do to the rest, and is never said to be the line's doing.

Letters: N trials, K shared causes, M items, T the total.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from forecast.buildfile.schema import OWN_ESTIMATING
from forecast.decide.again import Again, Change, Draws, replay_of
from forecast.engine.forecast import Forecast
from forecast.engine.sensitivity import swing
from forecast.engine.statistics import Estimate
from forecast.figures.shapes import Array

EVENTS = "events"
SINGLE_FIGURES = "single_figures"

_TITLES = {
    EVENTS: "Events, and lines that may not be needed",
    SINGLE_FIGURES: "What single figures do on their own",
    OWN_ESTIMATING: "Your own estimating",
}


@dataclass(frozen=True)
class CausePart:
    """What one cause adds to the total in each trial.

    Attributes
    ----------
    id, title : str
    values : ndarray, shape (N,)
        Money; of a shared cause around its mean, so that the parts and a constant add up to the total.
    """

    id: str
    title: str
    values: Array


def cause_title(id: str, names: dict[str, str] | None = None) -> str:
    """Give a cause's name in words."""
    return (names or {}).get(id) or _TITLES.get(id) or id.replace("_", " ").capitalize()


def cause_parts(draws: Draws, names: dict[str, str] | None = None) -> tuple[CausePart, ...]:
    """Split the total by cause.

    Parameters
    ----------
    draws : Draws
        Of a forecast whose rows were kept.
    names : dict, optional
        Name by cause id.

    Returns
    -------
    tuple of CausePart
        Shared causes in the plan's order, then events, then single figures.
    """
    trials = draws.forecast.trials
    plan = trials.plan
    happening = [row for row in plan.rows if row.is_money and row.gate is not None]
    events = np.zeros(trials.count)
    for row in happening:
        events += trials.row(row.id)
    rest = trials.totals - events
    weights = trials.weights if trials.weights is not None else np.ones(trials.count)
    rest = rest - np.average(rest, weights=weights)
    parts: list[CausePart] = []
    if plan.causes:
        scores = draws.causes
        terms = np.concatenate([scores, scores**2])
        terms = terms - np.average(terms, axis=1, weights=weights)[:, None]
        gram = (terms * weights) @ terms.T
        slopes = np.linalg.lstsq(gram, (terms * weights) @ rest, rcond=None)[0]
        count = len(plan.causes)
        for place, cause in enumerate(plan.causes):
            moved = slopes[place] * terms[place] + slopes[count + place] * terms[count + place]
            parts.append(CausePart(cause, cause_title(cause, names), moved))
            rest = rest - moved
    parts.append(CausePart(EVENTS, cause_title(EVENTS), events))
    parts.append(CausePart(SINGLE_FIGURES, cause_title(SINGLE_FIGURES), rest))
    return tuple(parts)


_TENTH = 0.1
_FEWEST = 4  # trials that have a variance to speak of
_MIXING = 20_260_614  # any number: which trial borrows from which must only be unlike the order of the draws


@dataclass(frozen=True)
class SwingBar:
    """The total when one line, event, group or cause is cheap, and when it is dear.

    Attributes
    ----------
    id, title, kind : str
        Kind is "line", "event", "group" or "cause".
    low, high : float
        Mean total with it in its lowest and in its highest tenth, all else in every trial as it is.
    own : Estimate
        How far the total moves between the two, with its simulation error.
    together : Estimate
        How far apart builds are in which it is in its lowest and in its highest tenth, whatever else comes with it.
    chance : float
        Share of builds in which it costs or saves anything.
    """

    id: str
    title: str
    kind: str
    low: float
    high: float
    own: Estimate
    together: Estimate
    chance: float = 1.0

    @property
    def shared(self) -> float:
        """What comes with it through shared causes and is not its doing."""
        return self.together.value - self.own.value

    @property
    def comes_with_others(self) -> bool:
        """Tell whether the shared part is more than the simulation cannot tell apart (two errors)."""
        noise = 1e-9 * abs(self.together.value)  # two sums of the same trials, added up in another order
        return self.shared > max(2 * self.own.error, 2 * self.together.error, noise)

    @property
    def may_not_come(self) -> bool:
        """Tell whether its lowest tenth is builds without it."""
        return self.chance <= 1 - _TENTH


@dataclass(frozen=True)
class VarianceShare:
    """What one line, event, group or cause has of the total's variance; those of one kind add up to 1."""

    id: str
    title: str
    kind: str
    share: Estimate


@dataclass(frozen=True)
class Drivers:
    """What drives the total; each tuple stands largest first.

    Attributes
    ----------
    swings, group_swings, cause_swings : tuple of SwingBar
        By what each moves by itself; what only follows from others, as duty does, is left out.
    lines, groups, causes : tuple of VarianceShare
        Three ways to split the same variance; lines include events.
    """

    swings: tuple[SwingBar, ...]
    group_swings: tuple[SwingBar, ...]
    cause_swings: tuple[SwingBar, ...]
    lines: tuple[VarianceShare, ...]
    groups: tuple[VarianceShare, ...]
    causes: tuple[VarianceShare, ...]


def drivers(forecast: Forecast, *, names: dict[str, str] | None = None) -> Drivers:
    """Give swings and variance shares by line, group and cause.

    Parameters
    ----------
    forecast : Forecast
        With rows kept.
    names : dict, optional
        Name by cause id.

    Returns
    -------
    Drivers
    """
    plan, trials = forecast.plan, forecast.trials
    replay = replay_of(forecast)
    money = [plan.rows[place] for place in plan.money_rows]
    lines = [(row.id, row.title, row.kind, trials.row(row.id)) for row in money]
    grouped: dict[str, list[str]] = {}
    for row in money:
        grouped.setdefault(row.group, []).append(row.id)
    groups = [
        (group, group.capitalize(), "group", np.sum([trials.row(id) for id in ids], axis=0))
        for group, ids in grouped.items()
    ]
    parts = cause_parts(replay.draws, names)
    causes = [(part.id, part.title, "cause", part.values) for part in parts]
    return Drivers(
        _swings(replay, lines, {id: [id] for id, *_ in lines}), _swings(replay, groups, grouped),
        _cause_swings(forecast, causes),
        _shares(forecast, lines), _shares(forecast, groups), _shares(forecast, causes),
    )  # fmt: skip


def own_swings(replay: Again, most: int | None = None) -> dict[str, Estimate]:
    """Give what each line and event moves the total by itself, from its cheapest to its dearest tenth, by id.

    Lists of lines and of figures stand in this order. The same as `Drivers.swings`, at a part of its cost: where no
    other row reads a row, nothing but its own tenths differs.

    Parameters
    ----------
    replay : Again
    most : int, optional
        So many are looked at, those that vary most; all of them when left out.

    Returns
    -------
    dict of str to Estimate
        Largest first; then, in the order of the build, what the simulation cannot tell from nothing (two errors). What
        only follows from others, as duty does, is left out.
    """
    trials, plan = replay.forecast.trials, replay.forecast.plan
    read = {name for row in plan.rows for name in row.reads}
    rows = [plan.rows[place] for place in plan.money_rows]
    if most is not None and most < len(rows):
        spread = {row.id: float(np.std(trials.row(row.id))) for row in rows}
        least = sorted(spread.values())[-most]
        rows = [row for row in rows if spread[row.id] >= least]
    found: dict[str, Estimate] = {}
    for row in rows:
        alone = replay.alone([row.id])
        if np.ptp(alone) <= 1e-9 * max(1.0, float(np.max(np.abs(alone)))):
            continue
        if row.id not in read and not row.reads and trials.weights is None:
            count = max(1, int(_TENTH * alone.size))
            ordered = np.partition(alone, (count - 1, alone.size - count))
            cheap, dear = ordered[:count], ordered[-count:]
            error = float(np.sqrt((np.var(cheap) + np.var(dear)) / count))
            found[row.id] = Estimate(float(np.mean(dear) - np.mean(cheap)), error)
            continue
        tenths = _tenths(alone, trials.weights)
        low, high = (_moved(replay, [row.id], borrowed) for borrowed in _spread_out(tenths, trials.count))
        error = float(np.std(high - low) / np.sqrt(tenths[0].size))
        found[row.id] = Estimate(float(np.average(high - low, weights=trials.weights)), error)
    plain = [name for name, one in found.items() if one.value > 2 * one.error]
    plain.sort(key=lambda name: -found[name].value)
    return {name: found[name] for name in dict.fromkeys([*plain, *found])}


def _moved(replay: Again, ids: list[str], borrowed: NDArray[np.intp]) -> Array:
    """Give the totals with some rows' figures and events taken from other trials."""
    trials, plan = replay.forecast.trials, replay.forecast.plan
    totals = trials.totals.copy()
    for place, amounts in replay.rows(Change(borrowed=dict.fromkeys(ids, borrowed))).items():
        if plan.rows[place].is_money:
            totals += amounts - trials.row(plan.rows[place].id)
    return totals


_Named = list[tuple[str, str, str, Array]]


def _swings(replay: Again, items: _Named, rows: dict[str, list[str]]) -> tuple[SwingBar, ...]:
    """Give the bars of items that are each made up of rows."""
    trials = replay.forecast.trials
    bars = []
    for item in items:
        ids, alone = rows[item[0]], replay.alone(rows[item[0]])
        if np.ptp(alone) <= 1e-9 * max(1.0, float(np.max(np.abs(alone)))):
            continue
        tenths = _tenths(alone, trials.weights)
        totals = [_moved(replay, ids, borrowed) for borrowed in _spread_out(tenths, trials.count)]
        seen = tenths if np.array_equal(alone, item[3]) else _tenths(item[3], trials.weights)
        bars.append(_bar(item, totals[0], totals[1], replay.forecast, seen))
    return tuple(sorted(bars, key=lambda bar: -bar.own.value))


def _cause_swings(forecast: Forecast, parts: _Named) -> tuple[SwingBar, ...]:
    """Give the bars of parts that add up to the total."""
    trials = forecast.trials
    bars = []
    for part in parts:
        values = part[3]
        if np.ptp(values) > 0:
            tenths = _tenths(values, trials.weights)
            low, high = (
                trials.totals - values + values[places] for places in _spread_out(tenths, trials.count)
            )
            bars.append(_bar(part, low, high, forecast, tenths))
    return tuple(sorted(bars, key=lambda bar: -bar.own.value))


_Tenths = tuple[NDArray[np.intp], NDArray[np.intp]]


def _bar(
    item: tuple[str, str, str, Array], low: Array, high: Array, forecast: Forecast, tenths: _Tenths
) -> SwingBar:
    """Put a bar together from the totals with an item cheap and with it dear, trial by trial.

    Errors are those of independent sampling within the two tenths; they are on the safe side of stratified draws.
    """
    id, title, kind, values = item
    totals, weights, count = forecast.trials.totals, forecast.trials.weights, tenths[0].size
    found = swing(values, totals, weights)
    seen = sum(float(np.var(totals[places])) for places in tenths)
    cheap, dear = (float(np.average(part, weights=weights)) for part in (low, high))
    own = Estimate(dear - cheap, float(np.sqrt(np.var(high - low) / count)))
    together = Estimate(found.width, float(np.sqrt(seen / count)))
    comes = float(np.average(values != 0, weights=weights))
    return SwingBar(id, title, kind, cheap, dear, own, together, comes)


def _tenths(values: Array, weights: Array | None) -> _Tenths:
    """Give the trials of the lowest and of the highest tenth, heavy ones more than once."""
    count = max(1, int(_TENTH * values.size))
    order = np.argsort(values, kind="stable")
    mass = np.ones(values.size) if weights is None else weights[order]
    reached = np.cumsum(mass) / mass.sum()
    levels = _TENTH * (np.arange(count) + 0.5) / count
    low, high = (np.minimum(np.searchsorted(reached, at), values.size - 1) for at in (levels, 1 - levels))
    return order[low], order[high]


def _spread_out(tenths: _Tenths, count: int) -> _Tenths:
    """Give every trial one of the lowest and one of the highest tenth, each as often and in no order."""
    low, high = (np.resize(places, count) for places in tenths)
    mixed = np.random.default_rng(_MIXING).permutation(count)
    return low[mixed], high[mixed[::-1]]


def _can_part(count: int, parts: int) -> bool:
    return count % parts == 0 and count // parts >= _FEWEST


def _varies(totals: Array, weights: Array) -> bool:
    return weights.sum() > 0 and float(np.ptp(totals[weights > 0])) > 0


def _shares(forecast: Forecast, items: _Named) -> tuple[VarianceShare, ...]:
    """Give cov(x, T) / var T of each item, pooled and in each replicate for the simulation error."""
    trials = forecast.trials
    # A replicate of a few trials has no shares of its own: then several make one.
    together = next(
        (parts for parts in range(trials.replicates, 1, -1) if _can_part(trials.totals.size, parts)), 1
    )
    values = np.stack([item[3] for item in items]).reshape(len(items), together, -1)
    totals = trials.totals.reshape(together, -1)
    weights = np.ones_like(totals) if trials.weights is None else trials.weights.reshape(totals.shape)
    least = 1e-12 * max(1.0, float(np.max(np.abs(totals))) ** 2)
    about = (totals - np.average(totals, weights=weights)) * weights
    variance = float(np.sum(about * totals)) / float(weights.sum())
    if variance <= least:
        return tuple(VarianceShare(*item[:3], Estimate(0.0, 0.0)) for item in items)
    whole = np.einsum("mrn,rn->m", values, about) / np.sum(about * totals)
    used = np.array([_varies(*pair) for pair in zip(totals, weights, strict=True)])
    heavy = weights[used]
    centred = (
        totals[used] - np.sum(totals[used] * heavy, axis=1, keepdims=True) / heavy.sum(axis=1, keepdims=True)
    ) * heavy
    single = np.einsum("mrn,rn->mr", values[:, used], centred) / np.sum(centred * totals[used], axis=1)
    errors = np.ones(len(items))  # where nothing tells how far these shares may be off
    if single.shape[1] > 1:
        errors = np.std(single, axis=1, ddof=1) / np.sqrt(single.shape[1])
    found = [
        VarianceShare(*item[:3], Estimate(float(share), float(error)))
        for item, share, error in zip(items, whole, errors, strict=True)
    ]
    return tuple(sorted(found, key=lambda item: -item.share.value))
