"""The answers of ``forecast advise``, ``compare``, ``afford`` and ``quotes``; that of ``mix`` is a `Mixes`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NotRequired, TypedDict

from forecast.buildfile.oneself import OwnHazard
from forecast.decide.afford import BudgetChance, WalkAway
from forecast.decide.choices import Quote
from forecast.decide.contingency import Contingency
from forecast.decide.drivers import Drivers
from forecast.decide.firm_up import FirmUp
from forecast.decide.measures import MeasureResult
from forecast.decide.scenarios import Pair, Summary
from forecast.decide.trim import Trims
from forecast.views.answers.figures import IfNarrow
from forecast.views.answers.of_check import QuotesOfOneFigure


class AdviseAnswer(TypedDict):
    """How much to hold and why, and what could go.

    Attributes
    ----------
    optional : Trims
        What could go.
    measures : list of MeasureResult or None
        What each does alone; null where the build has none.
    """

    contingency: Contingency
    drivers: Drivers
    optional: Trims
    firm_up: list[FirmUp]
    if_ranges_are_narrow: IfNarrow | None
    own_hazards: tuple[OwnHazard, ...]
    measures: Sequence[MeasureResult] | None


class CompareAnswer(TypedDict):
    """Ways to do the build side by side; none where only one is left.

    Attributes
    ----------
    own_hazards : mapping of str to list of OwnHazard
        By way.
    """

    currency: str
    scenarios: Sequence[Summary]
    pairs: Sequence[Pair]
    own_hazards: Mapping[str, tuple[OwnHazard, ...]]


class AffordAnswer(TypedDict):
    """How far the money reaches; the highest price that fits where one was asked about."""

    currency: str
    budget: BudgetChance
    walk_away: NotRequired[WalkAway]


class ChoiceCompared(TypedDict):
    """The options of one choice side by side.

    Attributes
    ----------
    best : str
        Id of the quote.
    estimate : Quote or None
        The builder's own estimate beside them, which none can take; null where it stands among no options.
    """

    choice: str
    best: str
    quotes: tuple[Quote, ...]
    estimate: Quote | None
    pairs: tuple[Pair, ...]


class ChoiceNotCompared(TypedDict):
    """A choice whose options are not compared, and why."""

    choice: str
    why: str
    text: str


class QuotesAnswer(TypedDict):
    """Which quote to take."""

    currency: str
    choices: list[ChoiceCompared]
    not_compared: list[ChoiceNotCompared]
    of_one_figure: list[QuotesOfOneFigure]


class AgreedPrice(TypedDict):
    """A price agreed, by its number in 'forecast agreed', and its line."""

    id: int
    line: str


class TakenAnswer(TypedDict):
    """The quote that was taken, kept as prices agreed."""

    taken: list[AgreedPrice]
