"""What a build may have left out, and what looks like a slip in it, the results of its take-offs among it."""

from __future__ import annotations

from collections.abc import Collection

from forecast.buildfile.schema import Build
from forecast.figures.evaluate import at_middle
from forecast.missing.completeness import findings as findings_beside
from forecast.missing.completeness_rules import Finding
from forecast.missing.odd_takeoffs import odd_takeoffs


def findings(build: Build, begun: Collection[str] = ()) -> tuple[Finding, ...]:
    """Give what a build may have left out or holds that is odd, as `forecast.missing.completeness.findings` orders it.

    Parameters
    ----------
    build : Build
    begun : collection of str
        Lines and events that are bought, agreed or closed: how wide their figures were is no question any more.
    """
    found = findings_beside(build, lambda one: odd_takeoffs(one, at_middle))
    return tuple(item for item in found if not (item.narrow and item.line in begun))


__all__ = ["Finding", "findings"]
