"""The quote that a builder takes, as what it is: a price agreed for its line, undone like any entry."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace

from forecast.buildfile.choosing import options_by_choice, with_option
from forecast.buildfile.consignment import Consignment
from forecast.buildfile.places_of_figures import Place, place_at
from forecast.buildfile.schema import Build, Line, Option
from forecast.buildfile.sheet import open_quotes
from forecast.decide.choices import about
from forecast.engine.plan import compile_plan
from forecast.errors import LedgerError
from forecast.figures.figure import FigureBase
from forecast.figures.kinds import Known
from forecast.ledger import Ledger
from forecast.ledger.records import AgreementKind
from forecast.watching.settling import Agreement, agree, at_planned_rate
from forecast.watching.standing import Standing
from forecast.words.minor_units import from_float


@dataclass(frozen=True)
class Asked:
    """What a quote asks for one line.

    Attributes
    ----------
    line : str
    amount_minor : int
    currency : str
    firm : bool
        Whether it is one sum; of a range the middle is agreed, as an estimate.
    """

    line: str
    amount_minor: int
    currency: str
    firm: bool = True


def whole_sum(build: Build, place: Place, price: float) -> Asked | None:
    """Give what a quoted price comes to for its line; None where how many are bought is open, and so the sum.

    Parameters
    ----------
    build : Build
    place : Place
        Of the figure that was quoted.
    price : float
    """
    currency = place.figure.currency or build.build.currency
    line = next((one for one in build.line if one.id == place.item), None)
    if line is not None:
        if place.key == "amount":
            return Asked(line.id, from_float(price, currency), currency)
        sure = isinstance(line.quantity, Known) and line.priced_per is None
        if place.key == "price" and sure and line.minimum is None and line.maximum is None:
            return Asked(line.id, from_float(price * line.quantity.value, currency), currency)  # type: ignore[union-attr]
        return None
    bought = next((one for one in build.consignment if one.id == place.item), None)
    if bought is None or not place.key.endswith("price"):
        return None
    which = int(place.key.split(".")[1]) if place.key.startswith("goods.") else 0
    return Asked(f"{bought.id}.{bought.items[which].id}", from_float(price, currency), currency)


def quotes_to_take(build: Build, begun: Sequence[str] | frozenset[str] = ()) -> tuple[Place, ...]:
    """Give the figures that stand as several quotes, and whose line comes to one sum with any of them."""
    return tuple(place for place in open_quotes(build, begun) if whole_sum(build, place, 1.0) is not None)


def asked_by_price(build: Build, path: str, price: float) -> tuple[Asked, ...]:
    """Give what is asked with one of the quotes that stand for a figure.

    Raises
    ------
    LedgerError
        When the sum is none of them, or does not say what the line comes to.
    """
    place = place_at(build, path)
    quotes = sorted(set(place.figure.model_dump().get("quotes", ())))
    if price not in quotes:
        legal = ", ".join(f"{one:.12g}" for one in quotes)
        message = f"{place.title}: {price:.12g} is none of the quotes. Legal are {legal}."
        raise LedgerError(message)
    found = whole_sum(build, place, price)
    if found is None:
        message = (
            f"{place.title}: how many are bought is open, so no sum can be agreed. Write value = {price:.12g} in the "
            "place of the quotes."
        )
        raise LedgerError(message)
    return (found,)


def asked_by_option(build: Build, option: Option, scenario: str | None = None) -> tuple[Asked, ...]:
    """Give what one option of a choice asks for the lines and goods that the choice is about.

    Raises
    ------
    LedgerError
        When the option changes no price.
    """
    items = {item.id for item in about(build, options_by_choice(build)[option.choice])}
    taken = with_option(build, option)
    found: list[Asked] = []
    bought: list[Line | Consignment] = [*taken.line, *taken.consignment]
    for item in bought:
        if item.id not in items:
            continue
        if isinstance(item, Consignment):
            for goods in item.items:
                found.append(_asked(f"{item.id}.{goods.id}", goods.price, taken, item.currency))
        elif item.amount is not None:
            found.append(_asked(item.id, item.amount, taken))
        else:
            found += _worked_out(taken, item, scenario)
    if not found:
        message = f"{option.title}: changes no price, so none can be agreed. Write what it says into the build file."
        raise LedgerError(message)
    return tuple(found)


def _asked(line: str, price: FigureBase, build: Build, currency: str | None = None) -> Asked:
    code = price.currency or currency or build.build.currency
    return Asked(line, from_float(price.shape(line).middle, code), code, isinstance(price, Known))


def _worked_out(build: Build, line: Line, scenario: str | None) -> list[Asked]:
    """Give what a line comes to at its middle figures, where no one figure says it."""
    plan = compile_plan(build, scenario)
    middles = plan.at_middle(gated="by chance")
    return [
        Asked(row.id, from_float(middles[row.id], plan.currency), plan.currency, not row.inputs)
        for row in plan.rows
        if row.id == line.id
    ]


def asked_at_home(build: Build, asked: Sequence[Asked]) -> tuple[int, ...]:
    """Give what quotes ask in minor units of the build's currency, as a price agreed is expected to come to.

    Raises
    ------
    LedgerError
        When the build has no rate for a currency.
    """
    found: list[int] = []
    for one in asked:
        minor = (
            one.amount_minor
            if one.currency == build.build.currency
            else at_planned_rate(build, one.line, one.amount_minor, one.currency)
        )
        if minor is None:
            message = f"{one.line}: the build has no rate for {one.currency}."
            raise LedgerError(message)
        found.append(minor)
    return tuple(found)


def with_agreed(known: Standing | None, asked: Sequence[Asked], at_home: Sequence[int]) -> Standing:
    """Give how things would stand once a quote is taken; see `take`.

    Parameters
    ----------
    known : Standing or None
        As they stand.
    asked : sequence of Asked
    at_home : sequence of int
        See `asked_at_home`.
    """
    now = known or Standing(None, {}, {}, frozenset(), {}, {}, None)
    lines = {one.line for one in asked}
    committed, agreed = dict(now.committed), dict(now.agreed)
    for one, minor in zip(asked, at_home, strict=True):
        committed[one.line] = committed.get(one.line, 0) + minor
        agreed[one.line] = _kind(one) if agreed.get(one.line) != "estimate" else "estimate"
    return replace(
        now, committed=committed, agreed=agreed, closed=now.closed - lines, more=now.more - lines,
        paid_up=now.paid_up - lines,
    )  # fmt: skip


def _kind(asked: Asked) -> AgreementKind:
    return "fixed" if asked.firm else "estimate"


def take(
    ledger: Ledger, build: Build, date: dt.date, supplier: str, asked: Sequence[Asked], note: str = "",
    kind: AgreementKind | None = None,
) -> tuple[Agreement, ...]:  # fmt: skip
    """Agree the prices that a quote asks, in one entry: undoing takes all of them back.

    Parameters
    ----------
    ledger : Ledger
    build : Build
    date : datetime.date
    supplier : str
        Whose quote it is.
    asked : sequence of Asked
    note : str
    kind : {"fixed", "estimate"}, optional
        When left out a sum is fixed, and the middle of a range an estimate.

    Raises
    ------
    LedgerError
        As for ``Ledger.add_commitment``.
    """
    home = build.build.currency
    with ledger.together():
        return tuple(
            agree(
                ledger, date, supplier, one.line, one.amount_minor, one.currency, note,
                expected_minor=None if one.currency == home
                else at_planned_rate(build, one.line, one.amount_minor, one.currency),
                kind=kind or _kind(one),
            )
            for one in asked
        )  # fmt: skip
