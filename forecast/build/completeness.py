"""What has been left out: a build compared with what such a build needs.

Every finding says what is missing, why it matters, what it usually costs and what adds it. One that does not apply
is answered in the file and stays answered::

    [not_needed]
    tyres = "the seller sends the wheels with tyres"
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from forecast.build.cautions import mentions
from forecast.build.checks import dependencies
from forecast.build.completeness_rules import Grade, load_rules
from forecast.build.facts import FREIGHT_OUT_OF_DUTY, FREIGHT_OUT_OF_TAX, Facts, text_of
from forecast.build.figures import FigureBase, Known, Percentiles, Span
from forecast.build.library import PRACTICE, Library, Range, load_library
from forecast.build.schema import Build, Costed, Line

GRADES: tuple[Grade, ...] = ("must", "usual", "consider")

WORST_OF_TIME, WORST_OF_MONEY = 1.64, 1.14
"""How far the high must lie above the middle. Student theses took 55.5 days where 33.9 were predicted and 48.6 was
the worst case: ×1.64 of the prediction, and ×1.14 of the worst case (Buehler, Griffin & Ross 1994, as given by
secondary pages). Money is held to the lesser figure (our choice)."""

_THESES = (
    "Published: 55.5 days where 33.9 were predicted and 48.6 were the worst case (Buehler and others 1994)."
)


@dataclass(frozen=True)
class Finding:
    """One thing that may have been left out.

    Attributes
    ----------
    rule : str
        Key under ``[not_needed]`` that answers it.
    grade : str
        must, usual or consider.
    missing, why : str
        What is missing, and why that matters.
    cost : tuple of float or None
        What it usually costs, low, middle and high: money in ``unit``, or percent.
    unit : str
        Currency code, or percent.
    source : str
        Where the cost comes from.
    starter : str or None
        Starter line or event that adds it.
    line : str or None
        The line of the build that it is about.
    """

    rule: str
    grade: Grade
    missing: str
    why: str
    cost: Range | None = None
    unit: str = ""
    source: str = ""
    starter: str | None = None
    line: str | None = None

    def __str__(self) -> str:
        text = f"{self.missing}. {self.why}"
        if self.cost is not None:
            low, middle, high = (f"{number:,.6g}" for number in self.cost)
            text += f" Usually {low} to {high} {self.unit}, middle {middle}. {self.source}"
        return text.strip()


def findings(build: Build) -> tuple[Finding, ...]:
    """Give what a build may have left out, the gravest first, without what the file answers as not needed.

    Parameters
    ----------
    build : Build

    Returns
    -------
    tuple of Finding
        A rule about one line is answered by its own key, such as ``no_width-kit``, or for all lines by ``no_width``.
    """
    facts = Facts(build)
    found = [*_absent(facts), *_storage(facts), *_percentages(facts), *_widths(facts)]
    answered = set(build.not_needed)
    left = [
        item for item in found if item.rule not in answered and item.rule.partition("-")[0] not in answered
    ]
    return tuple(sorted(left, key=lambda item: GRADES.index(item.grade)))


def _absent(facts: Facts) -> Iterator[Finding]:
    library = load_library(currency=facts.build.build.currency)
    for need in load_rules():
        if need.is_called_for(facts) and not need.is_there(facts):
            cost, unit = _usual_cost(library, need.starter, facts.build.build.currency)
            yield Finding(
                need.rule,
                need.grade,
                need.missing,
                need.why,
                cost,
                unit,
                PRACTICE if cost else "",
                need.starter,
            )


def _usual_cost(library: Library, starter: str, currency: str) -> tuple[Range | None, str]:
    for line in library.lines:
        if line.id == starter:
            percent = f"percent of {', '.join(line.of)}".replace("_", " ")
            return line.range, percent if line.scale == "percent" else currency
    event = library.event(starter)
    if event.cost is not None:
        return event.cost, f"{currency} when it happens"
    return event.percent, "percent when it happens"


def _storage(facts: Facts) -> Iterator[Finding]:
    why = (
        "Depots grant some free days and charge by the day after them; how many, and how soon the goods are fetched, "
        "decides whether storage costs nothing or more than the freight. 3 to 7 free days are usual (common practice)."
    )
    for line in facts.lines(("storage", "demurrage", "quay rent", "detention"), ("import", "freight")):
        if mentions(f"{text_of(line)} {line.note or ''}", ("free", "broker", "arrival")):
            continue
        yield Finding(
            f"free_days-{line.id}", "usual", f"Free days of {line.title}", why, line=line.id,
            source="Say the free days in the line's name or note, or use a [[consignment]].",
        )  # fmt: skip
    for consignment in facts.build.consignment:
        storage = consignment.storage
        if storage.steps and storage.free_days is None:
            yield Finding(
                f"free_days-{consignment.id}", "usual", f"Free days of {consignment.title}'s storage", why,
                line=consignment.id, source="Add free_days = … under storage; the usual is taken until then.",
            )  # fmt: skip


def _percentages(facts: Facts) -> Iterator[Finding]:
    """Find duty, tax and insurance percentages whose base leaves out a part of the consignment."""
    build = facts.build
    bases = dependencies(build)
    kit = [line for line in build.line if line.group == "kit"]
    freight = [
        line
        for line in build.line
        if line.group == "freight"
        and not mentions(text_of(line), ("delivery", "collection", "insurance", "arrival"))
    ]
    country = build.build.country
    for line in build.line:
        if line.percent is None or line.group not in ("import", "freight"):
            continue
        base = set(bases[line.id])
        wanted: list[Line] = []
        if line in facts.duty:
            wanted = kit + (freight if country not in FREIGHT_OUT_OF_DUTY else [])
        elif line in facts.import_tax:
            wanted = kit + list(facts.duty) + (freight if country not in FREIGHT_OUT_OF_TAX else [])
        elif base & {item.id for item in kit}:
            wanted = kit
        missed = [item.title for item in wanted if item.id not in base and item.id != line.id]
        missed += [
            item.title
            for item in build.consignment
            if item.id not in line.of and not {"kit", "freight", "import"} & set(line.of)
            and not any(name.startswith(f"{item.id}.") for name in line.of)
        ]  # fmt: skip
        if missed:
            yield Finding(
                f"percent_misses-{line.id}", "usual", f"{line.title} is not taken of {', '.join(missed)}",
                "A percentage of a consignment follows all of its parts: name the group, or the lines, in of = […].",
                line=line.id,
            )  # fmt: skip


def _widths(facts: Facts) -> Iterator[Finding]:
    for item in (*facts.build.line, *facts.build.event):
        yield from _no_width(item)
        yield from _near_worst(item)


def _money_figures(item: Costed) -> list[tuple[str, FigureBase]]:
    named = [(key, getattr(item, key, None)) for key in ("amount", "price", "cost")]
    return [(key, figure) for key, figure in named if isinstance(figure, FigureBase)]


def _no_width(item: Costed) -> Iterator[Finding]:
    """Find estimates written as one number; what a supplier quoted, the state sets or counts is let be."""
    if getattr(item, "supplier", None) or getattr(item, "group", "") == "import":
        return
    for key, figure in _money_figures(item):
        spread = getattr(item, "quantity", None)
        if key == "price" and not isinstance(spread, Known):
            continue  # the quantity carries the width
        flat = isinstance(figure, Known) and figure.value != 0 and figure.estimated
        flat = flat or (isinstance(figure, Percentiles) and figure.low == figure.high)
        if flat:
            yield Finding(
                f"no_width-{item.id}", "consider", f"{item.title}: {key} is one number",
                "An estimate without a range counts as certain. Give low, middle and high; or a supplier, if it was "
                "quoted; or answer that it is paid already.",
                line=item.id,
            )  # fmt: skip


def _near_worst(item: Costed) -> Iterator[Finding]:
    own = getattr(item, "own_hours", None)
    named = _money_figures(item) + ([("own_hours", own)] if own is not None else [])
    for key, figure in named:
        limit = WORST_OF_TIME if key == "own_hours" else WORST_OF_MONEY
        if getattr(item, "supplier", None) and key != "own_hours":
            continue
        if isinstance(figure, Percentiles) and figure.low < figure.middle:
            ratio = figure.high / figure.middle
        elif isinstance(figure, Span):
            ratio = (figure.high / figure.low) ** 0.5
        else:
            continue
        if ratio < limit:
            yield Finding(
                f"near_worst-{item.id}", "consider", f"{item.title}: high of {key} is only {ratio:.2f} × the middle",
                f"Own guesses of the worst are usually too near. {_THESES} A high of {limit:g} × the middle or more is "
                "safer.",
                line=item.id,
            )  # fmt: skip
            return


__all__ = ["GRADES", "Finding", "findings"]
