"""The sentences that answer, from forecasts; every screen and command says them the same way."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from forecast.buildfile.choosing import scenario_title
from forecast.buildfile.schema import Build
from forecast.engine.forecast import Forecast
from forecast.engine.plan import compile_plan
from forecast.engine.statistics import Estimate
from forecast.figures.shapes import Z90
from forecast.watching.estimates import Unusual
from forecast.watching.reforecast import Reforecast
from forecast.watching.standing import Promise, Standing
from forecast.words.chances import listed, so_many, were_to_cost
from forecast.words.minor_units import to_float
from forecast.words.money import about, apart, as_written, builds, entered, exact, hours

LESSON = 0.2
"""Move of a shared cause, in standard deviations, from which it is worth a sentence."""

MEANING = {
    0.1: "P10: in 10 of 100 builds it costs no more than this",
    0.5: "P50: in half of such builds it costs no more than this",
    0.8: "P80: in 80 of 100 builds it costs no more than this",
    0.9: "P90: in 90 of 100 builds it costs no more than this",
}
"""What each percentile means, to stand beside it."""

MEANT = {
    0.1: "P10: in 10 of 100 builds it was to cost no more",
    0.5: "P50: in half of such builds it was to cost no more",
    0.8: "P80: in 80 of 100 builds it was to cost no more",
    0.9: "P90: in 90 of 100 builds it was to cost no more",
}
"""The same of what was forecast before the first receipt, once a build is finished."""


def slips_sentence(build: Build, where: str) -> str:
    """Say how many figures look like a slip of the keyboard, and where they are asked about; nothing where none does.

    Parameters
    ----------
    build : Build
    where : str
        Such as ``The page of lines asks``.
    """
    from forecast.missing.left_out import findings

    count = sum(item.grade == "odd" for item in findings(build))
    if not count:
        return ""
    return (
        f"{'One figure' if count == 1 else f'{count} figures'} may be a slip. {where} whether that is meant."
    )


def unusual_words(found: Sequence[Unusual], currency: str) -> list[str]:
    """Say of each sum beside the high of its line, as a sum: the builder may never have written that high down."""
    return [
        f"{entered(item.paid, currency)} for {item.title}: the most you expected was about "
        f"{about(item.high, currency)}"
        for item in found
    ]


def unusual_sentence(found: Sequence[Unusual], currency: str) -> str:
    """Ask about sums far above the high of their line; nothing where there is none."""
    told = unusual_words(found, currency)
    return f"{'; '.join(told)}. Is that meant?" if told else ""


def at_its_end(forecast: Forecast) -> bool:
    """Tell whether nothing of a build is open any more: every trial comes to what was paid."""
    return forecast.trials.conditions is not None and float(np.ptp(forecast.trials.totals)) < 0.005


def still_to_find(held: Estimate, known: Standing | None, currency: str, strong: str = "") -> str:
    """Say what of a sum to hold is still to find; empty before anything is paid, and where all of it is.

    With receipts in, a sum to hold is what the build costs in all, and so counts what is gone already.
    """
    if known is None or known.paid_minor <= 0:
        return ""
    rest = as_written(held.value, currency, held.error) - _paid(known, currency)
    return f"{strong}{about(rest, currency, held.error)}{strong} still to find" if rest > 0 else ""


def _paid(known: Standing, currency: str) -> float:
    return to_float(known.paid_minor, currency)


def hold_words(held: Estimate, level: float, known: Standing | None, currency: str, strong: str = "") -> str:
    """Say what to hold, what of it is paid and still to find, and how often it is enough."""
    figure, often = f"Hold {strong}{about(held.value, currency, held.error)}{strong}", f"(P{100 * level:.0f})"
    rest = still_to_find(held, known, currency, strong)
    if known is None or not rest:
        return f"{figure}: in {builds(level)} {often} it costs no more."
    paid = entered(_paid(known, currency), currency)
    return f"{figure}, of which {paid} is paid: {rest}. In {builds(level)} {often} the whole costs no more."


def hold_sentence(
    forecast: Forecast,
    level: float = 0.8,
    strong: str = "",
    middles: str = "the middle figures",
    known: Standing | None = None,
) -> str:
    """Say what to hold, and how often the plain sum of middle figures would do; `above_middles` has why.

    Parameters
    ----------
    forecast : Forecast
    level : float
        Percentile to hold.
    strong : str
        Mark put before and after the key figure, such as ``**``.
    middles : str
        What the middle figures are called: they are the builder's own once one was given.
    known : Standing, optional
        What is paid by now.
    """
    held = forecast.percentile(level)
    if at_its_end(forecast):
        return f"It cost {strong}{entered(held.value, forecast.currency)}{strong} in all: nothing is open any more."
    base = forecast.base_estimate
    enough = forecast.chance_within(base).value
    return (
        f"{hold_words(held, level, known, forecast.currency, strong)} "
        f"Adding up {middles} gives {strong}{about(base, forecast.currency)}{strong}, which "
        f"is enough in {strong}{builds(enough)}{strong}."
    )


_NAMED_ABOVE = 2
"""Of what may not come so many are named, which add most to the mean."""
_FAR_ABOVE = 1.1
"""From so many times the sum of middle figures on it is said why P50 is above it."""


def above_middles(forecast: Forecast, middles: str = "the middle figures") -> str:
    """Say what the sum of middle figures leaves out, and why half of builds cost more where P50 is far above it.

    What a line may cost more than its middle figure is told apart from lines and events that may not come at all.
    Nothing where it leaves nothing out, and nothing once the build has ended.
    """
    if at_its_end(forecast):
        return ""
    told = (
        [f"Adding up {middles} leaves out what may or may not happen."] if forecast.trials.gates.size else []
    )
    base, half = forecast.base_estimate, forecast.percentile(0.5)
    if base <= 0 or half.value < _FAR_ABOVE * base:
        return "".join(told)
    above = {line.id: line.mean - line.base for line in forecast.lines}
    gated = {row.id for row in forecast.plan.rows if row.gate is not None}
    maybe = sum(amount for name, amount in above.items() if name in gated)
    ranges = sum(above.values()) - maybe
    shape, come = "ranges reach further up than down", "some of what is left out comes"
    if ranges <= _LITTLE * maybe:
        why = come
    elif maybe <= _LITTLE * ranges:
        why = shape
    else:
        why = " and ".join((shape, come) if ranges > maybe else (come, shape))
    dearest = (
        sorted(gated & above.keys(), key=lambda name: -above[name])[:_NAMED_ABOVE] if come in why else []
    )
    titles = {line.id: line.title for line in forecast.lines}
    named = listed([f"\u201c{titles[name]}\u201d" for name in dearest])
    told += [f"The dearest of that: {named}."] if named else []
    told.append(
        f"Half of builds cost more than {about(half.value, forecast.currency, half.error)} (P50), as {why}."
    )
    if come in why and forecast.trials.rows is not None:  # two names alone would have to answer for all of it
        money, held = forecast.currency, forecast.held_by_line(0.5)
        bases = {line.id: line.base for line in forecast.lines}
        part = sum(held[name] - bases[name] for name in gated & bases.keys())
        between = as_written(half.value, money, half.error) - as_written(base, money)
        told.append(
            f"All that may or may not happen makes {about(part, money)} of the {about(between, money)} between."
        )
    return " ".join(told)


_LITTLE = 0.25
"""What is less than so much of the other reason is not told beside it."""


def budget_sentence(forecast: Forecast, budget: float, strong: str = "") -> str:
    """Say how often a budget is enough; at the end of a build, what of it is left."""
    if at_its_end(forecast):
        left = budget - forecast.percentile(0.5).value
        side = "under" if left >= 0 else "over"
        return (
            f"That is {strong}{entered(abs(left), forecast.currency)}{strong} {side} your budget of "
            f"{entered(budget, forecast.currency)}."
        )
    chance = forecast.chance_within(budget).value
    worst = forecast.percentile(0.9)
    beyond = as_written(worst.value, forecast.currency, worst.error) - budget
    text = (
        f"Your budget of {entered(budget, forecast.currency)} is enough in {strong}{builds(chance)}{strong}."
    )
    if beyond > 0:
        text += f" In 10 of 100 it falls short by more than {apart(worst, budget, forecast.currency)}."
    return text


def work_sentence(forecast: Forecast, strong: str = "") -> str:
    """Say what the build asks of one's own hours, and how many weeks pass; empty where neither, and at its end."""
    if at_its_end(forecast):
        return ""
    half, most = forecast.hours((0.5, 0.9))
    said = []
    if most.value > 0:
        said.append(
            f"Your own work: {strong}{hours(half.value)}{strong} in the middle; "
            f"in 10 of 100 builds more than {hours(most.value)}."
        )
    weeks = forecast.weeks((0.5, 0.9))
    if weeks is not None and weeks[1].value >= 1:
        waits = bool(forecast.trials.waits.any())
        what = "Work and waiting take" if waits and said else "Waiting takes" if waits else "That takes"
        said.append(
            f"{what} {strong}{weeks[0].value:.0f} weeks{strong} in the middle, "
            f"in 10 of 100 builds more than {weeks[1].value:.0f}."
        )
    return " ".join(said)


