"""What the take-off tables have in common: their units, their checks, and where a default comes from."""

from __future__ import annotations

from typing import Annotated

from pydantic import AfterValidator

from forecast.build.figures import (
    FigureBase,
    Known,
    Metalog,
    Normal,
    Part,
    Percentiles,
    Positive,
    Text,
    UncertainFigure,
    highest,
    lowest,
    wrong,
)

_FEW = 4.0
"""Standard deviations beyond which a normal figure is taken not to go: 1 draw in 30,000."""


MOST_PERCENT = 1000.0
"""A percentage on top beyond this is taken for a slip."""

MOST_LOST, LEAST_ARRIVING = 90.0, 1.0
"""Percent. Draws of a range go no further either, or a tail of it would divide by nothing."""


def _lowest(figure: FigureBase) -> float | None:
    """Give the smallest number that a figure names, or that a normal or an open metalog falls to."""
    if isinstance(figure, Normal):
        return figure.mean - _FEW * figure.sd
    if isinstance(figure, Metalog):
        return (
            figure.p10 - 2 * (figure.p90 - figure.p10)
            if figure.lower is None
            else figure.p10
            if figure.lower >= 0
            else figure.lower
        )
    return lowest(figure)


def _highest(figure: FigureBase) -> float | None:
    """Give the largest number that a figure names, or that a normal rises to."""
    return figure.mean + _FEW * figure.sd if isinstance(figure, Normal) else highest(figure)


def _measured(figure: FigureBase) -> FigureBase:
    if figure.currency is not None:
        wrong(f"currency is {figure.currency!r}", "A dimension has no currency: leave it out here.")
    least = _lowest(figure)
    if least is not None and least <= 0:
        mend = "Dimensions and counts must be above zero."
        if isinstance(figure, Normal | Metalog):
            mend += " Write { low = …, middle = …, high = … }: that shape never falls to zero."
        wrong(f"found {least:g}" if isinstance(figure, Known) else f"goes down to {least:g}", mend)
    return figure


def _share(figure: FigureBase) -> FigureBase:
    if figure.currency is not None:
        wrong(f"currency is {figure.currency!r}", "A percentage has no currency: leave it out here.")
    least, most = _lowest(figure), _highest(figure)
    if least is not None and least < 0:
        wrong(f"found {least:g}", "A percentage here must not be below zero.")
    if least is not None and 0 < least < 1 and (most is None or most <= 1):
        wrong(f"found {least:g}", f"This is in percent: write {least * 100:g} for {least:.0%}.")
    if most is not None and most > MOST_PERCENT:
        wrong(f"found {most:g}", f"This is in percent, {MOST_PERCENT:g} at most: 15 means 15 %.")
    return figure


def _lost(figure: FigureBase) -> FigureBase:
    most = _highest(_share(figure))
    if most is not None and most > MOST_LOST:
        wrong(
            f"found {most:g}",
            f"So many percent are lost that nothing is left to use: give {MOST_LOST:g} at most. 5 means 5 %.",
        )
    return figure


def _arriving(figure: FigureBase) -> FigureBase:
    least, most = _lowest(_share(figure)), _highest(figure)
    if least is not None and least < LEAST_ARRIVING:
        wrong(
            f"found {least:g}",
            f"With so little no amount would do: give {LEAST_ARRIVING:g} percent or more. 40 means 40 %.",
        )
    if most is not None and most > 100:
        wrong(f"found {most:g}", "More than everything cannot be: give 100 percent at most.")
    return figure


def _temperature(figure: FigureBase) -> FigureBase:
    if figure.currency is not None:
        wrong(f"currency is {figure.currency!r}", "A temperature has no currency: leave it out here.")
    return figure


Measured = Annotated[UncertainFigure, AfterValidator(_measured)]
"""A length, area, count or factor: above zero, without a currency."""

Share = Annotated[UncertainFigure, AfterValidator(_share)]
"""A percentage on top of something: 15 means 15 %; zero where there is none."""

Lost = Annotated[UncertainFigure, AfterValidator(_lost)]
"""A percentage of something that cannot be used; see `MOST_LOST`."""

Arriving = Annotated[UncertainFigure, AfterValidator(_arriving)]
"""A percentage of something that remains of it, and by which is divided; see `LEAST_ARRIVING`."""

Temperature = Annotated[UncertainFigure, AfterValidator(_temperature)]
"""Degrees Celsius."""


class TakeoffBase(Part):
    """What all take-offs may say.

    Attributes
    ----------
    pack : float or None
        Contents of one pack in the take-off's own unit (kg, L, m, ml or pieces). With it the quantity counts
        packs, and the line's price is per pack; without it the price is per unit.
    sessions : figure or None
        How many sessions of work the material is opened in when a part-used pack does not keep: each session
        then buys whole packs of its own. Once for the whole job where it is left out.
    note : str or None
        The builder's own words.
    """

    pack: Positive | None = None
    sessions: Measured | None = None
    note: Text | None = None


def no_waste_twice(table: TakeoffBase, excluded: tuple[str, ...]) -> None:
    """Refuse a coverage chart together with what it has in it already."""
    doubled = [name for name in excluded if getattr(table, name) is not None]
    if doubled:
        wrong(
            f"coverage together with {', '.join(doubled)}",
            "A coverage chart has losses and waste in it already, so they would count twice: keep coverage "
            f"alone, or leave it out and keep {', '.join(doubled)}.",
        )


def exactly(table: Part, what: str, needed: tuple[str, ...], among: tuple[str, ...]) -> None:
    """Ask for exactly the dimensions that a shape has."""
    given = {name for name in among if getattr(table, name) is not None}
    missing = [name for name in needed if name not in given]
    odd = sorted(given - set(needed))
    if missing or odd:
        found = " and ".join(
            part
            for part in (
                f"{', '.join(missing)} missing" if missing else "",
                f"{', '.join(odd)} too many" if odd else "",
            )
            if part
        )
        wrong(found, f"Give {', '.join(needed)} for {what}, and no other dimension.")


class Assumption(Part):
    """A figure taken where the builder gives none, and where it comes from."""

    figure: Percentiles | Known
    source: Text
