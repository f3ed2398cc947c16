"""``forecast receipt …``, ``forecast receipts``, and what else is told to the ledger."""

from __future__ import annotations

import argparse
import datetime as dt
from collections.abc import Sequence
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any

from forecast.errors import LedgerError
from forecast.views.commands.common import add_file, add_simulation, answer, command
from forecast.views.commands.imports import add_import

if TYPE_CHECKING:
    from forecast.build.schema import Build
    from forecast.spending.ledger import Receipt

Commands = argparse._SubParsersAction  # the type of what add_subparsers gives


def add(commands: Commands[argparse.ArgumentParser]) -> None:
    """Add the commands."""
    group = commands.add_parser("receipt", help="enter, void, attach or import receipts")
    actions = group.add_subparsers(dest="action", metavar="ACTION", required=True)
    _add_add(actions)
    _add_void(actions)
    _add_attach(actions)
    add_import(actions)
    _add_export(actions)
    listing = command(actions, "list", "what was paid", run_list)
    _add_list_options(listing)
    _add_list_options(command(commands, "receipts", "what was paid, and for what", run_list))
    _add_marks(commands)
    _add_freeze(commands)


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
        help="the line (or risk event) it was for; give it again, with sums, to split",
    )  # fmt: skip
    parser.add_argument("--date", type=day, default=None, help="when it was paid, as 2026-05-31 (today)")
    parser.add_argument("--currency", help="of the amount; the build's when left out")
    parser.add_argument("--charged", metavar="SUM", help="what left your account, in the build's currency")
    parser.add_argument("--refund", action="store_true", help="money that came back")
    parser.add_argument("--deposit", action="store_true", help="a part payment, more to come")
    parser.add_argument("--evenly", action="store_true", help="split over the lines evenly")
    parser.add_argument(
        "--by-estimate", action="store_true", help="split over the lines as they were estimated"
    )
    parser.add_argument("--note", default="", help="anything worth keeping")
    parser.add_argument("--closes", action="store_true", help="nothing more will be paid for these lines")


def _add_void(actions: Commands[argparse.ArgumentParser]) -> None:
    parser = command(actions, "void", "take a receipt back; it stays in the ledger, marked void", run_void)
    add_file(parser)
    parser.add_argument("number", type=int, help="the receipt's number in 'forecast receipts'")
    parser.add_argument("--why", required=True, help="why it was wrong")


def _add_attach(actions: Commands[argparse.ArgumentParser]) -> None:
    parser = command(actions, "attach", "keep a photo or PDF with a receipt", run_attach)
    add_file(parser)
    parser.add_argument("number", type=int, help="the receipt's number in 'forecast receipts'")
    parser.add_argument("document", type=Path, help="the photo or PDF")


def _add_export(actions: Commands[argparse.ArgumentParser]) -> None:
    detail = "Writes the whole ledger as one plain CSV file: receipts, voids, agreements, states and frozen budgets."
    parser = command(actions, "export", "the whole ledger as one CSV file", run_export, detail)
    add_file(parser)
    parser.add_argument("target", type=Path, help="the file to write; one that is there is replaced")


def _add_list_options(parser: argparse.ArgumentParser) -> None:
    add_file(parser)
    parser.add_argument("--as-of", type=day, metavar="DATE", help="as the ledger stood on a day")
    parser.add_argument("--voided", action="store_true", help="show receipts that were taken back, too")


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


def _add_freeze(commands: Commands[argparse.ArgumentParser]) -> None:
    parser = command(
        commands, "freeze", "commit to a budget, and keep the build as it is now beside it", run_freeze
    )
    add_file(parser)
    add_simulation(parser)
    parser.add_argument("--budget", metavar="SUM", help="the sum; the build's own when left out")
    parser.add_argument("--note", default="", help="anything worth keeping")


def day(text: str) -> dt.date:
    """Read a date."""
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        message = f"{text!r} is no date: write year-month-day, as 2026-05-31"
        raise argparse.ArgumentTypeError(message) from None


def known_ids(build: Build, *, events: bool = True, lines: bool = True) -> list[str]:
    """Give the ids that a receipt or a mark may name."""
    from forecast.engine.plan import compile_plan

    found = [line.id for line in build.line] if lines else []
    found += [event.id for event in build.event] if events else []
    if build.consignment:  # their lines and events follow from rules; they are the same in every scenario
        bought = [row for row in compile_plan(build).payable if row.of != row.id]
        found += [
            row.id for row in bought if (row.kind == "line" and lines) or (row.kind == "event" and events)
        ]
    return found


