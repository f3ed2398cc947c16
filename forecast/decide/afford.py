"""What can be afforded: the highest price at which the money at hand still does, and what a budget is worth."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from forecast.buildfile.choosing import figure_name, figure_names, with_option
from forecast.buildfile.places_of_figures import places
from forecast.buildfile.schema import Build
from forecast.decide.again import Again, Change, replay_build
from forecast.decide.figure_words import figure_phrase, per_words, titles_in_figures
from forecast.decide.made import routes_made
from forecast.engine.forecast import DEFAULT_SEED, DEFAULT_TRIALS, Forecast
from forecast.engine.plan import Plan
from forecast.engine.statistics import Estimate, by_replicate, is_enough, mean_estimate, percentile, spread
from forecast.errors import SimulationError
from forecast.figures.kinds import Known
from forecast.figures.shapes import Array
from forecast.watching.known_facts import Knowledge

STEPS_PER_UNIT = 100
"""Prices are searched in hundredths."""

_LARGEST = 10**14  # hundredths


@dataclass(frozen=True)
class WalkAway:
    """The highest value of a figure at which the money at hand is enough.

    Attributes
    ----------
    figure : str
        Its name, such as ``kit.amount``.
    unit : str
        Currency (or unit) that the figure is written in.
    money : float
        At hand, in the build's currency.
    level : float
        Share of builds in which it must be enough.
    highest : Estimate or None
        None where the money is not enough even with the figure at nothing.
    at_nothing : float
        What must be held with the figure at nothing.
    expected : float
        The figure's middle as the builder wrote it.
    unlimited : bool
        True where the total does not depend on the figure, so that there is no highest value.
    title : str
        The figure in words.
    per : str
        What a price is for where the line takes several of it, such as ``per hour``; empty for the price of a whole.
    settled : bool
        Whether something of it is agreed or paid: it is no longer in question.
    """

    figure: str
    unit: str
    money: float
    level: float
    highest: Estimate | None
    at_nothing: float
    expected: float
    unlimited: bool = False
    title: str = ""
    per: str = ""
    settled: bool = False


@dataclass(frozen=True)
class BudgetChance:
    """What a budget is worth.

    Attributes
    ----------
    budget : float
    chance : Estimate
        That it is enough.
    short_by : float
        Mean of what is missing where it is not enough; 0 where it always is.
    """

    budget: float
    chance: Estimate
    short_by: float


def budget_chance(forecast: Forecast, budget: float) -> BudgetChance:
    """Give the chance that a budget is enough, and the mean of what is missing otherwise.

    Parameters
    ----------
    forecast : Forecast
    budget : float
        In the build's currency.
    """
    trials = forecast.trials
    beyond = trials.totals > budget
    weights = np.ones(trials.count) if trials.weights is None else trials.weights
    mass = float(weights[beyond].sum())
    short = float(weights[beyond] @ (trials.totals[beyond] - budget)) / mass if mass > 0 else 0.0
    inside = mean_estimate((~beyond).astype(float), trials.replicates, trials.weights)
    return BudgetChance(budget, inside, short)


def afford(
    build: Build,
    money: float,
    figure: str,
    scenario: str | None = None,
    *,
    level: float = 0.8,
    trials: int = DEFAULT_TRIALS,
    seed: int = DEFAULT_SEED,
    known: Knowledge = None,
    replay: Again | None = None,
) -> WalkAway:
    """Give the highest value of a figure at which the money at hand is enough.

    The figure is set to one value in all trials, with every other draw as it was. It is a price one agrees to, not
    news: nothing else is learnt from it. Figures that are computed from it (duty, import VAT, fees) follow.

    Parameters
    ----------
    build : Build
    money : float
        At hand, in the build's currency.
    figure : str
        Such as ``kit.amount``; in the figure's own currency.
    scenario : str, optional
    level : float
        Share of builds in which the money must be enough.
    trials, seed : int
    known : KnownFacts or Standing, optional
    replay : Again, optional
        Of the same build, scenario, trials, seed and knowledge, where it is at hand.

    Returns
    -------
    WalkAway

    Raises
    ------
    SimulationError
        When the money or the level makes no sense, or the figure is not in the scenario.
    """
    if not (np.isfinite(money) and money > 0):
        message = f"money at hand: got {money:g}, must be above zero, in {build.build.currency}."
        raise SimulationError(message)
    if not 0 < level < 1:
        message = f"level: got {level:g}, must be between 0 and 1, such as 0.8 for P80."
        raise SimulationError(message)
    figure = figure_name(build, figure)
    if replay is None or not replay.has_figure(
        figure
    ):  # a figure that is known is no input until it is opened
        replay = replay_build(build, (figure,), scenario, trials, seed, known)
    item = next(item for item in replay.forecast.plan.inputs if item.id == figure)
    found = walk_away(
        replay, figure, money, level, _unit(build, replay.forecast.plan, figure), item.shape.middle
    )
    return replace(
        found,
        money=money,
        title=figure_phrase(figure, titles_in_figures(build)),
        settled=not _in_question(replay.forecast, figure),
        per=price_is_for(build, figure),
    )


def _settled(forecast: Forecast) -> set[str]:
    """Give the lines of which something is paid or agreed."""
    known = forecast.trials.conditions
    return set() if known is None else {*known.amounts, *known.partial, *known.agreed}


def _in_question(forecast: Forecast, figure: str) -> bool:
    """Tell whether a price is neither paid, in part too, nor agreed."""
    of = {figure.partition(".")[0], figure.rpartition(".")[0]}  # goods may be paid, with their freight open
    return of.isdisjoint(_settled(forecast))


def prices_to_ask_for(build: Build, forecast: Forecast, known: Knowledge = None) -> tuple[str, ...]:
    """Give the amounts and prices that a walk-away price can be had for, those of the largest lines first.

    Lines of which something is paid or agreed are left out: their price is no longer in question. So are those of a
    work package that somebody was paid to do, such as what a shop adds once it has painted: nobody walks away then.

    Parameters
    ----------
    build : Build
    forecast : Forecast
        Of the scenario in question, with what is known.
    known : KnownFacts or Standing, optional
    """
    plan, settled, made = forecast.plan, _settled(forecast), routes_made(build, known)
    settled |= {line.id for line in build.line if line.package in made and made[line.package] == line.route}
    sizes: dict[str, float] = {}
    for place, row in enumerate(plan.rows):
        if row.kind == "line" and row.id not in settled:
            sizes[row.of] = sizes.get(row.of, 0.0) + float(forecast.base_rows[place])
    figures = [name for name in figure_names(build) if name.endswith((".amount", ".price"))]
    asked = [
        name
        for name in figures
        if name.partition(".")[0] in sizes
        and name.rpartition(".")[0] not in settled  # goods, with freight still open
    ]
    return tuple(sorted(asked, key=lambda name: -sizes[name.partition(".")[0]]))


def walk_away(
    replay: Again, figure: str, money: float, level: float, unit: str = "", expected: float = float("nan")
) -> WalkAway:
    """Find the highest value of one figure on the trials at hand, to a hundredth, exactly; see `afford`."""
    trials = replay.forecast.trials
    n = trials.count // trials.replicates

    def totals(hundredths: Array) -> Array:
        values = np.repeat(hundredths / STEPS_PER_UNIT, n)
        return replay.run(Change(figures={figure: values})).totals

    def at(hundredths: int) -> Array:
        return totals(np.full(trials.replicates, float(hundredths)))

    def enough(hundredths: int) -> bool:
        return bool(is_enough(at(hundredths), money, level, trials.weights))

    at_nothing = percentile(at(0), level, trials.weights)
    if at_nothing > money:
        return WalkAway(figure, unit, money, level, None, at_nothing, expected)
    high = STEPS_PER_UNIT
    while enough(high):
        high *= 2
        if high > _LARGEST:
            return WalkAway(figure, unit, money, level, None, at_nothing, expected, unlimited=True)
    low = 0
    ceiling = high
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if enough(middle) else (low, middle)
    single = _each_replicate(replay, totals, money, level, 4 * ceiling)
    return WalkAway(
        figure, unit, money, level, Estimate(low / STEPS_PER_UNIT, spread(single / STEPS_PER_UNIT)),
        at_nothing, expected,
    )  # fmt: skip


def _each_replicate(
    replay: Again, totals: Callable[[Array], Array], money: float, level: float, ceiling: int
) -> Array:
    """Find the highest value on each replicate alone, all at once; their spread is the simulation error."""
    trials = replay.forecast.trials
    low, high = np.zeros(trials.replicates), np.full(trials.replicates, float(ceiling))
    weights = None if trials.weights is None else by_replicate(trials.weights, trials.replicates)
    for _ in range(30):
        middle = 0.5 * (low + high)
        enough = is_enough(by_replicate(totals(middle), trials.replicates), money, level, weights)
        low, high = np.where(enough, middle, low), np.where(enough, high, middle)
    return low


def _unit(build: Build, plan: Plan, figure: str) -> str:
    """Give the currency or unit that a figure is written in, whatever the build counts in."""
    for one in (build, *(with_option(build, option) for option in build.option)):
        for place in places(one):
            if place.path == figure:
                return place.unit
    for bought in plan.consignments:
        if figure in bought.inputs:
            unit = bought.inputs[figure].unit or ""
            return "" if unit == "share" else unit  # written as in overrides: 0.05
    return ""


def price_is_for(build: Build, figure: str) -> str:
    """Say what a price is for, such as ``per hour``; nothing for that of a whole line, and for what is no price."""
    item, _, key = figure.rpartition(".")
    for one in (build, *(with_option(build, option) for option in build.option)):
        for line in one.line:
            if line.id != item or key != "price":
                continue
            if isinstance(line.quantity, Known) and line.quantity.value == 1 and not line.quantity.unit:
                return ""
            counted = line.quantity.unit if line.quantity is not None else None
            if line.takeoff is not None and line.takeoff.pack is not None:
                counted = "pack"
            return per_words(line.priced_per or counted or "")
    return ""
