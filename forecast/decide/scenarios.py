"""Ways to do the whole build, side by side on the same draws."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from forecast.buildfile.choosing import in_words, scenario_name, scenario_title
from forecast.buildfile.schema import Build
from forecast.decide.dominance import Dominance, dominance
from forecast.decide.made import ways_left
from forecast.decide.own_hours import OwnHourPay, cash_totals, own_hour_pay
from forecast.decide.paired import forecast_change, mean_change
from forecast.engine.forecast import DEFAULT_SEED, DEFAULT_TRIALS, Forecast
from forecast.engine.statistics import Estimate, mean_estimate, percentile_estimates
from forecast.errors import SimulationError
from forecast.figures.shapes import Array
from forecast.watching.known_facts import Knowledge, forecast_given

SHARES = (0.1, 0.5, 0.8, 0.9)


@dataclass(frozen=True)
class Summary:
    """One scenario beside the others.

    Attributes
    ----------
    id, name : str
    mean : Estimate
    p10, p50, p80, p90 : Estimate
        Money.
    hours : tuple of Estimate
        Own hours at P10, P50, P80 and P90.
    weeks : tuple of Estimate, or None
        Weeks at the same percentiles, own work and then waiting; None where the build does not say how many hours a
        week has.
    chance_cheapest : Estimate
        Chance that it is the cheapest of all; a tie counts in equal parts.
    regret : Estimate
        Mean of what it costs more than the cheapest one would have, in the same trial.
    """

    id: str
    name: str
    mean: Estimate
    p10: Estimate
    p50: Estimate
    p80: Estimate
    p90: Estimate
    hours: tuple[Estimate, ...]
    weeks: tuple[Estimate, ...] | None
    chance_cheapest: Estimate
    regret: Estimate


@dataclass(frozen=True)
class Pair:
    """Two scenarios against each other, trial by trial.

    What is said of a pair without naming a percentile is of the means: the one measure whose differences add up over
    several ways, in money and in own hours, and from which what an own hour pays follows.

    Attributes
    ----------
    first, second : str
        Ids; differences are second less first, so that a positive one is what the first saves.
    mean, p80, p90 : Estimate
        Difference of the two means, of the two P80s and of the two P90s.
    difference : tuple of Estimate
        P10, P50, P80 and P90 of the difference itself.
    first_cheaper : Estimate
        Chance that the first costs less; a tie counts half.
    dominance : Dominance
    pay : OwnHourPay or None
        What the own hours of the one with more of them earn; None where hours do not differ.
    """

    first: str
    second: str
    first_name: str
    second_name: str
    mean: Estimate
    p80: Estimate
    p90: Estimate
    difference: tuple[Estimate, ...]
    first_cheaper: Estimate
    dominance: Dominance
    pay: OwnHourPay | None

    def dearer_by(self, id: str) -> Estimate:
        """Give what one of the two costs more than the other on average; negative where it costs less."""
        return self.mean if id == self.second else Estimate(-self.mean.value, self.mean.error)

    def cheaper_in(self, id: str) -> float:
        """Give the chance that one of the two costs less than the other."""
        return self.first_cheaper.value if id == self.first else 1 - self.first_cheaper.value

    def name_of(self, id: str) -> str:
        """Give the name of one of the two."""
        return self.first_name if id == self.first else self.second_name


@dataclass(frozen=True)
class Comparison:
    """Scenarios side by side.

    Attributes
    ----------
    currency : str
    scenarios : tuple of Summary
        In the order asked for.
    pairs : tuple of Pair
        Each with each.
    differences : dict of ndarray, shape (N,)
        By ids of a pair, second less first, for a picture.
    weights : ndarray, shape (N,), or None
        Of the trials that are compared.
    """

    currency: str
    scenarios: tuple[Summary, ...]
    pairs: tuple[Pair, ...]
    differences: Mapping[tuple[str, str], Array]
    weights: Array | None = None

    @property
    def cheapest(self) -> Summary:
        """The scenario of the lowest mean."""
        return min(self.scenarios, key=lambda summary: summary.mean.value)

    @property
    def cheapest_in_the_middle(self) -> Summary:
        """The scenario of the lowest P50."""
        return min(self.scenarios, key=lambda summary: summary.p50.value)

    @property
    def most_telling_pay(self) -> OwnHourPay | None:
        """What own hours earn between the two that differ most in them; None where no hours differ."""
        pays = [pair.pay for pair in self.pairs if pair.pay is not None]
        return max(pays, key=lambda pay: pay.extra_hours, default=None)

    def pair(self, first: str, second: str) -> Pair:
        """Give the pair of two scenarios, in the order in which it was made.

        Raises
        ------
        KeyError
            When the two were not compared.
        """
        for pair in self.pairs:
            if {pair.first, pair.second} == {first, second}:
                return pair
        raise KeyError((first, second))


def compare(
    build: Build,
    scenarios: Sequence[str] | None = None,
    trials: int = DEFAULT_TRIALS,
    seed: int = DEFAULT_SEED,
    known: Knowledge = None,
) -> Comparison:
    """Compare scenarios of a build on the same draws.

    Parameters
    ----------
    build : Build
    scenarios : sequence of str, optional
        Their ids; when left out those of the file that do no work again which is done, see `forecast.decide.made`.
    trials : int
    seed : int
    known : KnownFacts or Standing, optional
        What is known by now; money spent on lines that a scenario does not have counts in it all the same.

    Returns
    -------
    Comparison

    Raises
    ------
    SimulationError
        When there are fewer than two, or one is not in the build.
    """
    if scenarios is None:
        chosen: tuple[str, ...] = ways_left(build, known)
    else:
        chosen = tuple(str(scenario_name(build, name)) for name in scenarios)
    if len(set(chosen)) < 2:
        message = (
            f"scenarios: got {', '.join(chosen) or 'none'}; comparing needs two or more different ones. "
            'Add [scenario.shop] with all = "shop" to the build file, for example.'
        )
        raise SimulationError(message)
    forecasts = {name: forecast_given(build, name, trials, seed, known) for name in dict.fromkeys(chosen)}
    names = {name: scenario_title(build, name) for name in forecasts}
    return compare_forecasts(forecasts, names)


def weighed_alike(forecasts: Mapping[str, Forecast]) -> dict[str, Forecast]:
    """Give forecasts of the same ledger with the same trials and weights, those of the first that has any.

    What an event that happened says of the shared causes weighs the trials, and where few are left more are drawn.
    Each way of doing the build sees these causes in the light of its own lines, so its weights differ a little; to be
    compared trial by trial they need one, over the trials that all have.
    """
    count = min(one.trials.count for one in forecasts.values())
    alike = {name: _first_trials(one, count) for name, one in forecasts.items()}
    weights = next((one.trials.weights for one in alike.values() if one.trials.weights is not None), None)
    if weights is None:
        return alike
    return {name: replace(one, trials=replace(one.trials, weights=weights)) for name, one in alike.items()}


def _first_trials(forecast: Forecast, count: int) -> Forecast:
    """Give a forecast with the first of its trials alone."""
    trials = forecast.trials
    if count == trials.count:
        return forecast
    cut = replace(
        trials,
        numbers=trials.numbers[: count * trials.replicates // trials.count],
        totals=trials.totals[:count],
        hours=trials.hours[:count],
        waits=trials.waits[:count],
        rows=None if trials.rows is None else trials.rows[:, :count],
        gates=trials.gates[:, :count],
        weights=None if trials.weights is None else trials.weights[:count],
    )
    return replace(forecast, trials=cut)


def compare_forecasts(
    forecasts: Mapping[str, Forecast],
    names: Mapping[str, str] | None = None,
) -> Comparison:
    """Compare forecasts of the same seed and number of trials; see `compare`.

    Each one's own figures are those that it gives when it is asked for alone; what is compared trial by trial is
    weighed alike (`weighed_alike`).

    Raises
    ------
    SimulationError
        When their trials are not of the same draws.
    """
    titles = {id: (names or {}).get(id, in_words(id)) for id in forecasts}
    _check_paired(forecasts)
    alike = weighed_alike(forecasts)
    first = next(iter(alike.values()))
    replicates = first.trials.replicates
    weights = first.trials.weights
    totals = np.stack([forecast.trials.totals for forecast in alike.values()])
    least = totals.min(axis=0)
    is_least = totals <= least
    parts = is_least / is_least.sum(axis=0)
    summaries = []
    for place, (id, forecast) in enumerate(forecasts.items()):
        p10, p50, p80, p90 = forecast.percentile_set(SHARES)
        hours = tuple(forecast.hours(SHARES))
        weeks = forecast.weeks(SHARES)
        summaries.append(
            Summary(
                id, titles[id], forecast.mean, p10, p50, p80, p90, hours, None if weeks is None else tuple(weeks),
                mean_estimate(parts[place], replicates, weights),
                mean_estimate(totals[place] - least, replicates, weights),
            )
        )  # fmt: skip
    pairs, differences = [], {}
    for one, other in combinations(forecasts, 2):
        moved = tuple(forecast_change(forecasts[one], forecasts[other], q) for q in (0.8, 0.9))
        pairs.append(_pair(one, other, titles, alike[one], alike[other], (moved[0], moved[1])))
        difference = alike[other].trials.totals - alike[one].trials.totals
        difference.setflags(write=False)
        differences[one, other] = difference
    return Comparison(first.currency, tuple(summaries), tuple(pairs), differences, weights)


def _check_paired(forecasts: Mapping[str, Forecast]) -> None:
    kinds = {
        (item.trials.seed, item.trials.count // item.trials.replicates, item.trials.numbers[0])
        for item in forecasts.values()
    }
    facts: dict[str, object] = {}
    agree = all(
        facts.setdefault(name, fact) == fact
        for item in forecasts.values()
        for name, fact in _facts(item).items()
    )
    if len(kinds) > 1 or not agree:
        message = (
            "these forecasts cannot be compared trial by trial: simulate them with the same seed and number of "
            "trials, and the same facts."
        )
        raise SimulationError(message)


def _facts(forecast: Forecast) -> dict[str, object]:
    """Give what was known of each line and event of a forecast, for telling whether another knows the same."""
    plan, known = forecast.plan, forecast.trials.conditions
    names = [row.id for row in plan.rows] + [gate.id for gate in plan.gates]
    if known is None:
        return dict.fromkeys(names)
    return {name: (known.gates.get(name), known.amounts.get(name)) for name in names} | {
        name: None for name in names if name not in known.gates and name not in known.amounts
    }


def _pair(
    one: str,
    other: str,
    titles: Mapping[str, str],
    first: Forecast,
    second: Forecast,
    moved: tuple[Estimate, Estimate],
) -> Pair:
    a, b = first.trials.totals, second.trials.totals
    replicates, weights = first.trials.replicates, first.trials.weights
    lower = np.where(a < b, 1.0, np.where(a == b, 0.5, 0.0))
    names = (titles[one], titles[other])
    return Pair(
        one, other, *names,
        mean_change(a, b, replicates, weights),
        *moved,
        tuple(percentile_estimates(b - a, SHARES, replicates, weights)),
        mean_estimate(lower, replicates, weights),
        dominance(a, b, names, (weights, weights)),
        own_hour_pay(
            names, (cash_totals(first), cash_totals(second)), (first.trials.hours, second.trials.hours),
            replicates, weights,
        ),
    )  # fmt: skip
