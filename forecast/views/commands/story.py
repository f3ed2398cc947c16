"""``forecast moved``, ``history`` and ``earned``: how the forecast came to be where it is."""

from __future__ import annotations

import argparse
from dataclasses import asdict
from fractions import Fraction
from typing import TYPE_CHECKING

from forecast.errors import LedgerError
from forecast.views.commands.common import add_file, answer, command, done, working
from forecast.views.commands.receipts import day

if TYPE_CHECKING:
    from forecast.spending.moved import Moved

PART_WORDS = {
    "receipts": "Receipts above or below their estimates",
    "currency": "Rates of exchange",
    "learning": "What they say about what is still open",
    "events": "Risk events that happened or cannot any more",
    "scope dropped": "Lines given up",
    "estimates": "Ranges changed in the build file",
    "scope added": "Things that were not in the estimate",
}
"""Each part of a move in words."""


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the commands."""
    moved = command(
        commands, "moved", "what moved the forecast between two days, split without a rest", run_moved
    )
    add_file(moved)
    moved.add_argument(
        "--since", type=day, metavar="DATE", help="from when; since the budget was frozen when left out"
    )
    moved.add_argument(
        "--until", type=day, metavar="DATE", help="to when; all that was entered when left out"
    )
    past = command(
        commands, "history", "the forecast as of each day on which something was entered", run_history
    )
    add_file(past)
    earned = command(
        commands, "earned", "earned-value figures, and why they differ from the simulation", run_earned
    )
    add_file(earned)
    earned.add_argument("--as-of", type=day, metavar="DATE", help="as the ledger stood on a day")
    for parser in (moved, past, earned):
        parser.add_argument("--scenario", metavar="S", help="one of the build's scenarios")


def run_moved(options: argparse.Namespace) -> int:
    """Say what moved."""
    from forecast.spending.folder import BuildFolder
    from forecast.spending.moved import what_moved

    if options.since and options.until and options.since > options.until:
        message = f"--since {options.since} is after --until {options.until}. Swap them."
        raise LedgerError(message)
    folder = BuildFolder.at(options.file)
    working("Forecasting step by step")
    try:
        moved = what_moved(folder.read(), folder.ledger(), options.since, options.until, options.scenario)
    finally:
        done()
    return answer(options, moved_text(moved), asdict(moved))


def moved_text(moved: Moved) -> str:
    """Write a move part by part; the parts add up to the minor unit."""
    from forecast.views.money import about, rounding_step, signed
    from forecast.views.tables import shorten, table

    money = moved.currency
    scale = 10 ** _digits(money)
    change = moved.end - moved.start
    until = f" until {moved.until}" if moved.until else ""
    text = [f"P80 moved by {signed(change.p80 / scale, money, moved.error)} since {moved.since}{until}."]
    largest = max(moved.parts, key=lambda part: abs(part.change.p80), default=None)
    if largest is not None and largest.change.p80:
        names = ", ".join(title for _, title in largest.because[:3])
        text[0] += f" Most of it: {PART_WORDS[largest.kind].lower()}{f' ({names})' if names else ''}."
    step = rounding_step(money, moved.error) * scale
    mean, eight = moved.start.mean, moved.start.p80

    def level(minor: int) -> float:
        return float(round(minor / step) * step / scale)

    rows = [["At the start", about(level(mean), money), about(level(eight), money), ""]]
    for part in moved.parts:
        names = shorten(", ".join(title for _, title in part.because), 60)
        # Each change is that of two rounded levels, so that the column adds up as it is written.
        by_mean = level(mean + part.change.mean) - level(mean)
        by_eight = level(eight + part.change.p80) - level(eight)
        rows.append([PART_WORDS[part.kind], signed(by_mean, money), signed(by_eight, money), names])
        mean, eight = mean + part.change.mean, eight + part.change.p80
    rows.append(["At the end", about(level(mean), money), about(level(eight), money), ""])
    return "\n".join([*text, "", table(["", "Mean", "P80", "Because of"], rows, last_left=True)])


def _digits(currency: str) -> int:
    from forecast.spending.money import exponent

    return exponent(currency)


def run_history(options: argparse.Namespace) -> int:
    """Show the forecast day by day."""
    from forecast.engine.trials import LEAST_EFFECTIVE
    from forecast.spending.folder import BuildFolder
    from forecast.spending.history import history
    from forecast.views.money import about, builds
    from forecast.views.tables import table

    folder = BuildFolder.at(options.file)
    working("Forecasting day by day")
    try:
        found = history(folder.read(), folder.ledger(), options.scenario)
    finally:
        done()
    if not found.points:
        return answer(
            options, "Nothing was entered yet: the history begins with the first receipt.", asdict(found)
        )
    money = found.currency
    first, last = found.points[0], found.points[-1]
    days = len(found.points) - 1
    text = (
        f"P80 went from {about(first.p80, money, first.error)} to {about(last.p80, money, last.error)} over {days} "
        f"{'day' if days == 1 else 'days'} with something new."
    )
    rows = [
        [
            str(point.date),
            about(point.paid, money),
            *(about(value, money, point.error) for value in (point.p10, point.p50, point.p80, point.p90)),
            ("–" if point.chance_of_overrun is None else builds(point.chance_of_overrun))
            + (" (rough: few trials agree)" if point.effective < LEAST_EFFECTIVE else ""),
        ]
        for point in found.points
    ]
    headings = ["Day", "Paid", "P10", "P50", "P80", "P90", "Overruns in"]
    return answer(options, f"{text}\n\n{table(headings, rows, last_left=True)}", asdict(found))


def run_earned(options: argparse.Namespace) -> int:
    """Show earned value beside the simulation."""
    from forecast.spending.earned import NOT_THE_SAME, earned_value
    from forecast.spending.folder import BuildFolder
    from forecast.views.money import exact
    from forecast.views.tables import table

    folder = BuildFolder.at(options.file)
    earned = earned_value(folder.read(), folder.ledger(), options.scenario, options.as_of)
    value, money = earned.value, earned.currency
    scale = 10 ** _digits(money)

    def written(amount: Fraction | None) -> str:
        return "–" if amount is None else exact(round(amount * scale), money)

    def ratio(amount: Fraction | None) -> str:
        return "–" if amount is None else f"{float(amount):.3f}"

    rows = [
        ["BAC", written(value.bac), "budget at completion: what the lines were to cost"],
        ["EV", written(value.ev), "earned value: what the work done was to cost"],
        ["AC", written(value.ac), "actual cost of it"],
        ["CPI", ratio(value.cpi), "cost performance index: EV ÷ AC"],
        ["EAC", written(value.eac), "estimate at completion: BAC ÷ CPI"],
        ["VAC", written(value.vac), "variance at completion: BAC − EAC"],
        ["TCPI", ratio(value.tcpi()), "to-complete index: (BAC − EV) ÷ (BAC − AC)"],
    ]
    plan = "the frozen plan" if earned.from_baseline else "the build file's middle figures"
    sentence = f"Against {plan}, work worth {written(value.ev)} cost {written(value.ac)}."
    text = "\n".join(
        [sentence, "", table(["Term", money, "Meaning"], rows, last_left=True), "", *NOT_THE_SAME]
    )
    figures = ("bac", "ev", "ac", "cv", "cpi", "eac", "etc", "vac")
    data = {name: None if getattr(value, name) is None else str(getattr(value, name)) for name in figures}
    tcpi = value.tcpi()
    return answer(options, text, data | {"tcpi": None if tcpi is None else str(tcpi), "currency": money})
