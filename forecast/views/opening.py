"""Opens a line down to what makes it up, at the middle figures, in words that add up."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from forecast.build.checks import nearest
from forecast.build.formula import (
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
    walk,
)
from forecast.engine.evaluate import Value, evaluate
from forecast.engine.rows import Plan, Row
from forecast.errors import ForecastError
from forecast.trade.exact import fill


@dataclass(frozen=True)
class Opened:
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
    """

    id: str
    title: str
    total: float
    chance: float
    working: str
    below: tuple[str, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True)
class Sheet:
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


def open_total(plan: Plan, base_rows: Sequence[float], only: str | None = None) -> Sheet:
    """Open the base estimate, or the part of it that one consignment makes, down to its lines.

    Parameters
    ----------
    plan : Plan
    base_rows : sequence of float
        The base estimate by row, as `Forecast.base_rows`.
    only : str, optional
        A consignment's id.
    """
    lines = tuple(
        (row.group, row.id, row.title, round(float(base_rows[place]), 2))
        for place, row in enumerate(plan.rows)
        if row.kind == "line" and (only is None or row.of == only)
    )
    title = "Base estimate" if only is None else f"Consignment {only}"
    return Sheet(title, lines, round(sum(amount for *_, amount in lines), 2))


def open_line(plan: Plan, row_id: str) -> Opened:
    """Open one line, event or own-hours row of a plan.

    Raises
    ------
    ForecastError
        When the plan has none of that id.
    """
    rows = {row.id: row for row in plan.rows}
    if row_id not in rows:
        message = f"there is no line {row_id!r} in this scenario. {nearest(row_id, rows)}"
        raise ForecastError(message)
    inputs: dict[str, Value] = {item.id: item.shape.middle for item in plan.inputs}
    lines: dict[str, Value] = {}
    for row in plan.rows:
        lines[row.id] = float(evaluate(row.formula, inputs, lines))
    row = rows[row_id]
    chances = {gate.id: gate.chance for gate in plan.gates}
    return Opened(
        row.id,
        row.title,
        float(lines[row.id]),
        1.0 if row.gate is None else chances[row.gate],
        _working(plan, row, inputs, lines),
        tuple(dict.fromkeys(node.id for node in walk(row.formula) if isinstance(node, LineValue))),
        row.cautions,
    )


def _working(plan: Plan, row: Row, inputs: Mapping[str, Value], lines: Mapping[str, Value]) -> str:
    titles = {item.id: item.title for item in plan.rows}
    words = _words(row.formula, inputs, lines, titles)
    expansion = next((item for item in plan.consignments if item.consignment == row.of), None)
    if expansion is not None and row.working:
        values: dict[str, str] = {name: number(float(value)) for name, value in inputs.items()}
        values |= {name: f"{titles[name]} {number(float(value))}" for name, value in lines.items()}
        for stage in expansion.stages:
            known = {
                name: figure.value for name, figure in expansion.inputs.items() if hasattr(figure, "value")
            }
            values |= {name: number(value) for name, value in known.items()}
            amount = float(evaluate(stage.formula, {**known, **inputs}, lines))
            values[stage.id] = f"{stage.name} {number(amount)}"
        return fill(row.working, values)
    return f"{row.working}; {words}" if row.working else words


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
        case Larger(parts):
            return "the larger of " + " and ".join(write(part) for part in parts)
        case Smaller(parts):
            return "the smaller of " + " and ".join(write(part) for part in parts)
        case RoundedUp(part, step):
            return f"({write(part)}, rounded up to whole {number(step)})"
        case Exponential():
            return number(float(evaluate(formula, inputs, lines)))
