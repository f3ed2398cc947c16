"""Photos and documents of receipts, kept beside the ledger under the hash of their content.

Only pictures, PDFs and electronic invoices are kept, told by their content and not by their name. A file of the same
content is kept once; a name can never be used to write somewhere else, as the name on disk is the hash.
"""

from __future__ import annotations

import errno
import hashlib
import io
import re
from dataclasses import dataclass
from pathlib import Path

from forecast.errors import LedgerError
from forecast.ledger import AttachedFile, Ledger
from forecast.ledger.papers.invoice import is_invoice
from forecast.tables.files import open_regular, why_not, write_file

FOLDER = "attachments"
DOCUMENTS = "JPEG, PNG, GIF, TIFF, WebP, HEIC, AVIF, PDF and electronic invoices"
"""What is kept, in words."""
LARGEST_DOCUMENT = 100_000_000
"""Bytes of a picture or PDF that is read from this disk; a scan of many pages is smaller."""
_HEAD = 4096
_HASH = re.compile("[0-9a-f]{64}")
_SIGNATURES = {
    b"\xff\xd8\xff": "image/jpeg",
    b"\x89PNG\r\n\x1a\n": "image/png",
    b"GIF87a": "image/gif",
    b"GIF89a": "image/gif",
    b"II*\x00": "image/tiff",
    b"MM\x00*": "image/tiff",
}
_BRANDS = {
    b"heic": "image/heic", b"heix": "image/heic", b"hevc": "image/heic", b"heim": "image/heic", b"heis": "image/heic",
    b"mif1": "image/heif", b"msf1": "image/heif", b"avif": "image/avif", b"avis": "image/avif",
}  # fmt: skip


@dataclass(frozen=True)
class StoredFile:
    """A file that was put into the folder: SHA-256 of its content, its size in bytes and where it lies."""

    sha256: str
    size: int
    path: Path


def document_type(head: bytes) -> str | None:
    """Tell the kind of a picture, PDF or electronic invoice by how its content begins.

    Parameters
    ----------
    head : bytes
        The first four kilobytes, or all of it.

    Returns
    -------
    str or None
        Its media type, such as ``image/jpeg``; None for anything else. The signatures are those of the formats'
        own specifications (from memory): JPEG, PNG, GIF, TIFF, WebP, HEIC, AVIF and PDF.
    """
    for start, kind in _SIGNATURES.items():
        if head.startswith(start):
            return kind
    if head[:4] == b"RIFF" and head[8:12] == b"WEBP":
        return "image/webp"
    if head[4:8] == b"ftyp":
        return _BRANDS.get(head[8:12])
    if b"%PDF-" in head[:1024]:
        return "application/pdf"
    return "application/xml" if is_invoice(head) else None


def check_document(name: str, head: bytes) -> str:
    """Give the media type of a picture, PDF or electronic invoice, or refuse the file.

    Raises
    ------
    LedgerError
        If it is empty, or none of them by its content.
    """
    if not head:
        message = f"{name}: the file is empty. Choose the photo or document itself."
        raise LedgerError(message)
    kind = document_type(head)
    if kind is None:
        message = (
            f"{name}: is neither a picture nor a PDF by its content. Legal are {DOCUMENTS}. "
            "Photograph the paper, or print the file as a PDF."
        )
        raise LedgerError(message)
    return kind


def folder_of(ledger: Ledger) -> Path:
    """Give the attachments' folder of a ledger, whether or not it exists yet."""
    return ledger.path.parent / FOLDER


