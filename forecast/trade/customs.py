"""Duty, levies and import tax as formulas, from a country's rules.

Names: P price, E cost in the export country, F freight, I insurance, A costs from the border to the door,
V customs value, D duty, X levies. Which of them enter V and the tax base is the country's data.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from forecast.buildfile.rulefiles import groups_of, is_meant
from forecast.errors import RuleError
from forecast.figures.formula import Constant, Formula, Larger, Product, Quotient, RoundedUp, Smaller, Sum
from forecast.trade.arrival import NOTHING, above, at_most, less
from forecast.trade.expansion import NOTHING_WORDS, Words
from forecast.trade.rules import RuleFigure, Rules
from forecast.trade.rules.model import CostPart, Effect, Levy
from forecast.words.currencies import minor_digits

ADDED_TO_DUTY: tuple[Effect, ...] = ("no duty", "no duty and tax")


@dataclass(frozen=True)
class Parts:
    """The costs of an import as formulas, all in the build's currency at the customs rate of exchange."""

    price: Formula = NOTHING
    export: Formula = NOTHING
    freight: Formula = NOTHING
    insurance: Formula = NOTHING
    arrival: Formula = NOTHING


@dataclass(frozen=True)
class Article:
    """Goods of one tariff code with their price."""

    hs: str
    price: Formula


@dataclass(frozen=True)
class Charge:
    """A sum of money due, its formula and its working in words; cases as in `forecast.trade.expansion.Words`."""

    id: str
    label: str
    formula: Formula
    working: str
    cases: tuple[tuple[Formula, str], ...] = ()

    @property
    def words(self) -> Words:
        """The working, with what is said in its place where a limit decides the sum."""
        return Words(self.working, self.cases)


class RuleBook:
    """A country's figures with the overrides of one consignment; remembers which figures were used.

    Parameters
    ----------
    rules : Rules
    overrides : mapping
        Formula by figure id, taken instead of the rules' figure.
    local : callable
        Brings a sum in the country's currency to the build's; as it stands when left out.
    words : mapping
        How an override that is not one number is called in workings.
    ranges : callable
        Gives a rule's figure that is a range as a formula, and how workings call it; refused when left out.
    """

    def __init__(
        self,
        rules: Rules,
        overrides: Mapping[str, Formula] | None = None,
        local: Callable[[Formula], Formula] = lambda formula: formula,
        words: Mapping[str, str] | None = None,
        ranges: Callable[[RuleFigure], tuple[Formula, str]] | None = None,
    ) -> None:
        self.rules = rules
        self.overrides = {rules.canonical(id): formula for id, formula in (overrides or {}).items()}
        self.local = local
        self.words = {rules.canonical(id): text for id, text in (words or {}).items()}
        self.ranges = ranges
        self.used: set[str] = set()
        self._check()

    def _check(self) -> None:
        for id, formula in self.overrides.items():
            is_share = self.rules.is_share(id)
            if id not in self.rules.figures and not is_share:
                self.rules.figure(id)  # raises, naming the legal ids
            if is_share and isinstance(formula, Constant) and not 0 <= formula.value <= 1:
                message = (
                    f"overrides {id!r}: found {formula.value:g}. It is a share from 0 to 1: "
                    "write 0.21 for 21 %."
                )
                raise RuleError(message)

    def get(self, id: str) -> Formula:
        """Give a figure as a formula, the override before the rule."""
        if id in self.overrides:
            return self.overrides[id]
        self.used.add(id)
        figure = self.rules.figure(id)
        if figure.is_range and self.ranges is not None:
            formula, self.words[id] = self.ranges(figure)
            return formula
        return Constant(figure.value)

    def sum_of_money(self, id: str) -> Formula:
        """Give a figure that is money of the country, in the build's currency."""
        return self.local(self.get(id))

    def say(self, id: str) -> str:
        """Put a rate into words, such as ``4.5 %``."""
        formula = self.get(id)
        if isinstance(formula, Constant):
            return f"{100 * formula.value:.6g} %"
        return self.words.get(id, id)

    def duty_id(self, hs: str) -> str:
        """Give the duty figure of a tariff code: an override of it, or the rules' own.

        Raises
        ------
        RuleError
            When neither knows the code.
        """
        digits = hs.replace(".", "")
        own = [
            id
            for id in self.overrides
            if id.startswith("duty.") and digits.startswith(id.removeprefix("duty.").replace(".", ""))
        ]
        ruled = self.rules.duty_id(hs)
        best = max([*own, *([ruled] if ruled else [])], key=len, default=None)
        if best is None:
            known = sorted(id.removeprefix("duty.") for id in self.rules.figures if id.startswith("duty."))
            message = (
                f"hs {hs!r}: {self.rules.name} has no duty rate for it on file, only for {', '.join(known)}. "
                f'Look it up and write overrides = {{ "duty.{hs}" = 0.04 }} for 4 %.'
            )
            raise RuleError(message)
        return best


