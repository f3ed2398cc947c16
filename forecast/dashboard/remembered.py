"""What takes little room and is asked for many times a page: kept for all tabs by what it depends on.

Streamlit's own cache reads a function's signature and hashes its arguments each time, a third of a millisecond, which
came to a tenth of drawing a page.
"""

from __future__ import annotations

import functools
import threading
from collections import OrderedDict
from collections.abc import Callable, Sequence
from typing import ParamSpec, TypeVar, cast

from forecast.buildfile.changes import Change
from forecast.buildfile.edit import changed
from forecast.buildfile.reader import parse_build
from forecast.buildfile.schema import Build

_Asked = ParamSpec("_Asked")
_Found = TypeVar("_Found")
_NOTHING = object()


def remembered(keys: int, most: int) -> Callable[[Callable[_Asked, _Found]], Callable[_Asked, _Found]]:
    """Keep what a function gives, by its first arguments; what it raises is not kept.

    Who asks while an answer is being worked out waits for it.

    Parameters
    ----------
    keys : int
        So many arguments decide, and must be text and numbers; those that follow are what they stand for.
    most : int
        Answers kept, those asked for last.
    """

    def keeping(work: Callable[_Asked, _Found]) -> Callable[_Asked, _Found]:
        kept: OrderedDict[tuple[object, ...], object] = OrderedDict()
        at_work: dict[tuple[object, ...], threading.RLock] = {}
        looking = threading.Lock()

        def find(key: tuple[object, ...]) -> object:
            with looking:
                if key in kept:
                    kept.move_to_end(key)
                return kept.get(key, _NOTHING)

        def keep(key: tuple[object, ...], found: object) -> None:
            with looking:
                kept[key] = found
                while len(kept) > most:
                    kept.popitem(last=False)

        @functools.wraps(work)
        def ask(*args: _Asked.args, **kwargs: _Asked.kwargs) -> _Found:
            key = args[:keys]
            if (found := find(key)) is _NOTHING:
                with looking:
                    mine = at_work.setdefault(key, threading.RLock())
                try:
                    with mine:
                        if (found := find(key)) is _NOTHING:
                            found = work(*args, **kwargs)
                            keep(key, found)
                finally:
                    with looking:
                        at_work.pop(key, None)
            return cast(_Found, found)

        return ask

    return keeping


WITH_CHANGES = "With these changes"
"""What a build that is not saved yet is called in its mistakes."""


@remembered(keys=2, most=48)
def parsed(text: str, heading: str) -> Build:
    """Read a build from text that may have been read before."""
    return parse_build(text, heading)


def changed_text(text: str, changes: Sequence[Change]) -> str:
    """Make changes to a text, as `forecast.buildfile.edit.changed` does."""
    return _changed(text, repr(changes), changes) if changes else text


@remembered(keys=2, most=48)
def _changed(text: str, key: str, _changes: Sequence[Change]) -> str:
    return changed(text, _changes)