def check_id(name: str, build: Build, *, events: bool = True, lines: bool = True) -> str:
    """Refuse an id that the build does not have.

    Raises
    ------
    LedgerError
        Naming the nearest that there is.
    """
    from forecast.build.checks import nearest

    legal = known_ids(build, events=events, lines=lines)
    if name not in legal:
        what = "line or event" if events and lines else "event" if events else "line"
        message = f"there is no {what} {name!r} in the build. {nearest(name, legal)}"
        raise LedgerError(message)
    return name


def _splits(options: argparse.Namespace, build: Build, total: int) -> list[tuple[str, int]]:
    """Read --line options: one line takes the whole, several take their sums or an even share."""
    from forecast.spending.money import parse_money
    from forecast.spending.splitting import split_by_estimate, split_evenly

    pairs = [text.partition("=") for text in options.lines]
    names = [check_id(name.strip(), build) for name, _, _ in pairs]
    given = [amount for _, mark, amount in pairs if mark]
    if not given and len(names) == 1:
        return [(names[0], total)]
    if options.evenly and not given:
        return list(zip(names, split_evenly(total, len(names)), strict=True))
    if options.by_estimate and not given:
        return list(zip(names, split_by_estimate(total, _estimates(names, build)), strict=True))
    if len(given) < len(names):
        message = (
            "--line: with several lines give each its part, as --line primer=90 --line tape=58.50, "
            "or say --evenly or --by-estimate."
        )
        raise LedgerError(message)
    currency = build.build.currency
    return [(name, parse_money(amount, currency)) for name, (_, _, amount) in zip(names, pairs, strict=True)]


def _estimates(names: list[str], build: Build) -> list[float]:
    """Give the middle figures of lines, to split a receipt in proportion."""
    from forecast.engine.plan import compile_plan
    from forecast.engine.trials import reference_values

    plan = compile_plan(build)
    middles = dict(zip((row.id for row in plan.rows), reference_values(plan), strict=True))
    return [float(middles.get(name, 0.0)) for name in names]


def run_add(options: argparse.Namespace) -> int:
    """Enter a receipt."""
    from forecast.spending.folder import BuildFolder
    from forecast.spending.money import parse_money
    from forecast.views.money import exact

    folder = BuildFolder.at(options.file)
    build = folder.read()
    own = build.build.currency
    currency = (options.currency or own).upper()
    amount = parse_money(options.amount, currency)
    paid = (parse_money(options.charged, own), own) if options.charged else None
    if currency != own and paid is None:
        message = f"--charged: say what left your account in {own} for these {currency} {options.amount}."
        raise LedgerError(message)
    splits = _splits(options, build, paid[0] if paid else amount)
    kind = "refund" if options.refund else "deposit" if options.deposit else "payment"
    ledger = folder.ledger()
    receipt = ledger.add_receipt(
        options.date or dt.date.today(), options.supplier, amount, currency, splits, options.note,
        paid=paid, kind=kind,  # type: ignore[arg-type]  # one of the three literals
    )  # fmt: skip
    if options.closes:
        for name in dict.fromkeys(name for name, _ in splits):
            ledger.close_line(name, options.date)
    total = sum(ledger.paid_by_line().values())
    text = (
        f"Receipt {receipt.id}: {exact(receipt.paid_minor, own)} to {receipt.supplier} on {receipt.date}. "
        f"Paid so far: {exact(total, own)}. 'forecast watch' shows where it ends now."
    )
    return answer(options, text, {"receipt": receipt_data(receipt), "paid_minor": total, "currency": own})


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
    from forecast.spending.folder import BuildFolder

    row = BuildFolder.at(options.file).ledger().void_receipt(options.number, options.why)
    text = f"Receipt {options.number} is void; row {row.id} says why."
    return answer(options, text, {"receipt": receipt_data(row)})


def run_attach(options: argparse.Namespace) -> int:
    """Keep a document with a receipt."""
    from forecast.spending.attachments import attach_file
    from forecast.spending.folder import BuildFolder

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
    """Write the ledger as CSV."""
    from forecast.spending.folder import BuildFolder
    from forecast.spending.receipts_csv import export_receipts_csv

    folder = BuildFolder.at(options.file)
    folder.read()
    export_receipts_csv(folder.ledger(), options.target)
    return answer(options, f"The ledger is in {options.target}.", {"file": str(options.target)})


