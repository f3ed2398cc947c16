"""The command line. Nothing heavy is imported before a command needs it, so that help is there at once."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from contextlib import suppress

from forecast import __version__
from forecast.errors import ForecastError
from forecast.views.commands import COMMANDS
from forecast.views.commands.common import is_build, with_build
from forecast.views.commands.completion import complete

EPILOG = """\
A build is a folder with a file build.toml, written by hand or by 'forecast new'. Inside it FILE may be left out.
Every answer can be had for programs with --json. Figures are estimates and never advice on tax, customs or safety."""

FIRST = """\
What your car's body conversion may cost, and where it ends as receipts come in.

Look at a demo build first:
  forecast app                 in the browser

Then make your own:
  forecast new my-build        answer twenty questions
  forecast check my-build      what is wrong or missing
  forecast budget my-build     what to hold before ordering

'forecast --help' lists every command, 'forecast COMMAND --help' explains one."""
"""What to do first, where there is no build yet."""

HERE = """\
There is a build in this folder. What next?

  forecast check               what is wrong or missing
  forecast budget              what to hold before ordering
  forecast receipt add --line kit --amount 2950 --supplier "the maker"
  forecast watch               where it ends, with these receipts in
  forecast app                 all of it in the browser

'forecast --help' lists every command, 'forecast COMMAND --help' explains one."""
"""What to do first inside a build's folder."""


def build_parser() -> argparse.ArgumentParser:
    """Give the parser of all commands."""
    parser = argparse.ArgumentParser(
        prog="forecast",
        description="What your car's body conversion may cost, and where it ends as receipts come in.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"forecast {__version__}")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND")
    for add in COMMANDS:
        add(commands)
    return parser


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command.

    Returns
    -------
    int
        0 when it went well, 1 when the answer is no (a check found mistakes), 2 when it could not be done.
    """
    for stream in (sys.stdout, sys.stderr):
        with suppress(AttributeError, ValueError):
            stream.reconfigure(encoding="utf-8")  # type: ignore[union-attr]  # a pipe on Windows has its own code page
    parser = build_parser()
    complete(parser)
    options = parser.parse_args(with_build(parser, sys.argv[1:] if arguments is None else arguments))
    if options.command is None:
        print(HERE if is_build(".") else FIRST)
        return 0
    try:
        return int(options.run(options))
    except ForecastError as error:
        print(f"forecast: {error}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        print("forecast: stopped; nothing was left half-written.", file=sys.stderr)
        return 130
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0


if __name__ == "__main__":
    sys.exit(main())