def customs_value(book: RuleBook, parts: Parts, private: bool = False) -> Formula:
    """Give the value on which duty is charged, at least zero; by the rule for private use where it is asked for.

    Raises
    ------
    RuleError
        When it is asked for in a country that has no such rule.
    """
    if private:
        if book.rules.private_use is None:
            message = f"private_use: {book.rules.name} has no rule for goods for one's own use. Leave it out."
            raise RuleError(message)
        return Product((book.get(book.rules.private_use.share), parts.price))
    book.used.add("customs_value")
    chosen = tuple(_part(parts, name) for name in book.rules.customs_value.parts)
    return Larger((NOTHING, Sum(chosen)))


def with_assumed_insurance(book: RuleBook, parts: Parts) -> tuple[Parts, str]:
    """Give the parts with the premium that customs assume where none is known, and how it is called in workings.

    The words are empty where nothing is assumed.
    """
    assumed = book.rules.customs_value.insurance
    if assumed is None or parts.insurance != NOTHING:
        return parts, ""
    premium = Product((book.get(assumed), Sum((parts.price, parts.export))))
    return replace(parts, insurance=premium), book.say(assumed)


def _part(parts: Parts, name: CostPart) -> Formula:
    formula: Formula = getattr(parts, name)
    return formula


def _liable(
    book: RuleBook, price: Formula, value: Formula, effects: tuple[Effect, ...]
) -> tuple[Formula, ...]:
    """Give factors that are 1 where duty (or tax) is due at all, and 0 up to a threshold."""
    found = [rule for rule in book.rules.thresholds if rule.effect in effects]
    return tuple(
        above(value if rule.of == "customs value" else price, book.sum_of_money(rule.at_most))
        for rule in found
    )


def _spared(
    book: RuleBook, price: Formula, value: Formula, effects: tuple[Effect, ...]
) -> tuple[tuple[Formula, str], ...]:
    """Give the cases in which a small value bears nothing."""
    return tuple(
        (
            at_most(value if rule.of == "customs value" else price, book.sum_of_money(rule.at_most)),
            f"{NOTHING_WORDS}: a {rule.of} of up to {_money(book, rule.at_most)} bears none",
        )
        for rule in book.rules.thresholds
        if rule.effect in effects
    )


def duty(book: RuleBook, articles: Sequence[Article], value: Formula) -> Charge:
    """Give the duty: each tariff code's rate on its share of the customs value, shared out by price.

    Parameters
    ----------
    book : RuleBook
    articles : sequence of Article
    value : Formula
        The customs value of everything.

    Returns
    -------
    Charge

    Raises
    ------
    RuleError
        When a tariff code has no rate.
    """
    by_rate: dict[Formula, list[Article]] = {}
    words: dict[Formula, str] = {}
    for article in articles:
        id = book.duty_id(article.hs)
        by_rate.setdefault(book.get(id), []).append(article)
        words[book.get(id)] = book.say(id)
    price = Sum(tuple(article.price for article in articles))
    pieces = tuple(Product((rate, _share(group, articles, value, price))) for rate, group in by_rate.items())
    formula: Formula = pieces[0] if len(pieces) == 1 else Sum(pieces)
    if len(by_rate) == 1:
        working = f"{{customs_value}} × {next(iter(words.values()))}"
    else:
        said = [f"{_codes(group)} at {words[rate]}" for rate, group in by_rate.items()]
        working = f"{{customs_value}}, shared out by price: {', '.join(said)}"
    factors = _liable(book, price, value, ADDED_TO_DUTY)
    if factors:
        formula = Product((formula, *factors))
    cases = _spared(book, price, value, ADDED_TO_DUTY)
    for rule in book.rules.thresholds:
        if rule.flat is not None and rule.effect == "flat rate":
            limit = book.sum_of_money(rule.at_most)
            flat = Product((book.get(rule.flat), value, at_most(price, limit), *factors))
            formula = Sum((Product((formula, above(price, limit))), flat))
            told = (
                f"{{customs_value}} × {book.say(rule.flat)}: a flat rate up to {_money(book, rule.at_most)}"
            )
            cases += ((at_most(price, limit), told),)
        elif rule.flat is not None:
            limit = book.sum_of_money(rule.at_most)
            subheadings = len({article.hs.replace(".", "")[:6] for article in articles})
            each_flat = (book.sum_of_money(rule.flat), Constant(subheadings))
            flat = Product((*each_flat, at_most(price, limit), *factors))
            formula = Sum((Product((formula, above(price, limit))), flat))
            each = (
                "one tariff subheading" if subheadings == 1 else f"each of {subheadings} tariff subheadings"
            )
            told = f"{_money(book, rule.flat)} for {each}: goods of up to {_money(book, rule.at_most)} bear a flat duty"
            cases += ((at_most(price, limit), told),)
    return Charge("duty", "Customs duty", formula, working, cases)


