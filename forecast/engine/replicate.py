"""Replicates: draw inputs and evaluate rows, in blocks that fit the cache."""

from __future__ import annotations

from collections.abc import Callable, Mapping, MutableMapping, Sequence
from dataclasses import dataclass
from functools import lru_cache, partial
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from forecast.engine.alike import Alike
from forecast.engine.condition import SCORE_CLIP, at_least
from forecast.engine.draws import Columns, columns
from forecast.engine.known import Conditions, Pivot
from forecast.engine.margin import TENTHS, steepness, widest
from forecast.engine.plan import Gate, Plan, PlanInput, Row
from forecast.engine.rows import sole_input
from forecast.engine.tabulated import sampler
from forecast.figures.evaluate import Value, evaluate
from forecast.figures.formula import Formula
from forecast.figures.normal import normal_score, normal_scores, normal_share
from forecast.figures.shapes import Array, Shape

Keep: TypeAlias = Literal["rows", "totals"]
Among: TypeAlias = NDArray[np.intp]
"""Places of the trials that are meant, rising."""


@dataclass(frozen=True)
class Moments:
    """Sums over trials from which means, variances and variance shares follow.

    Attributes
    ----------
    weight : float
        Σ w.
    first : ndarray, shape (rows,)
        Σ w x.
    with_total : ndarray, shape (rows,)
        Σ w x T.
    total, total_squared : float
        Σ w T and Σ w T², with T less a fixed reference for stability.
    reference : ndarray, shape (rows,)
        Subtracted from each row before summing.
    """

    weight: float
    first: Array
    with_total: Array
    total: float
    total_squared: float

    def __add__(self, other: Moments) -> Moments:
        """Pool two sets of trials."""
        return Moments(
            self.weight + other.weight,
            self.first + other.first,
            self.with_total + other.with_total,
            self.total + other.total,
            self.total_squared + other.total_squared,
        )


