"""The working sheet on which a consignment is written out: figures, rates of exchange, lines and notes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from forecast.buildfile.consignment import Consignment, Moment
from forecast.buildfile.library.starters import rounded
from forecast.buildfile.rates import ask_for_rate
from forecast.buildfile.schema import Group
from forecast.errors import RuleError
from forecast.figures.figure import FigureBase
from forecast.figures.formula import Constant, Formula, Input, LineValue, Product, Sum
from forecast.figures.kinds import Known
from forecast.figures.units import formula_in, priced_for, rate_in
from forecast.trade.currency import CurrencyPath
from forecast.trade.expansion import ComputedEvent, ComputedLine, Stage, Words
from forecast.trade.rules import RuleWarning
from forecast.words.currencies import reference
from forecast.words.day_words import long_day


@dataclass(frozen=True)
class CurrencySum:
    """An amount in some currency, before any rate of exchange."""

    amount: Formula
    currency: str
    words: str


def total(*parts: Formula) -> Formula:
    """Add formulas up, without a node for nothing or for one."""
    if not parts:
        return Constant(0)
    return parts[0] if len(parts) == 1 else Sum(parts)


def times(*parts: Formula) -> Formula:
    """Multiply formulas, leaving out factors that are exactly one."""
    kept = tuple(part for part in parts if part != Constant(1))
    if not kept:
        return Constant(1)
    return kept[0] if len(kept) == 1 else Product(kept)


class Sheet:
    """Gathers what a consignment comes to, and gives its figures and rates their names.

    Parameters
    ----------
    consignment : Consignment
    home : str
        The build's currency.
    paths : mapping
        Path of each foreign currency, built with the days of `forecast.trade.consignment_lines.payment_days`.
    customs_day : float or date
        When customs are passed: days after that of the rate, or a date.
    per_euro : float or None
        Units of the build's money for one euro, where the builder's own rate tells it; see `forecast.buildfile.rates`.
    """

    def __init__(
        self,
        consignment: Consignment,
        home: str,
        paths: Mapping[str, CurrencyPath],
        customs_day: Moment,
        per_euro: float | None = None,
    ) -> None:
        self.per_euro = per_euro
        self.consignment = consignment
        self.home = home
        self.paths = paths
        self.customs_day = customs_day
        self.lines: list[ComputedLine] = []
        self.stages: list[Stage] = []
        self.events: list[ComputedEvent] = []
        self.inputs: dict[str, FigureBase] = {}
        self.notes: list[str] = []
        self.doubts: list[RuleWarning] = []

    def id(self, name: str) -> str:
        """Put the consignment's id before a name."""
        return f"{self.consignment.id}.{name}"

    def usual_scale(self, unit: str) -> float:
        """Give what the usual ranges, written in euro, are multiplied by, to two digits; 1 for what is no money.

        Raises
        ------
        RuleError
            Where nothing tells what a euro is in the build's money.
        """
        if not unit.startswith("money"):
            return 1.0
        known = reference("EUR", self.home)
        if self.per_euro is not None:
            return rounded(self.per_euro)
        if known is None:
            message = (
                f"consignment {self.consignment.id!r}: the usual charges on arrival are in euro, and "
                f"{ask_for_rate(self.home)} Or write what the agent asks under arrival."
            )
            raise RuleError(message)
        return rounded(known.rate)

    def figure(self, name: str, figure: FigureBase) -> Formula:
        """Give a figure as a formula: a constant where it is known, an input of its own otherwise."""
        if isinstance(figure, Known):
            return Constant(figure.value)
        id = self.id(name)
        # Conversion is written into the formula, so the input itself bears no currency.
        self.inputs[id] = figure.model_copy(update={"currency": None})
        return Input(id)

    def say(self, formula: Formula) -> str:
        """Put a figure's formula into words for a working."""
        match formula:
            case Constant(value):
                return f"{value:,.10g}"
            case Input(id) | LineValue(id):
                return f"{{{id}}}"
            case _:
                return "…"

    def money(self, name: str, figure: FigureBase, currency: str | None = None) -> CurrencySum:
        """Give a figure that is money, in its own currency or else the one given or else the build's."""
        amount, counted = self.figure(name, figure), figure.currency or currency or self.home
        if (id := self.id(name)) in self.inputs and not figure.unit:
            self.inputs[id] = self.inputs[id].model_copy(update={"unit": counted})
        return CurrencySum(amount, counted, self.say(amount))

    def per_unit(self, name: str, figure: FigureBase) -> CurrencySum:
        """Give a price for one chargeable unit, where it is written for another unit of the same measure too."""
        own, per = self.consignment.charged_in, priced_for(figure.unit)
        factor = rate_in(own, per)
        money = self.money(name, figure)
        if factor == 1:
            return money
        if (id := self.id(name)) in self.inputs:
            self.inputs[id] = self.inputs[id].model_copy(update={"unit": f"{money.currency}/{per}"})
        words = f"{factor:.6g} {per}/{own} × {money.words}"
        return CurrencySum(times(Constant(factor), money.amount), money.currency, words)

    def days(self, name: str, figure: FigureBase) -> tuple[Formula, str]:
        """Give a time in days, and in words as it is written."""
        written = figure.unit or "days"
        number = self.figure(name, figure)
        return formula_in("days", number, figure.unit), f"{self.say(number)} {written}"

    def rate(self, currency: str, moment: Moment) -> tuple[Formula, str]:
        """Give the rate of a currency on a day, as a formula and as a placeholder for workings.

        Raises
        ------
        RuleError
            When the build has no rate for the currency.
        """
        if currency == self.home:
            return Constant(1), "1"
        if currency not in self.paths:
            message = (
                f"consignment {self.consignment.id!r}: no rate for {currency}. "
                f"Add [currency.{currency}] with rate = … ({self.home} for one {currency})."
            )
            raise RuleError(message)
        path = self.paths[currency]
        formula, day = path.rate_at(moment), path.day_of(moment)
        self.inputs.update(path.figures())
        id = f"fx.{currency}.on.{day:g}d"
        if all(stage.id != id for stage in self.stages):
            when = "today" if day <= 0 else f"in {day:g} days"
            if isinstance(moment, date):
                when = f"on {long_day(moment)}"
            name = f"{self.home} for one {currency} {when}"
            working = f"{{{path.rate_id}}} today"
            if day > 0 and path.volatility > 0:
                working += f", moved at random by {100 * path.volatility:.3g} % a year until then"
            self.stages.append(Stage(id, name, formula, working, self.home))
        return formula, f"{{{id}}}"

    def customs_rate(self, currency: str) -> Formula:
        """Give the rate at which customs convert: the one that the consignment names, or that of the day."""
        known = self.consignment.customs_rate
        if known is not None and currency == self.consignment.currency and currency != self.home:
            return self.figure("customs_rate", known)
        return self.rate(currency, self.customs_day)[0]

    def paid(self, money: CurrencySum, day: Moment) -> tuple[Formula, str]:
        """Give what an amount costs when it is paid on a day, and its working; margins not included."""
        if money.currency == self.home:
            return money.amount, f"{money.words} {self.home}"
        rate, words = self.rate(money.currency, day)
        return times(money.amount, rate), f"{money.words} {money.currency} × {words}"

    def part_of(self, money: CurrencySum) -> CurrencySum:
        """Give this consignment's part of what is charged once for all that come in one container."""
        shared = self.consignment.shared_by
        if shared == 1:
            return money
        part = times(Constant(1 / shared), money.amount)
        return CurrencySum(part, money.currency, f"{money.words} / {shared}")

    def at_customs(self, money: CurrencySum) -> Formula:
        """Give an amount at the customs rate of exchange."""
        return times(money.amount, self.customs_rate(money.currency))

    def local(self, currency: str, formula: Formula) -> Formula:
        """Bring a sum in the rules' currency to the build's."""
        return times(formula, self.rate(currency, self.customs_day)[0])

    def add(
        self,
        name: str,
        label: str,
        group: Group,
        formula: Formula,
        working: str,
        note: str = "",
        caution: str = "",
        know: tuple[str, ...] = (),
        pieces: tuple[Words, ...] = (),
    ) -> LineValue:
        """Write a line, and give the reference to it."""
        id = self.id(name)
        self.lines.append(ComputedLine(id, label, group, formula, working, note, caution, know, pieces))
        return LineValue(id)

    def stage(self, name: str, label: str, formula: Formula, working: str, unit: str) -> str:
        """Write a value on the way, and give the placeholder for it."""
        id = self.id(name)
        self.stages.append(Stage(id, label, formula, working, unit))
        return f"{{{id}}}"

    def note(self, text: str) -> None:
        """Say something once."""
        if text not in self.notes:
            self.notes.append(text)
