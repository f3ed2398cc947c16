"""What is known by now, in the engine's words, and the same made ready for drawing.

Final amounts, parts paid, agreed prices, and what happened.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields
from functools import cached_property

from forecast.engine.condition import Posterior
from forecast.engine.margin import Margin, widest
from forecast.figures.evaluate import Value


@dataclass(frozen=True)
class PartPaid:
    """So much is paid for a row, and nobody said whether that is all.

    Attributes
    ----------
    paid : float
        At the rate of exchange that was planned, where it was paid in the foreign money of the row.
    settled : float
        Chance, before the sum is looked at, that it is all: 0 where more was said to come.
    exchange : float
        By how much the rates it was paid at made it dearer than that.
    back : float
        What came back, and is taken off already: a price reduced afterwards looks no less settled for it.
    """

    paid: float
    settled: float
    exchange: float = 0.0
    back: float = 0.0


@dataclass(frozen=True)
class Agreed:
    """A price agreed for a row.

    Attributes
    ----------
    price : float
        All of it, what was paid towards it included.
    extras : float
        Chance that extras come on top.
    """

    price: float
    extras: float


@dataclass(frozen=True)
class Foreign:
    """What was paid for a row, or agreed, in the foreign money that it was priced in."""

    code: str
    amount: float


@dataclass(frozen=True)
class Taught:
    """What a known amount of a line that a plan does not have says of the shared causes.

    A bill teaches the same of a builder's guesses whichever way of doing the build is looked at.

    Attributes
    ----------
    loadings : tuple of K floats
        Of the line's score on the causes, in the plan's order.
    score, own, evidence, weight, guessed
        As for `forecast.engine.facts.Observation`.
    """

    loadings: tuple[float, ...]
    score: float
    own: bool
    evidence: float
    weight: float
    guessed: bool


@dataclass(frozen=True)
class KnownFacts:
    """Facts to condition a simulation on, each by row id unless said otherwise.

    Attributes
    ----------
    amounts : mapping of str to float
        Final amount: that row costs exactly this (and an own-hours row took exactly this).
    part_paid : mapping of str to PartPaid
        Paid in part, or in full.
    agreed : mapping of str to Agreed
    gates : mapping of str to bool
        By gate: true for an event that happened (or a line that turned out to be needed), false for one that cannot.
    fixed : mapping of str to float
        Amount that says nothing of the shared causes: what was given up, not what came in cheap.
    foreign : mapping of str to Foreign
        Of rows among the amounts and the agreed prices: the same sum in foreign money.
    taught : mapping of str to Taught
        By the id of a line that the plan does not have.
    paid : mapping of str to float
        Paid for rows that others are a share of as far as they are not paid yet.
    """

    amounts: Mapping[str, float] = field(default_factory=dict)
    part_paid: Mapping[str, PartPaid] = field(default_factory=dict)
    agreed: Mapping[str, Agreed] = field(default_factory=dict)
    gates: Mapping[str, bool] = field(default_factory=dict)
    fixed: Mapping[str, float] = field(default_factory=dict)
    foreign: Mapping[str, Foreign] = field(default_factory=dict)
    taught: Mapping[str, Taught] = field(default_factory=dict)
    paid: Mapping[str, float] = field(default_factory=dict)

    @property
    def nothing(self) -> bool:
        """Tell whether there is nothing to condition on."""
        return not any(getattr(self, one.name) for one in fields(self))

    def about(self, name: str) -> tuple[object, ...]:
        """Give all that is known of one row or gate, for telling whether it is the same at two times."""
        return tuple(getattr(self, one.name).get(name) for one in fields(self))

    def only(self, keep: Callable[[str], bool]) -> KnownFacts:
        """Give the facts of some rows and gates."""
        kept = {
            one.name: {name: fact for name, fact in getattr(self, one.name).items() if keep(name)}
            for one in fields(self)
        }
        return KnownFacts(**kept)

    def __or__(self, other: KnownFacts) -> KnownFacts:
        """Add other facts; where both speak of the same, the others hold."""
        both = {one.name: {**getattr(self, one.name), **getattr(other, one.name)} for one in fields(self)}
        return KnownFacts(**both)


@dataclass(frozen=True)
class Partial:
    """A row paid in part or in full, made ready for drawing.

    Attributes
    ----------
    paid : float
        At the rate of exchange that was planned.
    settled : float
        Chance that it is all.
    margin : Margin
        The row's own distribution.
    loadings : tuple of L floats
        Of its score on the latents.
    own : bool
        Whether its range is as wide as the builder's own turn out to be.
    exchange : float
        By how much the rates it was paid at made it dearer; what is still to come is paid at others.
    """

    paid: float
    settled: float
    margin: Margin
    loadings: tuple[float, ...]
    own: bool
    exchange: float = 0.0

    @cached_property
    def bound(self) -> float:
        """Score of what was paid."""
        return self.margin.score_of(self.paid)

    @cached_property
    def pull(self) -> float:
        """See `Margin.pull`."""
        return self.margin.pull(max(self.paid, 1e-300))

    @cached_property
    def widest(self) -> float:
        """How many times as wide as stated its range may count."""
        return widest(*self.margin.tenths)


@dataclass(frozen=True)
class Pivot:
    """A price that follows from what its row costs.

    Attributes
    ----------
    price : str
        Id of the input.
    foreign : float
        What was paid in foreign money, at today's middle rate; 0 where that is not known.
    neutral : mapping
        With it: the inputs of the rate's path, as if the rate stayed there.
    """

    price: str
    foreign: float = 0.0
    neutral: Mapping[str, Value] = field(default_factory=dict)


@dataclass(frozen=True)
class Conditions:
    """Facts made ready for drawing.

    Attributes
    ----------
    posterior : Posterior or None
        Of the latents.
    joined : tuple of str
        Inputs that count among the latents, after the plan's causes.
    amounts : dict
        Fixed amount by row id.
    partial : dict of str to Partial
    agreed : dict of str to Agreed
    gates : dict
        Known gates.
    pivots : dict of str to Pivot
        By row: the price that follows from what it costs.
    remarks : tuple of str
    wider : float
        Ranges that the builder made their own count so many times as wide as stated, beside what was learnt of them;
        starter ranges do not.
    paid : mapping of str to float
        Paid for rows that others are a share of as far as they are not paid yet.
    """

    posterior: Posterior | None
    joined: tuple[str, ...]
    amounts: dict[str, float]
    partial: dict[str, Partial]
    agreed: dict[str, Agreed]
    gates: dict[str, bool]
    pivots: dict[str, Pivot]
    remarks: tuple[str, ...]
    wider: float = 1.0
    paid: Mapping[str, float] = field(default_factory=dict)

    @cached_property
    def priced(self) -> frozenset[str]:
        """Inputs that follow from what was paid for a row."""
        return frozenset(pivot.price for pivot in self.pivots.values())