class World:
    """What is drawn for some trials under some facts: the latents, and from them every input.

    Parameters
    ----------
    plan : Plan
    conditions : Conditions or None
    scores : callable
        Gives the own scores of a named column over the trials, in an array of its own.
    count : int
        n, the number of trials.
    tails : callable, optional
        Gives 1 − Φ of the same scores, where that is at hand.
    """

    def __init__(
        self,
        plan: Plan,
        conditions: Conditions | None,
        scores: Callable[[str], Array],
        count: int,
        tails: Callable[[str], Array] | None = None,
    ) -> None:
        self.plan, self.conditions, self.scores, self._tails = plan, conditions, scores, tails
        self.width: Array | None = None
        joined = () if conditions is None else conditions.joined
        names = [*(f"cause {cause}" for cause in plan.causes), *joined]
        drawn = [scores(name) for name in names]
        self.latents = np.array(drawn) if drawn else np.empty((0, count))
        found = None if conditions is None else conditions.posterior
        if found is not None:
            if found.width is not None:
                self.width = found.width.at(scores("width of own ranges"))
            self.latents = found.apply(self.latents, self.width)
        self.starter_width = self.width
        if conditions is not None and conditions.wider != 1:
            learnt = 1.0 if self.width is None else self.width
            self.width = np.full(self.latents.shape[-1], conditions.wider) * learnt
        self._joined = {name: len(plan.causes) + place for place, name in enumerate(joined)}
        self._pushes: dict[tuple[float, ...], Array] = {}

    @property
    def causes(self) -> Array:
        """Scores of the shared causes, shape (K, n)."""
        return self.latents[: len(self.plan.causes)]

    def own(self, name: str) -> Array:
        """Give an input's own scores, in an array of its own."""
        place = self._joined.get(name)
        return self.scores(name) if place is None else self.latents[place].copy()

    def own_tail(self, name: str) -> Array:
        """Give the share of a standard normal that lies above each of an input's own scores."""
        if self._tails is not None and name not in self._joined:
            return self._tails(name)
        return normal_share(-self.own(name))

    def figure(self, item: PlanInput, among: Among | None = None) -> Array:
        """Give an input's values, shape (n,), or those of some trials alone."""
        width, own = self.starter_width if item.starter else self.width, self.own(item.id)
        if among is not None:
            own, width = own.take(among), None if width is None else width.take(among)
        return sample(item, own, self.causes, self._pushes, width, among)

    def happens(self, gate: Gate) -> NDArray[np.bool_]:
        """Tell in which trials a gate opens."""
        return happens(gate, self.scores(f"gate {gate.id}"), self.causes)

    def formula(self, row: Row) -> Formula:
        """Give what a row follows from, with what is paid by now taken off where it is no share of that."""
        paid = {} if self.conditions is None else self.conditions.paid
        return row.less(paid)

    def settle(self, row: Row, drawn: Array, *, changed: bool = True) -> Array | float | None:
        """Give what a row costs where its amount is known, or known in part; None where nothing is.

        Parameters
        ----------
        row : Row
        drawn : ndarray, shape (n,)
            Its amounts as its inputs have them.
        changed : bool
            Whether they may be others than those of these trials.
        """
        facts = self.conditions
        if facts is None:
            return None
        if row.id in facts.amounts:
            return facts.amounts[row.id]
        if row.id in facts.agreed:
            agreed = facts.agreed[row.id]
            return agreed.price * (1 + extras(self.scores(f"extras {row.id}"), agreed.extras))
        if row.id in facts.partial:
            unfinished = self._unfinished(row.id)
            sole = None if changed else self._sole(row)
            if sole is not None:
                return self._finished(row, unfinished, tail=self.own_tail(sole).take(unfinished))
            return self._finished(row, unfinished, drawn=drawn.take(unfinished))
        return None

    def _sole(self, row: Row) -> str | None:
        """Name the input that alone decides a row and is drawn for it alone; None where there is none."""
        sole = None if row.gate is not None else sole_input(row)
        assert self.conditions is not None
        if sole is None or sole[0] in self.plan.shared_inputs or sole[0] in self.conditions.priced:
            return None
        return sole[0]

    def finish(
        self,
        row: Row,
        inputs: MutableMapping[str, Value],
        lines: Mapping[str, Value],
        gate: NDArray[np.bool_] | None,
    ) -> Array:
        """Give what a row paid in part costs in the end; what it reads is drawn where more of it is to come alone.

        Parameters
        ----------
        row : Row
        inputs : mutable mapping
            Those that other rows read too, and prices that follow from what was paid.
        lines : mapping
            Rows evaluated by now.
        gate : ndarray of bool, shape (n,), or None
            Whether it counts.
        """
        among = self._unfinished(row.id)
        sole = self._sole(row)
        if sole is not None:  # its score is its input's: there is no need to go to the amount and back
            return self._finished(row, among, tail=self.own_tail(sole).take(among))
        read: dict[str, Value] = {}
        for name in row.inputs:
            if name in self.plan.shared_inputs or name in inputs:
                read[name] = _among(inputs[name], among)
            else:
                read[name] = self.figure(self.plan.inputs[self.plan.input_places[name]], among)
        above = {name: _among(lines[name], among) for name in row.reads}
        drawn = np.empty(among.size)
        drawn[:] = evaluate(self.formula(row), read, above)
        if gate is not None:
            drawn *= gate.take(among)
        return self._finished(row, among, drawn=drawn)

    def _of_starters(self, row: Row) -> bool:
        """Tell whether none of a row's own ranges was made the builder's own."""
        if self.starter_width is self.width:
            return False
        named = set(row.inputs)
        return all(item.starter for item in self.plan.inputs if item.id in named and item.own)

    def _unfinished(self, name: str) -> Among:
        """Give the trials in which a sum paid for a row is not all."""
        assert self.conditions is not None  # a sum was paid
        least = normal_score(self.conditions.partial[name].settled)
        return np.flatnonzero(self.scores(f"settled {name}") >= least)

    def _finished(
        self, row: Row, among: Among, *, tail: Array | None = None, drawn: Array | None = None
    ) -> Array:
        """Give what a row paid in part costs in the end: what was paid, or as drawn given that it is more.

        Parameters
        ----------
        row : Row
        among : ndarray of int
            Where it is more: where it is settled nothing is left to draw.
        tail, drawn : ndarray, as long as that
            The shares above its own scores, or where several inputs decide it the amounts that scores follow from.
        """
        assert self.conditions is not None
        part = self.conditions.partial[row.id]
        wider = self.starter_width if self._of_starters(row) else self.width
        pushed = self._pushed(part.loadings).take(among) if any(part.loadings) else np.zeros(among.size)
        width = wider.take(among) if part.own and wider is not None else None
        weight: Value = own_weight(part.loadings)
        if width is not None:
            width = np.minimum(width, part.widest)
            pushed = pushed * width
            weight = weight * width
        if tail is None:
            assert drawn is not None  # one of the two is given
            tail = normal_share((pushed - part.margin.score(drawn)) / weight)
        pushed = pushed - part.pull * weight**2
        more = pushed + weight * at_least(tail, (part.bound - pushed) / weight)
        amount = part.margin.amount
        final = np.full(self.latents.shape[-1], part.paid)
        found = amount(more) if width is None else straight_on(amount, more, part.margin.steep)
        final[among] = np.maximum(found, part.paid)
        return final + part.exchange

    def _pushed(self, loadings: tuple[float, ...]) -> Array:
        """Give what the latents add to a score, kept for other rows and inputs of the same loadings."""
        if loadings not in self._pushes:
            self._pushes[loadings] = np.asarray(loadings) @ self.latents[: len(loadings)]
        return self._pushes[loadings]

    def price(
        self,
        row: Row,
        pivot: Pivot,
        cost: Array,
        inputs: Mapping[str, Value],
        lines: Mapping[str, Value],
    ) -> Value:
        """Give the price that follows from what a row costs, with its other inputs as drawn."""
        if pivot.foreign:
            one = evaluate(row.formula, {**_read(row, inputs, pivot.neutral), pivot.price: 1.0}, lines)
            known = self.conditions.amounts.get(row.id) if self.conditions is not None else None
            grown = 1.0 if known is not None else cost / self.conditions.agreed[row.id].price  # type: ignore[union-attr]
            return pivot.foreign * grown / one
        one = evaluate(row.formula, {**_read(row, inputs, {}), pivot.price: 1.0}, lines)
        return cost / np.maximum(one, 1e-300)


