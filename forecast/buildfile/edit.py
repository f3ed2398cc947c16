"""Changes a build file and leaves the builder's comments and order as they are; writes it whole or not at all."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from typing import Any, cast

import tomlkit
from tomlkit.items import AoT, InlineTable, Table

from forecast.buildfile.cautions import comments_beside
from forecast.buildfile.changes import (
    AddItem,
    AddScenario,
    Change,
    NotNeeded,
    Plain,
    RemoveItem,
    SetBuild,
    SetKey,
)
from forecast.buildfile.locate import headers
from forecast.buildfile.places_of_figures import at
from forecast.buildfile.reader import parse_build, read_text
from forecast.buildfile.references import AGAIN, lists_of, without
from forecast.buildfile.toml import parse_toml
from forecast.errors import BuildFileError, EditedMeanwhileError, Problem
from forecast.tables.files import (
    LARGEST_TEXT,
    keep_version,
    locked,
    open_regular,
    read_regular,
    version_before,
    why_not,
    write_file,
)

_FILE = "build file"
_BOM = b"\xef\xbb\xbf"
_KINDS = ("line", "event", "consignment", "surface", "measure", "option")
"""Lists of tables that have an id, in the order in which one is looked for."""
_WIDE_AT_ENDS = re.compile(r"^(\{[ \t])[ \t]+|[ \t]+([ \t]\})$")
_LINE_END = re.compile(r"\n")
_LONE_FEED = re.compile(r"(?<!\r)\n")


def changed(text: str, changes: Sequence[Change]) -> str:
    """Make changes to the text of a build file.

    Parameters
    ----------
    text : str
        A build file; it must be TOML.
    changes : sequence of Change
        Made in this order.

    Returns
    -------
    str
        The new text. Whether it is a legal build is for `parse_build` to say.

    Raises
    ------
    BuildFileError
        When there is no such line or event, or the text is no TOML.
    """
    done = _changed_where_they_stand(text, changes)
    if done is None:
        done = _changed_as_a_whole(text, changes)
    if "\r\n" in text and not _LONE_FEED.search(text):  # where ends are mixed, each old line keeps its own
        return _LONE_FEED.sub("\r\n", done)
    return done


def _changed_where_they_stand(text: str, changes: Sequence[Change]) -> str | None:
    """Make changes inside of lines, events and their like; None where some are of another sort, or not to be found.

    The library that keeps comments takes longer to read a whole file than a new figure takes to be simulated, so that
    it is given only the tables that change.
    """
    parts = _tables_of_lists(text)
    if parts is None or not all(isinstance(change, SetKey) for change in changes):
        return None
    found = list(parts)
    documents: dict[int, tomlkit.TOMLDocument] = {}
    for change in cast(Sequence[SetKey], changes):
        place = _holding(parts, change.item, documents)
        if place is None:
            return None
        _set_key(documents[place], change)
        found[place] = tomlkit.dumps(documents[place])
    return "".join(found)


def _holding(parts: Sequence[str], item: str, documents: dict[int, tomlkit.TOMLDocument]) -> int | None:
    """Give the place of the part that is an item, the one that `_find` would give; what was read stays in documents."""
    named = re.compile(rf"""^[ \t]*["']?id["']?[ \t]*=[ \t]*["']{re.escape(item)}["']""", re.MULTILINE)
    places = [place for place, part in enumerate(parts) if named.search(part)]
    for place in places:
        if place not in documents:
            try:
                documents[place] = tomlkit.parse(parts[place])
            except tomlkit.exceptions.TOMLKitError:
                return None
    for kind in _KINDS:
        for place in places:
            tables = documents[place].get(kind)
            if isinstance(tables, AoT) and len(tables) == 1 and tables[0].get("id") == item:
                return place
    return None


@lru_cache(maxsize=4)
def _tables_of_lists(text: str) -> tuple[str, ...] | None:
    """Cut a text before each table of a list and behind what belongs to it; None where that is not safe."""
    try:
        parse_toml(text, _FILE, "")
    except BuildFileError:
        return None
    starts = [0, *(match.end() for match in _LINE_END.finditer(text))]
    cuts, lists, stretch = [0], set[str](), ""
    for header in headers(text):
        of_list = header.is_array and header.parts == 1
        if header.first != stretch and header.first in lists and not of_list:
            return None  # a part of a table that stands further up
        if of_list or header.first != stretch:
            cuts.append(starts[header.number - 1])
        if of_list:
            lists.add(header.first)
        stretch = header.first
    return tuple(text[begin:end] for begin, end in pairwise([*cuts, len(text)]))


