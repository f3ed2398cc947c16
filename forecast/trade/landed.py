"""What one import costs, once and to the cent, for known figures; every part opens to its working.

The simulation uses the same formulas (`forecast.trade.customs`) on uncertain figures.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from forecast.buildfile.consignment import Mode
from forecast.errors import RuleError
from forecast.figures.formula import Constant, Formula, Product
from forecast.trade import customs
from forecast.trade.exact import decimal, evaluate, fill, to_cents
from forecast.trade.rules import Rules, RuleWarning, load_rules
from forecast.words.currencies import minor_digits

Amount = float | int | Decimal


@dataclass(frozen=True)
class Component:
    """One part of a landed cost.

    Attributes
    ----------
    id, label : str
        Its name in short and in words.
    amount : decimal.Decimal
        Money, in the smallest coin of the country.
    working : str
        How it comes about, with its figures: ``4,790.00 × 4 %``.
    paid : bool
        False for a stage on the way (customs value, tax base), which is not itself paid.
    """

    id: str
    label: str
    amount: Decimal
    working: str
    paid: bool = True


@dataclass(frozen=True)
class LandedCost:
    """A landed cost that can be opened.

    Attributes
    ----------
    country, currency : str
        Whose rules, and the money of all amounts.
    components : tuple of Component
        In the order in which they come about.
    warnings : tuple of RuleWarning
        Figures in use that are outdated or not verified.
    """

    country: str
    currency: str
    components: tuple[Component, ...]
    warnings: tuple[RuleWarning, ...]

    def component(self, id: str) -> Component:
        """Give a part by its short name.

        Raises
        ------
        RuleError
            When there is no such part.
        """
        for component in self.components:
            if component.id == id:
                return component
        message = f"There is no part {id!r}. Legal: {', '.join(part.id for part in self.components)}."
        raise RuleError(message)

    def amount(self, id: str) -> Decimal:
        """Give a part's amount, 0 where the country has no such part."""
        return next((part.amount for part in self.components if part.id == id), Decimal(0))

    @property
    def total(self) -> Decimal:
        """Everything that is paid, added up."""
        return sum((part.amount for part in self.components if part.paid), Decimal(0))


@dataclass(frozen=True)
class KnownGoods:
    """Goods of one tariff code with a known price in the country's currency."""

    price: Amount
    hs: str = "8708.29"


def landed_cost(
    country: str | Rules,
    goods: Amount | Sequence[KnownGoods],
    *,
    export_inland: Amount = 0,
    freight: Amount = 0,
    insurance: Amount = 0,
    arrival: Amount = 0,
    mode: Mode = "sea",
    origin: str | None = None,
    additional: Sequence[str] = (),
    overrides: Mapping[str, float] | None = None,
    region: str | None = None,
    private_use: bool = False,
    on: date | None = None,
    money: tuple[str, float] | None = None,
) -> LandedCost:
    """Give what an import costs with duty, levies and tax.

    Parameters
    ----------
    country : str or Rules
        ISO 3166-1 alpha-2 code of the country of import, or its rules.
    goods : number or sequence of KnownGoods
        Price of the goods; a plain number counts as other body parts, 8708.29.
    export_inland, freight, insurance : number
        Costs up to the border that the price does not hold. Where the rules count a share for insurance that is not
        known, they do so for 0.
    arrival : number
        Costs from the border to the door, without import tax.
    mode : str
        ``courier``, ``air``, ``sea`` or ``road``.
    origin : str, optional
        Where the goods were made.
    additional : sequence of str
        Additional duties that apply, such as ``section232``.
    overrides : mapping, optional
        Other values for figures of the rules.
    region : str, optional
        Where in the country, where its rules ask for it, such as ``ON``.
    private_use : bool
        Take the country's rule for goods for one's own use.
    on : datetime.date, optional
        The day for which figures are judged outdated; no warnings when left out.
    money : tuple of str and float, optional
        Another currency in which all is counted, and what one unit of the rules' costs in it: a union's rules name
        limits in its own money, and a member's customs count in theirs.

    Returns
    -------
    LandedCost
        All money in one currency, the country's when nothing is said, each part rounded to its smallest coin.

    Raises
    ------
    RuleError
        When the country, a tariff code, an override or an additional duty is not known, or a sum is negative.
    """
    rules = (load_rules(country) if isinstance(country, str) else country).by(mode)
    rules = rules if region is None else rules.in_region(region)
    listed = (KnownGoods(goods),) if isinstance(goods, int | float | Decimal) else tuple(goods)
    given = {
        "export": export_inland,
        "freight": freight,
        "insurance": insurance,
        "arrival": arrival,
    }
    for name, value in [("goods", item.price) for item in listed] + list(given.items()):
        if value < 0:
            message = f"{name}: found {value}. A cost cannot be negative."
            raise RuleError(message)
    if not listed:
        message = "goods: none is given. Give a price, or a list of goods with price and hs."
        raise RuleError(message)
    own = {id: Constant(value) for id, value in (overrides or {}).items()}
    currency, rate = money or (rules.currency, 1.0)
    book = (
        customs.RuleBook(rules, own)
        if currency == rules.currency
        else customs.RuleBook(rules, own, lambda limit: Product((limit, Constant(rate))))
    )
    return _Calculation(book, listed, given, mode, currency).run(origin, additional, on, private_use)


