"""``forecast receipt …`` and ``forecast receipts``: what was paid."""

from __future__ import annotations

import argparse
import datetime as dt
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from forecast.errors import LedgerError
from forecast.views.commands.common import (
    add_file,
    add_sure,
    answer,
    by_title,
    command,
    currency_of,
    exact_sum,
    make_sure,
    somebody_there,
    to_read,
    whole,
)
from forecast.views.commands.receipt_import import add_import
from forecast.views.commands.receipt_read import add_read
from forecast.words.text import plain

if TYPE_CHECKING:
    from forecast.buildfile.changes import AddItem
    from forecast.buildfile.schema import Build
    from forecast.ledger import Ledger, NewReceipt, Receipt
    from forecast.watching.settling import Likely

Commands = argparse._SubParsersAction  # the type of what add_subparsers gives


def add(commands: Commands[argparse.ArgumentParser]) -> None:
    """Add the commands."""
    group = commands.add_parser("receipt", help="enter, read, void, attach or import receipts")
    actions = group.add_subparsers(dest="action", metavar="ACTION", required=True)
    _add_add(actions)
    _add_void(actions)
    _add_attach(actions)
    add_read(actions)
    add_import(actions)
    _add_export(actions)
    _add_load(actions)
    listing = command(actions, "list", "what was paid", run_list)
    _add_list_options(listing)
    _add_list_options(command(commands, "receipts", "what was paid, and for what", run_list))


def _add_add(actions: Commands[argparse.ArgumentParser]) -> None:
    detail = (
        "Enter a receipt. --line names what it was for; with several lines give each its part, as in\n"
        "  forecast receipt add my-build --amount 148.50 --supplier 'paint counter' --line primer=90 --line tape=58.50"
    )
    parser = command(actions, "add", "enter a receipt", run_add, detail)
    add_file(parser)
    parser.add_argument(
        "--amount", required=True, metavar="SUM", help="what the supplier charged, such as 148.50"
    )
    parser.add_argument("--supplier", required=True, help="who was paid")
    parser.add_argument(
        "--line", action="append", required=True, metavar="LINE[=SUM]", dest="lines",
        help="the line (or risk event) it was for, by name or id; give it again, with sums, to split",
    )  # fmt: skip
    parser.add_argument(
        "--new-line", nargs="?", const="other", default=None, metavar="GROUP",
        help="nobody told of this bill: a line named as in --line is added to the build file for it, without an "
        "estimate; --new-line=GROUP says where it stands",
    )  # fmt: skip
    parser.add_argument("--date", type=day, default=None, help="when it was paid, as 2026-05-31 (today)")
    parser.add_argument("--currency", help="of the amount; the build's when left out")
    parser.add_argument("--charged", metavar="SUM", help="what left your account, in the build's currency")
    parser.add_argument("--refund", action="store_true", help="money that came back")
    parser.add_argument("--deposit", action="store_true", help="a part payment, more to come")
    parser.add_argument(
        "--against",
        type=whole,
        metavar="NO",
        help="the commitment that it is paid against, as 'agreed' lists it; when left out, the one with this supplier "
        "for its line",
    )
    parser.add_argument(
        "--apart", action="store_true", help="it is no part of a price agreed with this supplier"
    )
    parser.add_argument(
        "--evenly", action="store_true", help="share out evenly over the lines that have no sum"
    )
    parser.add_argument(
        "--by-estimate", action="store_true", help="share out over them as they were estimated"
    )
    parser.add_argument(
        "--attach", type=Path, action="append", default=[], metavar="DOCUMENT", help="its photo or PDF"
    )
    parser.add_argument("--note", default="", help="anything worth keeping")
    parser.add_argument(
        "--all", "--closes", action="append", nargs="?", const="", default=[], metavar="LINE", dest="settled",
        help="that is all for these lines: they are closed; --all=LINE for one of several",
    )  # fmt: skip
    parser.add_argument(
        "--more-to-come", action="append", nargs="?", const="", default=[], metavar="LINE", dest="more",
        help="more will be paid for these lines; --more-to-come=LINE for one of several",
    )  # fmt: skip
    add_sure(parser)


def _add_void(actions: Commands[argparse.ArgumentParser]) -> None:
    parser = command(actions, "void", "take a receipt back; it stays in the ledger, marked void", run_void)
    add_file(parser)
    parser.add_argument("number", type=whole, help="the receipt's number in 'forecast receipts'")
    parser.add_argument("--why", required=True, help="why it was wrong")


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


