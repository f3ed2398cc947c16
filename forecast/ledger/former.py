"""What lines were called that are no longer in the build: receipts keep their ids alone."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from forecast.ledger.book import Ledger
from forecast.ledger.records import Baseline
from forecast.tables.files import LARGEST_TEXT, read_regular, versions
from forecast.words.text import plain


@dataclass(frozen=True)
class Former:
    """The earlier texts of a build, asked only for what its file does not have.

    Attributes
    ----------
    file : pathlib.Path or None
        The build file, whose earlier texts stand in its copies.
    frozen : tuple of str
        The texts that were kept with a budget, the oldest first.
    """

    file: Path | None = None
    frozen: tuple[str, ...] = ()

    @classmethod
    def of(cls, ledger: Ledger, baselines: Sequence[Baseline] | None = None) -> Former:
        """Give the earlier texts of the build that a ledger is of; its baselines may have been read already."""
        name = ledger.path.name  # as `BuildFolder.receipts_db` makes it
        build = "build.toml" if name == "receipts.db" else f"{name.removesuffix('-receipts.db')}.toml"
        kept = ledger.list_baselines() if baselines is None else baselines
        return cls(ledger.path.with_name(build), tuple(one.build_text for one in kept))

    def titles(self, names: Iterable[str]) -> dict[str, str]:
        """Give what lines and events were called last, by id; an id that no text has is made readable."""
        wanted, found = list(dict.fromkeys(names)), dict[str, str]()
        for text in self._texts() if wanted else ():
            called = _called(text)
            found |= {name: called[name] for name in wanted if name in called and name not in found}
            if len(found) == len(wanted):
                break
        return {name: found.get(name, readable(name)) for name in wanted}

    def _texts(self) -> Iterator[str]:
        """Give the texts, the latest first."""
        for one in reversed(versions(self.file)) if self.file is not None else ():
            try:
                yield read_regular(one.path, LARGEST_TEXT).decode()
            except (OSError, UnicodeDecodeError):  # another may be whole
                continue
        yield from reversed(self.frozen)


def readable(name: str) -> str:
    """Write an id as words: ``body_fasteners`` as ``Body fasteners``, as a line without a name is written."""
    return name.replace("_", " ").replace("-", " ").replace(".", " ").capitalize()


def _called(text: str) -> dict[str, str]:
    """Give the titles of a build file's lines and events by id, whatever else of it could not be read today."""
    try:
        read: Mapping[str, object] = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return {}
    found = {}
    for kind in ("line", "event"):
        items = read.get(kind)
        for item in items if isinstance(items, list) else ():
            name, title = (item.get("id"), item.get("name")) if isinstance(item, dict) else (None, None)
            if isinstance(name, str):
                said = plain(title, lines=False).strip() if isinstance(title, str) else ""
                found[name] = said or readable(name)
    return found
