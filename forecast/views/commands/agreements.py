"""``forecast agreed``, ``left`` and ``statement``: commitments, what is left to buy, sums that must add up."""

from __future__ import annotations

import argparse
import datetime as dt
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from forecast.errors import LedgerError
from forecast.views.commands.common import (
    Answered,
    add_file,
    add_sure,
    answer,
    command,
    currency_of,
    exact_sum,
    make_sure,
    to_read,
    typed,
    whole,
)
from forecast.views.commands.effect import Effect
from forecast.views.commands.naming import check_id, day, way_in_force
from forecast.words.chances import so_many
from forecast.words.day_words import short_day

if TYPE_CHECKING:
    from forecast.buildfile.schema import Build
    from forecast.ledger import Ledger
    from forecast.views.answers.of_receipts import (
        AgreedAnswer,
        CommitmentOpen,
        LeftAnswer,
        SaidLeft,
        StatementAnswer,
    )

STATEMENT = """\
Checks a supplier's statement: a CSV or XLSX file with the columns label, amount and, where a row is a sum of those
above it, kind (subtotal or total). Every stated sum that its lines do not add up to is named, with the difference."""


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the commands."""
    agreed = command(
        commands,
        "agreed",
        "a commitment: a price agreed, not yet paid; alone it lists those open",
        run_agreed,
    )
    add_file(agreed)
    agreed.add_argument("line", nargs="?", help="the line it is for")
    agreed.add_argument("--amount", metavar="SUM", help="the price agreed")
    agreed.add_argument("--supplier", help="with whom")
    agreed.add_argument("--currency", help="of the amount; the build's when left out")
    agreed.add_argument(
        "--expected", metavar="SUM", help="what a price in foreign money should come to in yours"
    )
    agreed.add_argument(
        "--estimate",
        action="store_true",
        help="the price is an estimate that may still grow; fixed when left out",
    )
    agreed.add_argument("--date", type=day, help="when it was agreed (today)")
    agreed.add_argument("--settle", type=whole, metavar="NO", help="this commitment is paid in full")
    agreed.add_argument("--cancel", type=whole, metavar="NO", help="this commitment is off")
    agreed.add_argument("--note", default="", help="anything worth keeping")
    add_sure(agreed, "about an unusual sum, or a price agreed that is there already")
    left = command(
        commands,
        "left",
        "how much is left to buy of a line that is paid in part; alone it lists what was said",
        run_left,
    )
    add_file(left)
    left.add_argument("line", metavar="LINE", nargs="?", help="its name or id; what was said when left out")
    left.add_argument("amount", metavar="SUM", nargs="?", help="what is still to come, beside what was paid")
    left.add_argument("--date", type=day, help="as of when (today)")
    left.add_argument("--note", default="", help="anything worth keeping")
    statement = command(
        commands, "statement", "hold a supplier's statement against its own sums", run_statement, STATEMENT
    )
    add_file(statement)
    statement.add_argument("statement", type=Path, help="the CSV or XLSX file")
    statement.add_argument("--total", metavar="SUM", help="a total that is stated elsewhere")


def run_agreed(options: argparse.Namespace) -> Answered[AgreedAnswer]:
    """Enter, settle, cancel or list commitments."""
    from forecast.ledger.days import not_ahead
    from forecast.ledger.folder import BuildFolder
    from forecast.views.commands.told import table, wrapped
    from forecast.views.settling_words import AGREEMENTS, agreed_question, agreed_words, closed_words
    from forecast.watching.estimates import expected_sums
    from forecast.watching.settling import agree, at_planned_rate, settle, titles_of
    from forecast.words.money import exact

    folder = BuildFolder.at(options.file)
    build = folder.read()
    entering = (options.settle, options.cancel, options.line) != (None, None, None)
    ledger = folder.ledger() if entering else to_read(folder)
    own = build.build.currency
    date = not_ahead(options.date or dt.date.today(), dt.date.today(), "commitment")
    titles, told, moved = titles_of(build, ledger=ledger), "", None
    if options.settle is not None:
        told = closed_words(
            settle(ledger, build, options.settle, options.date, options.note), (), titles, own
        )
    elif options.cancel is not None:
        ledger.cancel_commitment(options.cancel, options.date, options.note)
    elif options.line is not None:
        if not options.amount or not options.supplier:
            message = "agreed: say --amount and --supplier for the line."
            raise LedgerError(message)
        currency = currency_of(options.amount, options.currency, build)
        line = check_id(options.line, build, way=way_in_force(folder, build))
        thought = partial(expected_sums, build, ledger, (line,))
        expected = (
            exact_sum(options.expected, "--expected", own, partial(thought, own))
            if options.expected
            else None
        )
        amount = exact_sum(options.amount, "--amount", currency, partial(thought, currency))
        if currency != own and expected is None:
            expected = at_planned_rate(build, line, amount, currency)
        at_home = amount if currency == own else expected
        make_sure(
            options,
            agreed_question(build, ledger, line, options.supplier, (amount, currency), at_home, titles),
        )
        effect = Effect(build, ledger)
        agreed = agree(
            ledger, date, options.supplier, line, amount, currency, options.note, expected_minor=expected,
            kind="estimate" if options.estimate else "fixed",
        )  # fmt: skip
        moved_words, moved = effect.told(build, ledger)
        told = f"{agreed_words(agreed, titles, own)} {moved_words}"
    found = ledger.list_commitments()
    rows = [
        [
            str(item.id),
            short_day(item.date),
            wrapped(item.supplier, 28),
            wrapped(titles.get(item.line_id, item.line_id), 40),
            AGREEMENTS[item.kind],
            exact(item.outstanding_minor, own),
        ]
        for item in found
    ]
    total = sum(item.outstanding_minor for item in found)
    open_ = f"{so_many(len(found), 'open commitment')}, {exact(total, own)} still to pay."
    text = f"{told} {open_[:1].upper()}{open_[1:]}" if found else f"{told} No agreed price is left to pay."
    text = text.strip()
    if rows:
        text += "\n\n" + table(["No.", "Date", "Supplier", "For", "Price", "Still to pay"], rows, left=5)
    data: list[CommitmentOpen] = [
        {
            "id": item.id,
            "line": item.line_id,
            "supplier": item.supplier,
            "kind": item.kind,
            "outstanding_minor": item.outstanding_minor,
        }
        for item in found
    ]
    found_now: AgreedAnswer = {
        "commitments": data, "outstanding_minor": total, "currency": own, "moved": moved
    }  # fmt: skip
    return answer(options, text, found_now)


def run_left(options: argparse.Namespace) -> Answered[SaidLeft | LeftAnswer]:
    """Say how much is left to buy of a line."""
    from forecast.ledger.days import not_ahead
    from forecast.ledger.folder import BuildFolder
    from forecast.views.settling_words import quoted
    from forecast.watching.settling import titles_of
    from forecast.words.money import exact

    folder = BuildFolder.at(options.file)
    build = folder.read()
    own = build.build.currency
    if options.amount is None:
        return _said_to_be_left(options, build, to_read(folder), way_in_force(folder, build))
    ledger = folder.ledger()
    name = check_id(options.line, build, way=way_in_force(folder, build))
    left = exact_sum(options.amount, "--amount", own)
    if left < 0:
        message = (
            f"left: got {options.amount}, must be zero or more: what is still to come, beside what was paid."
        )
        raise LedgerError(message)
    if options.date is not None:
        not_ahead(options.date, dt.date.today(), "word")
    said = ledger.say_still_to_buy(name, left, options.date, options.note)
    paid = ledger.paid_by_line().get(name, 0)
    text = (
        f"{quoted(name, titles_of(build, ledger=ledger))}: {exact(paid, own)} paid and "
        f"{exact(said.amount_minor, own)} still to buy, "
        f"{exact(paid + said.amount_minor, own)} in all."
    )
    data: SaidLeft = {"line": name, "paid_minor": paid, "left_minor": said.amount_minor, "currency": own}
    return answer(options, text, data)


def _said_to_be_left(
    options: argparse.Namespace, build: Build, ledger: Ledger, way: str | None
) -> Answered[LeftAnswer]:
    """List what was said to be left to buy, of one line or of all, and how to say it."""
    from forecast.views.settling_words import quoted
    from forecast.watching.settling import titles_of
    from forecast.watching.standing import Record
    from forecast.words.money import exact

    one = None if options.line is None else check_id(options.line, build, way=way)
    own, standing = build.build.currency, Record.read(ledger).standing()
    left = {
        name: max(0, whole - standing.paid.get(name, 0))
        for name, whole in standing.said.items()
        if name not in standing.closed and one in (None, name)
    }
    titles = titles_of(build, ledger=ledger)
    told = [f"{quoted(name, titles)}: {exact(minor, own)} still to buy." for name, minor in left.items()]
    if not told:
        whom = "any line" if one is None else quoted(one, titles)
        told = [f"Nothing was said to be left to buy of {whom}."]
    where = "" if options.file == "." else f"{typed(options.file)} "
    example = "filler" if one is None else typed(one)
    told.append(f"To say it: forecast left {where}{example} 150, with the sum still to come.")
    data: LeftAnswer = {
        "left": [{"line": name, "left_minor": minor} for name, minor in left.items()],
        "currency": own,
    }
    return answer(options, "\n".join(told), data)


def run_statement(options: argparse.Namespace) -> Answered[StatementAnswer]:
    """Hold a statement against its own sums; 1 when one of them is wrong."""
    from forecast.ledger.folder import BuildFolder
    from forecast.ledger.splitting import reconcile
    from forecast.ledger.statement import read_statement
    from forecast.words.money import exact

    own = BuildFolder.at(options.file).read().build.currency
    rows = read_statement(options.statement, own)
    found = reconcile(rows, exact_sum(options.total, "--total", own) if options.total else None)
    wrong = [item.describe(own) for item in found.disagreements]
    heading = (
        f"The lines add up to {exact(found.items_minor, own)}, and every stated sum agrees."
        if not wrong
        else f"The lines add up to {exact(found.items_minor, own)}; {len(wrong)} stated "
        f"{'sum does' if len(wrong) == 1 else 'sums do'} not agree:"
    )
    data: StatementAnswer = {
        "total_minor": found.items_minor,
        "disagreements": [
            {
                "row": item.row, "label": item.label, "said_minor": item.said,
                "adds_up_to_minor": item.adds_up_to,
            }
            for item in found.disagreements
        ],
    }  # fmt: skip
    text = "\n".join([heading, *(f"  {line}" for line in wrong)])
    return answer(options, text, data, 1 if wrong else 0)
