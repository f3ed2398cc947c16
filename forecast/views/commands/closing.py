"""``forecast close``, ``happened``, ``freeze``, ``undo`` and the like: what is settled without money moving."""

from __future__ import annotations

import argparse
import datetime as dt
from typing import TYPE_CHECKING

from forecast.errors import LedgerError
from forecast.views.commands.common import (
    Answered,
    about_the_whole,
    add_file,
    add_simulation,
    add_sure,
    answer,
    command,
    exact_sum,
    make_sure,
    to_read,
)
from forecast.views.commands.effect import Effect
from forecast.views.commands.naming import charges_on_the_way, check_id, day, way_in_force
from forecast.views.commands.told import figure
from forecast.words.day_words import short_day

if TYPE_CHECKING:
    from forecast.buildfile.schema import Build
    from forecast.ledger import Ledger
    from forecast.views.answers.of_closing import (
        EventsAnswer,
        EventStands,
        FinishAnswer,
        FreezeAnswer,
        LastEntered,
        LinesAnswer,
        Undone,
    )

Commands = argparse._SubParsersAction  # the type of what add_subparsers gives


def add(commands: Commands[argparse.ArgumentParser]) -> None:
    """Add the commands."""
    _add_marks(commands)
    _add_finish(commands)
    _add_freeze(commands)
    _add_undo(commands)


def _add_marks(commands: Commands[argparse.ArgumentParser]) -> None:
    for name, summary, run in (
        ("close", "say that nothing more will be paid for lines or risk events", run_close),
        ("reopen", "say that more may be paid for them after all", run_reopen),
        ("happened", "say that risk events happened", run_happened),
        ("cannot-happen", "say that risk events can no longer happen", run_cannot),
    ):
        parser = command(commands, name, summary, run)
        add_file(parser)
        if name == "close":
            parser.add_argument(
                "ids", metavar="LINE", nargs="*", help="their names, or ids in the build file"
            )
            parser.add_argument(
                "--looking-settled", action="store_true",
                help="all lines of which what was paid is likely all, as 'forecast watch' names them",
            )  # fmt: skip
            parser.add_argument("--scenario", metavar="S", help="the scenario that is watched, for these")
        elif name == "reopen":
            parser.add_argument(
                "ids", metavar="LINE", nargs="+", help="their names, or ids in the build file"
            )
            parser.add_argument("--more-to-come", action="store_true", help="more will come, not only may")
        else:
            parser.add_argument(
                "ids", metavar="EVENT", nargs="+", help="their names, or ids in the build file"
            )
            parser.add_argument("--withdraw", action="store_true", help="take back that this was said")
        parser.add_argument("--date", type=day, default=None, help="from when on (today)")
        parser.add_argument("--note", default="", help="anything worth keeping")


def _add_finish(commands: Commands[argparse.ArgumentParser]) -> None:
    parser = command(
        commands, "finish", "say that the build is done: nothing more will be paid, for anything", run_finish
    )
    add_file(parser)
    parser.add_argument("--scenario", metavar="S", help="the scenario that was built")
    add_sure(parser, "whether all is really done")
    parser.add_argument("--date", type=day, default=None, help="from when on (today)")
    parser.add_argument("--note", default="", help="anything worth keeping")


def _add_freeze(commands: Commands[argparse.ArgumentParser]) -> None:
    parser = command(
        commands, "freeze", "commit to a budget, and keep the build as it is now beside it", run_freeze
    )
    add_file(parser)
    add_simulation(parser)
    parser.add_argument("--budget", metavar="SUM", help="the sum; the build's own when left out")
    add_sure(parser, "about a sum that is hardly a budget")
    parser.add_argument("--note", default="", help="anything worth keeping")


def _add_undo(commands: Commands[argparse.ArgumentParser]) -> None:
    detail = (
        "Takes back the last thing entered, whatever it was: a receipt and what it closed, a bank's file, a mark.\n"
        "All is then as it was before, on every day. The ledger keeps what was taken back, marked so, and no answer\n"
        "counts it.\n"
        "Run it again to take back the entry before."
    )
    parser = command(commands, "undo", "take back the last thing entered", run_undo, detail)
    add_file(parser)
    parser.add_argument("--look", action="store_true", help="only say what it would be")


def run_close(options: argparse.Namespace) -> Answered[LinesAnswer]:
    """Close lines."""
    from forecast.ledger.folder import BuildFolder
    from forecast.views.settling_words import closed_words, quoted
    from forecast.watching.settling import close_lines, never_paid, titles_of

    folder = BuildFolder.at(options.file)
    build = folder.read()
    way = way_in_force(folder, build)
    names = [check_id(name, build, hours=True, way=way) for name in options.ids]
    if options.looking_settled:
        names += _looking_settled(build, to_read(folder), options.scenario)
    elif not names:
        message = "close: no line given. Name lines, or say --looking-settled for those that look settled."
        raise LedgerError(message)
    names = list(dict.fromkeys(names))
    if not names:
        nothing: LinesAnswer = {"lines": [], "currency": build.build.currency, "moved": None}
        return answer(options, "No open line looks settled.", nothing)
    _check_day(options)
    ledger = folder.ledger()
    effect = Effect(build, ledger)
    already = ledger.closed_lines(options.date) & set(names)
    settled = close_lines(ledger, names, options.date, options.note)
    titles, own = titles_of(build, ledger=ledger), build.build.currency
    new = [name for name in names if name not in already]
    income, unpaid = build.income.intersection(new), never_paid(build, ledger, new)
    told = [closed_words(new, settled, titles, own, build.work_alone, income, unpaid)]
    told += [f"{quoted(name, titles)} was closed already." for name in names if name in already]
    return _told(options, ledger, names, " ".join(filter(None, told)), build, effect)


