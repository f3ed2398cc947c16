"""``forecast quotes``: kits or shops as options, each with its price, its risks and its terms."""

from __future__ import annotations

import argparse
from functools import partial
from typing import TYPE_CHECKING

from forecast.views.commands.common import (
    add_file,
    add_known,
    answer,
    command,
    done,
    finished_words,
    known_by_now,
    whole,
    working,
)

if TYPE_CHECKING:
    from forecast.decide.choices import Elsewhere, Settled
    from forecast.decide.quotes import Quotes

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
    detail += "Options stand in the build file, such as:\n\n" + EXAMPLE.replace("%", "%%")
    parser = command(commands, "quotes", "which quote to take: kits or shops as options", run, detail)
    add_file(parser)
    add_known(parser)
    parser.add_argument("choices", nargs="*", metavar="CHOICE", help="such as kit; all when left out")
    parser.add_argument(
        "--scenario", metavar="S", help="one of the build's scenarios; the first when left out"
    )
    parser.add_argument(
        "--trials", type=whole, default=16_384, metavar="N", help="how many builds to simulate (16384)"
    )
    parser.add_argument("--seed", type=whole, default=1, help="the same seed gives the same figures (1)")


def run(options: argparse.Namespace) -> int:
    """Run the command."""
    from forecast.build.options import options_by_choice
    from forecast.decide.quotes import Quotes, quotes_or_why
    from forecast.errors import SimulationError
    from forecast.spending.folder import BuildFolder
    from forecast.spending.reforecast import scenario_in_force
    from forecast.views.sentences import with_receipts

    folder = BuildFolder.at(options.file)
    build = folder.read()
    known, baseline = known_by_now(folder, options)
    if not options.json and (over := finished_words(build, options.scenario, known, baseline)):
        return answer(options, over, {})
    scenario = scenario_in_force(build, options.scenario, baseline)
    choices = options.choices or list(options_by_choice(build))
    if not choices:
        message = f"the build has no options to compare. Write two or more into the build file, such as:\n\n{EXAMPLE}"
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
    compared = [item for item in found if isinstance(item, Quotes)]
    told = with_receipts(build, known) if compared else []
    told += [
        quotes_text(item, currency) if isinstance(item, Quotes) else why_not_text(item, currency)
        for item in found
    ]
    text = "\n\n".join(told)
    if build.build.notice:
        text += f"\n\n{build.build.notice}"
    data = {
        "currency": currency,
        "choices": [
            {
                "choice": item.choice, "best": item.best.id, "quotes": item.quotes,
                "pairs": item.comparison.pairs,
            }
            for item in compared
        ],
        "not_compared": [
            {"choice": item.choice, "why": item.why, "text": why_not(item, currency)}
            for item in found if not isinstance(item, Quotes)
        ],
    }  # fmt: skip
    return answer(options, text, data)


def why_not(found: Settled | Elsewhere, currency: str) -> str:
    """Say why the quotes of a choice are not compared."""
    from forecast.views.money import entered

    return found.sentence(partial(entered, currency=currency))


def why_not_text(found: Settled | Elsewhere, currency: str) -> str:
    """Say why the quotes of a choice are not compared, and what to ask where another way has them."""
    told = why_not(found, currency)
    return f"{told} Ask with --scenario {found.found_in[0]}." if found.found_in else told


def quotes_text(found: Quotes, currency: str) -> str:
    """Write the options of one choice side by side, then each in a sentence."""
    from forecast.views.money import about
    from forecast.views.tables import shorten, table

    money = partial(about, currency=currency)
    rows = [[shorten(row[0]), *row[1:]] for row in quote_rows(found, currency)]
    said = [found.sentence(money), "", table(quote_headings(found), rows)]
    return "\n".join([*said, "", *(item.sentence(money) for item in found.quotes)])


def quote_headings(found: Quotes) -> list[str]:
    """Give the headings of `quote_rows`."""
    weeks = [] if found.quotes[0].summary.weeks is None else ["Weeks (P80)"]
    return ["Quote", "Middle figures", "P50", "P80", "P90", *weeks, "Cheapest in"]


def quote_rows(found: Quotes, currency: str) -> list[list[str]]:
    """Give a row for each option: what the whole build costs with it."""
    from forecast.views.money import about, percent

    return [
        [
            item.title,
            about(item.plain, currency),
            *(
                about(value.value, currency, value.error)
                for value in (item.summary.p50, item.summary.p80, item.summary.p90)
            ),
            *([] if item.summary.weeks is None else [f"{item.summary.weeks[2].value:.0f}"]),
            percent(item.summary.chance_cheapest.value),
        ]
        for item in found.quotes
    ]
