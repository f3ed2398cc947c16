"""``forecast landed``: what one import comes to at the door, once and to the cent, for sums that are known."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from decimal import Decimal
from typing import TYPE_CHECKING, NamedTuple, get_args

from forecast.views.commands.common import Answered, answer, command, exact_sum

if TYPE_CHECKING:
    from forecast.errors import RangeOnFileError
    from forecast.trade.landed import LandedCost
    from forecast.trade.rules.model import Additional
    from forecast.views.answers.of_builds import Converted, LandedAnswer

_SUMS = (
    ("freight", "what carrying it to the border costs, as far as the price does not hold it"),
    ("insurance", "what insuring it on the way costs"),
    ("export", "what it costs in the seller's country beside the price"),
    ("arrival", "what ports, agents and carriers charge from the border to your door, without import tax"),
)


class _Sum(NamedTuple):
    """A sum in the country's money, and how it came about where it was in another."""

    value: Decimal
    converted: Converted | None


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    detail = "What goods from abroad come to at your door, to the cent, where all sums are known: to check a bill,\n"
    detail += (
        "or before there is a build. Sums in other money, as 2400 USD, are converted at the rate on file.\n"
    )
    detail += "What is not known yet belongs in a build: 'forecast new' gives it a range."
    parser = command(commands, "landed", "what one import comes to at the door, to the cent", run, detail)
    parser.add_argument(
        "country", metavar="COUNTRY", help="into which it comes: a name, a part of one, or IE"
    )
    parser.add_argument("price", metavar="PRICE", help="of the goods, such as 1850 or '65 000 THB'")
    parser.add_argument("--from", dest="origin", metavar="COUNTRY", help="where the goods were made")
    for name, what in _SUMS:
        parser.add_argument(f"--{name}", metavar="SUM", help=what)
    parser.add_argument(
        "--by", default="sea", metavar="MODE", help="courier, air, sea or road, where the law asks (sea)"
    )
    parser.add_argument(
        "--heading", default="8708.29", metavar="HS", help="tariff code (8708.29, body parts)"
    )
    parser.add_argument("--region", metavar="R", help="where in the country, where its tax asks for it")
    parser.add_argument(
        "--own-use", action="store_true", help="for one's own use, where the law tells that apart"
    )
    parser.add_argument(
        "--also",
        action="append",
        default=[],
        metavar="DUTY",
        help="an additional duty that holds, such as section232",
    )
    parser.add_argument(
        "--figure", action="append", default=[], metavar="NAME=VALUE",
        help="your own instead of the law's on file, such as vat=23%%; a wrong name lists the legal ones",
    )  # fmt: skip


def run(options: argparse.Namespace) -> Answered[LandedAnswer]:
    """Run the command."""
    import datetime as dt

    from forecast.buildfile.consignment import Mode
    from forecast.buildfile.rulefiles import countries
    from forecast.errors import RangeOnFileError, RuleError
    from forecast.trade.landed import KnownGoods, landed_cost
    from forecast.trade.rules import load_rules
    from forecast.words.currencies import reference

    if options.by not in get_args(Mode):
        message = f"--by: found {options.by!r}. Legal are {', '.join(get_args(Mode))}."
        raise RuleError(message)
    country = _country("country", options.country)
    rules = load_rules(country)
    if rules.home is not None and options.region is None:
        listed = ", ".join(f"{one.code} ({one.name})" for one in rules.home.choices.values())
        message = f"{rules.name}: its tax differs by where you live. Say --region with one of {listed}."
        raise RuleError(message)
    home = countries()[country].currency
    union = reference(rules.currency, home)
    if union is None:
        message = (
            f"no rate of {rules.currency}, in which {rules.name}'s rules name sums, is on file for {home}."
        )
        raise RuleError(message)
    price = _in_money_of(home, options.price, "PRICE")
    sums = {
        name: _in_money_of(home, text, f"--{name}")
        for name, _ in _SUMS
        if (text := getattr(options, name)) is not None
    }
    origin = None if options.origin is None else _country("origin", options.origin)
    left_out = [
        rule
        for rule in rules.additional
        if rule.id not in options.also and rule.may_hold([options.heading], origin)
    ]
    costs = {name: found.value for name, found in sums.items()}
    own, missing = dict(map(_own_figure, options.figure)), list[RangeOnFileError]()
    while True:
        try:
            landed = landed_cost(
                country,
                [KnownGoods(price.value, options.heading)],
                export_inland=costs.get("export", 0),
                freight=costs.get("freight", 0),
                insurance=costs.get("insurance", 0),
                arrival=costs.get("arrival", 0),
                mode=options.by,
                origin=origin,
                additional=options.also,
                overrides=own | {one.figure: (one.low + one.high) / 2 for one in missing},
                region=options.region,
                private_use=options.own_use,
                on=dt.date.today(),
                money=(home, union.rate),
            )
            break
        except RangeOnFileError as error:
            if error.figure in {one.figure for one in missing}:
                raise
            missing.append(error)  # what else is missing shows once it is told
    if missing:
        raise RuleError(_to_look_up(missing))
    converted = {
        name: found.converted
        for name, found in {"price": price, **sums}.items()
        if found.converted is not None
    }
    data: LandedAnswer = {
        "country": landed.country,
        "currency": landed.currency,
        "total": landed.total,
        "parts": landed.components,
        "converted": converted,
        "not_counted": [rule.id for rule in left_out],
        "to_look_up": {one.figure: one.text for one in landed.warnings},
    }
    return answer(options, lambda: landed_text(rules.name, landed, tuple(converted.values()), left_out), data)


