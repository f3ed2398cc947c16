"""``forecast advise``, ``compare`` and ``afford``: what it means and what to do."""

from __future__ import annotations

import argparse
from collections.abc import Mapping, Sequence
from functools import partial
from typing import TYPE_CHECKING

from forecast.errors import NumberError
from forecast.views.commands.common import (
    Answered,
    about_the_whole,
    add_file,
    add_known,
    add_simulation,
    answer,
    answer_in_words,
    by_title,
    command,
    done,
    finished_words,
    forecast_of,
    known_by_now,
    needed_money,
    some_count,
    some_money,
    whole,
    working,
)
from forecast.words.numbers import read_number

if TYPE_CHECKING:
    from forecast.buildfile.schema import Build
    from forecast.decide.contingency import Contingency
    from forecast.decide.mix import Mix, Mixes
    from forecast.decide.scenarios import Comparison, Pair
    from forecast.engine.forecast import Forecast
    from forecast.views.answers.of_advice import AdviseAnswer, AffordAnswer, CompareAnswer


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the commands."""
    detail = "How much to hold, where that comes from, what moves the total, and what could go."
    advise = command(commands, "advise", "how much to hold and why, and what could go", run_advise, detail)
    add_file(advise)
    add_simulation(advise)
    add_known(advise)
    advise.add_argument("--level", type=level, metavar="P", help="share of builds to be enough for, as P80")
    advise.add_argument("--short", metavar="SUM", help="what being 1,000 short would cost you")
    advise.add_argument("--idle", metavar="SUM", help="what 1,000 lying idle would cost you")
    compare = command(
        commands, "compare", "do it yourself, or farm it out: scenarios side by side", run_compare
    )
    add_file(compare)
    add_known(compare)
    compare.add_argument("scenarios", nargs="*", metavar="SCENARIO", help="which ones; all when left out")
    compare.add_argument(
        "--trials", type=whole, default=16_384, metavar="N", help="how many builds to simulate (16384)"
    )
    compare.add_argument("--seed", type=whole, default=1, help="the same seed gives the same figures (1)")
    afford = command(commands, "afford", "the highest price at which your money is enough", run_afford)
    add_file(afford)
    add_simulation(afford)
    add_known(afford)
    afford.add_argument("--money", required=True, metavar="SUM", help="what you have")
    afford.add_argument(
        "--figure", metavar="ID", help="the price in question: kit.amount, or what the line is called"
    )
    afford.add_argument(
        "--level", type=level, default=0.8, metavar="P", help="share of builds to be enough in (P80)"
    )
    mixed = command(commands, "mix", "the best mix of doing and farming out, package by package", run_mix)
    add_file(mixed)
    add_known(mixed)
    mixed.add_argument("--money", metavar="SUM", help="P80 must stay within it")
    mixed.add_argument("--hours", metavar="H", help="own hours at P80 must stay within it")
    mixed.add_argument("--weeks", metavar="W", help="weeks at P80 must stay within it")
    mixed.add_argument(
        "--trials", type=whole, default=16_384, metavar="N", help="how many builds to simulate (16384)"
    )
    mixed.add_argument("--seed", type=whole, default=1, help="the same seed gives the same figures (1)")


def level(text: str) -> float:
    """Read a level such as 0.8, 80 or P80."""
    try:
        value = float(read_number(text.strip().lstrip("Pp"), percent=True))
    except NumberError:
        value = 0.0
    value = value / 100 if value > 1 else value
    if not 0 < value < 1:
        message = f"{text!r} is no level: write it as 0.8, 80 or P80"
        raise argparse.ArgumentTypeError(message)
    return value


def _money(currency: str) -> partial[str]:
    from forecast.words.money import about

    return partial(about, currency=currency)


def _entered(currency: str) -> partial[str]:
    from forecast.words.money import entered

    return partial(entered, currency=currency)


def run_advise(options: argparse.Namespace) -> Answered[AdviseAnswer]:
    """Advise before ordering."""
    from forecast.buildfile.oneself import own_hazards, own_hazards_sentence
    from forecast.decide.again import replay_of
    from forecast.decide.contingency import contingency
    from forecast.decide.drivers import drivers
    from forecast.decide.firm_up import firm_up
    from forecast.decide.measures import measures_of
    from forecast.decide.trim import trims
    from forecast.errors import SimulationError
    from forecast.ledger.folder import BuildFolder
    from forecast.views.contingency_words import contingency_sentence, level_sentence, published_sentence
    from forecast.views.cost_words import (
        drivers_sentence,
        firm_up_sentence,
        measure_sentence,
        measures_sentence,
        stays_sentence,
        trim_sentence,
        trims_sentence,
    )
    from forecast.views.sentences import narrow_line, with_receipts

    folder = BuildFolder.at(options.file)
    build = folder.read()
    if not isinstance(options.trials, int):
        message = "--trials: advice splits every line's trials; write a number here."
        raise SimulationError(message)
    known, baseline = known_by_now(folder, options)
    if not options.json and (over := finished_words(build, options.scenario, known, baseline)):
        return answer_in_words(over)
    forecast = forecast_of(build, options, known, baseline)
    if not forecast.plan.money_rows:
        message = "the build has no lines yet: add some, with 'forecast add' or in the file, then ask again."
        raise SimulationError(message)
    names = {cause.id: cause.name or cause.id for cause in build.cause}
    short, idle = (
        some_money(text, option, forecast.currency)
        for text, option in ((options.short, "--short"), (options.idle, "--idle"))
    )
    advice = contingency(forecast, options.level, short=short, idle=idle, names=names)
    found = drivers(forecast, names=names)
    replay = replay_of(forecast)
    optional = trims(replay, build)
    firm = [item for item in firm_up(replay, build, advice.level) if item.certain]
    taken = None
    if build.measure:
        taken = measures_of(build, forecast.plan.scenario, options.trials, options.seed, known=known)
    money = _money(forecast.currency)
    text = [*with_receipts(build, known, forecast), contingency_sentence(advice, money, known)]
    narrow = narrow_line(forecast, known, advice.level)
    text += [narrow.text] if narrow is not None else []
    if advice.advice is not None:
        text.append(level_sentence(advice.advice, money))
    if told := own_hazards_sentence(own_hazards(build, forecast.plan.scenario)):
        text.append(told)
    text += ["", _split_table(advice), ""]
    if firm:
        text += [
            "What to firm up first, in the order of what each line moves the total by itself:",
            *(f"  {firm_up_sentence(item, money)}" for item in firm[:5]),
            "",
        ]
    if taken is not None:
        text += [
            measures_sentence(taken, money),
            *(f"  {measure_sentence(item, money)}" for item in taken.alone),
            "",
        ]
    text += [drivers_sentence(found, money), trims_sentence(optional, money)]
    text += [f"  {trim_sentence(item, money)}" for item in optional.proposed[1:5]]
    text += [f"  {stays_sentence(item)}" for item in optional.kept]
    text += ["", "For comparison only:", *(f"  {published_sentence(item, money)}" for item in advice.beside)]
    if build.build.notice:
        text += ["", build.build.notice]
    data: AdviseAnswer = {
        "contingency": advice,
        "drivers": found,
        "optional": optional,
        "firm_up": firm,
        "if_ranges_are_narrow": None if narrow is None else {"level": advice.level, "hold": narrow.hold},
        "own_hazards": own_hazards(build, forecast.plan.scenario),
        "measures": None if taken is None else taken.alone,
    }
    return answer(options, "\n".join(text), data)


def _split_table(advice: Contingency) -> str:
    from forecast.views.commands.told import table, wrapped
    from forecast.views.contingency_words import split_rows

    rows = [[wrapped(title, 44), amount] for title, amount in split_rows(advice)]
    return table(["Where the contingency comes from", advice.currency], rows)


def run_compare(options: argparse.Namespace) -> Answered[CompareAnswer]:
    """Compare scenarios."""
    from forecast.buildfile.oneself import own_hazards
    from forecast.decide.made import ways_left
    from forecast.decide.scenarios import compare
    from forecast.ledger.folder import BuildFolder
    from forecast.views.sentences import left_prices, with_receipts
    from forecast.views.ways import made_sentences, taught_sentences
    from forecast.watching.reforecast import scenario_in_force

    folder = BuildFolder.at(options.file)
    build = folder.read()
    known, baseline = known_by_now(folder, options)
    if not options.json and (over := finished_words(build, None, known, baseline, before="compare")):
        return answer_in_words(over)
    made = [] if options.scenarios else made_sentences(build, known)
    if made and len(ways_left(build, known)) < 2:
        nothing: CompareAnswer = {
            "currency": build.build.currency,
            "scenarios": [],
            "pairs": [],
            "own_hazards": {},
        }
        return answer(options, " ".join(made), nothing)
    working("Simulating each scenario")
    try:
        found = compare(build, options.scenarios or None, options.trials, options.seed, known)
    finally:
        done()
    data: CompareAnswer = {
        "currency": found.currency,
        "scenarios": found.scenarios,
        "pairs": found.pairs,
        "own_hazards": {item.id: own_hazards(build, item.id) for item in found.scenarios},
    }
    told = [
        *with_receipts(build, known),
        *made,
        *left_prices(build, known, [item.id for item in found.scenarios]),
        *taught_sentences(build, known, [item.id for item in found.scenarios]),
    ]
    plan = scenario_in_force(build, None, baseline)
    return answer(options, "\n".join([*told, compare_text(build, found, plan)]), data)


def compare_text(build: Build, found: Comparison, plan: str | None) -> str:
    """Write scenarios side by side, the builder's plan marked, then each pair in a sentence."""
    from forecast.buildfile.oneself import own_hazards, own_hazards_sentence
    from forecast.views.commands.told import table
    from forecast.views.ways import ON_AVERAGE, comparison_sentence, steps_of, way_in_table, what_ways_hold
    from forecast.words.money import about, hours, percent

    money = _money(found.currency)
    rows = [
        [
            way_in_table(item, plan),
            *(
                about(value.value, found.currency, value.error)
                for value in (item.p10, item.p50, item.p80, item.p90, item.mean)
            ),
            f"{hours(item.hours[1].value)}",
            *([f"{item.weeks[1].value:.0f}"] if item.weeks is not None else []),
            percent(item.chance_cheapest.value),
        ]
        for item in found.scenarios
    ]
    text = [comparison_sentence(found, money)]
    best = found.cheapest_in_the_middle
    if told := own_hazards_sentence(own_hazards(build, best.id), best.name):
        text.append(told)
    text.append("")
    weeks = ["Weeks"] if found.scenarios[0].weeks is not None else []
    headings = ["Scenario", "P10", "P50", "P80", "P90", "Average", "Own hours", *weeks, "Cheapest in"]
    timed = "Own hours and weeks: in the middle (P50)" if weeks else "Own hours: in the middle (P50)"
    text += [table(headings, rows), f"{timed}. {ON_AVERAGE}"]
    if held := what_ways_hold(build, [item.id for item in found.scenarios]):
        text += ["", *held]
    for pair in sorted(found.pairs, key=lambda pair: steps_of(found, pair) is not None):  # steps come first
        text += ["", *pair_sentences(pair, found)]
    if build.build.notice:
        text += ["", build.build.notice]
    return "\n".join(text)


