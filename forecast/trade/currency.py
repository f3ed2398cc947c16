"""Exchange rates until the day of payment: a random walk without drift.

R(d) = R₀ exp(s √(d/365) Z), Z standard normal, so today's rate is the median of every later day. Models rarely
beat it at one to twelve months (Meese and Rogoff 1983; Rossi 2013). One path per currency: the rate of a later day
goes on from that of an earlier one, and deposit, balance, duty and tax all read the same path.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from math import sqrt

from forecast.buildfile.consignment import Moment
from forecast.buildfile.schema import Currency
from forecast.errors import RuleError
from forecast.figures.figure import FigureBase
from forecast.figures.formula import Constant, Exponential, Formula, Input, Product, Sum
from forecast.figures.kinds import Known, Normal
from forecast.trade.rules import load_volatilities

DAYS_A_YEAR = 365


def default_volatility(first: str, second: str) -> float:
    """Give the usual yearly volatility of a pair of currencies, whichever stands first.

    The larger of the last 250 fixings' and the median over all spans of 250 fixings since 1999, from the
    European Central Bank's reference rates; a cautious figure for pairs that are not on file.
    """
    table = load_volatilities()
    for pair in (f"{first}/{second}", f"{second}/{first}"):
        if pair in table.pairs:
            return table.pairs[pair]
    return table.other


@dataclass(frozen=True)
class CurrencyPath:
    """The rates of one foreign currency on all days on which something is paid in it.

    Attributes
    ----------
    code, home : str
        The foreign currency and the build's own.
    rate : FigureBase
        Units of the build's currency for one of the foreign, today.
    volatility : float
        Yearly; 0 for a rate that stays as it is today.
    days : tuple of float
        The days from today, sorted, today left out.
    margin : float
        Percent that card or bank adds for the buyer; customs never add it.
    as_of : date or None
        The day of today's rate, from which dates are reckoned.
    """

    code: str
    home: str
    rate: FigureBase
    volatility: float
    days: tuple[float, ...]
    margin: float = 0.0
    as_of: date | None = None

    @property
    def rate_id(self) -> str:
        """Id of the input that is today's rate."""
        return f"fx.{self.code}.rate"

    def step_id(self, day: float) -> str:
        """Id of the input that moves the rate from the day before in the list to this one."""
        return f"fx.{self.code}.{day:g}d"

    def figures(self) -> dict[str, FigureBase]:
        """Give the inputs of the path: today's rate, and a standard normal step to each day."""
        found: dict[str, FigureBase] = {self.rate_id: self.rate}
        if self.volatility > 0:
            for day in self.days:
                found[self.step_id(day)] = Normal(mean=0, sd=1, estimated=False)
        return found

    def day_of(self, moment: Moment) -> float:
        """Give the days from that of the rate until a moment; below zero where it is past.

        Raises
        ------
        RuleError
            When it is a date and the day of the rate is not known.
        """
        if not isinstance(moment, date):
            return moment
        if self.as_of is None:
            message = f"currency {self.code}: payments are on dates, but its rate has no day. Add as_of = …"
            raise RuleError(message)
        return float((moment - self.as_of).days)

    def rate_at(self, moment: Moment) -> Formula:
        """Give the rate of a moment, without any margin; today's for what is past.

        Raises
        ------
        RuleError
            When the path was built without that day.
        """
        today, day = Input(self.rate_id), self.day_of(moment)
        if day <= 0 or self.volatility == 0:
            return today
        if day not in self.days:
            shown = ", ".join(f"{known:g}" for known in self.days) or "today only"
            message = (
                f"currency {self.code}: no rate for day {day:g}; the path has {shown}. Add the day to it."
            )
            raise RuleError(message)
        before = 0.0
        steps: list[Formula] = []
        for known in self.days:
            if known > day:
                break
            size = self.volatility * sqrt((known - before) / DAYS_A_YEAR)
            steps.append(Product((Constant(size), Input(self.step_id(known)))))
            before = known
        return Product((today, Exponential(Sum(tuple(steps)))))


def build_paths(
    currencies: Mapping[str, Currency],
    home: str,
    days: Mapping[str, Iterable[Moment]],
    on: date | None = None,
) -> dict[str, CurrencyPath]:
    """Give one path for each foreign currency of a build.

    Where ``volatility`` is left out, a known rate moves by the pair's usual volatility, while a rate that is
    a range stays as drawn: the range is taken to hold the days until payment too.

    Parameters
    ----------
    currencies : mapping
        The build file's ``[currency.XXX]`` tables.
    home : str
        The build's own currency.
    days : mapping
        Moments at which something is paid, by currency; each currency's own ``days`` are added.
    on : datetime.date, optional
        The day of a rate that does not say its own.

    Returns
    -------
    dict
        Path by currency.
    """
    found: dict[str, CurrencyPath] = {}
    for code, said in currencies.items():
        if said.volatility is not None:
            volatility = said.volatility
        else:
            volatility = default_volatility(code, home) if isinstance(said.rate, Known) else 0.0
        rate = said.rate.model_copy(update={"estimated": False})
        path = CurrencyPath(code, home, rate, volatility, (), said.margin, said.as_of or on)
        listed = {path.day_of(moment) for moment in (*days.get(code, ()), said.days)}
        found[code] = replace(path, days=tuple(sorted(day for day in listed if day > 0)))
    return found
