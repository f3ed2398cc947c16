"""``forecast quotes``: kits or shops as options, each with its price, its risks and its terms."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from functools import partial
from typing import TYPE_CHECKING

from forecast.views.commands.common import (
    Answered,
    add_file,
    add_known,
    answer,
    answer_in_words,
    by_title,
    command,
    done,
    exact_sum,
    finished_words,
    known_by_now,
    typed,
    whole,
    working,
)
from forecast.views.commands.naming import day, with_ids

if TYPE_CHECKING:
    from forecast.buildfile.schema import Build, Option
    from forecast.decide.choices import ComparedQuotes, Elsewhere, Settled
    from forecast.ledger.folder import BuildFolder
    from forecast.ledger.records import AgreementKind
    from forecast.views.answers.of_advice import AgreedPrice, QuotesAnswer, TakenAnswer

EXAMPLE = """\
[[option]]
id = "kit_nearby"
choice = "kit"                # options of one choice stand against each other
name = "Kit from a maker nearby"
override = { kit = { amount = { low = 2900, middle = 3100, high = 3400 } } }

[[option]]
id = "kit_abroad"
choice = "kit"
name = "Kit from abroad"
[[option.event]]              # a risk that only this one brings
id = "no_show"
name = "The seller never delivers"
chance = 0.05
cost = 2500
"""
"""How options are written in the build file."""


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    detail = "Compares the options of a choice, such as kits or shops, each with its own price and risks.\n\n"
    detail += (
        "The one you take is kept as a price agreed: quotes FILE kit --take kit_nearby. So is one of several "
    )
    detail += "sums that stand for a line: quotes FILE paint_shop --take 5400 --supplier NAME.\n\n"
    detail += "Options stand in the build file, such as:\n\n" + EXAMPLE.replace("%", "%%")
    parser = command(commands, "quotes", "which quote to take: kits or shops as options", run, detail)
    add_file(parser)
    add_known(parser)
    parser.add_argument(
        "choices",
        nargs="*",
        metavar="CHOICE",
        help="such as kit, or a line with several quotes, by id or name; all when left out",
    )
    parser.add_argument(
        "--take", metavar="QUOTE", help="the one you take, its name or sum: kept as a price agreed"
    )
    parser.add_argument(
        "--supplier", help="with --take: whose it is; the option's or line's own when left out"
    )
    parser.add_argument("--date", type=day, help="with --take: when it was agreed (today)")
    parser.add_argument("--estimate", action="store_true", help="with --take: the price may still grow")
    parser.add_argument(
        "--scenario", metavar="S", help="one of the build's scenarios; your plan when left out"
    )
    parser.add_argument(
        "--trials", type=whole, default=16_384, metavar="N", help="how many builds to simulate (16384)"
    )
    parser.add_argument("--seed", type=whole, default=1, help="the same seed gives the same figures (1)")


def run(options: argparse.Namespace) -> Answered[QuotesAnswer | TakenAnswer]:
    """Run the command."""
    from forecast.buildfile.choosing import options_by_choice
    from forecast.decide.choices import ComparedQuotes, quotes_or_why
    from forecast.errors import SimulationError
    from forecast.ledger.folder import BuildFolder
    from forecast.views.quote_words import quotes_decided, quotes_to_decide
    from forecast.views.sentences import with_receipts
    from forecast.watching.reforecast import scenario_in_force

    folder = BuildFolder.at(options.file)
    build = folder.read()
    options.choices = [_choice_meant(name, build) for name in options.choices]
    if options.take is not None:
        return _take(options, folder, build)
    known, baseline = known_by_now(folder, options)
    if not options.json and (over := finished_words(build, options.scenario, known, baseline)):
        return answer_in_words(over)
    scenario = scenario_in_force(build, options.scenario, baseline)
    listed = [
        item
        for item in (
            *quotes_to_decide(build, known.begun if known else (), typed(options.file)),
            *quotes_decided(build, known),
        )
        if not options.choices or item["item"] in options.choices
    ]
    every = options.choices or list(options_by_choice(build))
    of_one_figure = {item["item"] for item in listed} - set(options_by_choice(build))
    choices = [choice for choice in every if choice not in of_one_figure]
    if not choices and not listed:
        message = (
            "the build has no quotes to compare. Enter two or more on the page The lines, under Add lines or quotes "
            "('forecast app'), or as several sums of one line in the build file: amount = { quotes = [2100, 2450] }. "
            "For kits or shops that differ in more than their price, write options into the file, such as:"
            f"\n\n{EXAMPLE}"
        )
        raise SimulationError(message)
    working("Simulating each quote")
    try:
        found = [
            quotes_or_why(build, choice, scenario, options.trials, options.seed, known)
            for choice in dict.fromkeys(choices)
        ]
    finally:
        done()
    currency = build.build.currency
    compared = [item for item in found if isinstance(item, ComparedQuotes)]
    told = with_receipts(build, known) if compared else []
    told += [
        quotes_text(item, currency) if isinstance(item, ComparedQuotes) else why_not_text(item, currency)
        for item in found
    ]
    told += [item["text"] for item in listed]
    text = "\n\n".join(told)
    if build.build.notice:
        text += f"\n\n{build.build.notice}"
    data: QuotesAnswer = {
        "currency": currency,
        "choices": [
            {
                "choice": item.choice, "best": item.best.id, "quotes": item.quotes, "estimate": item.estimate,
                "pairs": item.comparison.pairs,
            }
            for item in compared
        ],
        "not_compared": [
            {"choice": item.choice, "why": item.why, "text": why_not(item, currency)}
            for item in found if not isinstance(item, ComparedQuotes)
        ],
        "of_one_figure": listed,
    }  # fmt: skip
    return answer(options, text, data)


def _choices(build: Build) -> dict[str, str]:
    """Give what everything with quotes is called, by what a command may name: choices, and lines with several sums."""
    from forecast.buildfile.choosing import options_by_choice
    from forecast.buildfile.sheet import open_quotes
    from forecast.decide.figure_words import titles_in_figures

    titles = titles_in_figures(build)
    named = [*options_by_choice(build), *(place.item for place in open_quotes(build))]
    return {name: titles.get(name, name) for name in named}


def _choice_meant(written: str, build: Build) -> str:
    """Give what quotes are asked about, by its id or by what it is called.

    Raises
    ------
    SimulationError
        Where there are no quotes for anything of that name; it says for what there are some.
    """
    from forecast.buildfile.checks import nearest
    from forecast.errors import SimulationError

    titles = _choices(build)
    if written in titles or not titles:  # without any it is said how they are written
        return written
    found = by_title(written, titles)
    if found is None:
        near = nearest(written, titles)
        there = (
            near
            if near.startswith("Did you mean")
            else f"There are some for {with_ids(list(titles), titles)}."
        )
        message = f"there are no quotes for {written!r} in the build. {there}"
        raise SimulationError(message)
    return found


def _take(options: argparse.Namespace, folder: BuildFolder, build: Build) -> Answered[TakenAnswer]:
    """Keep the quote that is taken as a price agreed."""
    import datetime as dt

    from forecast.buildfile.choosing import offered, options_by_choice
    from forecast.decide.choices import settled
    from forecast.decide.taking import asked_by_option, asked_by_price, quotes_to_take, take
    from forecast.errors import LedgerError
    from forecast.ledger.days import not_ahead
    from forecast.views.settling_words import taken_words
    from forecast.watching.settling import titles_of
    from forecast.watching.standing import Record
    from forecast.words.minor_units import to_float

    ledger = folder.ledger()
    standing = Record.read(ledger).standing()
    choices = options_by_choice(build)
    places = {place.item: place for place in quotes_to_take(build, standing.begun)}
    if len(options.choices) != 1 or options.choices[0] not in {*choices, *places}:
        legal = [choice for choice in choices if settled(build, choice, standing) is None]
        legal += [name for name in places if name not in legal]
        message = f"quotes: --take needs what the quote is for: {with_ids(legal, _choices(build))}."
        if not legal:
            message = "quotes: no quotes are left to take."
        raise LedgerError(message)
    more: tuple[str, ...] = ()
    name, supplier = options.choices[0], options.supplier
    if name in choices:
        if (done := settled(build, name, standing)) is not None:
            raise LedgerError(why_not(done, build.build.currency))
        option = _option(offered(choices[name]), options.take)
        asked = asked_by_option(build, option, options.scenario)
        supplier = supplier or option.title
        more = tuple(item.title for item in (*option.line, *option.event))
    else:
        place = places[name]
        price = exact_sum(
            options.take, "--take", place.figure.currency or build.build.currency,
            lambda: place.figure.model_dump()["quotes"],
        )  # fmt: skip
        asked = asked_by_price(
            build, place.path, to_float(price, place.figure.currency or build.build.currency)
        )
        supplier = supplier or next((line.supplier for line in build.line if line.id == name), None)
    if not supplier:
        message = "quotes: say whose quote it is with --supplier."
        raise LedgerError(message)
    today = dt.date.today()
    date = not_ahead(options.date or today, today, "commitment")
    kind: AgreementKind | None = "estimate" if options.estimate else None
    done_ = take(ledger, build, date, supplier, asked, kind=kind)
    text = taken_words(done_, titles_of(build, ledger=ledger), build.build.currency, more)
    taken: list[AgreedPrice] = [{"id": one.commitment.id, "line": one.commitment.line_id} for one in done_]
    return answer(options, text, {"taken": taken})


def _option(options: Sequence[Option], name: str) -> Option:
    """Give the option of an id or name."""
    from forecast.errors import LedgerError

    for option in options:
        if name.casefold() in (option.id.casefold(), option.title.casefold()):
            return option
    titles = {option.id: option.title for option in options}
    message = f"there is no quote {name!r}. There are {with_ids(list(titles), titles)}."
    raise LedgerError(message)


def why_not(found: Settled | Elsewhere, currency: str) -> str:
    """Say why the quotes of a choice are not compared."""
    from forecast.views.quote_words import not_compared_sentence
    from forecast.words.money import entered

    return not_compared_sentence(found, partial(entered, currency=currency))


def why_not_text(found: Settled | Elsewhere, currency: str) -> str:
    """Say why the quotes of a choice are not compared, and what to ask where another way has them."""
    told = why_not(found, currency)
    return f"{told} Ask with --scenario {found.found_in[0]}." if found.found_in else told


def quotes_text(found: ComparedQuotes, currency: str) -> str:
    """Write the options of one choice side by side, then each in a sentence."""
    from forecast.views.commands.told import table, wrapped
    from forecast.views.quote_words import (
        estimate_sentence,
        once_taken_sentence,
        quote_sentence,
        quotes_sentence,
    )
    from forecast.words.money import about

    money = partial(about, currency=currency)
    rows = [[wrapped(row[0]), *row[1:]] for row in quote_rows(found, currency)]
    beside = [estimate_sentence(found, money), once_taken_sentence(found, money)]
    first = " ".join(filter(None, [quotes_sentence(found, money), *beside]))
    said = [first, "", table(quote_headings(found), rows)]
    return "\n".join([*said, "", *(quote_sentence(item, money) for item in found.quotes)])


def quote_headings(found: ComparedQuotes) -> list[str]:
    """Give the headings of `quote_rows`."""
    weeks = [] if found.quotes[0].summary.weeks is None else ["Weeks (P80)"]
    once = ["P80 once taken"] if any(quote.taken is not None for quote in found.quotes) else []
    return ["Quote", "Middle figures", "P50", "P80", "P90", *once, *weeks, "Cheapest in"]


def quote_rows(found: ComparedQuotes, currency: str) -> list[list[str]]:
    """Give a row for each quote: what the whole build costs with it; last by the builder's own estimate."""
    from forecast.words.money import about, percent

    nothing = "\u2013"
    once = any(quote.taken is not None for quote in found.quotes)
    return [
        [
            item.title,
            about(item.plain, currency),
            *(
                about(value.value, currency, value.error)
                for value in (item.summary.p50, item.summary.p80, item.summary.p90)
            ),
            *([nothing if item.taken is None else about(item.taken.value, currency, item.taken.error)] if once else []),
            *([] if item.summary.weeks is None else [f"{item.summary.weeks[2].value:.0f}"]),
            nothing
            if item is found.estimate or len(found.quotes) == 1
            else percent(item.summary.chance_cheapest.value),
        ]
        for item in (*found.quotes, *([] if found.estimate is None else [found.estimate]))
    ]  # fmt: skip
