"""How much to hold beyond the plain sum, why that much, and where it comes from.

Contingency = P_q - base estimate. The level q follows from two plain answers: what being a sum short costs, and
what the same sum lying idle costs. Holding money is then the newsvendor's problem, and q = Cu / (Cu + Co).

Asked for a range that holds eight cases of ten, people give one that holds five or six: Soll & Klayman (2004),
Overconfidence in interval estimates, Journal of Experimental Psychology: Learning, Memory, and Cognition 30(2); Haran,
Moore & Morewedge (2010), A simple remedy for overprecision in judgment, Judgment and Decision Making 5(7); titles from
memory.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from forecast.decide.again import draws_behind
from forecast.decide.comparisons import PUBLISHED, Published
from forecast.decide.drivers import EVENTS, CausePart, cause_parts
from forecast.engine.forecast import Forecast, forecast_plan
from forecast.engine.known import KnownFacts
from forecast.engine.statistics import Estimate, near_percentile_weights
from forecast.errors import SimulationError
from forecast.figures.normal import normal_score
from forecast.figures.shapes import Array
from forecast.words.money import as_written

DEFAULT_LEVEL = 0.8
LEAST_LEVEL = 0.5
MOST_LEVEL = 0.95
"""Beyond it a budget rests on the few worst trials, and on tails of ranges that nobody knows."""

_SKEW = "skew"


@dataclass(frozen=True)
class Level:
    """A recommended percentile.

    Attributes
    ----------
    q : float
        From 0.5 to 0.95.
    wanted : float
        Cu / (Cu + Co), before it was kept within these limits.
    short, idle : float
        The two answers.
    """

    q: float
    wanted: float
    short: float
    idle: float


def recommended_level(short: float, idle: float) -> Level:
    """Give the level to hold from what running short and what idle money cost.

    Parameters
    ----------
    short : float
        Cu: what it costs to be short of some sum when it is needed (stopped build, storage, credit).
    idle : float
        Co: what it costs when the same sum is held and not needed (interest, other plans put off).

    Returns
    -------
    Level

    Raises
    ------
    SimulationError
        When an answer is negative or both are nothing.

    References
    ----------
    Arrow, Harris & Marschak (1951), Econometrica 19(3): the critical ratio (from memory).
    """
    if not (np.isfinite(short) and np.isfinite(idle)) or short < 0 or idle < 0 or short + idle <= 0:
        message = (
            f"cost of running short {short:g}, of idle money {idle:g}: both must be nothing or more, and one above "
            "zero. Answer for the same sum, for example: being 1,000 short costs me 200, 1,000 idle costs me 50."
        )
        raise SimulationError(message)
    wanted = short / (short + idle)
    return Level(min(max(wanted, LEAST_LEVEL), MOST_LEVEL), wanted, short, idle)


@dataclass(frozen=True)
class Share:
    """What one line, event, group or cause adds to the contingency.

    Attributes
    ----------
    id, title : str
    kind : str
        "line", "event", "group" or "cause".
    base : float
        What it has in the base estimate already.
    amount : Estimate
        What it adds; all shares of one kind of split add up to the contingency exactly.
    group : str
        Of a line or event: the group that it belongs to.
    """

    id: str
    title: str
    kind: str
    base: float
    amount: Estimate
    group: str = ""


@dataclass(frozen=True)
class PublishedBeside:
    """A published figure, turned into money for this build, for comparison only."""

    published: Published
    low: float
    high: float


@dataclass(frozen=True)
class Contingency:
    """How much to hold, and where it comes from.

    Attributes
    ----------
    currency : str
    base : float
        Sum of the middle figures.
    chance_of_base : Estimate
        Chance that the plain sum is enough.
    p50, p80, p90 : Estimate
    level : float
        The share q of builds that the sum held should be enough for.
    held : Estimate
        P_q.
    amount : Estimate
        Held less base.
    advice : Level or None
        Where the level came from the two answers.
    lines, groups, causes : tuple of Share
        Three ways to split the same contingency, largest share first; lines include events.
    beside : tuple of PublishedBeside
    """

    currency: str
    base: float
    chance_of_base: Estimate
    p50: Estimate
    p80: Estimate
    p90: Estimate
    level: float
    held: Estimate
    amount: Estimate
    advice: Level | None
    lines: tuple[Share, ...]
    groups: tuple[Share, ...]
    causes: tuple[Share, ...]
    beside: tuple[PublishedBeside, ...]

    @property
    def over(self) -> float:
        """Held less base, both rounded first: as they are printed, so that they add up."""
        held = as_written(self.held.value, self.currency, self.held.error)
        return held - as_written(self.base, self.currency)


def contingency(
    forecast: Forecast,
    level: float | None = None,
    *,
    short: float | None = None,
    idle: float | None = None,
    names: dict[str, str] | None = None,
) -> Contingency:
    """Give how much to hold, and split it.

    Parameters
    ----------
    forecast : Forecast
        With rows kept.
    level : float, optional
        Share of builds that the money should be enough for; from the two answers, or 0.8, when left out.
    short, idle : float, optional
        What being short of some sum costs, and what the same sum lying idle costs.
    names : dict, optional
        Name by cause id.

    Returns
    -------
    Contingency

    Raises
    ------
    SimulationError
        When rows were not kept, an answer makes no sense, or only one of the two was given.
    """
    if (short is None) != (idle is None):
        message = "the level needs both answers: what being short costs and what idle money costs."
        raise SimulationError(message)
    advice = recommended_level(short, idle) if short is not None and idle is not None else None
    q = level if level is not None else (advice.q if advice is not None else DEFAULT_LEVEL)
    if not 0 < q < 1:
        message = f"level: got {q:g}, must be between 0 and 1, such as 0.8 for P80."
        raise SimulationError(message)
    p50, p80, p90, held = forecast.percentile_set((0.5, 0.8, 0.9, q))
    base = forecast.base_estimate
    amount = Estimate(held.value - base, held.error)
    lines = _by_line(forecast, q)
    parts = cause_parts(draws_behind(forecast), names)
    return Contingency(
        forecast.currency, base, forecast.chance_within(base), p50, p80, p90, q, held, amount, advice,
        _sorted(lines), _sorted(_by_group(forecast, lines)),
        _sorted(_by_cause(forecast, parts, q, amount.value)),
        tuple(PublishedBeside(item, item.low * base, item.high * base) for item in PUBLISHED if item.of_cost),
    )  # fmt: skip


def _sorted(shares: Iterable[Share]) -> tuple[Share, ...]:
    return tuple(sorted(shares, key=lambda share: -share.amount.value))


def _by_line(forecast: Forecast, q: float) -> list[Share]:
    trials, plan = forecast.trials, forecast.plan
    money = list(plan.money_rows)
    near = forecast.held_by_line(q)
    errors = _errors_near(forecast, np.stack([trials.row(plan.rows[place].id) for place in money]), q)
    shares = []
    for place, error in zip(money, errors, strict=True):
        row, base = plan.rows[place], float(forecast.base_rows[place])
        added = Estimate(near[row.id] - base, float(error))
        shares.append(Share(row.id, row.title, row.kind, base, added, row.group))
    return shares


def _errors_near(forecast: Forecast, values: Array, q: float) -> Array:
    """Give the standard error of each row's mean near the percentile, from its spread over replicates."""
    trials = forecast.trials
    near = near_percentile_weights(trials.totals, q, trials.weights).reshape(trials.replicates, -1)
    mass = near.sum(axis=1)
    used = mass > 0
    split = values.reshape(values.shape[0], trials.replicates, -1)
    means = np.einsum("mrn,rn->mr", split, near)[:, used] / mass[used]
    if used.sum() < 2:  # so few trials that nothing tells how far they are off: by all that they differ
        return np.asarray(np.ptp(values, axis=1))
    errors: Array = np.std(means, axis=1, ddof=1) / np.sqrt(used.sum())
    return errors


