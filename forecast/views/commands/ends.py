"""``forecast watch``: where the build ends, with the receipts in."""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from typing import TYPE_CHECKING

from forecast.views.commands.common import (
    Answered,
    add_file,
    add_simulation,
    answer,
    command,
    done,
    to_read,
    typed,
    working,
)
from forecast.views.commands.naming import day
from forecast.views.commands.told import LEVELS, figure, four_percentiles

if TYPE_CHECKING:
    from forecast.buildfile.schema import Build
    from forecast.views.answers.figures import RangeOf
    from forecast.views.answers.of_budget import WatchAnswer
    from forecast.watching.reforecast import Reforecast


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    parser = command(commands, "watch", "where it ends with these receipts in, and whether it overruns", run)
    add_file(parser)
    add_simulation(parser)
    parser.add_argument("--as-of", type=day, metavar="DATE", help="as the ledger stood on a day")
    parser.add_argument(
        "--all-lines", action="store_true", help="every line, not only those touched or moved"
    )


def run(options: argparse.Namespace) -> Answered[WatchAnswer]:
    """Run the command."""
    from forecast.engine.forecast import DEFAULT_TRIALS
    from forecast.ledger.folder import BuildFolder
    from forecast.watching.reforecast import reforecast

    folder = BuildFolder.at(options.file)
    build = folder.read()
    trials = options.trials if isinstance(options.trials, int) else DEFAULT_TRIALS
    ledger = to_read(folder)
    working("Simulating with what is known")
    try:
        watch = reforecast(build, ledger, options.scenario, trials, options.seed, options.as_of)
    finally:
        done()
    scenario = f" --scenario {typed(options.scenario)}" if options.scenario else ""
    named = "" if options.file == "." else f" {typed(options.file)}"
    commands = Commands(
        f"forecast close{named} --looking-settled{scenario}",
        f"forecast cannot-happen{named}",
        f"forecast close{named}",
    )
    text = watch_text(build, watch, commands, every_line=options.all_lines)
    return answer(options, text, watch_data(build, watch))


def watch_data(build: Build, watch: Reforecast) -> WatchAnswer:
    """Give the figures for programs."""
    planned, left = watch.now.hours((0.5, 0.9)), watch.hours_left((0.5, 0.9))
    return {
        "build": build.name,
        "notice": build.build.notice,
        "scenario": watch.now.plan.scenario,
        "currency": watch.currency,
        "as_of": watch.as_of,
        "paid": watch.paid,
        "committed": watch.committed,
        "budget": watch.budget,
        "chance_of_overrun": watch.chance_of_overrun,
        "median_overrun": watch.median_overrun,
        "forecast_final_cost": four_percentiles(watch.percentile_set(LEVELS)),
        "before_receipts": four_percentiles(watch.at_first.percentile_set(LEVELS)),
        "cost_to_complete": four_percentiles(watch.cost_to_complete(q) for q in LEVELS),
        "contingency_left": watch.contingency_left,
        "further_100_buys": watch.bought_by(100.0),
        "contingency_needed": {"P80": watch.contingency_needed(0.8), "P90": watch.contingency_needed(0.9)},
        "trials": watch.now.trials.count,
        "seed": watch.now.trials.seed,
        "effective_trials": watch.now.trials.effective,
        "own_hours": {
            "planned": {"P50": planned[0], "P90": planned[1]},
            "left": {"P50": left[0], "P90": left[1]},
            "done": list(watch.hours_done),
        },
        "lines": [
            {
                "id": line.id, "name": line.title, "group": line.group, "kind": line.kind, "state": line.state,
                "base": line.base, "if_needed": line.if_needed,
                "paid": line.paid, "before": _range(line.before), "now": _range(line.now),
                "mean_before": line.mean_before, "mean_now": line.mean_now,
                "settled": None if line.settled is None else figure(line.settled),
                "more_to_come": line.more,
            }
            for line in watch.lines
        ],
        "looking_settled": list(watch.looking_settled),
        "share_of_closed": list(watch.share_of_closed),
        "over_by_now": list(watch.over_by_now),
        "share_of_unpaid": [
            {"id": one.id, "kind": one.kind, "unpaid": one.unpaid, "of": one.whole} for one in watch.unpaid_shares
        ],
        "reasons": [
            {"kind": one.kind, "id": one.id, "amount": one.amount, "because": list(one.because)}
            for one in watch.reasons
        ],
        "causes": [
            {"id": one.id, "mean": one.mean, "sd": one.sd, "effect": one.effect, "moves": list(one.moves)}
            for one in watch.causes
        ],
        "not_in_this_way": {
            "lines": [{"id": name, "name": title} for name, title in watch.not_in_this_way.items()],
            "paid": watch.outside,
        },
        "remarks": list(watch.remarks),
    }  # fmt: skip