def pair_sentences(pair: Pair, found: Comparison) -> list[str]:
    """Say how two scenarios stand against each other, and what own hours earn between them."""
    from forecast.views.ways import (
        dominance_sentence,
        pair_sentence,
        pay_sentence,
        steps_of,
        steps_sentence,
        turning_sentence,
    )
    from forecast.words.money import hourly

    said = [pair_sentence(pair, _money(found.currency)), dominance_sentence(pair.dominance)]
    if pair.pay is None:
        return said
    rate, steps = partial(hourly, currency=found.currency), steps_of(found, pair)
    pays = pay_sentence(pair.pay, rate) if steps is None else steps_sentence(pair.pay, steps, rate)
    return [*said, pays, turning_sentence(pair.pay, rate)]


def run_afford(options: argparse.Namespace) -> Answered[AffordAnswer]:
    """Say how far the money reaches."""
    from forecast.decide.afford import afford, budget_chance, prices_to_ask_for
    from forecast.ledger.folder import BuildFolder
    from forecast.views.cost_words import budget_chance_sentence, walk_away_sentence
    from forecast.views.sentences import with_receipts

    folder = BuildFolder.at(options.file)
    build = folder.read()
    at_hand = needed_money(
        options.money, "--money", build.build.currency, about_the_whole(build, options.scenario)
    )
    known, baseline = known_by_now(folder, options)
    if not options.json and (over := finished_words(build, options.scenario, known, baseline)):
        return answer_in_words(over)
    forecast = forecast_of(build, options, known, baseline)
    money = _money(forecast.currency)
    chance = budget_chance(forecast, at_hand)
    text = [
        *with_receipts(build, known, forecast),
        budget_chance_sentence(chance, money, _entered(forecast.currency)),
    ]
    data: AffordAnswer = {"currency": forecast.currency, "budget": chance}
    prices = prices_to_ask_for(build, forecast, known)
    if options.figure:
        trials = options.trials if isinstance(options.trials, int) else 16_384
        found = afford(
            build, at_hand, _figure_meant(options.figure, build, forecast, prices), forecast.plan.scenario,
            level=options.level, trials=trials, seed=options.seed, known=known,
        )  # fmt: skip
        text.append(walk_away_sentence(found, money, _entered(forecast.currency)))
        data["walk_away"] = found
    else:
        text += [
            "For the highest price at which it is enough, add one of these:",
            *_figures_to_name(build, prices),
        ]
    return answer(options, "\n".join(text), data)


