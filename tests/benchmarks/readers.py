"""Every reader of what a builder hands in, each as a function of bytes, and how inputs for it are made.

A reader gives a result or raises a `ForecastError`; what it may change it changes in a sandbox of its own.
"""

from __future__ import annotations

import datetime as dt
import io
import json
import math
import random
import re
import shutil
import tempfile
import zipfile
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, fields, is_dataclass
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any

from hypothesis import strategies as st
from pydantic import BaseModel

from forecast.buildfile.reader import read_build
from forecast.buildfile.schema import Build
from forecast.engine.forecast import forecast_plan
from forecast.engine.plan import compile_plan
from forecast.errors import ForecastError
from forecast.ledger import Ledger
from forecast.ledger.attachments import check_document
from forecast.ledger.backup import find_copy, restore, write_backup
from forecast.ledger.folder import BuildFolder
from forecast.ledger.papers.read import read_paper
from forecast.ledger.preview import confirm, open_import
from forecast.ledger.receipts_csv import COLUMNS, load_receipts_csv, receipts_csv
from forecast.ledger.statement import read_statement, typed_statement
from forecast.start.answers import read_answers
from forecast.start.draft import read_draft
from forecast.views.listing_words import open_list
from forecast.watching.importing import plan_import
from forecast.words.minor_units import parse_money
from forecast.words.numbers import read_number
from tests.ledger.papers.bills import BILLS, text_pdf

ROOT = Path(__file__).resolve().parents[2]
HEAD = '[build]\nname = "Van"\ncurrency = "EUR"\ncountry = "IE"\n'
DAY = dt.date(2026, 5, 3)


class Sandbox:
    """A build in a folder of its own, with a ledger; made anew when a reader has written."""

    def __init__(self) -> None:
        shared = Path("/dev/shm")
        home = tempfile.mkdtemp(prefix="forecast-trust-", dir=shared if shared.is_dir() else None)
        self.home = Path(home)
        self.file = self.home / "input"
        (self.home / "van").mkdir()
        self.folder = BuildFolder.at(self.home / "van")
        self.renew()

    def renew(self) -> None:
        """Begin anew."""
        shutil.rmtree(self.folder.folder, ignore_errors=True)
        self.folder.folder.mkdir()
        lines = "".join(
            f'[[line]]\nid = "{name}"\ngroup = "kit"\namount = 100\n' for name in ("kit", "crate", "paint")
        )
        self.folder.build_file.write_text(HEAD + lines)
        self.ledger = Ledger(self.folder.receipts_db, currency="EUR")
        self.ledger.add_receipt(DAY, "the maker", 12_50, "EUR", [("kit", 12_50)])
        self.ledger.add_commitment(DAY, "a shop", "paint", 400_00, "EUR")

    def state(self) -> tuple[object, ...]:
        """Give what must be as it was after a refusal: every file but SQLite's own, and all that the ledger holds."""
        files = [
            (path.name, path.read_bytes())
            for path in sorted(self.folder.folder.iterdir())
            if path.is_file() and not path.name.startswith("receipts.db") and not path.name.endswith(".lock")
        ]
        return (*files, receipts_csv(self.ledger))

    def put(self, content: bytes, ending: str = "") -> Path:
        """Write an input."""
        path = self.file.with_suffix(ending)
        path.write_bytes(content)
        return path

    def end(self) -> None:
        """Take it away."""
        shutil.rmtree(self.home, ignore_errors=True)


def figures_in(value: object) -> Iterator[float]:
    """Give every figure in a result."""
    if isinstance(value, float | Decimal):
        yield float(value)
    elif isinstance(value, BaseModel):
        yield from figures_in(dict(value))
    elif is_dataclass(value):
        for field in fields(value):
            yield from figures_in(getattr(value, field.name))
    elif isinstance(value, Mapping):
        for part in value.values():
            yield from figures_in(part)
    elif isinstance(value, list | tuple):
        for part in value:
            yield from figures_in(part)


def _build(content: bytes, box: Sandbox) -> object:
    build = read_build(box.put(content, ".toml"))
    return build, _simulated(build)


def _simulated(build: Build) -> list[float]:
    """Simulate what is legal: it is a reader's figure too."""
    forecast = forecast_plan(compile_plan(build, next(iter(build.scenario), None)), 16, 1)
    eight = forecast.percentile(0.8)
    return [eight.value, eight.error, forecast.mean.value, forecast.base_estimate]