def _add_load(actions: Commands[argparse.ArgumentParser]) -> None:
    detail = (
        "Enters a ledger that stands as text, as 'forecast receipt export' writes it: all of it, or nothing.\n"
        "What is there already is not entered again."
    )
    parser = command(actions, "load", "enter a ledger that stands as text (CSV)", run_load, detail)
    add_file(parser)
    parser.add_argument(
        "text", type=Path, nargs="?", help="the CSV file; receipts.csv beside the build when left out"
    )


def _add_list_options(parser: argparse.ArgumentParser) -> None:
    add_file(parser)
    parser.add_argument("--as-of", type=day, metavar="DATE", help="as the ledger stood on a day")
    parser.add_argument("--voided", action="store_true", help="show receipts that were taken back, too")


def day(text: str) -> dt.date:
    """Read a date."""
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        message = f"{text!r} is no date: write year-month-day, as 2026-05-31"
        raise argparse.ArgumentTypeError(message) from None


def known_ids(
    build: Build, *, events: bool = True, lines: bool = True, hours: bool = False, on_the_way: bool = False
) -> list[str]:
    """Give the ids that a receipt or a mark may name.

    Own hours only where they may be marked as worked, and without the other lines those charges that come on the way
    of goods or not at all only where these may be ruled out.
    """
    from forecast.engine.plan import compile_plan

    found = [line.id for line in build.line] if lines else []
    found += [event.id for event in build.event] if events else []
    if build.consignment:  # their lines and events follow from rules; they are the same in every scenario
        bought = [row for row in compile_plan(build).payable if row.of != row.id]
        found += [
            row.id for row in bought if (row.kind == "line" and lines) or (row.kind == "event" and events)
        ]
    if on_the_way:
        found += [name for name in charges_on_the_way(build) if name not in found]
    if hours:
        found += [f"{line.id}.own_hours" for line in build.line if line.own_hours is not None]
    return found


def charges_on_the_way(build: Build) -> list[str]:
    """Give the lines that come on the way of goods or not at all, as storage does, by id."""
    from forecast.engine.plan import compile_plan

    if not build.consignment:
        return []
    lines = {row.id for row in compile_plan(build).payable if row.kind == "line"}
    return [
        name for item in compile_plan(build).consignments for name in item.over_once_here if name in lines
    ]


def check_id(
    name: str,
    build: Build,
    *,
    events: bool = True,
    lines: bool = True,
    hours: bool = False,
    on_the_way: bool = False,
) -> str:
    """Give a line or event by id or name, as its id; a consignment's own means its goods where they have one price.

    Raises
    ------
    LedgerError
        Naming the nearest that there is, or all that are called so.
    """
    legal = known_ids(build, events=events, lines=lines, hours=hours, on_the_way=on_the_way)
    found = _find_id(name, build, legal)
    if found is None:
        what = "line or event" if events and lines else "event" if events else "line"
        raise LedgerError(_not_there(name, build, legal, what))
    return found


def _find_id(name: str, build: Build, legal: Sequence[str]) -> str | None:
    """Give the one of some ids that a name means, as `check_id` does; None where it means none."""
    if name in legal:
        line = name.removesuffix(".own_hours")
        return line if line in build.work_alone else name  # work that costs nothing is closed by its line
    if f"{name}.goods" in legal:
        return f"{name}.goods"
    return by_title(name, _called(build, legal))


def _called(build: Build, legal: Sequence[str]) -> dict[str, str]:
    from forecast.watching.settling import titles_of

    titles = titles_of(build)
    return {id_: titles[id_] for id_ in legal if id_ in titles}


def _not_there(name: str, build: Build, legal: Sequence[str], what: str) -> str:
    from forecast.buildfile.checks import nearest

    near = nearest(name, list(_called(build, legal).values())) if " " in name else nearest(name, list(legal))
    return f"there is no {what} {name!r} in the build. {near}"


