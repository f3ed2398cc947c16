"""Where the figures of tax and customs come from, in words that the terminal and the dashboard share."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from forecast.engine.rows import Plan
from forecast.engine.rule_weights import Weight
from forecast.trade.expansion import Expansion, RuleUse
from forecast.views.opening_words import open_line
from forecast.words.chances import listed, so_many
from forecast.words.currencies import minor_digits
from forecast.words.day_words import short_day
from forecast.words.money import about, as_written, percent, to_the_coin
from forecast.words.text import STRONG

DUES = ("Charged by the state", "Worked out from")
"""Above the rows of `dues_rows`, before the currency."""
TITLE = "Where the figures of tax and customs come from"
HEADINGS = ("Figure", "Value", "Source", "As of", "How sure", "To overwrite it, write")

_SURE: Mapping[str, str] = {
    "verified": "read in the authority's own text",
    "third party": "read in a third party's page only",
    "no source": "look it up",
    "common practice": "ask for a quotation",
}


FIRST = (
    "Out of date, or confirmed by nobody: look these up first, with what hangs on each at your middle figures"
)
THEN = (
    "From third parties' pages, of common practice, or with 1 % or less of the goods' cost on them: look these up, "
    "or ask for a quotation, before you rely on them"
)
MUCH = 0.01
"""Share of a consignment's sum from which what hangs on a figure is told."""

_NO_WEIGHTS: Mapping[str, Weight] = {}


def comes_first(figure: RuleUse) -> bool:
    """Tell whether a figure is out of date or only known roughly, or nobody is known to have confirmed it."""
    return bool(figure.doubts) and (figure.rough or _is_old(figure) or figure.certainty == "no source")


def to_look_up(
    figures: Sequence[RuleUse], weights: Mapping[str, Weight] = _NO_WEIGHTS
) -> tuple[list[RuleUse], list[RuleUse]]:
    """Give the figures in doubt in two lists, those that come first and the others, the weightiest on top of each.

    What is only known roughly comes before all others. What is known to move the sum by no more than `MUCH` is none of
    those that come first.
    """

    def is_first(figure: RuleUse) -> bool:
        weight = weights.get(figure.id)
        return comes_first(figure) and (weight is None or weight.share > MUCH)

    def lightness(figure: RuleUse) -> tuple[bool, float]:
        return not figure.rough, -weights[figure.id].amount if figure.id in weights else 0.0

    doubted = sorted((figure for figure in figures if figure.doubts), key=lightness)
    return [one for one in doubted if is_first(one)], [one for one in doubted if not is_first(one)]


def hangs_on(figure: RuleUse, weights: Mapping[str, Weight], currency: str) -> str:
    """Say how much of what the goods come to here hangs on a figure, where that is more than 1 %; else nothing."""
    weight = weights.get(figure.id)
    if weight is None or weight.share <= MUCH:
        return ""
    whole, own = (as_written(part, currency) for part in (weight.amount, weight.amount - weight.follows))
    told = about(own, currency)
    if whole > own:  # apart, and so that what is printed adds up
        told += f" and {about(whole - own, currency)} of tax and fees on it"
    return f"{told}, {percent(weight.share)} of what the goods come to here"


def rules_lead(
    title: str, figures: Sequence[RuleUse], weights: Mapping[str, Weight] = _NO_WEIGHTS, currency: str = ""
) -> str:
    """Say of a consignment how many figures stand behind it, how many of them to look up, and which first."""
    doubted = [figure for figure in figures if figure.doubts]
    if not figures:
        return f"No figure of law, carriers or agents stands behind {title}."
    stand = "stands" if len(figures) == 1 else "stand"
    whose = f"{so_many(len(figures), 'figure')} of law, carriers and agents {stand} behind {title}"
    if not doubted:
        return f"{whose}; none of them needs a second look today."
    first = [
        f"{figure.label} ({told})"
        for figure in to_look_up(figures, weights)[0]
        if (told := hangs_on(figure, weights, currency))
    ]
    begin = f" First, out of date or confirmed by nobody: {listed(first)}." if first else ""
    return (
        f"{whose}. Look up {STRONG}{len(doubted)}{STRONG} of them, or write your own, before you rely "
        f"on them: {listed(_why(doubted))}.{begin}"
    )


