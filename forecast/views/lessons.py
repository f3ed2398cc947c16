"""What the receipts did, line by line, and what they taught: rows for tables, adding up as they are written."""

from __future__ import annotations

from forecast.views.settling import state_words
from forecast.views.watching import level, line_figures
from forecast.watching.reasons import Reason
from forecast.watching.reforecast import Reforecast
from forecast.words.money import signed

REASON_WORDS = {
    "paid": "closed at what was paid",
    "part-bought": "paid in part",
    "agreed": "a price was agreed",
    "happened": "it happened",
    "cannot-happen": "it cannot happen any more",
    "dropped": "given up",
    "outside": "was not in the estimate",
}
"""Each reason that the ledger itself gives, in words."""


def reason_rows(watch: Reforecast, most: int = 10) -> list[list[str]]:
    """Give why P80 moved, line by line: what each did on average, what their ranges did together, and the whole.

    Parameters
    ----------
    watch : Reforecast
    most : int
        Lines named; the others are one row.

    Returns
    -------
    list of [line, why, how far it moved the total on average]
        The last row is how far P80 moved, as the steps of what moved have it; the row before takes what no line's
        average tells: how much less, or more, all of them can vary together.
    """
    money = watch.currency
    names = {line.id: line.title for line in watch.lines}
    causes = {cause.id: cause.title for cause in watch.causes}
    named, others = watch.reasons[:most], watch.reasons[most:]
    rows = [[one.title, _why(one, names, causes), signed(one.amount, money)] for one in named]
    total = level(sum(one.amount for one in watch.reasons), money)
    # The others take what rounding leaves, so that the column adds up and each figure is that of every other place.
    rest = total - sum(level(one.amount, money) for one in named)
    if others or rest:
        noun = "line" if len(others) == 1 else "lines"
        rows.append([f"{len(others)} other {noun}" if others else "Rounding", "", signed(rest, money)])
    was, now = watch.before.percentile(0.8), watch.percentile(0.8)
    change = level(now.value, money, now.error) - level(was.value, money, now.error)
    if spread := change - total:
        rows.append([f"{'More' if spread > 0 else 'Less'} can vary now", "", signed(spread, money)])
    return [*rows, ["P80", "", signed(change, money)]]


def cause_rows(watch: Reforecast) -> list[list[str]]:
    """Give what is thought of each shared cause now.

    Returns
    -------
    list of [cause, where it stands, which lines told it]
    """
    rows = []
    for cause in watch.causes:
        titles = {line.id for line in watch.lines}
        told = [title for name, title, push in cause.taught_by if push * cause.mean > 0 and name in titles][
            :3
        ]
        sign = "+" if cause.mean >= 0 else "\u2212"
        stands = f"{sign}{abs(cause.mean):.1f} ± {cause.sd:.1f}"
        rows.append([cause.title, stands, ", ".join(told)])
    return rows


def estimate_rows(watch: Reforecast) -> list[list[str]]:
    """Give of each line and event what `line_figures` has, and its state."""
    return [[line.title, *line_figures(line, watch.currency), state_words(line)] for line in watch.lines]


def _why(reason: Reason, names: dict[str, str], causes: dict[str, str]) -> str:
    if reason.kind == "follows":
        return f"follows from {', '.join(names.get(one, one) for one in reason.because[:2])}"
    if reason.kind == "learned":
        shared = [f"\u201c{causes[one]}\u201d" for one in reason.because[:1] if one in causes]
        return f"learned through {shared[0]}" if shared else "learned from what came in"
    return REASON_WORDS[reason.kind]