def store_file(folder: Path, source: str | Path, content: bytes | None = None) -> StoredFile:
    """Copy a picture or PDF into the folder under the hash of its content.

    No half file ever bears a hash: see `forecast.tables.files.write_file`.

    Parameters
    ----------
    folder : pathlib.Path
        Made when it does not exist.
    source : str or Path
        The file; only its name where `content` is given.
    content : bytes, optional
        What stands in it, where it was sent and not read from this disk.

    Raises
    ------
    LedgerError
        If the file cannot be read, is empty or of another kind, or the copy cannot be written.
    """
    try:
        with open_regular(source, LARGEST_DOCUMENT) if content is None else io.BytesIO(content) as original:
            check_document(str(source), original.read(_HEAD))
            original.seek(0)
            sha256 = hashlib.file_digest(original, "sha256").hexdigest()
            original.seek(0)
            target = place_of(folder, sha256)
            target.parent.mkdir(parents=True, exist_ok=True)
            if complaint_of(target, sha256) is not None:  # the same content is kept once
                write_file(target, original)
    except OSError as error:
        raise LedgerError(_explain(error, source, folder)) from error
    complaint = complaint_of(target, sha256)
    if complaint is not None:
        message = f"{source}: changed while it was read ({complaint}). Attach it again when it is whole."
        raise LedgerError(message)
    return StoredFile(sha256, target.stat().st_size, target)


def attach_file(
    ledger: Ledger, receipt_id: int, source: str | Path, content: bytes | None = None
) -> AttachedFile:
    """Keep a picture or PDF with a receipt; keeping the same one again changes nothing.

    Parameters
    ----------
    ledger : Ledger
    receipt_id : int
    source : str or Path
        The file, or its name where `content` is given.
    content : bytes, optional
        What stands in it.

    Raises
    ------
    LedgerError
        If there is no such receipt, or the file cannot be read or kept, or is neither a picture nor a PDF.
    """
    ledger.receipt(receipt_id)
    stored = store_file(folder_of(ledger), source, content)
    return ledger.attach(receipt_id, stored.sha256, Path(source).name, stored.size)


def attachment_path(ledger: Ledger, attached: AttachedFile) -> Path:
    """Give where an attachment lies, having made sure that its content is still what it was.

    Raises
    ------
    LedgerError
        If it is missing or its content has changed.
    """
    path = place_of(folder_of(ledger), attached.sha256)
    complaint = complaint_of(path, attached.sha256)
    if complaint:
        message = (
            f"{attached.name} of receipt {attached.receipt_id}: {complaint}. Put it back from your backup."
        )
        raise LedgerError(message)
    return path


def verify_attachments(ledger: Ledger) -> tuple[str, ...]:
    """Hold every attachment against its hash; give what is wrong, in words, and nothing when all is well."""
    found = []
    for item in ledger.attachments():
        try:
            complaint = complaint_of(place_of(folder_of(ledger), item.sha256), item.sha256)
        except LedgerError as error:
            complaint = str(error)
        if complaint:
            found.append(f"{item.name} of receipt {item.receipt_id}: {complaint}")
    return tuple(found)


def place_of(folder: Path, sha256: str) -> Path:
    """Give where a document of that hash lies in a folder of documents.

    Raises
    ------
    LedgerError
        If it is no hash: a ledger or copy made by another program could name any file of this machine.
    """
    if not _HASH.fullmatch(sha256):
        message = (
            f"{sha256!r} names no document: another program altered this ledger or copy. Nothing was changed. "
            "Put an earlier copy back, with 'forecast restore'."
        )
        raise LedgerError(message)
    return folder / sha256[:2] / sha256


def complaint_of(path: Path, sha256: str) -> str | None:
    """Say what is wrong with a document that should have that hash; None when all is well."""
    try:
        with open_regular(path) as file:
            found = hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        return f"cannot be read ({why_not(error)}) at {path}"
    return None if found == sha256 else f"its content is not what was attached, at {path}"


def _explain(error: OSError, source: str | Path, folder: Path) -> str:
    if error.errno == errno.ENOSPC:
        return f"{folder}: the disk is full; {source} was not kept. Free some space and attach it again."
    if error.filename is not None and Path(error.filename) == Path(source):
        return f"{source}: cannot be read ({why_not(error)}). Check the name, and that you may read it."
    return f"{folder}: {source} could not be kept ({why_not(error)}). Allow writing there and try again."
