"""Facts made ready for drawing: what is known by now, as scores, settled chances and opened or closed gates."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from forecast.engine.condition import SCORE_CLIP, Posterior, Width, posterior, regressed_loadings
from forecast.engine.draws import column
from forecast.engine.known import Conditions, KnownFacts, Partial, PartPaid, Pivot
from forecast.engine.margin import ONE_WIDTH, Margin
from forecast.engine.plan import Plan, Rate, Row, sole_input
from forecast.engine.replicate import sample
from forecast.errors import SimulationError
from forecast.figures.evaluate import Value, evaluate
from forecast.figures.formula import Constant, LineValue, walk
from forecast.figures.shapes import Array

_PRIOR_TRIALS = 4096  # for the scores of rows that several inputs decide

FOLLOWS_WITHIN = 0.2
"""So far off its formula a row that follows from known ones is no news to the builder either."""

_NOTHING_SAID = 1e7

_LAST = 4
"""So many times what was learnt is kept: a page asks what the same facts say in several of its sections."""

EVIDENCE_SIZE = 2.5
"""A line of so many times the build's `estimating_size` says half as much of the others as a large one does."""


@dataclass(frozen=True)
class Observation:
    """What one known amount says.

    Attributes
    ----------
    row : str
        Id of the row that is known.
    loadings : tuple of L floats
        How far each latent moves the row's score: the plan's causes, then the joined inputs.
    score : float
        Where the amount lies in its stated range; not yet clipped.
    own : bool
        Whether that range is the builder's own.
    evidence : float
        Variance added for the smallness of the line.
    weight : float
        How far it counts: the chance that what was paid is all.
    guessed : bool
        Whether it rests on an own range, be it through another row: an import tax does on the price of the kit.
    """

    row: str
    loadings: tuple[float, ...]
    score: float
    own: bool = True
    evidence: float = 0.0
    weight: float = 1.0
    guessed: bool = False

    @property
    def follows(self) -> bool:
        """Whether it is the amount of a row that follows from known ones, and so no guess of the builder's."""
        return self.evidence >= _NOTHING_SAID


@dataclass(frozen=True)
class _Judged:
    """One row's distribution before its own amount is looked at, and how it hangs on the latents."""

    margin: Margin
    loadings: tuple[float, ...]


