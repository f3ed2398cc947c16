"""What takes long to work out and much room to keep: once for all tabs, and within a bound in bytes.

Streamlit's own cache counts entries, and one forecast of a large build is as large as thirty of a small one.
"""

from __future__ import annotations

import functools
import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from dataclasses import dataclass, field
from typing import ParamSpec, TypeVar, cast

import numpy as np
import streamlit as st
from pydantic import BaseModel

from forecast.engine.plan import Plan

_Asked = ParamSpec("_Asked")
_Found = TypeVar("_Found")

LIMIT = 200 * 2**20
"""Bytes kept in all; the last thing worked out is kept however large it is."""


@dataclass
class Shelf:
    """Answers by what they depend on, those asked for last kept longest.

    Attributes
    ----------
    limit : int
        Bytes.
    """

    limit: int = LIMIT
    _kept: OrderedDict[Hashable, object] = field(default_factory=OrderedDict)
    _working: dict[Hashable, threading.Lock] = field(default_factory=dict)
    _guard: threading.Lock = field(default_factory=threading.Lock)

    def get(self, key: Hashable, work: Callable[[], object]) -> object:
        """Give an answer; who asks while it is being worked out waits for it.

        Parameters
        ----------
        key : hashable
            All that the answer depends on.
        work : callable
            Works it out. What it raises is not kept: each who waited tries by itself.
        """
        with self._guard:
            if key in self._kept:
                self._kept.move_to_end(key)
                return self._kept[key]
            turn = self._working.setdefault(key, threading.Lock())
        with turn:
            with self._guard:
                if key in self._kept:
                    return self._kept[key]
            try:
                found = work()
                self._keep(key, found)
            finally:
                with self._guard:
                    self._working.pop(key, None)
        return found

    def held(self) -> int:
        """Give the bytes kept now."""
        with self._guard:
            return size_of(list(self._kept.values()))

    def _keep(self, key: Hashable, found: object) -> None:
        with self._guard:
            self._kept[key] = found
            # What is kept can grow later, and two answers can share arrays: it is measured anew.
            while len(self._kept) > 1 and size_of(list(self._kept.values())) > self.limit:
                self._kept.popitem(last=False)


def size_of(found: object) -> int:
    """Give the bytes of all arrays that hang on an answer, each counted once; nothing else of it is large."""
    seen: set[int] = set()
    waiting, total = [found], 0
    while waiting:
        one = waiting.pop()
        if id(one) in seen or isinstance(one, _SMALL):
            continue
        seen.add(id(one))
        if isinstance(one, np.ndarray):
            if isinstance(one.base, np.ndarray):
                waiting.append(one.base)
            else:
                total += one.nbytes
        elif isinstance(one, dict):
            waiting += one.values()
        elif isinstance(one, list | tuple | set | frozenset):
            waiting += one
        elif type(one).__module__.startswith("forecast.") and hasattr(one, "__dict__"):
            waiting += vars(one).values()
    return total


_SMALL = (str, bytes, int, float, type(None), BaseModel, Plan)
"""Not looked into: a build and its plan have many parts and no arrays to speak of."""


SHELF = Shelf()


def shelved(said: str, keys: int) -> Callable[[Callable[_Asked, _Found]], Callable[_Asked, _Found]]:
    """Keep what a function gives, by its first arguments.

    Parameters
    ----------
    said : str
        Stands on the screen while it is worked out.
    keys : int
        So many arguments decide, and must be text and numbers; those that follow are what they stand for.
    """

    def keep(work: Callable[_Asked, _Found]) -> Callable[_Asked, _Found]:
        @functools.wraps(work)
        def kept(*args: _Asked.args, **kwargs: _Asked.kwargs) -> _Found:
            def told() -> object:
                with st.spinner(said):
                    return work(*args, **kwargs)

            return cast(_Found, SHELF.get((work.__module__, work.__name__, *args[:keys]), told))

        return kept

    return keep
