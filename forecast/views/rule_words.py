"""Where the figures of tax and customs come from, in words that the terminal and the dashboard share."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from forecast.trade.expansion import RuleUse
from forecast.words.text import STRONG

TITLE = "Where the figures of tax and customs come from"
HEADINGS = ("Figure", "Value", "Source", "As of", "How sure", "To overwrite it, write")

_SURE: Mapping[str, str] = {
    "verified": "read in the authority's own text",
    "third party": "read in a third party's page only",
    "no source": "look it up",
    "common practice": "ask for a quotation",
}
_SORTS = (
    ("without a source", "no source"), ("read in a third party's page only", "third party"),
    ("of common practice", "common practice"),
)  # fmt: skip


def rules_lead(title: str, figures: Sequence[RuleUse]) -> str:
    """Say of a consignment how many figures stand behind it, and how many of them to look up."""
    doubted = [figure for figure in figures if figure.doubts]
    whose = f"{_some(len(figures), 'figure')} of law, carriers and agents {_are(len(figures))} behind {title}"
    if not doubted:
        return f"{whose}; none of them needs a second look today."
    counts = [(words, sum(figure.certainty == mark for figure in doubted)) for words, mark in _SORTS]
    old = sum(_is_old(figure) for figure in doubted)
    parts = [f"{count} {words}" for words, count in counts if count]
    if old:
        parts.append(f"{old} out of date or older than 18 months")
    return (
        f"{whose}. Look up {STRONG}{len(doubted)}{STRONG} of them, or write your own, before you rely "
        f"on them: {_listed(parts)}."
    )


def rules_rows(figures: Sequence[RuleUse]) -> list[list[str]]:
    """Give one row for each figure, under `HEADINGS`."""
    return [
        [
            figure.label, with_note(figure.value, figure), figure.source, _day(figure),
            _how_sure(figure), figure.key or "set by law, not by you",
        ]
        for figure in figures
    ]  # fmt: skip


def with_note(words: str, figure: RuleUse) -> str:
    """Put what else to know of a figure behind what is said of it."""
    return f"{words.removesuffix('.')}. {figure.note}" if figure.note else words


def rules_lines(figures: Sequence[RuleUse]) -> list[str]:
    """Give one line of plain text for each figure, for the terminal."""
    found = []
    for figure, (label, _, source, as_of, sure, _) in zip(figures, rules_rows(figures), strict=True):
        as_of = as_of.replace("\N{NON-BREAKING HYPHEN}", "-")
        told = "; ".join(part for part in (f"{source}, {as_of}" if as_of else source, sure) if part)
        line = with_note(f"{label}: {figure.value} ({told}).", figure)
        found.append(line + (f" To overwrite it: {figure.key}" if figure.key else ""))
    return found


def _day(figure: RuleUse) -> str:
    """Write the day with hyphens at which no line breaks."""
    return figure.as_of.isoformat().replace("-", "\N{NON-BREAKING HYPHEN}") if figure.as_of else ""


def _how_sure(figure: RuleUse) -> str:
    words = _SURE.get(figure.certainty, "")
    old = next((doubt for doubt in figure.doubts if _is_age(doubt)), "")
    return "; ".join(part for part in (words, old) if part)


def _is_age(doubt: str) -> bool:
    return doubt.startswith(("held until", "is of"))


def _is_old(figure: RuleUse) -> bool:
    return any(map(_is_age, figure.doubts))


def _listed(parts: Sequence[str]) -> str:
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"


def _some(count: int, noun: str) -> str:
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"


def _are(count: int) -> str:
    return "stands" if count == 1 else "stand"


__all__ = ["HEADINGS", "TITLE", "rules_lead", "rules_lines", "rules_rows", "with_note"]