class Prior:
    """Prior trials of a plan, in which amounts of rows that several inputs decide are judged.

    Drawn when first needed, and kept: one object serves any number of sets of facts about its plan.

    Parameters
    ----------
    plan : Plan
    seed : int
    """

    def __init__(self, plan: Plan, seed: int) -> None:
        self.plan = plan
        self.seed = seed
        self.rows = {row.id: row for row in plan.rows}
        self.inputs = {item.id: item for item in plan.inputs}
        self._sizes: dict[str, float] | None = None
        self._columns: dict[str, Array] = {}
        self._drawn: dict[str, Value] = {}
        self._judged: dict[object, _Judged] = {}
        self.learnt: list[tuple[KnownFacts, tuple[str, ...], Learning]] = []

    # -- what the trials hold

    def column(self, name: str) -> Array:
        """Give the scores of one named column, shape (4096,)."""
        if name not in self._columns:
            self._columns[name] = column(self.seed, 0, name, _PRIOR_TRIALS, self.plan.slots)
        return self._columns[name]

    def drawn(self, name: str) -> Value:
        """Give the prior values of one input."""
        if name not in self._drawn:
            causes = self.latents(())
            self._drawn[name] = sample(self.inputs[name], self.column(name).copy(), causes)
        return self._drawn[name]

    def latents(self, joined: tuple[str, ...]) -> Array:
        """Give the scores of causes and joined inputs, shape (L, 4096)."""
        names = [*(f"cause {cause}" for cause in self.plan.causes), *joined]
        return np.array([self.column(name) for name in names]).reshape(len(names), _PRIOR_TRIALS)

    def size(self, name: str) -> float:
        """Give a row's middle amount, gates open."""
        if self._sizes is None:
            self._sizes = {one: abs(value) for one, value in self.plan.at_middle(gated="open").items()}
        return self._sizes[name]

    def judge(self, name: str, given: _Given, joined: tuple[str, ...]) -> _Judged:
        """Give a row's distribution with other known rows at what they cost."""
        row = self.rows[name]
        sole = sole_input(row)
        if sole is not None and given.pivots.get(sole[0], name) == name:
            key: object = name
            if key not in self._judged:
                item = self.inputs[sole[0]]
                self._judged[key] = _Judged(Margin.of_shape(item.shape, sole[1]), item.loadings)
            found = self._judged[key]
            return _Judged(found.margin, (*found.loadings, *(0.0 for _ in joined)))
        key = (name, joined, given.about(self, row, name))
        if key not in self._judged:
            values = self._array(self._value(row, given, name))
            loadings = regressed_loadings(values, self.latents(joined))
            self._judged[key] = _Judged(Margin.of_trials(values), tuple(float(one) for one in loadings))
        return self._judged[key]

    def foreign(
        self, name: str, rate: Rate, given: _Given, joined: tuple[str, ...]
    ) -> tuple[_Judged, _Judged | None]:
        """Judge a row in the foreign money it is priced in, and the rate that it is paid at.

        Returns
        -------
        amount : _Judged
            Of the foreign amount.
        rate : _Judged or None
            Of the rate; None where it cannot vary.
        """
        row = self.rows[name]
        key = (name, rate.code, joined, given.about(self, row, name))
        priced = self._array(self._value(row, given, name))
        neutral = self._array(self._value(row, given, name, self.neutral(rate))) / rate.middle
        at = (*key, "rate")
        if at not in self._judged:
            rates = priced / np.maximum(neutral, 1e-300)
            varies = float(np.ptp(rates)) > 1e-9 * float(np.mean(rates))
            about = rates / rates.mean() - 1  # around nothing, so that the least move of a rate is news
            told = (
                tuple(float(one) for one in regressed_loadings(about, self.latents(joined))) if varies else ()
            )
            self._judged[at] = _Judged(Margin.of_trials(rates), told)
            names = {one for one in row.inputs if not one.startswith(rate.prefix)}
            reads = [node for node in walk(row.formula) if isinstance(node, LineValue)]
            if len(names) == 1 and not reads:
                item = self.inputs[next(iter(names))]
                middle = item.shape.middle
                factor = self._at(row, item.id, middle, rate) / middle if middle else 1.0
                self._judged[key] = _Judged(
                    Margin.of_shape(item.shape, factor), (*item.loadings, *(0.0 for _ in joined))
                )
            else:
                loadings = regressed_loadings(neutral, self.latents(joined))
                self._judged[key] = _Judged(Margin.of_trials(neutral), tuple(float(one) for one in loadings))
        rates_judged = self._judged[at]
        return self._judged[key], rates_judged if rates_judged.loadings else None

    def _at(self, row: Row, name: str, value: float, rate: Rate) -> float:
        inputs: dict[str, Value] = {**self.neutral(rate), name: value}
        return float(evaluate(row.formula, inputs, {})) / rate.middle

    def neutral(self, rate: Rate) -> dict[str, Value]:
        """Give the inputs of a currency's path as if its rate stayed at today's middle."""
        return {
            one: rate.middle if one == f"{rate.prefix}rate" else 0.0
            for one in self.inputs
            if one.startswith(rate.prefix)
        }

    def _array(self, value: Value) -> Array:
        return np.broadcast_to(np.asarray(value, dtype=float), (_PRIOR_TRIALS,))

    def _value(
        self, row: Row, given: _Given, asked: str, instead: Mapping[str, Value] | None = None
    ) -> Value:
        """Evaluate a row with other known rows at what they cost, prices that follow from these included."""
        instead = instead or {}
        inputs: dict[str, Value] = {}
        for name in row.inputs:
            if name in instead:
                inputs[name] = instead[name]
            elif name in given.pivots and given.pivots[name] != asked:
                inputs[name] = self._price(name, given, asked)
            else:
                inputs[name] = self.drawn(name)
        lines: dict[str, Value] = {
            name: given.amounts[name]
            if name in given.amounts and name != asked
            else self._value(self.rows[name], given, asked, instead)
            for name in row.reads
        }
        return evaluate(row.less(given.paid), inputs, lines)

    def _price(self, name: str, given: _Given, asked: str) -> Value:
        """Give the price that follows from what was paid for the row that is proportional to it."""
        row = self.rows[given.pivots[name]]
        foreign = given.foreign.get(row.id)
        if foreign is not None:
            one = self._value(row, given, asked, {**self.neutral(foreign[0]), name: 1.0})
            return foreign[1] * foreign[0].middle / np.maximum(one, 1e-300)
        one = self._value(row, given, asked, {name: 1.0})
        return given.amounts[row.id] / np.maximum(one, 1e-300)

    def above(self, row: Row) -> tuple[str, ...]:
        """Name the rows that a row is computed from, directly or through others."""
        found: dict[str, None] = {}
        open_rows = [row]
        while open_rows:
            for name in open_rows.pop().reads:
                if name not in found:
                    found[name] = None
                    open_rows.append(self.rows[name])
        return tuple(found)


