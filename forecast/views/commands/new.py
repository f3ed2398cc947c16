"""``forecast new`` and ``forecast demo``: a build to begin with."""

from __future__ import annotations

import argparse
import sys
import textwrap
from typing import TYPE_CHECKING, Any, TextIO

from forecast.views.commands.common import Answered, answer, command, typed
from forecast.words.text import plain

if TYPE_CHECKING:
    from forecast.errors import Problem
    from forecast.start import Answers, FarPrice, Question
    from forecast.views.answers.of_builds import DemoOpened, Demos, GuidedQuestion, GuidedQuestions, NewBuild

EXAMPLE = """\
An answers file has one answer a line; what is left out takes its default, and "don't know" is always legal:

  country = "IE"
  origin = "JP"
  kit_price = { low = 180000, high = 320000 }      # or 245000, or [210000, 245000, 330000]
  shipping = "sea"
  panels = ["front", "rear", "skirts", "arches", "spoiler"]
  at_hand = ["stands", "space"]
  paint = "shop"

Questions: """


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    detail = (
        "Asks one question after the other and writes a complete, commented build file. Each says what Enter alone "
        'means: "I don\'t know", or what follows from an earlier answer. ? explains, Ctrl-C leaves nothing behind.'
    )
    parser = command(commands, "new", "a new build from some twenty questions", run, detail)
    parser.add_argument("folder", metavar="FOLDER", help="where build.toml is made; the folder may be new")
    parser.add_argument("--answers", metavar="FILE", help="a TOML file of answers, instead of asking")
    parser.add_argument(
        "--questions", action="store_true", help="print the questions and an answers file, and stop"
    )


def run(options: argparse.Namespace) -> Answered[NewBuild | GuidedQuestions]:
    """Run the command."""
    from forecast.buildfile.reader import read_build
    from forecast.start import check_free, create_build, far_price, question, read_answers

    if options.questions:
        return _show_questions(options)
    check_free(options.folder)
    if options.answers is not None:
        answers = read_answers(options.answers)
        price = far_price(question("kit_price"), answers.kit_price, vars(answers))
        if price is not None:
            print(f"kit_price: {price.question} It was taken as written.", file=sys.stderr)
    else:
        answers = ask(sys.stderr if options.json else sys.stdout)
    file = create_build(options.folder, answers)
    build = read_build(file)
    written = (
        f"{file}: {len(build.line)} lines, {len(build.event)} risk events, {len(build.scenario)} ways to do it. All "
        "ranges are yours to overwrite."
    )
    folder = typed(options.folder)

    def told() -> str:
        """Say with it what the build may come to: it is what all the questions were answered for."""
        from forecast.engine.forecast import simulate
        from forecast.views.sentences import hold_sentence

        rough = f"A first rough budget: {hold_sentence(simulate(build))}"
        return f"{written}\n{rough}\nNext: forecast check {folder}, then forecast budget {folder}"

    data: NewBuild = {
        "file": str(file),
        "lines": len(build.line),
        "events": len(build.event),
        "scenarios": list(build.scenario),
    }
    return answer(options, told, data)


def _show_questions(options: argparse.Namespace) -> Answered[GuidedQuestions]:
    from forecast.start import questions

    rows = [f"  {item.id:<13} {item.text}" for item in questions()]
    listed: list[GuidedQuestion] = [
        {
            "id": item.id,
            "text": item.text,
            "help": item.help,
            "how": item.how,
            "kind": item.kind,
            "choices": dict(item.choices),
        }
        for item in questions()
    ]
    return answer(options, EXAMPLE + "\n" + "\n".join(rows), {"questions": listed})


def ask(stream: TextIO) -> Answers:
    """Ask all questions that make sense, one by one.

    Parameters
    ----------
    stream : file
        Where they are written; answers are read from standard input.

    Raises
    ------
    BuildFileError
        When the input ends before all is answered; every answer that was refused is named with it.
    """
    from forecast.start import answers_of, as_asked, is_asked, place_words, questions

    def say(text: str) -> None:
        print(text, file=stream, flush=True)

    say('"I don\'t know" is always an answer: Enter alone, where it says so. ? explains, Ctrl-C stops.')
    values: dict[str, Any] = {}
    refused: list[Problem] = []
    every = list(questions())
    number = 0
    for place, item in enumerate(every):
        if is_asked(item, values):
            number += 1
            still = sum(
                is_asked(later, values) for later in every[place + 1 :]
            )  # as far as can be told by now
            where = place_words(number, number + still, values)
            values[item.id] = _ask_one(as_asked(item, values), values, where, stream, refused)
    return answers_of(values)


