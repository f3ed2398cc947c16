"""Why a forecast moved: what came in, what it taught about shared causes, and what followed from that."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from forecast.engine.condition import Width
from forecast.engine.facts import Prior, learn
from forecast.engine.forecast import Forecast
from forecast.engine.known import KnownFacts
from forecast.engine.plan import Plan, PlanInput, Row
from forecast.engine.statistics import near_percentile_weights
from forecast.watching.known_facts import KnownByNow, KnownLine
from forecast.words.minor_units import to_float


@dataclass(frozen=True)
class LearnedCause:
    """One shared cause, given all known amounts.

    Attributes
    ----------
    cause : str
        Its id.
    mean : float
        Its score: 0 before anything was known, above where what it pushes came in dear.
    sd : float
        How uncertain it still is: 1 before anything was known.
    taught_by : tuple of (str, float)
        How far each known row moved the mean, the largest move first; they add up to the mean.
    """

    cause: str
    mean: float
    sd: float
    taught_by: tuple[tuple[str, float], ...]


def learned_causes(
    plan: Plan, known: KnownFacts, seed: int, prior: Prior | None = None
) -> tuple[LearnedCause, ...]:
    """Give what known amounts taught about each shared cause.

    The mean is a sum over what was observed (`Posterior.moves`), so it can be shared out without a rest. Events, which
    reweight trials instead, are not in it.

    Parameters
    ----------
    plan : Plan
    known : KnownFacts
    seed : int
    prior : Prior, optional
        Of the same plan and seed, to be used again.

    Returns
    -------
    tuple of LearnedCause
        In the order of the plan's causes; empty where nothing known says anything about any.
    """
    learned = learn(plan, known, seed, prior)
    found = learned.posterior
    observed = learned.observations
    if found is None or not observed:
        return ()
    factor = 1.0 if found.width is None else found.width.inverse_mean
    # what own ranges taught counts less the wider these should have been
    moves = found.moves * np.where([one.own for one in observed], factor, 1.0)
    mean = found.mean
    told = []
    for place, cause in enumerate(plan.causes):
        pairs = [(one.row, float(move)) for one, move in zip(observed, moves[place], strict=True) if move]
        pairs.sort(key=lambda pair: -abs(pair[1]))
        spread = float(np.sqrt(found.covariance[place, place]))
        told.append(LearnedCause(cause, float(mean[place]), spread, tuple(pairs)))
    return tuple(told)


def width_of(forecast: Forecast) -> Width | None:
    """Give how wide the builder's own ranges should have been; None before anything is closed."""
    found = None if forecast.trials.conditions is None else forecast.trials.conditions.posterior
    return None if found is None else found.width


def moved_by_width(then: Forecast, now: Forecast, level: float = 0.8) -> float:
    """Give how far a percentile moved because own ranges count wider or narrower than before, to the first order.

    By d ln κ a range m exp(κ s z) moves by x ln(x / m), and a percentile by the mean of that near it (the derivative of
    a quantile: Tasche 1999, from memory). Taken half way between both forecasts.

    Parameters
    ----------
    then, now : Forecast
        Of the same build; a line that is closed in the second moves by itself.
    level : float
    """
    widths = [1.0 if width is None else width.mean for width in (width_of(then), width_of(now))]
    if widths[0] == widths[1]:
        return 0.0
    own = {item.id for item in now.plan.inputs if item.own}
    guessed = {row.id for row in now.plan.rows if own.intersection(row.inputs)}
    still = [line.id for line in now.lines if line.id in guessed and line.p10 != line.p90]
    reach = 0.0
    for one in (then, now):
        near = near_percentile_weights(one.trials.totals, level, one.trials.weights)
        some = near > 0
        for name in still:
            every = one.trials.row(name)
            costing = every > 0
            if costing.any():
                middle, values = np.median(every[costing]), every[some]
                reach += 0.5 * float(
                    near[some] @ (values * np.log(np.maximum(values, 1e-9 * middle) / middle))
                )
    return float(np.log(widths[1] / widths[0])) * reach


ReasonKind: TypeAlias = Literal[
    "paid", "part-bought", "agreed", "happened", "cannot-happen", "dropped", "outside", "follows", "learned"
]


@dataclass(frozen=True)
class Reason:
    """Why one line or event moved, and how far; all of them add up to how far the mean moved.

    Attributes
    ----------
    kind : str
        "paid": closed, at what was paid. "part-bought": so much is paid already. "agreed": a price was agreed.
        "happened", "cannot-happen": an event is settled. "dropped": closed with nothing paid. "outside": paid, but
        not in the estimate. "follows": computed from other lines that moved. "learned": what shares its causes came
        in otherwise than thought.
    id, title : str
        The line or event.
    amount : float
        How far its mean moved, in the build's currency.
    because : tuple of str
        Ids: for "learned" the causes that push it, the strongest first; for "follows" the lines it is computed from.
    """

    kind: ReasonKind
    id: str
    title: str
    amount: float
    because: tuple[str, ...] = ()


