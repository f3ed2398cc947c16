"""What watching a build tells, in figures that add up as they are written: contingency, lessons, earned value."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby
from math import ceil

from forecast.buildfile.schema import OWN_ESTIMATING
from forecast.engine.trials import LEAST_EFFECTIVE
from forecast.views.off_estimate import ends_at, estimate_words, is_known, off_estimate
from forecast.views.settling_words import NOT_NEEDED, TAKEN_OUT, state_words
from forecast.watching.earned import Earned
from forecast.watching.history import History, HistoryPoint
from forecast.watching.reasons import Reason, TaughtCause
from forecast.watching.reforecast import LineWatch, Reforecast
from forecast.words.chances import so_many
from forecast.words.day_words import short_day
from forecast.words.minor_units import exponent
from forecast.words.money import (
    about,
    as_written,
    builds,
    difference,
    entered,
    error_of,
    exact,
    rounding_step,
    signed,
)

LEVELS = {0.8: ("P80", "80 of 100 builds"), 0.9: ("P90", "90 of 100 builds")}
"""Levels at which contingency is needed, and what each is enough for."""


@dataclass(frozen=True)
class Column:
    """One total and what it is made of, so that the parts add up as they are written: paid and budget to the cent.

    Attributes
    ----------
    name, meaning : str
    paid, still_open, contingency, total : float
        ``still_open`` holds the middle figures of what is open.
    """

    name: str
    meaning: str
    paid: float
    still_open: float
    contingency: float
    total: float


def contingency_at(point: HistoryPoint, currency: str) -> tuple[float | None, float, float]:
    """Give what was left, and needed for P80 and P90, rounded as `columns` rounds them; left is None without budget."""
    base = as_written(point.p80 - point.contingency_needed, currency)
    left = None if point.budget is None else point.budget - base
    levels = point.levels
    eight, nine = (
        as_written(one.value, currency, one.error) - base for one in (levels["P80"], levels["P90"])
    )
    return left, eight, nine


def columns(watch: Reforecast) -> tuple[Column, ...]:
    """Give the budget (where there is one), P80 and P90 beside each other: paid, still open, contingency."""
    money = watch.currency
    paid, base = watch.paid, as_written(watch.paid + watch.open_base, money)
    if watch.finished:  # all of it was entered: nothing is rounded
        names = [("Your budget", "", watch.budget)] if watch.budget is not None else []
        names += [(name, meaning, paid) for name, meaning in LEVELS.values()]
        return tuple(Column(name, meaning, paid, 0.0, total - paid, total) for name, meaning, total in names)
    totals = [("Your budget", "", watch.budget)] if watch.budget is not None else []
    for (name, meaning), found in zip(LEVELS.values(), watch.percentile_set(tuple(LEVELS)), strict=True):
        totals.append((name, meaning, as_written(found.value, money, found.error)))
    return tuple(
        Column(name, meaning, paid, base - paid, total - base, total) for name, meaning, total in totals
    )


def contingency_sentence(watch: Reforecast, strong: str = "") -> str:
    """Say what contingency is left, and what it takes."""
    money = watch.currency

    def bold(value: float) -> str:
        return f"{strong}{entered(value, money)}{strong}"

    *budget, eight, nine = columns(watch)
    if watch.finished:
        return ""
    takes = (
        f"to be enough in {eight.meaning} ({eight.name}) it takes {bold(eight.contingency)}, "
        f"in {nine.meaning} ({nine.name}) {bold(nine.contingency)}"
    )
    if not budget:
        return f"Beyond what is paid and the middle figures of what is open, {takes}."
    left = budget[0].contingency
    if left < 0:
        text = (
            f"No contingency is left: the middle figures alone are {bold(-left)} over your budget; {takes}."
        )
    else:
        text = f"{bold(left)} of contingency is left; {takes}."
    short = [one for one in (eight, nine) if one.total > budget[0].total]
    if not short:
        return f"{text} That is enough for both."
    sums = [bold(one.total - budget[0].total) for one in short]
    missing = f"{sums[0]} is missing for {short[0].name}" + (
        f", {sums[1]} for {short[1].name}" if sums[1:] else ""
    )
    return f"{text} {missing}."


def bought_sentence(watch: Reforecast) -> str:
    """Say what a further sum in the budget buys; empty without a budget, and when nothing is open."""
    if watch.finished:
        return ""
    for more in further(watch):
        bought = watch.bought_by(more)
        if bought is not None and round(100 * bought.value) >= 1:  # the least that a builder can picture
            sum_written, saved = entered(more, watch.currency), round(100 * bought.value)
            return f"With {sum_written} more in the budget, {saved} of 100 builds fewer would overrun it."
    return ""


def overrun_sentence(watch: Reforecast) -> str:
    """Say how far it overruns where it does, with the simulation error; empty where it never does."""
    over, chance = watch.median_overrun, watch.chance_of_overrun
    if over is None or chance is None or watch.finished:
        return ""
    return (
        f"In half of the builds that overrun, more than {about(over.value, watch.currency, over.error)} is missing "
        f"(simulation error {error_of(over.error, watch.currency)}); {builds(chance.value)} overrun."
    )


def further(watch: Reforecast) -> tuple[float, ...]:
    """Give sums to try on top of the budget, the smallest first."""
    least = max(100.0, 10 * rounding_step(watch.currency))
    return tuple(least * times for times in (1, 5, 10, 20, 50))


def trials_sentence(watch: Reforecast) -> str:
    """Say how many builds were simulated and how far P80 would differ with other draws."""
    trials = watch.now.trials
    if watch.finished:
        return (
            f"{trials.count:,} simulated builds, seed {trials.seed}, from before anything was paid or agreed."
        )
    text = (
        f"{trials.count:,} simulated builds, seed {trials.seed}; simulation error of P80 "
        f"{error_of(watch.percentile(0.8).error, watch.currency)}."
    )
    if trials.weights is not None:
        text += " Some agree better with what is paid than others: together they tell as much as "
        text += f"{trials.effective:,.0f}."
    return text


def contingency_rows(watch: Reforecast) -> list[list[str]]:
    """Give a row for each of `columns`: its name, the contingency, and the total."""
    money = watch.currency
    return [[one.name, entered(one.contingency, money), entered(one.total, money)] for one in columns(watch)]


def beneath_contingency(watch: Reforecast) -> str:
    """Say what every total holds beside its contingency: the sums are rounded as the totals are, and add up to them."""
    money, found = watch.currency, columns(watch)[-1]
    paid = as_written(found.paid, money)
    rest = found.paid + found.still_open - paid
    return f"Each total holds {about(paid, money)} paid and {about(rest, money)} for the middle figures of what is open"


def further_rows(watch: Reforecast) -> list[list[str]]:
    """Give the chance of overrunning with further sums in the budget, and its simulation error."""
    rows = []
    for more in (0.0, *further(watch)):
        chance = watch.chance_with(more)
        if chance is not None and watch.budget is not None:
            total = entered(watch.budget + more, watch.currency)
            rows.append([total, builds(chance.value), f"± {max(1, ceil(100 * chance.error))} of 100 builds"])
    return rows


def rough_days(told: History) -> str:
    """Say on how many days of a history few trials agree with what was known, and what the ranges are."""
    text = "Each day is forecast with the ranges as they are now."
    if told.ranges_changed:
        text += " They were changed since the budget was frozen; what moved tells what that did."
    rough = sum(point.effective < LEAST_EFFECTIVE for point in told.points)
    if rough:
        one = "day is" if rough == 1 else "days are"
        text += f" {rough} {one} rough: few trials agree with what was paid in part by then."
    return text


_BUDGETS_NAMED = 3
"""Where a budget was changed more often, the first and the last are named."""


def budgets_sentence(told: History, now: float | None, what: str = "each row\u2019s chance") -> str:
    """Say what the budget was on which days of a history, and that ``what`` is against it; nothing where it stayed.

    Parameters
    ----------
    told : History
    now : float or None
        The budget in force: one that was frozen since the last entry is that of no row.
    what : str
    """
    points = [point for point in told.points if point.budget is not None]
    stretches = [list(same) for _, same in groupby(points, lambda point: point.budget)]
    sums = [entered(same[0].budget or 0.0, told.currency) for same in stretches]
    later = [f"from {short_day(same[0].date)} on {sum_}" for same, sum_ in zip(stretches, sums, strict=True)]
    if sums and now is not None and now != points[-1].budget:
        sums.append(entered(now, told.currency))
        later.append(f"now it is {sums[-1]}")
    if len(sums) < 2:
        return ""
    if len(sums) > _BUDGETS_NAMED:
        changed = f"The budget was changed {len(sums) - 1} times, from {sums[0]} to {sums[-1]}"
    else:
        until = f"Up to {short_day(stretches[0][-1].date)} the budget was {sums[0]}"
        changed = ", ".join([until, *later[1:]])
    return f"{changed}: {what} is against the budget of its day."


def days_shown(told: History, *, by_receipt: bool = False) -> str:
    """Say which days or receipts of a long history are shown; nothing where all of them are."""
    if not told.left_out:
        return ""
    shown, what = told.entered - told.left_out, "receipts" if by_receipt else "days"
    return f"Shown: the first and last of {told.entered} {what}, and the {shown - 2} with most money entered."


def line_figures(line: LineWatch, currency: str) -> tuple[str, str, str, str, str]:
    """Write a line's estimate, what was paid, its forecast, how far that reaches, and how far it is off the estimate.

    What a closed line cost is known and stands to the cent; so does a sum paid that the forecast does not go beyond.
    The estimate then stands to the cent beside it, so that the last figure is the difference of both as written. Of
    what may not be needed there is none before it is: what it would cost is no forecast of what it will.
    """
    known = is_known(line, currency)

    def end_told(value: float) -> str:
        # rounded, an end that is what was paid could lie above the middle
        is_paid = bool(line.paid) and abs(value - line.paid) < rounding_step(currency) / 2
        return entered(line.paid, currency) if is_paid else about(value, currency)

    told = [end_told(end) for end in line.now[::2]]
    reach = "" if line.state == "closed" else " to ".join(dict.fromkeys(told))
    ends = ends_at(line, currency)
    if known and line.state == "committed":
        reach = entered(ends, currency)
    return (
        "not foreseen"
        if line.unforeseen
        else estimate_words(line, currency)
        if line.needed
        else maybe_words(line, currency),
        entered(line.paid, currency) if line.paid else "\u2013",
        entered(ends, currency) if known else about(ends, currency),
        reach,
        difference(off_estimate(line, currency), currency) if line.needed else "",
    )


def maybe_words(line: LineWatch, currency: str) -> str:
    """Write the estimate of what may not be needed, or may not happen: ``€150 if needed``."""
    return f"{about(line.if_needed or 0, currency)} if {'it happens' if line.kind == 'event' else 'needed'}"


def earned_sentence(earned: Earned) -> str:
    """Say what the work done was to cost, and what it cost."""
    plan = "the frozen plan" if earned.from_baseline else "the build file's middle figures"
    value = earned.value
    text = f"Against {plan}, work worth {_written(earned, value.ev)} cost {_written(earned, value.ac)}."
    if not earned.given_up:
        return text
    given_up = sum((line.planned for line in earned.given_up), Fraction(0))
    them = "it is" if len(earned.given_up) == 1 else "they are"
    return (
        f"{text} {so_many(len(earned.given_up), 'line')} sure to be needed, worth {_written(earned, given_up)}, "
        f"closed with nothing paid: {them} left out."
    )


def earned_rows(earned: Earned) -> list[list[str]]:
    """Give each term of earned value with its figure and its meaning."""
    value = earned.value

    def ratio(amount: Fraction | None) -> str:
        return "–" if amount is None else f"{float(amount):.3f}"

    return [
        ["BAC", _written(earned, value.bac), "budget at completion: what the lines were to cost"],
        ["EV", _written(earned, value.ev), "earned value: what the work done was to cost"],
        ["AC", _written(earned, value.ac), "actual cost of it"],
        ["CPI", ratio(value.cpi), "cost performance index: EV ÷ AC"],
        ["EAC", _written(earned, value.eac), "estimate at completion: BAC ÷ CPI"],
        ["VAC", _written(earned, value.vac), "variance at completion: BAC − EAC"],
        ["TCPI", ratio(value.tcpi()), "to-complete index: (BAC − EV) ÷ (BAC − AC)"],
    ]


def _written(earned: Earned, amount: Fraction | None) -> str:
    if amount is None:
        return "–"
    return exact(round(amount * 10 ** exponent(earned.currency)), earned.currency)


REASON_WORDS = {
    "paid": "closed at what was paid",
    "part-bought": "paid in part",
    "agreed": "a price was agreed",
    "happened": "it happened",
    "cannot-happen": "it cannot happen any more",
    "dropped": NOT_NEEDED,
    "outside": "was not in the estimate",
}
"""Each reason that the ledger itself gives, in words."""


def held_rows(watch: Reforecast, most: int = 10) -> list[list[str]]:
    """Give what P80 held for each line before anything was known, what it holds now, and why it moved.

    Parameters
    ----------
    watch : Reforecast
    most : int
        Lines named; the others are one row.

    Returns
    -------
    list of [line, why, held before, held now, moved]
        Columns and rows add up as they are written; the last row is P80 itself.
    """
    money = watch.currency
    names = {line.id: line.title for line in watch.lines}
    causes = {cause.id: cause.title for cause in watch.causes}
    income = {line.id for line in watch.lines if line.is_income}
    elsewhere, gone = watch.now.plan.absent, watch.known.taken_out
    named, others = watch.held[:most], watch.held[most:]
    told = [
        (
            one.title,
            _why(one.reason, names, causes, income, elsewhere, gone),
            as_written(one.before, money),
            as_written(one.now, money),
        )
        for one in named
    ]
    was, now = (
        as_written(one.value, money, one.error)
        for one in (watch.at_first.percentile(0.8), watch.percentile(0.8))
    )
    # The others take what rounding leaves, so that each column adds up and each figure is that of every other place.
    rest = was - sum(row[2] for row in told), now - sum(row[3] for row in told)
    if others or any(rest):
        told.append((so_many(len(others), "other line") if others else "Rounding", "", *rest))
    told.append(("P80", "", was, now))
    return [
        [title, why, about(before, money), about(after, money), signed(after - before, money)]
        for title, why, before, after in told
    ]


def cause_rows(watch: Reforecast) -> list[list[str]]:
    """Give what is thought of each shared cause now, in words.

    Returns
    -------
    list of [cause, how it looks, which lines told it]
    """
    rows = []
    for cause in watch.causes:
        shown = {line.id for line in watch.lines} & cause.pushed
        told = [title for name, title, push in cause.taught_by if push * cause.mean > 0 and name in shown][:3]
        if not told:
            continue
        own = cause.id == OWN_ESTIMATING
        rows.append(["Your estimates" if own else cause.title, _looks(cause, own=own), ", ".join(told)])
    return rows


_SOMEWHAT, _CLEARLY = 0.25, 0.75
"""From these scores on, of a cause that is 0 ± 1 before the first receipt, a shift is called so."""
_LITTLE_TOLD = 0.8
"""Spread of a cause, 1 before the first receipt, above which little is known of it yet."""


def _looks(cause: TaughtCause, *, own: bool) -> str:
    """Say how a shared cause looks by what came in, and where that is little to go by."""
    far = abs(cause.mean)
    word = ("low" if cause.mean > 0 else "high") if own else ("dearer" if cause.mean > 0 else "cheaper")
    if far < _SOMEWHAT:
        looks = "about right" if own else "as thought"
    else:
        looks = f"{'clearly' if far >= _CLEARLY else 'somewhat'} {word}{'' if own else ' than thought'}"
    return f"{looks}, by little so far" if cause.sd > _LITTLE_TOLD else looks


def estimate_rows(watch: Reforecast) -> list[list[str]]:
    """Give of each line and event what `line_figures` has, and its state."""
    return [[line.title, *line_figures(line, watch.currency), state_words(line)] for line in watch.lines]


def _why(
    reason: Reason | None,
    names: dict[str, str],
    causes: dict[str, str],
    income: Collection[str],
    elsewhere: Collection[str],
    gone: Collection[str],
) -> str:
    if reason is None:
        return ""
    if reason.kind == "dropped" and reason.id in income:
        return "nothing was sold"
    if reason.kind == "outside" and reason.id in elsewhere:
        return "belongs to another way"
    if reason.kind == "outside" and reason.id in gone:
        return TAKEN_OUT
    if reason.kind == "follows":
        return f"follows from {', '.join(names.get(one, one) for one in reason.because[:2])}"
    if reason.kind == "learned":
        if reason.because[:1] == (OWN_ESTIMATING,):
            return "by how your estimates came in"
        shared = [f"\u201c{causes[one]}\u201d" for one in reason.because[:1] if one in causes]
        return f"learned through {shared[0]}" if shared else "learned from what came in"
    return REASON_WORDS[reason.kind]
