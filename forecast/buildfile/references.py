"""Taking lines, events and measures out of a build file, with all that speaks of them.

A guided build speaks of nearly every second line once more: an event is a share of it, a measure is taken before it, a
way overrides it. Taken out alone it would leave a file that nobody can read, so what speaks of it is taken out too:
a share of nothing, and a measure that does nothing, go with it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, MutableMapping, MutableSequence
from functools import partial
from operator import eq, setitem
from typing import Any, TypeAlias

AGAIN = ", taken up again "
"""Stands in the name of a list of tables that goes on below other tables, while the file is changed."""
_DOES = ("chances", "impacts", "figures", "ranges")
"""What a measure changes: one without any of them does nothing."""

Node: TypeAlias = MutableMapping[str, Any]
Put: TypeAlias = Callable[[Any, str, Any], object]


def without(document: Node, item: str, put: Put = setitem) -> None:
    """Take an item out of a build file as plain values, or as what keeps its comments, with all that speaks of it.

    Parameters
    ----------
    document : mutable mapping
        The file; changed in place. It holds the item.
    item : str
        Id of a line, event, consignment, surface, measure or option.
    put : callable
        Puts a value under a key of a table.
    """
    going = [item]
    while going:
        name = going.pop()
        before = _offered(document)
        _delete(document, name)
        going += _shares(document, name, put)
        going += _measures(document, name, put)
        going += _packages(document, before, put)
        for holder in (*tables_of(document, "option"), *_scenarios(document)):
            override = holder.get("override")
            if isinstance(override, MutableMapping) and name in override:
                _drop(holder, "override", partial(eq, name), put)


def lists_of(document: Node, kind: str) -> Iterator[tuple[str, MutableSequence[Node]]]:
    """Give the lists of tables of a kind with their keys, in the order of the file."""
    for key, tables in list(document.items()):
        if key.partition(AGAIN)[0] == kind and isinstance(tables, MutableSequence):
            yield key, tables


def tables_of(document: Node, kind: str) -> Iterator[Node]:
    """Give all tables of a kind, in the order of the file."""
    for _, tables in lists_of(document, kind):
        yield from list(tables)


def _delete(document: Node, item: str) -> None:
    for kind in ("line", "event", "consignment", "surface", "measure", "option"):
        for key, tables in lists_of(document, kind):
            for place, table in enumerate(tables):
                if table.get("id") == item:
                    del tables[place]
                    if not len(tables):  # it would stay as an empty list at the top of the file
                        del document[key]
                    return


def _costed(document: Node) -> Iterator[Node]:
    """Give all lines and events, those that an option brings too."""
    for holder in (document, *tables_of(document, "option")):
        for kind in ("line", "event"):
            yield from tables_of(holder, kind)


def _shares(document: Node, item: str, put: Put) -> list[str]:
    """Take an item out of what others are a share of; give the ids of those that are a share of nothing now."""
    empty: list[str] = []
    for table in _costed(document):
        names = list(table.get("of", ()))
        left = [name for name in names if str(name).partition(".")[0] != item]
        if len(left) == len(names):
            continue
        if left:
            put(table, "of", left)
        else:
            empty.append(str(table["id"]))
    return empty


def _measures(document: Node, item: str, put: Put) -> list[str]:
    """Take an item out of what measures change and are taken before; give those that change nothing now."""
    empty: list[str] = []
    for measure in tables_of(document, "measure"):
        did = any(key in measure for key in _DOES)
        for key in _DOES:
            _drop(measure, key, lambda name: name.partition(".")[0] == item, put)
        before = list(measure.get("before", ()))
        if item in before:
            left = [name for name in before if name != item]
            if left:
                put(measure, "before", left)
            else:
                del measure["before"]
        if did and not any(key in measure for key in _DOES):
            empty.append(str(measure["id"]))
    return empty


def _drop(table: Node, key: str, gone: Callable[[str], bool], put: Put) -> None:
    """Take names out of a table under a key; the key too where none is left."""
    old = table.get(key)
    if not isinstance(old, MutableMapping) or not any(gone(name) for name in old):
        return
    left = {name: value for name, value in old.items() if not gone(name)}
    if left:
        put(table, key, left)
    else:
        del table[key]


def _scenarios(document: Node) -> Iterator[Node]:
    found = document.get("scenario")
    if isinstance(found, MutableMapping):
        yield from (way for way in found.values() if isinstance(way, MutableMapping))


def _offered(document: Node) -> dict[str, set[str]]:
    """Give the routes that lines and events take, by work package."""
    found: dict[str, set[str]] = {}
    for table in _costed(document):
        if "package" in table:
            found.setdefault(str(table["package"]), set()).add(str(table.get("route", "")))
    return found


def _packages(document: Node, before: dict[str, set[str]], put: Put) -> list[str]:
    """Take work packages of which nothing is left out of the ways, and of what counts for them or hands them over.

    Gives the events that hand over nothing now.
    """
    now = _offered(document)
    gone = before.keys() - now.keys()
    no_shop = {name for name, routes in before.items() if "shop" in routes - now.get(name, set())}
    for way in _scenarios(document):
        for name in gone.intersection(way):
            del way[name]
    empty: list[str] = []
    for table in _costed(document):
        for key, without_ in (("also_for", gone), ("hands_over", no_shop)):
            names = list(table.get(key, ()))
            left = [name for name in names if name not in without_]
            if left == names:
                continue
            if left:
                put(table, key, left)
            elif key == "also_for":
                del table[key]
            else:
                empty.append(str(table["id"]))
    return empty
