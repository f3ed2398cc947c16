"""The build compiled for arrays: inputs in a fixed order, lines in dependency order. Pure data."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from forecast.build.checks import cross_check, dependencies, figures_of, loadings_of
from forecast.build.figures import FigureBase, Known
from forecast.build.formula import (
    Constant,
    Exponential,
    Formula,
    Input,
    Larger,
    LineValue,
    Product,
    Smaller,
    Sum,
    walk,
)
from forecast.build.scenario import choose
from forecast.build.schema import OWN_ESTIMATING, Build, Costed, Event, Line
from forecast.engine.figures import shape_of
from forecast.engine.shapes import Gaussian, Shape
from forecast.errors import SimulationError

OWN_WORK = "own_work"
"""Id of the line that own hours make where the build sets a value for them."""


@dataclass(frozen=True)
class PlanInput:
    """An uncertain figure: its distribution, and its loadings on the K shared causes."""

    id: str
    shape: Shape
    loadings: tuple[float, ...]


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
        "line" or "event" for money, "hours" for own hours.
    formula : Formula
    gate : str or None
        Id of the gate that lets it count.
    package, route : str or None
        The work package it belongs to, and by whom it is done.
    of : str
        Id of the line or event that it comes from.
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


@dataclass(frozen=True)
class Plan:
    """Everything that a simulation needs, without the build's words.

    ``rows`` stand so that each uses earlier ones only. Money rows (lines, then events) come before hours, except
    that own work, where hours are given a value, comes last.
    """

    name: str
    currency: str
    scenario: str | None
    fingerprint: str
    causes: tuple[str, ...]
    inputs: tuple[PlanInput, ...]
    gates: tuple[Gate, ...]
    rows: tuple[Row, ...]
    notes: tuple[str, ...] = field(default=())

    @property
    def money_rows(self) -> tuple[int, ...]:
        """Places of the rows that are money."""
        return tuple(place for place, row in enumerate(self.rows) if row.kind != "hours")

    @property
    def hour_rows(self) -> tuple[int, ...]:
        """Places of the rows that are own hours."""
        return tuple(place for place, row in enumerate(self.rows) if row.kind == "hours")


class _Compiler:
    """Gathers inputs, gates and rows while it walks over lines and events."""

    def __init__(self, build: Build) -> None:
        self.build = build
        self.estimating = build.build.estimating
        self.causes = tuple(cause.id for cause in build.cause)
        if self.estimating > 0 or _uses_own_estimating(build):
            self.causes = (OWN_ESTIMATING, *self.causes)
        self.inputs: dict[str, PlanInput] = {}
        self.gates: list[Gate] = []
        self.rows: list[Row] = []

    def figure(self, name: str, figure: FigureBase) -> Formula:
        """Give the formula of a figure, in the build's currency if it has one of its own."""
        value: Formula
        if isinstance(figure, Known):
            value = Constant(figure.value)
        else:
            loadings = loadings_of(figure, self.estimating)
            self.add_input(name, shape_of(figure, name), loadings)
            value = Input(name)
        if figure.currency and figure.currency != self.build.build.currency:
            return Product((value, self.rate(figure.currency)))
        return value

    def add_input(self, name: str, shape: Shape, loadings: Mapping[str, float]) -> None:
        """Note an uncertain input, once."""
        row = tuple(loadings.get(cause, 0.0) for cause in self.causes)
        self.inputs.setdefault(name, PlanInput(name, shape, row))

    def rate(self, code: str) -> Formula:
        """Give what one unit of a foreign currency costs on the day of payment, margin included.

        The rate is a lognormal walk without drift: R(d) = R0 exp(s √(d/365) Z).
        """
        currency = self.build.currency[code]
        parts: list[Formula] = [Constant(1 + currency.margin / 100)]
        today = currency.rate
        if isinstance(today, Known):
            parts.append(Constant(today.value))
        else:
            name = f"currency.{code}.rate"
            self.add_input(name, shape_of(today, name), dict(today.causes))
            parts.append(Input(name))
        if currency.volatility and currency.days:
            name = f"currency.{code}.walk"
            self.add_input(name, Gaussian(0.0, 1.0), {})
            spread = currency.volatility * (currency.days / 365) ** 0.5
            parts.append(Exponential(Product((Constant(spread), Input(name)))))
        return Product(tuple(parts))

    def gate(self, item: Costed, is_event: bool) -> str | None:
        """Note that an item may not happen."""
        if item.chance >= 1 and not is_event:
            return None
        causes = item.causes if isinstance(item, Event) else {}
        loadings = tuple(-causes.get(cause, 0.0) for cause in self.causes)  # a low score means: it happens
        self.gates.append(Gate(item.id, item.chance, loadings, is_event))
        return item.id

    def percentage(self, item: Costed, of: Iterable[str]) -> Formula | None:
        """Give an item's percentage of other lines."""
        if item.percent is None:
            return None
        base = Sum(tuple(LineValue(other) for other in of))
        return Product((self.figure(f"{item.id}.percent", item.percent), Constant(0.01), base))

    def line(self, line: Line, of: Iterable[str]) -> None:
        """Add a line, and a row for its own hours."""
        gate = self.gate(line, is_event=False)
        amount: Formula = Constant(0.0)
        if line.amount is not None:
            amount = self.figure(f"{line.id}.amount", line.amount)
        elif line.quantity is not None and line.price is not None:
            amount = Product(
                (
                    self.figure(f"{line.id}.quantity", line.quantity),
                    self.figure(f"{line.id}.price", line.price),
                )
            )
        else:
            amount = self.percentage(line, of) or amount
        if line.minimum is not None:
            amount = Larger((amount, self.figure(f"{line.id}.minimum", line.minimum)))
        if line.maximum is not None:
            amount = Smaller((amount, self.figure(f"{line.id}.maximum", line.maximum)))
        self.rows.append(
            Row(line.id, line.title, line.group, "line", amount, gate, line.package, line.route, line.id)
        )

    def event(self, event: Event, of: Iterable[str]) -> None:
        """Add a risk event."""
        gate = self.gate(event, is_event=True)
        parts = [self.figure(f"{event.id}.cost", event.cost)] if event.cost is not None else []
        share = self.percentage(event, of)
        impact = Sum((*parts, share)) if share is not None else Sum(tuple(parts))
        self.rows.append(
            Row(event.id, event.title, "events", "event", impact, gate, event.package, event.route, event.id)
        )

    def hours(self, item: Costed) -> None:
        """Add the row of an item's own hours."""
        if item.own_hours is None:
            return
        name = f"{item.id}.own_hours"
        gate = item.id if any(gate.id == item.id for gate in self.gates) else None
        formula = self.figure(name, item.own_hours)
        self.rows.append(
            Row(name, item.title, "labour", "hours", formula, gate, item.package, item.route, item.id)
        )

    def own_work(self) -> None:
        """Add the line of own work, where the build gives own hours a value."""
        value = self.build.build.own_hour_value
        hours = tuple(LineValue(row.id) for row in self.rows if row.kind == "hours")
        if value is None or not hours:
            return
        formula = Product((self.figure("build.own_hour_value", value), Sum(hours)))
        self.rows.append(Row(OWN_WORK, "Own work", "labour", "line", formula, of=OWN_WORK))


