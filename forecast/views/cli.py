"""The command line. Nothing heavy is imported before a command needs it, so that help is there at once.

Even its own modules are imported inside `main`, where Ctrl-C is told in words already.
"""

from __future__ import annotations

import errno
import os
import re
import sys
from contextlib import contextmanager, suppress

# As `typing` has it, whose import would be the longest part of the start, in which Ctrl-C is not told in words yet.
TYPE_CHECKING = False

if TYPE_CHECKING:
    import argparse
    from collections.abc import Iterator, Sequence
    from types import FrameType
    from typing import Any, NoReturn

EPILOG = """\
A build is a folder with a file build.toml, written by hand or by 'forecast new'. Inside it FILE may be left out.
Every answer can be had for programs with --json. Figures are estimates and never advice on tax, customs or safety."""

FIRST = """\
What your car's body conversion may cost, and where it ends as receipts come in.

Look at a demo build first:
  forecast app                 in the browser

Then make your own:
  forecast new my-build        answer some twenty questions
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

_WRITING = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO, errno.EBADF})
"""What a full or vanished device answers."""

UNKNOWN = "not known here"
"""How a refusal begins that is told with the usage of its command: the usage lists what is legal there."""

_STOPPED = "stopped; nothing was left half-written."


_PARSER: list[argparse.ArgumentParser] = []
"""The parser of all commands once it is built: nothing in it changes while a program runs."""


def build_parser() -> argparse.ArgumentParser:
    """Give the parser of all commands."""
    if not _PARSER:
        _PARSER.append(_new_parser())
    return _PARSER[0]


def _new_parser() -> argparse.ArgumentParser:
    import argparse

    from forecast import __version__
    from forecast.views.commands import COMMANDS
    from forecast.words.text import plain

    class Parser(argparse.ArgumentParser):
        """Says what it was given as text, whatever stands in it; so do those of the commands."""

        def _print_message(self, message: str, file: Any = None) -> None:
            super()._print_message(plain(message), file)

        def error(self, message: str) -> NoReturn:
            """Say in a sentence what is missing or was not understood; the usage only for what is not known here."""
            if message.startswith(UNKNOWN):
                super().error(message)
            message = _meant(message)
            told, missing = message.removeprefix("argument "), "the following arguments are required: "
            if told.startswith(missing):
                names = told.removeprefix(missing)
                told = f"{names} {'are' if ', ' in names else 'is'} missing"
            told = told if told.endswith("?") else f"{told.rstrip('.')}."
            self.exit(2, f"{self.prog}: {told} '{self.prog} --help' explains it.\n")

    parser = Parser(
        prog="forecast",
        description="What your car's body conversion may cost, and where it ends as receipts come in.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"forecast {__version__}")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND")
    for add in COMMANDS:
        add(commands)  # type: ignore[arg-type]  # it makes parsers of this kind, which are parsers
    return parser


_NOT_LEGAL = re.compile(r"(?:argument )?(\S+): invalid choice: '?(.*?)'? \(choose from (.*)\)$", re.DOTALL)
_FEW_CHOICES = 12


def _meant(message: str) -> str:
    """Say of a word that is not among many legal ones which of them is nearest, instead of listing them all."""
    from forecast.buildfile.checks import nearest

    told = _NOT_LEGAL.match(message)
    legal = [] if told is None else re.findall(r"[^\s,']+", told[3])
    if told is None or len(legal) <= _FEW_CHOICES:
        return message
    near = nearest(told[2], legal)
    return f"there is no {told[1].lower()} '{told[2]}'. {near if near.startswith('Did you mean') else ''}".rstrip()


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command.

    Returns
    -------
    int
        0 when it went well, 1 when the answer is no (a check found mistakes), 2 when it could not be done, 3 when
        the program itself made a mistake, 130 when it was stopped.
    """
    with _stopped_in_words():
        return _main(arguments)