def run_finish(options: argparse.Namespace) -> Answered[FinishAnswer]:
    """Close all that is open, and say what it cost."""
    from forecast.ledger.folder import BuildFolder
    from forecast.record.finishing import finish, to_finish
    from forecast.views.ending_words import ending_sentences
    from forecast.views.sentences import unforeseen_sentence, watch_sentence, width_sentence
    from forecast.views.settling_words import finish_question, finished_words
    from forecast.watching.reforecast import reforecast

    folder = BuildFolder.at(options.file)
    build = folder.read()
    _check_day(options)
    ledger = folder.ledger()
    make_sure(options, finish_question(to_finish(ledger, build, options.scenario), build.build.currency))
    done = finish(ledger, build, options.scenario, options.date, options.note)
    watch = reforecast(build, ledger, options.scenario)
    why = ending_sentences(watch)
    judged = (width_sentence(watch), unforeseen_sentence(watch))
    told = [finished_words(done), watch_sentence(watch), " ".join(why), *judged]
    told.append("If that was too early: forecast undo.")
    data: FinishAnswer = {
        "closed": done.closed, "cannot_happen": done.ruled_out, "never_paid": list(done.never_paid),
        "paid": watch.paid, "currency": watch.currency,
        "cost_no_more_before": watch.cost_no_more_before,
    }  # fmt: skip
    return answer(options, "\n".join(filter(None, told)), data)


def _looking_settled(build: Build, ledger: Ledger, scenario: str | None) -> tuple[str, ...]:
    """Name the lines that look settled; how sure that is depends on no trial, so few are enough."""
    from forecast.watching.reforecast import reforecast

    return reforecast(build, ledger, scenario, 256).looking_settled


def run_reopen(options: argparse.Namespace) -> Answered[LinesAnswer]:
    """Open lines again."""
    from forecast.ledger.folder import BuildFolder
    from forecast.views.settling_words import named
    from forecast.watching.settling import titles_of

    folder = BuildFolder.at(options.file)
    build = folder.read()
    way = way_in_force(folder, build)
    names = list(dict.fromkeys(check_id(name, build, hours=True, way=way) for name in options.ids))
    _check_day(options)
    ledger = folder.ledger()
    effect = Effect(build, ledger)
    with ledger.together():
        for name in names:
            (ledger.expect_more if options.more_to_come else ledger.reopen_line)(
                name, options.date, options.note
            )
    titles = titles_of(build, ledger=ledger)
    text = f"More {'is to' if options.more_to_come else 'may'} come for {named(names, titles)}."
    return _told(options, ledger, names, text, build, effect)


def _told(
    options: argparse.Namespace, ledger: Ledger, names: list[str], text: str, build: Build, effect: Effect
) -> Answered[LinesAnswer]:
    """Answer with how each line stands, what is paid for those that cost money, and what that did to P80."""
    from forecast.views.settling_words import quoted
    from forecast.watching.settling import titles_of

    states, paid = ledger.line_states(), ledger.paid_by_line()
    titles, currency = titles_of(build, ledger=ledger), build.build.currency
    costing = [
        name
        for name in names
        if (name not in build.work_alone and not name.endswith(".own_hours")) or name in paid
    ]
    income = build.income.intersection(costing)
    sums = [
        f"{quoted(name, titles)}: {_come_to(paid.get(name, 0), currency, name in income)}" for name in costing
    ]
    moved_words, moved = effect.told(build, ledger)
    data: LinesAnswer = {
        "lines": [
            {
                "line": name, "state": states[name].state, "date": states[name].date,
                "paid_minor": paid.get(name, 0),
            }
            for name in names
        ],
        "currency": currency,
        "moved": moved,
    }  # fmt: skip
    text = f"{text} {'; '.join(sums)}.".strip() if sums else text
    return answer(options, f"{text} {moved_words}", data)


def _come_to(minor: int, currency: str, income: bool) -> str:
    """Say what was paid for a line, or what one that is to bring money in brought."""
    from forecast.words.money import exact

    if not income:
        return f"{exact(minor, currency)} paid"
    return f"{exact(-minor, currency)} came in" if minor else "nothing sold"


def _check_day(options: argparse.Namespace) -> None:
    from forecast.ledger.days import not_ahead

    if options.date is not None:
        not_ahead(options.date, dt.date.today(), options.command)


def run_happened(options: argparse.Namespace) -> Answered[EventsAnswer]:
    """Say that an event happened."""
    return _mark_event(options, "happened")


