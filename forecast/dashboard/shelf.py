"""What takes long to work out and much room to keep: once for all tabs, and within a bound in bytes.

Streamlit's own cache counts entries, and one forecast of a large build is as large as thirty of a small one.
"""

from __future__ import annotations

import functools
import itertools
import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any, Generic, Literal, ParamSpec, TypeVar, cast

import numpy as np
import streamlit as st
from pydantic import BaseModel
from streamlit.runtime.scriptrunner import get_script_run_ctx

from forecast.dashboard.aside import Aside, Errand
from forecast.engine.facts import Learning
from forecast.engine.known import Conditions, KnownFacts
from forecast.engine.margin import Margin
from forecast.engine.plan import Plan

_Asked = ParamSpec("_Asked")
_Found = TypeVar("_Found")
_NOTHING = object()

LIMIT = 200 * 2**20
"""Bytes kept in all; the last thing worked out is kept however large it is."""
_AFRESH = 20  # so many answers later, all are measured again
MOST = 300
"""Answers kept in all."""


class Turnstile:
    """Lets one thread at a time work something out, what is still asked for before what has been overtaken.

    Twenty threads that work at once on two processors take turns thousands of times a second, and none gets done.
    """

    def __init__(self) -> None:
        self._turns = threading.Condition()
        self._inside: int | None = None
        self._deep = self._rank = 0
        self._waiting: list[tuple[Callable[[], bool], int, int]] = []
        self._count = itertools.count()

    @contextmanager
    def turn(self, overtaken: Callable[[], bool] = lambda: False, rank: int = 1) -> Iterator[None]:
        """Wait for a turn; who has it may come in again.

        Parameters
        ----------
        overtaken : callable
            Tells, whenever a turn is given, whether what is to be worked out has been overtaken by then.
        rank : int
            The lower goes first: who has just saved a receipt waits for where it ends, and not for advice.
        """
        me = threading.get_ident()
        with self._turns:
            if self._inside != me:
                mine = overtaken, rank, next(self._count)
                self._waiting.append(mine)
                self._turns.wait_for(lambda: self._inside is None and self._first() is mine)
                self._waiting.remove(mine)
                self._inside, self._rank = me, rank
            self._deep += 1
        try:
            yield
        finally:
            with self._turns:
                self._deep -= 1
                if not self._deep:
                    self._inside = None
                    self._turns.notify_all()

    def give_way(self) -> None:
        """Let those in whose rank is lower, and wait for them; what takes seconds calls it every now and then."""
        me = threading.get_ident()
        with self._turns:
            if self._inside != me or not any(one[1] < self._rank and not one[0]() for one in self._waiting):
                return
            deep, rank, mine = self._deep, self._rank, (lambda: False, self._rank, -1)
            self._deep, self._inside = 0, None
            self._waiting.append(mine)  # of its own rank, the first
            self._turns.notify_all()
            self._turns.wait_for(lambda: self._inside is None and self._first() is mine)
            self._waiting.remove(mine)
            self._inside, self._deep, self._rank = me, deep, rank

    def _first(self) -> tuple[Callable[[], bool], int, int]:
        return min(self._waiting, key=lambda one: (one[0](), *one[1:]))


