"""``forecast budget``: what must be in the bank before ordering."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from forecast.views.commands.common import (
    Answered,
    about_the_whole,
    add_file,
    add_known,
    add_simulation,
    answer,
    answer_in_words,
    command,
    finished_words,
    forecast_of,
    known_by_now,
    some_money,
)
from forecast.views.commands.told import LEVELS, four_percentiles

if TYPE_CHECKING:
    from forecast.buildfile.schema import Build
    from forecast.engine.forecast import Forecast
    from forecast.views.answers.of_budget import BudgetAnswer
    from forecast.watching.standing import Standing

_MOST_LINES = 10


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    parser = command(commands, "budget", "what to hold before ordering", run)
    add_file(parser)
    add_simulation(parser)
    add_known(parser)
    parser.add_argument("--within", metavar="SUM", help="how often this sum is enough")
    parser.add_argument(
        "--all-lines", action="store_true", help="every line, not only the ten that matter most"
    )


def run(options: argparse.Namespace) -> Answered[BudgetAnswer]:
    """Run the command."""
    from forecast.ledger.folder import BuildFolder
    from forecast.watching.reforecast import budget_in_force

    folder = BuildFolder.at(options.file)
    build = folder.read()
    within = some_money(
        options.within, "--within", build.build.currency, about_the_whole(build, options.scenario)
    )
    known, baseline = known_by_now(folder, options)
    if (
        not options.json
        and within is None
        and (over := finished_words(build, options.scenario, known, baseline))
    ):
        return answer_in_words(over)
    forecast = forecast_of(build, options, known, baseline)
    amount = within
    if amount is None:
        amount = budget_in_force(build, baseline)
    return answer(
        options,
        lambda: budget_text(build, forecast, amount, known, every_line=options.all_lines),
        lambda: budget_data(build, forecast, amount, known),
    )


def budget_data(
    build: Build, forecast: Forecast, amount: float | None, known: Standing | None = None
) -> BudgetAnswer:
    """Give the figures for programs."""
    from forecast.buildfile.oneself import own_hazards
    from forecast.engine.statistics import Estimate
    from forecast.views.sentences import narrow_line

    plan, base = forecast.plan, forecast.base_estimate
    estimates, weeks = forecast.percentile_set(LEVELS), forecast.weeks(LEVELS)
    narrow = narrow_line(forecast, known)
    data: BudgetAnswer = {
        "build": build.name,
        "notice": build.build.notice,
        "scenario": plan.scenario,
        "currency": plan.currency,
        "trials": forecast.trials.count,
        "seed": forecast.trials.seed,
        "fingerprint": plan.fingerprint,
        "base_estimate": base,
        "chance_base_is_enough": forecast.chance_within(base),
        "mean": forecast.mean,
        "percentiles": four_percentiles(estimates),
        "contingency": four_percentiles(Estimate(one.value - base, one.error) for one in estimates),
        "own_hours": four_percentiles(forecast.hours(LEVELS)),
        "weeks": None if weeks is None else four_percentiles(weeks),
        "lines": [
            {
                "id": line.id, "name": line.title, "group": line.group, "kind": line.kind, "base": line.base,
                "mean": line.mean, "P10": line.p10, "P50": line.p50, "P90": line.p90,
                "variance_share": line.variance_share,
            }
            for line in forecast.lines
        ],
        "remarks": list(forecast.remarks),
        "doubtful_rules": [str(warning) for item in forecast.plan.consignments for warning in item.warnings],
        "paid_for_none_of_these": forecast.outside,
        "own_hazards": own_hazards(build, plan.scenario),
        "if_ranges_are_narrow": None if narrow is None else {"level": 0.8, "hold": narrow.hold},
    }  # fmt: skip
    if amount is not None:
        data["within"] = {"amount": amount, "chance": forecast.chance_within(amount)}
    if forecast.stability is not None:
        data["stable"] = forecast.stability.stable
        data["tolerance"] = forecast.stability.tolerance
    return data


def budget_text(
    build: Build,
    forecast: Forecast,
    amount: float | None,
    known: Standing | None = None,
    *,
    every_line: bool = False,
) -> str:
    """Write the answer: the sentence, the percentiles, the lines."""
    from forecast.buildfile.choosing import scenario_title
    from forecast.buildfile.oneself import own_hazards, own_hazards_sentence
    from forecast.decide.again import replay_of
    from forecast.decide.drivers import own_swings
    from forecast.views.commands.told import table, wrapped
    from forecast.views.sentences import (
        MEANING,
        above_middles,
        budget_sentence,
        hold_sentence,
        narrow_line,
        slips_sentence,
        with_receipts,
        work_sentence,
    )
    from forecast.words.money import about, as_written, builds, percent

    money = forecast.currency
    parts = [*with_receipts(build, known, forecast), hold_sentence(forecast, known=known)]
    narrow = narrow_line(forecast, known)
    parts += [narrow.text] if narrow is not None else []
    if amount is not None:
        parts.append(budget_sentence(forecast, amount))
    if told := above_middles(forecast):
        parts.append(told)
    if told := own_hazards_sentence(own_hazards(build, forecast.plan.scenario)):
        parts.append(told)
    way = forecast.plan.scenario
    scenario = f", {scenario_title(build, way)}" if way is not None and len(build.scenario) > 1 else ""
    heading = f"{build.name}{scenario}"
    base = as_written(forecast.base_estimate, money)  # what is printed adds up
    rows = [
        [
            "Base estimate",
            about(forecast.base_estimate, money),
            "",
            "the sum of the middle figures, without what may or may not happen",
        ]
    ]
    for level, estimate in zip(LEVELS, forecast.percentile_set(LEVELS), strict=True):
        name, _, meaning = MEANING[level].partition(": ")
        rows.append(
            [
                name,
                about(estimate.value, money, estimate.error),
                about(as_written(estimate.value, money, estimate.error) - base, money),
                meaning,
            ]
        )
    figures = table(["", "Total", "Contingency", ""], rows, last_left=True)
    chances = {gate.id: gate.chance for gate in forecast.plan.gates}
    swings = own_swings(replay_of(forecast), None if every_line else 2 * _MOST_LINES)
    order = {name: place for place, name in enumerate(swings)}
    lines = sorted(forecast.lines, key=lambda line: order.get(line.id, len(order)))
    shown = lines if every_line else lines[:_MOST_LINES]
    line_rows = [
        [
            wrapped(line.title) + (f" (in {builds(chances[line.id])})" if line.id in chances else ""),
            *(about(value, money) if value is not None else "–" for value in (line.p10, line.p50, line.p90)),
            about(swings[line.id].value, money, swings[line.id].error) if line.id in swings else "–",
            percent(line.variance_share),
        ]
        for line in shown
    ]
    which = "Every line" if every_line or len(lines) <= _MOST_LINES else "The ten lines that matter most"
    parts += ["", heading, figures, "", f"{which}, by what each moves the total by itself:"]
    parts.append(table(["", "P10", "P50", "P90", "Moves it by", "Share"], line_rows))
    parts.append(
        "Moves it by: from its cheapest to its dearest tenth of builds, all else as it is. Share: of the uncertainty."
    )
    work = work_sentence(forecast)
    if work:
        parts += ["", work]
    if slips := slips_sentence(build, "'forecast check' asks"):
        parts += ["", slips]
    parts += ["", _footnote(build, forecast)]
    return "\n".join(parts)


def _footnote(build: Build, forecast: Forecast) -> str:
    from forecast.words.money import error_of

    error = forecast.percentile(0.8).error
    text = (
        f"{forecast.trials.count:,} simulated builds, seed {forecast.trials.seed}; simulation error of P80 "
        f"{error_of(error, forecast.currency)}."
    )
    if forecast.stability is not None:
        kept = "Stable" if forecast.stability.stable else "Not yet stable"
        text += f" {kept} within {error_of(forecast.stability.tolerance, forecast.currency)}."
    doubtful = sum(bool(figure.doubts) for item in forecast.plan.consignments for figure in item.figures)
    if doubtful:
        text += (
            f"\n{doubtful} customs, tax or arrival figures in it are old or not verified: 'forecast check' "
            "names them."
        )
    for remark in forecast.remarks:
        text += f"\n{remark}"
    if build.build.notice:
        text += f"\n{build.build.notice}"
    return text