def run_cannot(options: argparse.Namespace) -> Answered[EventsAnswer]:
    """Say that an event cannot happen any more."""
    return _mark_event(options, "cannot-happen")


def _mark_event(options: argparse.Namespace, state: str) -> Answered[EventsAnswer]:
    from forecast.ledger.events import WORDS, say_event, withdraw_event
    from forecast.ledger.folder import BuildFolder
    from forecast.views.settling_words import happened_words, quoted
    from forecast.watching.settling import close_lines, titles_of

    folder = BuildFolder.at(options.file)
    build = folder.read()
    way = way_in_force(folder, build)
    every = dict.fromkeys(
        check_id(name, build, lines=False, on_the_way=True, way=way) for name in options.ids
    )
    charges = [name for name in charges_on_the_way(build) if name in every]
    if charges and state == "happened":
        message = f"happened: {charges[0]} is a line and no risk: enter its bill as a receipt."
        raise LedgerError(message)
    names = [name for name in every if name not in charges]
    _check_day(options)
    change = withdraw_event if options.withdraw else say_event
    ledger = folder.ledger()
    effect = Effect(build, ledger)
    with ledger.together():  # all of them or none, and one undo takes them back
        marks = [change(ledger, name, state, options.date, options.note) for name in names]  # type: ignore[arg-type]
        if options.withdraw:
            for name in charges:
                ledger.reopen_line(name, options.date, options.note)
        else:
            close_lines(ledger, charges, options.date, options.note)
    titles, again = titles_of(build, ledger=ledger), " after all" if options.withdraw else ""
    told = []
    for mark in marks:
        told.append(
            f"{quoted(mark.subject, titles)} {WORDS[mark.state]}{again}, as of {short_day(mark.date)}."
        )
        if mark.state == "happened":
            told.append(happened_words(mark.subject, ledger))
    word = WORDS["open" if options.withdraw else state]
    told += [f"{quoted(name, titles)} {word}{again}." for name in charges]
    moved_words, moved = effect.told(build, ledger)
    text = f"{' '.join(filter(None, told))} {moved_words}"
    said: list[EventStands] = [
        {"event": mark.subject, "state": mark.state, "date": mark.date} for mark in marks
    ]
    return answer(options, text, {"events": said, "charges": charges, "moved": moved})


def run_freeze(options: argparse.Namespace) -> Answered[FreezeAnswer]:
    """Commit to a budget."""
    from forecast.engine.forecast import DEFAULT_TRIALS
    from forecast.ledger.folder import BuildFolder
    from forecast.views.settling_words import freeze_question, frozen_words, in_its_place_words
    from forecast.watching.freezing import freeze, own_budget
    from forecast.words.money import builds

    folder = BuildFolder.at(options.file)
    build = folder.read()
    own = build.build.currency
    budget = (
        exact_sum(options.budget, "--budget", own, about_the_whole(build, options.scenario))
        if options.budget
        else own_budget(build.build.budget, own)
    )
    if budget is None:
        message = "--budget: say the sum, or set budget in the build file's [build] table."
        raise LedgerError(message)
    trials = options.trials if isinstance(options.trials, int) else DEFAULT_TRIALS
    frozen = freeze(
        folder, budget, options.scenario, trials, options.seed, options.note,
        lambda now: make_sure(options, freeze_question(now, budget, own)),
    )  # fmt: skip
    enough = f"It is enough in {builds(frozen.chance)} as it stands now."
    told = [frozen_words(frozen.baseline, build), in_its_place_words(frozen.earlier), enough]
    text = " ".join(filter(None, told))
    return answer(options, text, {"budget_minor": budget, "currency": own, "chance": figure(frozen.chance)})


def run_undo(options: argparse.Namespace) -> Answered[LastEntered | Undone]:
    """Take back the last thing entered."""
    from forecast.ledger.folder import BuildFolder
    from forecast.ledger.undoing import last_entry, undo_last
    from forecast.views.undone_words import entry_words, left_in_file_words
    from forecast.watching.settling import titles_of
    from forecast.words.text import ended

    folder = BuildFolder.at(options.file)
    build = folder.read()
    ledger, risks = to_read(folder) if options.look else folder.ledger(), {event.id for event in build.event}
    if options.look:
        entry = last_entry(ledger)
        if entry is None:
            return answer(options, "Nothing was entered yet, or all of it is taken back.", {"last": None})
        words = entry_words(entry, build.build.currency, titles_of(build, ledger=ledger), risks)
        return answer(options, ended(f"Entered last: {words}"), {"last": words})
    effect, paid = Effect(build, ledger), ledger.paid_by_line()
    words = entry_words(undo_last(ledger), build.build.currency, titles_of(build, ledger=ledger), risks)
    moved_words, moved = effect.told(build, ledger, undone=True)
    told = [
        ended(f"Taken back: {words}"),
        moved_words,
        left_in_file_words(build, paid, ledger.paid_by_line()),
    ]
    return answer(options, " ".join(filter(None, told)), {"undone": words, "moved": moved})
