"""The build compiled for arrays: inputs in a fixed order, lines in dependency order. Pure data."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import date

from forecast.buildfile.checks import dependencies, figures_of, loadings_of, mistakes_in
from forecast.buildfile.choosing import choose, overridden
from forecast.buildfile.kept import Kept
from forecast.buildfile.rates import per_euro
from forecast.buildfile.schema import OWN_ESTIMATING, SMALL_LINE, Build, Costed, Event, Line
from forecast.engine.draws import slot_of_cause, slots_of_event
from forecast.engine.rows import (
    OWN_WORK,
    Gate,
    Plan,
    PlanInput,
    Rate,
    Row,
    factor_inputs,
    sole_input,
)
from forecast.errors import SimulationError
from forecast.figures.evaluate import at_middle, in_turn
from forecast.figures.figure import FigureBase
from forecast.figures.formula import (
    Constant,
    Formula,
    Input,
    Larger,
    LineValue,
    Product,
    Smaller,
    Sum,
    bind,
    walk,
)
from forecast.figures.kinds import Known, Quotes
from forecast.figures.units import formula_in
from forecast.trade.consignment_lines import expand, payment_days
from forecast.trade.currency import build_paths
from forecast.trade.expansion import Expansion
from forecast.trade.takeoff import TakeoffExpansion, expand_takeoff, priced_per

__all__ = [
    "OWN_WORK", "SHOP", "Gate", "Plan", "PlanInput", "Rate", "Row", "compile_plan", "sole_input",
]  # fmt: skip

SHOP = "shop"
"""The route that work takes when it is handed over."""


class _Compiler:
    """Gathers inputs, gates and rows while it walks over lines and events."""

    def __init__(self, build: Build, on: date) -> None:
        self.build = build
        self.estimating = build.build.estimating
        self.causes = tuple(cause.id for cause in build.cause)
        if self.estimating > 0 or _uses_own_estimating(build):
            self.causes = (OWN_ESTIMATING, *self.causes)
        self.inputs: dict[str, PlanInput] = {}
        self.sized: set[str] = set()  # load on own estimating by their line's size, for none is stated
        self.gates: list[Gate] = []
        self.rows: list[Row] = []
        self.surfaces = {surface.id: surface for surface in build.surface}
        home, country = build.build.currency, build.build.country
        size = build.build.estimating_size
        self.estimating_size = SMALL_LINE * (per_euro(build) or 0.0) if size is None else size
        days = payment_days(build.consignment, country, home) if build.consignment else {}
        self.paths = build_paths(build.currency, home, days, on)

    def figure(self, name: str, figure: FigureBase) -> Formula:
        """Give the formula of a figure, in the build's currency if it has one of its own."""
        value: Formula
        if isinstance(figure, Known):
            value = Constant(figure.value)
        else:
            self.add_input(name, figure)
            value = Input(name)
        foreign = self.foreign(figure)
        if foreign:
            return Product((value, self.rate(foreign)))
        return value

    def add_input(self, name: str, figure: FigureBase) -> None:
        """Note a figure as an input, once."""
        if name in self.inputs:
            return
        known = isinstance(figure, Known)
        loadings = {} if known else loadings_of(figure, self.estimating)
        shape = figure.shape(name)
        row = tuple(loadings.get(cause, 0.0) for cause in self.causes)
        own = figure.estimated and not known and self.build.build.learn_ranges
        self.inputs[name] = PlanInput(
            name, shape, row, own, own and figure.starter, isinstance(figure, Quotes)
        )
        if own and OWN_ESTIMATING in loadings and OWN_ESTIMATING not in figure.causes:
            self.sized.add(name)

    def rate(self, code: str) -> Formula:
        """Give what one unit of a foreign currency costs on its usual day of payment, margin included."""
        path = self.paths[code]
        currency = self.build.currency[code]
        return Product(
            (
                Constant(1 + currency.margin / 100),
                self.add_figures(path.figures(), path.rate_at(currency.days)),
            )
        )

    def foreign(self, figure: FigureBase | None) -> str:
        """Give the foreign currency that a figure is in; nothing where it is in none."""
        code = None if figure is None else figure.currency
        return code if code and code != self.build.build.currency else ""

    def add_figures(
        self, figures: Mapping[str, FigureBase], formula: Formula, kept: str | None = None
    ) -> Formula:
        """Note the inputs that a formula of the trade room reads, and write its known figures into it, but one."""
        known = {
            name: figure.value
            for name, figure in figures.items()
            if isinstance(figure, Known) and name not in (kept, *self.inputs)
        }
        read = {node.id for node in walk(formula) if isinstance(node, Input)}
        for name, figure in figures.items():
            if name in read and name not in known:
                self.add_input(name, figure)
        return bind(formula, known)

    def consignment(self, expansion: Expansion) -> None:
        """Add the lines and events of a consignment, each of which follows from figures and earlier lines."""
        for line in expansion.lines:
            pivot = _price_in(line.formula)
            formula = self.add_figures(expansion.inputs, line.formula, pivot)
            cautions = (line.caution,) if line.caution else ()
            self.rows.append(
                Row(
                    line.id, line.name, line.group, "line", formula,
                    of=expansion.consignment, working=line.working, cautions=cautions,
                    notes=(line.note,) if line.note else (), know=line.know, pivot=pivot,
                    currency=_currency_in(line.formula),
                )
            )  # fmt: skip
        for event in expansion.events:
            self.gates.append(Gate(event.id, event.chance, tuple(0.0 for _ in self.causes), is_event=True))
            formula = self.add_figures(expansion.inputs, event.formula)
            self.rows.append(
                Row(
                    event.id, event.name, "events", "event", formula, event.id,
                    of=expansion.consignment, working=event.working, notes=(event.note,) if event.note else (),
                    bought="several",
                )
            )  # fmt: skip
            if (back := event.back) is not None:
                formula = self.add_figures(expansion.inputs, back.formula)
                notes = (back.note,) if back.note else ()
                self.rows.append(
                    Row(
                        back.id, back.name, back.group, "line", formula, event.id, of=expansion.consignment,
                        working=back.working, notes=notes, bought="several",
                    )
                )  # fmt: skip

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
        unpaid = isinstance(item, Event) and not item.paid_too
        base = Sum(tuple(LineValue(other, unpaid) for other in of))
        return Product((self.figure(f"{item.id}.percent", item.percent), Constant(0.01), base))

    def amount(self, line: Line, of: Iterable[str]) -> tuple[Formula, TakeoffExpansion | None]:
        """Give what a line costs where it is needed, and the take-off behind its quantity."""
        amount: Formula = Constant(0.0)
        taken: TakeoffExpansion | None = None
        if line.amount is not None:
            amount = self.figure(f"{line.id}.amount", line.amount)
        elif line.quantity is not None and line.price is not None:
            counted = self.figure(f"{line.id}.quantity", line.quantity)
            if line.priced_per is not None:
                counted = formula_in(line.priced_per, counted, line.quantity.unit)
            amount = Product((counted, self.figure(f"{line.id}.price", line.price)))
        elif line.takeoff is not None and line.price is not None:
            taken = expand_takeoff(line.id, line.takeoff, at_middle, self.surfaces)
            if line.priced_per is not None:
                taken = priced_per(line.id, taken, line.priced_per, at_middle)
            counted = self.add_figures(taken.inputs, taken.formula)
            amount = Product((counted, self.figure(f"{line.id}.price", line.price)))
        else:
            amount = self.percentage(line, of) or amount
        if line.minimum is not None:
            amount = Larger((amount, self.figure(f"{line.id}.minimum", line.minimum)))
        if line.maximum is not None:
            amount = Smaller((amount, self.figure(f"{line.id}.maximum", line.maximum)))
        return amount, taken

    def line(self, line: Line, of: Iterable[str]) -> None:
        """Add a line, and a row for what it brings when it is sold again."""
        gate = self.gate(line, is_event=False)
        amount, taken = self.amount(line, of)
        own = (line.note,) if line.note else ()
        self.rows.append(
            Row(
                line.id, line.title, line.group, "line", amount, gate, line.package, line.route, line.id,
                taken.working if taken else "", taken.cautions if taken else (),
                (*own, *taken.notes) if taken else own, line.bought_as, hazards=line.hazards,
                currency=self.foreign(line.amount or line.price),
            )
        )  # fmt: skip
        if line.resale is not None:
            name = f"{line.id}.resale"
            back = Smaller((self.figure(name, line.resale), LineValue(line.id)))
            given = Product((Constant(-1.0), back))
            title = f"{line.title}, sold again"
            self.rows.append(
                Row(name, title, line.group, "line", given, gate, line.package, line.route, line.id)
            )

    def open_share(self, event: Event) -> Formula:
        """Give the share of the work that is still open when an event hands it over."""
        assert event.share is not None  # the model demands it
        return Smaller((self.figure(f"{event.id}.share", event.share), Constant(1.0)))

    def handed_over(self, event: Event, shop: Iterable[tuple[Line, tuple[str, ...]]]) -> Formula:
        """Give what the shop asks for work handed over: its usual price, times the share open, times the penalty."""
        usual = [
            Product((Constant(line.chance), self.amount(line, of)[0])) for line, of in shop
        ]  # a shop line that may not be needed counts at its chance: its gate is not drawn in this scenario
        parts: list[Formula] = [self.open_share(event), Sum(tuple(usual))]
        if event.penalty is not None:
            parts.append(self.figure(f"{event.id}.penalty", event.penalty))
        return Product(tuple(parts))

    def event(
        self, event: Event, of: Iterable[str], shop: Iterable[tuple[Line, tuple[str, ...]]] = ()
    ) -> None:
        """Add a risk event; the shop's lines are those that its hands_over would bring in."""
        gate = self.gate(event, is_event=True)
        parts = [self.figure(f"{event.id}.cost", event.cost)] if event.cost is not None else []
        share = self.percentage(event, of)
        if share is not None:
            parts.append(share)
        if event.hands_over:
            parts.append(self.handed_over(event, shop))
        impact = Sum(tuple(parts))
        self.rows.append(
            Row(
                event.id, event.title, "events", "event", impact, gate, event.package, event.route, event.id,
                notes=(event.note,) if event.note else (), bought="several", hazards=event.hazards,
            )
        )  # fmt: skip

    def hours(self, item: Costed) -> None:
        """Add the row of an item's own hours."""
        name = f"{item.id}.own_hours"
        own = item.own_hours
        parts: list[Formula] = [] if own is None else [formula_in("h", self.figure(name, own), own.unit)]
        if isinstance(item, Event) and item.hands_over:
            spared = tuple(
                LineValue(row.id)
                for row in self.rows
                if row.kind == "hours" and row.package in item.hands_over and row.route not in (None, SHOP)
            )
            parts.append(Product((Constant(-1.0), self.open_share(item), Sum(spared))))
        if not parts:
            return
        gate = item.id if any(gate.id == item.id for gate in self.gates) else None
        formula = parts[0] if len(parts) == 1 else Sum(tuple(parts))
        self.rows.append(
            Row(name, item.title, "labour", "hours", formula, gate, item.package, item.route, item.id)
        )

    def waits(self, item: Costed) -> None:
        """Add the row of the weeks that the build stands still for an item."""
        if item.wait_weeks is None:
            return
        name = f"{item.id}.wait_weeks"
        gate = item.id if any(gate.id == item.id for gate in self.gates) else None
        formula = formula_in("weeks", self.figure(name, item.wait_weeks), item.wait_weeks.unit)
        self.rows.append(
            Row(name, item.title, "labour", "weeks", formula, gate, item.package, item.route, item.id)
        )

    def own_work(self) -> None:
        """Add the line of own work, where the build gives own hours a value."""
        value = self.build.build.own_hour_value
        hours = tuple(LineValue(row.id) for row in self.rows if row.kind == "hours")
        if value is None or not hours:
            return
        formula = Product((self.figure("build.own_hour_value", value), Sum(hours)))
        self.rows.append(Row(OWN_WORK, "Own work", "labour", "line", formula, of=OWN_WORK))

    def sizes(self) -> dict[str, float]:
        """Give the size of each input: the middle amount of the largest line or event that reads it.

        Hours and weeks are no sums of money: without end.
        """
        rows = _events_last(self.rows)
        amounts = in_turn(rows, {item.id: item.shape.middle for item in self.inputs.values()})
        found: dict[str, float] = {}
        for row in rows:
            for name in row.inputs:
                size = abs(amounts[row.id]) if row.is_money else float("inf")
                found[name] = max(found.get(name, 0.0), size)
        return found

    def inputs_by_size(self, sizes: Mapping[str, float]) -> tuple[PlanInput, ...]:
        """Give the inputs, with less own estimating in the small ones.

        Under `estimating_size` an input's loading falls in proportion to its size, so that whoever errs on the kit errs
        on the freight, while a box of discs says next to nothing of either.
        """
        if not self.sized_by_line:
            return tuple(self.inputs.values())
        place = self.causes.index(OWN_ESTIMATING)
        found = []
        for item in self.inputs.values():
            if item.id in self.sized:
                share = min(1.0, sizes.get(item.id, float("inf")) / self.estimating_size)
                loadings = list(item.loadings)
                loadings[place] *= share
                item = replace(item, loadings=tuple(loadings))
            found.append(item)
        return tuple(found)

    @property
    def sized_by_line(self) -> bool:
        """Whether some input loads on own estimating by its size."""
        return bool(self.estimating_size and self.sized)


