"""``forecast receipt import`` and ``load``: receipts from a bank or card file, or a ledger that stands as text."""

from __future__ import annotations

import argparse
import datetime as dt
import sys
from collections.abc import Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from forecast.views.commands.common import Answered, add_file, answer, command, somebody_there, typed, whole
from forecast.views.commands.naming import check_id, known_ids, way_in_force
from forecast.views.commands.told import receipt_data, table, wrapped
from forecast.words.chances import so_many
from forecast.words.day_words import short_day
from forecast.words.text import plain

if TYPE_CHECKING:
    from forecast.ledger import Ledger
    from forecast.ledger.folder import BuildFolder
    from forecast.views.answers.of_receipts import ImportEntered, ImportLooked, LedgerLoaded, LedgerSeen
    from forecast.watching.importing import ImportPlan

DETAIL = """\
Shows how the file was read and what would become of each row; --enter enters the new ones, all or none.
A row is matched to a line by its supplier's earlier receipts; give the others with --row ROW=LINE."""


def add_import(actions: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command under ``forecast receipt``."""
    parser = command(actions, "import", "receipts from a bank or card file (CSV or XLSX)", run, DETAIL)
    add_file(parser)
    parser.add_argument("statement", type=Path, help="the bank's or card's file")
    parser.add_argument(
        "--source", default="card", help="your name for the account; its layout is remembered (card)"
    )
    parser.add_argument(
        "--column", action="append", default=[], metavar="ROLE=HEADING", dest="columns",
        help="which column is what, such as --column supplier=Payee: date, supplier, amount or debit and credit, "
        "currency, line, note, settled (yes or no: whether it is all for its line)",
    )  # fmt: skip
    parser.add_argument(
        "--encoding", help="of a CSV file, such as utf-8 or cp1252, where it is taken for another"
    )
    parser.add_argument("--delimiter", help="between a CSV file's cells, where it is taken for another")
    parser.add_argument("--date-order", choices=("ymd", "dmy", "mdy"), help="where the file leaves it open")
    parser.add_argument(
        "--decimal", choices=(".", ","), help="the decimal mark, where the file leaves it open"
    )
    parser.add_argument("--spending", choices=("negative", "positive"), help="the sign that money spent has")
    parser.add_argument("--row", action="append", default=[], metavar="ROW=LINE", help="the line of one row")
    parser.add_argument("--rest", metavar="LINE", help="the line of all rows that nothing else tells")
    parser.add_argument(
        "--leave-out", action="append", default=[], type=whole, metavar="ROW", help="not this row"
    )
    parser.add_argument(
        "--accept",
        action="append",
        default=[],
        type=whole,
        metavar="ROW",
        help="enter a row held back as a probable duplicate, as taken back or as odd",
    )
    parser.add_argument(
        "--same-as", action="append", default=[], metavar="SUPPLIER",
        help="rows of a supplier called like this one, with whom a price is agreed, are of this one",
    )  # fmt: skip
    parser.add_argument("--enter", action="store_true", help="enter the rows; without it nothing is changed")


def add_load(actions: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command that reads a ledger back."""
    detail = (
        "Enters a ledger that stands as text, as 'forecast receipt export' writes it: all of it, or nothing.\n"
        "What is there already is not entered again."
    )
    parser = command(actions, "load", "enter a ledger that stands as text (CSV)", run_load, detail)
    add_file(parser)
    parser.add_argument(
        "text", type=Path, nargs="?", help="the CSV file; receipts.csv beside the build when left out"
    )


def run(
    options: argparse.Namespace,
) -> Answered[ImportLooked | ImportEntered | LedgerLoaded | LedgerSeen]:
    """Run the command."""
    from forecast.errors import LedgerError
    from forecast.ledger.folder import BuildFolder
    from forecast.ledger.receipts_csv import is_ledger_text
    from forecast.views.settling_words import beside_words, called_like_question, imported_words
    from forecast.watching.importing import confirm, enter_import, open_import, plan_import
    from forecast.watching.settling import titles_of

    folder = BuildFolder.at(options.file)
    if is_ledger_text(options.statement):
        return _whole_ledger(options, folder)
    build, ledger = folder.read(), folder.ledger()
    way = way_in_force(folder, build)
    decided = {name: getattr(options, name) for name in ("date_order", "decimal", "spending")}
    known = _known(options, ledger)
    preview = open_import(options.statement, ledger, source=options.source, **known)
    preview = confirm(preview, **{name: value for name, value in decided.items() if value is not None})
    lines: dict[int, str] = {}
    for text in options.row:
        row, _, name = text.partition("=")
        if not row.isdigit() or not name:
            message = f"--row {text!r}: write it as ROW=LINE, such as --row 7=primer."
            raise LedgerError(message)
        lines[int(row)] = check_id(name, build, way=way)
    rest = check_id(options.rest, build, way=way) if options.rest else None
    legal = known_ids(build)
    plan_now = partial(
        plan_import, preview, ledger, default_line=rest, legal=legal, today=dt.date.today(), build=build
    )
    plan, titles = plan_now(), titles_of(build)
    if same := _same(options, plan, titles, build.build.currency):
        plan = plan_now(same=same)
    asks = [
        f"{called_like_question(one, titles, build.build.currency)} If so, add --same-as {typed(one.odd.supplier)}."
        for one in plan.like
        if one.odd.supplier not in same
    ]
    if not options.enter:
        return answer(options, preview_text(plan, asks), {"layout": preview.layout, "rows": plan.rows})
    result = enter_import(
        plan, ledger, lines=lines, accept=options.accept, leave_out=options.leave_out, build=build
    )
    others = (
        (there := len(result.already_imported), f"{'was' if there == 1 else 'were'} there already"),
        (len(result.held_back), "held back"),
        (len(result.unmatched), "without a line"),
    )
    left = ", ".join(f"{count} {words}" for count, words in others if count)
    entered = f"{so_many(len(result.entered), 'receipt')} entered"
    text = f"{entered[:1].upper()}{entered[1:]}{f'; {left}' if left else ''}."
    paid = [split.line_id for receipt in result.entered for split in receipt.splits]
    follows = (imported_words(result, titles), beside_words(paid, build, ledger))
    text = " ".join(filter(None, (text, *asks, *follows)))
    return answer(
        options,
        text,
        {
            "entered": [receipt_data(receipt) for receipt in result.entered],
            "closed": list(result.closed),
            "more_to_come": list(result.more),
        },
    )


def run_load(options: argparse.Namespace) -> Answered[LedgerLoaded]:
    """Enter a ledger that stands as text."""
    from forecast.ledger.folder import BuildFolder

    folder = BuildFolder.at(options.file)
    path = options.text or folder.receipts_csv
    new = folder.load(path)
    held = len(folder.ledger().list_receipts())
    text = (
        f"{path}: {new} {'receipt is' if new == 1 else 'receipts are'} new; the ledger holds {held}. "
        "'forecast watch' shows where it ends now."
    )
    return answer(options, text, {"file": str(path), "new": new, "count": held})


def _whole_ledger(options: argparse.Namespace, folder: BuildFolder) -> Answered[LedgerLoaded | LedgerSeen]:
    """Read back what ``forecast receipt export`` wrote."""
    options.text = options.statement
    if options.enter:
        return run_load(options)
    count = len(folder.passing_ledger(options.text).list_receipts())
    text = (
        f"{options.text} is a whole ledger, as 'forecast receipt export' writes it, with {count} "
        f"{'receipt' if count == 1 else 'receipts'}. Nothing was entered yet: add --enter to enter what is not there."
    )
    return answer(options, text, {"file": str(options.text), "count": count})


def _known(options: argparse.Namespace, ledger: Ledger) -> dict[str, Any]:
    """Give what the builder says of the file's layout, before it is read."""
    from forecast.buildfile.checks import nearest
    from forecast.errors import LedgerError
    from forecast.ledger.preview import ROLES, proposed_columns

    usable = {name: getattr(options, name) for name in ("encoding", "delimiter") if getattr(options, name)}
    if not options.columns:
        return usable
    columns: dict[str, str] = {}
    for text in options.columns:
        role, _, heading = text.partition("=")
        if role not in ROLES or not heading:
            message = f"--column {text!r}: write it as ROLE=HEADING. {nearest(role, ROLES)}"
            raise LedgerError(message)
        columns[role] = heading
    _, proposed = proposed_columns(options.statement, ledger, source=options.source, **usable)
    kept = {role: heading for role, heading in proposed.items() if heading not in columns.values()}
    if "amount" in columns:  # a sum with its sign, or two columns: never both
        kept = {role: heading for role, heading in kept.items() if role not in ("debit", "credit")}
    elif {"debit", "credit"} & set(columns):
        kept.pop("amount", None)
    return {**usable, "columns": kept | columns}


def _same(
    options: argparse.Namespace, plan: ImportPlan, titles: Mapping[str, str], currency: str
) -> dict[str, bool]:
    """Give which suppliers of the file are the one called like them: as said, or as asked where somebody is there."""
    from forecast.errors import LedgerError
    from forecast.ledger.entries import same_supplier
    from forecast.views.settling_words import called_like_question

    found = {
        one.odd.supplier: True
        for one in plan.like
        if any(same_supplier(name, one.odd.supplier) for name in options.same_as)
    }
    for name in options.same_as:
        if not any(same_supplier(name, one.odd.supplier) for one in plan.like):
            message = (
                f"--same-as {name!r}: no row is of a supplier called like one with whom a price is agreed so."
            )
            raise LedgerError(message)
    if not options.enter or options.json or not somebody_there():
        return found
    for one in plan.like:
        if one.odd.supplier in found or set(one.rows) & {*options.accept, *options.leave_out}:
            continue
        print(
            f"{plain(called_like_question(one, titles, currency))} [y/n] ",
            end="",
            file=sys.stderr,
            flush=True,
        )
        try:
            said = input().strip().casefold()
        except EOFError:
            break
        if said in ("y", "yes", "n", "no"):
            found[one.odd.supplier] = said.startswith("y")
    return found


def preview_text(plan: ImportPlan, asks: Sequence[str] = ()) -> str:
    """Write how the file was read and what would become of each row."""
    from forecast.words.minor_units import format_plain

    layout = plan.preview.layout
    columns = ", ".join(f"{role} from {heading!r}" for role, heading in layout.columns.items())
    rows = [
        [
            str(row.number),
            short_day(row.date),
            wrapped(row.supplier, 28),
            ("-" if row.kind == "refund" else "") + format_plain(row.amount_minor, row.currency),
            row.line_id or "–",
            {True: "yes", False: "no", None: ""}[row.settled],
            row.state,
            wrapped(row.why, 48),
        ]
        for row in plan.rows
    ]
    headings = ["Row", "Date", "Supplier", "Sum", "Line", "All?", "State", "Why"]
    if not any(row.settled is not None for row in plan.rows):
        headings.remove("All?")
        rows = [row[:5] + row[6:] for row in rows]
    new = len(plan.of_state("new"))
    heading = (
        f"{new} of {len(plan.rows)} rows would be entered. Read as {layout.encoding}, dates {layout.date_order}, "
        f"decimal mark {layout.decimal!r}, money spent {layout.spending}; {columns}."
    )
    shown = table(headings, rows, left=3, last_left=True)
    asked = "".join(f"{one}\n\n" for one in asks)
    return f"{heading}\n\n{shown}\n\n{asked}Nothing was entered yet: add --enter when this is right."