def _list(content: bytes, box: Sandbox) -> object:
    return open_list("list", "EUR", content=content, build=box.folder.read()).rows


def _bank(content: bytes, box: Sandbox) -> object:
    preview = open_import("bank", box.ledger, source="card", content=content)
    asked: dict[str, str] = {"decimal": ".", "date_order": "dmy", "spending": "positive"}
    preview = confirm(preview, **{name: asked[name] for name in preview.questions if name in asked})
    return plan_import(preview, box.ledger, default_line="kit", build=box.folder.read()).rows


def _load(content: bytes, box: Sandbox) -> object:
    return load_receipts_csv("ledger.csv", box.ledger, content)


def _restore(content: bytes, box: Sandbox) -> object:
    return restore(box.folder, find_copy(box.folder, box.put(content, ".zip")))


def _ledger(content: bytes, box: Sandbox) -> object:
    for ending in (".db-wal", ".db-shm", ".db-journal"):
        box.file.with_suffix(ending).unlink(missing_ok=True)
    ledger = Ledger(box.put(content, ".db"))
    return ledger.check(), ledger.list_receipts(), ledger.list_commitments(), ledger.line_states()


def _statement(content: bytes, box: Sandbox) -> object:
    text = content.decode("utf-8", "replace")
    try:
        return read_statement("statement", "EUR", content)
    except ForecastError:
        return typed_statement(text, "EUR")


def _number(content: bytes, box: Sandbox) -> object:
    text = content.decode("utf-8", "surrogateescape")
    try:
        number = read_number(text, currency="EUR", units=("kg",))
    except ForecastError:
        number = None
    return number, parse_money(text, "EUR")


def _document(content: bytes, box: Sandbox) -> object:
    check_document("photo", content[:1024])
    return None


def _paper(content: bytes, box: Sandbox) -> object:
    read_paper("bill", content, "EUR")
    return None


_INVOICE = b"""<?xml version="1.0" encoding="UTF-8"?>
<Invoice xmlns="urn:oasis:names:specification:ubl:schema:xsd:Invoice-2">
<ID>17</ID><IssueDate>2026-05-31</IssueDate><DocumentCurrencyCode>EUR</DocumentCurrencyCode>
<AccountingSupplierParty><Party><PartyLegalEntity><RegistrationName>Invented Resin Works</RegistrationName>
</PartyLegalEntity></Party></AccountingSupplierParty>
<LegalMonetaryTotal><PayableAmount currencyID="EUR">246.00</PayableAmount></LegalMonetaryTotal></Invoice>"""


@dataclass(frozen=True)
class Reader:
    """A reader, what it reads well, and how inputs of its structure are made."""

    read: Callable[[bytes, Sandbox], object]
    samples: Callable[[], tuple[bytes, ...]]
    structure: Callable[[], st.SearchStrategy[bytes]]
    writes: bool = False


# What a builder's files hold, and what nobody would write.
_WORDS = st.one_of(
    st.sampled_from(
        [
            "kit",
            "Body kit",
            "",
            " ",
            "=1+1",
            "'",
            '"',
            "a" * 70,
            "\u202e",
            "\0",
            "\x1b[2J",
            "**",
            "€",
            "ß",
            "\ufeff",
            "\r",
        ]
    ),
    st.text(max_size=12),
)
_NUMBERS = st.one_of(
    st.sampled_from(
        ["0", "-0", "1", "12.50", "1.234,56", "1e308", "1e-300", "-1", "nan", "inf", "9" * 400, "0x10", "1_000", "1e12",
         "99999999999999999999", "0.1", "10", "4.200", "65k", "€ 5", "1e-9"]
    ),
    st.floats(allow_nan=True).map(str),
    st.integers().map(str),
)  # fmt: skip
_DAYS = st.one_of(
    st.dates().map(str),
    st.dates().map(lambda day: f"{day.day}.{day.month}.{day.year}"),
    st.sampled_from(["31.02.2026", "2026-13-01", "0000-00-00", "03/05/26", "20260503", "99999-01-01"]),
)


def _toml_text(text: str) -> str:
    return json.dumps(text).replace("\x7f", "")