def _why(doubted: Sequence[RuleUse]) -> list[str]:
    """Say how many figures are in doubt for what: each counts once, so that the parts add up to all of them."""
    sorts = [next(words for words, is_one in _SORTS if is_one(figure)) for figure in doubted]
    return [f"{sorts.count(words)} {words}" for words, _ in _SORTS if words in sorts]


def dues_rows(plan: Plan, item: Expansion) -> list[list[str]]:
    """Give one row for each duty, levy and tax on goods from abroad, under `DUES`, and the sum of several.

    At the middle figures, as `forecast open` gives each with its working.
    """
    opened = [open_line(plan, name) for name in item.dues]
    rows = [[one.title, one.working, to_the_coin(one.total, plan.currency)] for one in opened]
    if len(rows) > 1:
        total = sum(round(one.total, minor_digits(plan.currency)) for one in opened)  # of what is printed
        rows.append(["Together", "", to_the_coin(total, plan.currency)])
    return rows


def rules_rows(
    figures: Sequence[RuleUse], weights: Mapping[str, Weight] = _NO_WEIGHTS, currency: str = ""
) -> list[list[str]]:
    """Give one row for each figure, under `HEADINGS`."""
    return [
        [
            figure.label, with_note(figure.value, figure), figure.source, _day(figure),
            "; ".join(filter(None, (_how_sure(figure), hangs_on(figure, weights, currency)))),
            figure.key or "set by law, not by you",
        ]
        for figure in figures
    ]  # fmt: skip


def with_note(words: str, figure: RuleUse) -> str:
    """Put what else to know of a figure behind what is said of it."""
    return f"{words.removesuffix('.')}. {figure.note}" if figure.note else words


def in_order(figures: Sequence[RuleUse], weights: Mapping[str, Weight]) -> list[RuleUse]:
    """Give all figures, those to look up first on top."""
    first, then = to_look_up(figures, weights)
    return [*first, *then, *(figure for figure in figures if not figure.doubts)]


def rules_lines(
    figures: Sequence[RuleUse], weights: Mapping[str, Weight] = _NO_WEIGHTS, currency: str = ""
) -> list[str]:
    """Give one line of plain text for each figure, for the terminal."""
    found = []
    for figure, (label, _, source, as_of, sure, _) in zip(
        figures, rules_rows(figures, weights, currency), strict=True
    ):
        told = "; ".join(part for part in (f"{source}, {as_of}" if as_of else source, sure) if part)
        line = with_note(f"{label}: {figure.value} ({told}).", figure)
        found.append(line + (f" To overwrite it: {figure.key}" if figure.key else ""))
    return found


def _day(figure: RuleUse) -> str:
    return short_day(figure.as_of) if figure.as_of else ""


def _how_sure(figure: RuleUse) -> str:
    words = _SURE.get(figure.certainty, "")
    old = next((doubt for doubt in figure.doubts if _is_age(doubt)), "")
    return "; ".join(part for part in (words, old) if part)


def _is_age(doubt: str) -> bool:
    return doubt.startswith(("held until", "is of"))


def _is_old(figure: RuleUse) -> bool:
    return any(map(_is_age, figure.doubts))


_SORTS: tuple[tuple[str, Callable[[RuleUse], bool]], ...] = (
    ("out of date or older than 18 months", _is_old),
    ("without a source", lambda figure: figure.certainty == "no source"),
    ("read in a third party's page only", lambda figure: figure.certainty == "third party"),
    ("of common practice", lambda figure: figure.certainty == "common practice"),
)
"""Why a figure is to be looked up; where several hold, the first of them counts."""

__all__ = [
    "DUES", "FIRST", "HEADINGS", "THEN", "TITLE", "comes_first", "dues_rows", "hangs_on", "in_order", "rules_lead",
    "rules_lines", "rules_rows", "to_look_up", "with_note",
]  # fmt: skip
