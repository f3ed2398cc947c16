"""The one door: a file comes in, a proposal comes out."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from datetime import date
from pathlib import Path

from forecast.errors import LedgerError
from forecast.ledger.attachments import check_document
from forecast.ledger.papers.invoice import is_invoice, read_invoice
from forecast.ledger.papers.paper import Paper
from forecast.ledger.papers.pdf import invoice_in, pages_of
from forecast.ledger.papers.photo import HOW_TO_ADD, can_read_photos, lines_in_photo
from forecast.ledger.papers.reading import read_text
from forecast.tables.files import UnfitFileError, open_regular

LARGEST_PAPER = 25_000_000
"""Bytes of a file that is looked into; as many can be sent to the page."""


def read_paper(
    name: str, content: bytes, home: str, others: Collection[str] = (), known: Iterable[str] = ()
) -> Paper:
    """Read what a paper says.

    Parameters
    ----------
    name : str
        Of the file.
    content : bytes
    home : str
        The build's currency.
    others : collection of str
        Its further currencies.
    known : iterable of str
        Suppliers that were paid before.

    Returns
    -------
    Paper
        With nothing found where the file can be kept and not read.

    Raises
    ------
    LedgerError
        If it is no paper, damaged, or larger than one can be.
    """
    if len(content) > LARGEST_PAPER:
        message = f"{name}: is larger than {LARGEST_PAPER // 1_000_000} MB. Enter the receipt by hand."
        raise LedgerError(message)
    if is_invoice(content):
        return read_invoice(content, name)
    if check_document(name, content) == "application/pdf":
        packed = invoice_in(content, name)
        if packed is not None:
            return read_invoice(packed, name)
        pages = pages_of(content, name)
        if not any(pages):
            return Paper(name, "text", remarks=("It holds a picture and no text.",))
        return read_text(pages, name, "text", home=home, others=others, known=known, today=date.today())
    if not can_read_photos():
        return Paper(name, "photo", remarks=(HOW_TO_ADD,))
    lines = lines_in_photo(content, name)
    return read_text([lines], name, "photo", home=home, others=others, known=known, today=date.today())


def read_paper_file(path: Path, home: str, others: Collection[str] = (), known: Iterable[str] = ()) -> Paper:
    """Read a paper from this disk; see `read_paper`."""
    try:
        with open_regular(path, LARGEST_PAPER) as file:
            content = file.read()
    except (UnfitFileError, OSError) as error:
        message = (
            f"{path}: cannot be read ({error.strerror or error}). Check the name, and that you may read it."
        )
        raise LedgerError(message) from None
    return read_paper(path.name, content, home, others, known)


__all__ = ["LARGEST_PAPER", "read_paper", "read_paper_file"]
