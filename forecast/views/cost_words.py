"""What the answers about cost say: what moves it, what to firm up, how far money reaches, measures, what could go."""

from __future__ import annotations

import numpy as np

from forecast.decide.afford import STEPS_PER_UNIT, BudgetChance, WalkAway
from forecast.decide.drivers import Drivers, SwingBar
from forecast.decide.figure_words import figure_phrase
from forecast.decide.firm_up import FirmUp
from forecast.decide.measures import MeasureResult, Measures
from forecast.decide.trim import NotProposed, Trim, Trims
from forecast.engine.statistics import (
    Estimate,
)
from forecast.words.chances import builds
from forecast.words.currencies import currency_many, is_currency
from forecast.words.money import Money, entered_in, rounded


def trim_sentence(item: Trim, money: Money) -> str:
    """Say what leaving it out frees."""
    text = f"Leaving out \u201c{item.title}\u201d frees {rounded(money, item.p80)} at P80"
    return f"{text} and {item.hours:.0f} own hours." if item.hours >= 0.5 else f"{text}."


def stays_sentence(item: NotProposed) -> str:
    """Say why it stays."""
    return f"\u201c{item.title}\u201d is not proposed for leaving out: {item.why}."


def trims_sentence(found: Trims, money: Money) -> str:
    """Say what all proposals together are about, and name the first."""
    if not found.proposed:
        return "No line is marked optional that could go. Mark one with optional = true to see what it would free."
    return trim_sentence(found.proposed[0], money)


def measure_sentence(item: MeasureResult, money: Money) -> str:
    """Say whether it pays, and why."""
    # What it costs and what is left of that, or over, are told: the table beside has these two figures.
    text, net = f"\u201c{item.title}\u201d costs {money(item.cost)}", abs(item.mean.value)
    after = money(net, error=item.mean.error)
    if item.pays:
        text += f" and saves {after} more than that on average"
        return f"{text}: it pays. P80 moves by {rounded(money, item.p80)}, P90 by {rounded(money, item.p90)}."
    if net <= 2 * item.mean.error:
        return f"{text} and saves about as much on average: whether it pays cannot be told."
    saves = item.cost - item.mean.value > 2 * item.mean.error
    text += f", {after} more than it saves on average" if saves else " and saves nothing on average"
    if item.p90.value < -2 * item.p90.error:
        lower = money(-item.p90.value, error=item.p90.error)
        return (
            f"{text}: it does not pay, but it lowers P90 by {lower}: it is insurance against the bad builds."
        )
    return f"{text}: it does not pay."


def measures_sentence(found: Measures, money: Money) -> str:
    """Say which measures to take together."""
    if not found.alone:
        return "No measure can be taken. Add a [[measure]] with a cost and what it changes."
    none, best = found.combinations[0], found.best_mean
    if not best.measures:
        return "None of the measures pays on average."
    count, saved, moved = len(best.measures), none.mean - best.mean, found.moved_p80.value
    verb = "is" if count == 1 else "are"
    what = "after its cost it saves" if count == 1 else "together, after what they cost, they save"
    return (
        f"{count} of {len(found.alone)} measures {verb} worth taking: {what} {money(saved)} on average, and P80 "
        f"moves by {money(moved)}."
    )


def swing_sentence(bar: SwingBar, money: Money) -> str:
    """Say what the total is when it is cheap, and when it is dear."""
    cheap, dear = (money(end, error=bar.own.error) for end in (bar.low, bar.high))
    if bar.may_not_come:
        return (
            f"\u201c{bar.title}\u201d, which comes in {builds(bar.chance)}. The build costs {cheap} on "
            f"average without it, {dear} in the tenth of builds in which it is dearest, all else as it is."
        )
    may = ", which may happen" if bar.kind == "event" else ""
    return (
        f"\u201c{bar.title}\u201d{may}: the build costs {cheap} on average with it in its cheapest tenth of "
        f"builds, {dear} in its dearest, all else as it is."
    )


def shared_sentence(bar: SwingBar, money: Money) -> str:
    """Say what comes with it and is not its doing; empty where nothing can be told apart."""
    if not bar.comes_with_others:
        return ""
    more = money(bar.shared, error=bar.together.error)
    where = "without it" if bar.may_not_come else "where it is cheap"
    return (
        f"Where it is dear, the rest costs {more} more than {where}, because shared causes touch both: that is not "
        "its doing."
    )