def prior_of(plan: Plan, seed: int) -> Prior:
    """Give the prior trials of a plan, drawn once for as long as the plan is held: no fact changes them."""
    kept: dict[int, Prior] = plan.__dict__.setdefault("_priors", {})
    return kept.setdefault(seed, Prior(plan, seed))


def stated_margin(plan: Plan, name: str, seed: int) -> Margin:
    """Give the distribution of a row by its ranges alone, before anything is known, as if it were needed.

    Parameters
    ----------
    plan : Plan
    name : str
        Id of the row.
    seed : int
    """
    prior = prior_of(plan, seed)
    return prior.judge(name, _given(plan, KnownFacts(), prior), ()).margin


@dataclass(frozen=True)
class _Given:
    """Known amounts, as far as they bear on other rows.

    Attributes
    ----------
    amounts : dict of str to float
        By row: final, given up, or agreed.
    pivots : dict of str to str
        By price: the known row that it follows from.
    foreign : dict of str to (Rate, float)
        By row: the currency and what was paid in it, as the row counts it.
    paid : mapping of str to float
        Paid for rows that others are a share of as far as they are not paid yet.
    """

    amounts: dict[str, float]
    pivots: dict[str, str]
    foreign: dict[str, tuple[Rate, float]]
    paid: Mapping[str, float]

    def about(self, prior: Prior, row: Row, asked: str) -> tuple[object, ...]:
        """Give what a row's distribution depends on."""
        rows = [row, *(prior.rows[name] for name in prior.above(row))]
        read = {name for one in rows for name in one.inputs}
        named = {one.id for one in rows[1:]} | {self.pivots[name] for name in read & self.pivots.keys()}
        return tuple(
            (name, self.amounts.get(name), self.foreign.get(name), self.paid.get(name))
            for name in sorted(named - {asked})
            if name in self.amounts or name in self.paid
        )


@dataclass(frozen=True)
class Learning:
    """All that known facts say before anything is drawn.

    Attributes
    ----------
    observations : tuple of Observation
    joined : tuple of str
        Inputs that count among the latents, after the plan's causes.
    posterior : Posterior or None
    partial : dict of str to Partial
        What is known of rows paid in part.
    """

    observations: tuple[Observation, ...]
    joined: tuple[str, ...]
    posterior: Posterior | None
    partial: dict[str, Partial]


def learn(
    plan: Plan,
    known: KnownFacts,
    seed: int,
    prior: Prior | None = None,
    joined: tuple[str, ...] = (),
) -> Learning:
    """Give what known facts say of the latents, and how likely each sum paid in part is all.

    First final amounts and agreed prices teach; in their light the sums paid in part are judged, and each then
    counts so far as it is likely to be all. What is paid towards more teaches nothing.

    Parameters
    ----------
    plan : Plan
    known : KnownFacts
    seed : int
    prior : Prior, optional
        Of the same plan and seed, to be used again.
    joined : tuple of str, optional
        Inputs that count among the latents in any case, so that what two sets of facts teach can be exchanged.

    Raises
    ------
    SimulationError
        When a fact names nothing of the plan.
    """
    prior = prior or prior_of(plan, seed)
    for facts, asked, kept in prior.learnt:
        if (facts, asked) == (known, joined):
            return kept
    found = _learn(plan, known, prior, joined)
    prior.learnt = [*prior.learnt[1 - _LAST :], (known, joined, found)]
    return found