@dataclass
class Shelf:
    """Answers by what they depend on, those asked for last kept longest.

    Attributes
    ----------
    limit : int
        Bytes.
    most : int
        Answers.
    """

    limit: int = LIMIT
    most: int = MOST
    _kept: OrderedDict[Hashable, object] = field(default_factory=OrderedDict)
    _sizes: dict[Hashable, int] = field(default_factory=dict)
    _turn: int = 0
    _turnstile: Turnstile = field(default_factory=Turnstile)
    _names: dict[str, OrderedDict[str, None]] = field(default_factory=dict)
    _guard: threading.Lock = field(default_factory=threading.Lock)
    _here: threading.local = field(default_factory=threading.local)

    @contextmanager
    def in_hand(self) -> Iterator[None]:
        """Hold what this thread asks for inside, until it ends, also where the shelf has no room for all of it.

        A page of a large build asks for the same forecast a dozen times, and between two of them for as much again.
        """
        if self._hand() is not None:
            yield
            return
        self._here.hand = {}
        try:
            yield
        finally:
            self._here.hand = None

    def _hand(self) -> dict[Hashable, object] | None:
        found: dict[Hashable, object] | None = getattr(self._here, "hand", None)
        return found

    def get(
        self,
        key: Hashable,
        work: Callable[[], object],
        overtaken: Callable[[], bool] = lambda: False,
        rank: int = 1,
    ) -> object:
        """Give an answer; who asks while it is being worked out waits for it.

        Parameters
        ----------
        key : hashable
            All that the answer depends on.
        work : callable
            Works it out. What it raises is not kept: each who waited tries by itself.
        overtaken, rank
            See `Turnstile.turn`.
        """
        found = self._find(key)
        if found is _NOTHING:
            with self._turnstile.turn(overtaken, rank):
                found = self._find(key)  # somebody may have worked it out meanwhile
                if found is _NOTHING:
                    found = work()
                    self._keep(key, found)
        if (hand := self._hand()) is not None:
            hand[key] = found
        return found

    def give_way(self) -> None:
        """See `Turnstile.give_way`."""
        self._turnstile.give_way()

    def has(self, key: Hashable) -> bool:
        """Tell whether an answer is there."""
        with self._guard:
            return key in self._kept or key in (self._hand() or {})

    def only_newest(self, family: str, name: str, most: int) -> None:
        """Let go of what depends on an older name of a family: figures tried and changed again are not asked for again.

        Parameters
        ----------
        family : str
        name : str
            The newest; it is part of the keys of what depends on it.
        most : int
            So many names are kept.
        """
        with self._guard:
            names = self._names.setdefault(family, OrderedDict())
            names[name] = None
            names.move_to_end(name)
            while len(names) > most:
                older, _ = names.popitem(last=False)
                for key in [key for key in self._kept if isinstance(key, tuple) and older in key]:
                    del self._kept[key], self._sizes[key]

    def forget(self) -> None:
        """Forget all answers."""
        (self._hand() or {}).clear()
        with self._guard:
            self._kept.clear()
            self._sizes.clear()

    def put(self, key: Hashable, found: object) -> None:
        """Keep an answer that was worked out elsewhere."""
        self._keep(key, found)

    def _find(self, key: Hashable) -> object:
        with self._guard:
            if key not in self._kept:
                return (self._hand() or {}).get(key, _NOTHING)
            self._kept.move_to_end(key)
            return self._kept[key]

    def held(self) -> int:
        """Give the bytes kept now."""
        with self._guard:
            return size_of(list(self._kept.values()))

    def _keep(self, key: Hashable, found: object) -> None:
        size = size_of(found)
        with self._guard:
            self._kept[key], self._sizes[key] = found, size
            self._turn += 1
            if self._turn % _AFRESH == 0 or sum(self._sizes.values()) > self.limit:
                self._measure()
            while len(self._kept) > 1 and (
                len(self._kept) > self.most or sum(self._sizes.values()) > self.limit
            ):
                gone, _ = self._kept.popitem(last=False)
                del self._sizes[gone]

    def _measure(self) -> None:
        """Measure all anew: what is kept can have grown since, and two answers can share arrays."""
        seen: set[int] = set()
        for key in reversed(self._kept):
            self._sizes[key] = size_of(self._kept[key], seen)


def size_of(found: object, seen: set[int] | None = None) -> int:
    """Give the bytes of all arrays that hang on an answer, each counted once; nothing else of it is large.

    Parameters
    ----------
    found : object
    seen : set of int, optional
        Identities of what was counted already; what is counted now is added.
    """
    seen = set() if seen is None else seen
    waiting: list[Any] = [found]
    total = 0
    while waiting:
        one = waiting.pop()
        kind = _kind_of(cast(Hashable, type(one)))
        if kind == "small" or id(one) in seen:
            continue
        seen.add(id(one))
        if kind == "array":
            if isinstance(one.base, np.ndarray):
                waiting.append(one.base)
            else:
                total += one.nbytes
        elif kind == "mapping":
            waiting += one.values()
        elif kind == "several":
            waiting += one
        else:
            waiting += vars(one).values()
    return total


