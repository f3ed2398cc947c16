"""What moved a forecast, in words and in figures that add up as they are written."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from functools import partial

from forecast.buildfile.schema import OWN_ESTIMATING
from forecast.decide.contingency import ENOUGH_CLOSED
from forecast.engine.known import KnownFacts
from forecast.figures.shapes import Z90
from forecast.views.off_estimate import off_in_all, off_words
from forecast.watching.behind_moves import OWN_RANGES
from forecast.watching.moved import Moved, MovedPart
from forecast.watching.reasons import moved_by_width
from forecast.watching.reforecast import LineWatch, Reforecast
from forecast.watching.standing import day_before
from forecast.words.chances import so_many
from forecast.words.day_words import long_day
from forecast.words.minor_units import exponent, from_float, to_float
from forecast.words.money import about, apportioned, as_written, rounding_step, signed

PART_WORDS = {
    "receipts": "Receipts above or below their estimates",
    "currency": "Rates of exchange",
    "learning": "What they say about what is still open",
    "events": "Risk events that happened or cannot any more",
    "scope dropped": "Lines not needed",
    "estimates": "Ranges changed in the build file",
    "scope added": "Things that were not in the estimate",
}
"""Each part of a move in words."""
SHORT_WORDS = {
    "receipts": "Receipts, dear or cheap",
    "currency": "Exchange rates",
    "learning": "What they teach",
    "events": "Risk events",
    "scope dropped": "Lines not needed",
    "estimates": "Ranges changed",
    "scope added": "Not in the estimate",
}
"""The same for places with little room."""

_AGREED = {
    True: ("Prices agreed above or below their estimates", "Prices agreed"),
    False: ("Receipts and prices agreed, above or below their estimates", "Receipts, prices agreed"),
}
"""The two for what came in where prices were agreed, by whether nothing else came in."""

_UNSOLD = {
    True: ("Nothing sold", "Nothing sold"),
    False: ("Lines not needed, and nothing sold", "Not needed, unsold"),
}
"""The two for lines not needed where some were to bring money in, by whether all of them were."""

_ELSEWHERE = {
    True: ("Paid for what another way has", "Of another way"),
    False: ("Not in the estimate, or of another way", "Unplanned, other way"),
}
"""The two for what came on top where another way of doing the build has it, by whether that is all."""

_ENTERED = 2  # so many parts of what is said of an entry tell what was entered itself
_TITLE = 5  # words of a title that a sentence has room for


@dataclass(frozen=True)
class WrittenStep:
    """One part of a move, as it is written.

    Attributes
    ----------
    part : MovedPart
    words, short : str
        The second for places with little room.
    half, p80 : float
        The change of P50 and of P80, being that of two rounded levels.
    because : str
        The first few of what is behind it, the hardest push first.
    apart_half, apart_p80 : float
        Of these changes, what is told apart: money that came in, or events that happened.
    """

    part: MovedPart
    words: str
    short: str
    half: float
    p80: float
    because: str
    apart_half: float = 0.0
    apart_p80: float = 0.0

    def apart(self) -> tuple[WrittenStep, WrittenStep]:
        """Give the step without what is told apart, and that by itself; the first is of nothing where that is all."""
        part = self.part
        ids = () if part.apart is None else part.apart.ids

        def of(inside: bool, half: float, p80: float) -> WrittenStep:
            pushes = part.pushes or (0.0,) * len(part.because)
            kept = [
                (one, push)
                for one, push in zip(part.because, pushes, strict=True)
                if (one[0] in ids) == inside
            ]
            because = tuple(one for one, _ in kept)
            fewer = replace(part, because=because, pushes=tuple(push for _, push in kept))
            return replace(self, part=fewer, half=half, p80=p80)

        rest = of(False, self.half - self.apart_half, self.p80 - self.apart_p80)
        return rest, of(True, self.apart_half, self.apart_p80)


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
    """Round a move so that a column adds up as it is written, each step as near to what it was as that allows.

    The start is rounded by its own error, as it stands in every other answer, and the end by that of the end.
    """
    scale = 10 ** exponent(moved.currency)
    units = [rounding_step(moved.currency, one) * scale for one in (moved.half_error, moved.error)]
    first = [rounding_step(moved.currency, one) * scale for one in moved.start_errors]
    starts, ends = (moved.start.p50, moved.start.p80), (moved.end.p50, moved.end.p80)
    changes = [[part.change.p50 for part in moved.parts], [part.change.p80 for part in moved.parts]]
    begin = [round(minor / step) * step for minor, step in zip(starts, first, strict=True)]
    wholes = [
        round(end / unit) * unit - start if any(change) else 0.0
        for start, end, unit, change in zip(begin, ends, units, changes, strict=True)
    ]
    half, eight = (apportioned(*one) for one in zip(changes, units, wholes, strict=True))
    steps = []
    for part, at_half, at_eight in zip(moved.parts, half, eight, strict=True):
        because = _some([title for _, title in part.because])
        words = PART_WORDS[part.kind], SHORT_WORDS[part.kind]
        if part.agreed:
            words = _AGREED[part.agreed == len(part.because)]
        apart = 0.0, 0.0
        if part.kind == "scope dropped" and part.apart is not None:
            words = _UNSOLD[len(part.apart.ids) == len(part.because)]
        if part.kind == "scope added" and part.apart is not None:
            words = _ELSEWHERE[len(part.apart.ids) == len(part.because)]
        if part.apart is not None:
            of, whole = part.apart.change, len(part.apart.ids) == len(part.because)
            apart = (
                at_half if whole else round(of.p50 / units[0]) * units[0],
                at_eight if whole else round(of.p80 / units[1]) * units[1],
            )
        steps.append(
            WrittenStep(
                part, *words, at_half / scale, at_eight / scale, because, apart[0] / scale, apart[1] / scale
            )
        )
    start_half, start_eight = (float(one / scale) for one in begin)
    end_half, end_eight = ((one + whole) / scale for one, whole in zip(begin, wholes, strict=True))
    return WrittenMove(start_half, start_eight, tuple(steps), end_half, end_eight)


def moved_sentence(moved: Moved, strong: str = "") -> str:
    """Say how far P80 moved since when, and why: a sentence for each step; see `step_sentences`."""
    return " ".join((moved_headline(moved, strong), *step_sentences(moved)))


def moved_headline(moved: Moved, strong: str = "") -> str:
    """Say how far P80 moved since when.

    Parameters
    ----------
    moved : Moved
    strong : str
        Mark put before and after the key figure, such as ``**``.
    """
    days = since_words(moved)
    if moved.until is not None:
        first = moved.begun or moved.frozen
        days = f"between {long_day(moved.since)} and {long_day(moved.until)}"
        if first is not None:
            days = f"from {long_day(first)} to {long_day(moved.until)}"
    move = written(moved)
    half = move.end_half - move.start_half
    middle = f", while P50 {_went(half)} by {about(abs(half), moved.currency)}," if half else ""
    if not move.change:
        return f"P80 did not move{middle} {days}."
    amount = f"{strong}{about(abs(move.change), moved.currency)}{strong}"
    return f"P80 {_went(move.change)} by {amount}{middle if half * move.change < 0 else ''} {days}."


def _went(change: float) -> str:
    return "rose" if change > 0 else "fell"


def since_words(moved: Moved) -> str:
    """Say since when a move is told: the day before something began is no day that a builder knows."""
    if moved.begun is not None:
        return f"since you began on {long_day(moved.begun)}"
    if moved.frozen is not None:
        return f"since the budget was frozen on {long_day(moved.frozen)}"
    return f"since {long_day(moved.since)}"


def start_words(moved: Moved) -> str:
    """Name the start of a move, for the foot of a bar: a day, or what came after it."""
    if moved.begun is not None:
        return "Before you began"
    return "Before the freeze" if moved.frozen is not None else long_day(moved.since)


def frozen_late_sentence(moved: Moved) -> str:
    """Say from when it counts where the budget was frozen once buying had begun; nothing where it was in time."""
    if moved.frozen_late is None:
        return ""
    return (
        f"The budget was frozen on {long_day(moved.frozen_late)}, when buying had begun: this is told from before. "
        f"What moved since the freeze is told from the end of {long_day(day_before(moved.frozen_late))}."
    )


def step_sentences(moved: Moved) -> list[str]:
    """Say what each step did that moved P80, in the order in which they follow: their sums are how far it moved."""
    found = []
    over = next((part.over for part in moved.parts if part.kind == "receipts"), 0)
    for step in written(moved).steps:
        rest, apart = step.apart()
        for one, words in ((rest, _clause), (apart, _apart_clause)):
            if one.p80:
                clause = words(one, moved.currency, over)
                found.append(f"{clause[0].upper()}{clause[1:]}: {signed(one.p80, moved.currency)}.")
    return found


def _apart_clause(step: WrittenStep, currency: str, over: int) -> str:
    """Say what is told apart in a step: events that happened, money that came in or did not, and what another way has.

    The forecast may move otherwise than what came lies off its estimate, as its range is gone: both are said then.
    """
    some = [title for _, title in step.part.because]
    far = 0 if step.part.apart is None else step.part.apart.over
    if step.part.kind == "scope dropped":
        return f"nothing was sold on {_and(some)}"
    if step.part.kind == "scope added":
        ways = () if step.part.apart is None else step.part.apart.ways
        whose = f"the way \u201c{short(ways[0])}\u201d" if len(ways) == 1 else "other ways"
        return f"{_and(some)} {'belongs' if len(some) == 1 else 'belong'} to {whose}, not to this one"
    if step.part.kind == "receipts":
        yet = "" if step.p80 * far >= 0 else ", and that is all" if far < 0 else ", yet less can vary"
        which = short(some[0], 4) if len(some) == 1 else f"{len(some)} lines"
        return f"{which} brought in {brought_words(far, currency)}{yet}"
    if step.p80 > 0:
        return f"{_and(some, 7)} happened"
    if far < 0:
        return f"{_and(some)} cost less than thought"
    return f"{_and(some)} happened, yet less can vary"


def brought_words(over: int, currency: str) -> str:
    """Say how much more or less than its middle figure came in: `over` is in minor units, below 0 where it is more."""
    far = as_written(to_float(over, currency), currency)
    return (
        f"{about(abs(far), currency)} {'more' if far < 0 else 'less'} than thought"
        if far
        else "what was thought"
    )


@dataclass(frozen=True)
class EntryReason:
    """One reason why an entry moved P80.

    Attributes
    ----------
    sentence : str
    amount : float
        How far it moved P80, as it is written; nothing where the sentence tells of no move of its own.
    """

    sentence: str
    amount: float = 0.0


def entry_reasons(
    earlier: Reforecast | None, now: Reforecast, change: float, *, undone: bool = False
) -> tuple[EntryReason, ...]:
    """Say how what was entered came in, and why the forecast moved otherwise than by that.

    Parameters
    ----------
    earlier : Reforecast or None
        As it stood before the entry, with the same draws; None where nothing was entered yet.
    now : Reforecast
    change : float
        How far P80 moved by it, as it is written: the only total. The sums told here add up to it.
    undone : bool
        Whether something that was entered is taken back: its lines then came in no way, they count as before.

    Returns
    -------
    tuple of EntryReason
        Empty where P80 tells all that there is to tell.
    """
    money, least = now.currency, 2 * rounding_step(now.currency)
    facts = KnownFacts() if earlier is None else earlier.known.facts
    then = {line.id: (line.before, line.mean_before) for line in now.lines}
    if earlier is not None:
        then = {line.id: (line.now, line.mean_now) for line in earlier.lines}
    lines = {line.id: line for line in now.lines}
    then = dict.fromkeys(lines, ((0.0, 0.0, 0.0), 0.0)) | then  # a bill that nobody told of has a new line
    entered = [name for name in lines if facts.about(name) != now.known.facts.about(name)]
    itself, follow = set(entered), set(entered)
    for row in now.now.plan.rows:  # each is computed from earlier ones only
        read = set(row.reads)
        if read and read <= itself | now.known.facts.amounts.keys() and read & itself:
            itself.add(row.id)
        elif read & follow:
            follow.add(row.id)
    moves = {name: line.now[1] - then[name][0][1] for name, line in lines.items()}
    bought = [lines[name] for name in entered if _priced(lines[name]) and not undone]
    others = [lines[name] for name in entered if lines[name] not in bought]
    against = _against_agreed(bought, earlier, money)
    own, off = sum(moves[line.id] for line in bought), off_in_all(bought, money)
    if abs(own - off) < least:  # nothing else was forecast that is worth a word
        own = off
    # What is reckoned from other open lines too moves with what was learnt of those; at middle figures, with it alone.
    thought = now.before.plan.base_estimate() if earlier is None else earlier.base_given
    reckoned = {
        name: moves[name] if name in itself else now.base_given[name] - thought.get(name, 0.0)
        for name in (itself | follow) & moves.keys()
        if name not in entered
    }
    rest = sum(reckoned.values())
    learned = sum(
        line.mean_now - then[name][1] - reckoned.get(name, 0.0)
        for name, line in lines.items()
        if name not in itself
    )
    far = off + sum(line.now[1] - line.estimate for line in others)
    if undone:  # what it had taught is gone with it
        far = sum(moves[name] for name in entered)
    why = _why_open(earlier, now, learned) if far * learned > 0 and abs(learned) >= least else ""
    if (
        undone and far * learned > 0 and abs(learned) >= least and not why
    ):  # nothing is left that says anything
        why = "What it said of the other lines counts no more"
    outside = now.outside - (0.0 if earlier is None else earlier.outside)
    further = sum(moves[line.id] for line in others)
    paid = {} if earlier is None else {line.id: line.paid for line in earlier.lines}
    back = {line.id for line in others if not line.is_income and line.paid < paid.get(line.id, 0.0)}
    said = _taken_back_words if undone else partial(_entered_words, own=further, money=money, back=back)
    parts = [
        (against or (_came_in(bought, own, money) if bought else ""), own),
        (said(others) if others else "", further),
        (_follow([lines[name] for name in reckoned], reckoned), rest if abs(rest) >= least else 0.0),
        (why, learned if why else 0.0),
        ("This way does not have all that was paid for", outside),
        _width_told(earlier, now, least, undone=undone),
    ]
    told = [(words, as_written(amount, money)) for words, amount in parts]
    gone = (
        bool(entered)
        and not undone
        and all(lines[name].kind == "event" and _is_gone(lines[name]) for name in entered)
    )
    if gone and not any(amount for _, amount in told[_ENTERED:]):
        return ()  # that they cannot happen any more is said already, and P80 moved by just that
    open_again = undone and bool(others) and all(line.kind == "event" and _is_gone(line) for line in others)
    if open_again and not any(amount for _, amount in told[_ENTERED:]):
        return (EntryReason(f"{told[1][0]}."),)  # P80 moved by just that
    spread = change - sum(amount for _, amount in told)
    others_told = sum(bool(amount) for _, amount in told[_ENTERED:])
    alone = len(entered) == 1 or (bool(others) and not bought and all(line.unforeseen for line in others))
    if alone and not others_told and abs(spread) <= least / 2:
        # P80 moved by just that, but for rounding
        if bought:
            return (EntryReason(f"{against or (_off_words(bought, money) if own == off else told[0][0])}."),)
        return (EntryReason(f"{told[1][0]}."),)
    vary = partial(_varies, spread, money) if undone else partial(_spread_words, now, spread, bought, others)
    told.append((vary(), as_written(spread, money)))
    reasons = tuple(
        EntryReason(f"{words}: {signed(amount, money)}." if amount else f"{words}.", amount)
        for place, (words, amount) in enumerate(told)
        if amount or (words and change and place < _ENTERED)
    )
    if not reasons and bought and not others:
        return (EntryReason(f"{against or _off_words(bought, money)}."),)
    return reasons


def _follow(lines: list[LineWatch], by: Mapping[str, float]) -> str:
    """Name what is reckoned from what was entered, what follows most first."""
    far = sorted((line for line in lines if by[line.id]), key=lambda line: -abs(by[line.id]))
    names = [f"\u201c{short(line.title)}\u201d" for line in far]
    if not names:
        return ""
    follows = "follows" if len(names) == 1 else "follow"
    return f"{_and(names, 6)} {follows}, reckoned from it"


def _taken_back_words(lines: list[LineWatch]) -> str:
    """Say how lines and events count, now that what was entered of them is taken back."""
    bare = all(not line.paid and not line.committed and line.state == "untouched" for line in lines)
    if len(lines) > 1:
        kinds = {line.kind for line in lines}
        noun = "risks" if kinds == {"event"} else "lines and risks" if "event" in kinds else "lines"
        how = "at their estimates again" if bare and noun == "lines" else "as they did before"
        return f"{len(lines)} {noun} count {how}"
    (line,) = lines
    name = f"\u201c{short(line.title)}\u201d"
    if not bare:
        return f"{name} counts as it did before"
    if line.kind == "event":
        return f"{name} may happen as before"
    return f"{name} counts {'at its estimate' if line.estimate or line.if_needed else 'nothing'} again"


def _width_told(
    earlier: Reforecast | None, now: Reforecast, least: float, *, undone: bool
) -> tuple[str, float]:
    """Say that open ranges count wider or narrower than before, and how far that moved P80; nothing of little.

    What came in can vary no more, which moves P80 too: told in one sum, a bill seemed to say all that of the others.
    """
    moved = moved_by_width(now.before if earlier is None else earlier.now, now.now)
    if abs(moved) < least:
        return "", 0.0
    if undone:
        return "The open ranges count as they did before", moved
    closed = now.closed_with_range
    inside = sum(abs(line.score or 0.0) <= Z90 for line in closed)
    if moved < 0 and inside >= _MOSTLY * len(closed):
        many = f"All {inside}" if inside == len(closed) else f"{inside} of {len(closed)}"
        return f"{many} prices paid lie inside their ranges, so the open ranges count narrower", moved
    if moved > 0 and inside < _MOSTLY * len(closed):
        far = f"{len(closed) - inside} of {len(closed)}"
        return f"{far} prices paid lie outside their ranges, so the open ranges count wider", moved
    clause = _ranges_held(
        moved, len(closed)
    )  # how far they lie from the middle says it, not how many are outside
    return f"{clause[0].upper()}{clause[1:]}", moved


_MOSTLY = 0.8
"""Share of builds in which a price lies in its stated range."""


def _spread_words(now: Reforecast, spread: float, bought: list[LineWatch], others: list[LineWatch]) -> str:
    """Say why more or less can vary, for what was entered alone.

    What is no more than the rounding of the two levels says nothing of that.
    """
    if abs(spread) <= rounding_step(now.currency):
        return _varies(spread, now.currency)
    one = len(bought) == 1
    if spread < 0 and bought and not any(line.is_income for line in bought):
        settled = all(line.state == "closed" for line in bought)
        can = "can come no dearer" if settled else "can hardly come dearer"
        return f"{'It' if one else 'They'} {can} now"
    if spread > 0 and bought and all(line.if_needed is not None for line in bought):
        return f"{'It was' if one else 'They were'} not sure to be needed before"
    if spread < 0 and len(others) == 1 and not bought and others[0].paid > 0 and others[0].state != "closed":
        return "A dearer end of it is less likely now"
    return _varies(spread, now.currency)


def _varies(spread: float, currency: str) -> str:
    if abs(spread) <= rounding_step(currency):
        return "Rounding"
    return f"{'More' if spread > 0 else 'Less'} can vary now"


def _entered_words(entered: list[LineWatch], own: float, money: str, back: Collection[str] = ()) -> str:
    """Say what was entered of lines that have no price yet; `own` is how far their middle figures moved by it.

    `back` names those for which money came back.
    """
    if back and len(back) == len(entered):
        one = f"\u201c{short(entered[0].title)}\u201d"
        return f"Money came back for {one if len(entered) == 1 else f'{len(entered)} lines'}"
    if len(entered) > 1:
        count = len(entered)
        if all(line.kind == "event" and _is_gone(line) for line in entered):
            return f"{count} risks cannot happen any more"
        if all(line.state == "closed" and not line.paid for line in entered):
            return f"Nothing is paid for {count} lines that are closed"
        if all(line.unforeseen for line in entered):
            return f"{count} bills were not foreseen"
        if not all(line.paid for line in entered):
            return f"What was said of {count} lines counts"
        paid, thought = sum(line.paid for line in entered), sum(line.estimate for line in entered)
        off = to_float(from_float(paid, money) - from_float(thought, money), money)
        if off < 0 or any(line.is_income for line in entered):
            return f"{count} lines are paid in part"
        return f"{count} lines are {off_words(off, money)} their middle estimates, and more may come"
    (line,) = entered
    name = f"\u201c{short(line.title)}\u201d"
    if line.kind == "event":
        if _is_gone(line):
            return f"{name} cannot happen any more"
        return f"{name} {'happened' if own > 0 or line.state != 'closed' else 'cost less than thought'}"
    if line.unforeseen:
        return f"{name} was not foreseen"
    if line.state == "closed":
        return f"Nothing was sold on {name}" if line.is_income else f"{name} is not needed"
    if not line.paid or line.is_income:
        return f"{name} is sold in part" if line.paid else f"{name} is open"
    off = to_float(from_float(line.paid, money) - from_float(line.estimate, money), money)
    if line.looks_settled:
        told = f"What is paid for {name} is likely all"
        if line.if_needed is not None:
            return told
        yet = _yet(off, own, money)
        return f"{told}, {off_words(off, money)} its middle estimate{yet}"
    if off < 0:
        return f"{name} is paid in part"
    if line.if_needed is not None:
        return f"{name} was needed, is {off_words(off, money)} its middle estimate, and more may come"
    return f"{name} is {off_words(off, money)} its middle estimate, and more may come{_yet(off, own, money)}"


def _is_gone(line: LineWatch) -> bool:
    return not (line.happened or line.paid)


def _yet(off: float, own: float, money: str) -> str:
    """Say that more, or less, had been expected where what is paid alone would have it move the other way."""
    if not as_written(own, money) or off * own > 0:
        return ""
    return f"; {'more' if own < 0 else 'less'} was expected of it"


def _came_in(bought: list[LineWatch], own: float, money: str) -> str:
    """Say how prices of lines came in; `own` is how far their middle figures moved by it, which is said behind."""
    off = off_in_all(bought, money)
    if any(line.if_needed is not None for line in bought):  # before, it stood in no sum in full
        return _off_words(bought, money)
    if abs(off - own) < 2 * rounding_step(money):
        shown = as_written(own, money)
        if shown and from_float(off, money) == from_float(shown, money):
            return _off_words(bought, money, summed=False)
        return f"{_off_words(bought, money)}{', rounded' if shown else ''}"
    if not as_written(own, money):
        return f"{_off_words(bought, money)}, as expected by then"
    then = off_words(as_written(off, money) - as_written(own, money), money)  # so that the three add up
    whom = "it" if len(bought) == 1 else "them"
    then = f"{whom} at {'its' if whom == 'it' else 'their'} estimate" if then == "at" else f"{whom} {then}"
    return f"{_off_words(bought, money)}; the forecast had {then} already"


def _against_agreed(bought: list[LineWatch], earlier: Reforecast | None, money: str) -> str:
    """Hold a bill that ends a price agreed against that price, which is what was expected; nothing of any other."""
    if earlier is None or len(bought) != 1 or bought[0].state != "closed":
        return ""
    was = next((line for line in earlier.lines if line.id == bought[0].id), None)
    if was is None or not was.committed:
        return ""
    over = from_float(bought[0].paid, money) - from_float(was.paid + was.committed, money)
    far = off_words(to_float(over, money), money)
    return f"\u201c{short(was.title)}\u201d came in {far} the price agreed"


def _priced(line: LineWatch) -> bool:
    """Tell whether a line has an estimate that a price stands against: that paid in all, or that agreed."""
    bought = (line.state == "closed" and line.paid != 0) or line.state == "committed"
    return bought and line.kind == "line" and not line.unforeseen


def _off_words(lines: list[LineWatch], currency: str, *, summed: bool = True) -> str:
    """Say how far the prices of lines are off their middle estimates; without the sum where it stands behind."""
    off = off_in_all(lines, currency)
    far = off_words(off, currency) if summed else "over" if off > 0 else "under"
    agreed = any(line.state == "committed" for line in lines)
    if len(lines) > 1:
        return (
            f"{len(lines)} {'prices are' if agreed else 'lines came in'} {far} their middle estimates in all"
        )
    name = f"\u201c{short(lines[0].title)}\u201d"
    needed = f"{name} was needed, and" if lines[0].if_needed is not None else name
    return f"{f'The price agreed for {name} is' if agreed else f'{needed} came in'} {far} its middle estimate"


def _why_open(earlier: Reforecast | None, now: Reforecast, learned: float) -> str:
    """Say what an entry taught of the cause that moves most of what is open; nothing where none pulls its way."""
    then = {} if earlier is None else {cause.id: cause for cause in earlier.causes}
    effects = {one.id: one.effect - (then[one.id].effect if one.id in then else 0.0) for one in now.causes}
    cause = max(now.causes, key=lambda one: abs(effects[one.id]), default=None)
    if cause is None:
        return ""
    turned = cause.mean - (then[cause.id].mean if cause.id in then else 0.0)
    if turned * learned <= 0:  # the cause pulls the other way: what moved it is how far it may still reach
        return ""
    if turned * cause.mean < 0:  # by all that came in so far it still looks as it did, only less so
        if cause.id == OWN_ESTIMATING:
            ran, are = ("high", "raised") if turned > 0 else ("low", "lowered")
            return f"Your estimates look less {ran} than before, so the open ones are {are}"
        looks, does = ("cheap", "raises") if turned > 0 else ("dear", "lowers")
        return (
            f"\u201c{short(cause.title)}\u201d looks less {looks} than before, and {does} what is still open"
        )
    return _taught(cause.id, cause.title, turned)


def _clause(step: WrittenStep, currency: str, over: int) -> str:
    part = step.part
    up = [title for (_, title), push in zip(part.because, part.pushes, strict=True) if push > 0]
    down = [title for (_, title), push in zip(part.because, part.pushes, strict=True) if push < 0]
    some = [title for _, title in part.because]
    match part.kind:
        case "receipts":
            return _receipts(step, up, down, some, currency)
        case "currency":
            side = "dearer" if step.p80 > 0 else "cheaper"
            codes = _and((up if step.p80 > 0 else down) or some, 2)
            if part.margin_unused and step.p80 < 0:
                return f"less of the card's margin on {codes} was charged than planned"
            if part.with_margin:
                return f"{codes} came {side} than planned, card's margin in both"
            return f"{codes} came {side} than the rate planned"
        case "learning":
            return _learning(step, over)
        case "events":
            return f"{_and(some, 7)} cannot happen any more"
        case "scope dropped":
            return f"{_and(some)} {'is' if len(some) == 1 else 'are'} not needed"
        case "estimates":
            return f"new ranges for {_and(some)}" if some else "the build file was changed"
        case "scope added":
            return f"{_and(some)} {_was(some)} not in the estimate"


_ALLOWED_FOR = 0.7
"""Of what came in over the estimates: if P80 rose by less, saying that it came in dear sounds as if that were all."""


def _receipts(step: WrittenStep, up: list[str], down: list[str], some: list[str], currency: str) -> str:
    """Say what receipts did: who came in dear or cheap, or, where that hardly matters, that less can vary now.

    Of lines that can vary less it is said how far they are off their estimates: it may be over, though P80 fell.

    A line of which more may come has come in neither way: where it moved furthest, none of the others is to blame.
    """
    one, over = step.part.settled == 1, to_float(step.part.over, currency)
    lines = short((up + down or some)[0], 4) if one else f"{step.part.settled} lines"
    far = f"{off_words(over, currency)} {'its estimate' if one else 'their estimates'}"
    if step.p80 > 0 and step.half > 0 and up and up[0] == some[0]:
        if step.part.settled and step.p80 < _ALLOWED_FOR * over:
            return f"{lines}{',' if one else ''} settled {far}, in part allowed for"
        return f"{_and(up)} came in dear"
    cheaper = step.p80 < 0 and step.half < 0 and abs(step.half) >= 0.5 * abs(step.p80)
    if cheaper and down and down[0] == some[0]:
        return f"{_and(down)} came in cheap"
    if step.p80 >= 0:
        return f"{_and(some)} {'is' if len(some) == 1 else 'are'} paid at least in part"
    if not step.part.settled:
        return f"{_and(some)} can vary less now"
    agreed = step.part.agreed
    how = "settled" if not agreed else "agreed" if agreed == step.part.settled else "paid or agreed"
    likely = step.part.likely
    if likely:  # nobody said that they are, so it is not said as if somebody had
        how = f"likely {how}" if likely == step.part.settled else f"{how} ({likely} likely)"
    if as_written(over, currency) > 0:
        can = "can hardly come dearer" if agreed else "can come no dearer"
        return f"{lines}, {how} {far}, {can}" if one else f"{lines} {how} {far} {can}"
    return f"{lines} {'is' if one else 'are'} {how}, {far}{'' if one else ' in all'}"


def _learning(step: WrittenStep, over: int) -> str:
    """Say what was learnt; `over` is how far prices are over their estimates in all, which this may not gainsay."""
    if not step.part.because:
        return "the open ranges count wider" if step.p80 > 0 else "the open ranges count narrower"
    (cause, title), push = step.part.because[0], step.part.pushes[0]
    if cause == OWN_RANGES and push * step.p80 >= 0:
        return _ranges_held(push, step.part.closed)
    if cause == OWN_RANGES and len(step.part.because) > 1:
        (cause, title), push = step.part.because[1], step.part.pushes[1]
    # Where the cause pulls the other way, or half of the builds hardly move, it is how far the open ranges reach.
    if push * step.p80 < 0 or abs(step.half) < 0.25 * abs(step.p80):
        return f"what is still open varies {'more' if step.p80 > 0 else 'less'} now"
    if cause == OWN_ESTIMATING and push * over < 0:  # what the large ones say weighs more than the sum of all
        return f"what came in says that what is open looks {'dearer' if push > 0 else 'cheaper'}"
    clause = _taught(cause, title, push)
    return f"{clause[0].lower()}{clause[1:]}"


def _ranges_held(wider: float, closed: int) -> str:
    """Say how the builder's own ranges held, once enough lines are closed to tell; see `ENOUGH_CLOSED`."""
    count = "wider" if wider > 0 else "narrower"
    if closed < ENOUGH_CLOSED:
        return f"judged by only {so_many(closed, 'closed line')} with a range, open ranges count {count}"
    return (
        f"your ranges proved {'too narrow' if wider > 0 else 'wide enough'}, so the open ones count {count}"
    )


def _taught(cause: str, title: str, push: float) -> str:
    """Say what was learnt of a cause, and what that does to what is still open."""
    if cause == OWN_ESTIMATING:
        ran, looks = ("low", "raised") if push > 0 else ("high", "lowered")
        return f"Your estimates so far came in {ran}, so the open ones are {looks}"
    looks, does = ("dearer", "raises") if push > 0 else ("cheaper", "lowers")
    return f"\u201c{short(title)}\u201d looks {looks}, and {does} what is still open"


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
    return f"{short(names[0], most)}{others}"


def short(title: str, most: int = _TITLE) -> str:
    """Cut a title after so many words that its sentence stays short."""
    parts = title.split()
    return title if len(parts) <= most else f"{' '.join(parts[:most]).rstrip(',;:')}\u2026"


def _was(names: list[str]) -> str:
    return "was" if len(names) == 1 else "were"