def hours_left_sentence(watch: Reforecast, how: str, strong: str = "") -> str:
    """Say how much own work is left of what was planned, and how to say what is done; empty where there is none.

    Parameters
    ----------
    watch : Reforecast
    how : str
        What to do to say that some is done.
    strong : str
        Mark put before and after the key figure.
    """
    planned = watch.before.hours((0.5,))[0].value
    if watch.finished or planned < 1:
        return ""
    now = _hours_now(watch)
    if not watch.hours_done:
        text = f"Own work: {hours(planned)} are planned in the middle, and none was said to be done."
        return f"{text}{now} {how}"
    half, most = watch.hours_left((0.5, 0.9))
    if most.value < 1:
        return f"Own work: all of the {hours(planned)} planned is done."
    return (
        f"Own work: {strong}{hours(half.value)}{strong} of the {hours(planned)} planned are left in the middle, in 10 "
        f"of 100 builds more than {hours(most.value)}.{now} {how}"
    )


def _hours_now(watch: Reforecast) -> str:
    """Say where own work stands by now and why; nothing where it moved by no more than the simulation's error."""
    then, now = watch.before.hours((0.5,))[0], watch.now.hours((0.5,))[0]
    error = float(np.hypot(then.error, now.error))
    if hours(then.value) == hours(now.value) or abs(now.value - then.value) <= 2 * error:
        return ""
    moved = now.value - then.value
    said, taught = (amount * np.sign(moved) for amount in watch.hours_moved)
    reasons = [
        (said, "what happened" if moved > 0 else "what cannot come any more"),
        (taught, "how your bills stand to your estimates"),
    ]
    reasons.sort(reverse=True)
    why = [words for amount, words in reasons if amount > 0 and amount >= _LITTLE * reasons[0][0]]
    by = f" By {' and '.join(why)}, all" if why else " All"
    side = "low" if moved > 0 else "high"
    alike = (
        f" Who estimates money {side} often estimates hours {side}." if reasons[0][0] == taught > 0 else ""
    )
    return f"{by} of it looks like {hours(now.value)} now.{alike}"


