"""What a bill says, in the terminal, and that the command it gives enters just that."""

from __future__ import annotations

import json
import shlex
from pathlib import Path

import pytest

from forecast.ledger.folder import BuildFolder
from tests.ledger.papers.invoices import CII, UBL, in_pdf, written
from tests.views.test_cli import BUILD, run


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "build.toml").write_text(BUILD, encoding="utf-8")
    return tmp_path


def command_in(text: str) -> list[str]:
    (written_out,) = [row.strip() for row in text.splitlines() if row.startswith("  forecast receipt add")]
    return shlex.split(written_out)[1:]


def test_a_bill_is_shown_with_where_each_figure_stood_and_nothing_is_entered(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    bill = folder / "my bill.pdf"
    bill.write_bytes(in_pdf(written(CII)))
    text = run(capsys, "receipt", "read", str(folder), str(bill))
    assert "my bill.pdf holds an electronic invoice, read exactly. Nothing is entered yet." in text
    assert "€246.00" in text
    assert "amount due for payment (BT-115)" in text
    assert "LINE, what it was for" in text
    assert not BuildFolder.at(folder).has_ledger()


@pytest.mark.parametrize("code", ["380", "381"])
def test_the_command_it_gives_enters_what_it_showed(
    code: str, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    bill = folder / "it's a bill.xml"
    bill.write_bytes(written(UBL, {"BT-3": code, "BT-1": "-17 $(x)"}))
    words = command_in(run(capsys, "receipt", "read", str(folder), str(bill)))
    words[words.index("LINE")] = "filler"
    run(capsys, *words, "--sure")
    ledger = BuildFolder.at(folder).ledger()
    (receipt,) = ledger.list_receipts()
    assert receipt.date.isoformat() == "2026-05-31"
    assert receipt.supplier == "Invented Resin Works Ltd"
    assert receipt.paid_minor == (24_600 if code == "380" else -24_600)
    assert "-17 $(x)" in receipt.note
    assert [one.name for one in ledger.attachments()] == ["it's a bill.xml"]
    # A supplier that was paid before tells the line.
    data = json.loads(run(capsys, "receipt", "read", str(folder), str(bill), "--json"))
    assert data["line"] == "filler"
    assert "LINE" not in command_in(f"  {data['command']}")


def test_a_bill_in_another_currency_asks_what_was_charged(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    bill = folder / "bill.xml"
    bill.write_bytes(written(UBL, {"BT-5": "JPY", "BT-112": "24600", "BT-115": "24600"}))
    text = run(capsys, "receipt", "read", str(folder), str(bill))
    assert "--amount 24600 --currency JPY --charged CHARGED" in text
    assert "CHARGED, what left your account in EUR" in text


def test_what_cannot_be_read_is_said_in_words(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    broken = folder / "broken.pdf"
    broken.write_bytes(b"%PDF-1.7 and nothing else")
    assert "the PDF cannot be read, or is damaged" in run(
        capsys, "receipt", "read", str(folder), str(broken), expect=2
    )
    assert "no such file" in run(capsys, "receipt", "read", str(folder), "none.pdf", expect=2).casefold()
