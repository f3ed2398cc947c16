"""What the commands have in common: their options, and how an answer is printed."""

from __future__ import annotations

import argparse
import json
import os
import re
import shlex
import sys
from collections import deque
from collections.abc import Callable, Collection, Mapping, Sequence
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Generic, NewType, TypeAlias, TypeVar

from forecast.errors import ForecastError, LedgerError, NumberError
from forecast.views.commands.told import told
from forecast.words.currencies import minor_digits
from forecast.words.numbers import currency_beside, meant_of, plainly, read_number
from forecast.words.text import plain

if TYPE_CHECKING:
    from typing import Never

    from forecast.buildfile.schema import Build
    from forecast.engine.forecast import Forecast
    from forecast.ledger import Baseline, Ledger
    from forecast.ledger.folder import BuildFolder
    from forecast.watching.standing import Standing

Adder: TypeAlias = "Callable[[argparse._SubParsersAction[argparse.ArgumentParser]], None]"
T = TypeVar("T")
D_co = TypeVar("D_co", covariant=True)
Runner: TypeAlias = Callable[[argparse.Namespace], int]

LEAST_TRIALS, MOST_TRIALS = 16, 500_000
"""How many builds a command simulates; with most of them the error of a percentile is under a thousandth."""

_SEVERAL = 5
"""So many of those that a word may mean are named."""

_UNSEEN = re.compile("[\x7f-\x9f\u202a-\u202e\u2066-\u2069\ud800-\udfff]")
"""What JSON may hold as it is and a terminal would act on, or cannot write."""


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
    """Add the build that a command is about; `with_build` fills it in inside a build's folder."""
    parser.add_argument(
        "file", metavar="FILE", nargs="?",
        help="the build file, or the folder that holds build.toml; may be left out inside that folder",
    )  # fmt: skip


def is_build(path: str | Path) -> bool:
    """Tell whether a path is a build file, or a folder that holds one."""
    path = Path(path)
    return (path / "build.toml").is_file() or (path.suffix == ".toml" and path.is_file())


def command_of(
    parser: argparse.ArgumentParser, arguments: Sequence[str]
) -> tuple[argparse.ArgumentParser, list[str], list[str]]:
    """Give the parser of the command that was typed, the words that name it, and those after them.

    Parameters
    ----------
    parser : argparse.ArgumentParser
        Of all commands.
    arguments : sequence of str
        As typed.
    """
    head: list[str] = []
    rest = list(arguments)
    while groups := [action for action in parser._actions if isinstance(action, argparse._SubParsersAction)]:
        if not rest or rest[0] not in groups[0].choices:
            break
        parser = groups[0].choices[rest[0]]
        head.append(rest.pop(0))
    return parser, head, rest


_FOR_SUMS = ("--budget", "--within", "--money", "--amount")
"""Options of which a command has one at most, for the sum that it is about."""


def with_build(parser: argparse.ArgumentParser, arguments: Sequence[str]) -> list[str]:
    """Give the arguments with the build put in where it was left out inside a build's folder.

    Options come first then, so that a word after an option is counted like one before it.

    Parameters
    ----------
    parser : argparse.ArgumentParser
        Of all commands.
    arguments : sequence of str
        As typed.

    Returns
    -------
    list of str
        Unchanged for a command that is about no build, and where they cannot be told apart: the parser says why.
    """
    parser, head, rest = command_of(parser, arguments)
    if any(isinstance(action, argparse._SubParsersAction) for action in parser._actions):
        return list(arguments)
    taken = parser._get_positional_actions()
    told = _told_apart(parser, rest)
    if not taken or taken[0].dest != "file" or told is None:
        return list(arguments)
    options, words = told
    needed = [action for action in taken[1:] if action.nargs in (None, "+")]
    least = len(needed)
    open_ended = any(action.nargs in ("*", "+") for action in taken[1:])
    named = bool(words) and is_build(words[0]) and len(words) > least
    if words and not os.path.exists(words[0]) and re.fullmatch(r"\d[\d.,\s]*k?", words[0]):
        for_sums = [name for name in _FOR_SUMS if name in parser._option_string_actions]
        if len(taken) == 1 and for_sums:
            parser.error(f"{words[0]} is no build. For a sum say {for_sums[0]} {words[0]}")
    if is_build(".") and not named and (open_ended or len(words) < len(taken)):
        words.insert(0, ".")
    elif len(words) <= least and not {"-h", "--help"} & set(options):
        if words and is_build(words[0]):
            missing = [str(action.metavar or action.dest) for action in needed[len(words) - 1 :]]
            parser.error(f"after the build say {' '.join(missing)} too")
        parser.error("FILE is missing: there is no build.toml here. Name the build's folder, or go into it")
    return [*head, *options, *words]


