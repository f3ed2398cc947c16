"""``forecast receipt add``: entering what was paid, and asking what only the builder knows of it."""

from __future__ import annotations

import argparse
import datetime as dt
import sys
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from forecast.errors import LedgerError
from forecast.views.commands.common import (
    Answered,
    add_file,
    add_sure,
    answer,
    by_title,
    command,
    currency_of,
    exact_sum,
    make_sure,
    somebody_there,
    typed,
    whole,
)
from forecast.views.commands.effect import Effect
from forecast.views.commands.naming import (
    called,
    check_id,
    day,
    find_id,
    known_ids,
    not_there,
    way_in_force,
)
from forecast.views.commands.told import receipt_data
from forecast.words.text import plain

if TYPE_CHECKING:
    from forecast.buildfile.changes import AddItem
    from forecast.buildfile.schema import Build
    from forecast.ledger import Ledger, NewReceipt
    from forecast.ledger.folder import BuildFolder
    from forecast.views.answers.of_receipts import ReceiptAdded
    from forecast.watching.settling import Likely

Commands = argparse._SubParsersAction  # the type of what add_subparsers gives


def add_entering(actions: Commands[argparse.ArgumentParser]) -> None:
    """Add the command."""
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


def run_add(options: argparse.Namespace) -> Answered[ReceiptAdded]:
    """Enter a receipt."""
    from forecast.buildfile.edit import changed, edit_build
    from forecast.buildfile.reader import parse_build, read_text
    from forecast.ledger import NewReceipt
    from forecast.ledger.attachments import attach_file
    from forecast.ledger.days import not_ahead
    from forecast.ledger.entries import checked
    from forecast.ledger.folder import BuildFolder
    from forecast.ledger.place import doubt_about
    from forecast.views.settling_words import question, receipt_words, tenth_question
    from forecast.watching.settling import enter_receipt, titles_of
    from forecast.words.money import exact

    folder = BuildFolder.at(options.file)
    build = stood = folder.read()
    way = way_in_force(folder, build)
    if added := _new_lines(options, build, way):
        build = parse_build(changed(read_text(folder.build_file), added), str(folder.build_file))
    own = build.build.currency
    currency = currency_of(options.amount, options.currency, build)
    expected = _expected_of(options, build, folder, way)
    amount = exact_sum(options.amount, "--amount", currency, lambda: expected(currency))
    paid = (
        (exact_sum(options.charged, "--charged", own, lambda: expected(own)), own)
        if options.charged
        else None
    )
    if currency != own and paid is None:
        message = f"--charged: say what left your account in {own} for these {exact(amount, currency)}."
        raise LedgerError(message)
    if options.apart and options.against is not None:
        message = "--apart, --against: it counts against an agreed price or against none. Say one of them."
        raise LedgerError(message)
    splits = _splits(options, build, paid[0] if paid else amount, expected, way)
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
    make_sure(options, question(build, ledger, new, titles, added), _instead(build, ledger, new, added))
    answers = _answers(options, build, ledger, new, titles)
    settles = [name for name, is_all in answers.items() if is_all]
    make_sure(options, tenth_question(build, ledger, new, settles), "If more is to come, leave --all out.")
    effect = Effect(stood, ledger)
    if added:
        edit_build(folder.build_file, added)
    with ledger.together():
        entered = enter_receipt(ledger, build, new, answers)
        for document in options.attach:
            attach_file(ledger, entered.receipt.id, document)
    receipt = entered.receipt
    total = sum(ledger.paid_by_line().values())
    moved_words, moved = effect.told(build, ledger)
    told = [
        _not_new(options, build, added, way),
        receipt_words(
            entered,
            build,
            ledger,
            titles,
            added=[str(one.table["id"]) for one in added],
            documents=[one.name for one in options.attach],
            shared=options.evenly or options.by_estimate,
        ),
        f"Paid so far: {exact(total, own)}.",
        moved_words,
    ]
    data: ReceiptAdded = {
        "receipt": receipt_data(receipt), "paid_minor": total, "currency": own, "closed": list(entered.closed),
        "more_to_come": list(entered.more),
        "moved": moved,
    }  # fmt: skip
    return answer(options, " ".join(filter(None, told)), data)