def _codes(group: Sequence[Article]) -> str:
    return " and ".join(dict.fromkeys(article.hs for article in group))


def _share(group: Sequence[Article], articles: Sequence[Article], value: Formula, price: Formula) -> Formula:
    if len(group) == len(articles):
        return value
    mine = Sum(tuple(article.price for article in group))
    return Product((value, Quotient(mine, price)))


def additional_duties(
    book: RuleBook, articles: Sequence[Article], value: Formula, origin: str | None, chosen: Sequence[str]
) -> tuple[Charge, ...]:
    """Give the additional duties that the consignment asks for.

    A rate that is a total with the base duty adds what is missing to it, but never less than nothing.

    Raises
    ------
    RuleError
        When the country has no additional duty of that name.
    """
    known = {rule.id: rule for rule in book.rules.additional}
    price = Sum(tuple(article.price for article in articles))
    found: list[Charge] = []
    for name in dict.fromkeys(chosen):
        if name not in known:
            legal = ", ".join(known) or "none"
            message = f"additional: {book.rules.name} has no additional duty {name!r}. Legal: {legal}."
            raise RuleError(message)
        rule = known[name]
        if rule.rate not in book.rules.figures and rule.rate not in book.overrides:
            message = (
                f"additional: no rate of {name} is on file. {rule.words} Look it up and write "
                f'overrides = {{ "{rule.rate}" = 0.1 }} for 10 %.'
            )
            raise RuleError(message)
        if rule.origins and not is_meant(origin, rule.origins):
            continue
        totals = (rule.totals.get(code) for code in (origin or "", *groups_of(origin)))
        total = next(filter(None, totals), None)
        pieces: list[Formula] = []
        for article in articles:
            if not rule.concerns(article.hs):
                continue
            base = book.get(book.duty_id(article.hs))
            rate = book.get(rule.rate) if total is None else Larger((NOTHING, less(book.get(total), base)))
            pieces.append(Product((rate, _share([article], articles, value, price))))
        if pieces:
            said = book.say(rule.rate) if total is None else f"{book.say(total)} in all, less the base duty"
            working = f"{{customs_value}} × {said}"
            found.append(Charge(name, rule.label, Sum(tuple(pieces)), working))
    return tuple(found)


def levies(book: RuleBook, value: Formula, mode: str, shared_by: int = 1) -> tuple[Charge, ...]:
    """Give what the state charges on the entry besides duty and tax, for one mode of transport.

    Amounts, leasts and mosts are split where several consignments share the entry.
    """
    return tuple(
        _levy(book, rule, value, shared_by)
        for rule in book.rules.levies
        if not rule.modes or mode in rule.modes
    )


def _levy(book: RuleBook, rule: Levy, value: Formula, shared_by: int) -> Charge:
    def once(id: str) -> Formula:
        whole = book.sum_of_money(id)
        return whole if shared_by == 1 else Product((whole, Constant(1 / shared_by)))

    def said_once(id: str) -> str:
        return _money(book, id) if shared_by == 1 else f"{_money(book, id)} / {shared_by}"

    cases: list[tuple[Formula, str]] = []
    if rule.rate is not None:
        formula: Formula = Product((book.get(rule.rate), value))
        by_rate, words = formula, f"{{customs_value}} × {book.say(rule.rate)}"
        working = f"{{customs_value}} × {book.say(rule.rate)}"
        if rule.minimum is not None:
            formula = Larger((once(rule.minimum), formula))
            working += f", at least {said_once(rule.minimum)}"
            said = f"{said_once(rule.minimum)}, the least that is charged ({words} is less)"
            cases.append((above(once(rule.minimum), by_rate), said))
        if rule.maximum is not None:
            formula = Smaller((once(rule.maximum), formula))
            working += f", at most {said_once(rule.maximum)}"
            said = f"{said_once(rule.maximum)}, the most that is charged ({words} is more)"
            cases.append((above(by_rate, once(rule.maximum)), said))
    elif rule.amount is not None:
        formula = once(rule.amount)
        working = said_once(rule.amount)
    else:
        message = f"levy {rule.id}: the rules give neither an amount nor a rate."
        raise RuleError(message)
    factors: list[Formula] = []
    if rule.above is not None:
        factors.append(above(value, book.sum_of_money(rule.above)))
    if rule.at_least is not None:
        factors.append(at_most(book.sum_of_money(rule.at_least), value))
    if rule.under is not None:
        factors.append(above(book.sum_of_money(rule.under), value))
    if rule.at_most is not None:
        factors.append(at_most(value, book.sum_of_money(rule.at_most)))
    limits = [
        f"{word} {_money(book, id)}"
        for word, id in (
            ("above", rule.above),
            ("from", rule.at_least),
            ("under", rule.under),
            ("up to", rule.at_most),
        )
        if id is not None
    ]
    if limits:
        bounds = f"customs value {' and '.join(limits)}"
        within = f" ({bounds})"
        working += within
        none = f"{NOTHING_WORDS}: {rule.label[:1].lower()}{rule.label[1:]} is only for a {bounds}"
        cases = [
            (at_most(Product(tuple(factors)), NOTHING), none),
            *((case, said + within) for case, said in cases),
        ]
        formula = Product((formula, *factors))
    return Charge(rule.id, rule.label, formula, working, tuple(cases))


