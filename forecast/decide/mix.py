"""The best mix: every choice of route for every work package, and of every option, on the same trials."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import product

import numpy as np

from forecast.buildfile.choosing import offered, options_by_choice, scenario_name, with_option
from forecast.buildfile.oneself import OWN_ROUTE, OwnHazard, own_hazards_of_mix
from forecast.buildfile.schema import Build, Option, Scenario
from forecast.decide.choices import conditions, settled, taken_with
from forecast.decide.mixer import Mixer, Routes, Totals
from forecast.decide.mixes import Mix, Mixes, MixReason, soonest, unbeaten
from forecast.decide.paired import mean_change, percentile_change
from forecast.engine.forecast import DEFAULT_SEED, DEFAULT_TRIALS
from forecast.engine.statistics import Estimate, percentile_estimates, percentiles
from forecast.errors import SimulationError
from forecast.watching.known_facts import Knowledge
from forecast.watching.standing import Standing

MOST_MIXES = 20_000


def mix(
    build: Build,
    *,
    money: float | None = None,
    hours: float | None = None,
    weeks: float | None = None,
    scenario: str | None = None,
    trials: int = DEFAULT_TRIALS,
    seed: int = DEFAULT_SEED,
    known: Knowledge = None,
) -> Mixes:
    """Evaluate every mix of routes and options, and find the best one within limits.

    Parameters
    ----------
    build : Build
    money : float, optional
        The P80 must stay within it.
    hours : float, optional
        Own hours at P80 must stay within it.
    weeks : float, optional
        Weeks at P80 must stay within it.
    scenario : str, optional
        Whose overrides hold; its routes do not matter. The first of the file when left out.
    trials, seed : int
    known : KnownFacts or Standing, optional

    Returns
    -------
    Mixes

    Raises
    ------
    SimulationError
        When there is nothing to choose, or there are more than MOST_MIXES mixes.
    """
    return MixSearch(build, scenario, trials, seed, known).within(money, hours, weeks)


class MixSearch:
    """All mixes of a build, gone through once; `within` then answers for any limits. See `mix`."""

    def __init__(
        self,
        build: Build,
        scenario: str | None = None,
        trials: int = DEFAULT_TRIALS,
        seed: int = DEFAULT_SEED,
        known: Knowledge = None,
    ) -> None:
        name = scenario_name(build, scenario)
        overrides = build.scenario[name] if name is not None else Scenario()
        self.choices = options_by_choice(build)
        self.titles = {option.id: option.title for option in build.option}
        self.build = build
        self.way = name
        self.settings = (overrides, trials, seed, known)
        self.mixers: dict[tuple[str, ...], Mixer] = {}
        # A choice that is settled stands as the file and the ledger say it, as it does in every other answer.
        done = {choice: found for choice in self.choices if (found := settled(build, choice, known))}
        # Of the others only what somebody offers: the builder's own estimate cannot be taken.
        self.choices = {
            choice: offered(options) for choice, options in self.choices.items() if choice not in done
        }
        self._conditions = {choice: conditions(build, choice, overrides) for choice in self.choices}
        combinations = list(product(*self.choices.values()))
        first = self._mixer(combinations[0])
        count = first.count * len(combinations)
        if count < 2:
            message = (
                "mix: there is nothing left to choose: the quotes in the build are settled, and each work package has "
                "one route."
                if done
                else "mix: there is nothing to choose. Give lines of a work package different routes, such as "
                'package = "paint" with route = "self" and route = "shop", or add [[option]] tables.'
            )
            raise SimulationError(message)
        if count > MOST_MIXES:
            message = (
                f"mix: {first.count:,} mixes of routes times {len(combinations)} of options are {count:,}; at most "
                f"{MOST_MIXES:,} can be gone through. Join work packages that go together."
            )
            raise SimulationError(message)
        self.mixes = tuple(self._all())

    def within(
        self, money: float | None = None, hours: float | None = None, weeks: float | None = None
    ) -> Mixes:
        """Give the frontier, and the best mix within limits.

        Parameters
        ----------
        money : float, optional
            The P80 must stay within it.
        hours : float, optional
            Own hours at P80 must stay within it.
        weeks : float, optional
            Weeks at P80 must stay within it.

        Raises
        ------
        SimulationError
            When weeks are limited and the build does not say how many hours a week has.
        """
        if weeks is not None and self.build.build.hours_per_week is None:
            message = (
                "weeks: the build does not say how many hours a week has. Add hours_per_week = 10 under [build], and "
                "wait_weeks to what you wait for."
            )
            raise SimulationError(message)
        order = sorted(self.mixes, key=lambda item: (item.p80, item.hours_p80, item.weeks or 0.0))
        limits = ((money, "p80"), (hours, "hours_p80"), (weeks, "weeks"))
        inside = [
            item
            for item in order
            if all(limit is None or getattr(item, what) <= limit for limit, what in limits)
        ]
        kept = [item for item in inside if not self._leaves(item)]  # a price agreed is a choice made
        best = next(iter((*kept, *inside)), None)
        leaving = inside[0] if best is not None and inside[0] is not best else None
        explained = best or order[0]
        levels = self.levels(explained)
        hazards = own_hazards_of_mix(self.build, explained.routes, explained.options.values())
        found = Mixes(
            self.build.build.currency, self.mixes, unbeaten(order), best, levels[1] if best is not None else None,
            order[0], min(self.mixes, key=lambda item: (item.hours_p80, item.p80)), soonest(self.mixes),
            self.reasons(explained), money, hours, weeks, (levels[0].error, levels[1].error), self.titles,
            hazards, _spared(explained, hazards, (*kept, *inside, *order)), self._yours(order),
            self._leaves(leaving or explained), self._keeping(explained, order), leaving,
        )  # fmt: skip
        return found.with_errors(self._errors)

    def _errors(self, item: Mix) -> tuple[float, float]:
        half, eight = self.levels(item)
        return half.error, eight.error

    def taking(self, routes: Mapping[str, str]) -> Mix | None:
        """Give the cheapest mix of just these routes, with its own simulation errors; None where there is none."""
        alike = [item for item in self.mixes if item.routes == routes]
        if not alike:
            return None
        found = min(alike, key=lambda item: item.p80)
        return replace(found, errors=self._errors(found))

    def _yours(self, order: Sequence[Mix]) -> Mix | None:
        """Give the cheapest mix with the routes of the way in force."""
        if self.way is None:
            return None
        way = self.build.scenario[self.way]
        return next(
            (item for item in order if all(way.route(what) == by for what, by in item.routes.items())), None
        )

    def _leaves(self, item: Mix) -> tuple[str, ...]:
        """Give the lines with a price agreed that a mix does not have."""
        return prices_left(self.build, self.settings[3], item.routes)

    def _keeping(self, item: Mix, order: Sequence[Mix]) -> Mix | None:
        """Give the cheapest mix that leaves no price agreed; None where this one leaves none either."""
        if not self._leaves(item):
            return None
        return next((other for other in order if not self._leaves(other)), None)

    def _mixer(self, options: Sequence[Option]) -> Mixer:
        key = tuple(option.id for option in options)
        if key not in self.mixers:
            build = self.build
            for option in options:
                build = with_option(build, option)
            self.mixers[key] = Mixer(build.model_copy(update={"option": ()}), *self.settings)
        return self.mixers[key]

    def _all(self) -> Iterator[Mix]:
        """Give every mix: with one option of each choice that counts with its routes, and with none of the others."""
        sometimes = {choice for choice, found in self._conditions.items() if None not in found}
        there = [
            (*options, None) if choice in sometimes else options for choice, options in self.choices.items()
        ]
        for options in product(*there):
            taken = tuple(option for option in options if option is not None)
            named = {option.choice: option.id for option in taken}
            mixer = self._mixer(taken)
            for routes, totals in mixer.all():
                if self._counting(routes) == named.keys():
                    yield self._mix(mixer, routes, named, totals)

    def _counting(self, routes: Mapping[str, str]) -> set[str]:
        """Give the choices whose options count with these routes."""
        way = Scenario(routes=dict(routes))
        return {choice for choice, found in self._conditions.items() if taken_with(found, way)}

    def _with_routes(self, item: Mix, routes: Mapping[str, str]) -> Iterator[Mapping[str, str]]:
        """Give what options a mix may have with other routes: its own where they count, else any of the choice."""
        counting = self._counting(routes)
        open_to = [
            [(choice, item.options[choice])]
            if choice in item.options
            else [(choice, option.id) for option in options]
            for choice, options in self.choices.items()
            if choice in counting
        ]
        for options in product(*open_to):
            yield dict(options)

    def _mix(self, mixer: Mixer, routes: Routes, options: Mapping[str, str], totals: Totals) -> Mix:
        weights = mixer.forecast.trials.weights
        p50, p80, p90 = percentiles(totals.money, (0.5, 0.8, 0.9), weights)
        half, most = percentiles(totals.hours, (0.5, 0.8), weights)
        week = self.build.build.hours_per_week
        weeks = percentiles(totals.hours / week + totals.waits, (0.8,), weights)[0] if week else None
        return Mix(
            routes,
            options,
            float(np.average(totals.money, weights=weights)),
            p50,
            p80,
            p90,
            half,
            most,
            weeks,
        )

    def totals(self, routes: Mapping[str, str], options: Mapping[str, str]) -> tuple[Mixer, Totals]:
        """Give the totals of one mix again."""
        taken = [
            next(option for option in offered if option.id == options[choice])
            for choice, offered in self.choices.items()
            if choice in options
        ]
        mixer = self._mixer(taken)
        return mixer, mixer.totals(dict(routes))

    def levels(self, item: Mix) -> list[Estimate]:
        """Give a mix's P50 and P80, each with its simulation error."""
        mixer, totals = self.totals(item.routes, item.options)
        trials = mixer.forecast.trials
        return percentile_estimates(totals.money, (0.5, 0.8), trials.replicates, trials.weights)

    def reasons(self, item: Mix) -> tuple[MixReason, ...]:
        """Explain a mix choice by choice: against the alternative of the lowest P80, all else unchanged."""
        mixer, here = self.totals(item.routes, item.options)
        others: list[tuple[str, str, str, Totals, Mapping[str, str]]] = []
        for package, there in mixer.routes.items():
            for route in there:
                if route != item.routes[package]:
                    routes = {**item.routes, package: route}
                    for taken in self._with_routes(item, routes):
                        _, totals = self.totals(routes, taken)
                        others.append((package, item.routes[package], route, totals, {}))
        for choice, id in item.options.items():
            named = {other.id: other.title for other in self.choices[choice]}
            for option in self.choices[choice]:
                if option.id != id:
                    _, totals = self.totals(item.routes, {**item.options, choice: option.id})
                    others.append((choice, id, option.id, totals, named))
        trials = mixer.forecast.trials
        found: dict[tuple[str, bool], MixReason] = {}  # a choice may be called like a work package
        for choice, here_is, instead, totals, titles in others:
            reason = MixReason(
                choice, here_is, instead,
                mean_change(here.money, totals.money, trials.replicates, trials.weights),
                percentile_change(here.money, totals.money, 0.8, trials.replicates, trials.weights),
                percentile_change(here.money, totals.money, 0.9, trials.replicates, trials.weights),
                mean_change(totals.hours, here.hours, trials.replicates, trials.weights).value,
                titles,
            )  # fmt: skip
            key = (choice, bool(titles))
            if key not in found or reason.p80.value < found[key].p80.value:
                found[key] = reason
        return tuple(found.values())


def prices_left(build: Build, known: Knowledge, routes: Mapping[str, str]) -> tuple[str, ...]:
    """Give the lines with a price agreed that a mix of these routes does not have."""
    agreed = {one.line_id for one in known.promises} if isinstance(known, Standing) else set()
    return tuple(
        line.id
        for line in build.line
        if line.id in agreed
        and line.route is not None
        and line.packages
        and all(routes.get(package, line.route) != line.route for package in line.packages)
    )


def _spared(taken: Mix, hazards: Sequence[OwnHazard], order: Sequence[Mix]) -> Mix | None:
    """Give the first mix that leaves to others what may hurt in another one, as far as there are other ways."""
    named = {package for hazard in hazards for package in hazard.packages}
    offered = {package for item in order for package, route in item.routes.items() if route != OWN_ROUTE}
    away = {package for package in named & offered if taken.routes.get(package) == OWN_ROUTE}
    if not away:
        return None
    fits = (item for item in order if all(item.routes[package] != OWN_ROUTE for package in away))
    return next(fits, None)


__all__ = ["MOST_MIXES", "Mix", "MixReason", "MixSearch", "Mixes", "mix", "prices_left"]