def _new_lines(options: argparse.Namespace, build: Build, way: str | None) -> list[AddItem]:
    """Give lines for what a receipt is for and the build has not: as said, or as asked where somebody is there.

    Raises
    ------
    LedgerError
        When a line is not there and is not to be added.
    """
    from forecast.buildfile.proposals import unforeseen_line

    legal = known_ids(build)
    exact_names = {*legal, *(title.casefold() for title in called(build, legal).values())}
    taken = {*legal, *(item.id for item in (*build.line, *build.event))}
    added: dict[str, AddItem] = {}
    for text in options.lines:
        name = text.partition("=")[0].strip()
        if name.casefold() in added or not name:
            continue
        group = options.new_line if options.new_line != "" else "other"
        if group is None and find_id(name, build, legal, way) is None:
            text = not_there(name, build, legal, "line or event")
            if options.json or not somebody_there():
                message = (
                    f"{text} Did nobody tell you of this bill? With --new-line it gets a line of its own."
                )
                raise LedgerError(message)
            question = f"{text} Enter it on a new line {name!r}, which was in no estimate?"
            make_sure(argparse.Namespace(sure=False), question)
            group = "other"
        if group is not None and name not in legal and name.casefold() not in exact_names:
            added[name.casefold()] = unforeseen_line(name, group, taken)
            taken.add(str(added[name.casefold()].table["id"]))
    return list(added.values())


def _not_new(options: argparse.Namespace, build: Build, added: Sequence[AddItem], way: str | None) -> str:
    """Say that --new-line made no line where the build has it; nothing elsewhere."""
    if options.new_line is None:
        return ""
    made = {str(item.table["id"]) for item in added}
    found = (find_id(text.partition("=")[0].strip(), build, known_ids(build), way) for text in options.lines)
    names = [name for name in found if name is not None and name not in made]
    there = list(called(build, names).values())
    if not there:
        return ""
    quoted = " and ".join(f"\u201c{title}\u201d" for title in there)
    return f"{quoted} {'is' if len(there) == 1 else 'are'} in the build already, so --new-line made no new line of it."


def _instead(build: Build, ledger: Ledger, new: NewReceipt, added: Sequence[AddItem]) -> str:
    """Say how a bill is entered where what is odd about it is not meant.

    That is on the lines that stand open for it, in place of a new one, or against a price agreed on a later day or with
    a supplier called like this one.
    """
    from forecast.watching.oddities import oddities

    found = oddities(build, ledger, new, added)
    late = [odd.commitment for odd in found if odd.kind == "agreed-later"]
    if late:
        return f"To count it against that price: --against {late[0]}"
    if like := [odd.supplier for odd in found if odd.kind == "called-like"]:
        return f"If you mean {like[0]}, type: --supplier {typed(like[0])}"
    lines = [line for odd in found for line in odd.open_lines]
    if not lines:
        return ""
    named = " ".join(f"--line {line}{'=SUM' if len(lines) > 1 else ''}" for line in lines)
    return f"To enter it there, without --new-line: {named}"


def _expected_of(
    options: argparse.Namespace, build: Build, folder: BuildFolder, way: str | None
) -> Callable[..., tuple[float, ...]]:
    """Give what tells what a sum for some of the receipt's lines may be about; of all of them where none is named."""
    from forecast.watching.estimates import expected_sums

    def expected(currency: str, line: str | None = None) -> tuple[float, ...]:
        named = [text.partition("=")[0].strip() for text in options.lines] if line is None else [line]
        lines = [find_id(name, build, known_ids(build), way) for name in named]
        if options.refund or None in lines:  # what comes back has no estimate, nor has what nobody told of
            return ()
        ledger = folder.ledger() if folder.has_ledger() else None
        return expected_sums(build, ledger, {str(one) for one in lines}, currency)

    return expected


def _splits(
    options: argparse.Namespace,
    build: Build,
    total: int,
    expected: Callable[..., tuple[float, ...]],
    way: str | None,
) -> list[tuple[str, int]]:
    """Read --line options: one line takes the whole, several take their sums or share the rest out."""
    from forecast.watching.estimates import middle_figures, shared_out

    pairs = [text.partition("=") for text in options.lines]
    names = [check_id(name.strip(), build, way=way) for name, _, _ in pairs]
    currency = build.build.currency
    given = [
        (name, exact_sum(sum_, "--line", currency, partial(expected, currency, name)))
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
    back = new.kind == "refund" and not build.income.issuperset(names)  # not sold: nothing to ask of it
    if options.json or not somebody_there() or not set(names) - said.keys() or back:
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