def _learn(plan: Plan, known: KnownFacts, prior: Prior, joined: tuple[str, ...]) -> Learning:
    _refuse_strangers(plan, known)
    given = _given(plan, known, prior)
    final = [name for name in (*known.amounts, *known.agreed) if name not in known.fixed]
    final = list(dict.fromkeys(final))
    parts = [name for name, one in known.part_paid.items() if name not in given.amounts]
    named = {*joined, *_joined(plan, (prior.rows[name] for name in (*final, *parts)), given)}
    joined = tuple(item.id for item in plan.inputs if item.id in named)
    # Customs reckon by a value, a rate of exchange and a tariff of their own: what they charge says of no estimate how
    # good it was. A tax bill of 85 less than was worked out would be taken for a whole build that comes cheap.
    speaking = [name for name in final if name not in plan.dues]
    observed = [one for name in speaking for one in _observe(prior, name, given, joined)]
    observed += [
        Observation(
            name,
            (*one.loadings, *(0.0 for _ in joined)),
            one.score,
            one.own,
            one.evidence,
            one.weight,
            one.guessed,
        )
        for name, one in known.taught.items()
    ]
    first = _posterior(observed, len(plan.causes) + len(joined))
    partial: dict[str, Partial] = {}
    for name in parts:
        judged = prior.judge(name, given, joined)
        own = _is_own(prior, name)
        paid = known.part_paid[name]
        seen = _seen(judged.loadings, own, first)
        chance = judged.margin.settled(paid.paid, paid.settled, *seen) if paid.paid > 0 else 0.0
        if 0 < paid.back < paid.paid:  # of what came back for the most part another may be bought
            chance = max(chance, judged.margin.settled(paid.paid + paid.back, paid.settled, *seen))
        score = _score(prior, name, paid.paid, judged, given)
        settled = max(chance, _one_bill(prior, name, paid)) if name in plan.dues else chance
        partial[name] = Partial(paid.paid, settled, judged.margin, judged.loadings, own, paid.exchange)
        if chance > 0 and name not in plan.dues and not _is_quoted(prior, name):
            evidence = _evidence(prior, name)
            guessed = _is_guessed(prior, name)
            observed.append(Observation(name, judged.loadings, score, own, evidence, chance, guessed))
    found = first if not partial else _posterior(observed, len(plan.causes) + len(joined))
    return Learning(tuple(observed), joined, found, partial)


def _one_bill(prior: Prior, name: str, paid: PartPaid) -> float:
    """Give how likely what was paid to the state on an entry is all, by the line's own range alone.

    It comes in one bill, and customs reckon by their own value, rate of exchange and tariff: that their sum is not what
    was worked out from what is known is no sign that a second bill follows. Nor does it teach anything of the builder's
    estimates.
    """
    if paid.paid <= 0:
        return 0.0
    judged = prior.judge(name, _given(prior.plan, KnownFacts(), prior), ())
    return judged.margin.settled(paid.paid, paid.settled, *_seen(judged.loadings, _is_own(prior, name), None))


def observe(plan: Plan, known: KnownFacts, seed: int, prior: Prior | None = None) -> tuple[Observation, ...]:
    """Give what each known amount says about the latents; see `learn`."""
    return learn(plan, known, seed, prior).observations


def prepare(
    plan: Plan,
    known: KnownFacts,
    seed: int,
    prior: Prior | None = None,
    wider: float = 1.0,
    joined: tuple[str, ...] = (),
) -> Conditions:
    """Make facts ready for drawing.

    Parameters
    ----------
    plan : Plan
    known : KnownFacts
    seed : int
    prior : Prior, optional
        Of the same plan and seed, to be used again.
    wider : float
        All own ranges count so many times as wide as stated.
    joined : tuple of str, optional
        As for `learn`.

    Returns
    -------
    Conditions

    Raises
    ------
    SimulationError
        When a fact names nothing of the plan.
    """
    prior = prior or prior_of(plan, seed)
    learned = learn(plan, known, seed, prior, joined)
    given = _given(plan, known, prior)
    remarks = [
        remark
        for one in learned.observations
        if one.row in prior.rows and one.weight > 0.5
        for remark in _remark(prior.rows[one.row], _far(prior, one, learned, given))
    ]
    gates = dict(known.gates)
    for name in (*known.amounts, *known.part_paid, *known.agreed):
        gate = prior.rows[name].gate
        if gate is not None:
            gates.setdefault(gate, True)
    amounts = {**known.amounts, **known.fixed}
    pivots = {
        row: Pivot(name, *_in_foreign(prior, given.foreign.get(row))) for name, row in given.pivots.items()
    }
    for name in known.part_paid:  # what is drawn for it decides the price that other rows read
        price = _pivot(plan, prior.rows[name])
        if price is not None and name not in pivots:
            pivots[name] = Pivot(price)
    agreed = {name: one for name, one in known.agreed.items() if name not in amounts}
    return Conditions(
        learned.posterior,
        learned.joined,
        amounts,
        learned.partial,
        agreed,
        gates,
        pivots,
        tuple(remarks),
        wider,
        known.paid,
    )


