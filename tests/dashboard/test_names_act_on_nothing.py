"""Text is text: a build whose names, notes and suppliers look like markup shows them so on every page; none acts."""

from __future__ import annotations

import csv
import io
import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from google.protobuf.descriptor import FieldDescriptor
from google.protobuf.message import Message
from streamlit.testing.v1 import AppTest

from forecast.dashboard.layout import safe, said
from forecast.views.cli import main
from forecast.words.text import STRONG
from tests.dashboard.conftest import HALF_WAY, PAGES, ROOT, Run

HOSTILE = (
    "**b** :material/home: :smile: :red[r] www.example.org https://example.org a@example.org `c` $x$ <i>i</i> [l](u) "
    "&amp; -> ~~s~~"
)
ACTS = re.compile(
    r"(?<!\\)\*b|:material/|:smile:|(?<!\\):red|www\.example|https?://|\ba@ex|(?<!\\)`c|(?<!\\)\$x|(?<!\\)<i>|(?<!\\)\[l"
    r"|(?<!\\)&amp;|->|(?<!\\)~s"
)
# What the toolkit shows as it stands; everything else that has words in it is Markdown.
AS_IT_STANDS = {
    ("Html", "body"), ("Selectbox", "options"), ("MultiSelect", "options"), ("Selectbox", "placeholder"),
    ("MultiSelect", "placeholder"), ("TextInput", "default"), ("TextInput", "placeholder"),
    ("NumberInput", "placeholder"),
    ("TextArea", "default"), ("TextArea", "placeholder"), ("ArrowVegaLiteChart", "spec"), ("VegaLiteChart", "spec"),
    ("ArrowVegaLiteChart", "alt"), ("Image", "alt"), ("TextInput", "value"), ("TextArea", "value"),
    ("Selectbox", "raw_value"), ("MultiSelect", "raw_values"), ("DownloadButton", "url"), ("Arrow", "columns"),
    ("Arrow", "alt"),
}  # fmt: skip


@pytest.fixture
def hostile(tmp_path: Path) -> Path:
    folder = tmp_path / "van"
    shutil.copytree(ROOT / "scenarios" / HALF_WAY, folder)
    text = (folder / "build.toml").read_text()
    keys = r"^(\s*(?:name|note|notice|why|source) = \")((?:[^\"\\]|\\.)*)\""
    many, count = re.subn(keys, rf'\g<1>\g<2> {HOSTILE}"', text, flags=re.MULTILINE)
    many = re.sub(r'(\{[^}\n]*\bname = ")([^"]*)"', rf'\g<1>\g<2> {HOSTILE}"', many)
    assert count > 20
    (folder / "build.toml").write_text(many)
    rows = list(csv.DictReader(io.StringIO((folder / "receipts.csv").read_text())))
    for row in rows:
        row["supplier"] = row["supplier"] and f"{row['supplier']} {HOSTILE}"
        row["note"] = row["note"] and f"{row['note']} {HOSTILE}"
    written = io.StringIO()
    writer = csv.DictWriter(written, list(rows[0]))
    writer.writeheader()
    writer.writerows(rows)
    (folder / "receipts.csv").write_text(written.getvalue())
    assert main(["receipt", "load", str(folder)]) == 0
    return folder


def texts(message: Message, at: tuple[str, str] = ("", "")) -> Iterator[tuple[tuple[str, str], str]]:
    for field, value in message.ListFields():
        name = (message.DESCRIPTOR.name, field.name)
        values: list[Any] = list(value) if field.is_repeated and not hasattr(value, "items") else [value]
        for one in values:
            if field.type == FieldDescriptor.TYPE_MESSAGE and isinstance(one, Message):
                yield from texts(one, name)
            elif isinstance(one, str):
                yield name, one


def messages(app: AppTest) -> Iterator[Message]:
    waiting: list[Any] = [app._tree]
    while waiting:
        node = waiting.pop()
        waiting += getattr(node, "children", {}).values()
        if isinstance(proto := getattr(node, "proto", None), Message):
            yield proto


def acting(app: AppTest) -> list[str]:
    return [
        f"{'.'.join(name)}: {text[:300]}"
        for message in messages(app)
        for name, text in texts(message)
        if (ACTS.search(text) and name not in AS_IT_STANDS and name[1] != "id") or STRONG in text
    ]


@pytest.mark.parametrize("page", PAGES)
def test_no_name_acts_on_any_page(page: str, hostile: Path, run: Run) -> None:
    app = run(hostile, page)

    seen = "\n".join(text for message in messages(app) for _, text in texts(message))
    assert "example" in seen
    assert acting(app) == []


def test_a_mistake_in_the_file_says_hostile_names_as_they_are(hostile: Path, run: Run) -> None:
    file = hostile / "build.toml"
    file.write_text(file.read_text() + f"\n'{HOSTILE}' = 1\n[[line]]\nid = 'x'\nname = '{HOSTILE}'\n")

    assert acting(run(hostile, "cost")) == []


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("10:30 and 2: a", r"10\:30 and 2\: a"),
        ("1. one", r"1\. one"),
        ("12) one", r"12\) one"),
        ("    code", "code"),
        ("a\n    b\n\tc", "a\nb\nc"),
        ("a\n=\n- b", "a\n\\=\n\\- b"),
        ("R&D", r"R\&D"),
        ("3.5 kg", "3.5 kg"),
    ],
)
def test_what_markdown_would_take_for_its_own_is_escaped(text: str, shown: str) -> None:
    assert safe(text) == shown


def test_only_a_sentence_stresses_anything() -> None:
    assert said(f"{STRONG}€5{STRONG} for a**b**c") == r"**€5** for a\*\*b\*\*c"
    assert said(f"{STRONG}{safe('x')}{STRONG} is") == "**x** is"
    assert STRONG not in safe(f"a{STRONG}b")
