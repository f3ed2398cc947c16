"""Splitting a receipt over lines: parts that are known, and the rest evenly or as the lines were estimated."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from forecast.buildfile.schema import Build
from forecast.engine.facts import stated_margin
from forecast.engine.forecast import DEFAULT_SEED, Forecast, simulate
from forecast.engine.margin import TENTHS
from forecast.engine.plan import compile_plan
from forecast.errors import ForecastError, LedgerError
from forecast.ledger import Ledger
from forecast.ledger.splitting import split_rest
from forecast.words.minor_units import to_float

Way = Literal["evenly", "by estimate"]

_FEW = 512
"""Trials that tell about what a build comes to."""


def middle_figures(build: Build, scenario: str | None = None) -> dict[str, float]:
    """Give the middle figure of each line, by id, in the build's currency; an event's at its chance."""
    return compile_plan(build, scenario).at_middle(gated="by chance")


UNUSUAL = 3.0
"""A sum of more than so many times the high of its line is asked about before it is entered: a decimal point in the
wrong place makes ten of it."""

UNUSUAL_ONCE = 2.0
"""As `UNUSUAL`, for what comes in one bill and stands on its own range."""

_SELDOM = 2.3263478740408408
"""Score of P99: what 1 of 100 builds would pay by the range of its line is not asked about."""

_FAR_ABOVE, _TENFOLD = 5.0, 9.0
"""In middles of a line: no sum is a slip of ten up to the first; from the second on, one like the middle is."""

_SLIP = (1.7506860712521692, 1.959963984540054)
"""Scores of P96 and P97.5, between which a sum begins to be asked about as a slip of ten, at nine middles where these
lie between; and never below five.

