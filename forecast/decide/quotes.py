"""Which quote: kits or shops as options, each with its price, its risks and its terms, on the same draws."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from forecast.buildfile.checks import nearest
from forecast.buildfile.options import options_by_choice, with_option
from forecast.buildfile.schema import Build, Option
from forecast.decide.choices import Elsewhere, Settled, not_compared
from forecast.decide.scenarios import Comparison, Summary, compare_forecasts
from forecast.engine.forecast import DEFAULT_SEED, DEFAULT_TRIALS, Forecast
from forecast.errors import SimulationError
from forecast.watching.asis import Knowledge, forecast_given
from forecast.words.chances import builds
from forecast.words.money import Money, rounded


@dataclass(frozen=True)
class Risk:
    """One event under an option.

    Attributes
    ----------
    id, title : str
    chance : float
        Share of trials in which it happens.
    mean : float
        What it adds to the total on average.
    """

    id: str
    title: str
    chance: float
    mean: float


@dataclass(frozen=True)
class Quote:
    """One option beside the others.

    Attributes
    ----------
    id, title : str
    plain : float
        The base estimate with it: what the quote looks like before anything goes wrong.
    summary : Summary
        What the whole build costs with it.
    risks : tuple of Risk
        Events whose chance or cost differs between the options, largest mean first.
    """

    id: str
    title: str
    plain: float
    summary: Summary
    risks: tuple[Risk, ...]

    def sentence(self, money: Money) -> str:
        """Say what the build costs with it, and what its main risk adds."""
        text = (
            f"{self.title}: middle figures {money(self.plain)}, {rounded(money, self.summary.p80)} at P80; cheapest in "
            f"{builds(self.summary.chance_cheapest.value)}"
        )
        if self.risks and self.risks[0].mean > 0:
            first = self.risks[0]
            often = f"in {builds(first.chance)}, {money(first.mean)} on average over all"
            text += f". Its largest risk: {first.title} ({often})"
        return f"{text}."


@dataclass(frozen=True)
class Quotes:
    """The options of one choice, compared.

    Attributes
    ----------
    choice : str
    quotes : tuple of Quote
        In the order of the file.
    comparison : Comparison
        Pair by pair, as for scenarios.
    """

    choice: str
    quotes: tuple[Quote, ...]
    comparison: Comparison

    @property
    def best(self) -> Quote:
        """The option with the lowest P80 of the whole build."""
        return min(self.quotes, key=lambda quote: quote.summary.p80.value)

    def sentence(self, money: Money) -> str:
        """Say which one to take, and whether the lowest quote is also the cheapest build."""
        best = self.best
        lowest = min(self.quotes, key=lambda quote: quote.plain)
        text = f"{best.title} needs least money held: {rounded(money, best.summary.p80)} at P80"
        if lowest.id == best.id:
            return f"{text}; it is also the lowest quote."
        dearer = lowest.summary.p80.value - best.summary.p80.value
        return (
            f"{text}. {lowest.title} looks cheaper by {money(best.plain - lowest.plain)}, but with its risks "
            f"{money(dearer)} more must be held."
        )


def quotes(
    build: Build,
    choice: str,
    scenario: str | None = None,
    trials: int = DEFAULT_TRIALS,
    seed: int = DEFAULT_SEED,
    known: Knowledge = None,
) -> Quotes:
    """Compare the options of one choice.

    Parameters
    ----------
    build : Build
    choice : str
        Such as ``kit``.
    scenario : str, optional
    trials, seed : int
    known : KnownFacts or Standing, optional

    Returns
    -------
    Quotes

    Raises
    ------
    SimulationError
        When the choice has fewer than two options.
    """
    choices = options_by_choice(build)
    options = choices.get(choice, ())
    if len(options) < 2:
        found = f"{len(options)} option{'' if len(options) == 1 else 's'}"
        hint = "" if options else f" {nearest(choice, choices)}"
        message = (
            f"choice {choice!r}: {found} in the build; comparing needs two or more [[option]] tables with "
            f'choice = "{choice}".{hint}'
        )
        raise SimulationError(message)
    forecasts = {
        option.id: forecast_given(with_option(build, option), scenario, trials, seed, known)
        for option in options
    }
    comparison = compare_forecasts(forecasts, {option.id: option.title for option in options})
    return Quotes(choice, _quotes(options, forecasts, comparison), comparison)


def quotes_or_why(
    build: Build,
    choice: str,
    scenario: str | None = None,
    trials: int = DEFAULT_TRIALS,
    seed: int = DEFAULT_SEED,
    known: Knowledge = None,
) -> Quotes | Settled | Elsewhere:
    """Compare the options of a choice; where it is settled, or counts in another way only, say that instead.

    Takes and raises what `quotes` does.
    """
    why = None
    if len(options_by_choice(build).get(choice, ())) > 1:
        why = not_compared(build, choice, scenario, known)
    return quotes(build, choice, scenario, trials, seed, known) if why is None else why


def _quotes(
    options: tuple[Option, ...], forecasts: dict[str, Forecast], comparison: Comparison
) -> tuple[Quote, ...]:
    risks = {id: _risks(forecast) for id, forecast in forecasts.items()}
    told_apart = {
        risk.id
        for found in risks.values()
        for risk in found.values()
        if any(other.get(risk.id) != risk for other in risks.values())
    }
    return tuple(
        Quote(
            option.id, option.title, forecasts[option.id].base_estimate, summary,
            tuple(
                sorted(
                    (risk for risk in risks[option.id].values() if risk.id in told_apart),
                    key=lambda risk: -risk.mean,
                )
            ),
        )
        for option, summary in zip(options, comparison.scenarios, strict=True)
    )  # fmt: skip


def _risks(forecast: Forecast) -> dict[str, Risk]:
    trials = forecast.trials
    gates = {gate.id: place for place, gate in enumerate(trials.plan.gates)}
    found = {}
    for row in trials.plan.rows:
        if row.kind == "event" and row.gate is not None:
            chance = float(np.average(trials.gates[gates[row.gate]], weights=trials.weights))
            mean = float(np.average(trials.row(row.id), weights=trials.weights))
            found[row.id] = Risk(row.id, row.title, chance, mean)
    return found
