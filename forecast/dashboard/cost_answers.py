"""What the page of cost asks of the trials, kept by what the answers depend on."""

from __future__ import annotations

from dataclasses import dataclass

from forecast.buildfile.schema import Build
from forecast.dashboard.aside import Errand
from forecast.dashboard.shelf import shelved
from forecast.dashboard.state import Opened, as_it_stands, known_by_now, ledger_state
from forecast.decide.afford import BudgetChance, WalkAway, afford, budget_chance
from forecast.decide.again import Again, replay_of
from forecast.decide.drivers import Drivers, drivers
from forecast.decide.firm_up import FirmUp, firm_up, firm_up_of
from forecast.decide.measures import Measures, measures_of
from forecast.decide.trim import Trims, trims
from forecast.engine.forecast import DEFAULT_SEED, DEFAULT_TRIALS, Forecast
from forecast.watching import standing as spending

LEVEL = 0.8
"""The percentile that the page holds, and that advice on it is about."""

Key = tuple[str, str, str]
"""What an answer depends on: the build, its scenario and what the ledger says."""


@dataclass(frozen=True)
class StandingForecast:
    """The forecast as it stands, for advice on what is still open.

    Attributes
    ----------
    key : tuple of str
    forecast : Forecast
        With the receipts in, where there are any.
    known : StandingForecast or None
        What the ledger says.
    """

    key: Key
    forecast: Forecast
    known: spending.Standing | None

    def replay(self) -> Again:
        """Give its trials to be evaluated again: one set for all answers of a state, until another is asked for."""
        if _LAST.get("replay", (None, None))[0] is not self.forecast:
            _LAST["replay"] = self.forecast, replay_of(self.forecast)
        return _LAST["replay"][1]


_LAST: dict[str, tuple[Forecast, Again]] = {}


def standing_of(view: Opened) -> StandingForecast:
    """Give the forecast as it stands."""
    key = (view.build.fingerprint(), view.scenario or "", ledger_state(view.ledger))
    return StandingForecast(key, as_it_stands(view), known_by_now(view))


def to_firm_up(view: Opened) -> tuple[FirmUp, ...]:
    """Rank what to firm up first."""
    standing = standing_of(view)
    return _firm_up(*standing.key, standing, view.build)


def firm_up_on_its_way(view: Opened) -> bool:
    """Tell whether the second process is to give `to_firm_up` and has not yet; a page asks early, and draws it last."""
    standing = standing_of(view)
    errand = Errand(firm_up_of, (standing.forecast, view.build, LEVEL))
    return _firm_up.on_its_way(errand, *standing.key, standing, view.build)


@shelved("Working out how much less a quote lets you hold …", keys=3, state=2)
def _firm_up(
    fingerprint: str, scenario: str, state: str, _standing: StandingForecast, _build: Build
) -> tuple[FirmUp, ...]:
    return firm_up(_standing.replay(), _build, LEVEL, learning=False)


def driving(view: Opened) -> Drivers:
    """Give what drives the total."""
    standing = standing_of(view)
    return _driving(*standing.key, standing, view.build)


@shelved("", keys=3, state=2)
def _driving(
    fingerprint: str, scenario: str, state: str, _standing: StandingForecast, _build: Build
) -> Drivers:
    names = {cause.id: cause.name or cause.id for cause in _build.cause}
    return drivers(_standing.forecast, names=names)


def could_go(view: Opened) -> Trims:
    """Rank optional lines by what leaving them out frees."""
    standing = standing_of(view)
    return _could_go(*standing.key, standing, view.build)


@shelved("", keys=3, state=2)
def _could_go(
    fingerprint: str, scenario: str, state: str, _standing: StandingForecast, _build: Build
) -> Trims:
    return trims(_standing.replay(), _build)


def measured(view: Opened) -> Measures:
    """Tell which measures pay.

    Raises
    ------
    SimulationError
        When there are too many to combine.
    """
    standing = standing_of(view)
    return _measured(*standing.key, standing, view.build)


@shelved("Trying measures in all combinations …", keys=3, state=2)
def _measured(
    fingerprint: str, scenario: str, state: str, _standing: StandingForecast, _build: Build
) -> Measures:
    return measures_of(_build, scenario or None, DEFAULT_TRIALS, DEFAULT_SEED, known=_standing.known)


def enough(view: Opened, money: float) -> BudgetChance:
    """Give the chance that a sum is enough, as things stand."""
    standing = standing_of(view)
    return budget_chance(standing.forecast, money)


def walk_away_price(view: Opened, money: float, figure: str) -> WalkAway:
    """Give the highest value of a figure at which a sum is enough.

    Raises
    ------
    SimulationError
        When the figure does not count in the scenario.
    """
    standing = standing_of(view)
    return _walk_away(*standing.key, money, figure, standing, view.build)


@shelved("", keys=5, state=2)
def _walk_away(
    fingerprint: str,
    scenario: str,
    state: str,
    money: float,
    figure: str,
    _standing: StandingForecast,
    _build: Build,
) -> WalkAway:
    return afford(
        _build, money, figure, scenario or None,
        level=LEVEL, trials=DEFAULT_TRIALS, seed=DEFAULT_SEED, known=_standing.known, replay=_standing.replay(),
    )  # fmt: skip