def _by_group(forecast: Forecast, lines: list[Share]) -> list[Share]:
    groups = {row.id: row.group for row in forecast.plan.rows}
    found: dict[str, list[Share]] = {}
    for share in lines:
        found.setdefault(groups[share.id], []).append(share)
    return [
        Share(
            group, group.capitalize(), "group", sum(share.base for share in shares),
            Estimate(
                sum(share.amount.value for share in shares),
                float(np.sqrt(sum(share.amount.error**2 for share in shares))),
            ),
        )
        for group, shares in found.items()
    ]  # fmt: skip


def _by_cause(forecast: Forecast, parts: tuple[CausePart, ...], q: float, amount: float) -> list[Share]:
    """Split the contingency by cause; what the plain sum leaves out on average is a share of its own.

    Middle figures lie under the mean wherever a range reaches further up than down: that part of the contingency
    is no bad luck but what the plain sum forgot.
    """
    trials = forecast.trials
    values = np.stack([part.values for part in parts])
    near = values @ near_percentile_weights(trials.totals, q, trials.weights)
    errors = _errors_near(forecast, values, q)
    events = next(part.values for part in parts if part.id == EVENTS)
    mean_events = float(np.average(events, weights=trials.weights))
    skew = forecast.mean.value - mean_events - forecast.base_estimate
    shares = [
        Share(part.id, part.title, "cause", 0.0, Estimate(float(value), float(error)))
        for part, value, error in zip(parts, near, errors, strict=True)
    ]
    rest = amount - skew - sum(share.amount.value for share in shares)  # the band's mean is not quite P_q
    last = shares[-1]
    shares[-1] = Share(
        last.id, last.title, last.kind, last.base, Estimate(last.amount.value + rest, last.amount.error)
    )
    title = "Ranges that reach further up than down"
    return [*shares, Share(_SKEW, title, "cause", 0.0, Estimate(skew, forecast.mean.error))]


USUALLY_HELD = 0.6
"""Share of cases that most people's 80 % ranges really hold, at the better end of what was published."""

ENOUGH_CLOSED = 8
"""Closed lines from which the builder's own receipts say how narrow the ranges were: ranges that hold no more often
than most people's would hold all of so many in 0.6⁸, less than 2 of 100 builds."""


def widening(held: float, stated: float = 0.8) -> float:
    """Give how many times as wide ranges must be that hold a share of cases where they should hold another.

    Φ⁻¹((1 + stated) / 2) / Φ⁻¹((1 + held) / 2), on normal scores.

    Raises
    ------
    ValueError
        When a share is not between 0 and 1.
    """
    if not 0 < held < 1 or not 0 < stated < 1:
        message = f"shares: got {held:g} and {stated:g}, must be between 0 and 1."
        raise ValueError(message)
    return normal_score(0.5 + stated / 2) / normal_score(0.5 + held / 2)


def if_narrow(
    forecast: Forecast, level: float = 0.8, *, known: KnownFacts | None = None, held: float = USUALLY_HELD
) -> Estimate:
    """Give what to hold if the builder's own ranges are as narrow as most people's, on the same draws.

    Parameters
    ----------
    forecast : Forecast
        As the ranges stand.
    level : float
        Percentile.
    known : KnownFacts, optional
        What the forecast was conditioned on.
    held : float
        Share of cases that ranges stated for 80 % really hold.
    """
    trials = forecast.trials
    wide = forecast_plan(
        forecast.plan, trials.count, trials.seed, known=known, keep="totals", wider=widening(held)
    )
    found = wide.percentile(level)
    return Estimate(found.value + forecast.outside, found.error)
