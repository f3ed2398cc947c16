"""The best mix: every choice of route for every work package, and of every option, on the same trials."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import product

import numpy as np

from forecast.build.options import options_by_choice, with_option
from forecast.build.scenario import scenario_name
from forecast.build.schema import Build, Option, Scenario
from forecast.decide.chances import rounded_hours
from forecast.decide.mixer import Mixer, Routes, Totals
from forecast.decide.paired import mean_change, percentile_change
from forecast.engine.forecast import DEFAULT_SEED, DEFAULT_TRIALS
from forecast.engine.known import KnownFacts
from forecast.engine.statistics import Estimate, percentile_estimates, percentiles
from forecast.errors import SimulationError

Money = Callable[[float], str]

MOST_MIXES = 20_000
OWN_ROUTE = "self"

_SOME_HOURS = 0.5
_BY = {"shop": "a shop"}
_WAYS = {OWN_ROUTE: "doing it yourself", "shop": "a shop"}


def _words(id: str) -> str:
    return id.replace("_", " ").replace("-", " ")


def _listed(names: Sequence[str]) -> str:
    return f"{', '.join(names[:-1])} and {names[-1]}" if len(names) > 1 else names[0]


@dataclass(frozen=True)
class Mix:
    """One mix.

    Attributes
    ----------
    routes : dict
        Route by work package.
    options : dict
        Option by choice.
    mean, p50, p80, p90 : float
        Money.
    hours, hours_p80 : float
        Own hours at P50 and at P80.
    weeks : float or None
        Own hours at P80 in weeks; None where the build does not say how many hours a week has. Weeks follow from own
        hours alone: waiting for shops and parts is not in them.
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
        by_route: dict[str, list[str]] = {}
        for package, route in self.routes.items():
            by_route.setdefault(route, []).append(_words(package))
        away = {route: packages for route, packages in by_route.items() if route != OWN_ROUTE}
        parts = [
            f"{_listed(packages)} by {_BY.get(route, _words(route))}" for route, packages in away.items()
        ]
        if by_route.get(OWN_ROUTE):
            parts.append("the rest by yourself" if away else "everything by yourself")
        elif len(away) == 1 and len(self.routes) > 1:
            parts = [f"everything by {_BY.get(route, _words(route))}" for route in away]
        named = titles or {}
        parts += [f"{_words(choice)}: {named.get(id, _words(id))}" for choice, id in self.options.items()]
        return "; ".join(parts)

    @property
    def farmed_out(self) -> tuple[str, ...]:
        """Work packages that are not done by oneself, in words, each with its route where that is not the shop."""
        return tuple(
            _words(package) if route == "shop" else f"{_words(package)} ({_words(route)})"
            for package, route in self.routes.items()
            if route != OWN_ROUTE
        )


