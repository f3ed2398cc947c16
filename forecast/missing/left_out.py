"""What has been left out: a build compared with what such a build needs.

Every finding says what is missing, why it matters, what it usually costs and what adds it. One that does not apply
is answered in the file and stays answered::

    [not_needed]
    tyres = "the seller sends the wheels with tyres"
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator
from typing import Any

from forecast.buildfile.kept import Kept
from forecast.buildfile.library.starters import rounded
from forecast.buildfile.schema import Build, Costed, Line
from forecast.buildfile.toml import toml_value
from forecast.figures.evaluate import at_middle
from forecast.figures.figure import FigureBase, range_written
from forecast.figures.kinds import Known, Percentiles, Span
from forecast.missing.build_facts import Facts
from forecast.missing.goods_abroad import of_consignments, percentages, storage
from forecast.missing.odd import odd, odd_takeoffs
from forecast.missing.rules import GRADES, Finding, load_rules, usual_cost
from forecast.missing.usual import of_options, of_usual, of_ways

NOTHING_MISSING = "Nothing that such builds usually have is missing."
"""What is said where there is nothing to ask for."""

WORST_OF_TIME, WORST_OF_MONEY = 1.64, 1.14
"""How far the high must lie above the middle. Student theses took 55.5 days where 33.9 were predicted and 48.6 was
the worst case: ×1.64 of the prediction, and ×1.14 of the worst case (Buehler, Griffin & Ross 1994, as given by
secondary pages). Money is held to the lesser figure (our choice)."""

_THESES = (
    "Published: 55.5 days where 33.9 were predicted and 48.6 were the worst case (Buehler and others 1994)."
)


def findings(build: Build, begun: Collection[str] = ()) -> tuple[Finding, ...]:
    """Give what a build may have left out or holds that is odd, the gravest and then the dearest first.

    What the file answers is left out.

    Parameters
    ----------
    build : Build
    begun : collection of str
        Lines and events that are bought, agreed or closed: how wide their figures were is no question any more, nor
        for how long goods are stored.

    Returns
    -------
    tuple of Finding
        A rule about one line is answered by its own key, such as ``no_width-kit``, or for all lines by ``no_width``.
    """
    found = _KEPT.get(build, "findings", lambda: _findings(build))
    return tuple(item for item in found if not (item.over_once_begun and item.line in begun))


_KEPT: Kept[tuple[Finding, ...]] = Kept()


def _findings(build: Build) -> tuple[Finding, ...]:
    found = _lacking(build)
    found += of_options(build, {item.rule for item in found}, _lacking)
    answered = set(build.not_needed)
    left = [
        item for item in found if item.rule not in answered and item.rule.partition("-")[0] not in answered
    ]
    code = build.build.currency
    return tuple(sorted(left, key=lambda item: (GRADES.index(item.grade), -item.worth(code))))


def _lacking(build: Build) -> list[Finding]:
    """Give what a build lacks, its options aside."""
    facts = Facts(build)
    absent, slips = [*_absent(facts)], [*odd(facts)]
    asked = {item.line for item in slips}  # a dimension that is asked about explains what comes of it
    return [
        *slips, *(item for item in odd_takeoffs(build, at_middle) if item.line not in asked), *absent,
        *of_usual(facts, {item.starter for item in absent if item.starter}),
        *of_ways(facts), *of_consignments(facts), *storage(facts), *percentages(facts), *_widths(facts),
    ]  # fmt: skip


def _absent(facts: Facts) -> Iterator[Finding]:
    for need in load_rules():
        if need.is_called_for(facts) and not need.is_there(facts):
            usual = usual_cost(facts.build, need.starter, need.also)
            yield Finding(
                need.rule,
                need.grade,
                need.missing,
                need.why,
                usual.cost,
                usual.unit,
                usual.source,
                need.starter,
                chance=usual.chance,
            )


def _widths(facts: Facts) -> Iterator[Finding]:
    for item in (*facts.build.line, *facts.build.event):
        yield from _no_width(item)
        yield from _near_worst(item)


def _money_figures(item: Costed) -> list[tuple[str, FigureBase]]:
    named = [(key, getattr(item, key, None)) for key in ("amount", "price", "cost")]
    return [(key, figure) for key, figure in named if isinstance(figure, FigureBase)]


def _place(item: Costed) -> str:
    return f'[[{"line" if isinstance(item, Line) else "event"}]] with id = "{item.id}"'


def _example(key: str, figure: FigureBase, low: float, middle: float, high: float) -> str:
    """Give a range as it may be written, the figure's currency, unit and causes kept."""
    besides = figure.said_besides()
    kept: dict[str, Any] = {name: besides[name] for name in ("currency", "unit", "causes") if name in besides}
    low, middle, high = (float(f"{number:.6g}") for number in (low, middle, high))
    return f"{key} = {toml_value(range_written(low, middle, high, kept))}"


