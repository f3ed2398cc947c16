"""Where the uncertainty comes from: swing bars and variance shares, by line, by group and by cause."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from forecast.decide.causes import cause_parts
from forecast.decide.draws import draws_behind
from forecast.engine.forecast import Forecast
from forecast.engine.known import KnownFacts
from forecast.engine.sensitivity import swing
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
    """

    id: str
    title: str
    kind: str
    low: float
    high: float
    error: float

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
        if not self.swings:
            return "Nothing in this build is uncertain."
        first = self.swings[0]
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
    parts = cause_parts(draws_behind(forecast, known), names)
    causes = [(part.id, part.title, "cause", part.values) for part in parts]
    return Drivers(
        _swings(forecast, lines), _swings(forecast, groups), _swings(forecast, causes),
        _shares(forecast, lines), _shares(forecast, groups), _shares(forecast, causes),
    )  # fmt: skip


_Named = list[tuple[str, str, str, Array]]


def _swings(forecast: Forecast, items: _Named) -> tuple[SwingBar, ...]:
    trials = forecast.trials
    bars = []
    for id, title, kind, values in items:
        if np.ptp(values) <= 0:
            continue
        whole = swing(values, trials.totals, trials.weights)
        bars.append(SwingBar(id, title, kind, whole.low, whole.high, _swing_error(values, forecast)))
    return tuple(sorted(bars, key=lambda bar: -bar.width))


def _swing_error(values: Array, forecast: Forecast) -> float:
    """Give the standard error of a swing's width from independent sampling within the two tenths.

    Spread over replicates would be too large: a tenth of a replicate is few trials. Var(T | tenth) / trials in the
    tenth, for both, is on the safe side of stratified draws.
    """
    trials = forecast.trials
    tenth = max(1, trials.count // 10)
    order = np.argpartition(values, (tenth - 1, trials.count - tenth))
    low, high = trials.totals[order[:tenth]], trials.totals[order[-tenth:]]
    return float(np.sqrt((np.var(low) + np.var(high)) / tenth))


def _shares(forecast: Forecast, items: _Named) -> tuple[VarianceShare, ...]:
    trials = forecast.trials
    weights = np.full(trials.count, 1 / trials.count) if trials.weights is None else trials.weights
    found = []
    for id, title, kind, values in items:
        whole = _share(values, trials.totals, weights)
        single = [
            _share(*parts)
            for parts in zip(
                *(item.reshape(trials.replicates, -1) for item in (values, trials.totals, weights)),
                strict=True,
            )
            if parts[2].sum() > 0
        ]
        error = float(np.std(single, ddof=1) / np.sqrt(len(single)))
        found.append(VarianceShare(id, title, kind, Estimate(whole, error)))
    return tuple(sorted(found, key=lambda item: -item.share.value))


def _share(values: Array, totals: Array, weights: Array) -> float:
    """Give cov(x, T) / var T; 0 where the total does not vary."""
    mass = weights / weights.sum()
    about = totals - mass @ totals
    variance = float(mass @ about**2)
    if variance <= 1e-12 * max(1.0, float(np.max(np.abs(totals))) ** 2):
        return 0.0
    return float((mass * about) @ values) / variance
