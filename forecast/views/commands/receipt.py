"""``forecast receipt …`` and ``forecast receipts``: the list of what was paid, and what is done with a row of it."""

from __future__ import annotations

import argparse
import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING

from forecast.views.commands.common import Answered, add_file, answer, command, to_read, whole
from forecast.views.commands.effect import Effect
from forecast.views.commands.naming import day
from forecast.views.commands.receipt_add import add_entering
from forecast.views.commands.receipt_import import add_import, add_load
from forecast.views.commands.receipt_read import add_read
from forecast.views.commands.told import receipt_data, table, wrapped
from forecast.words.day_words import short_day

if TYPE_CHECKING:
    from forecast.ledger import Receipt
    from forecast.views.answers.of_receipts import DocumentKept, FileWritten, ReceiptsAnswer, ReceiptVoided

Commands = argparse._SubParsersAction  # the type of what add_subparsers gives


def add(commands: Commands[argparse.ArgumentParser]) -> None:
    """Add the commands."""
    group = commands.add_parser("receipt", help="enter, read, void, attach or import receipts")
    actions = group.add_subparsers(dest="action", metavar="ACTION", required=True)
    add_entering(actions)
    _add_void(actions)
    _add_attach(actions)
    add_read(actions)
    add_import(actions)
    _add_export(actions)
    add_load(actions)
    listing = command(actions, "list", "what was paid", run_list)
    _add_list_options(listing)
    _add_list_options(command(commands, "receipts", "what was paid, and for what", run_list))


def _add_void(actions: Commands[argparse.ArgumentParser]) -> None:
    parser = command(actions, "void", "take a receipt back; it stays in the ledger, marked void", run_void)
    add_file(parser)
    parser.add_argument("number", type=whole, help="the receipt's number in 'forecast receipts'")
    parser.add_argument("--why", default="taken back", help="why it was wrong, as mistyped; kept beside it")


def _add_attach(actions: Commands[argparse.ArgumentParser]) -> None:
    parser = command(actions, "attach", "keep a photo or PDF with a receipt", run_attach)
    add_file(parser)
    parser.add_argument("number", type=whole, help="the receipt's number in 'forecast receipts'")
    parser.add_argument("document", type=Path, help="the photo or PDF")


def _add_export(actions: Commands[argparse.ArgumentParser]) -> None:
    detail = (
        "Writes the whole ledger as one plain CSV file: receipts, voids, commitments, states and frozen budgets.\n"
        "A file whose name ends in .xlsx becomes a spreadsheet of the receipts instead."
    )
    parser = command(
        actions, "export", "the whole ledger as CSV, or the receipts as XLSX", run_export, detail
    )
    add_file(parser)
    parser.add_argument("target", type=Path, help="the file to write")
    parser.add_argument("--replace", action="store_true", help="write over a file that is there")


def _add_list_options(parser: argparse.ArgumentParser) -> None:
    add_file(parser)
    parser.add_argument("--as-of", type=day, metavar="DATE", help="as the ledger stood on a day")
    parser.add_argument("--voided", action="store_true", help="show receipts that were taken back, too")


def run_void(options: argparse.Namespace) -> Answered[ReceiptVoided]:
    """Take a receipt back."""
    from forecast.ledger.folder import BuildFolder
    from forecast.views.settling_words import taken_back_words
    from forecast.watching.settling import titles_of, void_receipt

    folder = BuildFolder.at(options.file)
    build, ledger = folder.read(), folder.ledger(anyway=True)
    effect = Effect(build, ledger)
    row, lines = void_receipt(ledger, options.number, options.why)
    moved_words, moved = effect.told(build, ledger, undone=True)
    told = [
        f"Receipt {options.number} is void; row {row.id} says why.",
        taken_back_words(lines, titles_of(build, ledger=ledger)),
        moved_words,
    ]
    return answer(options, " ".join(filter(None, told)), {"receipt": receipt_data(row), "moved": moved})