def _money(book: RuleBook, id: str) -> str:
    formula = book.get(id)
    code = book.rules.currency
    if isinstance(formula, Constant):
        return f"{formula.value:,.{minor_digits(code)}f} {code}"
    return f"{book.words.get(id, id)} {code}"


def tax_base(
    book: RuleBook,
    parts: Parts,
    value: Formula,
    duties: Formula,
    state_levies: Formula,
    origin: str | None = None,
) -> Formula:
    """Give what import tax is charged on; nothing where the country has no such tax."""
    basis = book.rules.tax_base
    if basis is None:
        return NOTHING
    book.used.add("tax_base")
    known: dict[str, Formula] = {"customs_value": value, "duty": duties, "levies": state_levies}
    entering = [known[name] if name in known else _part(parts, name) for name in basis.parts]
    if (uplift := _uplift(book, origin)) is not None:
        entering.append(Product((book.get(uplift), value)))
    formula: Formula = Sum(tuple(entering))
    if book.rules.base_step > 0:
        step = book.rules.base_step  # the nearest step, a half of it going down
        formula = RoundedUp(Sum((formula, Constant(-step / 2))), step)
    return formula


def _uplift(book: RuleBook, origin: str | None) -> str | None:
    basis = book.rules.tax_base
    return None if basis is None or is_meant(origin, basis.no_uplift) else basis.uplift


def uplift_words(book: RuleBook, origin: str | None) -> str:
    """Say what the tax base adds to the parts that enter it; empty where it adds nothing."""
    uplift = _uplift(book, origin)
    return "" if uplift is None else f"{book.say(uplift)} × {{customs_value}}"


def tax(book: RuleBook, articles: Sequence[Article], base: Formula, value: Formula) -> Charge | None:
    """Give the import tax on a base, of goods of a customs value; None where the country has none."""
    rules = book.rules
    if rules.tax is None:
        return None
    price = Sum(tuple(article.price for article in articles))
    formula: Formula = Product(
        (book.get(rules.tax), base, *_liable(book, price, value, ("no duty and tax",)))
    )
    cases = _spared(book, price, value, ("no duty and tax",))
    working = f"{{tax_base}} × {book.say(rules.tax)}"
    for rule in rules.thresholds:
        if rule.effect == "no small tax":
            said = f"{NOTHING_WORDS}: tax of up to {_money(book, rule.at_most)} is not collected ({working})"
            cases += ((at_most(formula, book.sum_of_money(rule.at_most)), said),)
            formula = Product((formula, above(formula, book.sum_of_money(rule.at_most))))
    label = rules.tax_name[:1].upper() + rules.tax_name[1:]
    return Charge("tax", label, formula, working, cases)


def agreed_arrival(book: RuleBook, mode: str, gross_kg: Formula) -> Formula | None:
    """Give the customs authority's agreed amount for arrival costs in the tax base; None where it has none.

    Some let importers take averages instead of the actual costs; their rules have figures ``agreed_arrival.…``.
    """
    if "agreed_arrival.air.rate" not in book.rules.figures:
        return None
    if mode == "air":
        by_weight: Formula = Product((book.sum_of_money("agreed_arrival.air.rate"), gross_kg))
        return Larger((book.sum_of_money("agreed_arrival.air.minimum"), by_weight))
    if mode in ("sea", "road"):
        rate = book.sum_of_money("agreed_arrival.groupage.rate")
        by_weight = Sum(
            (
                Product((rate, gross_kg, Constant(0.001))),
                book.sum_of_money("agreed_arrival.groupage.flat"),
            )
        )
        return Larger((book.sum_of_money("agreed_arrival.groupage.minimum"), by_weight))
    return None