def _new_lines(options: argparse.Namespace, build: Build) -> list[AddItem]:
    """Give lines for what a receipt is for and the build has not: as said, or as asked where somebody is there.

    Raises
    ------
    LedgerError
        When a line is not there and is not to be added.
    """
    from forecast.buildfile.changes import AddItem
    from forecast.buildfile.sheet import free_id

    legal = known_ids(build)
    exact_names = {*legal, *(title.casefold() for title in _called(build, legal).values())}
    taken = {*legal, *(item.id for item in (*build.line, *build.event))}
    added: dict[str, AddItem] = {}
    for text in options.lines:
        name = text.partition("=")[0].strip()
        if name.casefold() in added or not name:
            continue
        group = options.new_line if options.new_line != "" else "other"
        if group is None and _find_id(name, build, legal) is None:
            text = _not_there(name, build, legal, "line or event")
            if options.json or not somebody_there():
                message = (
                    f"{text} Did nobody tell you of this bill? With --new-line it gets a line of its own."
                )
                raise LedgerError(message)
            question = f"{text} Enter it on a new line {name!r}, which was in no estimate?"
            make_sure(argparse.Namespace(sure=False), question)
            group = "other"
        if group is not None and name not in legal and name.casefold() not in exact_names:
            id = free_id(name, taken)
            taken.add(id)
            note = "Not in the estimate: nobody told of this bill."
            table = {"id": id, "name": name, "group": group, "amount": 0, "note": note}
            added[name.casefold()] = AddItem("line", table)
    return list(added.values())


def _splits(options: argparse.Namespace, build: Build, total: int) -> list[tuple[str, int]]:
    """Read --line options: one line takes the whole, several take their sums or share the rest out."""
    from forecast.watching.estimates import middle_figures, shared_out

    pairs = [text.partition("=") for text in options.lines]
    names = [check_id(name.strip(), build) for name, _, _ in pairs]
    currency = build.build.currency
    given = [
        (name, exact_sum(sum_, "--line", currency))
        for name, (_, mark, sum_) in zip(names, pairs, strict=True)
        if mark
    ]
    others = [name for name, (_, mark, _) in zip(names, pairs, strict=True) if not mark]
    if not others:
        return given  # one line may take two sums, such as a price and its discount
    if options.evenly and options.by_estimate:
        message = "--evenly, --by-estimate: the rest is shared out in one way. Say one of them."
        raise LedgerError(message)
    if len(others) > 1 and not options.evenly and not options.by_estimate:
        message = (
            "--line: with several lines give each its part, as --line primer=90 --line tape=58.50, "
            "or say --evenly or --by-estimate. One line alone may go without and takes the rest."
        )
        raise LedgerError(message)
    sums: dict[str, int] = {}
    for name, part in given:
        sums[name] = sums.get(name, 0) + part
    if options.by_estimate:
        return list(shared_out(total, sums, others, "by estimate", middle_figures(build)))
    return list(shared_out(total, sums, others, "evenly"))


def run_add(options: argparse.Namespace) -> int:
    """Enter a receipt."""
    from forecast.buildfile.edit import changed, edit_build
    from forecast.buildfile.reader import parse_build, read_text
    from forecast.ledger import NewReceipt
    from forecast.ledger.attachments import attach_file
    from forecast.ledger.days import not_ahead
    from forecast.ledger.entries import checked
    from forecast.ledger.folder import BuildFolder
    from forecast.ledger.place import doubt_about
    from forecast.views.settling_words import (
        beside_words,
        entered_words,
        for_words,
        named,
        overrun_words,
        paid_words,
        parts_words,
        question,
    )
    from forecast.watching.settling import enter_receipt, titles_of
    from forecast.words.money import exact

    folder = BuildFolder.at(options.file)
    build = folder.read()
    if added := _new_lines(options, build):
        build = parse_build(changed(read_text(folder.build_file), added), str(folder.build_file))
    own = build.build.currency
    currency = currency_of(options.amount, options.currency, build)
    amount = exact_sum(options.amount, "--amount", currency)
    paid = (exact_sum(options.charged, "--charged", own), own) if options.charged else None
    if currency != own and paid is None:
        message = f"--charged: say what left your account in {own} for these {currency} {options.amount}."
        raise LedgerError(message)
    if options.apart and options.against is not None:
        message = "--apart, --against: it counts against an agreed price or against none. Say one of them."
        raise LedgerError(message)
    splits = _splits(options, build, paid[0] if paid else amount)
    new = checked(NewReceipt(
        not_ahead(options.date or dt.date.today(), dt.date.today(), "receipt"), options.supplier, amount, currency,
        tuple(splits), options.note, paid,
        "refund" if options.refund else "deposit" if options.deposit else "payment",
        commitment_id=options.against, apart=options.apart,
    ))  # fmt: skip
    if not folder.has_ledger() and (
        doubt := doubt_about(folder.folder)
    ):  # said once, where the ledger begins
        print(plain(doubt), file=sys.stderr)
    titles, ledger = titles_of(build), folder.ledger()
    make_sure(options, question(build, ledger, new, titles))
    answers = _answers(options, build, ledger, new, titles)
    if added:
        edit_build(folder.build_file, added)
    with ledger.together():
        entered = enter_receipt(ledger, build, new, answers)
        for document in options.attach:
            attach_file(ledger, entered.receipt.id, document)
    receipt = entered.receipt
    total = sum(ledger.paid_by_line().values())
    told = [
        f"Receipt {receipt.id}: {paid_words(receipt)} on {receipt.date}, {for_words(receipt, titles)}.",
        f"New in the build file: {named([str(one.table['id']) for one in added], titles)}." if added else "",
        parts_words(receipt, titles, own) if options.evenly or options.by_estimate else "",
        entered_words(entered, titles, own),
        overrun_words(entered, build, ledger, titles),
        beside_words((split.line_id for split in receipt.splits), build, ledger),
        f"Paid so far: {exact(total, own)}. 'forecast watch' shows where it ends now.",
    ]
    data = {
        "receipt": receipt_data(receipt), "paid_minor": total, "currency": own, "closed": list(entered.closed),
        "more_to_come": list(entered.more),
    }  # fmt: skip
    return answer(options, " ".join(filter(None, told)), data)


