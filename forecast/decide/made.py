"""Choices that are made: work that is done and paid is no choice any more, and nobody does it a second time."""

from __future__ import annotations

from forecast.buildfile.oneself import OWN_ROUTE
from forecast.buildfile.schema import Build
from forecast.watching.estimates import middle_figures
from forecast.watching.known_facts import Knowledge
from forecast.watching.standing import Standing

MADE_FROM = 0.5
"""Share of what a route of a work package was to cost, at middle figures, that is closed and paid once it is taken."""


def routes_made(build: Build, known: Knowledge) -> dict[str, str]:
    """Give the work packages that somebody was paid to do, for the most part and closed, and by which route.

    What is bought for doing work oneself makes no choice: tools and resin are there, and a shop may do it still.

    Parameters
    ----------
    build : Build
    known : Standing, KnownFacts or None
        Only a ledger as it stands says what is closed.
    """
    if not isinstance(known, Standing) or not known.closed:
        return {}
    middles: dict[str, float] = {}
    for way in build.scenario:
        middles |= middle_figures(build, way)
    whole: dict[tuple[str, str], float] = {}
    over: dict[tuple[str, str], float] = {}
    for line in build.line:
        if line.package is None or line.route in (None, OWN_ROUTE) or middles.get(line.id, 0.0) <= 0:
            continue
        key = line.package, line.route
        whole[key] = whole.get(key, 0.0) + middles[line.id]
        if line.id in known.closed and known.paid.get(line.id, 0) > 0:
            over[key] = over.get(key, 0.0) + middles[line.id]
    made: dict[str, str] = {}
    for (package, route), sum_ in sorted(over.items(), key=lambda item: item[1]):
        if sum_ >= MADE_FROM * whole[package, route]:
            made[package] = route  # of two that are paid the dearer
    return made


def ways_left(build: Build, known: Knowledge) -> tuple[str, ...]:
    """Give the ways of doing the build that do no work again that is done; all of them where each would."""
    made = routes_made(build, known)
    left = tuple(
        way
        for way, told in build.scenario.items()
        if all(told.route(package) == route for package, route in made.items())
    )
    return left or tuple(build.scenario)


__all__ = ["MADE_FROM", "routes_made", "ways_left"]
