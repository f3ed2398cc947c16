"""Photos and documents of receipts, kept beside the ledger under the hash of their content.

A file of the same content is kept once; a name can never be used to write somewhere else, as the name on
disk is the hash.
"""

from __future__ import annotations

import errno
import hashlib
import os
import tempfile
from dataclasses import dataclass
from pathlib import Path

from forecast.errors import LedgerError
from forecast.spending.ledger import AttachedFile, Ledger

FOLDER = "attachments"
_CHUNK = 1 << 20


@dataclass(frozen=True)
class StoredFile:
    """A file that was put into the folder: SHA-256 of its content, its size in bytes and where it lies."""

    sha256: str
    size: int
    path: Path


def folder_of(ledger: Ledger) -> Path:
    """Give the attachments' folder of a ledger, whether or not it exists yet."""
    return ledger.path.parent / FOLDER


def store_file(folder: Path, source: str | Path) -> StoredFile:
    """Copy a file into the folder under the hash of its content.

    The copy is written under a passing name, flushed to the disk and only then given its own, so that no half
    file ever bears a hash.

    Raises
    ------
    LedgerError
        If the file cannot be read, is empty, or the copy cannot be written.
    """
    digest, size = hashlib.sha256(), 0
    passing: Path | None = None
    try:
        with Path(source).open("rb") as original:
            folder.mkdir(parents=True, exist_ok=True)
            handle, name = tempfile.mkstemp(dir=folder, prefix=".incoming-")
            passing = Path(name)
            with os.fdopen(handle, "wb") as copy:
                while chunk := original.read(_CHUNK):
                    digest.update(chunk)
                    size += len(chunk)
                    copy.write(chunk)
                copy.flush()
                os.fsync(copy.fileno())
        if not size:
            message = f"{source}: the file is empty. Choose the photo or document itself."
            raise LedgerError(message)
        target = _place(folder, digest.hexdigest())
        target.parent.mkdir(exist_ok=True)
        passing.replace(target)
        _flush_folder(target.parent)
    except OSError as error:
        raise LedgerError(_explain(error, source, folder)) from error
    finally:
        if passing is not None:
            passing.unlink(missing_ok=True)
    return StoredFile(digest.hexdigest(), size, target)


def attach_file(ledger: Ledger, receipt_id: int, source: str | Path) -> AttachedFile:
    """Keep a photo or document with a receipt; keeping the same one again changes nothing.

    Raises
    ------
    LedgerError
        If there is no such receipt, or the file cannot be read or kept.
    """
    ledger.receipt(receipt_id)
    stored = store_file(folder_of(ledger), source)
    return ledger.attach(receipt_id, stored.sha256, Path(source).name, stored.size)


def attachment_path(ledger: Ledger, attached: AttachedFile) -> Path:
    """Give where an attachment lies, having made sure that its content is still what it was.

    Raises
    ------
    LedgerError
        If it is missing or its content has changed.
    """
    path = _place(folder_of(ledger), attached.sha256)
    complaint = _complaint(path, attached.sha256)
    if complaint:
        message = (
            f"{attached.name} of receipt {attached.receipt_id}: {complaint}. Put it back from your backup."
        )
        raise LedgerError(message)
    return path


def verify_attachments(ledger: Ledger) -> tuple[str, ...]:
    """Hold every attachment against its hash; give what is wrong, in words, and nothing when all is well."""
    return tuple(
        f"{item.name} of receipt {item.receipt_id}: {complaint}"
        for item in ledger.attachments()
        if (complaint := _complaint(_place(folder_of(ledger), item.sha256), item.sha256))
    )


def _place(folder: Path, sha256: str) -> Path:
    return folder / sha256[:2] / sha256


def _complaint(path: Path, sha256: str) -> str | None:
    try:
        with path.open("rb") as file:
            found = hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        return f"cannot be read ({error.strerror or error}) at {path}"
    return None if found == sha256 else f"its content is not what was attached, at {path}"


def _flush_folder(folder: Path) -> None:
    """Make a new name safe against power loss; a system that cannot open folders keeps names by itself."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _explain(error: OSError, source: str | Path, folder: Path) -> str:
    if error.errno == errno.ENOSPC:
        return f"{folder}: the disk is full; {source} was not kept. Free some space and attach it again."
    if error.filename is not None and Path(error.filename) == Path(source):
        return f"{source}: cannot be read ({error.strerror}). Check the name, and that you may read it."
    return f"{folder}: {source} could not be kept ({error.strerror or error}). Allow writing there and try again."