So much is asked of an honest bill within the stated range, of 100: where the range is lognormal and its high 2 middles,
0.2; 2.5 middles, 1.2; 3 to 4 middles, 2.5; 5 middles and more, 4. By three highs alone it would be about 1 up to highs
of 4 middles. But a bill of the middle amount with its point one place to the right was let through from highs of 3.4
middles on, and nearly always where several figures make up a line."""


@dataclass(frozen=True)
class Expected:
    """What a line was thought to cost at most, and from where on a sum for it is asked about.

    Attributes
    ----------
    title : str
    high : float
        In 90 of 100 builds it costs no more: by its own range where that was simulated, else with every figure at its
        P90, which is more where several figures make it up.
    bound : float
    """

    title: str
    high: float
    bound: float


Highs: TypeAlias = Mapping[str, Expected]
"""What each line and event was thought to cost at most, by id; see `every_high`."""


@dataclass(frozen=True)
class Unusual:
    """A sum far above anything that its line was thought to cost.

    Attributes
    ----------
    title : str
        Of the line or event.
    paid, high : float
        The sum, and what the line costs at its P90, in the build's money.
    """

    title: str
    paid: float
    high: float


def unusual(
    build: Build, splits: Iterable[tuple[str, int]], highs: Highs | None = None
) -> tuple[Unusual, ...]:
    """Find sums far above the range of their line, which may be slips of the keyboard.

    Parameters
    ----------
    build : Build
    splits : iterable of (str, int)
        Line or event, and minor units of the build's money.
    highs : mapping, optional
        From `every_high`, where many receipts are looked at.
    """
    sums: dict[str, int] = {}
    for line, part in splits:
        sums[line] = sums.get(line, 0) + abs(part)
    known = every_high(build, sums.keys()) if highs is None else highs
    found = []
    for line, part in sums.items():
        paid = to_float(part, build.build.currency)
        if line in known and 0 < known[line].bound < paid:
            found.append(Unusual(known[line].title, paid, known[line].high))
    return tuple(found)


def every_high(build: Build, only: Collection[str] | None = None) -> Highs:
    """Give what each line and event that counts in any scenario costs at most, by id, and what is asked about.

    Empty where the build cannot be simulated: it can be paid for all the same.

    Parameters
    ----------
    build : Build
    only : collection of str, optional
        The lines that are asked for; all of them when left out.
    """
    highs: dict[str, Expected] = {}
    try:
        for scenario in build.scenario or (None,):  # the first that a line counts in is the one that is asked
            highs = _highs(build, scenario, only) | highs
            if only is not None and highs.keys() >= set(only):
                break
    except ForecastError:
        return {}
    return highs


def _highs(build: Build, scenario: str | None, only: Collection[str] | None) -> dict[str, Expected]:
    """Give what each line costs at most as if it were needed or happened, by id."""
    plan = compile_plan(build, scenario)
    highs = plan.at({item.id: item.shape.percentile(0.9) for item in plan.inputs}, gated="open")
    found = {}
    for row in plan.rows:
        if only is not None and row.id not in only:
            continue
        high = highs[row.id]
        bound = UNUSUAL * high
        if row.kind in ("line", "event") and row.inputs and not row.reads:
            # Several figures are seldom at their P90 together. What is reckoned from other lines is as dear as these.
            stated = stated_margin(plan, row.id, DEFAULT_SEED)
            middle, own, least, most, seldom = (
                float(one) for one in stated.amount(np.array([0.0, TENTHS[1], *_SLIP, _SELDOM]))
            )
            slip = max(_FAR_ABOVE * middle, min(most, max(_TENFOLD * middle, least)))
            high, bound = min(high, own), min(bound, slip)
            if row.kind == "line" and row.bought == "once":
                bound = min(bound, max(UNUSUAL_ONCE * own, seldom))
        found[row.id] = Expected(row.title, high, round(bound, 6))
    return found


def sums_of_whole(forecast: Forecast) -> tuple[float, ...]:
    """Give what a budget may be about: what the middle figures add up to, and what half of builds cost at most."""
    return (forecast.base_estimate, forecast.percentile(0.5).value)


def sums_of_build(build: Build, scenario: str | None = None) -> tuple[float, ...]:
    """Give what a budget may be about, from few trials: to tell thousands from single units no more are needed."""
    try:
        return sums_of_whole(simulate(build, scenario, _FEW))
    except ForecastError:  # a build that cannot be simulated says so where its answer is worked out
        return ()


def expected_sums(
    build: Build, ledger: Ledger | None, lines: Collection[str], currency: str, scenario: str | None = None
) -> tuple[float, ...]:
    """Give what a bill for some lines may be about: their price, and what of it is still to pay.

    Parameters
    ----------
    build : Build
    ledger : Ledger or None
    lines : collection of str
    currency : str
        Of the bill: converted at the rate that the build plans with.
    scenario : str, optional

    Returns
    -------
    tuple of float
        Empty where a line has no estimate, or the rate is not known.
    """
    try:
        plan = compile_plan(build, scenario)
        middles = plan.at_middle() | plan.middles_if_needed()
    except ForecastError:  # a build that cannot be simulated can be paid for
        return ()
    home, rate = build.build.currency, 1.0
    if currency != home:
        if currency not in plan.rates:
            return ()
        rate = plan.rates[currency].middle
    paid = {} if ledger is None else ledger.paid_by_line()
    due: dict[str, int] = {}
    for one in () if ledger is None else ledger.list_commitments():
        due[one.line_id] = due.get(one.line_id, 0) + one.outstanding_minor
    whole = rest = 0.0
    for line in lines:
        if not middles.get(line, 0.0) > 0:
            return ()
        whole += middles[line]
        left = middles[line] - to_float(paid.get(line, 0), home)
        rest += to_float(due[line], home) if due.get(line) else max(0.0, left)
    return tuple(one / rate for one in (whole, rest) if one > 0)


@dataclass(frozen=True)
class Tenth:
    """A sum that closes its line at about a tenth of what that was thought to cost.

    Attributes
    ----------
    title : str
    paid, low : float
        All that would be paid for it, and what it costs at its P10, in the build's money.
    """

    title: str
    paid: float
    low: float


_UNDER = 3.0
"""As `UNUSUAL`, below the low of a line."""

_LIKE = 1.3
"""Ten times a sum may have been meant from the low of its line, divided by this, up to the middle times this. A bill of
a fifth is cheap, and no slip of ten."""


def tenths(build: Build, splits: Iterable[tuple[str, int]], paid: Mapping[str, int]) -> tuple[Tenth, ...]:
    """Find sums that would close their line far below its range, and that times ten would be like its middle.

    Only for lines that they close: a deposit of a tenth is no slip.

    Parameters
    ----------
    build : Build
    splits : iterable of (str, int)
        Line and minor units of the build's money.
    paid : mapping of str to int
        What was paid for each line before.
    """
    currency = build.build.currency
    sums: dict[str, int] = {}
    for line, part in splits:
        sums[line] = sums.get(line, 0) + part
    found: dict[str, Tenth] = {}
    for scenario in build.scenario or (None,):
        try:
            plan = compile_plan(build, scenario)
            ends = [
                plan.at({item.id: item.shape.percentile(level) for item in plan.inputs}, gated="open")
                for level in (0.1, 0.5)
            ]
        except ForecastError:
            return ()
        for row in plan.rows:
            if row.id not in sums or row.id in found or row.kind != "line":
                continue
            low, middle = (end[row.id] for end in ends)
            if row.inputs and not row.reads:  # several figures are seldom at their ends together
                stated = stated_margin(plan, row.id, DEFAULT_SEED)
                low, middle = (float(one) for one in stated.amount(np.array([TENTHS[0], 0.0])))
            now, before = (to_float(one, currency) for one in (sums[row.id], paid.get(row.id, 0)))
            meant = before + 10 * now
            if 0 < before + now < low / _UNDER and low / _LIKE <= meant <= middle * _LIKE:
                found[row.id] = Tenth(row.title, before + now, low)
    return tuple(found[line] for line in sums if line in found)


def shared_out(
    total: int,
    given: Mapping[str, int],
    others: Sequence[str],
    way: Way,
    estimates: Mapping[str, float] | None = None,
    names: Mapping[str, str] | None = None,
) -> tuple[tuple[str, int], ...]:
    """Keep the parts of a receipt that are given and share the rest out over the other lines.

    Parameters
    ----------
    total : int
        The receipt, minor units.
    given : mapping of str to int
        Parts already known.
    others : sequence of str
        Lines that share the rest.
    way : {"evenly", "by estimate"}
    estimates : mapping of str to float, optional
        From ``middle_figures``; needed for "by estimate".
    names : mapping of str to str, optional
        What a message calls each line; its id when left out.

    Raises
    ------
    LedgerError
        If nothing is left to share, or a line has no estimate to share by.
    """
    named = [(names or {}).get(line, repr(line)) for line in others]
    rest = total - sum(given.values())
    if others and given and rest <= 0:
        message = f"parts: nothing is left for {', '.join(named)}. Correct a part, or leave the line out."
        raise LedgerError(message)
    if way == "evenly":
        return split_rest(total, given, others)
    known = {line: max(0.0, (estimates or {}).get(line, 0.0)) for line in others}
    without = [name for name, line in zip(named, others, strict=True) if not known[line]]
    if without and len(others) > 1:
        message = (
            f"parts: {without[0]} has no estimate to share by. Give its part in figures, or share evenly."
        )
        raise LedgerError(message)
    return split_rest(total, given, others, known)
