"""Opens a line down to what makes it up, at the middle figures, in words that add up."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from forecast.buildfile.cautions import Caution, cautions_for, goods_cautions
from forecast.buildfile.checks import nearest
from forecast.engine.rows import Plan, Row
from forecast.errors import ForecastError
from forecast.figures.evaluate import Value, evaluate
from forecast.figures.formula import (
    Constant,
    Exponential,
    Formula,
    Input,
    Larger,
    LineValue,
    Product,
    Quotient,
    RoundedUp,
    Smaller,
    Sum,
    bind,
    walk,
)
from forecast.figures.kinds import Known
from forecast.trade.exact import fill, placeholders
from forecast.trade.expansion import Expansion, Stage, said_together
from forecast.words.currencies import minor_digits


@dataclass(frozen=True)
class OpenedLine:
    """One line, opened.

    Attributes
    ----------
    id, title : str
    total : float
        At the middle figures, as if it were needed or happened.
    chance : float
        That it counts at all.
    working : str
        The formula with its figures.
    below : tuple of str
        Ids of the lines that it is computed from.
    cautions : tuple of str
        What to look up, and what the work can do to somebody, the authority named.
    notes : tuple of str
        Where its figures come from.
    know : tuple of str
        What else to know of them.
    unit : str
        Of the total; empty for money.
    """

    id: str
    title: str
    total: float
    chance: float
    working: str
    below: tuple[str, ...]
    cautions: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    know: tuple[str, ...] = ()
    unit: str = ""


@dataclass(frozen=True)
class OpenedSheet:
    """The base estimate, or one consignment, line by line; rounded lines add up to the rounded total.

    Attributes
    ----------
    title : str
    lines : tuple of (group, id, title, amount)
        Amounts rounded to hundredths.
    total : float
    """

    title: str
    lines: tuple[tuple[str, str, str, float], ...]
    total: float


def open_total(plan: Plan, base_rows: Sequence[float], only: str | None = None) -> OpenedSheet:
    """Open the base estimate, or the part of it that one consignment makes, down to its lines.

    Parameters
    ----------
    plan : Plan
    base_rows : sequence of float
        The base estimate by row, as `Forecast.base_rows`.
    only : str, optional
        A consignment's id.
    """
    digits = minor_digits(plan.currency)
    lines = tuple(
        (row.group, row.id, row.title, round(float(base_rows[place]), digits) + 0.0)
        for place, row in enumerate(plan.rows)
        if row.kind == "line" and (only is None or row.of == only)
    )
    title = "Base estimate" if only is None else f"Consignment {only}"
    return OpenedSheet(title, lines, round(sum(amount for *_, amount in lines), digits))


def open_line(plan: Plan, row_id: str) -> OpenedLine:
    """Open one line, event or own-hours row of a plan, or a value on the way such as a customs value.

    Raises
    ------
    ForecastError
        When the plan has none of that id.
    """
    rows = {row.id: row for row in plan.rows}
    stages = {stage.id: (item, stage) for item in plan.consignments for stage in item.stages}
    if row_id not in rows and row_id not in stages:
        message = f"there is no line {row_id!r} in this scenario. {nearest(row_id, [*rows, *stages])}"
        raise ForecastError(message)
    inputs: Mapping[str, Value] = plan.middles
    lines: Mapping[str, Value] = plan.at_middle(gated="open")
    if row_id in stages:
        expansion, stage = stages[row_id]
        working = fill(stage.working, _shown(expansion, plan, inputs, lines))
        below = _named(stage.working, rows, stages)
        if not placeholders(stage.working):  # a rule in words, such as what enters a customs value
            formula = bind(stage.formula, _known(expansion))
            working += f": {_words(formula, inputs, lines, {row.id: row.title for row in plan.rows})}"
            below = tuple(dict.fromkeys(node.id for node in walk(formula) if isinstance(node, LineValue)))
        value = _stage_value(expansion, stage, inputs, lines)
        return OpenedLine(stage.id, stage.name, value, 1.0, working, below, unit=stage.unit)
    row = rows[row_id]
    chances = {gate.id: gate.chance for gate in plan.gates}
    below = tuple(node.id for node in walk(row.formula) if isinstance(node, LineValue))
    is_paper = row.group in ("freight", "import")  # a bill, not a thing that is worked on
    hazards = () if is_paper or not row.is_money else _hazards(row)
    return OpenedLine(
        row.id, row.title, float(lines[row.id]), 1.0 if row.gate is None else chances[row.gate],
        _working(plan, row, inputs, lines), tuple(dict.fromkeys((*_named(row.working, {}, stages), *below))),
        (*row.cautions, *(caution.sentence for caution in hazards)), row.notes, row.know,
        {"hours": "h", "weeks": "weeks"}.get(row.kind, ""),
    )  # fmt: skip


def _hazards(row: Row) -> tuple[Caution, ...]:
    """Give the cautions of a row: of goods from abroad by what they are within their consignment."""
    consignment, _, goods = row.id.partition(".")
    if row.kind == "line" and goods and row.of == consignment:
        return goods_cautions(goods, row.group)
    return cautions_for(row.id, row.hazards)


def _named(working: str, *tables: Mapping[str, object]) -> tuple[str, ...]:
    """Give the ids in a working that can be opened in turn."""
    return tuple(name for name in placeholders(working) if any(name in table for table in tables))


def _stage_value(
    expansion: Expansion, stage: Stage, inputs: Mapping[str, Value], lines: Mapping[str, Value]
) -> float:
    return float(evaluate(stage.formula, {**_known(expansion), **inputs}, lines))


def _known(expansion: Expansion) -> dict[str, float]:
    return {name: figure.value for name, figure in expansion.inputs.items() if isinstance(figure, Known)}


def _shown(
    expansion: Expansion, plan: Plan, inputs: Mapping[str, Value], lines: Mapping[str, Value]
) -> dict[str, str]:
    """Give the words for every id that a consignment's workings may name."""
    titles = {row.id: row.title for row in plan.rows}
    words = {name: number(float(value)) for name, value in {**_known(expansion), **inputs}.items()}
    for name, figure in expansion.inputs.items():
        if figure.unit == "share" and name in inputs:
            words[name] = f"{100 * float(inputs[name]):.6g} %"
    coins = _in_coins(plan, lines)
    words |= {name: f"{titles[name]} {number(float(value))}" for name, value in coins.items()}
    for stage in expansion.stages:
        value = _stage_value(expansion, stage, inputs, lines)
        is_sum = stage.unit == plan.currency and not _is_rate(stage.id)  # of a rate every digit counts
        words[stage.id] = f"{stage.name} {number(_coin(value, plan.currency) if is_sum else value)}"
    return words


