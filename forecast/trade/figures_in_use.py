"""Which figures of trade and law a consignment is worked out with: value, source, date, certainty, how to overwrite."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import Any

from forecast.figures.figure import FigureBase
from forecast.figures.kinds import Known
from forecast.trade.customs import RuleBook
from forecast.trade.entry import CHARGES
from forecast.trade.expansion import RuleUse
from forecast.trade.rules import RuleFigure, load_arrival, load_carriage
from forecast.trade.rules.model import Basis
from forecast.trade.working_sheet import Sheet

OWN = "your own figure"
"""In place of source and certainty of what the build file overwrites."""

_STORAGE = (
    ("storage_free", "free_days"), ("storage_rate", "steps"), ("storage_later", "steps"), ("storage_days", "days"),
)  # fmt: skip


def figures_in_use(
    sheet: Sheet, book: RuleBook, carriage: tuple[RuleFigure, ...], on: date, widened: bool
) -> tuple[RuleUse, ...]:
    """Give the figures of a consignment that is written out: law first, then carriers, then arrival.

    Parameters
    ----------
    sheet : Sheet
        With all lines on it.
    book : RuleBook
        The country's figures, which knows what was used of them.
    carriage : tuple of RuleFigure
        How carriers count, as far as it was used.
    on : datetime.date
        The day for which figures are judged outdated.
    widened : bool
        Whether the usual charges on arrival are widened, as under C rules.

    Returns
    -------
    tuple of RuleUse
    """
    return (
        *_law(sheet, book, on),
        *(_use(figure, shown(figure), f'overrides = {{ "{figure.id}" = … }}', on) for figure in carriage),
        *_own_carriage(sheet),
        *_arrival(sheet, on, widened),
    )


def _own_carriage(sheet: Sheet) -> Iterator[RuleUse]:
    """Give how carriers count where the build file says it."""
    known = load_carriage()
    for id, figure in sheet.consignment.overrides.items():
        if id in known:
            key = f'overrides = {{ "{id}" = … }}'
            yield RuleUse(
                id, known[id].label, f"{_in_words(figure, '')} {known[id].unit}", OWN, None, OWN, key
            )


def _law(sheet: Sheet, book: RuleBook, on: date) -> Iterator[RuleUse]:
    rules, bought = book.rules, sheet.consignment
    roughly = [id for id, figure in rules.figures.items() if figure.is_range and id in book.used]
    for id in roughly:  # the first thing to look up
        yield _use(rules.figures[id], shown(rules.figures[id]), f'overrides = {{ "{id}" = … }}', on)
    for id, basis in (("customs_value", rules.customs_value), ("tax_base", rules.tax_base)):
        if basis is not None and id in book.used:
            yield _basis(id, basis, on)
    own = {rules.canonical(id): figure for id, figure in bought.overrides.items()}
    for id in dict.fromkeys((*rules.figures, *book.overrides)):
        key = f'overrides = {{ "{id}" = … }}'
        if id in book.overrides:
            asked = {rule.rate: rule.label for rule in rules.additional}
            label = asked.get(id) or f"Duty on {id.removeprefix('duty.')}"
            label = rules.figures[id].label if id in rules.figures else label
            words = _in_words(own[id], "share" if rules.is_share(id) else "")
            yield RuleUse(id, label, words, OWN, None, OWN, key)
        elif id in book.used and id not in roughly:
            yield _use(rules.figures[id], shown(rules.figures[id]), key, on)


def _arrival(sheet: Sheet, on: date, widened: bool) -> Iterator[RuleUse]:
    """Give what is charged on arrival: the usual, or the builder's own, of every line that is there."""
    bought, usual = sheet.consignment, load_arrival()
    written = {line.id.removeprefix(f"{bought.id}.") for line in sheet.lines}
    keys: list[tuple[str, str, Any, bool]] = [
        (charge.id, f"arrival = {{ {charge.id} = … }}", getattr(bought.arrival, charge.id), charge.widened)
        for charge in CHARGES
        if charge.id in written
    ]
    if "storage" in written:
        keys += [
            (id, f"storage = {{ {key} = … }}", _given(getattr(bought.storage, key)), False)
            for id, key in _STORAGE
        ]
    if "disbursement" in written:
        keys += [
            (f"disbursement_{key}", f"arrival = {{ disbursement_{key} = … }}",
             getattr(bought.arrival, f"disbursement_{key}"), False)
            for key in ("percent", "minimum")
        ]  # fmt: skip
    if any(event.id == sheet.id("examination") for event in sheet.events):
        said = bought.examination
        keys += [
            (
                "examination_chance",
                "examination = { chance = …, cost = … }",
                said and Known(value=said.chance),
                False,
            ),
            ("examination_cost", "examination = { chance = …, cost = … }", said and said.cost, False),
        ]
    for id, key, own, is_widened in keys:
        found = usual.charge(bought.mode, id)
        if found is None:
            continue
        if own is not None:
            words = _in_words(own, found.unit)
            yield RuleUse(id, found.label, words, OWN, None, OWN, key)
            continue
        scale = sheet.usual_scale(found.unit)
        value = shown(found, scale, usual.widen if widened and is_widened else 1.0, sheet.home)
        yield _use(found, value, key, on)


def _use(figure: RuleFigure, value: str, key: str, on: date) -> RuleUse:
    doubts = figure.doubts(on)
    return RuleUse(
        figure.id, figure.label, value, figure.told, figure.as_of, figure.certainty, key, doubts, figure.note,
        figure.is_range and figure.unit == "share",
    )  # fmt: skip


def _basis(id: str, basis: Basis, on: date) -> RuleUse:
    label = f"What enters the {id.replace('_', ' ')}"
    doubts = basis.doubts(on)
    return RuleUse(id, label, basis.words, basis.told, basis.as_of, basis.certainty, "", doubts, basis.note)


def shown(figure: RuleFigure, scale: float = 1.0, widen: float = 1.0, home: str = "money") -> str:
    """Write a figure with its unit: ``23 %``, ``170 GBP``, ``40 to 120 EUR per W/M``."""
    low, high = figure.low * scale, figure.high * scale * widen
    if figure.unit == "share":
        low, high, unit = low * 100, high * 100, "%"
    else:
        unit = figure.unit.replace("money", home)
    words = f"{low:,.6g}" if low == high else f"{low:,.6g} to {high:,.6g}"
    return f"{words} {unit}".strip()


def _given(value: object) -> object:
    """Give None for a list without entries: nothing was written there."""
    return None if value == () else value


def _in_words(figure: object, unit: str) -> str:
    """Write one of the builder's own figures."""
    times, sign = (100, " %") if unit == "share" else (1, "")
    match figure:
        case float():
            return f"{figure:g} {unit}"
        case FigureBase(cells=(None, float(value), None)):
            return f"{value * times:,.6g}{sign}"
        case FigureBase(cells=(float(low), _, float(high))):
            return f"{low * times:,.6g} to {high * times:,.6g}{sign}"
    return "as you wrote it"


__all__ = ["OWN", "figures_in_use", "shown"]
