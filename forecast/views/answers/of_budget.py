"""The answers of ``forecast budget`` and ``watch``."""

from __future__ import annotations

import datetime as dt
from typing import NotRequired, TypedDict

from forecast.buildfile.oneself import OwnHazard
from forecast.engine.statistics import Estimate
from forecast.views.answers.figures import (
    Figure,
    FourPercentiles,
    HalfAndHigh,
    HighPercentiles,
    IfNarrow,
    RangeOf,
)
from forecast.watching.known_facts import LineState
from forecast.watching.reasons import ReasonKind


class BudgetLine(TypedDict):
    """A line or event in the forecast.

    Attributes
    ----------
    base : float
        What it adds to the base estimate.
    P10, P50, P90 : float or None
        Null where it is no figure of its own.
    variance_share : float
        Of the total's variance; all of them add up to 1.
    """

    id: str
    name: str
    group: str
    kind: str
    base: float
    mean: float
    P10: float | None
    P50: float | None
    P90: float | None
    variance_share: float


class Within(TypedDict):
    """How often a sum is enough."""

    amount: float
    chance: Estimate


class BudgetAnswer(TypedDict):
    """What to hold before ordering; money in the main unit of the currency.

    Attributes
    ----------
    notice : str or None
        What the build says of itself.
    base_estimate : float
        The sum of the middle figures, without what may or may not happen.
    percentiles : FourPercentiles
        Of the total.
    contingency : FourPercentiles
        These less the base estimate.
    weeks : FourPercentiles or None
        Null where the build does not say how many hours a week has.
    paid_for_none_of_these : float
        Paid for what no line is there for.
    within : Within
        The sum asked about, or the budget; not there without either.
    stable, tolerance : bool, float
        With '--trials stable' alone: whether the figures stayed within so much.
    """

    build: str
    notice: str | None
    scenario: str | None
    currency: str
    trials: int
    seed: int
    fingerprint: str
    base_estimate: float
    chance_base_is_enough: Estimate
    mean: Estimate
    percentiles: FourPercentiles
    contingency: FourPercentiles
    own_hours: FourPercentiles
    weeks: FourPercentiles | None
    lines: list[BudgetLine]
    remarks: list[str]
    doubtful_rules: list[str]
    paid_for_none_of_these: float
    within: NotRequired[Within]
    own_hazards: tuple[OwnHazard, ...]
    if_ranges_are_narrow: IfNarrow | None
    stable: NotRequired[bool]
    tolerance: NotRequired[float]


class WatchedHours(TypedDict):
    """Own hours: of the whole build, still to be worked, and what was said to be done."""

    planned: HalfAndHigh
    left: HalfAndHigh
    done: list[str]


class WatchedLine(TypedDict):
    """One line or event: what was thought, what was paid, what is thought now.

    Attributes
    ----------
    if_needed : float or None
        Its middle figure if it is needed or happens; null where that is sure.
    settled : Figure or None
        Chance that what was paid is all, where nobody said so.
    more_to_come : bool
        Whether more was said to come.
    """

    id: str
    name: str
    group: str
    kind: str
    state: LineState
    base: float
    if_needed: float | None
    paid: float
    before: RangeOf
    now: RangeOf
    mean_before: float
    mean_now: float
    settled: Figure | None
    more_to_come: bool


class WatchedShare(TypedDict):
    """What is a share of sums that are not paid yet: so much of so much is still unpaid."""

    id: str
    kind: str
    unpaid: float
    of: float


class WatchedReason(TypedDict):
    """Why the forecast moved, and by how much."""

    kind: ReasonKind
    id: str
    amount: float
    because: list[str]


class WatchedCause(TypedDict):
    """What receipts say of a shared cause: its score, 0 ± 1 before the first, and what that does to the total."""

    id: str
    mean: float
    sd: float
    effect: float
    moves: list[str]


class NamedLine(TypedDict):
    """A line by id and name."""

    id: str
    name: str


class NotInThisWay(TypedDict):
    """What was paid for lines that this way does not have."""

    lines: list[NamedLine]
    paid: float


class WatchAnswer(TypedDict):
    """Where the build ends with its receipts in; money in the main unit of the currency.

    Attributes
    ----------
    as_of : date or None
        Null for all that was entered.
    committed : float
        Agreed and not yet paid.
    budget : float or None
        The frozen one, else the build's.
    further_100_buys : Estimate or None
        How much less often it overruns with 100 more.
    effective_trials : float
        How many trials agree with what is known.
    """

    build: str
    notice: str | None
    scenario: str | None
    currency: str
    as_of: dt.date | None
    paid: float
    committed: float
    budget: float | None
    chance_of_overrun: Estimate | None
    median_overrun: Estimate | None
    forecast_final_cost: FourPercentiles
    before_receipts: FourPercentiles
    cost_to_complete: FourPercentiles
    contingency_left: float | None
    further_100_buys: Estimate | None
    contingency_needed: HighPercentiles
    trials: int
    seed: int
    effective_trials: float
    own_hours: WatchedHours
    lines: list[WatchedLine]
    looking_settled: list[str]
    share_of_closed: list[str]
    over_by_now: list[str]
    share_of_unpaid: list[WatchedShare]
    reasons: list[WatchedReason]
    causes: list[WatchedCause]
    not_in_this_way: NotInThisWay
    remarks: list[str]
