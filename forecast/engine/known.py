"""What is known by now, in the engine's words: amounts, floors, and events that happened or cannot."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType


def _nothing() -> Mapping[str, float]:
    return MappingProxyType({})


@dataclass(frozen=True)
class KnownFacts:
    """Facts to condition a simulation on.

    Attributes
    ----------
    amounts : mapping
        Final amount by row id: that row costs exactly this (and an own-hours row took exactly this).
    floors : mapping
        Least amount by row id: that row costs at least this, because so much is paid already.
    gates : mapping
        True for an event that happened (or a line that turned out to be needed), False for one that cannot.
    fixed : mapping
        Amount by row id that says nothing of the shared causes: what was given up, not what came in cheap.
    """

    amounts: Mapping[str, float] = field(default_factory=_nothing)
    floors: Mapping[str, float] = field(default_factory=_nothing)
    gates: Mapping[str, bool] = field(default_factory=lambda: MappingProxyType({}))
    fixed: Mapping[str, float] = field(default_factory=_nothing)

    @property
    def nothing(self) -> bool:
        """Tell whether there is nothing to condition on."""
        return not (self.amounts or self.floors or self.gates or self.fixed)
