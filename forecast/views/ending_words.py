"""What the end of a build says: what was paid against the middle figures, what was never bought, and where it ended."""

from __future__ import annotations

from math import comb

from forecast.views.off_estimate import off_in_all
from forecast.watching.reforecast import LineWatch, Reforecast
from forecast.words.chances import so_many
from forecast.words.money import about, as_written, entered

_JUDGED = 5
"""Of so many lines at least is told how good the estimates were."""
_BY_CHANCE = 0.05
"""So seldom does one side come up as often by chance, where one line as easily costs more than less."""


def ending_sentences(watch: Reforecast) -> list[str]:
    """Say how a finished build's prices stand to their middle figures, what never came, and where it ended.

    Nothing of any other. What is over and what P50 had counted beyond the middle figures of what came add up to how
    far the end is off P50, as they are written.
    """
    if not watch.finished:
        return []
    return list(filter(None, (verdict_sentence(watch), *_came_sentences(watch), *_off_forecast(watch))))


def verdict_sentence(watch: Reforecast) -> str:
    """Say what was paid for what was bought against its middle figures: one sum, and how many cost more.

    Estimates are called high or low only where number and money agree, and chance seldom does that.
    """
    lines, money = bought(watch), watch.currency
    if not lines:
        return ""
    offs = [(off_in_all((line,), money), line) for line in lines]
    total, paid = off_in_all(lines, money), entered(sum(line.paid for line in lines), money)
    less, more = sum(off < 0 for off, _ in offs), sum(off > 0 for off, _ in offs)
    one = len(lines) == 1
    side = f"{entered(abs(total), money)} {'more' if total > 0 else 'less'} than" if total else "as much as"
    figures = "its middle figure" if one else "their middle figures"
    text = f"The {'line' if one else f'{len(lines)} lines'} that you bought cost {paid}, {side} {figures}"
    if one:
        return f"{text}."
    number = less if total < 0 else more
    if less + more >= _JUDGED and total and at_least_by_chance(number, less + more) <= _BY_CHANCE:
        word, were = ("less", "high") if total < 0 else ("more", "low")
        return f"{text}. {number} of them cost {word}: the estimates were {were}."
    counts = f"{more or 'none'} cost more, {less or 'none'} less"
    if less + more >= _JUDGED and total and number < (less + more) / 2:  # few lines made it
        _, line = max(offs, key=lambda pair: pair[0] if total > 0 else -pair[0])
        whole = f"{entered(line.paid, money)} in place of {entered(line.estimate, money)}"
        return f"{text}: {counts}. \u201c{line.title}\u201d alone cost {whole}."
    return f"{text}: {counts}."


def bought(watch: Reforecast) -> list[LineWatch]:
    """Give the lines that something was paid for and that stood in the estimate."""
    found = set(watch.counts.bought)
    return [line for line in watch.lines if line.id in found]


def _paid_lines(watch: Reforecast) -> list[LineWatch]:
    return [line for line in watch.lines if line.kind == "line" and line.paid and not line.unforeseen]


def _sold(watch: Reforecast) -> list[LineWatch]:
    return [line for line in _paid_lines(watch) if line.is_income]


def _came(watch: Reforecast) -> list[LineWatch]:
    """Give the risks that came, those that cost nothing in the end among them."""
    return [line for line in watch.lines if line.kind == "event" and (line.paid or line.happened)]


def _unforeseen(watch: Reforecast) -> float:
    return sum(line.paid for line in watch.lines if line.unforeseen)


def _came_sentences(watch: Reforecast) -> list[str]:
    """Say what was sold, which risks came, and what nobody foresaw or another way has."""
    money, told = watch.currency, []
    if sold := _sold(watch):
        far = _than_thought(-off_in_all(sold, money), money, "as much as thought")
        told.append(f"What you sold brought in {far}.")
    if came := _came(watch):
        paid = entered(sum(line.paid for line in came), money)
        far = _than_thought(off_in_all(came, money), money, "as thought")
        told.append(f"{so_many(len(came), 'risk').capitalize()} came and cost {paid}, {far}.")
    count = sum(line.unforeseen for line in watch.lines)
    if count:
        told.append(
            f"{entered(_unforeseen(watch), money)} went on {so_many(count, 'bill')} that nobody foresaw."
        )
    if watch.outside:
        told.append(f"{entered(watch.outside, money)} was paid for what this way of doing it does not have.")
    return told


def _than_thought(more: float, money: str, equal: str) -> str:
    """Say by how much something came to more than thought, or less."""
    return f"{entered(abs(more), money)} {'more' if more > 0 else 'less'} than thought" if more else equal


def _off_forecast(watch: Reforecast) -> list[str]:
    """Say what P50 had counted beyond the middle figures of what came, and how far the end is off P50 and P80."""
    money = watch.currency
    half, eight = (
        as_written(one.value, money, one.error) for one in watch.at_first.percentile_set((0.5, 0.8))
    )
    end = as_written(watch.paid, money)
    known = [*_paid_lines(watch), *_came(watch)]
    over = as_written(off_in_all(known, money) + _unforeseen(watch) + watch.outside, money)
    held = half + over - end  # what P50 had beyond the middle figures of all that came
    side = (
        f"about {about(abs(end - half), money)} {'over' if end > half else 'under'}" if end != half else "at"
    )
    above = (
        f"about {about(abs(end - eight), money)} {'over' if end > eight else 'under'}"
        if end != eight
        else "at"
    )
    ended = f"So it ended {side} P50 as it was before anything was paid or agreed, and {above} P80."
    return [*_never_bought(watch, held), ended]


def _never_bought(watch: Reforecast, held: float) -> list[str]:
    """Say what was never bought, and what P50 had counted for it and for all else beyond the middle figures."""
    money = watch.currency
    never = [line for line in watch.lines if line.not_bought]
    unsold = [line for line in watch.lines if line.kind == "line" and line.is_income and not line.paid]
    stayed = [line for line in watch.lines if line.kind == "event" and not (line.paid or line.happened)]
    told = []
    if never:
        middle = about(sum(line.base for line in never), money)
        sure = len(watch.counts.sure)
        maybe = len(never) - sure
        middles = f"{middle} at {'its middle figure' if sure == 1 else 'their middle figures'}"
        parts = [f"{sure} sure to be needed, {middles}"] if sure else []
        parts += [f"{maybe} perhaps"] if maybe and sure else ["perhaps needed"] if maybe else []
        told.append(f"Nothing was paid for {so_many(len(never), 'line')}: {', and '.join(parts)}.")
    stood = [
        *(["it" if len(never) == 1 else "them"] if never else []),
        *([f"{so_many(len(stayed), 'risk')} that did not come"] if stayed else []),
        *([f"{so_many(len(unsold), 'line')} on which nothing was sold"] if unsold else []),
        "prices that could have been higher",
    ]
    if held > 0:
        listed = f"{', '.join(stood[:-1])} and {stood[-1]}" if stood[1:] else stood[0]
        told.append(f"P50 had counted about {about(held, money)} for {listed}.")
    elif held < 0:
        told.append(
            f"P50 had counted about {about(-held, money)} less than that, as not all of it was sure to be needed."
        )
    return told


def at_least_by_chance(number: int, of: int) -> float:
    """Give how likely a fair coin shows one side at least so often: the sign test, one-sided."""
    return float(sum(comb(of, times) for times in range(number, of + 1)) / 2.0**of)