_NAMED = 6
"""So many prices are named to ask about, those of the largest lines."""


def _figures_to_name(build: Build, prices: Sequence[str]) -> list[str]:
    """Name the prices that can be asked about, each with what has to be typed."""
    from forecast.decide.figure_words import figure_words, titles_in_figures

    titles, shown = titles_in_figures(build), prices[:_NAMED]
    wide = max((len(name) for name in shown), default=0)
    return [f"  --figure {name:<{wide}}  {figure_words(name, titles)}" for name in shown]


def _figure_meant(written: str, build: Build, forecast: Forecast, prices: Sequence[str]) -> str:
    """Give the figure that is meant by its own name, or by what it or its line is called.

    Raises
    ------
    SimulationError
        Where none is called so; it names those that can be asked about.
    """
    from forecast.buildfile.checks import nearest
    from forecast.buildfile.choosing import figure_name, figure_names
    from forecast.decide.figure_words import figure_words, titles_in_figures
    from forecast.errors import SimulationError

    name, legal = figure_name(build, written), figure_names(build)
    if name in legal or name in {item.id for item in forecast.plan.inputs}:
        return name
    of_line = [price for price in prices if written in (price.partition(".")[0], price.rpartition(".")[0])]
    if len(of_line) == 1:
        return of_line[0]
    titles = titles_in_figures(build)
    found = by_title(written, {price: figure_words(price, titles) for price in prices})
    if found is None:
        message = f"--figure: no price in this scenario is called {written!r}. "
        near = nearest(written, legal)
        if near.startswith("Did you mean"):
            raise SimulationError(message + near)
        raise SimulationError(
            "\n".join([f"{message}Ask about one of these:", *_figures_to_name(build, prices)])
        )
    return found


