"""A Monte Carlo budget and risk forecaster for one owner-built vehicle body conversion.

>>> from forecast import simulate
>>> found = simulate("scenarios/before-ordering-ireland", scenario="diy", trials=1024)
>>> f"{found.percentile(0.8):,.0f} {found.currency}"
'14,140 EUR'

Names are imported when they are first used, so that ``forecast --help`` need not wait for the numeric libraries.
"""

from __future__ import annotations

from importlib import import_module

# As `typing` has it, whose import would be the longest part of a command's start.
TYPE_CHECKING = False

if TYPE_CHECKING:
    from typing import Any

    from forecast.buildfile.reader import read_build
    from forecast.buildfile.schema import Build
    from forecast.engine.known import KnownFacts
    from forecast.engine.statistics import Estimate
    from forecast.errors import BuildFileError, ForecastError, LedgerError, RuleError, SimulationError
    from forecast.views.notebook import (
        Forecast,
        compare,
        contingency,
        moved,
        open_ledger,
        reforecast,
        simulate,
    )

__version__ = "0.2.0"

_HOMES = {
    "Build": "forecast.buildfile.schema",
    "BuildFileError": "forecast.errors",
    "Estimate": "forecast.engine.statistics",
    "Forecast": "forecast.views.notebook",
    "ForecastError": "forecast.errors",
    "KnownFacts": "forecast.engine.known",
    "LedgerError": "forecast.errors",
    "RuleError": "forecast.errors",
    "SimulationError": "forecast.errors",
    "compare": "forecast.views.notebook",
    "contingency": "forecast.views.notebook",
    "moved": "forecast.views.notebook",
    "open_ledger": "forecast.views.notebook",
    "read_build": "forecast.buildfile.reader",
    "reforecast": "forecast.views.notebook",
    "simulate": "forecast.views.notebook",
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
    "compare",
    "contingency",
    "moved",
    "open_ledger",
    "read_build",
    "reforecast",
    "simulate",
]


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    message = f"module {__name__!r} has no attribute {name!r}"
    raise AttributeError(message)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