_SMALL = (str, bytes, int, float, type(None), BaseModel, Plan, KnownFacts, Conditions, Learning, Margin)
"""Not looked into: a build, its plan and what is known of it have many parts and no arrays to speak of."""


@lru_cache(maxsize=1024)
def _kind_of(kind: type[Any]) -> Literal["small", "array", "mapping", "several", "ours"]:
    """Tell how a class is looked into, asked once for each: an answer has thousands of parts."""
    if issubclass(kind, _SMALL):
        return "small"
    if issubclass(kind, np.ndarray):
        return "array"
    if issubclass(kind, dict):
        return "mapping"
    if issubclass(kind, list | tuple | set | frozenset):
        return "several"
    return "ours" if kind.__module__.startswith("forecast.") and kind.__dictoffset__ else "small"


SHELF = Shelf()
ASIDE = Aside(SHELF.put)
LARGEST_ERRAND = 64 * 2**20
"""Bytes of arrays that are handed to the second process at most: it would hold them twice over while it works."""
NEWEST: dict[str, str] = {}
"""The state of each ledger as it was seen last, by its path: what was asked for an older one has been overtaken."""


class KeptAnswers(Generic[_Asked, _Found]):
    """A function whose answers are kept; see `shelved`.

    Parameters
    ----------
    work : callable
    said, keys, state, rank
        As for `shelved`.
    """

    def __init__(
        self, work: Callable[_Asked, _Found], said: str, keys: int, state: int | None, rank: int
    ) -> None:
        functools.update_wrapper(self, work)
        self._work, self._said, self._keys, self._state, self._rank = work, said, keys, state, rank

    def __call__(self, *args: _Asked.args, **kwargs: _Asked.kwargs) -> _Found:
        """Give the answer, worked out where it is not kept."""

        def told() -> object:
            if not self._said or get_script_run_ctx(suppress_warning=True) is None:  # no page waits for it
                return self._work(*args, **kwargs)
            with st.spinner(self._said):
                return self._work(*args, **kwargs)

        return cast(_Found, SHELF.get(self._key(args), told, self._overtaken(args), self._rank))

    def on_its_way(self, errand: Errand, *args: _Asked.args, **kwargs: _Asked.kwargs) -> bool:
        """Tell whether the second process is to give the answer and has not yet: then it need not be waited for.

        Parameters
        ----------
        errand : Errand
            What gives the same answer there.
        *args, **kwargs
            As for the function itself.
        """
        key = self._key(args)
        if SHELF.has(key) or size_of(errand.arguments) > LARGEST_ERRAND:
            return False
        return ASIDE.takes(key, errand, self._overtaken(args))

    def _key(self, args: tuple[object, ...]) -> Hashable:
        return (self._work.__module__, self._work.__name__, *args[: self._keys])

    def _overtaken(self, args: tuple[object, ...]) -> Callable[[], bool]:
        asked = "" if self._state is None else str(args[self._state])
        path = path_of(asked)
        return lambda: NEWEST.get(path, asked) != asked


def shelved(
    said: str, keys: int, state: int | None = None, rank: int = 1
) -> Callable[[Callable[_Asked, _Found]], KeptAnswers[_Asked, _Found]]:
    """Keep what a function gives, by its first arguments.

    Parameters
    ----------
    said : str
        Stands on the screen while it is worked out.
    keys : int
        So many arguments decide, and must be text and numbers; those that follow are what they stand for.
    state : int, optional
        Place among them of the state of the ledger, a name that begins with its path.
    rank : int
        See `Turnstile.turn`.
    """
    return lambda work: KeptAnswers(work, said, keys, state, rank)


def path_of(state: str) -> str:
    """Give the path that the name of a ledger's state begins with."""
    return state.rsplit(" ", 2)[0]
