"""A compiled build: inputs in a fixed order, rows in dependency order, and what these come to at given figures."""

from __future__ import annotations

from collections import Counter
from collections.abc import Container, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal, TypeAlias

from forecast.buildfile.schema import Bought
from forecast.engine.known import Conditions, KnownFacts
from forecast.figures.evaluate import Value, evaluate
from forecast.figures.formula import Constant, Formula, Input, LineValue, Product, less_paid, walk
from forecast.figures.shapes import Shape
from forecast.trade.expansion import Expansion

OWN_WORK = "own_work"
"""Id of the line that own hours make where the build sets a value for them."""

Gated: TypeAlias = Literal["shut", "by chance", "open"]
"""How rows count that may not be needed, or not happen: not at all, as in a base estimate; at their chance, for a value
near the mean; or in full, as if each were needed and happened."""


@dataclass(frozen=True)
class PlanInput:
    """An uncertain figure: its distribution, and its loadings on the K shared causes.

    Attributes
    ----------
    id : str
    shape : Shape
    loadings : tuple of K floats
    own : bool
        Whether its range is the builder's own estimate, and so as wide as those turn out to be; rates of exchange
        and figures of law are not.
    starter : bool
        Whether it is a usual range that nobody made their own, and so not as narrow as people's own are.
    quoted : bool
        Whether it is prices that were quoted.
    """

    id: str
    shape: Shape
    loadings: tuple[float, ...]
    own: bool = False
    starter: bool = False
    quoted: bool = False


@dataclass(frozen=True)
class Gate:
    """Something that happens or not: a risk event, or a line that may not be needed."""

    id: str
    chance: float
    loadings: tuple[float, ...]
    is_event: bool


@dataclass(frozen=True)
class Row:
    """One computed amount per trial.

    Attributes
    ----------
    id, title, group : str
    kind : str
        "line" or "event" for money, "hours" for own hours, "weeks" for weeks of waiting.
    formula : Formula
    gate : str or None
        Id of the gate that lets it count.
    package, route : str or None
        The work package it belongs to, and by whom it is done.
    of : str
        Id of the line, event or consignment that it comes from.
    working : str
        How a take-off came to its quantity, at middle figures.
    cautions : tuple of str
        What to look up before relying on it.
    notes : tuple of str
        Where its figures come from.
    bought : str
        How it is paid for: "once", in "several" goes, or "running" on by the week or month.
    pivot : str or None
        The price among its inputs, that follows from what was paid: other rows may read it too.
    hazards : tuple of str or None
        What its line or event says about it that can hurt somebody; None where the file does not say.
    know : tuple of str
        What else to know of its figures.
    currency : str
        The foreign currency that it is priced in; empty where it is in none.
    """

    id: str
    title: str
    group: str
    kind: str
    formula: Formula
    gate: str | None = None
    package: str | None = None
    route: str | None = None
    of: str = ""
    working: str = ""
    cautions: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    bought: Bought = "once"
    pivot: str | None = None
    hazards: tuple[str, ...] | None = None
    know: tuple[str, ...] = ()
    currency: str = ""

    @property
    def is_money(self) -> bool:
        """Whether it counts in the total."""
        return self.kind in ("line", "event")

    @cached_property
    def inputs(self) -> tuple[str, ...]:
        """Ids of the inputs that stand in its formula."""
        return tuple(dict.fromkeys(node.id for node in walk(self.formula) if isinstance(node, Input)))

    @cached_property
    def reads(self) -> tuple[str, ...]:
        """Ids of the rows that its formula reads."""
        return tuple(dict.fromkeys(node.id for node in walk(self.formula) if isinstance(node, LineValue)))

    @cached_property
    def unpaid(self) -> tuple[str, ...]:
        """Ids of the rows that its formula reads as far as they are not paid yet."""
        nodes = (node for node in walk(self.formula) if isinstance(node, LineValue) and node.unpaid)
        return tuple(dict.fromkeys(node.id for node in nodes))

    def less(self, paid: Mapping[str, float]) -> Formula:
        """Give its formula with what is paid for other rows taken off where it counts only what is not paid yet."""
        return less_paid(self.formula, paid) if paid and self.unpaid else self.formula


@dataclass(frozen=True)
class Rate:
    """A foreign currency as a plan knows it.

    Attributes
    ----------
    code : str
        ISO 4217.
    middle : float
        Units of the build's currency for one of it, today.
    margin : float
        What card or bank add, as a share; the lines of consignments never hold it.
    """

    code: str
    middle: float
    margin: float

    def with_margin(self, row: Row | None) -> float:
        """Give the factor that card or bank put on the rate for a row; for what a plan has no row of they do, too."""
        return 1 + self.margin if row is None or row.of == row.id else 1.0

    @property
    def prefix(self) -> str:
        """What the ids of all inputs of its path begin with."""
        return f"fx.{self.code}."