def run_attach(options: argparse.Namespace) -> Answered[DocumentKept]:
    """Keep a document with a receipt."""
    from forecast.ledger.attachments import attach_file
    from forecast.ledger.folder import BuildFolder

    attached = attach_file(BuildFolder.at(options.file).ledger(), options.number, options.document)
    text = f"{attached.name} is kept with receipt {attached.receipt_id}."
    data: DocumentKept = {
        "receipt": attached.receipt_id,
        "name": attached.name,
        "sha256": attached.sha256,
        "size": attached.size,
    }
    return answer(options, text, data)


def run_export(options: argparse.Namespace) -> Answered[FileWritten]:
    """Write the ledger as CSV, or the receipts as a spreadsheet."""
    from forecast.ledger.folder import BuildFolder
    from forecast.ledger.receipts_csv import receipts_csv
    from forecast.ledger.receipts_xlsx import receipts_xlsx
    from forecast.watching.settling import titles_of

    folder = BuildFolder.at(options.file)
    build = folder.read()
    if options.target.suffix.casefold() == ".xlsx":
        ledger = to_read(folder)
        sheet = receipts_xlsx(ledger, build.build.currency, titles_of(build, ledger=ledger))
        what, content = "receipts are", sheet
    else:
        what, content = "ledger is", receipts_csv(to_read(folder)).encode()
    file = folder.export(options.target, content, replace=options.replace)
    return answer(options, f"The {what} in {file}.", {"file": str(file)})


def run_list(options: argparse.Namespace) -> Answered[ReceiptsAnswer]:
    """List receipts."""
    from forecast.ledger import EveryReceipt
    from forecast.ledger.folder import BuildFolder
    from forecast.watching.settling import titles_of
    from forecast.words.money import exact

    folder = BuildFolder.at(options.file)
    build = folder.read()
    own = build.build.currency
    every = EveryReceipt((), {})
    ledger = None
    if folder.has_ledger() or folder.not_entered() is not None:
        ledger = to_read(folder, anyway=True)
        every = ledger.every_receipt(options.as_of)
    standing, undone = every.standing, every.undone
    listed = every.receipts if options.voided else standing
    total = sum(receipt.paid_minor for receipt in standing)
    if not listed:
        text = "No receipts yet. Enter the first with: forecast receipt add FILE --amount … --supplier … --line …"
    else:
        titles = titles_of(build, ledger=ledger)
        rows = [
            [
                str(receipt.id),
                short_day(receipt.date),
                wrapped(receipt.supplier, 24),
                wrapped(", ".join(titles.get(split.line_id, split.line_id) for split in receipt.splits), 40),
                exact(receipt.paid_minor, own),
                _state(receipt, undone.get(receipt.id)),
            ]
            for receipt in listed
        ]
        rows.append(["", "", "", "Total", exact(total, own), ""])
        noun = "receipt" if len(standing) == 1 else "receipts"
        heading = f"{len(standing)} {noun}, {exact(total, own)} paid."
        if options.voided and (void := len(every.taken_back)):
            heading += f" {void} taken back."
        headings = ["No.", "Date", "Supplier", "For", "Paid", ""]
        text = heading + "\n\n" + table(headings, rows, left=4, last_left=True)
    data: ReceiptsAnswer = {
        "currency": own,
        "count": len(standing),
        "paid_minor": total,
        "receipts": [receipt_data(receipt) for receipt in listed if receipt.id not in undone],
        "undone": [
            {"receipt": receipt_data(one), "undone_at": undone[one.id]} for one in listed if one.id in undone
        ],
    }
    return answer(options, text, data)


def _state(receipt: Receipt, undone: dt.datetime | None) -> str:
    """Say what the supplier charged where that was another currency, and what became of the receipt."""
    from forecast.views.undone_words import undone_words
    from forecast.words.money import exact

    if receipt.voids is not None:
        return f"takes back {receipt.voids}: {wrapped(receipt.note, 30)}"
    said = [] if receipt.charged_minor is None else [f"for {exact(receipt.amount_minor, receipt.currency)}"]
    said += [] if receipt.voided_by is None else [f"taken back by {receipt.voided_by}"]
    said += [] if undone is None else [undone_words(undone)]
    return ", ".join(said)
