"""What the commands have in common: their options, and how an answer is printed."""

from __future__ import annotations

import argparse
import json
import os
import shlex
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeAlias

if TYPE_CHECKING:
    from forecast.build.schema import Build
    from forecast.engine.forecast import Forecast

Adder: TypeAlias = "Callable[[argparse._SubParsersAction[argparse.ArgumentParser]], None]"
Runner: TypeAlias = Callable[[argparse.Namespace], int]


def command(
    commands: argparse._SubParsersAction[argparse.ArgumentParser],
    name: str,
    summary: str,
    run: Runner,
    detail: str = "",
) -> argparse.ArgumentParser:
    """Add a command with --json and give its parser."""
    parser = commands.add_parser(
        name,
        help=summary,
        description=detail or summary,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.set_defaults(run=run)
    parser.add_argument("--json", action="store_true", help="the same figures for programs")
    return parser


def add_file(parser: argparse.ArgumentParser) -> None:
    """Add the build that a command is about."""
    parser.add_argument("file", metavar="FILE", help="the build file, or the folder that holds build.toml")


def add_simulation(parser: argparse.ArgumentParser) -> None:
    """Add scenario, trials and seed."""
    parser.add_argument(
        "--scenario", metavar="S", help="one of the build's scenarios; the first when left out"
    )
    parser.add_argument(
        "--trials", type=trials, default=16_384, metavar="N",
        help="how many builds to simulate (16384), or 'stable': go on until the figures no longer move",
    )  # fmt: skip
    parser.add_argument("--seed", type=int, default=1, help="the same seed gives the same figures (1)")


def trials(text: str) -> int | str:
    """Read the number of trials."""
    if text == "stable":
        return "until stable"
    count = text.replace("_", "").replace(",", "")
    if not count.isdigit() or int(count) < 16:
        message = f"{text!r} is no number of trials: write a whole number of at least 16, or 'stable'"
        raise argparse.ArgumentTypeError(message)
    return int(count)


def some_money(text: str) -> float:
    """Read a sum for the simulation: finite and not negative."""
    try:
        value = float(text.replace(",", "").replace("_", ""))
    except ValueError:
        value = float("nan")
    if not 0 <= value <= 1e12:
        message = f"{text!r} is no sum: write a plain number such as 9500"
        raise argparse.ArgumentTypeError(message)
    return value


def working(what: str) -> None:
    """Say what takes a while, where a person is watching."""
    if sys.stderr.isatty():
        print(f"{what} …", end="\r", file=sys.stderr, flush=True)


def done() -> None:
    """Wipe what `working` said."""
    if sys.stderr.isatty():
        print("\x1b[2K", end="\r", file=sys.stderr, flush=True)


def forecast_of(build: Build, options: argparse.Namespace) -> Forecast:
    """Simulate a build as the options ask."""
    from forecast.engine.forecast import simulate

    working("Simulating")
    try:
        return simulate(build, options.scenario, options.trials, options.seed)
    finally:
        done()


def typed(path: str | Path) -> str:
    """Write a path as it has to be typed in a terminal: in quotes where it has spaces or signs."""
    text = str(path)
    if os.name == "nt":
        return f'"{text}"' if set(text) & set(" &()^;,=") else text
    return shlex.quote(text)


def answer(options: argparse.Namespace, text: str, data: Mapping[str, Any]) -> int:
    """Print an answer: words for people, or the same figures for programs."""
    if options.json:
        print(json.dumps(data, ensure_ascii=False, indent=2, allow_nan=False, default=str))
    else:
        print(text)
    return 0
