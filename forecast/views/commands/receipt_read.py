"""``forecast receipt read``: what a bill says, and the command that would enter it."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from forecast.views.commands.common import Answered, add_file, answer, command, typed

if TYPE_CHECKING:
    from forecast.ledger.papers.paper import Paper
    from forecast.views.answers.of_receipts import PaperRead

Commands = argparse._SubParsersAction  # the type of what add_subparsers gives


def add_read(actions: Commands[argparse.ArgumentParser]) -> None:
    """Add the command."""
    detail = (
        "Reads a bill and prints what would be entered, with where each figure stood, and the command that enters it.\n"
        "Electronic invoices (EN 16931: UBL and CII, also inside a PDF) are read exactly. Nothing is entered."
    )
    parser = command(actions, "read", "what a bill or photo says, and how to enter it", run_read, detail)
    add_file(parser)
    parser.add_argument("paper", type=Path, help="the electronic invoice, PDF or photo")


def run_read(options: argparse.Namespace) -> Answered[PaperRead]:
    """Read a paper and say what would be entered."""
    from forecast.ledger.folder import BuildFolder
    from forecast.ledger.matching import SupplierHistory
    from forecast.ledger.papers.read import read_paper_file
    from forecast.views.commands.told import table
    from forecast.views.paper_words import found_nothing, paper_rows, paper_sentence

    folder = BuildFolder.at(options.file)
    build = folder.read()
    home = build.build.currency
    before = folder.ledger_to_read().lines_by_supplier() if folder.has_ledger() else {}
    paper = read_paper_file(options.paper, home, tuple(build.currency), before)
    match = SupplierHistory(before).match(paper.supplier.said) if paper.supplier else None
    line = match.line_id if match is not None else None
    written = _to_enter(options, paper, home, line)
    told = [paper_sentence(paper)]
    if not found_nothing(paper):
        told.append(table(["", "Read", "Where"], paper_rows(paper, home), left=3))
    told.append(f"To enter it:\n  {written}")
    if open_words := [word for word in ("LINE", "SUM", "CHARGED", "NAME") if f" {word}" in f"{written} "]:
        means = {
            "LINE": "what it was for", "SUM": "what the supplier charged",
            "CHARGED": f"what left your account in {home}", "NAME": "who was paid",
        }  # fmt: skip
        told.append("Put in yourself: " + "; ".join(f"{word}, {means[word]}" for word in open_words) + ".")
    return answer(options, "\n\n".join(told), _data(paper, line, written))


def _to_enter(options: argparse.Namespace, paper: Paper, home: str, line: str | None) -> str:
    """Write the command that enters a paper; what has to be put in by hand stands in capitals."""
    words = ["forecast receipt add", typed(options.file)]

    def put(option: str, value: str) -> None:
        words.append(f"{option}={typed(value)}" if value.startswith("-") else f"{option} {typed(value)}")

    currency = paper.currency.said if paper.currency else home
    put("--amount", paper.amount.said if paper.amount else "SUM")
    if currency != home:
        put("--currency", currency)
        put("--charged", "CHARGED")
    put("--supplier", paper.supplier.said if paper.supplier else "NAME")
    put("--line", line or "LINE")
    if paper.day:
        put("--date", paper.day.said)
    if paper.refund:
        words.append("--refund")
    if paper.note:
        put("--note", paper.note)
    put("--attach", str(options.paper))
    return " ".join(words)


def _data(paper: Paper, line: str | None, written: str) -> PaperRead:
    return {
        "name": paper.name, "kind": paper.kind, "amount": paper.amount, "currency": paper.currency,
        "date": paper.day, "dates": list(paper.days), "supplier": paper.supplier,
        "number": paper.number, "items": list(paper.items), "refund": paper.refund, "line": line,
        "remarks": list(paper.remarks), "missing": list(paper.missing), "command": written,
    }  # fmt: skip


__all__ = ["add_read", "run_read"]