def run_list(options: argparse.Namespace) -> int:
    """List receipts."""
    from forecast.spending.folder import BuildFolder
    from forecast.views.money import exact
    from forecast.views.tables import shorten, table

    folder = BuildFolder.at(options.file)
    build = folder.read()
    own = build.build.currency
    receipts: Sequence[Receipt] = ()
    if folder.has_ledger():
        receipts = folder.ledger().list_receipts(options.as_of, include_void=options.voided)
    total = sum(receipt.paid_minor for receipt in receipts)
    if not receipts:
        text = "No receipts yet. Enter the first with: forecast receipt add FILE --amount … --supplier … --line …"
    else:
        rows = [
            [
                str(receipt.id),
                receipt.date.isoformat(),
                shorten(receipt.supplier, 24),
                shorten(", ".join(split.line_id for split in receipt.splits), 40),
                exact(receipt.paid_minor, own),
            ]
            for receipt in receipts
        ]
        rows.append(["", "", "", "Total", exact(total, own)])
        noun = "receipt" if len(receipts) == 1 else "receipts"
        heading = f"{len(receipts)} {noun}, {exact(total, own)} paid."
        text = heading + "\n\n" + table(["No.", "Date", "Supplier", "For", "Paid"], rows, left=4)
    data = {"currency": own, "paid_minor": total, "receipts": [receipt_data(receipt) for receipt in receipts]}
    return answer(options, text, data)


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
    ledger = folder.ledger()
    mark = (ledger.close_line if close else ledger.reopen_line)(name, options.date, options.note)
    paid = exact(ledger.paid_by_line().get(name, 0), build.build.currency)
    text = f"{name} is {mark.state} from {mark.date} on; {paid} paid."
    return answer(options, text, {"line": name, "state": mark.state, "date": mark.date.isoformat()})


def run_happened(options: argparse.Namespace) -> int:
    """Say that an event happened."""
    return _mark_event(options, "happened")


def run_cannot(options: argparse.Namespace) -> int:
    """Say that an event cannot happen any more."""
    return _mark_event(options, "cannot-happen")


def _mark_event(options: argparse.Namespace, state: str) -> int:
    from forecast.spending.folder import BuildFolder

    folder = BuildFolder.at(options.file)
    name = check_id(options.id, folder.read(), lines=False)
    mark = folder.ledger().mark_event(name, state, options.date, options.note)  # type: ignore[arg-type]
    words = "happened" if state == "happened" else "can no longer happen"
    text = f"{name} {words}, as of {mark.date}. 'forecast watch' shows what follows."
    return answer(options, text, {"event": name, "state": mark.state, "date": mark.date.isoformat()})


def run_freeze(options: argparse.Namespace) -> int:
    """Commit to a budget."""
    from forecast.engine.forecast import DEFAULT_TRIALS, simulate
    from forecast.spending.folder import BuildFolder
    from forecast.spending.money import exponent, parse_money
    from forecast.views.money import builds, exact

    folder = BuildFolder.at(options.file)
    build = folder.read()
    own = build.build.currency
    scale = 10 ** exponent(own)
    if options.budget:
        budget = parse_money(options.budget, own)
        if budget <= 0:
            message = f"--budget: got {options.budget}, must be above zero."
            raise LedgerError(message)
    elif build.build.budget is not None:
        budget = int((Decimal(str(build.build.budget)) * scale).to_integral_value())
    else:
        message = "--budget: say the sum, or set budget in the build file's [build] table."
        raise LedgerError(message)
    trials = options.trials if isinstance(options.trials, int) else DEFAULT_TRIALS
    forecast = simulate(build, options.scenario, trials, options.seed)
    chance = forecast.chance_within(budget / scale)
    folder.ledger().freeze_baseline(
        budget, own,
        fingerprint=build.fingerprint(),
        build_text=folder.build_file.read_text(encoding="utf-8"),
        seed=options.seed, trials=trials, scenario=forecast.plan.scenario, note=options.note,
        base_by_line={line.id: round(line.base * scale) for line in forecast.lines},
    )  # fmt: skip
    text = f"Budget {exact(budget, own)}, enough in {builds(chance.value)} as the build stands now. Kept as baseline."
    return answer(options, text, {"budget_minor": budget, "currency": own, "chance": chance.value})
