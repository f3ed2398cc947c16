"""What is at stake in each thing that wants attention, in money: by that they are ordered."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np

from forecast.engine.forecast import Forecast
from forecast.watching.reforecast import LineWatch, Reforecast


def still_counted(watch: Reforecast, names: Collection[str]) -> float:
    """Give what the forecast still counts for lines and events beyond what was paid for them, on average.

    That is what it holds too much if nothing more comes for them.

    Parameters
    ----------
    watch : Reforecast
    names : collection of str
        Ids of lines and events.
    """
    return sum(max(line.mean_now - line.paid, 0.0) for line in watch.lines if line.id in names)


def beyond_high(line: LineWatch) -> float:
    """Give how much more was paid for a line than the most that was expected."""
    return max(line.paid - line.before[2], 0.0)


def missing_on_average(found: Forecast | Reforecast, budget: float) -> float:
    """Give what a budget lacks, on average over all builds: nothing in those in which it is enough.

    So a budget that is short in most builds weighs more than one that is short by as much in few.
    """
    totals, trials = (
        (found.totals, found.now.trials)
        if isinstance(found, Reforecast)
        else (found.trials.totals + found.outside, found.trials)
    )
    return float(np.average(np.maximum(totals - budget, 0.0), weights=trials.weights))
