"""What a build may have left out, and what looks like a slip in it, the results of its take-offs among it."""

from __future__ import annotations

from forecast.build.completeness import findings as findings_beside
from forecast.build.completeness_rules import Finding
from forecast.build.schema import Build
from forecast.engine.evaluate import at_middle
from forecast.trade.takeoff.odd import odd_takeoffs


def findings(build: Build) -> tuple[Finding, ...]:
    """Give what a build may have left out or holds that is odd, as `forecast.build.completeness.findings` orders it.

    Parameters
    ----------
    build : Build
    """
    return findings_beside(build, lambda one: odd_takeoffs(one, at_middle))


__all__ = ["Finding", "findings"]
