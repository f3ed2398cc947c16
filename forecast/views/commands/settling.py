"""``forecast close``, ``happened``, ``freeze``, ``undo`` and the like: what is settled without money moving."""

from __future__ import annotations

import argparse
import datetime as dt

from forecast.errors import LedgerError
from forecast.views.commands.common import add_file, add_simulation, answer, command, exact_sum, to_read
from forecast.views.commands.receipts import check_id, day

Commands = argparse._SubParsersAction  # the type of what add_subparsers gives


def add(commands: Commands[argparse.ArgumentParser]) -> None:
    """Add the commands."""
    _add_marks(commands)
    _add_freeze(commands)
    _add_undo(commands)


def _add_marks(commands: Commands[argparse.ArgumentParser]) -> None:
    for name, summary, run in (
        ("close", "say that nothing more will be paid for a line or a risk event", run_close),
        ("reopen", "say that more may be paid for it after all", run_reopen),
        ("happened", "say that a risk event happened", run_happened),
        ("cannot-happen", "say that a risk event can no longer happen", run_cannot),
    ):
        parser = command(commands, name, summary, run)
        add_file(parser)
        parser.add_argument("id", help="its id in the build file")
        parser.add_argument("--date", type=day, default=None, help="from when on (today)")
        parser.add_argument("--note", default="", help="anything worth keeping")
        if name in ("happened", "cannot-happen"):
            parser.add_argument("--withdraw", action="store_true", help="take back that this was said")


def _add_freeze(commands: Commands[argparse.ArgumentParser]) -> None:
    parser = command(
        commands, "freeze", "commit to a budget, and keep the build as it is now beside it", run_freeze
    )
    add_file(parser)
    add_simulation(parser)
    parser.add_argument("--budget", metavar="SUM", help="the sum; the build's own when left out")
    parser.add_argument("--note", default="", help="anything worth keeping")


def _add_undo(commands: Commands[argparse.ArgumentParser]) -> None:
    detail = (
        "Takes back the last thing entered, whatever it was: a receipt and what it closed, a bank's file, a mark.\n"
        "All is then as it was before, on every day. Nothing is deleted: the history keeps what was undone.\n"
        "Run it again to take back the entry before."
    )
    parser = command(commands, "undo", "take back the last thing entered", run_undo, detail)
    add_file(parser)
    parser.add_argument("--look", action="store_true", help="only say what it would be")


def run_close(options: argparse.Namespace) -> int:
    """Close a line."""
    return _mark_line(options, close=True)


def run_reopen(options: argparse.Namespace) -> int:
    """Reopen a line."""
    return _mark_line(options, close=False)


def _mark_line(options: argparse.Namespace, *, close: bool) -> int:
    from forecast.spending.folder import BuildFolder
    from forecast.views.money import exact

    folder = BuildFolder.at(options.file)
    build = folder.read()
    name = check_id(options.id, build)
    _check_day(options)
    ledger = folder.ledger()
    mark = (ledger.close_line if close else ledger.reopen_line)(name, options.date, options.note)
    paid = exact(ledger.paid_by_line().get(name, 0), build.build.currency)
    text = f"{name} is {mark.state} from {mark.date} on; {paid} paid."
    return answer(options, text, {"line": name, "state": mark.state, "date": mark.date.isoformat()})


def _check_day(options: argparse.Namespace) -> None:
    from forecast.spending.dates import not_ahead

    if options.date is not None:
        not_ahead(options.date, dt.date.today(), options.command)


def run_happened(options: argparse.Namespace) -> int:
    """Say that an event happened."""
    return _mark_event(options, "happened")


def run_cannot(options: argparse.Namespace) -> int:
    """Say that an event cannot happen any more."""
    return _mark_event(options, "cannot-happen")


def _mark_event(options: argparse.Namespace, state: str) -> int:
    from forecast.spending.events import WORDS, say_event, withdraw_event
    from forecast.spending.folder import BuildFolder

    folder = BuildFolder.at(options.file)
    name = check_id(options.id, folder.read(), lines=False)
    _check_day(options)
    change = withdraw_event if options.withdraw else say_event
    mark = change(folder.ledger(), name, state, options.date, options.note)  # type: ignore[arg-type]
    words = f"{WORDS[mark.state]} after all" if options.withdraw else WORDS[mark.state]
    text = f"{name} {words}, as of {mark.date}. 'forecast watch' shows what follows."
    return answer(options, text, {"event": name, "state": mark.state, "date": mark.date.isoformat()})


def run_freeze(options: argparse.Namespace) -> int:
    """Commit to a budget."""
    from forecast.engine.forecast import DEFAULT_TRIALS
    from forecast.spending.folder import BuildFolder
    from forecast.spending.freezing import freeze, own_budget
    from forecast.views.money import builds, exact

    folder = BuildFolder.at(options.file)
    build = folder.read()
    own = build.build.currency
    budget = (
        exact_sum(options.budget, "--budget", own) if options.budget else own_budget(build.build.budget, own)
    )
    if budget is None:
        message = "--budget: say the sum, or set budget in the build file's [build] table."
        raise LedgerError(message)
    trials = options.trials if isinstance(options.trials, int) else DEFAULT_TRIALS
    frozen = freeze(folder, budget, options.scenario, trials, options.seed, options.note)
    text = f"Budget {exact(budget, own)}, enough in {builds(frozen.chance)} as the build stands now. Kept as baseline."
    return answer(options, text, {"budget_minor": budget, "currency": own, "chance": frozen.chance})


def run_undo(options: argparse.Namespace) -> int:
    """Take back the last thing entered."""
    from forecast.spending.folder import BuildFolder
    from forecast.spending.undoing import last_entry, undo_last
    from forecast.views.entries import entry_words

    folder = BuildFolder.at(options.file)
    build = folder.read()
    ledger = to_read(folder) if options.look else folder.ledger()
    if options.look:
        entry = last_entry(ledger)
        if entry is None:
            return answer(options, "Nothing was entered yet, or all of it is taken back.", {"last": None})
        words = entry_words(entry, build.build.currency)
        return answer(options, f"Entered last: {words}.", {"last": words})
    words = entry_words(undo_last(ledger), build.build.currency)
    text = f"Taken back: {words}. 'forecast watch' shows where it ends now."
    return answer(options, text, {"undone": words})