def _toml_values() -> st.SearchStrategy[str]:
    simple = st.one_of(
        _NUMBERS, _WORDS.map(_toml_text), st.sampled_from(["true", "false", "2026-05-03", "[]", "{}"])
    )
    keys = st.sampled_from(
        ["low", "middle", "high", "quotes", "value", "shape", "min", "mode", "max", "mean", "sd", "p10", "p50", "p90",
         "values", "chances", "causes", "currency", "unit", "kind", "median", "sigma", "lower", "upper", "x"]
    )  # fmt: skip
    shapes = st.sampled_from(
        ['"triangular"', '"normal"', '"lognormal"', '"metalog"', '"discrete"', '"uniform"', '"pert"']
    )
    three = st.lists(st.floats(0.001, 1e6).map(lambda x: f"{x:.6g}"), min_size=3, max_size=3)
    ranges = three.map(lambda ends: "{{ low = {}, middle = {}, high = {} }}".format(*sorted(ends, key=float)))
    tables = st.dictionaries(keys, st.one_of(simple, shapes), max_size=5).map(
        lambda table: "{ " + ", ".join(f"{key} = {value}" for key, value in table.items()) + " }"
    )
    lists = st.lists(simple, max_size=4).map(lambda items: "[" + ", ".join(items) + "]")
    return st.one_of(ranges, ranges, simple, tables, lists)


def _tables(names: list[str], keys: list[str], head: str) -> st.SearchStrategy[bytes]:
    rows = st.lists(
        st.tuples(st.sampled_from(keys), _toml_values()), max_size=5, unique_by=lambda pair: pair[0]
    )
    tables = st.lists(st.tuples(st.sampled_from(names), rows), max_size=6)

    def written(drawn: list[tuple[str, list[tuple[str, str]]]]) -> bytes:
        text = head
        for number, (name, pairs) in enumerate(drawn):
            given = dict(pairs)
            if name in ("line", "event"):
                given = {"id": f'"{name}{number}"', "group": '"kit"'} | given if name == "line" else {
                    "id": f'"{name}{number}"', "chance": "0.2"} | given  # fmt: skip
            text += f"[[{name}]]\n" if name in _LISTED else f"[{name}]\n" if name != "top" else ""
            text += "".join(f"{key} = {value}\n" for key, value in given.items())
        return text.encode("utf-8", "surrogatepass")

    return tables.map(written)


_LISTED = ("line", "event", "cause", "consignment", "measure", "option")


def _builds() -> st.SearchStrategy[bytes]:
    keys = ["amount", "cost", "price", "quantity", "percent", "of", "chance", "name", "note", "id", "group", "package",
            "route", "own_hours", "wait_weeks", "bought", "takeoff", "causes", "resale", "share"]  # fmt: skip
    return _tables(
        [*_LISTED, "line", "line", "event", "scenario.diy", "scenario.diy.override.line0", "not_needed"],
        keys,
        HEAD,
    )


def _rates() -> st.SearchStrategy[bytes]:
    keys = ["rate", "as_of", "source", "fee", "spread"]
    return _tables(
        ["currency.JPY", "currency.USD", "currency.XXX", "currency.EUR", "line"], [*keys, "amount"], HEAD
    )


def _answers() -> st.SearchStrategy[bytes]:
    from forecast.start.questions import questions

    keys = [item.id for item in questions()]
    pairs = st.dictionaries(
        st.sampled_from([*keys, "x"]), st.one_of(_toml_values(), _WORDS.map(_toml_text)), max_size=8
    )
    return pairs.map(
        lambda table: (
            ('country = "IE"\n' if "country" not in table else "").encode()
            + "".join(f"{key} = {value}\n" for key, value in table.items()).encode("utf-8", "surrogatepass")
        )
    )


def _csv(headings: list[str], cells: Mapping[str, st.SearchStrategy[str]]) -> st.SearchStrategy[bytes]:
    def row(columns: list[str]) -> st.SearchStrategy[list[str]]:
        return st.tuples(*(cells.get(name, _WORDS) for name in columns)).map(list)

    def written(drawn: tuple[list[str], list[list[str]], str, str]) -> bytes:
        columns, rows, mark, encoding = drawn
        quoted = [[f'"{cell}"' if mark in cell else cell for cell in line] for line in [columns, *rows]]
        return "\n".join(mark.join(line) for line in quoted).encode(encoding, "replace")

    columns = st.one_of(
        st.just(headings), st.just(headings[:4]), st.lists(st.sampled_from([*headings, "x"]), max_size=7)
    )
    return columns.flatmap(
        lambda names: st.tuples(
            st.just(names), st.lists(row(names), max_size=6), st.sampled_from([",", ";", "\t", "|"]),
            st.sampled_from(["utf-8", "utf-8-sig", "cp1252", "utf-16"]),
        )
    ).map(written)  # fmt: skip


