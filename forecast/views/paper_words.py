"""What was read from a paper, in sentences: the same on the page and in the terminal."""

from __future__ import annotations

from forecast.errors import NumberError
from forecast.ledger.papers.paper import Paper
from forecast.words.day_words import short_day
from forecast.words.minor_units import parse_money
from forecast.words.money import exact


def paper_sentence(paper: Paper) -> str:
    """Say what a paper is and how far it can be relied on."""
    if paper.kind == "invoice":
        what = "credit note" if paper.refund else "invoice"
        told = f"{paper.name} holds an electronic {what}, read exactly."
    elif found_nothing(paper):
        told = f"{paper.name}: nothing on it could be read. It can be kept; fill in the rest by hand."
    else:
        told = f"Read from {paper.name}: check each figure."
    return " ".join((told, "Nothing is entered yet.", *paper.remarks))


def found_nothing(paper: Paper) -> bool:
    """Tell whether a paper proposes nothing."""
    return not any((paper.amount, paper.day, paper.days, paper.supplier, paper.currency))


def paper_rows(paper: Paper, home: str) -> list[list[str]]:
    """Give what was found: what it is, how it reads, where it stood.

    Parameters
    ----------
    paper : Paper
    home : str
        The currency that a sum without one is in.
    """
    currency = paper.currency.said if paper.currency else home
    rows = []
    if paper.amount:
        what = "Sum that comes back" if paper.refund else "Sum"
        rows.append([what, _sum(paper.amount.said, currency), paper.amount.where])
    if paper.currency:
        rows.append(["Currency", paper.currency.said, paper.currency.where])
    if paper.day:
        rows.append(["Day", paper.day.said, paper.day.where])
    elif paper.days:
        rows.append(["Day", " or ".join(map(short_day, paper.days)), "can mean two: say which"])
    if paper.supplier:
        rows.append(["Supplier", paper.supplier.said, paper.supplier.where])
    if paper.note:
        rows.append(["Note", paper.note, "number and what was bought"])
    return rows


def _sum(written: str, currency: str) -> str:
    """Write a sum as all sums are written; as it stands on the paper where it can mean two."""
    try:
        return exact(parse_money(written, currency), currency)
    except NumberError as error:
        return f"{written} ({error.found})"


__all__ = ["found_nothing", "paper_rows", "paper_sentence"]