def drivers_sentence(found: Drivers, money: Money) -> str:
    """Name what moves the total most by itself, and say apart what comes with it."""
    if not found.swings:
        return "Nothing in this build is uncertain."
    first = found.swings[0]
    return (
        f"What moves the total most is {swing_sentence(first, money)} {shared_sentence(first, money)}".strip()
    )


def firm_up_sentence(item: FirmUp, money: Money) -> str:
    """Say what to do before ordering, and how much less is to be held then; of what may not come, either way."""
    if item.with_it is not None and item.without_it is not None:
        less, more = rounded(money, item.without_it), rounded(money, item.with_it)
        return f"{item.how}. Without it you hold about {less} less, with it about {more} more ({item.effort} effort)."
    if item.to_decide:  # what is asked is there already, and may lie far over what the release was taken of
        return f"{item.how}. What to hold then follows from its price ({item.effort} effort)."
    return (
        f"{item.how}: you then need to hold about {rounded(money, item.release)} less ({item.effort} effort)."
    )


_FOUND = ("cost", "resale", "minimum", "maximum")
"""Keys of sums that nobody quotes: they are found out."""


def firm_figure_words(figure: str, unit: str, per: str = "") -> str:
    """Name the field for a figure that was uncertain so far, as the one who was told it would.

    Parameters
    ----------
    figure : str
        Such as ``freight.amount``.
    unit : str
        Currency or unit that it is counted in.
    per : str
        What a price is for, see `price_is_for`.
    """
    key = figure.rpartition(".")[2]
    if not is_currency(unit):
        return f"What you found out, in {unit}" if unit else "What you found out"
    what = "The sum that you found" if key in _FOUND else "The price that you were quoted"
    return f"{what}, in {currency_many(unit)}{f', {per}' if per else ''}"


def _down(highest: Estimate, unit: str) -> str:
    """Write a highest price rounded down to what the simulation can tell apart: a limit must not be rounded up."""
    fine = highest.error if np.isfinite(highest.error) else 0.0
    if highest.value < 100 and fine < 1:
        return entered_in(float(np.floor(highest.value * STEPS_PER_UNIT) / STEPS_PER_UNIT), unit)
    step = 10.0 ** max(np.floor(np.log10(max(fine, 1.0))), 0)
    return entered_in(float(np.floor(highest.value / step) * step), unit)


def _rounded(value: float, unit: str) -> str:
    return entered_in(value if value < 100 else float(round(value)), unit)


def walk_away_sentence(found: WalkAway, money: Money, entered: Money | None = None) -> str:
    """Say at which price to walk away, and why; ``entered`` writes the money at hand, to the cent."""
    at_hand = (entered or money)(found.money)
    thing = found.title or figure_phrase(found.figure)
    per = f" {found.per}" if found.per else ""
    often = f"in {builds(found.level)}"
    if found.settled:
        thing = thing.removeprefix("the price of ")
        return f"The price of {thing} is agreed or paid: there is nothing to walk away from."
    if found.unlimited:
        return f"{at_hand} is enough {often} whatever {thing} is: nothing depends on it."
    if found.highest is None:
        return (
            f"Even with {thing} at nothing, {at_hand} is too little: everything else alone needs "
            f"{money(found.at_nothing)} to be enough {often}."
        )
    value = found.highest.value
    side = "above" if value >= found.expected else "below"
    return (
        f"Walk away when {thing} goes beyond {_down(found.highest, found.unit)}{per}. Up to there "
        f"{at_hand} is enough {often}. That is {side} what you expect "
        f"({_rounded(found.expected, found.unit)}{per})."
    )


def budget_chance_sentence(found: BudgetChance, money: Money, entered: Money | None = None) -> str:
    """Say how often the budget is enough, and how much is missing otherwise; ``entered`` writes the budget."""
    text = f"{(entered or money)(found.budget)} is enough in {builds(found.chance.value)}"
    return (
        f"{text}; in the others {money(found.short_by)} is missing on average."
        if found.short_by > 0
        else f"{text}."
    )