@dataclass(frozen=True)
class Plan:
    """Everything that a simulation needs, without the build's words.

    ``rows`` stand so that each uses earlier ones only. Money rows (lines, then events) come before hours and weeks,
    except that own work, where hours are given a value, comes last.

    Attributes
    ----------
    slots : mapping
        Place among the evenly filling draws of shared causes ("cause …"), of the file's events ("gate …") and of
        their impacts, by name. It follows from the place of causes and events in the file, whatever the scenario.
    hours_per_week : float or None
        Own hours that a week has room for.
    rates : mapping
        Foreign currencies by code.
    estimating_size : float
        Lines smaller than this share less of own estimating, and what was paid for them says little of others.
    absent : mapping
        Titles by id of lines and events of the build file that this scenario does not have.
    income : frozenset of str
        Lines that are money that comes in, by id: they were to cost less than nothing.
    """

    name: str
    currency: str
    scenario: str | None
    fingerprint: str
    causes: tuple[str, ...]
    inputs: tuple[PlanInput, ...]
    gates: tuple[Gate, ...]
    rows: tuple[Row, ...]
    consignments: tuple[Expansion, ...] = ()
    notes: tuple[str, ...] = field(default=())
    slots: Mapping[str, int] = field(default_factory=dict)
    hours_per_week: float | None = None
    rates: Mapping[str, Rate] = field(default_factory=dict)
    estimating_size: float = 0.0
    absent: Mapping[str, str] = field(default_factory=dict)
    income: frozenset[str] = frozenset()

    @cached_property
    def dues(self) -> frozenset[str]:
        """Ids of the lines that a state charges on the entry of goods."""
        return frozenset(name for one in self.consignments for name in one.dues)

    @cached_property
    def input_places(self) -> Mapping[str, int]:
        """Place of each input by id."""
        return {item.id: place for place, item in enumerate(self.inputs)}

    @cached_property
    def shared_inputs(self) -> frozenset[str]:
        """Ids of inputs that stand more than once in the rows' formulas."""
        seen = Counter(node.id for row in self.rows for node in walk(row.formula) if isinstance(node, Input))
        return frozenset(name for name, times in seen.items() if times > 1)

    @property
    def payable(self) -> tuple[Row, ...]:
        """Lines and events that receipts may be entered for: those of the build file and of its consignments."""
        bought = {item.consignment for item in self.consignments}
        return tuple(
            row
            for row in self.rows
            if row.kind in ("line", "event") and row.id != OWN_WORK and (row.of == row.id or row.of in bought)
        )

    @property
    def own_work(self) -> Mapping[str, tuple[Row, str]]:
        """Own hours of lines, each with what is closed when they are worked, by the id of their row.

        That is the line, where it is own work alone; where it costs money too, closing it says that all is paid, so the
        hours are closed by themselves.
        """
        lines = {row.id: row for row in self.rows if row.kind == "line"}
        return {
            row.id: (row, row.of if lines[row.of].formula == Constant(0.0) else row.id)
            for row in self.rows
            if row.kind == "hours" and row.of in lines
        }

    @property
    def costing(self) -> tuple[Row, ...]:
        """Lines that cost money: those of `payable` that are more than own work. What counts lines counts these."""
        return tuple(row for row in self.payable if row.kind == "line" and row.formula != Constant(0.0))

    def counted(self, paid: Container[str]) -> tuple[Row, ...]:
        """Give the lines that cost money: those that were to, and those that nobody foresaw and something was paid for.

        Parameters
        ----------
        paid : container of str
            Ids of what something was paid for.
        """
        costing = {row.id for row in self.costing}
        return tuple(
            row for row in self.payable if row.id in costing or (row.id in self.unforeseen and row.id in paid)
        )

    def planned_rate(self, row: Row) -> float | None:
        """Give what one unit of the foreign currency that a row is priced in was to cost; None where it is in none."""
        rate = self.rates.get(row.currency)
        if rate is None:
            return None
        return rate.middle * rate.with_margin(row)

    @cached_property
    def added_abroad(self) -> Mapping[str, float]:
        """Share that card or bank add to what is paid for a row abroad, by its id, where another row counts that.

        What was charged holds it, so it is no part of the rate of exchange.
        """
        found: dict[str, float] = {}
        for _, name, share in self.margins:
            found[name] = found.get(name, 0.0) + share
        return found

    @cached_property
    def unforeseen(self) -> frozenset[str]:
        """Lines that were to cost nothing, by id: what is paid for them was in no estimate."""
        return frozenset(row.id for row in self.rows if row.kind == "line" and row.formula == Constant(0.0))

    @cached_property
    def margins(self) -> tuple[tuple[str, str, float], ...]:
        """Shares that card or bank add: the row that counts one, the row that is paid abroad, and the share."""
        found: list[tuple[str, str, float]] = []
        for row in self.rows:
            for node in walk(row.formula) if row.kind == "line" else ():
                match node:
                    case Product((Constant(share), LineValue(name, True))):
                        found.append((row.id, name, share))
        return tuple(found)

    @cached_property
    def middles(self) -> Mapping[str, float]:
        """Each figure at the middle of its shape, by input id."""
        return {item.id: item.shape.middle for item in self.inputs}

    def at_middle(
        self, known: KnownFacts | None = None, ready: Conditions | None = None, *, gated: Gated = "shut"
    ) -> dict[str, float]:
        """Give every row at its middle figures, or at what is known of it: what one would write on an envelope today.

        Known amounts and agreed prices stand as they are, and what is computed from them follows. A line paid in part
        counts at what was paid so far as that is likely to be all, and at its middle figure, or what was paid if that
        is more, for the rest. Rows behind a gate that is known count or not as it says.

        Parameters
        ----------
        known : KnownFacts, optional
        ready : Conditions, optional
            The same facts made ready for drawing, which say how likely a sum paid is all.
        gated : {"shut", "by chance", "open"}
            How rows behind an open gate count.

        Returns
        -------
        dict of str to float
            By row id: money in the build's main unit, hours and weeks.
        """
        return self.at(self.middles, known, ready, gated=gated)

    def at(
        self,
        figures: Mapping[str, float],
        known: KnownFacts | None = None,
        ready: Conditions | None = None,
        *,
        gated: Gated = "shut",
    ) -> dict[str, float]:
        """Give every row with each input at a given figure, by input id; the rest as for `at_middle`."""
        facts = KnownFacts() if known is None else known
        certain = {**{name: one.price for name, one in facts.agreed.items()}, **facts.amounts, **facts.fixed}
        partial = {} if ready is None else ready.partial
        shares = {gate.id: {"shut": 0.0, "by chance": gate.chance, "open": 1.0}[gated] for gate in self.gates}
        inputs: dict[str, Value] = dict(figures)
        lines: dict[str, float] = {}
        for row in self.rows:
            paid = facts.part_paid.get(row.id)
            if row.id in certain:
                lines[row.id] = certain[row.id]
            else:
                share = 1.0 if row.gate is None or paid is not None else shares[row.gate]
                if row.gate is not None and row.gate in facts.gates:
                    share = float(facts.gates[row.gate])
                value = 0.0
                if share:
                    value = share * float(evaluate(row.less(facts.paid), inputs, lines))
                if paid is not None:
                    settled = partial[row.id].settled if row.id in partial else paid.settled
                    value = settled * paid.paid + (1 - settled) * max(value, paid.paid) + paid.exchange
                lines[row.id] = value
            pivot = None if ready is None else ready.pivots.get(row.id)
            if pivot is not None:  # what was paid decides the price that duty and tax are reckoned from
                if pivot.foreign:
                    inputs.update(pivot.neutral)
                one = float(evaluate(row.formula, {**inputs, pivot.price: 1.0}, lines))
                cost = pivot.foreign or lines[row.id]
                inputs[pivot.price] = cost / one if one else inputs[pivot.price]
        return lines

    def base_estimate(
        self, known: KnownFacts | None = None, ready: Conditions | None = None
    ) -> dict[str, float]:
        """Give what lines and events add to the base estimate, by id; see `at_middle`."""
        amounts = self.at_middle(known, ready)
        return {row.id: amounts[row.id] for row in self.rows if row.is_money}

    def middles_if_needed(self) -> dict[str, float]:
        """Give the middle figure of each row behind a gate, if it is needed or happens: all else as in the base."""
        rest = self.at_middle()
        return {
            row.id: float(evaluate(row.formula, self.middles, rest))
            for row in self.rows
            if row.gate is not None
        }

    @property
    def money_rows(self) -> tuple[int, ...]:
        """Places of the rows that are money."""
        return tuple(place for place, row in enumerate(self.rows) if row.is_money)


def sole_input(row: Row) -> tuple[str, float] | None:
    """Give the input that alone decides a row, and the factor it is multiplied by; None for any other row.

    Such a row can be observed exactly: what was paid, divided by the factor, is the input's value.
    """
    match row.formula:
        case Input(name):
            return name, 1.0
        case Product(parts):
            names = [part.id for part in parts if isinstance(part, Input)]
            factors = [part.value for part in parts if isinstance(part, Constant)]
            if len(names) == 1 and len(names) + len(factors) == len(parts):
                factor = 1.0
                for value in factors:
                    factor *= value
                return (names[0], factor) if factor > 0 else None
    return None


def factor_inputs(formula: Formula) -> tuple[str, ...]:
    """Give the inputs that a formula is proportional to: those that stand as factors, once each."""
    found: list[str] = []
    open_nodes = [formula]
    while open_nodes:
        node = open_nodes.pop(0)
        if isinstance(node, Input):
            found.append(node.id)
        elif isinstance(node, Product):
            open_nodes = [*node.parts, *open_nodes]
    times = Counter(node.id for node in walk(formula) if isinstance(node, Input))
    return tuple(name for name in found if times[name] == 1)