def _price_in(formula: Formula) -> str | None:
    """Give the one price in foreign money that a line of a consignment is proportional to, if there is one."""
    if not any(isinstance(node, Input) and node.id.startswith("fx.") for node in walk(formula)):
        return None
    return next((name for name in factor_inputs(formula) if not name.startswith("fx.")), None)


def _currency_in(formula: Formula) -> str:
    """Give the foreign currency that the price of a line of a consignment is in; nothing where it is in none."""
    rates = (node.id for node in walk(formula) if isinstance(node, Input) and node.id.startswith("fx."))
    return next((name.split(".")[1] for name in rates), "")


def _uses_own_estimating(build: Build) -> bool:
    """Tell whether some figure or event states a loading on own estimating of its own."""
    items: list[Costed] = [*build.line, *build.event]
    stated = [figure.causes for item in items for _, figure in figures_of(item)]
    stated += [event.causes for event in build.event]
    return any(OWN_ESTIMATING in causes for causes in stated)


def compile_plan(build: Build, scenario: str | None = None, *, on: date | None = None) -> Plan:
    """Compile a build for one of its scenarios.

    Parameters
    ----------
    build : Build
    scenario : str, optional
        Its id; the first of the file when left out.
    on : datetime.date, optional
        The day for which dated rules are judged; today when left out. No figure depends on it.

    Returns
    -------
    Plan

    Raises
    ------
    SimulationError
        When the build has no such scenario, or a mistake that reading it from a file would have shown.
    RuleError
        When a customs rule or Incoterms rule cannot be applied to a consignment.
    """
    today = on or date.today()
    return _PLANS.get(build, (scenario, today), lambda: _compile(build, scenario, today))


