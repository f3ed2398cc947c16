"""What a search for the best mix finds: mixes, those that no other beats, and what each choice saves and risks."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from forecast.buildfile.oneself import OWN_ROUTE, OwnHazard
from forecast.engine.statistics import Estimate

SOME_HOURS = 0.5
"""Own hours from which a difference in them is told."""


def package_words(id: str) -> str:
    """Write the id of a work package, or of what options are about, as words."""
    return id.replace("_", " ").replace("-", " ")


@dataclass(frozen=True)
class Mix:
    """One mix.

    Attributes
    ----------
    routes : dict
        Route by work package.
    options : dict
        Option by choice, of the choices whose options count with these routes and are not settled yet.
    mean, p50, p80, p90 : float
        Money.
    hours, hours_p80 : float
        Own hours at P50 and at P80.
    weeks : float or None
        Weeks at P80, own work and then waiting; None where the build does not say how many hours a week has.
    errors : tuple of float, or None
        Simulation errors of its P50 and P80; None for mixes that are named nowhere, for they take five times as long
        as the percentiles themselves.
    """

    routes: Mapping[str, str]
    options: Mapping[str, str]
    mean: float
    p50: float
    p80: float
    p90: float
    hours: float
    hours_p80: float
    weeks: float | None
    errors: tuple[float, float] | None = field(default=None, compare=False)

    @property
    def farmed_out(self) -> tuple[str, ...]:
        """Work packages that are not done by oneself, in words, each with its route where that is not the shop."""
        return tuple(
            package_words(package)
            if route == "shop"
            else f"{package_words(package)} ({package_words(route)})"
            for package, route in self.routes.items()
            if route != OWN_ROUTE
        )


@dataclass(frozen=True)
class MixReason:
    """What one choice of a mix saves and risks, against its best alternative with everything else unchanged.

    Attributes
    ----------
    choice : str
        The work package, or what the options are about.
    taken, instead : str
        Route or option.
    mean, p80, p90 : Estimate
        What taking it saves; negative where it costs more.
    hours : float
        Mean own hours that it takes more.
    titles : mapping
        Of options, by id.
    """

    choice: str
    taken: str
    instead: str
    mean: Estimate
    p80: Estimate
    p90: Estimate
    hours: float
    titles: Mapping[str, str] = field(default_factory=dict)

    @property
    def per_own_hour(self) -> float | None:
        """What each own hour that it takes more saves, of the means; None where none is saved or none is taken."""
        return self.mean.value / self.hours if self.hours >= SOME_HOURS and self.mean.value > 0 else None


@dataclass(frozen=True)
class Mixes:
    """Every mix, the frontier, and the best one within limits.

    Attributes
    ----------
    currency : str
        Of all sums.
    mixes : tuple of Mix
        In the order of the file.
    frontier : tuple of Mix
        Those to which no other is at least as good in P80, own hours and weeks, and better in one; cheapest first.
    best : Mix or None
        The lowest P80 within the money, hours and weeks given, of those that have all lines with a price agreed where
        any of them is within; None where no mix is within all.
    best_p80 : Estimate or None
        Its P80, with the simulation error.
    cheapest, least_work : Mix
        The lowest P80 of all, and the fewest own hours.
    soonest : Mix or None
        The fewest weeks; None where the build does not say how many hours a week has.
    reasons : tuple of MixReason
        For each choice of the best mix, or of the cheapest where none is within the limits.
    money, hours, weeks : float or None
        The limits.
    errors : tuple of float
        Simulation errors of P50 and P80 of the best, or of the cheapest where none is within the limits.
    titles : mapping
        Of options, by id.
    hazards : tuple of OwnHazard
        What the best mix, or the cheapest where none is within the limits, has one do oneself though it may hurt.
    spared : Mix or None
        The best mix with the packages of these hazards farmed out, as far as the build has another way for them: the
        lowest P80 within the limits, with what is agreed kept where that can be, or of all where none is within; None
        where nothing can be farmed out.
    yours : Mix or None
        The cheapest with the routes of the way in force; None where no mix has them.
    leaves : tuple of str
        Lines with a price agreed that `leaving` does not have; else the best mix, or the cheapest where none is within
        the limits.
    keeping : Mix or None
        The cheapest of those that have all lines with a price agreed, where the best, or the cheapest, has not: none of
        them is within the limits then. Else None.
    leaving : Mix or None
        The one within the limits that costs less than the best, as it leaves a price agreed; None where there is none.
    """

    currency: str
    mixes: tuple[Mix, ...]
    frontier: tuple[Mix, ...]
    best: Mix | None
    best_p80: Estimate | None
    cheapest: Mix
    least_work: Mix
    soonest: Mix | None
    reasons: tuple[MixReason, ...]
    money: float | None = None
    hours: float | None = None
    weeks: float | None = None
    errors: tuple[float, float] = (0.0, 0.0)
    titles: Mapping[str, str] = field(default_factory=dict)
    hazards: tuple[OwnHazard, ...] = ()
    spared: Mix | None = None
    yours: Mix | None = None
    leaves: tuple[str, ...] = ()
    keeping: Mix | None = None
    leaving: Mix | None = None

    def fits(self, item: Mix) -> bool:
        """Tell whether a mix is within the limits."""
        limits = ((self.money, item.p80), (self.hours, item.hours_p80), (self.weeks, item.weeks))
        return all(limit is None or (value is not None and value <= limit) for limit, value in limits)

    def p50_of(self, item: Mix) -> Estimate:
        """Give the P50 of a mix with its own simulation error, as every other answer rounds it."""
        return Estimate(item.p50, (item.errors or self.errors)[0])

    def p80_of(self, item: Mix) -> Estimate:
        """Give its P80; the error of a dot among many in a picture is that of the best one, which is much the same."""
        return Estimate(item.p80, (item.errors or self.errors)[1])

    def with_errors(self, errors: Callable[[Mix], tuple[float, float]]) -> Mixes:
        """Give the same with the simulation errors of the mixes that are named or listed."""
        known: list[Mix] = []

        def own(item: Mix) -> Mix:
            if item not in known:
                known.append(replace(item, errors=errors(item)))
            return known[known.index(item)]

        def own_or_none(item: Mix | None) -> Mix | None:
            return None if item is None else own(item)

        listed = self.listed()
        return replace(
            self,
            frontier=tuple(own(item) if item in listed else item for item in self.frontier),
            best=own_or_none(self.best),
            cheapest=own(self.cheapest),
            least_work=own(self.least_work),
            soonest=own_or_none(self.soonest),
            spared=own_or_none(self.spared),
            yours=own_or_none(self.yours),
            keeping=own_or_none(self.keeping),
            leaving=own_or_none(self.leaving),
        )

    def some_of_frontier(self, most: int = 12) -> tuple[Mix, ...]:
        """Pick from a long frontier: the ends, the best, and some evenly between."""
        if len(self.frontier) <= most:
            return self.frontier
        places = {round(step * (len(self.frontier) - 1) / (most - 1)) for step in range(most)}
        return tuple(item for place, item in enumerate(self.frontier) if place in places or item == self.best)

    def listed(self) -> tuple[Mix, ...]:
        """Give some of the frontier, and among them the way in force, beaten or not; by P80."""
        shown = self.some_of_frontier()
        yours = () if self.yours is None or self.yours in shown else (self.yours,)
        return tuple(sorted((*shown, *yours), key=lambda item: item.p80))


def unbeaten(order: Sequence[Mix]) -> tuple[Mix, ...]:
    """Keep the mixes to which no other is at least as good in P80, own hours and weeks, and better in one.

    Parameters
    ----------
    order : sequence of Mix
        By P80, then own hours, then weeks: what beats a mix then stands before it. Of equals the first is kept.
    """
    kept: list[Mix] = []
    best = np.empty((2, len(order)))  # own hours and weeks of those kept so far, all of them no dearer
    for item in order:
        hours, weeks = item.hours_p80, item.weeks or 0.0
        beaten = (best[0, : len(kept)] <= hours) & (best[1, : len(kept)] <= weeks)
        if not beaten.any():
            best[:, len(kept)] = hours, weeks
            kept.append(item)
    return tuple(kept)


def soonest(mixes: Sequence[Mix]) -> Mix | None:
    """Give the mix of the fewest weeks, of those the cheapest at P80; None where weeks are not known."""
    timed = [(item.weeks, item.p80, place) for place, item in enumerate(mixes) if item.weeks is not None]
    return mixes[min(timed)[2]] if timed else None
