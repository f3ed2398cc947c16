"""A Monte Carlo budget and risk forecaster for one owner-built vehicle body conversion.

>>> from forecast import read_build, simulate
>>> forecast = simulate(read_build("scenarios/..."), scenario="diy")  # doctest: +SKIP
>>> forecast.percentile(0.8).value  # doctest: +SKIP
"""

from forecast.build.buildfile import read_build
from forecast.build.schema import Build
from forecast.engine.forecast import Forecast, simulate
from forecast.engine.known import KnownFacts
from forecast.engine.statistics import Estimate
from forecast.errors import BuildFileError, ForecastError, LedgerError, RuleError, SimulationError

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
