"""Where a build stands: the first sentence, where it ends by name, and what the budget has left."""

from __future__ import annotations

from collections.abc import Sequence

from forecast.engine.forecast import Forecast
from forecast.ledger import Commitment
from forecast.views.sentences import budget_sentence, hold_sentence, paid_sentence, watch_sentence
from forecast.watching.reforecast import LineWatch, Reforecast
from forecast.words.money import about, apart, as_written, builds, entered, exact

LEVELS = {
    0.5: ("P50", "in half of builds it costs no more"),
    0.8: ("P80", "in 80 of 100 builds it costs no more"),
    0.9: ("P90", "in 90 of 100 builds it costs no more"),
}
"""The levels told by name, and what each means."""


def stand_sentences(found: Forecast | Reforecast, budget: float | None, strong: str = "") -> tuple[str, ...]:
    """Say where a build stands: before the first receipt what to hold, then what is paid and where it ends.

    Parameters
    ----------
    found : Forecast or Reforecast
        The second once something is paid, agreed or said.
    budget : float, optional
    strong : str
        Mark put before and after the key figures, such as ``**``.
    """
    if isinstance(found, Forecast):
        return (
            hold_sentence(found, strong=strong),
            budget_sentence(found, budget, strong=strong) if budget is not None else "",
        )
    if found.finished:
        return (watch_sentence(found, strong=strong),)
    eight, chance = found.percentile(0.8), found.chance_of_overrun
    ends = f"{strong}{about(eight.value, found.currency, eight.error)}{strong}"
    begun = f"With {strong}{entered(found.paid, found.currency)}{strong} paid, it"
    if not found.known.paid_minor:  # no builder pays nothing
        begun = f"{paid_sentence(found, strong)} It"
    text = f"{begun} ends at no more than {ends} in 80 of 100 builds (P80)"
    if found.budget is None or chance is None:
        return (f"{text}.", "Set a budget to see how often it is enough.")
    enough = f"{strong}{builds(1 - chance.value).removesuffix(' builds')}{strong}"
    return (f"{text}. Your budget of {entered(found.budget, found.currency)} is enough in {enough}.",)


def level_rows(found: Forecast | Reforecast) -> list[list[str]]:
    """Give P50, P80 and P90 with what each means."""
    ends = found.percentile_set(tuple(LEVELS))
    return [
        [name, about(end.value, found.currency, end.error), meaning]
        for (name, meaning), end in zip(LEVELS.values(), ends, strict=True)
    ]


ENOUGH = 0.5
"""A budget that is enough in fewer builds than not wants attention."""


def short_sentence(found: Forecast | Reforecast, budget: float | None) -> str:
    """Say that a budget is rarely enough, and what P80 is over it; nothing where it is not so, or nothing is open."""
    if budget is None or (isinstance(found, Reforecast) and found.finished):
        return ""
    chance = _chance_within(found, budget)
    if chance >= ENOUGH:
        return ""
    over = apart(found.percentile(0.8), budget, found.currency)
    return f"Your budget is short: it is enough in {builds(chance)}, and P80 is {over} over it."


def tight_sentence(found: Forecast | Reforecast, budget: float | None) -> str:
    """Say what a budget that is mostly enough lacks for P80; nothing where it lacks nothing, or is rarely enough."""
    if budget is None or (isinstance(found, Reforecast) and found.finished):
        return ""
    chance, beyond = _chance_within(found, budget), _beyond(found, budget)
    if chance < ENOUGH or beyond <= 0:
        return ""
    more = apart(found.percentile(0.8), budget, found.currency)
    return f"Your budget is enough in {builds(chance)}. To be enough in 80 of 100 (P80) it would take {more} more."


def _chance_within(found: Forecast | Reforecast, budget: float) -> float:
    if isinstance(found, Reforecast):
        return 0.0 if found.chance_of_overrun is None else 1 - found.chance_of_overrun.value
    return found.chance_within(budget).value


def _beyond(found: Forecast | Reforecast, budget: float) -> float:
    """Give what P80, as it is written, is over a budget."""
    eight = found.percentile(0.8)
    return as_written(eight.value, found.currency, eight.error) - budget


def left_of_budget(budget: float, paid: float, agreed: float) -> float:
    """Give what a budget has left, wherever that is said: what is agreed is spoken for, as what is paid is gone."""
    return budget - paid - agreed


def left_words(budget: float, paid: float, agreed: float, currency: str, strong: str = "") -> str:
    """Say what a budget has left, or how far it is passed: ``€4,100 of it is left once the €900 agreed is paid``.

    Parameters
    ----------
    budget, paid, agreed : float
        ``agreed`` is what of agreed prices is still to pay.
    currency : str
    strong : str
        Mark put before and after the sum that is left.
    """
    rest = left_of_budget(budget, paid, agreed)
    figure = f"{strong}{entered(abs(rest), currency)}{strong}"
    told = f"{figure} of it is left" if rest >= 0 else f"{figure} over"
    return f"{told} once the {entered(agreed, currency)} agreed is paid" if agreed else told


def budget_rows(watch: Reforecast) -> list[list[str]]:
    """Give what is paid, what is agreed and not yet paid, and what the budget has left: they add up to it."""
    money = watch.currency
    rows = [
        ["Paid", entered(watch.paid, money)],
        ["Agreed, not yet paid", entered(watch.committed, money)],
    ]
    if watch.budget is not None:
        left = left_of_budget(watch.budget, watch.paid, watch.committed)
        rows.append(["Left of the budget", entered(left, money)])
        rows.append(["Budget", entered(watch.budget, money)])
    return rows


def due_sentence(item: Commitment, title: str, currency: str) -> str:
    """Say what of an agreed price is still to pay; nobody told on which day, so that nothing is called due."""
    due, agreed = exact(item.outstanding_minor, currency), exact(item.expected_minor, currency)
    of_it = f" of {agreed}" if due != agreed else ""
    return f"Agreed, not yet paid: {due}{of_it}, with {item.supplier} for \u201c{title}\u201d."


def running_over(lines: Sequence[LineWatch]) -> tuple[LineWatch, ...]:
    """Give the lines that more was paid for than their high and that are still open, the one furthest over first."""
    over = [
        line
        for line in lines
        if line.kind == "line" and line.state != "closed" and line.paid > line.before[2] > 0
    ]
    return tuple(sorted(over, key=lambda line: line.before[2] - line.paid))


def over_sentence(line: LineWatch, currency: str) -> str:
    """Say how far a line runs over."""
    return (
        f"Runs over: \u201c{line.title}\u201d has cost {entered(line.paid, currency)} so far; the most you expected "
        f"was about {about(line.before[2], currency)}."
    )
