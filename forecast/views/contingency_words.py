"""What to hold, why so much, and where it comes from: in words, and as rows that add up as they are written."""

from __future__ import annotations

from collections.abc import Sequence

from forecast.decide.contingency import Contingency, Level, PublishedBeside, Share
from forecast.views.sentences import hold_words
from forecast.watching.standing import Standing
from forecast.words.chances import builds
from forecast.words.money import Money, apportioned, as_written, rounded, rounding_step, signed

FEWEST, MOST = 10, 24
"""So many lines and risks are named, the largest first, however little or much they make up."""
ENOUGH = 0.75
"""So much of the whole is told by name before the rest is told group by group."""


def split_rows(found: Contingency) -> list[tuple[str, str]]:
    """Give title and sum of each row, the contingency itself last.

    The largest are named. The rest is one row where that is smaller than each of them, else a row for each group, so
    that no row hides what is larger than those named.
    """
    money = found.currency
    whole = found.over
    named = _named(found)
    rest = found.lines[len(named) :]
    sums = [(share.title, as_written(share.amount.value, money)) for share in named]
    left = sum(share.amount.value for share in rest)
    if rest and abs(left) <= named[-1].amount.value:
        sums.append((_many(rest), 0.0))
    elif rest:
        sums += _by_group(found, rest)
    if rest:  # what rounding leaves falls to the row that is largest of those without a name of their own
        title, written = sums[len(named)]
        sums[len(named)] = title, written + whole - sum(amount for _, amount in sums)
    elif sums:
        title, written = sums[0]
        sums[0] = title, written + whole - sum(amount for _, amount in sums)
    return [
        *((title, signed(amount, money)) for title, amount in sums),
        ("Contingency", signed(whole, money)),
    ]


def share_rows(found: Contingency, shares: Sequence[Share]) -> list[tuple[str, str]]:
    """Give title and sum of each share of one split, the contingency itself last: they add up as they are written."""
    money, whole = found.currency, found.over
    written = apportioned([round(share.amount.value) for share in shares], rounding_step(money), whole)
    return [
        *((share.title, signed(amount, money)) for share, amount in zip(shares, written, strict=True)),
        ("Contingency", signed(whole, money)),
    ]


def _named(found: Contingency) -> tuple[Share, ...]:
    """Take the largest, until they make up enough or what is left is less than each of them."""
    told = 0.0
    for count, share in enumerate(found.lines[:MOST]):
        left = found.amount.value - told
        if count >= FEWEST and (
            told >= ENOUGH * found.amount.value or left <= found.lines[count - 1].amount.value
        ):
            return found.lines[:count]
        told += share.amount.value
    return found.lines[:MOST]


def _by_group(found: Contingency, rest: Sequence[Share]) -> list[tuple[str, float]]:
    """Give what those without a name of their own come to, group by group, the largest first."""
    titles = {share.id: share.title for share in found.groups}
    groups: dict[str, list[Share]] = {}
    for share in rest:
        groups.setdefault(share.group, []).append(share)
    rows = [
        (
            f"{titles[group]}: {_many(shares)}",
            as_written(sum(share.amount.value for share in shares), found.currency),
        )
        for group, shares in groups.items()
    ]
    return sorted(rows, key=lambda row: -row[1])


def _many(shares: Sequence[Share]) -> str:
    return "1 other" if len(shares) == 1 else f"{len(shares)} others"


def level_sentence(level: Level, money: Money) -> str:
    """Say which level, and why."""
    text = (
        f"Being short costs you {money(level.short)} where the same sum lying idle costs {money(level.idle)}: "
        f"hold P{100 * level.q:.0f}."
    )
    if level.q > level.wanted:
        text += " Your answers alone ask for less, but below P50 you would plan to run short."
    elif level.q < level.wanted:
        text += " Your answers alone ask for more, but beyond P95 the ranges themselves are not known well enough."
    return text


def published_sentence(found: PublishedBeside, money: Money) -> str:
    """Say what the published figure would come to."""
    sums = money(found.low) if found.low == found.high else f"{money(found.low)} to {money(found.high)}"
    return f"{found.published.what}: {sums}. {found.published.source}. {found.published.standing}"


def contingency_sentence(found: Contingency, money: Money, known: Standing | None = None) -> str:
    """Say what to hold, what of it is paid, how often it does, and what stands behind it."""
    text = (
        f"{hold_words(found.held, found.level, known, found.currency)} That is {money(found.over)} over your middle "
        f"figures, which are enough in {builds(found.chance_of_base.value)}"
    )
    return f"{text}{_largest(found)}."


def held_sentence(found: Contingency, money: Money) -> str:
    """Say what the level asks for beyond the middle figures, where the sum to hold is said already."""
    return (
        f"P{100 * found.level:.0f} is {rounded(money, found.held)}: {money(found.over)} over your middle figures"
        f"{_largest(found)}."
    )


def _largest(found: Contingency) -> str:
    largest = [f"\u201c{share.title}\u201d" for share in found.lines[:2] if share.amount.value > 0]
    return f". The largest parts stand against {' and '.join(largest)}" if largest else ""
