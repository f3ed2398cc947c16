"""Writes a consignment out into lines: what it costs at the seller's, on the way, at the border and to the door.

Every line is a formula over figures and earlier lines, so a dearer kit drags duty and tax along in each trial, and
one path of the exchange rate moves price, duty and tax together.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import date

from forecast.buildfile.consignment import Consignment, Moment, figures_in
from forecast.buildfile.incoterms import IncotermsRule, incoterm
from forecast.errors import RuleError
from forecast.figures.formula import Constant, Formula, Quotient
from forecast.figures.kinds import Known
from forecast.trade.currency import CurrencyPath
from forecast.trade.customs import RuleBook
from forecast.trade.entry import EntryWriter
from forecast.trade.exact import decimal, evaluate
from forecast.trade.expansion import ComputedEvent, ComputedLine, Expansion, Stage
from forecast.trade.figures_in_use import figures_in_use
from forecast.trade.journey import Journey, write_journey
from forecast.trade.rules import RuleFigure, Rules, doubt, load_arrival, load_carriage, load_rules
from forecast.trade.rules.model import GIFT_LIMIT
from forecast.trade.working_sheet import Sheet, times, total

__all__ = ["ComputedEvent", "ComputedLine", "Expansion", "Stage", "customs_day", "expand", "payment_days"]


FAR_ABOVE = 10
"""Goods worth more than so many times a small-value limit, even at their low end, are not held against it."""


def customs_day(consignment: Consignment) -> Moment:
    """Give the moment of the customs entry: as given, or the usual time on the way after the balance."""
    return consignment.customs_at(load_arrival().days_on_the_way[consignment.mode])


def payment_days(
    consignments: Iterable[Consignment], country: str, home: str
) -> dict[str, frozenset[Moment]]:
    """Give the moments at which a rate of exchange is read, by foreign currency.

    Parameters
    ----------
    consignments : iterable of Consignment
        All of a build, so that they share one path per currency.
    country, home : str
        The build's country and currency.

    Returns
    -------
    dict
        Days after that of the rate, or dates, by currency, for `forecast.trade.currency.build_paths`.
    """
    found: dict[str, set[Moment]] = {}
    local = load_rules(country).currency
    for one in consignments:
        entry = customs_day(one)
        days = {one.balance_at, one.freight_at, entry}
        deposit = {one.deposit_at} if one.deposit > 0 else set()
        named = {figure.currency for _, figure in figures_in(one) if figure.currency}
        for code in named | ({one.currency} if one.currency else set()):
            found.setdefault(code, set()).update(days | deposit)
        found.setdefault(local, set()).add(entry)
    return {code: frozenset(days) for code, days in sorted(found.items()) if code != home}


def expand(
    consignment: Consignment,
    country: str,
    currency: str,
    paths: Mapping[str, CurrencyPath],
    on: date,
    rules: Rules | None = None,
    per_euro: float | None = None,
    region: str | None = None,
) -> Expansion:
    """Write a consignment out.

    Parameters
    ----------
    consignment : Consignment
    country, currency : str
        The build's country and currency.
    paths : mapping
        Path by foreign currency; see `payment_days` and `forecast.trade.currency.build_paths`.
    on : datetime.date
        The day for which rule figures are judged outdated.
    rules : Rules, optional
        Other rules than those on file for the country.
    per_euro : float, optional
        Units of the build's money for one euro, by which usual charges are scaled; the reference rate when left out.
    region : str, optional
        Where in the country the builder lives, where its rules ask for it.

    Returns
    -------
    Expansion

    Raises
    ------
    RuleError
        When the country, a tariff code, a currency, an override or an additional duty is not known.
    """
    rules = (load_rules(country) if rules is None else rules).by(consignment.mode)
    rules = rules if region is None else rules.in_region(region)
    rules = rules.for_a_gift() if consignment.gift else rules
    if rules.currency != currency and rules.base_step:
        rules = replace(rules, base_step=0.0)  # a step of the country's money is none of the build's
    _check_names_of_goods(consignment)
    rule = incoterm(consignment.incoterm)
    sheet = Sheet(consignment, currency, paths, customs_day(consignment), per_euro)
    rules = _without_small_values(sheet, rules)
    if rules.currency not in {currency, *paths} and rules.thresholds and not rules.levies:
        rules = replace(rules, thresholds=())
        sheet.note(
            f"What {rules.name} exempts or treats apart by a small value is left out, for want of a rate: add "
            f"[currency.{rules.currency}] if the goods are worth next to nothing."
        )
    carriage = _carriage(consignment)
    book = _book(sheet, rules, carriage)
    _say_rule(sheet, rule)
    _ask_region(sheet, book, region)
    _ask_limit_of_a_gift(sheet, book)
    journey = write_journey(sheet, rule, carriage)
    entry = EntryWriter(sheet, rule, book, journey, on)
    entry.write()
    _margin(sheet, journey)
    counted = _carriage_in_use(sheet, journey)
    return Expansion(
        consignment=consignment.id,
        lines=tuple(sheet.lines),
        stages=tuple(sheet.stages),
        events=tuple(sheet.events),
        inputs=dict(sheet.inputs),  # a plan goes to another process, which no view of a mapping can
        notes=tuple(sheet.notes),
        warnings=(
            *rules.warnings(on, frozenset(book.used)),
            *(found for figure in counted if (found := doubt(figure, "Carriage", on)) is not None),
            *sheet.doubts,
        ),
        title=consignment.title,
        figures=figures_in_use(sheet, book, counted, on, rule.is_c_rule),
        dues=tuple(entry.charged),
    )


def _check_names_of_goods(consignment: Consignment) -> None:
    """Refuse goods that are called as the line of an additional duty is."""
    if clash := sorted({item.id for item in consignment.items} & set(consignment.additional)):
        message = (
            f"consignment {consignment.id!r}: goods are called {clash[0]!r}, as the line of that additional duty is. "
            "Choose another id."
        )
        raise RuleError(message)


def _without_small_values(sheet: Sheet, rules: Rules) -> Rules:
    """Leave out what the rules say of small values where the goods are worth far more.

    Their formulas would change nothing, and their doubts would stand beside lines that they do not concern.
    """
    if not rules.thresholds or rules.currency not in {sheet.home, *sheet.paths}:
        return rules
    draft = Sheet(sheet.consignment, sheet.home, sheet.paths, sheet.customs_day)
    prices = [
        draft.at_customs(draft.money(f"{item.id}.price", item.price, sheet.consignment.currency))
        for item in sheet.consignment.items
    ]
    unit = draft.local(rules.currency, Constant(1))
    low = {id: decimal(figure.cautious_low) for id, figure in draft.inputs.items()}
    worth = evaluate(Quotient(total(*prices), unit), low)
    kept = []
    for rule in rules.thresholds:
        limit = decimal(rules.figure(rule.at_most).value)
        if rule.effect == "no small tax" and rules.tax is not None:
            limit /= decimal(rules.figure(rules.tax).low)
        own = rule.at_most in sheet.consignment.overrides
        if own or worth < FAR_ABOVE * limit:
            kept.append(rule)
    return replace(rules, thresholds=tuple(kept))


def _carriage(consignment: Consignment) -> dict[str, float]:
    """Give the overridden figures of how carriers count, which must be known numbers."""
    known = load_carriage()
    found: dict[str, float] = {}
    for id, figure in consignment.overrides.items():
        if id in known:
            if not isinstance(figure, Known):
                message = (
                    f"consignment {consignment.id!r}, overrides {id!r}: found a range. Write one number."
                )
                raise RuleError(message)
            found[id] = figure.value
    return found


def _carriage_in_use(sheet: Sheet, journey: Journey) -> tuple[RuleFigure, ...]:
    """Give the figures of how carriers count that are in use and not overwritten."""
    consignment = sheet.consignment
    counted = any(f"{{{sheet.id('chargeable')}}}" in line.working for line in sheet.lines)
    return tuple(
        figure
        for id, figure in load_carriage().items()
        if id not in consignment.overrides
        and (
            (id.startswith(consignment.mode) and counted)
            or (
                id == "insurance.uplift"
                and consignment.insurance is None
                and journey.parts.insurance != Constant(0)
            )
        )
    )


def _book(sheet: Sheet, rules: Rules, carriage: Mapping[str, float]) -> RuleBook:
    formulas: dict[str, Formula] = {}
    words: dict[str, str] = {}
    for id, figure in sheet.consignment.overrides.items():
        if id not in carriage:
            if rules.is_share(rules.canonical(id)):
                figure = figure.model_copy(update={"unit": "share"})
            formulas[id] = sheet.figure(f"overrides.{id}", figure)
            words[id] = sheet.say(formulas[id])

    def ranged(figure: RuleFigure) -> tuple[Formula, str]:
        formula = sheet.figure(f"overrides.{figure.id}", figure.as_figure())
        return formula, f"{sheet.say(formula)} (from {100 * figure.low:g} to {100 * figure.high:g} %)"

    try:
        return RuleBook(rules, formulas, lambda formula: sheet.local(rules.currency, formula), words, ranged)
    except RuleError as error:
        message = f"consignment {sheet.consignment.id!r}: {error}"
        raise RuleError(message) from None


def _ask_region(sheet: Sheet, book: RuleBook, region: str | None) -> None:
    """Ask where the builder lives, where a rate follows from it and neither is told."""
    asked = book.rules.home
    if asked is None or region is not None or asked.sets in book.overrides:
        return
    sheet.note(
        f"{asked.question} {asked.why} Until it is told, {100 * asked.low:g} to {100 * asked.high:g} % is taken: "
        f'write region = "{next(iter(asked.choices))}" under [build], with one of {", ".join(asked.choices)}.'
    )


def _ask_limit_of_a_gift(sheet: Sheet, book: RuleBook) -> None:
    """Ask up to which value a present bears nothing: none is on file, and until it is told all is counted."""
    if not sheet.consignment.gift or GIFT_LIMIT in book.overrides:
        return
    rules = book.rules
    where = f" in {rules.gift}" if rules.gift else ""
    sheet.note(
        f"A present: no value up to which it bears nothing in {rules.name} is on file, so duty and tax are counted in "
        f'full. Look it up{where}, and write overrides = {{ "{GIFT_LIMIT}" = … }}, in {rules.currency}.'
    )


def _say_rule(sheet: Sheet, rule: IncotermsRule) -> None:
    bought = sheet.consignment
    if rule.sea_only and bought.mode != "sea":
        sheet.note(
            f"{rule.code} is meant for goods put on board a ship, but these travel by {bought.mode}: "
            f"ask the seller whether {rule.instead} is meant."
        )
    if rule.seller_pays_dues:
        sheet.note(
            f"{rule.code}: the seller pays freight, duty and import tax; their lines are left out. Many foreign "
            "sellers cannot clear goods in your country, and the bill then comes to you. Have it in writing who is "
            "importer of record, and look at the same consignment under DAP to see what is at stake."
        )


def _margin(sheet: Sheet, journey: Journey) -> None:
    """Write what card or bank add to payments: the consignment's own percentage, or each currency's.

    What a payment in foreign money is charged at holds it already, so it is of what is not paid yet.
    """
    own = sheet.consignment.card_margin
    parts: list[Formula] = []
    said: list[str] = []
    for cost in journey.payments:
        if cost.currency == sheet.home:
            percent = own if own is not None and sheet.consignment.currency in (None, sheet.home) else 0.0
        else:
            percent = own if own is not None else sheet.paths[cost.currency].margin
        if percent > 0:
            whole = replace(cost.line, unpaid=cost.currency != sheet.home)
            parts.append(times(Constant(percent / 100), whole))
            said.append(f"{percent:g} % × {{{cost.line.id}}}")
    if (fee := sheet.consignment.payment_fee) is not None:
        formula, words = sheet.paid(sheet.money("payment_fee", fee), sheet.consignment.balance_at)
        parts.append(formula)
        said.append(words)
    if parts:
        sheet.add("margin", "Card or bank margin", "import", total(*parts), " + ".join(said))