_CELLS = {
    "Date": _DAYS, "Amount": _NUMBERS, "Price": _NUMBERS, "Quantity": _NUMBERS, "Low": _NUMBERS, "High": _NUMBERS,
    "date": _DAYS, "amount": _NUMBERS, "charged": _NUMBERS, "kind": st.sampled_from(
        ["", "payment", "refund", "deposit", "balance", "void", "commitment", "close", "freeze", "still-to-buy", "x"]
    ), "currency": st.sampled_from(["EUR", "JPY", "", "XXX"]), "line": st.sampled_from(["kit", "paint", "", "x"]),
    "supplier": _WORDS, "baseline": st.sampled_from(["", "{}", "[", '{"trials": 1}']),
}  # fmt: skip


def _xlsx(structure: st.SearchStrategy[bytes]) -> st.SearchStrategy[bytes]:
    """Put rows of text into a spreadsheet, some cells as numbers and days."""

    def written(drawn: tuple[bytes, int, int]) -> bytes:
        content, row, column = drawn
        rows = [re.split(r"[,;\t|]", line) for line in content.decode("utf-8", "replace").splitlines()]
        return _sheet(rows, row, column)

    place = st.tuples(st.integers(1, 1_048_576), st.integers(1, 16_384))
    far = st.integers(0, 39).flatmap(
        lambda turn: st.just((0, 0)) if turn else place
    )  # reading those takes longest
    return st.tuples(structure, far).map(lambda pair: written((pair[0], *pair[1])))


def _sheet(rows: list[list[Any]], row: int = 0, column: int = 0) -> bytes:
    from openpyxl import Workbook
    from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE

    book = Workbook()
    sheet = book.worksheets[0]
    for line in rows:
        cells: list[Any] = []
        for cell in line[:30]:
            text = ILLEGAL_CHARACTERS_RE.sub("", cell)[:200] if isinstance(cell, str) else cell
            try:
                cells.append(float(text))
            except (TypeError, ValueError):
                cells.append(text)
            if isinstance(cells[-1], float) and not math.isfinite(cells[-1]):
                cells[-1] = text
        sheet.append(cells)
    if row:
        sheet.cell(row, column, "x")
    written = io.BytesIO()
    book.save(written)
    return written.getvalue()


def _archives() -> st.SearchStrategy[bytes]:
    names = st.sampled_from(
        ["build.toml", "receipts.db", "attachments/0", "../x", "/etc/x", "copy.json", "x"]
    )
    values = st.one_of(
        st.none(), st.integers(), st.text(max_size=5), st.just("2026-01-01T00:00:00+00:00"), st.just([])
    )
    contents = st.fixed_dictionaries(
        {},
        optional={
            "made": values,
            "receipts": values,
            "documents": values,
            "files": st.dictionaries(names, _WORDS),
        },
    )

    def written(drawn: tuple[dict[str, Any], dict[str, bytes]]) -> bytes:
        packed = io.BytesIO()
        with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
            archive.writestr("copy.json", json.dumps(drawn[0]))
            for name, content in drawn[1].items():
                if name != "copy.json":
                    archive.writestr(name, content)
        return packed.getvalue()

    return st.tuples(contents, st.dictionaries(names, st.binary(max_size=40), max_size=3)).map(written)


@cache
def _kept() -> tuple[bytes, bytes]:
    """Give a backup, and the file of a ledger."""
    box = Sandbox()
    try:
        path = write_backup(box.folder, box.home / "backup.zip").path
        copy = box.home / "copy.db"
        box.ledger.copy_to(copy)
        return path.read_bytes(), copy.read_bytes()
    finally:
        box.end()


def _demos() -> tuple[bytes, ...]:
    return tuple(path.read_bytes() for path in sorted((ROOT / "scenarios").glob("*/build.toml")))


_BANK = b"Date,Description,Amount\n03.05.2026,the maker,-12.50\n04.05.2026,a shop,-1250.00\n"
_OWN = b"Name,Group,Quantity,Price,Low,High\nFiller,consumables,3,12.50,,\nKit,kit,,,2000,3000\n"
_STATEMENT = b"label,amount,kind\nKit,100.00,\nFreight,20.00,\nTotal,120.00,total\n"


def _ledger_text() -> bytes:
    box = Sandbox()
    try:
        return receipts_csv(box.ledger).encode()
    finally:
        box.end()


def _as_sheet(content: bytes) -> bytes:
    return _sheet([line.split(",") for line in content.decode().splitlines()])