def _told_apart(parser: argparse.ArgumentParser, given: Sequence[str]) -> tuple[list[str], list[str]] | None:
    """Part options with their values from the other words; None where an option is unknown or cut short."""
    options: list[str] = []
    words: list[str] = []
    rest = deque(given)
    only_the_build = [action.dest for action in parser._get_positional_actions()] == ["file"]
    while rest:
        word = rest.popleft()
        if word == "--" or not re.match(r"-\D", word):  # -5 is a sum
            words += rest if word == "--" else [word]
            if word == "--":
                break
            continue
        options.append(word)
        name, equals, _ = word.partition("=")
        known = parser._option_string_actions
        actions = {id(known[key]): known[key] for key in known if key == name} or {
            id(known[key]): known[key] for key in known if key.startswith(name)
        }
        if len(actions) != 1:
            return None
        (action,) = actions.values()
        if action.nargs == "?" and not equals:
            # It may stand alone: the word that follows is its value only where it cannot be the build.
            follows = rest[0] if rest and not rest[0].startswith("-") else ""
            its_own = bool(follows) and only_the_build and not Path(follows).exists()
            options[-1] += f"={rest.popleft()}" if its_own else "="
        if action.nargs is None and not equals:
            if not rest:
                return None
            options.append(rest.popleft())
    return options, words


def add_simulation(parser: argparse.ArgumentParser) -> None:
    """Add scenario, trials and seed."""
    parser.add_argument(
        "--scenario", metavar="S", help="one of the build's scenarios; your plan when left out"
    )
    parser.add_argument(
        "--trials", type=trials, default=16_384, metavar="N",
        help="how many builds to simulate (16384), or 'stable': go on until the figures no longer move",
    )  # fmt: skip
    parser.add_argument("--seed", type=whole, default=1, help="the same seed gives the same figures (1)")


def whole(text: str) -> int:
    """Read a whole number, such as a receipt's or a row's."""
    try:
        return int(text)
    except ValueError:
        message = f"{text!r} is no whole number: write one such as 3"
        raise argparse.ArgumentTypeError(message) from None


def trials(text: str) -> int | str:
    """Read the number of trials."""
    if text == "stable":
        return "until stable"
    try:
        count = read_number(text, digits=0)
    except NumberError:
        count = Decimal(0)
    if not LEAST_TRIALS <= count <= MOST_TRIALS or count != int(count):
        message = (
            f"{text[:40]!r} is no number of trials: write a whole number from {LEAST_TRIALS} to {MOST_TRIALS:,}, or "
            "'stable'. More would tell you nothing more, and take the machine's memory"
        )
        raise argparse.ArgumentTypeError(message)
    return int(count)


def exact_sum(
    text: str, option: str, currency: str, expected: Callable[[], Collection[float]] | None = None
) -> int:
    """Read a sum of money to the minor unit; where it can mean two, ask in a terminal.

    Parameters
    ----------
    text : str
        As it was typed.
    option : str
        Behind which it stands, such as ``--amount``.
    currency : str
    expected : callable, optional
        Gives what it may be about, where that may decide between two readings; it is then said how it was read.

    Raises
    ------
    LedgerError
        Naming both readings, where nobody can be asked.
    """
    from forecast.words.minor_units import parse_money

    try:
        return parse_money(text, currency)
    except NumberError as error:
        meant = _as_expected(error, option, currency, expected)
        if meant is not None:
            return parse_money(plainly(meant), currency)
    return _settled(text, option, lambda written: parse_money(written, currency))


def some_money(
    text: str | None, option: str, currency: str, expected: Callable[[], Collection[float]] | None = None
) -> float | None:
    """Read a sum for the simulation, finite and not negative; None where the option was left out. See `exact_sum`."""
    return None if text is None else needed_money(text, option, currency, expected)