def _in_foreign(prior: Prior, foreign: tuple[Rate, float] | None) -> tuple[float, Mapping[str, Value]]:
    if foreign is None:
        return 0.0, {}
    rate, amount = foreign
    return amount * rate.middle, prior.neutral(rate)


def _refuse_strangers(plan: Plan, known: KnownFacts) -> None:
    rows = {row.id for row in plan.rows}
    named = (*known.amounts, *known.part_paid, *known.agreed, *known.fixed, *known.foreign)
    unknown = [name for name in named if name not in rows]
    unknown += [name for name in known.gates if name not in {gate.id for gate in plan.gates}]
    if unknown:
        message = f"nothing called {unknown[0]!r} in this scenario; facts must name its lines and events."
        raise SimulationError(message)


def _given(plan: Plan, known: KnownFacts, prior: Prior) -> _Given:
    """Sort out which amounts are known and which prices follow from them."""
    agreed = {name: one.price for name, one in known.agreed.items()}
    amounts = {**agreed, **known.amounts, **known.fixed}
    pivots: dict[str, str] = {}
    foreign: dict[str, tuple[Rate, float]] = {}
    for name in amounts:
        row = prior.rows[name]
        price = _pivot(plan, row)
        if price is not None and amounts[name] > 0:
            pivots.setdefault(price, name)
        paid = known.foreign.get(name)
        if paid is None or paid.code not in plan.rates or paid.amount <= 0 or name in known.fixed:
            continue
        rate = plan.rates[paid.code]
        if any(one.startswith(rate.prefix) for one in row.inputs):
            foreign[name] = rate, paid.amount * rate.with_margin(row)
    return _Given(amounts, pivots, foreign, known.paid)


def _pivot(plan: Plan, row: Row) -> str | None:
    """Give the price that a row is proportional to and that other rows read too; None where there is none."""
    return row.pivot if row.pivot in plan.shared_inputs else None


def _joined(plan: Plan, rows: Iterable[Row], given: _Given) -> tuple[str, ...]:
    """Name the inputs that known rows share with others, prices that follow from them left out."""
    read: set[str] = set()
    for row in rows:
        if sole_input(row) is None:
            read |= {name for name in row.inputs if name in plan.shared_inputs}
            price = _pivot(plan, row)
            read -= {price} if price is not None else set()
    read -= given.pivots.keys()
    return tuple(item.id for item in plan.inputs if item.id in read)


def _observe(prior: Prior, name: str, given: _Given, joined: tuple[str, ...]) -> list[Observation]:
    """Give what one known amount says, that of a foreign one apart from the rate it was paid at."""
    amount, evidence = given.amounts[name], _evidence(prior, name)
    own, guessed = _is_own(prior, name), _is_guessed(prior, name)
    if _is_quoted(prior, name):
        own, guessed, evidence = False, False, _NOTHING_SAID
    paid = given.foreign.get(name)
    if paid is not None:
        rate, foreign = paid
        judged, at_rate = prior.foreign(name, rate, given, joined)
        score = judged.margin.score_of(foreign)
        found = [Observation(name, judged.loadings, score, own, evidence, guessed=guessed)]
        if at_rate is not None:
            paid_at = amount / foreign / (1 + prior.plan.added_abroad.get(name, 0.0))
            at = at_rate.margin.score_of(paid_at)
            found.append(Observation(f"rate of {name}", at_rate.loadings, at, own=False))
        return found
    judged = prior.judge(name, given, joined)
    score = _score(prior, name, amount, judged, given)
    if _follows(prior, name, given):
        near = abs(amount / float(judged.margin.amount(np.zeros(1))[0]) - 1) <= FOLLOWS_WITHIN
        at = 0.0 if near else judged.margin.score_of(amount)
        return [Observation(name, judged.loadings, at, own=False, evidence=_NOTHING_SAID)]
    return [Observation(name, judged.loadings, score, own, evidence, guessed=guessed)]


