"""Files of rows and columns, and copies: what is far too large is told before it is unpacked."""

import io
import json
import zipfile
from pathlib import Path

import pytest
from openpyxl import Workbook
from openpyxl.packaging.relationship import Relationship
from openpyxl.workbook.external_link.external import ExternalBook, ExternalLink

from forecast.errors import BuildFileError, LedgerError
from forecast.ledger import Ledger
from forecast.ledger.backup import find_copy, restore
from forecast.ledger.folder import BuildFolder
from forecast.ledger.preview import open_import
from forecast.start.listing import read_rows
from forecast.tables.sniff import MOST_COLUMNS, MOST_ROWS
from forecast.tables.tabular import LARGEST_SHEET, LARGEST_TABLE, read_table

ROWS = (("Date", "Description", "Amount"), ("2026-05-03", "the maker", 12.5))


def sheet(**cells: object) -> bytes:
    book = Workbook()
    page = book.worksheets[0]
    for row in ROWS:
        page.append(row)
    for place, value in cells.items():
        page[place] = value
    written = io.BytesIO()
    book.save(written)
    return written.getvalue()


def refused(content: bytes, name: str = "list.xlsx") -> str:
    with pytest.raises(LedgerError) as caught:
        read_table(name, content=content)
    return str(caught.value)


@pytest.mark.parametrize("blank", [" ", "\t"])
def test_a_blank_in_the_last_cell_of_a_sheet_is_nothing(blank: str) -> None:
    rows = read_table("list.xlsx", content=sheet(XFD1048576=blank, Z40=blank)).rows

    assert [[str(cell) for cell in row] for row in rows] == [
        ["Date", "Description", "Amount"],
        ["2026-05-03", "the maker", "12.5"],
    ]


@pytest.mark.parametrize(
    ("place", "told"), [("Z1048576", "row 1,048,576 and column 26"), ("XFD3", "row 3 and column 16,384")]
)
def test_a_stray_cell_far_away_is_named(place: str, told: str) -> None:
    message = refused(sheet(**{place: "x"}))

    assert f"what it holds goes on to {told}" in message
    assert "delete what stands far below or beside the list" in message


def test_many_rows_of_blanks_up_to_the_last_column_end() -> None:
    blanks = {f"XFD{row}": " " for row in range(1, 100)}

    assert "goes on to row 62 and column 16,384" in refused(sheet(**blanks))


def bomb(size: int, claimed: int | None = None) -> bytes:
    written = io.BytesIO()
    with zipfile.ZipFile(written, "w", zipfile.ZIP_DEFLATED) as packed:
        with zipfile.ZipFile(io.BytesIO(sheet())) as real:
            for item in real.infolist():
                packed.writestr(item.filename, real.read(item))
        with packed.open("xl/more.xml", "w") as part:
            for _ in range(size // 1_000_000):
                part.write(b" " * 1_000_000)
    return written.getvalue()


def test_a_sheet_packed_a_thousandfold_is_told_before_it_is_unpacked() -> None:
    content = bomb(LARGEST_SHEET + 1_000_000)

    assert len(content) < 100_000
    assert "comes to 31 MB unpacked, and 30 MB are read" in refused(content)


@pytest.mark.parametrize("place", range(60, 4000, 211))
def test_a_damaged_sheet_is_told_whatever_notices(place: int) -> None:
    content = bytearray(sheet())
    content[place : place + 40] = b"\xff" * 40
    told = "the spreadsheet cannot be read"
    try:
        read_table("list.xlsx", content=bytes(content))
    except LedgerError as error:
        told = str(error)
    assert "the spreadsheet cannot be read" in told


def test_a_locked_sheet_is_told() -> None:
    content = bytearray(sheet())
    for mark, place in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):  # the flag that says it is encrypted
        at = content.find(mark)
        while at >= 0:
            content[at + place] |= 1
            at = content.find(mark, at + 4)

    assert "the spreadsheet cannot be read" in refused(bytes(content))


def test_tables_of_text_without_end_are_told() -> None:
    told = "the file has more than 500 columns, 100,000 rows or 1,000,000 cells"

    assert told in refused(b"a,b\n" + b"," * MOST_COLUMNS, "bank.csv")
    assert told in refused(b"a,b\n" * (MOST_ROWS + 1), "bank.csv")
    assert told in refused(b"a,b,c,d,e,f,g,h,i,j,k\n" * 95_000, "bank.csv")
    assert "larger than 25 MB" in refused(b"a" * (LARGEST_TABLE + 1), "bank.csv")


def test_a_copy_packed_a_thousandfold_is_not_unpacked(tmp_path: Path) -> None:
    folder = BuildFolder.at(tmp_path)
    (tmp_path / "build.toml").write_text('[build]\nname = "Van"\ncurrency = "EUR"\ncountry = "IE"\n')
    path = tmp_path / "copy.zip"
    contents = {
        "made": "2026-01-01T00:00:00+00:00",
        "receipts": None,
        "documents": [],
        "files": {"build.toml": "0" * 64},
    }
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("copy.json", json.dumps(contents))
        with packed.open("build.toml", "w", force_zip64=True) as part:
            for _ in range(101):
                part.write(b" " * 1_000_000)
    before = (tmp_path / "build.toml").read_bytes()

    with pytest.raises(LedgerError, match="it would come to 101 MB"):
        restore(folder, find_copy(folder, path))
    assert (tmp_path / "build.toml").read_bytes() == before


def test_a_bank_file_of_a_century_is_told(tmp_path: Path) -> None:
    ledger = Ledger(tmp_path / "receipts.db", currency="EUR")
    content = b"Date,Description,Amount\n" + b"2026-05-03,the maker,12.50\n" * 20_000

    with pytest.raises(LedgerError, match=r"has 20,001 rows, and 20,000 are read"):
        open_import("bank.csv", ledger, source="card", content=content)


def test_a_list_of_more_rows_than_a_build_has_lines_is_told() -> None:
    rows = [(number, (f"Line {number}", "12.50")) for number in range(2, 2003)]

    with pytest.raises(BuildFileError, match="has 2,001 rows"):
        read_rows(rows, {"name": 0, "middle": 1}, ("Name", "Amount"), ".", "EUR")


def test_what_a_spreadsheet_links_to_is_never_looked_for() -> None:
    """Its part about another file is gone, as after a hasty copy; the list in it is whole."""
    book = Workbook()
    page = book.worksheets[0]
    for row in ROWS:
        page.append(row)
    link = ExternalLink(externalBook=ExternalBook())
    link.file_link = Relationship(type="externalLinkPath", Target="other.xlsx", TargetMode="External")
    book._external_links.append(link)
    whole, rest = io.BytesIO(), io.BytesIO()
    book.save(whole)
    with zipfile.ZipFile(whole) as packed, zipfile.ZipFile(rest, "w") as kept:
        parts = packed.namelist()
        for name in parts:
            if "externalLinks" not in name:
                kept.writestr(name, packed.read(name))
        assert len(kept.namelist()) < len(parts)
    rows = read_table("list.xlsx", content=rest.getvalue()).rows
    assert [tuple(map(str, row)) for row in rows] == [tuple(map(str, row)) for row in ROWS]