def _uses_own_estimating(build: Build) -> bool:
    """Tell whether some figure or event states a loading on own estimating of its own."""
    items: list[Costed] = [*build.line, *build.event]
    stated = [figure.causes for item in items for _, figure in figures_of(item)]
    stated += [event.causes for event in build.event]
    return any(OWN_ESTIMATING in causes for causes in stated)


def compile_plan(build: Build, scenario: str | None = None) -> Plan:
    """Compile a build for one of its scenarios.

    Parameters
    ----------
    build : Build
    scenario : str, optional
        Its id; the first of the file when left out.

    Returns
    -------
    Plan

    Raises
    ------
    SimulationError
        When the build has no such scenario, or a mistake that reading it from a file would have shown.
    """
    mistakes = cross_check(build)
    if mistakes:
        path, found, mend = mistakes[0]
        message = f"{'.'.join(map(str, path))}: {found}. {mend}"
        raise SimulationError(message)
    choice = choose(build, scenario)
    active = build.model_copy(update={"line": choice.lines, "event": choice.events})
    of = dependencies(active)
    present = {line.id for line in choice.lines}
    compiler = _Compiler(active)
    for line in _in_order(choice.lines, of):
        compiler.line(line, (other for other in of[line.id] if other in present))
    for event in choice.events:
        compiler.event(event, (other for other in of[event.id] if other in present))
    items: list[Costed] = [*choice.lines, *choice.events]
    for item in items:
        compiler.hours(item)
    compiler.own_work()
    return Plan(
        name=build.name,
        currency=build.build.currency,
        scenario=choice.scenario,
        fingerprint=build.fingerprint(),
        causes=compiler.causes,
        inputs=tuple(compiler.inputs.values()),
        gates=tuple(compiler.gates),
        rows=tuple(compiler.rows),
    )


def _in_order(lines: tuple[Line, ...], of: Mapping[str, tuple[str, ...]]) -> list[Line]:
    """Sort lines so that each stands after those that its percentage is taken of, else as in the file."""
    by_id = {line.id: line for line in lines}
    done: dict[str, Line] = {}
    for line in lines:
        stack = [line.id]
        while stack:
            here = stack[-1]
            waiting = [other for other in of[here] if other in by_id and other not in done]
            if waiting and here not in done:
                stack += waiting
            else:
                done.setdefault(stack.pop(), by_id[here])
    return list(done.values())


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


def inputs_of(row: Row) -> tuple[str, ...]:
    """Give the ids of the inputs that stand in a row's formula."""
    return tuple(dict.fromkeys(node.id for node in walk(row.formula) if isinstance(node, Input)))
