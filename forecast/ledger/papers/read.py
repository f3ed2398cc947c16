"""The one door: a file comes in, the text of a PDF or a photo is read, and a proposal comes out."""

from __future__ import annotations

import importlib.util
import io
import logging
import math
from collections.abc import Collection, Iterable, Iterator, Sequence
from contextlib import contextmanager
from datetime import date
from functools import cache
from pathlib import Path
from statistics import median
from threading import Lock
from typing import Any

from forecast.errors import ForecastError, LedgerError
from forecast.ledger.attachments import check_document
from forecast.ledger.papers.fields import read_text
from forecast.ledger.papers.invoice import is_invoice, read_invoice
from forecast.ledger.papers.paper import Paper
from forecast.tables.files import UnfitFileError, open_regular, why_not

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


HOW_TO_ADD = "To have photos read, install forecast with its extra photos and start it again."
MOST_PIXELS = 80_000_000
"""A photo with more is no photo of a receipt."""
_LONGEST_SIDE = 1400
_ONE_AT_A_TIME = Lock()  # each photo takes both cores for a second or two


def can_read_photos() -> bool:
    """Tell whether the optional package is installed."""
    return all(importlib.util.find_spec(name) is not None for name in ("rapidocr", "onnxruntime"))


def lines_in_photo(content: bytes, name: str) -> list[str]:
    """Read the print in a photo, line by line as it lies on the paper.

    Parameters
    ----------
    content : bytes
    name : str
        Of the file, for messages.

    Raises
    ------
    LedgerError
        If the picture cannot be opened.
    """
    picture = _picture(content, name)
    with _ONE_AT_A_TIME:
        found = _engine()(picture)
    if found.boxes is None:
        return []
    return laid_out([(box.tolist(), str(text)) for box, text in zip(found.boxes, found.txts, strict=True)])


def laid_out(pieces: Sequence[tuple[Sequence[Sequence[float]], str]]) -> list[str]:
    """Put pieces of print into lines: what stands at one height, turned as the paper is, belongs to one line.

    Parameters
    ----------
    pieces : sequence
        Each with its four corners, from the upper left one clockwise, and its text.
    """
    if not pieces:
        return []
    long = [box for box, text in pieces if len(text) > 3] or [box for box, _ in pieces]
    turn = median(math.atan2(box[1][1] - box[0][1], box[1][0] - box[0][0]) for box in long)
    sine, cosine = math.sin(-turn), math.cos(-turn)
    placed = []
    for box, text in pieces:
        across = [x * cosine - y * sine for x, y in box]
        down = [x * sine + y * cosine for x, y in box]
        placed.append((sum(down) / 4, min(across), max(across), max(down) - min(down), text))
    placed.sort()
    rows: list[list[tuple[float, float, float, float, str]]] = []
    for piece in placed:
        if rows and piece[0] - median(one[0] for one in rows[-1]) < 0.55 * min(piece[3], rows[-1][-1][3]):
            rows[-1].append(piece)
        else:
            rows.append([piece])
    lines = []
    for row in rows:
        row.sort(key=lambda piece: piece[1])
        line, end = "", -math.inf
        for _, left, right, height, text in row:
            line += ("   " if left - end > 1.5 * height else " ") * bool(line) + text.strip()
            end = right
        lines.append(line)
    return lines


def _picture(content: bytes, name: str) -> Any:
    import numpy as np
    from PIL import Image, ImageOps

    try:
        with Image.open(io.BytesIO(content)) as opened:
            if opened.width * opened.height > MOST_PIXELS:
                message = (
                    f"{name}: has too many pixels for a photo. It can be kept; enter the receipt by hand."
                )
                raise LedgerError(message)
            opened.draft("RGB", (2 * _LONGEST_SIDE, 2 * _LONGEST_SIDE))
            turned = ImageOps.exif_transpose(opened).convert("RGB")
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError):
        message = (
            f"{name}: the picture cannot be opened here. It can be kept; enter it by hand, or send a JPEG."
        )
        raise LedgerError(message) from None
    turned.thumbnail((_LONGEST_SIDE, _LONGEST_SIDE))
    return np.asarray(turned)[:, :, ::-1]  # blue first, as the package has it


@cache
def _engine() -> Any:
    """Load the package's own models, by their files: without a name of a file it would look for others elsewhere."""
    import rapidocr

    folder = Path(str(rapidocr.__file__)).parent / "models"
    models = {}
    for part, sign in (("Det", "_det_"), ("Rec", "_rec_"), ("Cls", "_cls_")):
        (models[f"{part}.model_path"],) = (str(file) for file in folder.glob("*.onnx") if sign in file.name)
    return rapidocr.RapidOCR(params={"Global.log_level": "critical", **models})


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
        message = f"{path}: cannot be read ({why_not(error)}). Check the name, and that you may read it."
        raise LedgerError(message) from None
    return read_paper(path.name, content, home, others, known)