def _ask_one(
    item: Question, values: dict[str, Any], place: str, stream: TextIO, refused: list[Problem]
) -> Any:
    """Ask until the answer can be used; from a pipe the next line is the next attempt."""
    from forecast.errors import BuildFileError, Problem
    from forecast.start import WrongAnswer, default_of, far_price, read_answer, understood

    heading, default = "answers", default_of(item, values)
    print(f"\n{place}  {item.text}", file=stream)
    if 0 < len(item.choices) <= 12:
        print(_choices(item), file=stream)
    either: tuple[str, ...] = ()
    price = ""
    far: FarPrice | None = None
    sure = False
    while True:
        ways = _far_ways(far) if far is not None else _ways(item, default, values, either)
        print(f"{ways} > ", end="", file=stream, flush=True)
        try:
            text = input()
        except EOFError:
            mend = "Answer every question (an empty line: I don't know), or use --answers FILE."
            problem = Problem(item.id, "the input ended before this question was answered", mend)
            raise BuildFileError(heading, [*refused, problem]) from None
        if len(either) == 2 and not text.strip():  # the default would drop the sum that was just written
            print(f"Type 1 for {either[0]}, 2 for {either[1]}, or write another answer.", file=stream)
            continue
        if text.strip() in ("1", "2") and len(either) == 2:
            text = either[int(text) - 1]
        either = ()
        if far is not None:  # Enter alone would drop the price that was just written
            if not text.strip():
                continue
            sure = text.strip() == "1"
            if sure or (text.strip() == "2" and far.instead):
                text = price if sure else far.instead
            far = None
        if text.strip() == "?":
            print("\n".join(textwrap.wrap(f"{item.help} {item.how}", 100)), file=stream)
            if len(item.choices) > 12:
                print(_choices(item), file=stream)
            continue
        try:
            value = read_answer(item, text, values)
            if text.strip() and (told := understood(item, text, value, values)):
                print(f"Read as {told}.", file=stream)
            far = None if sure else far_price(item, value, values)
            if far is None:
                return value
            print(plain(far.question), file=stream)
            if not sys.stdin.isatty():  # a pipe answers no question that it does not know of: it is said
                return value
            price = text
        except WrongAnswer as error:
            if not sys.stdin.isatty():
                refused.append(Problem(item.id, error.found, error.mend))
            elif len(error.either) == 2:
                either = error.either
                print(f"{error.found}: type 1 for {either[0]}, 2 for {either[1]}.", file=stream)
                continue
            print(plain(str(error)), file=stream)


def _far_ways(far: FarPrice) -> str:
    """Say how a price far from any kit's is confirmed or mended."""
    instead = f"2 for {far.instead_told}, " if far.instead else ""
    return f"1 for {far.told}, {instead}or write another price"


def _ways(item: Question, default: Any, values: dict[str, Any], either: tuple[str, ...]) -> str:
    """Say what Enter alone means, and which letter says yes."""
    from forecast.start import DONT_KNOW, is_follow_up

    if len(either) == 2:
        return "1 or 2"
    if default == DONT_KNOW:
        enter = "I don't know"
    elif is_follow_up(item, values):
        named = item.choices.get(default)
        enter = f"{f'{named} ({default})' if named else default}, going by what you said"
    else:
        enter = f"I don't know, {default} is taken" if item.follows else str(default)
    return f"{'y: yes, n: no, ' if item.kind == 'yes-no' else ''}Enter: {enter}"


def _choices(item: Question) -> str:
    """Give what may be chosen, a line each where there are few."""
    from forecast.start import choice_words

    if len(item.choices) <= 12 and all(
        map(str.isupper, item.choices)
    ):  # letters alone tell a builder nothing
        return "\n".join(f"    {choice_words(id, name)}" for id, name in item.choices.items())
    if len(item.choices) <= 12:
        return "\n".join(f"    {id:<11} {name}" for id, name in item.choices.items())
    listed = ", ".join(f"{id} {name}".strip() for id, name in item.choices.items())
    return "\n".join(textwrap.wrap(listed, 100, initial_indent="    ", subsequent_indent="    "))


def add_demo(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command."""
    detail = "Makes your own copy of a demo build, its receipts entered, and says where it is. Its data are invented."
    parser = command(commands, "demo", "a demo build to try things on", run_demo, detail)
    parser.add_argument("name", nargs="?", help="which one; all are listed when left out")
    parser.add_argument("--afresh", action="store_true", help="put an earlier copy aside and start over")


def run_demo(options: argparse.Namespace) -> Answered[Demos | DemoOpened]:
    """Run the command."""
    from forecast.buildfile.reader import read_build
    from forecast.ledger.folder import DEMOS, demos, open_demo

    if options.name is None:
        names = demos()
        wide = max(map(len, names), default=0)
        listed = (
            f"  {name:<{wide}}  {read_build(DEMOS / name).name}" for name in names
        )  # as its pages call it
        text = "\n".join(["Demo builds; open one with: forecast demo NAME", *listed])
        return answer(options, text, {"demos": list(names)})
    folder = open_demo(options.name, afresh=options.afresh)
    return answer(options, str(folder.folder), {"folder": str(folder.folder)})
