"""The answers of the commands that settle something without money moving, from ``close`` to ``undo``."""

from __future__ import annotations

import datetime as dt
from typing import TypedDict

from forecast.engine.statistics import Estimate
from forecast.views.answers.figures import Figure
from forecast.views.answers.of_receipts import MovedByEntry


class LineStands(TypedDict):
    """How a line stands, since when, and what was paid for it."""

    line: str
    state: str
    date: dt.date
    paid_minor: int


class LinesAnswer(TypedDict):
    """The lines that were closed or opened again, none where none looked settled, and how far that moved P80.

    That is null where nothing was entered, and for a build too large to be simulated beside it.
    """

    lines: list[LineStands]
    currency: str
    moved: MovedByEntry | None


class FinishAnswer(TypedDict):
    """The end of a build.

    Attributes
    ----------
    never_paid : list of str
        Lines that were closed though nothing was paid for them.
    paid : float
        What all cost, in the main unit of the currency.
    cost_no_more_before : Estimate
        Share of the builds forecast before the first receipt that cost no more than this one.
    """

    closed: tuple[str, ...]
    cannot_happen: tuple[str, ...]
    never_paid: list[str]
    paid: float
    currency: str
    cost_no_more_before: Estimate


class EventStands(TypedDict):
    """How an event stands, and since when."""

    event: str
    state: str
    date: dt.date


class EventsAnswer(TypedDict):
    """Events, and charges on the way of goods, of which it was said what became, and how far that moved P80.

    That is null for a build too large to be simulated beside it.
    """

    events: list[EventStands]
    charges: list[str]
    moved: MovedByEntry | None


class FreezeAnswer(TypedDict):
    """The budget that was frozen, and how often it is enough."""

    budget_minor: int
    currency: str
    chance: Figure


class LastEntered(TypedDict):
    """What was entered last; null where nothing is left to take back."""

    last: str | None


class Undone(TypedDict):
    """What was taken back, and how far that moved P80; null for a build too large to be simulated beside it."""

    undone: str
    moved: MovedByEntry | None