def _changed_as_a_whole(text: str, changes: Sequence[Change]) -> str:
    try:
        named_apart, names = _named_apart(text)
        document = tomlkit.parse(named_apart)
    except tomlkit.exceptions.ParseError as error:
        problem = Problem("file", str(error), "Mend it in an editor first.")
        raise BuildFileError(_FILE, [problem]) from None
    for change in changes:
        match change:
            case SetKey():
                _set_key(document, change)
            case AddItem(kind, table):
                _append(document, kind, table)
            case RemoveItem(item):
                _find(document, item)
                without(document, item, lambda table, key, value: _set(table, key, value))
            case SetBuild(key, value):
                _set(cast(Table, document["build"]), key, value)
            case AddScenario(id, table):
                _add_scenario(document, id, table)
            case NotNeeded(rule, why):
                if "not_needed" not in document:
                    document["not_needed"] = tomlkit.table()
                cast(Table, document["not_needed"])[rule] = why
    return _named_as_before(tomlkit.dumps(document), names)


def _set_key(document: tomlkit.TOMLDocument, change: SetKey) -> None:
    holder, _, last = change.key.rpartition(".")
    table = _currency(document, change.item) or _find(document, change.item)[2]
    _set(at(table, holder) if holder else table, last, change.value)


def _currency(document: tomlkit.TOMLDocument, item: str) -> Table | None:
    kind, _, code = item.partition(".")
    tables = document.get("currency")
    return cast("Table | None", tables.get(code)) if kind == "currency" and tables is not None else None


def _named_apart(text: str) -> tuple[str, list[str]]:
    """Name each stretch of a list of tables otherwise, and give what stood there.

    The library that keeps comments gathers all tables of one list where the first stands. Under names of their own
    they stay where the builder wrote them.
    """
    lines = text.split("\n")
    names: list[str] = []
    lists: set[str] = set()
    stretch, named = "", ""
    for header in headers(text):
        begin, end = header.span
        line = lines[header.number - 1]
        of_list = header.is_array and header.parts == 1
        if header.first != stretch:
            stretch, named = header.first, ""
            if header.first in lists:
                if not of_list:
                    return (
                        text,
                        [],
                    )  # a part of the last table of the stretch before: apart from it, it is of none
                named = tomlkit.item(f"{header.first}{AGAIN}{len(names)}").as_string()
                names.append(line[begin:end])
        if of_list:
            lists.add(header.first)
        if named:
            lines[header.number - 1] = line[:begin] + named + line[end:]
    return "\n".join(lines), names


def _named_as_before(text: str, names: Sequence[str]) -> str:
    """Put back what `_named_apart` took."""
    if not names:
        return text
    lines = text.split("\n")
    for header in headers(text):
        _, again, place = header.first.rpartition(AGAIN)
        if again:
            begin, end = header.span
            line = lines[header.number - 1]
            lines[header.number - 1] = line[:begin] + names[int(place)] + line[end:]
    return "\n".join(lines)


def _stretches(document: tomlkit.TOMLDocument, kind: str) -> list[AoT]:
    """Give the lists of tables of a kind, in the order of the file."""
    return [tables for _, tables in lists_of(document, kind) if isinstance(tables, AoT)]


def _find(document: tomlkit.TOMLDocument, item: str) -> tuple[AoT, int, Table]:
    for kind in _KINDS:
        for tables in _stretches(document, kind):
            for place, table in enumerate(tables):
                if table.get("id") == item:
                    return tables, place, table
    problem = Problem(
        f"line, event or consignment {item!r}",
        "not in the file",
        "It may have been renamed or removed meanwhile.",
    )
    raise BuildFileError(_FILE, [problem])


def _set(table: Table, key: str, value: Plain) -> None:
    """Set one key; of an inline table only what differs, so that a comment behind it stays."""
    if value is None:
        table.pop(key, None)
        return
    old = table.get(key)
    if isinstance(old, InlineTable | Table) and isinstance(value, Mapping):
        fewer = [name for name in old if name not in value]
        for name in fewer:
            del old[name]
        for name, part in value.items():
            if name not in old or old[name] != part:
                old[name] = _item(part)
        if fewer and isinstance(
            old, InlineTable
        ):  # the blanks around what was taken out are left at the ends
            whole = tomlkit.value(_WIDE_AT_ENDS.sub(r"\1\2", old.as_string()))
            whole.trivia.comment_ws, whole.trivia.comment = old.trivia.comment_ws, old.trivia.comment
            table[key] = whole
        return
    item = _item(value)
    if old is not None and hasattr(old, "trivia"):
        item.trivia.comment_ws, item.trivia.comment = old.trivia.comment_ws, old.trivia.comment
    table[key] = item