def needed_money(
    text: str, option: str, currency: str, expected: Callable[[], Collection[float]] | None = None
) -> float:
    """Read a sum for the simulation that has to be there; see `some_money`."""

    def read(written: str) -> float:
        return float(read_number(written, currency=currency, digits=minor_digits(currency)))

    try:
        return _not_negative(read(text), text, option)
    except NumberError as error:
        meant = _as_expected(error, option, currency, expected)
    return _not_negative(_settled(text, option, read) if meant is None else float(meant), text, option)


def about_the_whole(build: Build, scenario: str | None = None) -> Callable[[], Collection[float]]:
    """Give what says what a budget may be about, for `exact_sum` and `some_money`."""

    def expected() -> Collection[float]:
        from forecast.watching.estimates import sums_of_build

        return sums_of_build(build, scenario)

    return expected


def _as_expected(
    error: NumberError, option: str, currency: str, expected: Callable[[], Collection[float]] | None
) -> Decimal | None:
    """Give the one of two readings that is meant by what the sum may be about, and say so; None where untold."""
    from forecast.words.minor_units import parse_money
    from forecast.words.money import exact

    meant = None if expected is None or len(error.readings) < 2 else meant_of(error.readings, expected())
    if meant is not None:
        written = exact(parse_money(plainly(meant), currency), currency)
        print(f"{option}: {error.text!r} read as {written}.", file=sys.stderr)
    return meant


def some_count(text: str | None, option: str, *units: str) -> float | None:
    """Read a number of hours or weeks, finite and not negative; None where the option was left out."""
    if text is None:
        return None
    return _not_negative(
        _settled(text, option, lambda written: float(read_number(written, units=units))), text, option
    )


def by_title(name: str, titles: Mapping[str, str], first: Collection[str] = ()) -> str | None:
    """Give the id of the one that is called so, or whose title alone holds all that was written; None where none is.

    Large and small letters are alike. What is written may be the beginning of a word: ``wheel`` finds "Four wheels". A
    title that begins with the words written, two or more, goes before one that only holds them; a single word is too
    little to tell, and money would go to the wrong line unseen. Those named in `first` go before all others.

    Raises
    ------
    LedgerError
        Where several are called so, or hold it.
    """
    wanted = _words(name)
    called = {id_: _words(title) for id_, title in titles.items()}
    found = [id_ for id_, title in called.items() if title == wanted]
    if not found:  # "bodykit" is "Body kit"
        found = [id_ for id_, title in called.items() if "".join(title) == "".join(wanted)]
    found = _before_others(found, first)
    if len(found) > 1:
        message = f"{name!r}: {len(found)} are called so. Name one by its id: {', '.join(found)}."
        raise LedgerError(message)
    if found or not wanted:
        return found[0] if found else None
    found = [
        id_
        for id_, title in called.items()
        if all(any(has.startswith(word) for has in title) for word in wanted)
    ]
    found = _before_others(found, first)
    if len(found) > 1:
        found = [id_ for id_ in found if len(wanted) > 1 and _begins(called[id_], wanted)] or found
    if len(found) > 1:
        shown = "; ".join(f"{titles[id_]} ({id_})" for id_ in found[:_SEVERAL])
        more = f"; and {len(found) - _SEVERAL} more" if len(found) > _SEVERAL else ""
        message = f"{name!r} can mean {shown}{more}. Name one by the word in brackets."
        raise LedgerError(message)
    return found[0] if found else None


def _before_others(found: list[str], first: Collection[str]) -> list[str]:
    return [id_ for id_ in found if id_ in first] or found


def _begins(title: Sequence[str], wanted: Sequence[str]) -> bool:
    """Tell whether a title begins with the words that were written, the last of which may be cut short."""
    whole = len(wanted) - 1
    return list(title[:whole]) == list(wanted[:whole]) and title[whole].startswith(wanted[whole])


def _words(text: str) -> list[str]:
    return re.findall(r"\w+", text.casefold())


def currency_of(text: str, option: str | None, build: Build) -> str:
    """Give the currency of a sum: as the option says, else as it stands beside the sum, else the build's.

    A sign that several have, such as £, means the one that the build knows.
    """
    return option.upper() if option else currency_beside(text, build.build.currency, build.currency.keys())


