"""What moved a forecast, in words and in figures that add up as they are written."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from forecast.buildfile.schema import OWN_ESTIMATING
from forecast.engine.known import KnownFacts
from forecast.watching.moved import OWN_RANGES, Moved, MovedPart
from forecast.watching.reforecast import Reforecast
from forecast.watching.standing import day_before
from forecast.words.minor_units import exponent
from forecast.words.money import about, as_written, rounding_step, signed

PART_WORDS = {
    "receipts": "Receipts above or below their estimates",
    "currency": "Rates of exchange",
    "learning": "What they say about what is still open",
    "events": "Risk events that happened or cannot any more",
    "scope dropped": "Lines given up",
    "estimates": "Ranges changed in the build file",
    "scope added": "Things that were not in the estimate",
}
"""Each part of a move in words."""
SHORT_WORDS = {
    "receipts": "Receipts, dear or cheap",
    "currency": "Exchange rates",
    "learning": "What they teach",
    "events": "Risk events",
    "scope dropped": "Lines given up",
    "estimates": "Ranges changed",
    "scope added": "Not in the estimate",
}
"""The same for places with little room."""

_REST = 0.25
"""Share of a move from which what is still open is told apart from what was entered."""

_TITLE = 5  # words of a title that a sentence has room for


@dataclass(frozen=True)
class WrittenStep:
    """One part of a move, as it is written.

    Attributes
    ----------
    part : MovedPart
    words : str
    half, p80 : float
        The change of P50 and of P80, being that of two rounded levels.
    because : str
        The first few of what is behind it, the hardest push first.
    """

    part: MovedPart
    words: str
    half: float
    p80: float
    because: str


@dataclass(frozen=True)
class WrittenMove:
    """A move whose figures are rounded so that start and steps add up to the end as they are written."""

    start_half: float
    start_p80: float
    steps: tuple[WrittenStep, ...]
    end_half: float
    end_p80: float

    @property
    def change(self) -> float:
        """How far P80 moved."""
        return self.end_p80 - self.start_p80


def written(moved: Moved) -> WrittenMove:
    """Round a move: each change is that of two rounded levels, so that a column adds up as it is written.

    The start is rounded by its own error, as it stands in every other answer, and what follows by that of the end.
    """
    scale = 10 ** exponent(moved.currency)
    fine, coarse = (rounding_step(moved.currency, one) * scale for one in (moved.half_error, moved.error))

    def level(minor: int, step: float) -> float:
        return float(round(minor / step) * step / scale)

    first = (rounding_step(moved.currency, one) * scale for one in moved.start_errors)
    half, eight = moved.start.p50, moved.start.p80
    start_half, start_eight = (level(minor, step) for minor, step in zip((half, eight), first, strict=True))
    at_half, at_eight = start_half, start_eight
    steps = []
    for part in moved.parts:
        half, eight = half + part.change.p50, eight + part.change.p80
        then = (
            level(half, fine) if part.change.p50 else at_half,
            level(eight, coarse) if part.change.p80 else at_eight,
        )
        because = _some([title for _, title in part.because])
        steps.append(WrittenStep(part, PART_WORDS[part.kind], then[0] - at_half, then[1] - at_eight, because))
        at_half, at_eight = then
    return WrittenMove(start_half, start_eight, tuple(steps), at_half, at_eight)


def long_day(day: dt.date) -> str:
    """Write a day in full: ``3 May 2026``."""
    return f"{day.day} {day:%B %Y}"


def moved_sentence(moved: Moved, watch: Reforecast | None = None, strong: str = "") -> str:
    """Say how far P80 moved since when, and why: a sentence for each step; see `step_sentences`."""
    return " ".join((moved_headline(moved, strong), *step_sentences(moved, watch)))


def moved_headline(moved: Moved, strong: str = "") -> str:
    """Say how far P80 moved since when.

    Parameters
    ----------
    moved : Moved
    strong : str
        Mark put before and after the key figure, such as ``**``.
    """
    days = f"since {long_day(moved.since)}"
    if moved.until is not None:
        days = f"between {long_day(moved.since)} and {long_day(moved.until)}"
    change = written(moved).change
    if not change:
        return f"P80 did not move {days}."
    verb = "rose" if change > 0 else "fell"
    return f"P80 {verb} by {strong}{about(abs(change), moved.currency)}{strong} {days}."


def frozen_late_sentence(moved: Moved) -> str:
    """Say from when it counts where the budget was frozen once buying had begun; nothing where it was in time."""
    if moved.frozen_late is None:
        return ""
    return (
        f"The budget was frozen on {long_day(moved.frozen_late)}, when buying had begun: this is told from before. "
        f"What moved since the freeze is told from the end of {long_day(day_before(moved.frozen_late))}."
    )


def step_sentences(moved: Moved, watch: Reforecast | None = None) -> list[str]:
    """Say what each step did that moved P80, in the order in which they follow: their sums are how far it moved.

    Parameters
    ----------
    moved : Moved
    watch : Reforecast, optional
        As of the end of the move; it tells a finished build.
    """
    found = []
    for step in written(moved).steps:
        if step.p80:
            clause = _clause(step, watch)
            found.append(f"{clause[0].upper()}{clause[1:]}: {signed(step.p80, moved.currency)}.")
    return found


def entry_sentence(earlier: Reforecast | None, now: Reforecast, *, undone: bool = False) -> str:
    """Say what of a move is what was entered itself, and what is what it says of the rest.

    Parameters
    ----------
    earlier : Reforecast or None
        As it stood before the entry, with the same draws; None where nothing was entered yet.
    now : Reforecast
    undone : bool
        Whether an entry was taken back, which teaches nothing.

    Returns
    -------
    str
        Empty where what was entered, and what is computed from it, is nearly all that moved.
    """
    facts = KnownFacts() if earlier is None else earlier.known.facts
    then = {line.id: line.mean for line in (now.before if earlier is None else earlier.now).lines}
    moves = {line.id: line.mean - then[line.id] for line in now.now.lines if line.id in then}
    entered = {name for name in moves if facts.about(name) != now.known.facts.about(name)}
    itself = set(entered)
    for row in now.now.plan.rows:  # each is computed from earlier ones only
        read = set(row.reads)
        if read and read <= itself | now.known.facts.amounts.keys() and read & itself:
            itself.add(row.id)
    own = sum(move for name, move in moves.items() if name in itself)
    rest = sum(moves.values()) - own
    if not entered or abs(rest) < max(2 * rounding_step(now.currency), _REST * abs(own + rest)):
        return ""
    titles = {line.id: line.title for line in now.lines}
    names = [titles[name] for name in sorted(entered, key=lambda name: -abs(moves[name]))]
    why = "" if undone else _why_open(earlier, now, rest)
    money = now.currency
    if not as_written(own, money):
        return f"On average what is still open makes {signed(rest, money)}{why}."
    whole = as_written(own, money) + as_written(rest, money)  # the two that follow add up to it
    return (
        f"On average that makes {signed(whole, money)}: {_and(names)} itself {signed(own, money)}, what is still open "
        f"{signed(rest, money)}{why}."
    )


def _why_open(earlier: Reforecast | None, now: Reforecast, rest: float) -> str:
    """Say why what is open moved: what an entry taught of the cause that moves most of it; nothing where of none."""
    then = {} if earlier is None else {cause.id: cause for cause in earlier.causes}
    effects = {one.id: one.effect - (then[one.id].effect if one.id in then else 0.0) for one in now.causes}
    cause = max(now.causes, key=lambda one: abs(effects[one.id]), default=None)
    if cause is None:
        return ""
    turned = cause.mean - (then[cause.id].mean if cause.id in then else 0.0)
    if turned * rest <= 0:  # the cause pulls the other way: what moved it is how far it may still reach
        return f", as it may vary {'more' if rest > 0 else 'less'} now"
    if cause.id == OWN_ESTIMATING:
        return f", as the estimates look too {'low' if rest > 0 else 'high'} by it"
    return f", as \u201c{_short(cause.title)}\u201d looks {'dearer' if rest > 0 else 'cheaper'} by it"


def _clause(step: WrittenStep, watch: Reforecast | None) -> str:
    part = step.part
    up = [title for (_, title), push in zip(part.because, part.pushes, strict=True) if push > 0]
    down = [title for (_, title), push in zip(part.because, part.pushes, strict=True) if push < 0]
    some = [title for _, title in part.because]
    match part.kind:
        case "receipts":
            return _receipts(step, up, down, some)
        case "currency":
            side = "dearer" if step.p80 > 0 else "cheaper"
            return f"{_and((up if step.p80 > 0 else down) or some)} came {side} than the rate planned"
        case "learning":
            return _learning(step, watch)
        case "events":
            if step.p80 > 0 and up:
                return f"{_and(up, 7)} happened"
            others = [title for title in some if title not in up]
            return (
                f"{_and(others, 7)} cannot happen any more"
                if others
                else f"{_and(some)} cost less than thought"
            )
        case "scope dropped":
            return f"{_and(some)} {_was(some)} given up"
        case "estimates":
            return f"new ranges for {_and(some)}" if some else "the build file was changed"
        case "scope added":
            return f"{_and(some)} {_was(some)} not in the estimate"


def _receipts(step: WrittenStep, up: list[str], down: list[str], some: list[str]) -> str:
    """Say what receipts did: who came in dear or cheap, or, where that hardly matters, that less can vary now.

    A line of which more may come has come in neither way: where it moved furthest, none of the others is to blame.
    """
    if step.p80 > 0 and step.half > 0 and up and up[0] == some[0]:
        return f"{_and(up)} came in dear"
    if step.p80 <= 0 < step.half and step.half >= 0.5 * abs(step.p80) and up and up[0] == some[0]:
        return f"{_and(up)} came in dear, yet fewer lines can still vary"
    cheaper = step.p80 < 0 and step.half < 0 and abs(step.half) >= 0.5 * abs(step.p80)
    if cheaper and down and down[0] == some[0]:
        return f"{_and(down)} came in cheap"
    if step.p80 < 0:
        count = len(up) + len(down)
        return f"{f'{count} lines' if count > 1 else _and(up + down or some)} can vary less now"
    return f"{_and(some)} {'is' if len(some) == 1 else 'are'} paid at least in part"


def _learning(step: WrittenStep, watch: Reforecast | None) -> str:
    if (
        watch is not None and watch.finished
    ):  # nothing is open any more that could count wider or look dearer now
        return f"what was open then looked {'dearer' if step.p80 > 0 else 'cheaper'} by it"
    if not step.part.because:
        return "the open ranges count wider" if step.p80 > 0 else "the open ranges count narrower"
    (cause, title), push = step.part.because[0], step.part.pushes[0]
    if cause == OWN_RANGES and push * step.p80 >= 0:
        held, count = ("too narrow", "wider") if push > 0 else ("wide enough", "narrower")
        return f"your ranges proved {held}, so the open ones count {count}"
    if cause == OWN_RANGES and len(step.part.because) > 1:
        (cause, title), push = step.part.because[1], step.part.pushes[1]
    # Where the cause pulls the other way, or half of the builds hardly move, it is how far the open ranges reach.
    if push * step.p80 < 0 or abs(step.half) < 0.25 * abs(step.p80):
        return f"what is still open varies {'more' if step.p80 > 0 else 'less'} now"
    if cause == OWN_ESTIMATING:
        ran, looks = ("low", "dearer") if push > 0 else ("high", "cheaper")
        return f"the estimates ran {ran}, so what is still open looks {looks}"
    looks, does = ("dearer", "raises") if push > 0 else ("cheaper", "lowers")
    return f"\u201c{_short(title)}\u201d looks {looks}, and {does} what is still open"


def _some(names: list[str], most: int = 4) -> str:
    left = len(names) - most
    others = f" and {left} other{'s' if left > 1 else ''}" if left > 0 else ""
    return ", ".join(names[:most]) + others


def _and(names: list[str], most: int = _TITLE) -> str:
    """Name the first of some, and the second where both are short; the others are counted."""
    if not names:
        return "something"
    if len(names) == 2 and sum(len(name.split()) for name in names) <= most:
        return f"{names[0]} and {names[1]}"
    others = f" and {len(names) - 1} other{'s' if len(names) > 2 else ''}" if len(names) > 1 else ""
    return f"{_short(names[0], most)}{others}"


def _short(title: str, most: int = _TITLE) -> str:
    """Cut a title after so many words that its sentence stays short."""
    parts = title.split()
    return title if len(parts) <= most else f"{' '.join(parts[:most]).rstrip(',;:')}\u2026"


def _was(names: list[str]) -> str:
    return "was" if len(names) == 1 else "were"