def _append(document: tomlkit.TOMLDocument, kind: str, values: Mapping[str, Plain]) -> None:
    table = tomlkit.table()
    if kind in ("line", "event"):
        told = values.get("hazards")
        hazards = [str(key) for key in told] if isinstance(told, Sequence) else None
        for words in comments_beside(str(values["id"]), hazards, tomlkit.dumps(document)):
            table.add(tomlkit.comment(words))
    for key, value in values.items():
        table[key] = _item(value)
    stretches = _stretches(document, kind)
    if stretches:
        tables = stretches[-1]
    else:
        if not tomlkit.dumps(document).endswith("\n\n"):
            document.add(tomlkit.nl())
        tables = tomlkit.aot()
        document[kind] = tables
        tables = cast(AoT, document[kind])
    if len(tables):
        last = tables[len(tables) - 1]
        if not tomlkit.dumps(last).endswith("\n\n"):  # a blank line between tables
            last.add(tomlkit.nl())
    tables.append(table)


def _add_scenario(document: tomlkit.TOMLDocument, id: str, values: Mapping[str, Plain]) -> None:
    table = tomlkit.table()
    for key, value in values.items():
        table[key] = _item(value)
    if "scenario" not in document:
        document["scenario"] = tomlkit.table(is_super_table=True)
    if not tomlkit.dumps(document).endswith("\n\n"):
        table.trivia.indent = "\n"
    cast(Table, document["scenario"])[id] = table


def _item(value: Plain) -> Any:
    """Make a TOML value, tables in one line and numbers without a needless decimal point."""
    if isinstance(value, Mapping):
        inline = tomlkit.inline_table()
        for key, part in value.items():
            inline[key] = _item(part)
        return inline
    if isinstance(value, list | tuple) and any(isinstance(part, Mapping) for part in value):
        several = tomlkit.array()
        for part in value:
            several.append(_item(part))
        return several
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return tomlkit.item(int(value))
    return tomlkit.item(value)


def stamp(text: str) -> str:
    """Give a name for exactly this text."""
    return hashlib.sha256(text.encode()).hexdigest()


def save_build(path: Path, text: str, read: str) -> None:
    """Write a build file whole or not at all, if it still is what was read.

    Parameters
    ----------
    path : pathlib.Path
    text : str
        The new text.
    read : str
        The text that was read before; a file with another one is left alone.

    Raises
    ------
    EditedMeanwhileError
        When somebody else saved it since.
    BuildFileError
        When the new text is no legal build, with every mistake in it, or when it cannot be written.
    """
    parse_build(text, str(path))
    with _saving(path):
        theirs = read_text(path)
        if theirs != read:
            raise EditedMeanwhileError(str(path), theirs)
        _replace(path, text)


def edit_build(path: Path, changes: Sequence[Change]) -> str:
    """Make changes to a build file as it stands at this moment, and give the new text.

    Others may change it at the same time: one waits for the other, and both are kept.

    Parameters
    ----------
    path : pathlib.Path
    changes : sequence of Change
        Made in this order.

    Raises
    ------
    BuildFileError
        When the result is no legal build, with every mistake in it, or when it cannot be written.
    """
    with _saving(path):
        text = changed(read_text(path), changes)
        parse_build(text, str(path))
        _replace(path, text)
    return text


def can_undo_save(path: Path) -> bool:
    """Tell whether the last save of a build file can be undone: nobody wrote it by other means since."""
    return version_before(path) is not None


def undo_save(path: Path) -> str:
    """Put back what stood in a build file before the last save, by whichever program, and give it.

    Undoing again goes back by one more; what is undone is kept among the earlier texts.

    Raises
    ------
    EditedMeanwhileError
        When somebody wrote it by other means since, or there is nothing to undo.
    BuildFileError
        When what stood there is no legal build, or it cannot be written.
    """
    with _saving(path):
        last = version_before(path)
        if last is None:
            raise EditedMeanwhileError(str(path), read_text(path))
        text = read_text(last.path)
        content = read_regular(last.path, LARGEST_TEXT)
        parse_build(text, str(path))
        keep_version(path, content, undone=True)
        write_file(path, content)
        last.path.unlink(missing_ok=True)
    return text


@contextmanager
def _saving(path: Path) -> Iterator[None]:
    """Keep others from saving, in this program and in any other, and say in words what the disk refuses."""
    try:
        with locked(path):
            yield
    except TimeoutError:
        mend = "Close the other program, or wait, and save again. Nothing was written."
        raise BuildFileError(
            str(path), [Problem("file", "another program is saving it all the while", mend)]
        ) from None
    except OSError as error:
        mend = "The file is as it was. Free some space, or allow writing there, and save again."
        raise BuildFileError(str(path), [Problem("file", why_not(error), mend)]) from None


def _replace(path: Path, text: str) -> None:
    """Write the text with the mark of its encoding where there was one: some editors know the file by it."""
    with open_regular(path) as file:
        mark = _BOM if file.read(len(_BOM)) == _BOM else b""
    content = mark + text.encode()
    keep_version(path, content)
    write_file(path, content)
