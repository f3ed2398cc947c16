"""All advice before ordering at once: how much to hold, why, what to firm up, what could go, which measures pay."""

from __future__ import annotations

from dataclasses import dataclass

from forecast.build.schema import Build
from forecast.decide.contingency import Contingency, contingency
from forecast.decide.firm_up import FirmUp, firm_up
from forecast.decide.measures import MOST_MEASURES, Measures, measures_of
from forecast.decide.replay import replay_of
from forecast.decide.sensitivity import Drivers, Money, drivers
from forecast.decide.trim import Trims, trims
from forecast.engine.forecast import Forecast
from forecast.spending.asis import Knowledge

_SHOWN = 3


@dataclass(frozen=True)
class Advice:
    """Advice before ordering; `sentences` says the gist of each part once.

    Attributes
    ----------
    contingency : Contingency
    drivers : Drivers
    firm_up : tuple of FirmUp
        Best first; all of them, also those that release nothing that can be told apart.
    trims : Trims
    measures : Measures or None
        None where the build has none, or more than can be combined.
    """

    contingency: Contingency
    drivers: Drivers
    firm_up: tuple[FirmUp, ...]
    trims: Trims
    measures: Measures | None

    def sentences(self, money: Money) -> tuple[str, ...]:
        """Say what to hold, what drives it, and what to do about it; nothing twice."""
        said = [self.contingency.sentence(money)]
        if self.contingency.advice is not None:
            said.append(self.contingency.advice.sentence(money))
        said.append(self.drivers.sentence(money))
        said += [item.sentence(money) for item in self.firm_up if item.certain][:_SHOWN]
        if self.measures is not None:
            said.append(self.measures.sentence(money))
            said += [item.sentence(money) for item in self.measures.alone if not item.pays]
        said += [item.sentence(money) for item in self.trims.proposed[:_SHOWN]]
        return tuple(dict.fromkeys(said))


def advise(
    build: Build,
    forecast: Forecast,
    *,
    level: float | None = None,
    short: float | None = None,
    idle: float | None = None,
    known: Knowledge = None,
) -> Advice:
    """Give all advice before ordering.

    Parameters
    ----------
    build : Build
    forecast : Forecast
        Of this build, with rows kept.
    level, short, idle : float, optional
        See `forecast.decide.contingency.contingency`.
    known : KnownFacts or Standing, optional
        What the forecast was conditioned on, if anything.

    Returns
    -------
    Advice

    Raises
    ------
    SimulationError
        When rows were not kept, or an answer makes no sense.
    """
    names = {cause.id: cause.name for cause in build.cause if cause.name}
    held = contingency(forecast, level, short=short, idle=idle, names=names)
    replay = replay_of(forecast)
    found: Measures | None = None
    if 0 < len(build.measure) <= MOST_MEASURES:
        found = measures_of(
            build, forecast.plan.scenario, forecast.trials.count, forecast.trials.seed, known=known
        )
    return Advice(
        held,
        drivers(forecast, names=names),
        firm_up(replay, build, held.level),
        trims(replay, build),
        found,
    )
