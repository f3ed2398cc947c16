"""What to hold if the builder's ranges are as narrow as most people's.

Asked for a range that holds eight cases of ten, people give one that holds five or six: Soll & Klayman (2004),
Overconfidence in interval estimates, Journal of Experimental Psychology: Learning, Memory, and Cognition 30(2); Haran,
Moore & Morewedge (2010), A simple remedy for overprecision in judgment, Judgment and Decision Making 5(7); titles from
memory.
"""

from __future__ import annotations

from forecast.engine.forecast import Forecast, forecast_plan
from forecast.engine.known import KnownFacts
from forecast.engine.statistics import Estimate
from forecast.figures.normal import normal_score

USUALLY_HELD = 0.6
"""Share of cases that most people's 80 % ranges really hold, at the better end of what was published."""

ENOUGH_CLOSED = 8
"""Closed lines from which the builder's own receipts say how narrow the ranges were."""


def widening(held: float, stated: float = 0.8) -> float:
    """Give how many times as wide ranges must be that hold a share of cases where they should hold another.

    Φ⁻¹((1 + stated) / 2) / Φ⁻¹((1 + held) / 2), on normal scores.

    Raises
    ------
    ValueError
        When a share is not between 0 and 1.
    """
    if not 0 < held < 1 or not 0 < stated < 1:
        message = f"shares: got {held:g} and {stated:g}, must be between 0 and 1."
        raise ValueError(message)
    return normal_score(0.5 + stated / 2) / normal_score(0.5 + held / 2)


def if_narrow(
    forecast: Forecast, level: float = 0.8, *, known: KnownFacts | None = None, held: float = USUALLY_HELD
) -> Estimate:
    """Give what to hold if the builder's own ranges are as narrow as most people's, on the same draws.

    Parameters
    ----------
    forecast : Forecast
        As the ranges stand.
    level : float
        Percentile.
    known : KnownFacts, optional
        What the forecast was conditioned on.
    held : float
        Share of cases that ranges stated for 80 % really hold.
    """
    trials = forecast.trials
    wide = forecast_plan(
        forecast.plan, trials.count, trials.seed, known=known, keep="totals", wider=widening(held)
    )
    found = wide.percentile(level)
    return Estimate(found.value + forecast.outside, found.error)
