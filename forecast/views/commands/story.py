"""``forecast moved``, ``history`` and ``earned``: how the forecast came to be where it is."""

from __future__ import annotations

import argparse
import datetime as dt
import sys
from typing import TYPE_CHECKING

from forecast.errors import LedgerError
from forecast.views.commands.common import Answered, add_file, answer, command, done, to_read, working
from forecast.views.commands.naming import day
from forecast.views.commands.told import figure
from forecast.words.currencies import minor_digits
from forecast.words.day_words import short_day

if TYPE_CHECKING:
    from fractions import Fraction

    from forecast.views.answers.of_story import (
        EarnedAnswer,
        HistoryAnswer,
        HistoryDay,
        MovedAnswer,
        MovedFigures,
    )
    from forecast.watching.history import History, HistoryPoint
    from forecast.watching.moved import Figures, Moved
    from forecast.watching.reforecast import Reforecast


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the commands."""
    moved = command(
        commands, "moved", "what moved the forecast between two days, split without a rest", run_moved
    )
    add_file(moved)
    moved.add_argument(
        "--since",
        type=day,
        metavar="DATE",
        help="from the end of this day; when left out, from before the first receipt (or an earlier freeze)",
    )
    moved.add_argument(
        "--until", type=day, metavar="DATE", help="to when; all that was entered when left out"
    )
    past = command(
        commands, "history", "the forecast as of each day on which something was entered", run_history
    )
    add_file(past)
    past.add_argument(
        "--by",
        choices=("day", "receipt"),
        default="day",
        help="a row for each day (as is), or for each receipt",
    )
    past.add_argument(
        "--all",
        action="store_true",
        help="every day, however long it takes (a large build shows those that matter)",
    )
    earned = command(
        commands, "earned", "earned-value figures, and why they differ from the simulation", run_earned
    )
    add_file(earned)
    earned.add_argument("--as-of", type=day, metavar="DATE", help="as the ledger stood on a day")
    for parser in (moved, past, earned):
        parser.add_argument("--scenario", metavar="S", help="one of the build's scenarios")


def run_moved(options: argparse.Namespace) -> Answered[MovedAnswer]:
    """Say what moved."""
    from forecast.ledger.folder import BuildFolder
    from forecast.watching.moved import what_moved
    from forecast.watching.reforecast import reforecast

    if options.since and options.until and options.since > options.until:
        message = f"--since {options.since} is after --until {options.until}. Swap them."
        raise LedgerError(message)
    folder = BuildFolder.at(options.file)
    build, ledger = folder.read(), to_read(folder)
    working("Forecasting step by step")
    try:
        moved = what_moved(build, ledger, options.since, options.until, options.scenario)
        watch = None if options.json else reforecast(build, ledger, options.scenario, as_of=options.until)
    finally:
        done()
    return answer(options, "" if watch is None else moved_text(moved, watch), moved_data(moved))


def moved_text(moved: Moved, watch: Reforecast) -> str:
    """Write a move part by part; the parts add up as they are written."""
    from forecast.views.commands.told import table, wrapped
    from forecast.views.moves import frozen_late_sentence, moved_sentence, written
    from forecast.watching.standing import day_before
    from forecast.words.money import about, signed

    money, found = moved.currency, written(moved)
    rows = [
        [
            "At the start",
            about(found.start_half, money),
            about(found.start_p80, money),
            "",
        ]
    ]
    rows += [
        [step.words, signed(step.half, money), signed(step.p80, money), wrapped(step.because, 60)]
        for step in found.steps
    ]
    rows.append(
        [
            "At the end",
            about(found.end_half, money),
            about(found.end_p80, money),
            "",
        ]
    )
    figures = table(["", "P50", "P80", "Because of"], rows, last_left=True)
    told = [moved_sentence(moved)]
    if moved.frozen_late is not None:
        told.append(f"{frozen_late_sentence(moved)} Ask with --since {day_before(moved.frozen_late)}.")
    return "\n\n".join([*told, figures])


def moved_data(moved: Moved) -> MovedAnswer:
    """Give the figures for programs: sums in the main unit, of which the parts add up to the whole."""
    unit = 10.0 ** minor_digits(moved.currency)

    def figures(found: Figures, p50: float | None = None, p80: float | None = None) -> MovedFigures:
        return {
            "mean": found.mean / unit,
            "P50": figure(found.p50 / unit, p50),
            "P80": figure(found.p80 / unit, p80),
            "P90": found.p90 / unit,
        }

    return {
        "since": moved.since,
        "until": moved.until,
        "currency": moved.currency,
        "start": figures(moved.start, *moved.start_errors),
        "end": figures(moved.end, moved.half_error, moved.error),
        "parts": [
            {
                "kind": part.kind,
                "change": figures(part.change),
                "because": part.because,
                "pushes": part.pushes,
            }
            for part in moved.parts
        ],
        "frozen_late": moved.frozen_late,
    }


def history_data(found: History) -> HistoryAnswer:
    """Give the figures for programs."""
    return {
        "currency": found.currency,
        "scenario": found.scenario,
        "trials": found.trials,
        "seed": found.seed,
        "points": [_day(point) for point in found.points],
        "entered": found.entered,
        "left_out": found.left_out,
        "since": found.since,
        "ranges_changed": found.ranges_changed,
        "days": found.days,
    }


def _day(point: HistoryPoint) -> HistoryDay:
    p10, p50, p80, p90 = map(figure, (point.p10, point.p50, point.p80, point.p90), point.errors)
    return {
        "date": point.date,
        "P10": p10,
        "P50": p50,
        "P80": p80,
        "P90": p90,
        "mean": point.mean,
        "paid": point.paid,
        "committed": point.committed,
        "budget": point.budget,
        "chance_of_overrun": point.chance_of_overrun,
        "contingency_left": point.contingency_left,
        "contingency_needed": point.contingency_needed,
        "contingency_needed_p90": point.contingency_needed_p90,
        "effective": point.effective,
        "receipt": point.receipt,
        "supplier": point.supplier,
        "P25": figure(point.half[0]),
        "P75": figure(point.half[1]),
        "P2.5": figure(point.nearly_all[0]),
        "P97.5": figure(point.nearly_all[1]),
    }


def run_history(options: argparse.Namespace) -> Answered[HistoryAnswer]:
    """Show the forecast day by day."""
    from forecast.engine.trials import LEAST_EFFECTIVE
    from forecast.ledger.folder import BuildFolder
    from forecast.views.commands.told import table, wrapped
    from forecast.views.watch_words import budgets_sentence, days_shown
    from forecast.watching.history import history
    from forecast.watching.reforecast import budget_in_force
    from forecast.words.day_words import long_day
    from forecast.words.money import builds, entered, estimated

    folder = BuildFolder.at(options.file)
    build, ledger = folder.read(), to_read(folder)
    what = "Forecasting day by day"
    working(what)
    try:
        found = history(
            build, ledger, options.scenario, by=options.by, most=sys.maxsize if options.all else None,
            progress=lambda done_, of: working(f"{what}: {done_} of {of}"),
        )  # fmt: skip
    finally:
        done()
    if not found.points:
        return answer(
            options,
            "Nothing was entered yet: the history begins with the first receipt.",
            history_data(found),
        )
    money = found.currency
    first, last = found.start, found.points[-1]
    by_receipt = options.by == "receipt"
    then, day = first.date + dt.timedelta(days=1), found.points[min(1, len(found.points) - 1)].date
    began = f"{'you began' if then == day else 'the budget was frozen'} on {long_day(then)}"
    one, many = ("entry", "entries") if by_receipt else ("day with something new", "days with something new")
    text = (
        f"P80 went from {estimated(first.levels['P80'], money)} to {estimated(last.levels['P80'], money)} since "
        f"{began}; {found.entered} {one if found.entered == 1 else many} in all."
    )
    if found.left_out:
        text += f"\n{days_shown(found, by_receipt=by_receipt)} All of them: 'forecast history --all'."
    if found.ranges_changed:
        text += (
            "\nEvery row is forecast with the ranges of the build file as it is now; it was changed since the budget "
            "was frozen, and 'forecast moved' tells what that did."
        )
    if budgets := budgets_sentence(found, budget_in_force(build, ledger.baseline())):
        text += f"\n{budgets}"
    rows = [
        [
            short_day(point.date),
            *([wrapped(point.supplier, 28)] if by_receipt else []),
            entered(point.paid, money),
            *(estimated(level, money) for level in point.levels.values()),
            ("–" if point.chance_of_overrun is None else builds(point.chance_of_overrun))
            + (" (rough: few trials agree)" if point.effective < LEAST_EFFECTIVE else ""),
        ]
        for point in found.points
    ]
    headings = [
        "Day",
        *(["Receipt of"] if by_receipt else []),
        "Paid",
        "P10",
        "P50",
        "P80",
        "P90",
        "Overruns in",
    ]
    figures = table(headings, rows, left=2 if by_receipt else 1, last_left=True)
    return answer(options, f"{text}\n\n{figures}", history_data(found))


def run_earned(options: argparse.Namespace) -> Answered[EarnedAnswer]:
    """Show earned value beside the simulation."""
    from forecast.ledger.folder import BuildFolder
    from forecast.views.commands.told import table
    from forecast.views.watch_words import earned_rows, earned_sentence
    from forecast.watching.earned import NOT_THE_SAME, earned_value

    folder = BuildFolder.at(options.file)
    earned = earned_value(folder.read(), to_read(folder), options.scenario, options.as_of)
    value = earned.value
    figures = table(["Term", earned.currency, "Meaning"], earned_rows(earned), last_left=True)
    text = "\n".join([earned_sentence(earned), "", figures, "", *NOT_THE_SAME])
    data: EarnedAnswer = {
        "bac": float(value.bac),
        "ev": float(value.ev),
        "ac": float(value.ac),
        "cv": float(value.cv),
        "cpi": _number(value.cpi),
        "eac": _number(value.eac),
        "etc": _number(value.etc),
        "vac": _number(value.vac),
        "tcpi": _number(value.tcpi()),
        "currency": earned.currency,
    }
    return answer(options, text, data)


def _number(value: Fraction | None) -> float | None:
    return None if value is None else float(value)
