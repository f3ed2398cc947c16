"""What a search for the best mix finds: mixes, those that no other beats, and what each choice saves and risks."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from forecast.buildfile.oneself import OWN_ROUTE, OwnHazard, own_hazards_sentence
from forecast.engine.statistics import Estimate
from forecast.words.chances import rounded_hours
from forecast.words.money import Money, rounded

_SOME_HOURS = 0.5
_BY = {"shop": "a shop"}
_WAYS = {OWN_ROUTE: "doing it yourself", "shop": "a shop"}


def _words(id: str) -> str:
    return id.replace("_", " ").replace("-", " ")


def listed(names: Sequence[str]) -> str:
    """Join words as a person says them: ``paint, arches and refit``."""
    return f"{', '.join(names[:-1])} and {names[-1]}" if len(names) > 1 else names[0]


def route_words(routes: Mapping[str, str]) -> list[str]:
    """Say who does which work package, from the route of each."""
    by_route: dict[str, list[str]] = {}
    for package, route in routes.items():
        by_route.setdefault(route, []).append(_words(package))
    away = {route: packages for route, packages in by_route.items() if route != OWN_ROUTE}
    parts = [f"{listed(packages)} by {_BY.get(route, _words(route))}" for route, packages in away.items()]
    if by_route.get(OWN_ROUTE):
        return [*parts, "the rest by yourself" if away else "everything by yourself"]
    if len(away) == 1 and len(routes) > 1:
        return [f"everything by {_BY.get(route, _words(route))}" for route in away]
    return parts


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

    def words(self, titles: Mapping[str, str] | None = None) -> str:
        """Name the mix: who does what, and which options, by their titles where those are given."""
        named = titles or {}
        parts = route_words(self.routes)
        parts += [f"{_words(choice)}: {named.get(id, _words(id))}" for choice, id in self.options.items()]
        return "; ".join(parts)

    def _times(self) -> list[str]:
        weeks = [] if self.weeks is None else [f"{self.weeks:.0f} weeks"]
        return [f"{rounded_hours(self.hours_p80)} own hours", *weeks]

    def time_words(self) -> str:
        """Say what it takes at P80: own hours, and weeks where they are known."""
        return listed(self._times())

    def needs(self, money: Callable[[float], str]) -> str:
        """Say what it costs and takes at P80."""
        return listed([money(self.p80), *self._times()])

    @property
    def farmed_out(self) -> tuple[str, ...]:
        """Work packages that are not done by oneself, in words, each with its route where that is not the shop."""
        return tuple(
            _words(package) if route == "shop" else f"{_words(package)} ({_words(route)})"
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
    def taken_words(self) -> str:
        """What is taken, in words."""
        return self.titles.get(self.taken) or _WAYS.get(self.taken, _words(self.taken))

    @property
    def instead_words(self) -> str:
        """What it is held against, in words."""
        return self.titles.get(self.instead) or _WAYS.get(self.instead, _words(self.instead))

    @property
    def per_own_hour(self) -> float | None:
        """What each own hour that it takes more saves, of the means; None where none is saved or none is taken."""
        return self.mean.value / self.hours if self.hours >= _SOME_HOURS and self.mean.value > 0 else None

    def sentence(self, money: Money, hourly: Money | None = None) -> str:
        """Say what the choice saves and risks."""
        name = _words(self.choice).capitalize()
        saves = self.mean.value
        word = f"saves {money(saves)}" if saves >= 0 else f"costs {money(-saves)} more"
        text = f"{name}: {self.taken_words} {word} on average against {self.instead_words}"
        if saves >= 0 > self.p90.value:
            text += f", but its bad outcomes cost {money(-self.p90.value, error=self.p90.error)} more at P90"
        elif saves < 0 < self.p90.value:
            text += f", but spares {rounded(money, self.p90)} at P90"
        if abs(self.hours) >= _SOME_HOURS:
            text += f"; {rounded_hours(abs(self.hours))} own hours {'more' if self.hours > 0 else 'fewer'}"
            if self.per_own_hour is not None:
                text += f" ({(hourly or money)(self.per_own_hour)} per own hour)"
        return f"{text}."


@dataclass(frozen=True)
class Mixes:
    """Every mix, the frontier, and the best one within limits.

    Attributes
    ----------
    mixes : tuple of Mix
        In the order of the file.
    frontier : tuple of Mix
        Those to which no other is at least as good in P80, own hours and weeks, and better in one; cheapest first.
    best : Mix or None
        The lowest P80 within the money, hours and weeks given; None where no mix is within all.
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
        Simulation errors of P50 and P80 of the best, or of the cheapest where none is within the limits; those of the
        others are much the same, for all are of the same trials.
    titles : mapping
        Of options, by id.
    hazards : tuple of OwnHazard
        What the best mix, or the cheapest where none is within the limits, has one do oneself though it may hurt.
    spared : Mix or None
        The best mix with the packages of these hazards farmed out, as far as the build has another way for them: the
        lowest P80 within the limits, or of all where none is within; None where nothing can be farmed out.
    yours : Mix or None
        The cheapest with the routes of the way in force; None where no mix has them.
    leaves : tuple of str
        Lines with a price agreed that the best mix, or the cheapest where none is within the limits, does not have.
    keeping : Mix or None
        The best of those that have all lines with a price agreed, chosen as `spared` is; None where nothing is left.
    """

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

    def hazards_sentence(self, money: Money) -> str:
        """Say what of the mix may hurt, and what the best one without it needs; nothing where nothing may."""
        said = own_hazards_sentence(self.hazards)
        if self.spared is None:
            return said
        needs = self.spared.needs(self._at_p80(money))
        return (
            f"{said} The best mix with {'that' if len(self.hazards) == 1 else 'these'} farmed out: "
            f"{self.spared.words(self.titles)}. It needs {needs} at P80"
            f"{'' if self._fits(self.spared) else ', which is beyond your limits'}."
        )

    def keeping_sentence(self, money: Money) -> str:
        """Say which mix is best with every price agreed kept; nothing where the best one keeps them."""
        if self.keeping is None:
            return ""
        return (
            f"The best mix that keeps what is agreed: {self.keeping.words(self.titles)}. It needs "
            f"{self.keeping.needs(self._at_p80(money))} at P80"
            f"{'' if self._fits(self.keeping) else ', which is beyond your limits'}."
        )

    def _at_p80(self, money: Money) -> Callable[[float], str]:
        """Give what writes a P80, rounded by its simulation error."""
        return lambda value: money(value, error=self.errors[1])

    def _fits(self, item: Mix) -> bool:
        limits = ((self.money, item.p80), (self.hours, item.hours_p80), (self.weeks, item.weeks))
        return all(limit is None or (value is not None and value <= limit) for limit, value in limits)

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

    def mark(self, item: Mix) -> str:
        """Say what a mix in the list is: the best, the way in force, both or neither."""
        return ", ".join(
            word
            for word, one in (("best", self.best), ("your way", self.yours))
            if one is not None and item == one
        )

    def sentence(self, money: Money, entered: Money | None = None) -> str:
        """Say which mix is best within the limits, or that there is none; ``entered`` writes the limit in money."""
        limits = []
        if self.money is not None:
            limits.append((entered or money)(self.money))
        if self.hours is not None:
            limits.append(f"{self.hours:.0f} own hours")
        if self.weeks is not None:
            limits.append(f"{self.weeks:.0f} weeks")
        within = f" within {listed(limits)}" if limits else ""
        if self.best is not None:
            best = self.best
            return (
                f"Best of {len(self.mixes):,} mixes{within}: {best.words(self.titles)}. In 80 of 100 builds it costs "
                f"no more than {self._at_p80(money)(best.p80)} and takes no more than {best.time_words()}."
            )
        at = self._at_p80(money)
        return (
            f"No mix stays{within} in 80 of 100 builds. The cheapest needs {self.cheapest.needs(at)}; the one with "
            f"least work {self.least_work.needs(at)}{self._soonest_words(money)}."
        )

    def _soonest_words(self, money: Money) -> str:
        if self.soonest is None or self.weeks is None or self.soonest in (self.cheapest, self.least_work):
            return ""
        return f"; the soonest {self.soonest.needs(self._at_p80(money))}"


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