class _Calculation:
    """Works through the parts in order, each rounded before the next one reads it."""

    def __init__(
        self,
        book: customs.RuleBook,
        goods: Sequence[KnownGoods],
        costs: Mapping[str, Amount],
        mode: Mode,
        currency: str,
    ) -> None:
        self.book = book
        self.currency = currency
        self.mode = mode
        self.components: list[Component] = []
        price = sum((decimal(item.price) for item in goods), Decimal(0))
        self.articles = [customs.Article(item.hs, _known(item.price)) for item in goods]
        self.parts = customs.Parts(
            price=_known(price), **{name: _known(value) for name, value in costs.items()}
        )
        labels = {
            "export": "Cost in the export country",
            "freight": "Freight",
            "insurance": "Transit insurance",
            "arrival": "Arrival and delivery",
        }
        self._add("goods", "Goods", price, "price")
        for name, value in costs.items():
            if value:
                self._add(name, labels[name], decimal(value), "as given")

    def _add(self, id: str, label: str, amount: Decimal, working: str, paid: bool = True) -> Decimal:
        rounded = to_cents(amount, minor_digits(self.currency))
        values = {part.id: f"{part.amount:,}" for part in self.components}
        self.components.append(Component(id, label, rounded, fill(working, values), paid))
        return rounded

    def _sum_of(self, names: Sequence[str]) -> str:
        present = [part.id for part in self.components]
        wanted = [{"price": "goods"}.get(name, name) for name in names]
        return " + ".join(f"{{{name}}}" for name in wanted if name in present)

    def run(
        self, origin: str | None, additional: Sequence[str], on: date | None, private: bool
    ) -> LandedCost:
        book, rules = self.book, self.book.rules
        words = self._sum_of(rules.customs_value.parts)
        self.parts, assumed = customs.with_assumed_insurance(book, self.parts)
        if assumed:
            words += f" + {assumed} × ({self._sum_of(('price', 'export'))}) for insurance"
        if private and rules.private_use is not None:
            words = f"{book.say(rules.private_use.share)} × {{goods}}"
        value = self._add(
            "customs_value",
            "Customs value",
            evaluate(customs.customs_value(book, self.parts, private)),
            words,
            paid=False,
        )
        fixed = _known(value)
        charge = customs.duty(book, self.articles, fixed)
        duties = self._add("duty", charge.label, evaluate(charge.formula), _said(charge))
        for charge in customs.additional_duties(book, self.articles, fixed, origin, additional):
            duties += self._add(charge.id, charge.label, evaluate(charge.formula), _said(charge))
        taken = Decimal(0)
        for charge in customs.levies(book, fixed, self.mode):
            if (amount := evaluate(charge.formula)) > 0:
                taken += self._add(charge.id, charge.label, amount, _said(charge))
        if rules.tax_base is not None:
            base = customs.tax_base(book, self.parts, fixed, _known(duties), _known(taken), origin)
            words = self._base_words(rules.tax_base.parts)
            if uplift := customs.uplift_words(book, origin):
                words += f" + {uplift}"
            settled = self._add("tax_base", "Tax base", evaluate(base), words, paid=False)
            tax = customs.tax(book, self.articles, _known(settled), fixed)
            if tax is not None:
                self._add("tax", tax.label, evaluate(tax.formula), _said(tax))
        warnings = () if on is None else rules.warnings(on, frozenset(book.used))
        return LandedCost(rules.code, self.currency, tuple(self.components), warnings)

    def _base_words(self, names: Sequence[str]) -> str:
        known = {"goods", "export", "freight", "insurance", "arrival", "customs_value", "tax_base"}
        spread: list[str] = []
        levies = [rule.id for rule in self.book.rules.levies]
        extra = [part.id for part in self.components if part.id not in {*known, *levies}]
        for name in names:
            spread += {"duty": extra, "levies": levies}.get(name, [name])
        return self._sum_of(spread)


def _said(charge: customs.Charge) -> str:
    """Give the working of a charge in the words that fit its sum."""
    return charge.words.said(lambda case: evaluate(case) > 0)


def _known(value: Amount) -> Formula:
    """Give known money as a constant.

    Floats write money of up to 15 digits as it was entered, so nothing is lost on the way to `evaluate`.
    """
    return Constant(float(value))