def _main(arguments: Sequence[str] | None) -> int:
    from forecast.errors import BuildNotThereError, ForecastError
    from forecast.views.answered import answer

    for stream in (sys.stdout, sys.stderr):
        with suppress(AttributeError, ValueError):
            stream.reconfigure(encoding="utf-8")  # type: ignore[union-attr]  # a pipe on Windows has its own code page
    if arguments is None:
        import gc

        # matrices are small here: a second thread of the linear algebra only waits
        os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
        # what loading makes stays: looking through it for what could go, again and again, is a tenth of the loading
        gc.set_threshold(100_000, 20, 100)
    try:
        try:
            # a program that calls this may have changed what no digest of files knows
            code = answer(sys.argv[1:], _run) if arguments is None else _run(arguments)
        finally:
            sys.stdout.flush()  # help too: what cannot be written is told here and not when Python ends
        return code
    except BuildNotThereError as error:
        return _say(f"{error} To begin one there: 'forecast new'.", 2)
    except ForecastError as error:
        return _say(str(error), 2)
    except KeyboardInterrupt:
        return _say(_STOPPED, 130)
    except BrokenPipeError:  # whoever read the answer has had enough of it
        _drop_output()
        return 0
    except OSError as error:
        return _not_written(error)
    except MemoryError:
        return _say(
            "this needs more memory than there is. Ask for fewer trials (--trials), or close other programs.",
            2,
        )
    except Exception as error:  # the one place where a mistake of the program ends in words
        return _own_mistake(error)


def _run(arguments: Sequence[str]) -> int:
    """Work a command out."""
    from forecast.views.commands.common import command_of, is_build, with_build
    from forecast.views.commands.completion import complete

    parser = build_parser()
    complete(parser)
    options, unknown = parser.parse_known_args(with_build(parser, arguments))
    if unknown:  # told with the usage of the command, which lists what is legal there
        command_of(parser, arguments)[0].error(f"{UNKNOWN}: {' '.join(unknown)}")
    if options.command is None:
        print(HERE if is_build(".") else FIRST)
        return 0
    from forecast.ledger.opened import kept_open

    with kept_open():
        return int(options.run(options))


@contextmanager
def _stopped_in_words() -> Iterator[None]:
    """Have Ctrl-C end in words wherever it comes, while modules are being imported too."""
    import signal

    try:
        before = signal.signal(signal.SIGINT, _interrupted)
    except ValueError:  # not in the main thread: whoever runs this has a way of stopping it
        yield
        return
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def _interrupted(number: int, frame: FrameType | None) -> None:
    """Stop at once inside an import, which may swallow or wrap what is raised; elsewhere let all be tidied up."""
    while frame is not None:
        if frame.f_code.co_filename.startswith("<frozen importlib"):
            os.write(2, f"forecast: {_STOPPED}\n".encode())
            os._exit(130)
        frame = frame.f_back
    raise KeyboardInterrupt


def _say(text: str, code: int) -> int:
    from forecast.words.text import plain

    with suppress(OSError):
        print(f"forecast: {plain(text)}", file=sys.stderr, flush=True)
    return code


def _drop_output() -> None:
    """Send what is still to be written nowhere, so that Python's own last flush does not complain."""
    with suppress(OSError, ValueError, AttributeError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _not_written(error: OSError) -> int:
    """Tell what could not be written or read from a mistake of the program."""
    reason = error.strerror or str(error)
    if error.filename is not None:
        return _say(f"{error.filename}: {reason}.", 2)
    if error.errno not in _WRITING:
        return _own_mistake(error)
    _drop_output()
    return _say(
        f"the answer could not be written: {reason}. What was to be entered is in: do not enter it twice.", 2
    )


def _own_mistake(error: Exception) -> int:
    from forecast.errors import unforeseen

    file = None
    with suppress(Exception):  # what is broken may be just what would write it down
        from forecast.ledger.folder import write_down

        file = write_down(error)
    return _say(unforeseen(error) + (f" The details stand in {file}." if file else ""), 3)


if __name__ == "__main__":
    sys.exit(main())
