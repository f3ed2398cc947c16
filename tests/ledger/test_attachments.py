from __future__ import annotations

import hashlib
import os
from pathlib import Path

import pytest

from forecast.errors import LedgerError
from forecast.ledger import Ledger
from forecast.ledger.attachments import (
    attach_file,
    attachment_path,
    document_type,
    folder_of,
    store_file,
    verify_attachments,
)


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    ledger = Ledger(tmp_path / "receipts.db", currency="EUR")
    ledger.add_receipt("2026-05-02", "Shop", 1000, "EUR", [("a", 1000)])
    return ledger


@pytest.fixture
def photo(tmp_path: Path) -> Path:
    path = tmp_path / "photo.jpg"
    path.write_bytes(b"\xff\xd8\xff\xe0 a photo" * 1000)
    return path


def test_a_photo_is_kept_under_the_hash_of_its_content(ledger: Ledger, photo: Path) -> None:
    attached = attach_file(ledger, 1, photo)
    content = photo.read_bytes()
    assert attached.sha256 == hashlib.sha256(content).hexdigest()
    assert (attached.name, attached.size) == ("photo.jpg", len(content))
    photo.unlink()
    assert attachment_path(ledger, attached).read_bytes() == content
    assert ledger.attachments(1) == (attached,)
    assert verify_attachments(ledger) == ()


def test_files_are_listed_with_the_receipt_that_they_belong_to(ledger: Ledger, photo: Path) -> None:
    second = ledger.add_receipt("2026-05-03", "Shop", 500, "EUR", [("a", 500)])
    attach_file(ledger, second.id, photo)
    attach_file(ledger, 1, "bill.jpg", photo.read_bytes() + b"!")
    assert [(one.receipt_id, one.name) for one in ledger.attachments()] == [
        (second.id, "photo.jpg"),
        (1, "bill.jpg"),
    ]


def test_the_same_content_is_kept_once(ledger: Ledger, photo: Path, tmp_path: Path) -> None:
    copy = tmp_path / "copy.jpg"
    copy.write_bytes(photo.read_bytes())
    assert attach_file(ledger, 1, photo) == attach_file(ledger, 1, copy)
    assert len([path for path in folder_of(ledger).rglob("*") if path.is_file()]) == 1


def test_changed_and_missing_attachments_are_found(ledger: Ledger, photo: Path) -> None:
    attached = attach_file(ledger, 1, photo)
    path = attachment_path(ledger, attached)
    path.write_bytes(b"something else")
    assert "its content is not what was attached" in verify_attachments(ledger)[0]
    with pytest.raises(LedgerError, match="Put it back from your backup"):
        attachment_path(ledger, attached)
    path.unlink()
    assert "cannot be read" in verify_attachments(ledger)[0]
    attach_file(ledger, 1, photo)  # attaching it again mends it
    assert verify_attachments(ledger) == ()


def test_what_cannot_be_kept_is_said_and_leaves_nothing(ledger: Ledger, photo: Path, tmp_path: Path) -> None:
    with pytest.raises(LedgerError, match="no receipt 9"):
        attach_file(ledger, 9, photo)
    with pytest.raises(LedgerError, match="cannot be read"):
        attach_file(ledger, 1, tmp_path / "nowhere.pdf")
    empty = tmp_path / "empty.pdf"
    empty.touch()
    with pytest.raises(LedgerError, match="the file is empty"):
        attach_file(ledger, 1, empty)
    assert ledger.attachments() == ()
    assert [path for path in folder_of(ledger).rglob("*") if path.is_file()] == []


def test_a_full_disk_is_said_and_leaves_no_half_file(
    tmp_path: Path, photo: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_room(handle: int) -> None:
        raise OSError(28, os.strerror(28))

    monkeypatch.setattr(os, "fsync", no_room)
    with pytest.raises(LedgerError, match="the disk is full"):
        store_file(tmp_path / "attachments", photo)
    assert [path for path in (tmp_path / "attachments").rglob("*") if path.is_file()] == []


@pytest.mark.parametrize(
    ("head", "kind"),
    [
        (b"\xff\xd8\xff\xe1 Exif", "image/jpeg"),
        (b"\x89PNG\r\n\x1a\n", "image/png"),
        (b"RIFF\x10\x00\x00\x00WEBPVP8 ", "image/webp"),
        (b"\x00\x00\x00\x18ftypheic\x00", "image/heic"),
        (b"II*\x00\x08", "image/tiff"),
        (b"%PDF-1.7\n", "application/pdf"),
        (b"\r\n%PDF-1.4", "application/pdf"),
        (b"RIFF\x10\x00\x00\x00WAVEfmt ", None),
        (b"\x00\x00\x00\x18ftypisom", None),
        (b"PK\x03\x04 a spreadsheet", None),
        (b"<svg onload='x'>", None),
        (b"", None),
    ],
)
def test_pictures_and_documents_are_told_by_their_content(head: bytes, kind: str | None) -> None:
    assert document_type(head) == kind


def test_what_is_no_picture_is_refused_whatever_its_name(ledger: Ledger, tmp_path: Path) -> None:
    table = tmp_path / "receipt.jpg"
    table.write_text("date,amount\n", encoding="utf-8")
    with pytest.raises(LedgerError, match=r"neither a picture nor a PDF by its content\. Legal are JPEG"):
        attach_file(ledger, 1, table)
    with pytest.raises(LedgerError, match=r"sent\.pdf: is neither"):
        attach_file(ledger, 1, "sent.pdf", b"MZ a program")
    assert ledger.attachments() == ()
    assert not folder_of(ledger).exists()


def test_what_was_sent_is_kept_as_if_it_lay_on_the_disk(ledger: Ledger, photo: Path) -> None:
    sent = attach_file(ledger, 1, "photo.jpg", photo.read_bytes())
    assert sent == attach_file(ledger, 1, photo)