def _among(value: Value, among: Among) -> Value:
    return value.take(among) if isinstance(value, np.ndarray) else value


def _read(row: Row, inputs: Mapping[str, Value], instead: Mapping[str, Value]) -> dict[str, Value]:
    """Give the inputs that a row reads, some of them otherwise."""
    return {name: instead[name] if name in instead else inputs[name] for name in row.inputs}


EXTRAS = (0.1, 0.63)
"""Median share of extras where they come, and the deviation of its logarithm: 4 to 22 % in 80 of 100; common practice,
no source."""


def extras(scores: Array, chance: float) -> Array:
    """Give the share that comes on top of an agreed price, nothing in most trials."""
    level = normal_share(scores)
    share = np.zeros(scores.size)
    come = level < chance
    if chance > 0:
        share[come] = EXTRAS[0] * np.exp(-EXTRAS[1] * normal_scores(level[come] / chance))
    return share


@dataclass(frozen=True)
class Replicates:
    """Results of one or more replicates, one after another."""

    totals: Array
    hours: Array
    waits: Array
    rows: Array | None
    gates: NDArray[np.bool_]
    weights: Array | None
    moments: Moments


def simulate_replicates(
    plan: Plan,
    seed: int,
    n: int,
    keep: Keep,
    conditions: Conditions | None,
    reference: Array,
    replicates: tuple[int, ...],
    out: Array | None = None,
    alike: Alike | None = None,
) -> Replicates:
    """Simulate replicates block by block: draw the inputs, then evaluate the rows.

    Parameters
    ----------
    n : int
        Trials in each replicate, a power of two.
    replicates : tuple of int
        Their numbers.
    out : ndarray, shape (rows, n times replicates), optional
        Where rows are written that are kept; an array of its own when left out.
    alike : Alike, optional
        What earlier trials of the same draws have already; without conditions only.
    """
    names = column_names(plan, conditions)
    if alike is not None:
        read = alike.read(plan)
        names = [name for name in names if name in read or name.startswith("cause ")]
    places = {name: place for place, name in enumerate(names)}
    drawn = columns(seed, replicates, names, n, plan.slots)
    count = n * len(replicates)
    weights = np.ones(count) if weighted(plan, conditions) else None
    totals, hours, waits = np.zeros(count), np.zeros(count), np.zeros(count)
    gates = np.empty((len(plan.gates), count), dtype=np.bool_)
    kept = np.empty((len(plan.rows), count)) if keep == "rows" and out is None else out
    moments: Moments | None = None
    for block in drawn.blocks():
        world = World(plan, conditions, partial(_scores, drawn, places, block), block.stop - block.start)
        weight = None if weights is None else weights[block]
        same = None if alike is None else alike.part(block)
        draw_gates(world, gates[:, block], weight, same)
        values = kept[:, block] if kept is not None else np.empty((len(plan.rows), block.stop - block.start))
        sums = (totals[block], hours[block], waits[block])
        evaluate_rows(world, Inputs(world), gates[:, block], values, sums, same)
        part = _moments(values, totals[block], reference, plan, weight)
        moments = part if moments is None else moments + part
    assert moments is not None  # there is at least one block
    return Replicates(totals, hours, waits, kept, gates, weights, moments)