def ends_sentence(found: Forecast | Reforecast, strong: str = "") -> str:
    """Say where the build ends: P50, P80 and P90, each beside its meaning; at its end what it cost."""
    if isinstance(found, Reforecast) and found.finished:
        cost = entered(found.mean.value, found.currency)
        return f"It cost {strong}{cost}{strong} in all: nothing is open any more."
    half, eight, nine = (
        f"{strong}{about(one.value, found.currency, one.error)}{strong}"
        for one in found.percentile_set((0.5, 0.8, 0.9))
    )
    return (
        f"In half of builds it ends at no more than {half} (P50), in 80 of 100 {eight} (P80), in 90 of 100 {nine} "
        "(P90)."
    )


def watch_sentence(watch: Reforecast, strong: str = "") -> str:
    """Say what is paid, where the build ends, and how often it overruns."""
    money = watch.currency
    if watch.finished:
        return _finished_sentence(watch, strong)
    text = f"{paid_sentence(watch, strong)} {ends_sentence(watch, strong)}"
    chance = watch.chance_of_overrun
    if watch.budget is None or chance is None:
        return f"{text} Set a budget to see the chance of overrunning."
    text += (
        f" Your budget of {entered(watch.budget, money)} is overrun in {strong}{builds(chance.value)}{strong}"
    )
    over = watch.median_overrun
    if over is not None and chance.value >= 0.01:
        return f"{text}, in half of these by more than {about(over.value, money, over.error)}."
    return f"{text}."


def paid_sentence(watch: Reforecast, strong: str = "") -> str:
    """Say what is paid, or that nothing is; and then what is agreed, where that is what moved the forecast."""
    if watch.known.paid_minor:
        return f"Paid so far: {strong}{entered(watch.paid, watch.currency)}{strong}."
    if not watch.committed:
        return "Nothing is paid yet."
    return f"Nothing is paid yet, and {strong}{entered(watch.committed, watch.currency)}{strong} is agreed."


