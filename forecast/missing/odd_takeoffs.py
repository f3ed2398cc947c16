"""What take-offs come to that no car takes: asked about, line by line, at the middle of their figures."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from forecast.buildfile.schema import Build, Line
from forecast.buildfile.takeoff import AnyTakeoff
from forecast.errors import RuleError
from forecast.missing.completeness_rules import Finding
from forecast.trade.takeoff import AtMiddle, TakeoffExpansion, expand_takeoff

MOST: Mapping[tuple[str, str], float] = {
    ("laminate", "glass"): 60, ("laminate", "resin"): 120, ("laminate", "catalyst"): 2500,
    ("laminate", "hardener"): 40, ("laminate", "cleaner"): 60,
    ("gelcoat", "gelcoat"): 40, ("gelcoat", "catalyst"): 800,
    ("filler", "filler"): 25, ("filler", "hardener"): 800,
    ("sealant", "cartridges"): 60, ("adhesive", "cartridges"): 60, ("adhesive", "nozzles"): 120,
    ("paint", ""): 60, ("film", ""): 80, ("abrasives", ""): 2000,
    ("masking", "tape"): 2000, ("masking", "sheet"): 500,
    ("fasteners", "fasteners"): 2000, ("fasteners", "washers"): 4000, ("fasteners", "drill-bits"): 100,
    ("wheel-bolts", ""): 50,
}  # fmt: skip
"""The most that one line buys for one car, by kind and by what is bought, in what the take-off counts before it fills
packs (our choice: several times what a full kit and a respray take; a wrap of a long van has 40 m)."""


def odd_takeoffs(build: Build, at_middle: AtMiddle) -> Iterator[Finding]:
    """Find take-offs whose middle is more than any car takes.

    Parameters
    ----------
    build : Build
    at_middle : callable
        See `AtMiddle`.
    """
    surfaces = {surface.id: surface for surface in build.surface}
    for item in build.line:
        if item.takeoff is None:
            continue
        plain = item.takeoff.model_copy(update={"pack": None, "sessions": None})
        try:
            taken = expand_takeoff(item.id, plain, at_middle, surfaces)
        except RuleError:
            continue  # said where the build is read
        yield from _too_much(item, plain, taken, at_middle(taken.formula, taken.inputs))


def _too_much(item: Line, table: AnyTakeoff, taken: TakeoffExpansion, middle: float) -> Iterator[Finding]:
    most = MOST[table.kind, getattr(table, "buy", "")]
    if middle <= most:
        return
    yield Finding(
        f"odd_result-{item.id}", "odd", f"{item.title}: {middle:,.4g} {taken.unit} by its take-off",
        f"One car takes at most {most:g}. A dimension may be a slip: {taken.working}.",
        line=item.id,
        mend=f"Look at the take-off of {item.id!r}: lengths are in m, widths and depths in mm where no unit is "
        "written.",
        sheet="Look at its rows in the sheet above: lengths are in m, widths and depths in mm.",
    )  # fmt: skip


__all__ = ["MOST", "odd_takeoffs"]