_PLANS: Kept[Plan] = Kept()
# What is the same in all scenarios is found once for all of them.
_SIZES: Kept[dict[str, float]] = Kept()


def _compile(build: Build, scenario: str | None, today: date) -> Plan:
    mistakes = mistakes_in(build)
    if mistakes:
        path, found, mend = mistakes[0]
        message = f"{'.'.join(map(str, path))}: {found}. {mend}"
        raise SimulationError(message)
    choice = choose(build, scenario)
    active = build.model_copy(update={"line": choice.lines, "event": choice.events})
    compiler = _Compiler(active, today)
    expansions = tuple(
        expand(
            item,
            build.build.country,
            build.build.currency,
            compiler.paths,
            today,
            per_euro=per_euro(build),
            region=build.build.region,
        )
        for item in build.consignment
    )
    _compile_items(compiler, build, active, expansions)
    sizes = _sizes(build, choice.scenario, expansions, today) if compiler.sized_by_line else {}
    compiler.own_work()
    counted = {item.id for item in (*choice.lines, *choice.events)}
    return Plan(
        name=build.name,
        currency=build.build.currency,
        scenario=choice.scenario,
        fingerprint=build.fingerprint(),
        causes=compiler.causes,
        inputs=compiler.inputs_by_size(sizes),
        gates=tuple(compiler.gates),
        rows=_events_last(compiler.rows),
        consignments=expansions,
        notes=tuple(note for expansion in expansions for note in expansion.notes),
        slots=_slots(build),
        hours_per_week=build.build.hours_per_week,
        estimating_size=compiler.estimating_size,
        absent={item.id: item.title for item in (*build.line, *build.event) if item.id not in counted},
        income=build.income,
        rates={
            code: Rate(code, path.rate.shape().middle, path.margin / 100)
            for code, path in compiler.paths.items()
        },
    )


