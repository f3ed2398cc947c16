"""What the end of a build says: why it cost more or less than was forecast, and how good the estimates were."""

from __future__ import annotations

from math import comb

from forecast.views.moves import WrittenStep, brought_words, written
from forecast.watching.moved import Moved
from forecast.watching.reforecast import LineWatch, Reforecast
from forecast.words.chances import so_many
from forecast.words.minor_units import to_float
from forecast.words.money import about, as_written, entered, signed

_NEAR = 0.05
"""Share of P50 within which a build ended where it was forecast: nothing is to be explained."""
_JUDGED = 5
"""Of so many lines at least is told how good the estimates were."""
_TOLD = 3
"""Of so many reasons a sentence has room, once the largest two are told."""
_BY_CHANCE = 0.05
"""So seldom does one side come up as often by chance, where one line as easily costs more than less."""


def ending_sentences(watch: Reforecast, moved: Moved | None) -> list[str]:
    """Say why a finished build ended where it did, and how good its estimates were; nothing of any other.

    Parameters
    ----------
    watch : Reforecast
    moved : Moved or None
        From before anything was entered, with the ranges as they are: see `moved_in_all`.
    """
    if not watch.finished:
        return []
    why = [] if moved is None else _why(moved)
    return list(filter(None, (*why, verdict_sentence(watch))))


def _why(moved: Moved) -> list[str]:
    """Say how far the end is off P50, and what made it, the most first: the sums add up to it as they are written."""
    told, money = written(moved), moved.currency
    off = told.end_half - told.start_half
    if not told.start_half or abs(off) < _NEAR * told.start_half:
        return []
    side, far = "over" if off > 0 else "under", abs(off) / told.start_half
    pieces = [
        (words, one.half)
        for step in told.steps
        for one, words in zip(step.apart(), (_clause(step), _apart_clause(step, money)), strict=True)
        if one.half
    ]
    pieces.sort(key=lambda piece: -abs(piece[1]))
    parts = [f"{words}, {signed(half, money)}" for words, half in pieces]
    sentences = [f"It ended {about(abs(off), money)} {side} P50, {far:.0%} of it.".replace("%", "\u00a0%")]
    sentences.append(f"{'Most of that' if parts[2:] else 'Of that'}, at P50: {'; '.join(parts[:2])}.")
    for place in range(2, len(parts), _TOLD):
        start = "The rest" if place == 2 else "And"
        sentences.append(f"{start}: {'; '.join(parts[place : place + _TOLD])}.")
    sentences += [_middles(step, money) for step in told.steps if step.part.kind == "scope dropped"]
    return list(filter(None, sentences))


def _middles(whole: WrittenStep, money: str) -> str:
    """Say what lines given up were at their middle figures, where P50 held more for them: the end asked with that."""
    step, _ = whole.apart()
    part = step.part
    middle = as_written(to_float(part.sure_middle, money), money)
    if not part.sure or -step.half <= middle:
        return ""
    which = f"{part.sure} of those {len(part.because)} lines were sure to be needed"
    if part.sure == len(part.because):
        one = part.sure == 1
        which = "that line" if one else f"those {part.sure} lines"
        figures = "figure" if one else "figures"
        return f"At the middle {figures}, {which} came to {about(middle, money)}; ranges made it more."
    return f"{which}, {about(middle, money)} at their middle figures; ranges, and lines perhaps needed, made it more."


def _apart_clause(step: WrittenStep, money: str) -> str:
    """Say what is told apart of a step; nothing where nothing is."""
    apart = step.part.apart
    if apart is None:
        return ""
    if step.part.kind == "receipts":
        return f"what was sold brought in {brought_words(apart.over, money)}"
    if step.part.kind == "scope dropped":
        return f"nothing was sold on {so_many(len(apart.ids), 'line')}"
    if step.part.kind == "scope added":
        return f"{so_many(len(apart.ids), 'line')} that another way has"
    return f"{so_many(len(apart.ids), 'risk')} came"


def _clause(whole: WrittenStep) -> str:
    step, _ = whole.apart()
    part, less = step.part, step.half < 0
    match part.kind:
        case "receipts":
            if less == (part.over < 0) and part.over:
                return f"what was bought came in {'cheaper' if less else 'dearer'}"
            return (
                f"{so_many(part.settled, 'price')} in place of {'a range' if part.settled == 1 else 'ranges'}"
            )
        case "currency":
            return "rates of exchange"
        case "events":
            return f"{so_many(len(part.because), 'risk')} did not come"
        case "scope dropped":
            return f"nothing was paid for {so_many(len(part.because), 'line')}"
        case "scope added":
            return f"{so_many(len(part.because), 'bill')} in no estimate"
        case "learning" | "estimates":
            return "what bills said of what was open"


def verdict_sentence(watch: Reforecast) -> str:
    """Say how the bills stand to their middle figures, in money and in number; nothing where few lines tell.

    Estimates are called high or low only where number and money agree, and chance seldom does that.
    """
    lines, money = watch.judged_lines, watch.currency
    offs = [(_off(line), line) for line in lines]
    less, more = sum(off < 0 for off, _ in offs), sum(off > 0 for off, _ in offs)
    if less + more < _JUDGED:
        return ""
    total = as_written(sum(off for off, _ in offs), money)
    sums = (
        f"{about(abs(total), money)} {'more' if total > 0 else 'less'} in all" if total else "as much in all"
    )
    many, word, number = ("high", "less", less) if less >= more else ("low", "more", more)
    one = (
        f"{number} of {len(lines)} lines bought with a range of your own cost {word} than their middle figure"
    )
    every = _beside_all(watch, word)
    if at_least_by_chance(number, less + more) > _BY_CHANCE:
        return f"Your estimates were neither high nor low on the whole. {one}, {sums}.{every}"
    if total and (total < 0) == (word == "less"):
        return f"Your estimates were {many}. {one}, {sums}.{every}"
    _, farthest = max(offs, key=lambda one: one[0] if word == "less" else -one[0])
    paid, thought = entered(farthest.paid, money), about(farthest.estimate, money)
    return f"{one}, yet {sums}.{every} \u201c{farthest.title}\u201d alone cost {paid} in place of {thought}."


def _beside_all(watch: Reforecast, word: str) -> str:
    """Say how many of all lines bought cost more or less, where some have no range of their own: the chart's count."""
    every = [
        line
        for line in watch.lines
        if line.kind == "line" and line.state == "closed" and line.paid > 0 and not line.unforeseen
    ]
    if len(every) <= len(watch.judged_lines):
        return ""
    money = watch.currency
    offs = [as_written(line.paid, money) - as_written(line.estimate, money) for line in every]
    number = sum(off > 0 if word == "more" else off < 0 for off in offs)
    return f" Of all {len(every)} lines bought that have an estimate, {number} cost {word} than it."


def _off(line: LineWatch) -> float:
    return line.paid - line.estimate


def at_least_by_chance(number: int, of: int) -> float:
    """Give how likely a fair coin shows one side at least so often: the sign test, one-sided."""
    return float(sum(comb(of, times) for times in range(number, of + 1)) / 2.0**of)
