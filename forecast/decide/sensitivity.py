"""Where the uncertainty comes from: swing bars and variance shares, by line, by group and by cause."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from forecast.build.formula import LineValue, walk
from forecast.decide.causes import cause_parts
from forecast.decide.draws import draws_behind
from forecast.engine.forecast import Forecast
from forecast.engine.known import KnownFacts
from forecast.engine.sensitivity import Swing, swing
from forecast.engine.shapes import Array
from forecast.engine.statistics import Estimate

Money = Callable[[float], str]


@dataclass(frozen=True)
class SwingBar:
    """How far the total moves with one line, event, group or cause.

    Attributes
    ----------
    id, title, kind : str
        Kind is "line", "event", "group" or "cause".
    low, high : float
        Mean total in its lowest and in its highest tenth.
    error : float
        Standard error of the width.
    computed : bool
        True where it follows from other lines, as duty does: it then moves with them and is no driver of its own.
    """

    id: str
    title: str
    kind: str
    low: float
    high: float
    error: float
    computed: bool = False

    @property
    def width(self) -> float:
        """How far the total moves between the two."""
        return self.high - self.low

    def sentence(self, money: Money) -> str:
        """Say how far the total moves with it."""
        return (
            f"Where {self.title} is in its lowest tenth the build costs {money(self.low)} on average, in its highest "
            f"{money(self.high)}."
        )


@dataclass(frozen=True)
class VarianceShare:
    """What one line, event, group or cause has of the total's variance; those of one kind add up to 1."""

    id: str
    title: str
    kind: str
    share: Estimate

    def sentence(self) -> str:
        """Say how much of the uncertainty it makes."""
        return f"{self.title}: {100 * self.share.value:.0f} % of the uncertainty."


@dataclass(frozen=True)
class Drivers:
    """What drives the total; each tuple stands largest first.

    Attributes
    ----------
    swings, group_swings, cause_swings : tuple of SwingBar
    lines, groups, causes : tuple of VarianceShare
        Three ways to split the same variance; lines include events.
    """

    swings: tuple[SwingBar, ...]
    group_swings: tuple[SwingBar, ...]
    cause_swings: tuple[SwingBar, ...]
    lines: tuple[VarianceShare, ...]
    groups: tuple[VarianceShare, ...]
    causes: tuple[VarianceShare, ...]

    def sentence(self, money: Money) -> str:
        """Name what moves the total most."""
        first = next((bar for bar in self.swings if not bar.computed), None)
        if first is None:
            return "Nothing in this build is uncertain."
        return f"{first.title} moves the total most: by {money(first.width)} between its lowest and its highest tenth."


def drivers(
    forecast: Forecast, *, known: KnownFacts | None = None, names: dict[str, str] | None = None
) -> Drivers:
    """Give swings and variance shares by line, group and cause.

    Parameters
    ----------
    forecast : Forecast
        With rows kept.
    known : KnownFacts, optional
        What it was conditioned on, if anything.
    names : dict, optional
        Name by cause id.

    Returns
    -------
    Drivers
    """
    plan, trials = forecast.plan, forecast.trials
    money = [plan.rows[place] for place in plan.money_rows]
    lines = [(row.id, row.title, row.kind, trials.row(row.id)) for row in money]
    grouped: dict[str, Array] = {}
    for row in money:
        grouped[row.group] = grouped.get(row.group, np.zeros(trials.count)) + trials.row(row.id)
    groups = [(group, group.capitalize(), "group", values) for group, values in grouped.items()]
    parts = cause_parts(draws_behind(forecast), names)
    causes = [(part.id, part.title, "cause", part.values) for part in parts]
    return Drivers(
        _swings(forecast, lines), _swings(forecast, groups), _swings(forecast, causes),
        _shares(forecast, lines), _shares(forecast, groups), _shares(forecast, causes),
    )  # fmt: skip


_Named = list[tuple[str, str, str, Array]]


def _swings(forecast: Forecast, items: _Named) -> tuple[SwingBar, ...]:
    computed = {
        row.id for row in forecast.plan.rows if any(isinstance(node, LineValue) for node in walk(row.formula))
    }
    bars = []
    for id, title, kind, values in items:
        if np.ptp(values) > 0:
            found, error = _swing(values, forecast)
            bars.append(SwingBar(id, title, kind, found.low, found.high, error, id in computed))
    return tuple(sorted(bars, key=lambda bar: -bar.width))


def _swing(values: Array, forecast: Forecast) -> tuple[Swing, float]:
    """Give a swing and the standard error of its width.

    The error is that of independent sampling within the two tenths, Var(T | tenth) / trials in the tenth for both: a
    tenth of a replicate is too few trials for a spread over replicates. It is on the safe side of stratified draws.
    """
    totals, weights = forecast.trials.totals, forecast.trials.weights
    share = 0.1 * values.size
    tenth = int(share)
    if tenth < 1:
        return swing(values, totals, weights), float("nan")
    order = np.argpartition(values, (tenth, values.size - tenth - 1))
    low, high = totals[order[:tenth]], totals[order[values.size - tenth :]]
    error = float(np.sqrt((np.var(low) + np.var(high)) / tenth))
    edges = order[tenth], order[values.size - tenth - 1]
    tied = any(np.count_nonzero(values == values[edge]) > 1 for edge in edges)
    if weights is not None or tied:
        return swing(values, totals, weights), error
    part = share - tenth  # the trial at the edge counts in part
    ends = [
        float(inside.sum() + part * totals[edge]) / share
        for inside, edge in zip((low, high), edges, strict=True)
    ]
    return Swing(*ends), error


def _shares(forecast: Forecast, items: _Named) -> tuple[VarianceShare, ...]:
    """Give cov(x, T) / var T of each item, pooled and in each replicate for the simulation error."""
    trials = forecast.trials
    values = np.stack([item[3] for item in items]).reshape(len(items), trials.replicates, -1)
    totals = trials.totals.reshape(trials.replicates, -1)
    weights = np.ones_like(totals) if trials.weights is None else trials.weights.reshape(totals.shape)
    least = 1e-12 * max(1.0, float(np.max(np.abs(totals))) ** 2)
    about = (totals - np.average(totals, weights=weights)) * weights
    variance = float(np.sum(about * totals)) / float(weights.sum())
    if variance <= least:
        return tuple(VarianceShare(*item[:3], Estimate(0.0, 0.0)) for item in items)
    whole = np.einsum("mrn,rn->m", values, about) / np.sum(about * totals)
    used = weights.sum(axis=1) > 0
    heavy = weights[used]
    centred = (
        totals[used] - np.sum(totals[used] * heavy, axis=1, keepdims=True) / heavy.sum(axis=1, keepdims=True)
    ) * heavy
    single = np.einsum("mrn,rn->mr", values[:, used], centred) / np.sum(centred * totals[used], axis=1)
    errors = np.std(single, axis=1, ddof=1) / np.sqrt(single.shape[1])
    found = [
        VarianceShare(*item[:3], Estimate(float(share), float(error)))
        for item, share, error in zip(items, whole, errors, strict=True)
    ]
    return tuple(sorted(found, key=lambda item: -item.share.value))