def _scores(drawn: Columns, places: Mapping[str, int], block: slice, name: str) -> Array:
    return drawn.scores(places[name], block)


def column_names(plan: Plan, conditions: Conditions | None) -> list[str]:
    """Name all columns that a simulation under some facts reads."""
    names = [f"cause {cause}" for cause in plan.causes]
    names += [item.id for item in plan.inputs]
    names += [f"gate {gate.id}" for gate in plan.gates]
    if conditions is not None:
        names += [f"settled {name}" for name in conditions.partial]
        names += [f"extras {name}" for name in conditions.agreed]
        names += ["width of own ranges"]
    return names


def weighted(plan: Plan, conditions: Conditions | None) -> bool:
    """Tell whether trials differ in weight: by gates that share causes and are known."""
    if conditions is None:
        return False
    return any(gate.id in conditions.gates and any(gate.loadings) for gate in plan.gates)


class Inputs(dict[str, Value]):
    """Inputs over one block, each drawn when a row first asks for it, so that it is still in the cache there."""

    def __init__(self, world: World) -> None:
        super().__init__()
        self._world = world

    def __missing__(self, name: str) -> Value:
        plan = self._world.plan
        value = self._world.figure(plan.inputs[plan.input_places[name]])
        if name in plan.shared_inputs:
            self[name] = value
        return value


def draw_gates(
    world: World, gates: NDArray[np.bool_], weights: Array | None, alike: Alike | None = None
) -> None:
    """Draw what happens, into ``gates``, and weigh the trials by how likely what is known was in each."""
    known_gates = world.conditions.gates if world.conditions is not None else {}
    for place, gate in enumerate(world.plan.gates):
        if alike is not None and place in alike.gates:
            gates[place] = alike.happened[alike.gates[place]]
            continue
        known = known_gates.get(gate.id)
        if known is None:
            gates[place] = world.happens(gate)
            continue
        gates[place] = known
        if any(gate.loadings) and weights is not None:
            chance = chance_given(gate, world.causes)
            weights *= chance if known else 1 - chance


def evaluate_rows(
    world: World,
    inputs: MutableMapping[str, Value],
    gates: NDArray[np.bool_],
    values: Array | Sequence[Array],
    sums: tuple[Array, Array, Array],
    alike: Alike | None = None,
) -> None:
    """Evaluate all rows over one block, into ``values`` of shape (rows, block).

    Rows that no other reads may be written into one and the same array of ``values``, where only sums are asked for.
    Each row is added to the totals, the own hours or the weeks of waiting of ``sums`` while it is at hand. Prices
    that follow from what was paid are written into the inputs, for the rows that read them afterwards.
    """
    plan, conditions = world.plan, world.conditions
    place_of = {gate.id: place for place, gate in enumerate(plan.gates)}
    pivots = conditions.pivots if conditions is not None else {}
    lines: dict[str, Value] = {}
    for place, row in enumerate(plan.rows):
        out = values[place]
        gate = None if row.gate is None else gates[place_of[row.gate]]
        if alike is not None and place in alike.rows:
            out[:] = alike.amounts[alike.rows[place]]
        elif conditions is not None and row.id in conditions.partial:
            out[:] = world.finish(row, inputs, lines, gate)
        elif (known := world.settle(row, out)) is not None:
            out[:] = known
        else:
            out[:] = evaluate(world.formula(row), inputs, lines)
            if gate is not None:
                out *= gate
        pivot = pivots.get(row.id)
        if pivot is not None:
            inputs[pivot.price] = world.price(row, pivot, out, inputs, lines)
        lines[row.id] = out
        total = sums[0] if row.is_money else sums[1 if row.kind == "hours" else 2]
        total += out