def farmed_out(item: Mix, titles: Mapping[str, str]) -> str:
    """Name the packages of a mix that are not done by oneself, and its options."""
    away = ", ".join(item.farmed_out) or "nothing"
    return "; ".join([away, *(titles.get(option, option) for option in item.options.values())])


def beaten_in(found: Mixes) -> str:
    """Name what mixes are held against each other in."""
    return "P80, own hours and weeks" if found.soonest is not None else "both P80 and own hours"


def unbeaten_words(found: Mixes) -> str:
    """Say how many mixes no other beats, and which of them are listed."""
    some, shown = found.some_of_frontier(), found.listed()
    verb = "is" if len(found.frontier) == 1 else "are"
    text = f"{len(found.frontier)} of {len(found.mixes):,} mixes {verb} not beaten in {beaten_in(found)}"
    told = [f"{len(some)} of them, evenly spread"] if len(some) < len(found.frontier) else []
    told += ["your way beside them"] if len(shown) > len(some) else []
    return "; ".join([text, *([", and ".join(told)] if told else [])])


def run_mix(options: argparse.Namespace) -> Answered[Mixes]:
    """Find the best mix of routes."""
    from forecast.decide.mix import mix
    from forecast.ledger.folder import BuildFolder
    from forecast.views.commands.told import table, wrapped
    from forecast.views.mix_words import (
        agreed_sentences,
        hazards_sentence,
        mix_mark,
        mixes_sentence,
        reason_sentence,
    )
    from forecast.views.sentences import prices_left_by_mix, with_receipts
    from forecast.watching.reforecast import scenario_in_force
    from forecast.words.money import estimated, hourly, hours

    folder = BuildFolder.at(options.file)
    build = folder.read()
    known, baseline = known_by_now(folder, options)
    if not options.json and (over := finished_words(build, None, known, baseline)):
        return answer_in_words(over)
    money = some_money(options.money, "--money", build.build.currency, about_the_whole(build))
    most = some_count(options.hours, "--hours", "hours", "h")
    longest = some_count(options.weeks, "--weeks", "weeks", "w")
    working("Trying every mix")
    try:
        found = mix(
            build, money=money, hours=most, weeks=longest, scenario=scenario_in_force(build, None, baseline),
            trials=options.trials, seed=options.seed, known=known,
        )  # fmt: skip
    finally:
        done()
    currency = build.build.currency
    shown = found.listed()
    rows = [
        [
            wrapped(farmed_out(item, found.titles), 60),
            estimated(found.p50_of(item), currency),
            estimated(found.p80_of(item), currency),
            hours(item.hours_p80),
            *([f"{item.weeks:.0f}"] if item.weeks is not None else []),
            mix_mark(found, item),
        ]
        for item in shown
    ]
    text = [
        *with_receipts(build, known),
        mixes_sentence(found, _money(currency), _entered(currency)),
        *agreed_sentences(found, prices_left_by_mix(build, known, found.leaves), _money(currency)),
        *([told] if (told := hazards_sentence(found, _money(currency))) else []),
        "",
        f"{unbeaten_words(found)}:",
    ]
    weeks = ["Weeks (P80)"] if found.soonest is not None else []
    text.append(table(["Farmed out", "P50", "P80", "Own hours (P80)", *weeks, ""], rows))
    rate = partial(hourly, currency=currency)
    text += ["", *(reason_sentence(reason, _money(currency), rate) for reason in found.reasons)]
    if build.build.notice:
        text += ["", build.build.notice]
    return answer(options, "\n".join(text), found)