def _not_negative(value: float, text: str, option: str) -> float:
    if not 0 <= value <= 1e12:
        message = f"{option}: {text!r} is no sum. Write a plain number such as 9500."
        raise LedgerError(message)
    return value


def _settled(text: str, option: str, read: Callable[[str], T]) -> T:
    """Read a number; where it can mean two, ask which is meant if somebody sits there."""
    try:
        return read(text)
    except NumberError as error:
        if len(error.readings) == 2 and somebody_there():
            return read(_which(option, error))
        message = f"{option}: {error}"
        raise LedgerError(message) from None


def _which(option: str, error: NumberError) -> str:
    ways = [plainly(value) for value in error.readings]
    print(f"{option}: {error.text!r} {error.found}.", file=sys.stderr)
    while True:
        print(f"Type 1 for {ways[0]}, 2 for {ways[1]}: ", end="", file=sys.stderr, flush=True)
        try:
            said = input().strip()
        except EOFError:
            message = f"{option}: {error}"
            raise LedgerError(message) from None
        if said in ("1", "2"):
            return ways[int(said) - 1]
        if said in ways:
            return said


def somebody_there() -> bool:
    """Tell whether a person sits before a terminal and can be asked."""
    return sys.stdin.isatty() and sys.stderr.isatty()


def working(what: str) -> None:
    """Say what takes a while, where a person is watching."""
    if sys.stderr.isatty():
        print(f"{what} …", end="\r", file=sys.stderr, flush=True)


def done() -> None:
    """Wipe what `working` said."""
    if sys.stderr.isatty():
        print("\x1b[2K", end="\r", file=sys.stderr, flush=True)


def add_known(parser: argparse.ArgumentParser) -> None:
    """Add the option that leaves receipts out."""
    parser.add_argument(
        "--before-receipts",
        action="store_true",
        help="from the ranges alone, as if nothing were paid or agreed",
    )


def known_by_now(folder: BuildFolder, options: argparse.Namespace) -> tuple[Standing | None, Baseline | None]:
    """Give what the ledger says, for a question that starts from it, and the baseline that was frozen.

    Returns
    -------
    known : Standing or None
        None where the ledger says nothing that a forecast depends on, or is to be left out.
    baseline : Baseline or None
        Its scenario and budget hold either way.
    """
    from forecast.watching.standing import Record

    if not folder.has_ledger() and folder.not_entered() is None:
        return None, None
    if options.before_receipts:
        return None, folder.ledger_to_read().baseline()
    found = Record.read(to_read(folder)).standing()
    return (found if found.says_something else None), found.baseline


def finished_words(
    build: Build,
    scenario: str | None,
    known: Standing | None,
    baseline: Baseline | None,
    *,
    before: str = "budget",
) -> str:
    """Say that a build is finished and so leaves nothing to decide; nothing where something is open.

    The command ``before`` says what was thought before the first receipt.
    """
    from forecast.engine.plan import compile_plan
    from forecast.views.sentences import at_its_end, budget_sentence, hold_sentence
    from forecast.watching.known_facts import forecast_given
    from forecast.watching.reforecast import budget_in_force, scenario_in_force

    if known is None or not any(known.paid.values()):
        return ""
    way = scenario_in_force(build, scenario, baseline)
    begun = known.closed | known.paid.keys()
    if any(
        row.inputs and row.gate is None and row.id not in begun for row in compile_plan(build, way).costing
    ):
        return ""  # no need to simulate
    few = 64  # where nothing is open every trial is the same
    forecast = forecast_given(build, way, few, known=known)
    if not at_its_end(forecast):
        return ""
    asked = f"What was thought before the first receipt: {before} with --before-receipts."
    amount = budget_in_force(build, baseline)
    beside = "" if amount is None else f" {budget_sentence(forecast, amount)}"
    return f"{hold_sentence(forecast)}{beside} Nothing is left to decide. {asked}"