def _coin(value: float, currency: str) -> float:
    """Round a sum to the smallest coin, where that is larger than a cent: a yen has no parts."""
    digits = minor_digits(currency)
    return round(value, digits) if digits < 2 else value


def _in_coins(plan: Plan, lines: Mapping[str, Value]) -> dict[str, Value]:
    """Give what lines come to as it is shown."""
    money = {row.id for row in plan.rows if row.is_money}
    return {id: _coin(float(value), plan.currency) if id in money else value for id, value in lines.items()}


def _working(plan: Plan, row: Row, inputs: Mapping[str, Value], lines: Mapping[str, Value]) -> str:
    titles = {item.id: item.title for item in plan.rows}
    words = _words(row.formula, inputs, _in_coins(plan, lines), titles)
    expansion = next((item for item in plan.consignments if item.consignment == row.of), None)
    if expansion is not None and row.working:
        known = {**_known(expansion), **inputs}
        line = expansion.line(row.id)
        pieces = line.pieces if line is not None else ()
        told = said_together(pieces, lambda case: float(evaluate(case, known, lines)) > 0)
        return fill(told or row.working, _shown(expansion, plan, inputs, lines))
    return f"{row.working}; {words}" if row.working else words


def sum_of(opened: OpenedLine, currency: str) -> str:
    """Write what was opened, with its unit: money to the smallest coin, a rate of exchange with its digits."""
    unit = opened.unit or currency
    is_sum = unit == currency and not _is_rate(opened.id)
    return f"{number(round(opened.total, minor_digits(currency) if is_sum else 2))} {unit}"


def _is_rate(stage: str) -> bool:
    return stage.startswith("fx.")


def number(value: float) -> str:
    """Write a figure with as many digits as help to follow it."""
    value += 0.0  # no minus before a zero
    if value == round(value):
        return f"{value:,.0f}"
    return f"{value:,.2f}" if abs(value) >= 1 else f"{value:.4g}"


def _words(
    formula: Formula, inputs: Mapping[str, Value], lines: Mapping[str, Value], titles: Mapping[str, str]
) -> str:
    """Write a formula out with its figures, products in brackets where they stand in sums of sums."""

    def write(node: Formula) -> str:
        return _words(node, inputs, lines, titles)

    match formula:
        case Constant(value):
            return number(value)
        case Input(name):
            label = name.rpartition(".")[2].replace("_", " ")
            return f"{label} {number(float(inputs[name]))}"
        case LineValue(name):
            return f"{titles[name]} {number(float(lines[name]))}"
        case Sum(parts):
            if not parts:
                return "nothing"
            return (
                write(parts[0]) if len(parts) == 1 else "(" + " + ".join(write(part) for part in parts) + ")"
            )
        case Product(parts):
            return " × ".join(write(part) for part in parts)
        case Quotient(top, bottom):
            return f"{write(top)} ÷ ({write(bottom)})"
        case Larger((Constant(least), Smaller((Constant(most), Input() as part)))) if (
            least <= float(inputs[part.id]) <= most
        ):
            return write(part)  # what draws are kept within, and the middle lies in it
        case Larger(parts):
            return "the larger of " + " and ".join(write(part) for part in parts)
        case Smaller(parts):
            return "the smaller of " + " and ".join(write(part) for part in parts)
        case RoundedUp(part, step):
            return f"({write(part)}, rounded up to whole {number(step)})"
        case Exponential():
            return number(float(evaluate(formula, inputs, lines)))
