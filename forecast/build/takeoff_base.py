"""What the take-off tables have in common: their units, their checks, and where a default comes from."""

from __future__ import annotations

from typing import Annotated

from pydantic import AfterValidator

from forecast.build.figures import (
    FigureBase,
    Known,
    Part,
    Percentiles,
    Positive,
    Text,
    UncertainFigure,
    wrong,
)


def _lowest(figure: FigureBase) -> float | None:
    """Give the smallest number that a figure names, where it names any."""
    for key in ("value", "low", "min", "p10", "median", "mean"):
        if hasattr(figure, key):
            return float(getattr(figure, key))
    for key in ("values", "quotes"):
        if hasattr(figure, key):
            return float(min(getattr(figure, key)))
    return None


def _measured(figure: FigureBase) -> FigureBase:
    if figure.currency is not None:
        wrong(f"currency is {figure.currency!r}", "A dimension has no currency: leave it out here.")
    lowest = _lowest(figure)
    if lowest is not None and lowest <= 0:
        wrong(f"found {lowest:g}", "Dimensions and counts must be above zero.")
    return figure


def _share(figure: FigureBase) -> FigureBase:
    if figure.currency is not None:
        wrong(f"currency is {figure.currency!r}", "A percentage has no currency: leave it out here.")
    lowest = _lowest(figure)
    if lowest is not None and lowest < 0:
        wrong(f"found {lowest:g}", "A percentage here must not be below zero.")
    if lowest is not None and 0 < lowest < 1:
        wrong(f"found {lowest:g}", f"This is in percent: write {lowest * 100:g} for {lowest:.0%}.")
    return figure


def _temperature(figure: FigureBase) -> FigureBase:
    if figure.currency is not None:
        wrong(f"currency is {figure.currency!r}", "A temperature has no currency: leave it out here.")
    return figure


Measured = Annotated[UncertainFigure, AfterValidator(_measured)]
"""A length, area, count or factor: above zero, without a currency."""

Share = Annotated[UncertainFigure, AfterValidator(_share)]
"""A percentage: 15 means 15 %; zero where there is none."""

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
