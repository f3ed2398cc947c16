"""What stands in a PDF: the electronic invoice packed into it, or its text page by page."""

from __future__ import annotations

import io
import logging
from collections.abc import Iterator
from contextlib import contextmanager

from forecast.errors import ForecastError, LedgerError
from forecast.ledger.papers.invoice import is_invoice

MOST_PAGES = 8
"""Pages whose text is read: a bill says its sum on one of the first."""
MOST_TEXT = 60_000
"""Characters of a paper that are looked at."""
_MOST_PACKED = 5_000_000


def invoice_in(content: bytes, name: str) -> bytes | None:
    """Give the electronic invoice that is packed into a PDF; None where there is none.

    Raises
    ------
    LedgerError
        If the PDF cannot be read.
    """
    from pypdf import PdfReader  # loaded late: only papers need it

    with _told(name):
        reader = PdfReader(io.BytesIO(content))
        _open(reader, name)
        for attached in reader.attachment_list:
            if attached.name.casefold().endswith(".xml"):
                packed = attached.content
                if len(packed) <= _MOST_PACKED and is_invoice(packed):
                    return packed
    return None


def pages_of(content: bytes, name: str) -> list[list[str]]:
    """Give the lines of a PDF's first pages, each as it is laid out; empty lists where pages hold no text.

    Raises
    ------
    LedgerError
        If the PDF cannot be read.
    """
    from pypdf import PdfReader

    pages: list[list[str]] = []
    left = MOST_TEXT
    with _told(name):
        reader = PdfReader(io.BytesIO(content))
        _open(reader, name)
        for page in reader.pages[:MOST_PAGES]:
            text = page.extract_text(extraction_mode="layout")[:left]
            left -= len(text)
            pages.append([line.strip() for line in text.splitlines() if line.strip()])
    return pages


def _open(reader: object, name: str) -> None:
    from pypdf import PdfReader

    assert isinstance(reader, PdfReader)
    if reader.is_encrypted and not reader.decrypt(""):
        message = f"{name}: is locked with a password. Save it without one, or enter the receipt by hand."
        raise LedgerError(message)


@contextmanager
def _told(name: str) -> Iterator[None]:
    """Say in words what is wrong with a PDF, whatever notices it."""
    # What the library logs of a damaged file is of no use to a builder.
    logging.getLogger("pypdf").setLevel(logging.CRITICAL + 1)
    try:
        yield
    except ForecastError:
        raise
    except Exception as error:  # a damaged or made-up file breaks the reader in any way there is
        kind = "is locked" if "crypt" in f"{type(error).__name__} {error}".casefold() else "cannot be read"
        message = (
            f"{name}: the PDF {kind}, or is damaged. It can be kept all the same; enter the receipt by hand."
        )
        raise LedgerError(message) from None


__all__ = ["MOST_PAGES", "MOST_TEXT", "invoice_in", "pages_of"]