def landed_text(
    name: str, landed: LandedCost, converted: Sequence[Converted] = (), left_out: Sequence[Additional] = ()
) -> str:
    """Say what it comes to, beside its price, how each part comes about, and what may come on top."""
    from forecast.views.commands.told import table
    from forecast.words.money import entered, percent, to_the_coin

    def money(value: Decimal) -> str:
        return entered(float(value), landed.currency)

    price = landed.amount("goods")
    more = f": {percent(float(landed.total / price - 1))} more than its price" if price else ""
    said = [f"{money(landed.total)} at your door ({name}){more}.", ""]
    rows = [
        [part.label, part.working, to_the_coin(float(part.amount), landed.currency) if part.paid else "",
         "" if part.paid else to_the_coin(float(part.amount), landed.currency)]
        for part in landed.components
    ]  # fmt: skip
    rows.append(["Together", "", to_the_coin(float(landed.total), landed.currency), ""])
    said.append(table(["Part", "How it comes about", landed.currency, "on the way"], rows, left=2))
    for one in converted:
        said += ["", f"{one['text']}."]
    for rule in left_out:
        said += ["", f"{rule.words} It is not counted; --also {rule.id} counts it."]
    if landed.warnings:
        said += ["", "Before you rely on it, look these up, or write your own, as --figure NAME=VALUE:"]
        said += [f"  {one.figure}: {one.text.removesuffix('.')}." for one in landed.warnings]
    said += [
        "",
        "What carriers, ports and agents charge counts as far as you gave it. Customs decide: this is no advice.",
    ]
    return "\n".join(said)


def _country(asked: str, written: str) -> str:
    """Read a country as people write it."""
    from forecast.errors import RuleError
    from forecast.start.questions import question
    from forecast.start.written_answers import OR_UNKNOWN, WrongAnswer, read_value

    try:
        return str(read_value(question(asked), written))
    except WrongAnswer as wrong:
        message = f"{wrong.found}. {wrong.mend.removesuffix(OR_UNKNOWN)}"
        raise RuleError(message) from None


def _in_money_of(home: str, text: str, option: str) -> _Sum:
    """Read a sum; one in another currency is converted at the reference rate, which is told."""
    from forecast.errors import RuleError
    from forecast.trade.exact import decimal, to_cents
    from forecast.words.currencies import minor_digits, reference
    from forecast.words.day_words import long_day
    from forecast.words.money import exact
    from forecast.words.numbers import currency_beside

    currency = currency_beside(text, home)
    minor = exact_sum(text, option, currency)
    value = Decimal(minor).scaleb(-minor_digits(currency))
    if currency == home:
        return _Sum(value, None)
    rate = reference(currency, home)
    if rate is None:
        message = f"{option}: no rate of {currency} is on file. Write the sum in {home}."
        raise RuleError(message)
    found = to_cents(value * decimal(rate.rate), minor_digits(home))
    words = (
        f"{exact(minor, currency)} is {exact(int(found.scaleb(minor_digits(home))), home)} at {rate.rate:g} {home} a "
        f"{currency} ({rate.source}, {long_day(rate.as_of)}); customs take their own rate of the day"
    )
    return _Sum(
        found,
        {"currency": currency, "rate": rate.rate, "as_of": rate.as_of, "source": rate.source, "text": words},
    )


def _to_look_up(missing: Sequence[RangeOnFileError]) -> str:
    """Say which options complete the sum where only ranges are on file, with an example that can be pasted."""
    told, examples = [], []
    for one in missing:
        scale, unit, sign = (100, " %", "%") if one.share else (1, "", "")
        low, high = (f"{scale * end:.6g}" for end in (one.low, one.high))
        told.append(f"{one.label}: only a range is on file, {low} to {high}{unit}, and one number is needed.")
        examples.append(f"--figure {one.figure}={scale * (one.low + one.high) / 2:.3g}{sign}")
    them = "it" if len(missing) == 1 else "them"
    return f"{' '.join(told)} Look {them} up and add {them} to the command, such as {' '.join(examples)}."


def _own_figure(written: str) -> tuple[str, float]:
    """Read a figure of law of the builder's own: ``vat=23%`` or ``gst=0.15``."""
    from forecast.errors import NumberError, RuleError
    from forecast.words.numbers import look_at, read_number

    name, equals, value = written.partition("=")
    if not equals or not name.strip() or not value.strip():
        message = f"--figure: found {written!r}. Write a name and a value, such as vat=23% or vat=0.23."
        raise RuleError(message)
    try:
        number = float(read_number(value.strip().removesuffix("%").strip()))
    except NumberError as error:
        message = f"--figure {name}: {error}"
        raise RuleError(message) from None
    return name.strip(), number / 100 if look_at(value).percent else number