def _finished_sentence(watch: Reforecast, strong: str) -> str:
    """Say what it cost, beside the budget and beside what was forecast before the first receipt."""
    money, told = watch.currency, [ends_sentence(watch, strong)]
    if watch.budget is not None:
        left = watch.budget - watch.mean.value
        side = "under" if left >= 0 else "over"
        told.append(
            f"That is {entered(abs(left), money)} {side} your budget of {entered(watch.budget, money)}."
        )
    half, eight = watch.at_first.percentile_set((0.5, 0.8))
    told.append(
        f"Before anything was paid or agreed it was to be no more than {about(half.value, money, half.error)} in half "
        f"of builds (P50) and {about(eight.value, money, eight.error)} in 80 of 100 (P80)."
    )
    told.append(f"As forecast then, {were_to_cost(watch.cost_no_more_before.value)} than this one.")
    return " ".join(told)


def lesson_sentences(watch: Reforecast) -> list[str]:
    """Say what the receipts taught about each shared cause, and what is dearer or cheaper by it.

    Only lines that came in dear themselves are said to have come in dear, and only a cause that moves what is open the
    same way is told. How much everything moved together stands with the steps of what moved, once.
    """
    lines = {line.id: line for line in watch.lines}
    found = []
    for cause in watch.causes:
        if abs(cause.mean) < LESSON or cause.effect * cause.mean <= 0:
            continue
        side = 1 if cause.mean > 0 else -1
        same_way = [
            title
            for name, title, push in cause.taught_by
            if push * side > 0
            and name in lines
            and name in cause.pushed
            and (lines[name].score or 0.0) * side > 0.5
        ][:2]
        if not same_way:
            continue
        came, looks = ("dear", "dearer") if side > 0 else ("cheap", "cheaper")
        moves = [f"“{lines[name].title}”" for name in cause.moves[:2] if name in lines]
        rest = len(cause.moves) > len(moves)
        every = [*moves, *(["others"] if rest and moves else [])]
        what = listed(every)
        paid = " and ".join(f"“{title}”" for title in same_way)
        found.append(
            f"{paid} came in {came}. So {what or 'what is still open'} "
            f"{'look' if every[1:] else 'looks'} {looks} too: “{cause.title}” is behind all of them."
        )
    return found


@dataclass(frozen=True)
class NarrowLine:
    """What to hold if the builder's ranges are as narrow as most people's, and the sentence that says it."""

    hold: Estimate
    text: str


def narrow_line(
    forecast: Forecast, known: Standing | None = None, level: float = 0.8, strong: str = ""
) -> NarrowLine | None:
    """Say what to hold if the builder's ranges are as narrow as most people's.

    None where they cannot matter, as while all of them are starter ranges, or where the builder's own receipts say how
    narrow the ranges were.
    """
    from forecast.decide.contingency import ENOUGH_CLOSED, if_narrow
    from forecast.watching.known_facts import facts_about

    facts, _ = facts_about(forecast.plan, known)
    if facts is not None and len(facts.amounts) >= ENOUGH_CLOSED:
        return None
    if not _counted(forecast)[0]:
        return None
    hold, stated = if_narrow(forecast, level, known=facts), forecast.percentile(level)
    money = about(hold.value, forecast.currency, hold.error)
    if money == about(stated.value, forecast.currency, stated.error):
        return None
    rest = still_to_find(hold, known, forecast.currency, strong)
    text = f"If {_own_ranges(forecast)} as narrow as most people's, hold {strong}{money}{strong}"
    return NarrowLine(hold, f"{text}{f': {rest}' if rest else ''}.{_starters(forecast)}")


def _own_ranges(forecast: Forecast) -> str:
    """Name the ranges that the builder made: no others would have to be wider."""
    own, starters = _counted(forecast)
    if not starters:
        return "your ranges are"
    return "the one range of your own is" if own == 1 else f"the {own} ranges of your own are"


def _starters(forecast: Forecast) -> str:
    """Say what the other ranges are; nothing where the builder made all of them."""
    _, starters = _counted(forecast)
    if not starters:
        return ""
    if starters == 1:
        return " The other one is a starting value, as wide as such figures usually are."
    return f" The other {starters} are starting values, as wide as such figures usually are."


def _counted(forecast: Forecast) -> tuple[int, int]:
    """Count the ranges that are the builder's own, and those that the guided start or the library gave."""
    ranges = [item for item in forecast.plan.inputs if item.own]
    starters = sum(item.starter for item in ranges)
    return len(ranges) - starters, starters


def with_receipts(build: Build, known: Standing | None, forecast: Forecast | None = None) -> list[str]:
    """Say that an answer starts from what is paid and agreed; nothing where it does not.

    Parameters
    ----------
    build : Build
    known : Standing or None
    forecast : Forecast, optional
        The answer's own, where it has one: money spent on what it does not have is told.
    """
    if known is None:
        return []
    money = build.build.currency
    sums = [(known.paid_minor, "paid"), (sum(known.committed.values()), "agreed")]
    told = " and ".join(f"{exact(amount, money)} {what}" for amount, what in sums if amount)
    text = (
        f"With {told}, this starts from what is known." if told else "This starts from what is known by now."
    )
    if forecast is not None and forecast.outside:
        gone = entered(forecast.outside, money)
        text += f" {gone} of it went on what is not in these lines, and is counted on top."
    return [text]