def _compile_items(compiler: _Compiler, build: Build, active: Build, expansions: Iterable[Expansion]) -> None:
    """Add the rows of all lines and events that count.

    Parameters
    ----------
    compiler : _Compiler
        Of the active build.
    build : Build
        With all lines, whichever way they count in.
    active : Build
        With those that count.
    expansions : iterable of Expansion
        Of the consignments.
    """
    for expansion in expansions:
        compiler.consignment(expansion)
    computed = {row.id: row.group for row in compiler.rows if row.kind == "line"}
    of = dependencies(active, computed)
    present = {line.id for line in active.line} | set(computed)
    for line in _in_order(active.line, of):
        compiler.line(line, (other for other in of[line.id] if other in present))
    everywhere = dependencies(build, computed)
    for event in active.event:
        shop = [
            (line, tuple(other for other in everywhere[line.id] if other in present))
            for line in build.line
            if line.package in event.hands_over and line.route == SHOP and line.id not in present
        ]
        compiler.event(event, (other for other in of[event.id] if other in present), shop)
    items: list[Costed] = [*active.line, *active.event]
    for item in items:
        compiler.hours(item)
        compiler.waits(item)


def _sizes(
    build: Build, scenario: str | None, expansions: Iterable[Expansion], today: date
) -> dict[str, float]:
    """Give the size of each input with the lines of all routes counting, so that it is the same whoever does the work.

    A fee on all of the finish is as large a guess where the paint is done by oneself, and in every mix.
    """
    whole = build if scenario is None else overridden(build, build.scenario[scenario])

    def work() -> dict[str, float]:
        compiler = _Compiler(whole, today)
        _compile_items(compiler, whole, whole, expansions)
        return compiler.sizes()

    return _SIZES.get(whole, today, work)


def _slots(build: Build) -> dict[str, int]:
    """Give shared causes and the file's events their slots among the draws, the same in every scenario."""
    slots: dict[str, int] = {}
    for place, cause in enumerate((OWN_ESTIMATING, *(cause.id for cause in build.cause))):
        slot = slot_of_cause(place)
        if slot is not None:
            slots[f"cause {cause}"] = slot
    for place, event in enumerate(build.event):
        pair = slots_of_event(place)
        if pair is not None:
            impact = "cost" if event.cost is not None else "percent" if event.percent is not None else "share"
            slots[f"gate {event.id}"], slots[f"{event.id}.{impact}"] = pair
    return slots


def _events_last(rows: Iterable[Row]) -> tuple[Row, ...]:
    """Put lines first, then events, hours and weeks, and own work; no line is computed from an event."""
    order = {"line": 0, "event": 1, "hours": 2, "weeks": 2}
    return tuple(sorted(rows, key=lambda row: 3 if row.id == OWN_WORK else order[row.kind]))


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