def _range(values: tuple[float, float, float]) -> RangeOf:
    low, middle, high = values
    return {"P10": low, "P50": middle, "P90": high}


@dataclass(frozen=True)
class Commands:
    """How to say what is asked about: lines that look settled, what cannot come any more, and own work done."""

    settled: str
    impossible: str
    hours: str = "forecast close"


def watch_text(
    build: Build,
    watch: Reforecast,
    commands: Commands,
    *,
    every_line: bool = False,
) -> str:
    """Write the answer: the sentence, the figures, the lines, and the commands for what looks settled or past."""
    from forecast.views.commands.told import table, wrapped
    from forecast.views.ending_words import ending_sentences
    from forecast.views.sentences import (
        MEANING,
        MEANT,
        hours_left_sentence,
        lesson_sentences,
        unforeseen_sentence,
        watch_sentence,
        width_sentence,
    )
    from forecast.views.settling_words import (
        beside_sentence,
        extras_sentence,
        looking_settled_sentence,
        over_by_now_sentence,
        share_of_closed_sentence,
        state_words,
        unpaid_sentences,
    )
    from forecast.views.watch_words import (
        bought_sentence,
        contingency_sentence,
        line_figures,
        overrun_sentence,
        trials_sentence,
    )
    from forecast.words.money import about

    money = watch.currency
    text = [watch_sentence(watch), *filter(None, [" ".join(ending_sentences(watch))]), ""]
    rows = []
    before = watch.at_first.percentile_set(LEVELS)
    for level, old, new in zip(LEVELS, before, watch.percentile_set(LEVELS), strict=True):
        # Of a finished build the sums of before have a meaning: now it is one sum, which the sentence above says.
        name, _, meaning = (MEANT if watch.finished else MEANING)[level].partition(": ")
        sums = [
            about(new.value, money, new.error),
            about(watch.cost_to_complete(level).value, money, new.error),
        ]
        open_yet = [] if watch.finished else sums
        rows.append([name, about(old.value, money, old.error), *open_yet, meaning])
    headings = [] if watch.finished else ["Now", "Still to pay"]
    text.append(table(["", "Before receipts", *headings, ""], rows, last_left=True))
    shown = [
        line
        for line in watch.lines
        if every_line or line.state != "untouched" or abs(line.moved) >= 0.002 * abs(watch.mean.value)
    ]
    line_rows = []
    for line in shown:
        estimate, paid, now, spread, moved = line_figures(line, money)
        line_rows.append([wrapped(line.title), state_words(line), estimate, paid, now, spread, moved])
    if line_rows:
        headings = ["", "State", "Estimate", "Paid", "Forecast P50", "P10 to P90", "Off the estimate"]
        text += ["", table(headings, line_rows, left=2)]
    if extras := extras_sentence(watch):
        text += ["", extras]
    beside = beside_sentence(watch)
    text += ["", beside] if beside else []
    unpaid = unpaid_sentences(watch)
    text += ["", *unpaid] if unpaid else []
    settled = looking_settled_sentence(watch)
    asked = []
    if settled:
        asked.append(f"{settled} To close them: {commands.settled}")
    if shares := share_of_closed_sentence(watch):
        asked.append(f"{shares} If not: {commands.impossible} {' '.join(watch.share_of_closed)}")
    if over := over_by_now_sentence(watch):
        asked.append(f"{over} If so: {commands.impossible} {' '.join(watch.over_by_now)}")
    if watch.as_of is None:
        text += [part for sentence in asked for part in ("", sentence)]
    open_hours = [told for name, (_, told) in watch.now.plan.own_work.items() if name not in watch.hours_done]
    how = f"To say what is done, by its name, such as: {commands.hours} {open_hours[0]}" if open_hours else ""
    if work := hours_left_sentence(watch, how):
        text += ["", work.strip()]
    judged = (width_sentence(watch), unforeseen_sentence(watch), *lesson_sentences(watch))
    lessons = [sentence for sentence in judged if sentence]
    text += ["", *lessons] if lessons else []
    if watch.budget is not None:
        told = (contingency_sentence(watch), overrun_sentence(watch), bought_sentence(watch))
        text += ["", *filter(None, told)] if any(told) else []
    text += ["\n" + "\n".join(watch.remarks)] if watch.remarks else []
    text += ["", trials_sentence(watch)]
    if build.build.notice:
        text += ["", build.build.notice]
    return "\n".join(text)