def _answers(
    options: argparse.Namespace, build: Build, ledger: Ledger, new: NewReceipt, titles: Mapping[str, str]
) -> dict[str, bool | None]:
    """Give whether the receipt is all for each of its lines: as said, as asked where somebody is there, or open."""
    from forecast.ledger.entries import pair
    from forecast.watching.settling import likely_answers

    names = list(dict.fromkeys(name for name, _ in map(pair, new.splits)))
    said: dict[str, bool | None] = {}
    for option, word, given in (("--all", True, options.settled), ("--more-to-come", False, options.more)):
        for written in given:
            name = (
                written
                if written in names
                else by_title(written, {one: titles.get(one, one) for one in names})
            )
            if written and name is None:
                message = (
                    f"{option}={written}: this receipt is for {', '.join(names)}. Name one of its lines."
                )
                raise LedgerError(message)
            for one in [name] if name else names:
                if said.get(one, word) is not word:
                    message = f"--all, --more-to-come: both are said of {one!r}. Say one of them."
                    raise LedgerError(message)
                said[one] = word
    if new.kind == "deposit":
        said = {name: said.get(name, False) for name in names}
    if options.json or not somebody_there() or not set(names) - said.keys() or new.kind == "refund":
        return said
    closed = ledger.closed_lines()

    def decide(name: str, likely: Likely) -> bool | None:
        if name not in said and name not in closed:
            said[name] = _ask_whether_all(titles.get(name, name), likely)
        return said.get(name)

    likely_answers(build, ledger, new, decide=decide)
    return said


def _ask_whether_all(title: str, likely: Likely) -> bool | None:
    """Ask in a terminal; nothing typed takes the likely answer."""
    from forecast.views.settling_words import of_100

    seems = f" It looks so ({of_100(likely.chance)})." if likely.answer and likely.chance is not None else ""
    keys = {
        True: "Y/n, d if you don't know",
        False: "y/N, d if you don't know",
        None: "y/n, Enter if you don't know",
    }
    while True:
        print(
            f"Is that all for {title}?{seems} [{keys[likely.answer]}, ? explains] ",
            end="", file=sys.stderr, flush=True,
        )  # fmt: skip
        try:
            said = input().strip().casefold()
        except EOFError:
            return None
        if not said:
            return likely.answer
        if said in _SAID:
            return _SAID[said]
        print(
            _WHAT_ALL_MEANS if said == "?" else "Type y for yes, n for no, or d if you don't know.",
            file=sys.stderr,
        )


_SAID: Mapping[str, bool | None] = {
    "y": True, "yes": True, "n": False, "no": False, "d": None, "don't know": None,
}  # fmt: skip
"""What may be answered to "Is that all?"."""

_WHAT_ALL_MEANS = (
    "Yes closes the line: it costs what was paid, and nothing more will come. No says that more is to come. Where you "
    "don't know, the forecast counts with both."
)


def receipt_data(receipt: Receipt) -> dict[str, Any]:
    """Give a receipt for programs."""
    return {
        "id": receipt.id,
        "date": receipt.date.isoformat(),
        "supplier": receipt.supplier,
        "kind": receipt.kind,
        "amount_minor": receipt.amount_minor,
        "currency": receipt.currency,
        "paid_minor": receipt.paid_minor,
        "paid_currency": receipt.paid_currency,
        "splits": [{"line": split.line_id, "amount_minor": split.amount_minor} for split in receipt.splits],
        "note": receipt.note,
        "voids": receipt.voids,
        "voided_by": receipt.voided_by,
    }


