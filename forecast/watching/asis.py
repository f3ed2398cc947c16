"""A build as it stands: forecasts that start from what is paid, agreed and said, for every question alike."""

from __future__ import annotations

from dataclasses import replace
from typing import TypeAlias

from forecast.buildfile.schema import Build
from forecast.engine.forecast import DEFAULT_SEED, DEFAULT_TRIALS, Forecast, forecast_plan
from forecast.engine.known import KnownFacts
from forecast.engine.plan import compile_plan
from forecast.engine.rows import Plan
from forecast.engine.replicate import Keep
from forecast.watching.known import known_from
from forecast.watching.standing import Standing
from forecast.words.minor_units import to_float

Knowledge: TypeAlias = KnownFacts | Standing | None
"""What is known by now: facts about one plan's lines, a ledger as it stands, which fits any plan, or nothing."""


def facts_about(plan: Plan, known: Knowledge, build: Build | None = None) -> tuple[KnownFacts | None, float]:
    """Give what is known of a plan's lines, and what was paid for lines that it does not have.

    Money that is paid is paid: a way of doing the build that has no use for it bears it all the same. With the build
    that the plan is of, it also learns from it all the same.
    """
    if known is None or isinstance(known, KnownFacts):
        return known, 0.0
    found = known_from(plan, known, build)
    return found.facts, to_float(found.outside_minor, plan.currency)


def forecast_given(
    build: Build,
    scenario: str | None = None,
    trials: int = DEFAULT_TRIALS,
    seed: int = DEFAULT_SEED,
    known: Knowledge = None,
    keep: Keep | None = "rows",
) -> Forecast:
    """Forecast what a build costs, starting from what is known.

    Parameters
    ----------
    build : Build
    scenario : str, optional
        Its id; the first of the file when left out.
    trials, seed : int
    known : KnownFacts, Standing or None
    keep : {"rows", "totals"}, optional

    Returns
    -------
    Forecast
        What was paid for lines that the scenario does not have counts in its totals and in its base estimate.

    Raises
    ------
    SimulationError
        When something asked for cannot be simulated.
    """
    plan = compile_plan(build, scenario)
    facts, outside = facts_about(plan, known, build)
    return with_outside(forecast_plan(plan, trials, seed, known=facts, keep=keep), outside)


def spent(build: Build, known: Standing) -> dict[str, float]:
    """Give what was paid for each line or event, in the build's main unit."""
    code = build.build.currency
    return {name: to_float(amount, code) for name, amount in known.paid.items() if amount}


def with_outside(forecast: Forecast, outside: float) -> Forecast:
    """Give a forecast with a sum on top of every trial: money spent on what is none of its lines."""
    if not outside:
        return forecast
    trials = replace(forecast.trials, totals=forecast.trials.totals + outside)
    return replace(forecast, trials=trials, outside=forecast.outside + outside)
