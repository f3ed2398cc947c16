"""What follows from a build, worked out once for as long as the build is held by anybody."""

from __future__ import annotations

import weakref
from collections.abc import Callable, Hashable
from typing import Generic, TypeVar

_Found = TypeVar("_Found")


class Kept(Generic[_Found]):
    """Answers kept by the object they are about: by the very object, for a model's hash reads all that is in it.

    The objects must be frozen. Two threads that ask at once may both work it out; they get the same answer.
    """

    def __init__(self) -> None:
        self._answers: dict[int, tuple[weakref.ref[object], dict[Hashable, _Found]]] = {}

    def get(self, about: object, key: Hashable, work: Callable[[], _Found]) -> _Found:
        """Give an answer about an object, worked out when it was not asked for before.

        Parameters
        ----------
        about : object
        key : hashable
            What is asked about it.
        work : callable
            Works it out; what it raises is not kept.
        """
        number = id(about)
        entry = self._answers.get(number)
        if entry is None or entry[0]() is not about:  # a number is given again when its object is gone
            entry = weakref.ref(about, lambda _: self._forget(number)), {}
            self._answers[number] = entry
        answers = entry[1]
        if key not in answers:
            answers[key] = work()
        return answers[key]

    def _forget(self, number: int) -> None:
        entry = self._answers.get(number)
        if entry is not None and entry[0]() is None:
            del self._answers[number]