def _moments(values: Array, totals: Array, reference: Array, plan: Plan, weights: Array | None) -> Moments:
    """Sum up first moments, and products with the total, around the reference values."""
    money = list(plan.money_rows)
    about = totals - reference[money].sum()
    both = np.empty((totals.size, 2))
    both[:, 0] = 1.0 if weights is None else weights
    both[:, 1] = about * both[:, 0]
    mass, with_total = both.sum(axis=0)
    sums = values @ both
    return Moments(
        float(mass),
        sums[:, 0] - reference * mass,
        sums[:, 1] - reference * with_total,
        float(with_total),
        float(both[:, 1] @ about),
    )


@lru_cache(maxsize=4096)
def own_weight(loadings: tuple[float, ...]) -> float:
    """Give √(1 − Σλ²), the weight of what no cause moves."""
    return float(np.sqrt(1 - sum(loading * loading for loading in loadings)))


def sample(
    item: PlanInput,
    own: Array,
    causes: Array,
    pushes: dict[tuple[float, ...], Array] | None = None,
    width: Array | None = None,
    among: Among | None = None,
) -> Array:
    """Turn own scores into values: x = F⁻¹(Φ(κ(Σ λ f + √(1 − Σλ²) e))); own scores are overwritten.

    Parameters
    ----------
    item : PlanInput
    own : ndarray, shape (n,)
    causes : ndarray, shape (K, n)
    pushes : dict, optional
        Σ λ f by loadings, kept for other inputs over the same trials.
    width : ndarray, shape (n,), optional
        κ, by which own ranges are wider than stated.
    among : ndarray of int, optional
        Of which trials own scores and κ are, where it is not all that there are causes of.
    """
    if any(item.loadings):
        pushed = pushes.get(item.loadings) if pushes is not None else None
        if pushed is None:
            pushed = np.asarray(item.loadings) @ causes
            if pushes is not None:
                pushes[item.loadings] = pushed
        own *= own_weight(item.loadings)
        own += pushed if among is None else pushed.take(among)
    if width is not None and item.own:
        own *= np.minimum(width, _widest(item.shape))
        return straight_on(sampler(item.shape), own, _steepness(item.shape))
    return sampler(item.shape)(own)


@lru_cache(maxsize=4096)
def _widest(shape: Shape) -> float:
    low, high = shape.ppf(TENTHS)
    return widest(float(low), float(high))


@lru_cache(maxsize=4096)
def _steepness(shape: Shape) -> float:
    return steepness(sampler(shape))


def straight_on(values: Callable[[Array], Array], scores: Array, steep: float) -> Array:
    """Give values at scores, going straight on beyond `SCORE_CLIP` upwards as a normal would.

    A range that counts wider than stated says so of where builds usually go. Its tail, taken as many times farther, is
    nobody's belief: a lognormal's would lift the mean of a whole build by itself.

    Parameters
    ----------
    values : callable
    scores : ndarray, shape (n,)
    steep : float
        How far they rise with each unit of score beyond: see `steepness`.
    """
    over = scores - SCORE_CLIP
    far = over > 0
    if not far.any():
        return values(scores)
    found = values(np.minimum(scores, SCORE_CLIP))
    found[far] += steep * over[far]
    return found


def happens(gate: Gate, own: Array, causes: Array) -> NDArray[np.bool_]:
    """Tell in which trials a gate opens; own scores are overwritten."""
    if any(gate.loadings):
        own *= own_weight(gate.loadings)
        own += np.asarray(gate.loadings) @ causes
    happened: NDArray[np.bool_] = own < normal_score(gate.chance)
    return happened


def chance_given(gate: Gate, causes: Array) -> Array:
    """Give a gate's chance to open in each trial, given the causes."""
    pushed = np.asarray(gate.loadings) @ causes
    chance: Array = normal_share((normal_score(gate.chance) - pushed) / own_weight(gate.loadings))
    return chance