def forecast_of(
    build: Build,
    options: argparse.Namespace,
    known: Standing | None = None,
    baseline: Baseline | None = None,
) -> Forecast:
    """Simulate a build as the options ask, starting from what is known."""
    from forecast.engine.forecast import forecast_plan
    from forecast.engine.plan import compile_plan
    from forecast.watching.known_facts import facts_about, with_outside
    from forecast.watching.reforecast import scenario_in_force

    scenario = scenario_in_force(build, options.scenario, baseline)
    working("Simulating")
    try:
        plan = compile_plan(build, scenario)
        facts, outside = facts_about(plan, known, build)
        return with_outside(forecast_plan(plan, options.trials, options.seed, known=facts), outside)
    finally:
        done()


def to_read(folder: BuildFolder, *, anyway: bool = False) -> Ledger:
    """Open a build's ledger for an answer; say so where its receipts stand as text alone."""
    ledger, text = folder.ledger_to_read(anyway=anyway), folder.not_entered()
    if text is not None:
        count = len(ledger.list_receipts())
        print(
            f"{text.name}: {count} {'receipt' if count == 1 else 'receipts'} counted in this answer, and none entered "
            f"yet. To enter them: forecast receipt load {typed(folder.folder)}",
            file=sys.stderr,
        )
    return ledger


def typed(path: str | Path) -> str:
    """Write a path as it has to be typed in a terminal: in quotes where it has spaces or signs."""
    text = str(path)
    if os.name == "nt":
        return f'"{text}"' if set(text) & set(" &()^;,=") else text
    if text.isprintable():
        return shlex.quote(text)
    escaped = "".join(_as_typed(sign) for sign in text)  # what no key types, as bash, zsh and ksh read it
    return f"$'{escaped}'"


def _as_typed(sign: str) -> str:
    if sign in "\\'":
        return f"\\{sign}"
    return sign if sign.isprintable() else "".join(f"\\x{byte:02x}" for byte in os.fsencode(sign))


def add_sure(parser: argparse.ArgumentParser, about: str = "about an unusual sum") -> None:
    """Add the option that answers a question beforehand; see `make_sure`."""
    parser.add_argument("--sure", action="store_true", help=f"it is meant: do not ask {about}")


def make_sure(options: argparse.Namespace, question: str, instead: str = "") -> None:
    """Ask before something unusual is entered, where a person can answer.

    Parameters
    ----------
    options : argparse.Namespace
        With `add_sure`.
    question : str
        Empty where there is nothing to ask.
    instead : str, optional
        What to type where it is not meant, as a sentence.

    Raises
    ------
    ForecastError
        When the answer is no, or nobody is there to give one.
    """
    if not question or options.sure:
        return
    if not somebody_there():
        message = f"{question} Nothing was entered. If it is, say so with --sure. {instead}".rstrip()
        raise ForecastError(message)
    print(f"{plain(question)} [y/N] ", end="", file=sys.stderr, flush=True)
    try:
        said = input()
    except EOFError:
        said = ""
    if said.strip().casefold() not in ("y", "yes"):
        message = f"nothing was entered. {instead}".rstrip()
        raise ForecastError(message)


class Answered(int, Generic[D_co]):
    """The code that a command ends with once it has answered, and the type of what it answers programs with.

    The schema of an answer is made from what ``run`` says it gives (`views/answer_schema.py`); the type checker holds
    that against the data.
    """


JsonSchema = NewType("JsonSchema", dict[str, object])
"""An answer that is a schema itself."""


def answer(
    options: argparse.Namespace,
    text: str | Callable[[], str],
    data: D_co | Callable[[], D_co],
    code: int = 0,
) -> Answered[D_co]:
    """Print an answer: words for people, or the same figures for programs.

    Parameters
    ----------
    options : argparse.Namespace
    text, data : str and what `told` makes a mapping of, or callables that give one
        A callable is called only for what is printed.
    code : int
        What the command ends with: 1 where the answer is no.
    """
    if options.json:
        found = told(data() if callable(data) else data)
        written = json.dumps(found, ensure_ascii=False, indent=2, allow_nan=False, default=str)
        print(_UNSEEN.sub(lambda sign: f"\\u{ord(sign[0]):04x}", written))
    else:
        answer_in_words(text() if callable(text) else text)
    return Answered(code)


def answer_in_words(text: str) -> Answered[Never]:
    """Print what is said to people alone."""
    print(plain(text))
    return Answered(0)