def run_void(options: argparse.Namespace) -> int:
    """Take a receipt back."""
    from forecast.ledger.folder import BuildFolder
    from forecast.views.settling_words import taken_back_words
    from forecast.watching.settling import titles_of, void_receipt

    folder = BuildFolder.at(options.file)
    row, lines = void_receipt(folder.ledger(anyway=True), options.number, options.why)
    told = [
        f"Receipt {options.number} is void; row {row.id} says why.", taken_back_words(lines, titles_of(folder.read()))
    ]  # fmt: skip
    return answer(options, " ".join(filter(None, told)), {"receipt": receipt_data(row)})


def run_attach(options: argparse.Namespace) -> int:
    """Keep a document with a receipt."""
    from forecast.ledger.attachments import attach_file
    from forecast.ledger.folder import BuildFolder

    attached = attach_file(BuildFolder.at(options.file).ledger(), options.number, options.document)
    text = f"{attached.name} is kept with receipt {attached.receipt_id}."
    data = {
        "receipt": attached.receipt_id,
        "name": attached.name,
        "sha256": attached.sha256,
        "size": attached.size,
    }
    return answer(options, text, data)


def run_export(options: argparse.Namespace) -> int:
    """Write the ledger as CSV, or the receipts as a spreadsheet."""
    from forecast.ledger.folder import BuildFolder
    from forecast.ledger.receipts_csv import receipts_csv
    from forecast.ledger.receipts_xlsx import receipts_xlsx

    folder = BuildFolder.at(options.file)
    build = folder.read()
    if options.target.suffix.casefold() == ".xlsx":
        names = {item.id: item.title for item in (*build.line, *build.event)}
        what, content = "receipts are", receipts_xlsx(to_read(folder), build.build.currency, names)
    else:
        what, content = "ledger is", receipts_csv(to_read(folder)).encode()
    file = folder.export(options.target, content, replace=options.replace)
    return answer(options, f"The {what} in {file}.", {"file": str(file)})


def run_load(options: argparse.Namespace) -> int:
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


def run_list(options: argparse.Namespace) -> int:
    """List receipts."""
    from forecast.ledger.folder import BuildFolder
    from forecast.views.text_tables import shorten, table
    from forecast.watching.settling import titles_of
    from forecast.words.money import exact

    folder = BuildFolder.at(options.file)
    build = folder.read()
    own = build.build.currency
    receipts: Sequence[Receipt] = ()
    if folder.has_ledger() or folder.not_entered() is not None:
        receipts = to_read(folder, anyway=True).list_receipts(options.as_of, include_void=options.voided)
    standing = [receipt for receipt in receipts if receipt.voids is None and receipt.voided_by is None]
    total = sum(receipt.paid_minor for receipt in standing)
    if not receipts:
        text = "No receipts yet. Enter the first with: forecast receipt add FILE --amount … --supplier … --line …"
    else:
        titles = titles_of(build)
        rows = [
            [
                str(receipt.id),
                receipt.date.isoformat(),
                shorten(receipt.supplier, 24),
                shorten(", ".join(titles.get(split.line_id, split.line_id) for split in receipt.splits), 40),
                exact(receipt.paid_minor, own),
                _state(receipt),
            ]
            for receipt in receipts
        ]
        rows.append(["", "", "", "Total", exact(total, own), ""])
        noun = "receipt" if len(standing) == 1 else "receipts"
        heading = f"{len(standing)} {noun}, {exact(total, own)} paid."
        void = sum(receipt.voids is not None for receipt in receipts)
        if void:
            heading += f" {void} taken back."
        headings = ["No.", "Date", "Supplier", "For", "Paid", ""]
        text = heading + "\n\n" + table(headings, rows, left=4, last_left=True)
    data = {
        "currency": own,
        "count": len(standing),
        "paid_minor": total,
        "receipts": [receipt_data(receipt) for receipt in receipts],
    }
    return answer(options, text, data)


def _state(receipt: Receipt) -> str:
    """Say what the supplier charged where that was another currency, and what became of the receipt."""
    from forecast.views.text_tables import shorten
    from forecast.words.money import exact

    if receipt.voids is not None:
        return f"takes back {receipt.voids}: {shorten(receipt.note, 30)}"
    said = [] if receipt.charged_minor is None else [f"for {exact(receipt.amount_minor, receipt.currency)}"]
    said += [] if receipt.voided_by is None else [f"taken back by {receipt.voided_by}"]
    return ", ".join(said)