def _no_width(item: Costed) -> Iterator[Finding]:
    """Find estimates written as one number; what a supplier quoted, the state sets or counts is let be."""
    if getattr(item, "supplier", None) or getattr(item, "group", "") == "import":
        return
    for key, figure in _money_figures(item):
        spread = getattr(item, "quantity", None)
        if key == "price" and not isinstance(spread, Known):
            continue  # the quantity carries the width
        if isinstance(figure, Known) and figure.value != 0 and figure.estimated:
            middle = figure.value
        elif isinstance(figure, Percentiles) and figure.low == figure.high:
            middle = figure.middle
        else:
            continue
        if middle < 0 and key != "amount":
            continue  # a range has to be above zero
        size = abs(middle)
        example = _example(
            key if middle > 0 else "price", figure, rounded(size * 0.8), size, rounded(size * 1.6)
        )
        if middle < 0:
            example = f"quantity = -1 and {example} in place of amount"
        supplier = ', or add supplier = "…" if it was quoted' if isinstance(item, Line) else ""
        yield Finding(
            f"no_width-{item.id}", "consider", f"{item.title}: {key} is one number",
            "An estimate without a range counts as certain. Give low, middle and high; or a supplier, if it was "
            "quoted; or answer that it is paid already.",
            line=item.id,
            mend=f"In {_place(item)} write your own range, such as {example}{supplier}.",
            sheet="" if middle < 0 else f"In the sheet above write your own low, middle and high, such as "
            f"{rounded(size * 0.8):,.6g}, {size:,.6g} and {rounded(size * 1.6):,.6g}.",
        )  # fmt: skip


def _near_worst(item: Costed) -> Iterator[Finding]:
    own = getattr(item, "own_hours", None)
    named = _money_figures(item) + ([("own_hours", own)] if own is not None else [])
    for key, figure in named:
        limit = WORST_OF_TIME if key == "own_hours" else WORST_OF_MONEY
        if getattr(item, "supplier", None) and key != "own_hours":
            continue
        if isinstance(figure, Percentiles) and figure.low < figure.middle:
            low, middle, high = figure.low, figure.middle, figure.high
        elif isinstance(figure, Span):
            low, middle, high = figure.low, (figure.low * figure.high) ** 0.5, figure.high
        else:
            continue
        if middle <= 0:
            continue
        ratio = high / middle
        if ratio < limit:
            example = _example(key, figure, low, middle, _upwards(middle * limit))
            yield Finding(
                f"near_worst-{item.id}", "consider", f"{item.title}: high of {key} is only {ratio:.2f} × the middle",
                f"Own guesses of the worst are usually too near. {_THESES} A high of {limit:g} × the middle or more is "
                "safer.",
                line=item.id,
                mend=f"In {_place(item)} raise high of {key}, such as {example}.",
                sheet=f"In the sheet above raise the high, such as to {_upwards(middle * limit):,.6g}.",
            )  # fmt: skip
            return


def _upwards(value: float) -> float:
    """Round up to three digits, so that an example is never under the limit."""
    step = 10.0 ** (math.floor(math.log10(value)) - 2)
    return float(f"{math.ceil(value / step - 1e-9) * step:.6g}")


__all__ = ["GRADES", "Finding", "findings"]
