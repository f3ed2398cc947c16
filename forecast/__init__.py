"""A Monte Carlo budget and risk forecaster for one owner-built vehicle body conversion.

>>> from forecast import read_build, simulate
>>> forecast = simulate(read_build("scenarios/…"), scenario="diy")  # doctest: +SKIP
>>> forecast.percentile(0.8).value  # doctest: +SKIP

Names are imported when they are first used, so that ``forecast --help`` need not wait for the numeric libraries.
"""

from __future__ import annotations

from importlib import import_module

# As `typing` has it, whose import would be the longest part of a command's start.
TYPE_CHECKING = False

if TYPE_CHECKING:
    from typing import Any

    from forecast.build.buildfile import read_build
    from forecast.build.schema import Build
    from forecast.engine.forecast import Forecast, simulate
    from forecast.engine.known import KnownFacts
    from forecast.engine.statistics import Estimate
    from forecast.errors import BuildFileError, ForecastError, LedgerError, RuleError, SimulationError

__version__ = "0.2.0"

_HOMES = {
    "Build": "forecast.build.schema",
    "BuildFileError": "forecast.errors",
    "Estimate": "forecast.engine.statistics",
    "Forecast": "forecast.engine.forecast",
    "ForecastError": "forecast.errors",
    "KnownFacts": "forecast.engine.known",
    "LedgerError": "forecast.errors",
    "RuleError": "forecast.errors",
    "SimulationError": "forecast.errors",
    "read_build": "forecast.build.buildfile",
    "simulate": "forecast.engine.forecast",
}

__all__ = [
    "Build",
    "BuildFileError",
    "Estimate",
    "Forecast",
    "ForecastError",
    "KnownFacts",
    "LedgerError",
    "RuleError",
    "SimulationError",
    "read_build",
    "simulate",
]


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    message = f"module {__name__!r} has no attribute {name!r}"
    raise AttributeError(message)