def left_prices(build: Build, known: Standing | None, ways: Sequence[str]) -> list[str]:
    """Say which ways of doing the build leave a price that is agreed; nothing where none does.

    Parameters
    ----------
    build : Build
    known : Standing or None
    ways : sequence of str
        Ids of the scenarios that stand beside each other.
    """
    plans = {way: compile_plan(build, way) for way in ways} if known is not None and known.promises else {}
    told = []
    for one in () if known is None else known.promises:
        without = [way for way in ways if one.line_id in plans[way].absent]
        if without:
            names = " and ".join(f"\u201c{scenario_title(build, way)}\u201d" for way in without)
            leave = "leaves" if len(without) == 1 else "leave"
            title = plans[without[0]].absent[one.line_id]
            told.append(f"{names} {leave} {_agreed_price(one, title, build.build.currency)}")
    return told


def prices_left_by_mix(build: Build, known: Standing | None, leaves: Collection[str]) -> list[str]:
    """Say which prices agreed the mix that is told of leaves, by the lines that it does not have."""
    titles = {line.id: line.title for line in build.line}
    return [
        f"This mix leaves {_agreed_price(one, titles[one.line_id], build.build.currency)}"
        for one in (() if known is None else known.promises)
        if one.line_id in leaves
    ]


def _agreed_price(one: Promise, title: str, currency: str) -> str:
    price, paid = exact(one.price_minor, currency), one.price_minor - one.left_minor
    of_it = f". Of it {exact(paid, currency)} is paid" if paid > 0 else ""
    return (
        f"an agreed price of {price} with {one.supplier} for \u201c{title}\u201d{of_it}. What leaving it costs is not "
        "counted."
    )


def unforeseen_sentence(watch: Reforecast) -> str:
    """Name the bills that nobody told of, the dearest first, and what they came to; nothing where there is none."""
    found = sorted((line for line in watch.lines if line.unforeseen), key=lambda line: -line.paid)
    if not found:
        return ""
    money = watch.currency
    named = [
        f"\u201c{line.title}\u201d, {entered(line.paid + line.committed, money)}" for line in found[:_NAMED]
    ]
    if len(found) == 1:
        return f"Not foreseen: {named[0]}."
    rest = f"; and {len(found) - _NAMED} more" if len(found) > _NAMED else ""
    whole = entered(sum(line.paid + line.committed for line in found), money)
    return f"Not foreseen: {'; '.join(named)}{rest}. That makes {whole} in {len(found)} lines."


_NAMED = 3
"""So many of the lines that came in outside their ranges are named to either side, the farthest out first."""


def width_sentence(watch: Reforecast) -> str:
    """Say how the builder's own ranges held, and what that does to the open ones; nothing where it says little."""
    closed = [(line.score or 0.0, line.title) for line in watch.judged_lines]
    if watch.width is None or len(closed) < 4 or (0.9 <= watch.width.middle <= 1.1 and not watch.finished):
        return ""
    outside = sum(abs(score) > Z90 for score, _ in closed)
    expected = round(0.2 * len(closed))
    came = f"came in outside it; {expected} would be expected."
    bought = watch.closed_and_bought
    if bought == len(closed):
        held = f"{outside or 'None'} of {bought} lines bought and closed, each with a range, {came}"
    else:  # what follows from others has none
        had = f"Of {so_many(bought, 'line')} bought and closed, {len(closed)} had a range of their own"
        held = f"{had}: {outside or 'none'} {came}"
    farthest = sorted((item for item in closed if abs(item[0]) > Z90), key=lambda item: -abs(item[0]))
    for word, side in (("Dearer", 1), ("Cheaper", -1)):
        titles = [title for score, title in farthest if side * score > 0]
        if titles:
            more = f" and {len(titles) - _NAMED} more" if len(titles) > _NAMED else ""
            held += f" {word}: {', '.join(f'“{title}”' for title in titles[:_NAMED])}{more}."
    if watch.finished:
        return held
    wider = f"the open ranges count {watch.width.middle:.1f} times as wide"
    if watch.width.middle > 1 and outside <= expected and farthest:  # it is how far, not how many
        return f"{held} “{farthest[0][1]}” lies so far outside that {wider}."
    return f"{held} {wider.capitalize()}."