_LIST_COLUMNS = ["Name", "Group", "Quantity", "Price", "Low", "Amount", "High"]
_BANK_COLUMNS = ["Date", "Description", "Amount", "Currency", "Line", "Note", "Settled"]
_FLOATS = st.one_of(_NUMBERS, _WORDS, st.text("0123456789.,'_ -+€k%eE()", max_size=20))

READERS: dict[str, Reader] = {
    "build file": Reader(_build, _demos, _builds),
    "rates": Reader(_build, lambda: (f"{HEAD}[currency.JPY]\nrate = 0.0061\nas_of = 2026-05-03\n".encode(),), _rates),
    "answers": Reader(
        lambda content, box: read_answers(box.put(content, ".toml")),
        lambda: (b'country = "IE"\nkit_price = 2400\ncurrency = "EUR"\n',), _answers,
    ),
    "draft of answers": Reader(
        lambda content, box: read_draft(box.put(content, ".toml")), lambda: (b'country = "IE"\n',), _answers
    ),
    "list CSV": Reader(_list, lambda: (_OWN,), lambda: _csv(_LIST_COLUMNS, _CELLS)),
    "list XLSX": Reader(_list, lambda: (_as_sheet(_OWN),), lambda: _xlsx(_csv(_LIST_COLUMNS, _CELLS))),
    "bank CSV": Reader(_bank, lambda: (_BANK,), lambda: _csv(_BANK_COLUMNS, _CELLS)),
    "bank XLSX": Reader(_bank, lambda: (_as_sheet(_BANK),), lambda: _xlsx(_csv(_BANK_COLUMNS, _CELLS))),
    "ledger CSV": Reader(_load, lambda: (_ledger_text(),), lambda: _csv(list(COLUMNS), _CELLS), writes=True),
    "statement": Reader(_statement, lambda: (_STATEMENT,), lambda: _csv(["label", "amount", "kind"], _CELLS)),
    "backup": Reader(_restore, lambda: (_kept()[0],), _archives, writes=True),
    "ledger file": Reader(_ledger, lambda: (_kept()[1],), lambda: st.binary(max_size=200)),
    "document": Reader(
        _document, lambda: (b"\xff\xd8\xff\xe0" + bytes(40), b"%PDF-1.7\n"), lambda: st.binary(max_size=64)
    ),
    "bill": Reader(
        _paper, lambda: (text_pdf(BILLS["bill in German"].lines), _INVOICE), lambda: _WORDS.map(
            lambda text: _INVOICE.replace(b"246.00", text.encode("utf-8", "replace"))
        ),
    ),
    "number": Reader(
        _number, lambda: (b"1.234,56", "€ 1.250,-".encode(), b"65k", b"12,34,567.89"),
        lambda: _FLOATS.map(lambda text: text.encode("utf-8", "surrogateescape") if text.isascii() else text.encode(
            "utf-8", "replace"
        )),
    ),
}  # fmt: skip
"""Every reader by its name."""


def damaged(content: bytes, chance: random.Random) -> bytes:
    """Give a file that was whole with some bytes changed, doubled, cut out or put in."""
    damaged = bytearray(content)
    for _ in range(chance.choice((1, 1, 2, 4, 16))):
        size = len(damaged)
        at, length = chance.randrange(size + 1), min(chance.choice((1, 1, 2, 4, 16, 256)), size)
        match chance.randrange(6):
            case 0:
                damaged[at : at + length] = chance.randbytes(length)
            case 1 if size:
                damaged[min(at, size - 1)] ^= 1 << chance.randrange(8)
            case 2:
                del damaged[at : at + length]
            case 3:
                damaged[at:at] = damaged[at : at + length] * chance.choice((1, 2, 50))
            case 4:
                damaged[at:at] = chance.choice(_PIECES)
            case _:
                del damaged[at + length :]
    return bytes(damaged[:2_000_000])


_PIECES = (
    b"\0", b"\xff", b'"', b"'", b"\n", b"\r", b"[", b"]]", b"{", b"=", b",", b";", b"\t", b"1e308", b"nan", b"inf",
    b"-", b"9" * 400, b"\xef\xbb\xbf", b"\x1b[2J", b"PK\x03\x04", b"[[line]]\n", b"[a.b]\n", b"0x", b"1e-320",
    "\u202e".encode(), "\u2028".encode(), b"\xed\xa0\x80", b"[" * 300, b"a." * 80, b'"""', b"99999999999999999999",
)  # fmt: skip