@dataclass(frozen=True)
class TaughtCause:
    """What the receipts say about one shared cause, and what that does to what is still open.

    Attributes
    ----------
    id, title : str
    mean, sd : float
        Its score: 0 ± 1 before the first receipt; above 0 where what it pushes came in dear.
    taught_by : tuple of (str, str, float)
        Id and title of each known line, and how far it moved the mean; they add up to it.
    moves : tuple of str
        Open lines and events that this cause pushes harder than any other, by id.
    effect : float
        How far their means moved together, in the build's currency.
    pushed : frozenset of str
        Ids of all lines and events that it pushes. What is known of others moves it too, as it says how much of a price
        that both push is the other cause's; yet none of them shows anything of it.
    """

    id: str
    title: str
    mean: float
    sd: float
    taught_by: tuple[tuple[str, str, float], ...]
    moves: tuple[str, ...]
    effect: float
    pushed: frozenset[str] = frozenset()


def reasons_for(
    plan: Plan, known: KnownByNow, moved: Mapping[str, float], learned: tuple[LearnedCause, ...]
) -> tuple[Reason, ...]:
    """Give the reason of every line and event that moved, the largest move first.

    Parameters
    ----------
    plan : Plan
    known : KnownByNow
    moved : mapping of str to float
        How far each line's or event's mean moved.
    learned : tuple of LearnedCause
    """
    found = [
        _reason(plan, row, known, moved[row.id], learned)
        for row in plan.rows
        if moved.get(row.id, 0.0) != 0.0
    ]
    titles = {**plan.absent, **known.taken_out}
    found += [
        Reason("outside", name, titles[name], to_float(amount, plan.currency))
        for name, amount in known.outside.items()
    ]
    return tuple(sorted(found, key=lambda reason: -abs(reason.amount)))


def taught_causes(
    plan: Plan, learned: tuple[LearnedCause, ...], reasons: tuple[Reason, ...], titles: Mapping[str, str]
) -> tuple[TaughtCause, ...]:
    """Give what was learned of each cause, the one that moved most money first.

    Parameters
    ----------
    plan : Plan
    learned : tuple of LearnedCause
    reasons : tuple of Reason
    titles : mapping of str to str
        Of causes; an id stands for itself where there is none.
    """
    names = {**plan.absent, **{row.id: row.title for row in plan.rows}}
    found = []
    for cause in learned:
        mine = [one for one in reasons if one.kind == "learned" and one.because[:1] == (cause.cause,)]
        found.append(
            TaughtCause(
                cause.cause,
                titles.get(cause.cause, cause.cause.replace("_", " ").capitalize()),
                cause.mean,
                cause.sd,
                tuple((name, names.get(name, name), move) for name, move in cause.taught_by),
                tuple(one.id for one in mine),
                sum(one.amount for one in mine),
                _pushed(plan, cause.cause),
            )
        )
    return tuple(sorted(found, key=lambda one: -abs(one.effect)))


def _pushed(plan: Plan, cause: str) -> frozenset[str]:
    """Name the rows with a figure or a chance that loads on a cause."""
    place = plan.causes.index(cause)
    inputs = {item.id for item in plan.inputs if item.loadings[place]}
    gates = {gate.id for gate in plan.gates if gate.loadings[place]}
    return frozenset(row.id for row in plan.rows if inputs.intersection(row.inputs) or row.gate in gates)


def _reason(
    plan: Plan, row: Row, known: KnownByNow, amount: float, learned: tuple[LearnedCause, ...]
) -> Reason:
    kind = _own_kind(row, known.lines[row.id], known)
    if kind is not None and row.id in plan.unforeseen:
        kind = "outside"
    if kind is not None:
        return Reason(kind, row.id, row.title, amount)
    read = row.reads
    if read:
        return Reason("follows", row.id, row.title, amount, read)
    return Reason("learned", row.id, row.title, amount, _pushes(plan, row, learned))


def _own_kind(row: Row, line: KnownLine, known: KnownByNow) -> ReasonKind | None:
    """Give what the ledger itself says of a line, if it says anything."""
    if row.id in known.dropped:
        return "dropped"
    if row.kind == "event" and (line.paid_minor or row.id in known.events):
        return "cannot-happen" if known.facts.gates.get(row.id) is False else "happened"
    if line.state == "closed":
        return "paid"
    if line.state == "part-bought":
        return "part-bought"
    if line.state == "committed" or line.still_minor is not None:
        return "agreed"
    return None


def _pushes(plan: Plan, row: Row, learned: tuple[LearnedCause, ...]) -> tuple[str, ...]:
    """Name the causes that push a row, the strongest first: loading, times relative range, times what was learned."""
    read = row.inputs
    loadings = [np.abs(item.loadings) * _reach(item) for item in plan.inputs if item.id in read]
    loadings += [np.abs(gate.loadings) for gate in plan.gates if gate.id == row.gate]
    if not loadings or not learned:
        return ()
    push = np.sum(loadings, axis=0) * np.abs([cause.mean for cause in learned])
    return tuple(learned[place].cause for place in np.argsort(-push, kind="stable") if push[place] > 0)


def _reach(item: PlanInput) -> float:
    """Give an input's range from P10 to P90 by its median: how far a cause can move what it is multiplied into."""
    low, middle, high = (item.shape.percentile(share) for share in (0.1, 0.5, 0.9))
    return abs(high - low) / (abs(middle) or 1.0)