@dataclass(frozen=True)
class Reason:
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
            text += f", but its bad outcomes cost {money(-self.p90.value)} more at P90"
        elif saves < 0 < self.p90.value:
            text += f", but spares {money(self.p90.value)} at P90"
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
        Those to which no other is better in both P80 and own hours (and so weeks); cheapest first.
    best : Mix or None
        The lowest P80 within the money and hours given; None where no mix is within both.
    best_p80 : Estimate or None
        Its P80, with the simulation error.
    cheapest, least_work : Mix
        The lowest P80 of all, and the fewest own hours.
    reasons : tuple of Reason
        For each choice of the best mix, or of the cheapest where none is within the limits.
    money, hours : float or None
        The limits.
    titles : mapping
        Of options, by id.
    """

    mixes: tuple[Mix, ...]
    frontier: tuple[Mix, ...]
    best: Mix | None
    best_p80: Estimate | None
    cheapest: Mix
    least_work: Mix
    reasons: tuple[Reason, ...]
    money: float | None = None
    hours: float | None = None
    titles: Mapping[str, str] = field(default_factory=dict)

    def some_of_frontier(self, most: int = 12) -> tuple[Mix, ...]:
        """Pick from a long frontier: the ends, the best, and some evenly between."""
        if len(self.frontier) <= most:
            return self.frontier
        places = {round(step * (len(self.frontier) - 1) / (most - 1)) for step in range(most)}
        return tuple(item for place, item in enumerate(self.frontier) if place in places or item == self.best)

    def sentence(self, money: Money) -> str:
        """Say which mix is best within the limits, or that there is none."""
        limits = []
        if self.money is not None:
            limits.append(money(self.money))
        if self.hours is not None:
            limits.append(f"{self.hours:.0f} own hours")
        within = f" within {' and '.join(limits)}" if limits else ""
        if self.best is not None:
            best = self.best
            return (
                f"Best of {len(self.mixes):,} mixes{within}: {best.words(self.titles)}. In 8 of 10 builds it costs "
                f"no more than {money(best.p80)} and takes no more than {rounded_hours(best.hours_p80)} own hours."
            )
        return (
            f"No mix stays{within} in 8 of 10 builds. The cheapest needs {money(self.cheapest.p80)} and "
            f"{rounded_hours(self.cheapest.hours_p80)} own hours; the one with least work "
            f"{money(self.least_work.p80)} and {rounded_hours(self.least_work.hours_p80)}."
        )


def mix(
    build: Build,
    *,
    money: float | None = None,
    hours: float | None = None,
    scenario: str | None = None,
    trials: int = DEFAULT_TRIALS,
    seed: int = DEFAULT_SEED,
    known: KnownFacts | None = None,
) -> Mixes:
    """Evaluate every mix of routes and options, and find the best one within limits.

    Parameters
    ----------
    build : Build
    money : float, optional
        The P80 must stay within it.
    hours : float, optional
        Own hours at P80 must stay within it.
    scenario : str, optional
        Whose overrides hold; its routes do not matter. The first of the file when left out.
    trials, seed : int
    known : KnownFacts, optional

    Returns
    -------
    Mixes

    Raises
    ------
    SimulationError
        When there is nothing to choose, or there are more than MOST_MIXES mixes.
    """
    return MixSearch(build, scenario, trials, seed, known).within(money, hours)


class MixSearch:
    """All mixes of a build, gone through once; `within` then answers for any limits. See `mix`."""

    def __init__(
        self,
        build: Build,
        scenario: str | None = None,
        trials: int = DEFAULT_TRIALS,
        seed: int = DEFAULT_SEED,
        known: KnownFacts | None = None,
    ) -> None:
        name = scenario_name(build, scenario)
        overrides = build.scenario[name] if name is not None else Scenario()
        self.choices = options_by_choice(build)
        self.titles = {option.id: option.title for option in build.option}
        self.build = build
        self.settings = (overrides, trials, seed, known)
        self.mixers: dict[tuple[str, ...], Mixer] = {}
        combinations = list(product(*self.choices.values()))
        first = self._mixer(combinations[0])
        count = first.count * len(combinations)
        if count < 2:
            message = (
                "mix: there is nothing to choose. Give lines of a work package different routes, such as "
                'package = "paint" with route = "self" and route = "shop", or add [[option]] tables.'
            )
            raise SimulationError(message)
        if count > MOST_MIXES:
            message = (
                f"mix: {first.count:,} mixes of routes times {len(combinations)} of options are {count:,}; at most "
                f"{MOST_MIXES:,} can be gone through. Join work packages that go together."
            )
            raise SimulationError(message)
        self.combinations = combinations
        self.mixes = tuple(self._all())

    def within(self, money: float | None = None, hours: float | None = None) -> Mixes:
        """Give the frontier, and the best mix within limits.

        Parameters
        ----------
        money : float, optional
            The P80 must stay within it.
        hours : float, optional
            Own hours at P80 must stay within it.
        """
        order = sorted(self.mixes, key=lambda item: (item.p80, item.hours_p80))
        frontier: list[Mix] = []
        for item in order:
            if not frontier or item.hours_p80 < frontier[-1].hours_p80:
                frontier.append(item)
        inside = [
            item
            for item in order
            if (money is None or item.p80 <= money) and (hours is None or item.hours_p80 <= hours)
        ]
        best = inside[0] if inside else None
        explained = best or order[0]
        return Mixes(
            self.mixes, tuple(frontier), best, self.p80(best) if best is not None else None,
            order[0], min(self.mixes, key=lambda item: (item.hours_p80, item.p80)),
            self.reasons(explained), money, hours, self.titles,
        )  # fmt: skip

    def _mixer(self, options: Sequence[Option]) -> Mixer:
        key = tuple(option.id for option in options)
        if key not in self.mixers:
            build = self.build
            for option in options:
                build = with_option(build, option)
            self.mixers[key] = Mixer(build.model_copy(update={"option": ()}), *self.settings)
        return self.mixers[key]

    def _all(self) -> Iterator[Mix]:
        """Give every mix."""
        for options in self.combinations:
            mixer = self._mixer(options)
            named = {option.choice: option.id for option in options}
            for routes, totals in mixer.all():
                yield self._mix(mixer, routes, named, totals)

    def _mix(self, mixer: Mixer, routes: Routes, options: Mapping[str, str], totals: Totals) -> Mix:
        weights = mixer.forecast.trials.weights
        p50, p80, p90 = percentiles(totals.money, (0.5, 0.8, 0.9), weights)
        half, most = percentiles(totals.hours, (0.5, 0.8), weights)
        week = self.build.build.hours_per_week
        return Mix(
            routes, options, float(np.average(totals.money, weights=weights)), p50, p80, p90, half, most,
            most / week if week else None,
        )  # fmt: skip

    def totals(self, routes: Mapping[str, str], options: Mapping[str, str]) -> tuple[Mixer, Totals]:
        """Give the totals of one mix again."""
        taken = [
            next(option for option in offered if option.id == options[choice])
            for choice, offered in self.choices.items()
        ]
        mixer = self._mixer(taken)
        return mixer, mixer.totals(dict(routes))

    def p80(self, item: Mix) -> Estimate:
        """Give a mix's P80 with its simulation error."""
        mixer, totals = self.totals(item.routes, item.options)
        trials = mixer.forecast.trials
        return percentile_estimates(totals.money, (0.8,), trials.replicates, trials.weights)[0]

    def reasons(self, item: Mix) -> tuple[Reason, ...]:
        """Explain a mix choice by choice: against the alternative of the lowest P80, all else unchanged."""
        mixer, here = self.totals(item.routes, item.options)
        others: list[tuple[str, str, str, Totals]] = []
        for package, offered in mixer.routes.items():
            for route in offered:
                if route != item.routes[package]:
                    _, totals = self.totals({**item.routes, package: route}, item.options)
                    others.append((package, item.routes[package], route, totals))
        for choice, options in self.choices.items():
            for option in options:
                if option.id != item.options[choice]:
                    _, totals = self.totals(item.routes, {**item.options, choice: option.id})
                    others.append((choice, item.options[choice], option.id, totals))
        trials = mixer.forecast.trials
        found: dict[str, Reason] = {}
        for choice, taken, instead, totals in others:
            reason = Reason(
                choice, taken, instead,
                mean_change(here.money, totals.money, trials.replicates, trials.weights),
                percentile_change(here.money, totals.money, 0.8, trials.replicates, trials.weights),
                percentile_change(here.money, totals.money, 0.9, trials.replicates, trials.weights),
                mean_change(totals.hours, here.hours, trials.replicates, trials.weights).value,
                {id: self.titles[id] for id in (taken, instead) if choice in self.choices},
            )  # fmt: skip
            if choice not in found or reason.p80.value < found[choice].p80.value:
                found[choice] = reason
        return tuple(found.values())