def _follows(prior: Prior, name: str, given: _Given) -> bool:
    """Tell whether a row is computed from others that are known, as an import tax is from the price that was paid.

    How far it is off then is a matter of roundings, of the day's rate and of what else was on the bill; it says nothing
    of the builder's guesses.
    """
    return any(one in given.amounts for one in prior.above(prior.rows[name]))


def _score(prior: Prior, name: str, amount: float, judged: _Judged, given: _Given) -> float:
    """Give the score of an amount: exact where one input decides it, and 0 where it cannot be news."""
    sole = sole_input(prior.rows[name])
    if sole is not None and given.pivots.get(sole[0], name) == name:
        return prior.inputs[sole[0]].shape.score(amount / sole[1])
    if not prior.rows[name].inputs and not any(judged.loadings):
        return 0.0
    score = judged.margin.score_of(amount)
    return float(np.clip(score, -8.5, 8.5))


def _is_own(prior: Prior, name: str) -> bool:
    return any(prior.inputs[one].own for one in prior.rows[name].inputs)


def _is_quoted(prior: Prior, name: str) -> bool:
    """Tell whether what a row comes to is prices that were quoted: which is taken says of no guess how good it was.

    At what rate they are paid is another matter.
    """
    rates = tuple(rate.prefix for rate in prior.plan.rates.values())
    inputs = [one for one in prior.rows[name].inputs if not one.startswith(rates)]
    return bool(inputs) and all(prior.inputs[one].quoted for one in inputs)


def _is_guessed(prior: Prior, name: str) -> bool:
    """Tell whether a row rests on an own range: its own, or that of a row that it is computed from."""
    return any(_is_own(prior, one) for one in (name, *prior.above(prior.rows[name])))


def _evidence(prior: Prior, name: str) -> float:
    """Give the variance that the smallness of a line adds to what it says of others."""
    small = EVIDENCE_SIZE * prior.plan.estimating_size
    if not small:
        return 0.0
    return min(1e6, (small / max(prior.size(name), 1e-9)) ** 2)


def _seen(loadings: tuple[float, ...], own: bool, found: Posterior | None) -> tuple[float, float, Array]:
    """Give mean and deviation of a row's score in the light of what is known, and how wide its range may have to be."""
    learnt = None if found is None else found.width
    widths = (learnt or Width.unknown()).likely if own else ONE_WIDTH
    if found is None:
        return 0.0, 1.0, widths
    row = np.asarray(loadings)
    wide = learnt.middle if own and learnt is not None else 1.0
    spread = 1 - row @ row + row @ found.covariance @ row
    return float(row @ (found.own + found.other * wide)), float(np.sqrt(spread)), widths


def _posterior(observed: list[Observation], latents: int) -> Posterior | None:
    if not observed:
        return None
    return posterior(
        [one.loadings for one in observed],
        [one.score for one in observed],
        latents,
        weights=[one.weight for one in observed],
        own=[one.own for one in observed],
        evidence=[one.evidence for one in observed],
        guessed=[one.guessed for one in observed],
    )


def _far(prior: Prior, one: Observation, learned: Learning, given: _Given) -> float:
    """Give the score to tell a builder of: also where a line of one figure teaches nothing, but came in dear."""
    if one.follows or one.score or prior.rows[one.row].inputs:
        return one.score
    judged = prior.judge(one.row, given, learned.joined)
    paid = learned.partial[one.row].paid if one.row in learned.partial else given.amounts[one.row]
    return max(0.0, judged.margin.score_of(paid))


def _remark(row: Row, score: float) -> list[str]:
    """Say that a figure lies outside its stated range."""
    if abs(score) < SCORE_CLIP or row.formula == Constant(
        0.0
    ):  # of what was in no estimate nothing was stated
        return []
    side = "above" if score > 0 else "below"
    return [f"{row.title} came in {side} anything its stated range allows."]
