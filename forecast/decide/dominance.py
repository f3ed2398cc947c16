"""First- and second-order stochastic dominance of costs, exact for any two discrete distributions.

Cost A dominates cost B

- in the first order when A is at most B at every percentile: whoever likes to pay less prefers A;
- in the second order when the mean of the dearest 1 - p is at most B's for every p: whoever likes to pay less and
  does not like risk prefers A (for costs this is the increasing convex order).

References
----------
Hadar & Russell (1969), American Economic Review 59(1); for costs: Müller & Stoyan (2002), Comparison Methods for
Stochastic Models and Risks, chapter 1 (both from memory). The tests on quantiles are Levy's (2006).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from forecast.figures.shapes import Array

_SLACK = 1e-9  # of the largest amount: rounding must not decide


@dataclass(frozen=True)
class Dominance:
    """Which of two costs is preferred whatever one's taste, as far as that can be said.

    Attributes
    ----------
    order : int
        1 or 2; 0 where neither dominates.
    better : str or None
        The one preferred.
    worse : str or None
    cheaper_at : float
        Share of percentiles at which the first one named costs no more.
    first, second : str
        Names of the two, as given.
    """

    first: str
    second: str
    order: int
    better: str | None
    worse: str | None
    cheaper_at: float


def dominance(
    first: Array,
    second: Array,
    names: tuple[str, str] = ("first", "second"),
    chances: tuple[Sequence[float] | Array | None, Sequence[float] | Array | None] = (None, None),
) -> Dominance:
    """Compare two costs.

    Parameters
    ----------
    first, second : array
        Outcomes; the two may differ in number.
    names : tuple of str
    chances : tuple
        Chance of each outcome; all alike where None.

    Returns
    -------
    Dominance
        Of order 1 with ``better`` None where the two have the same distribution.
    """
    a, up_a = _distribution(first, chances[0])
    b, up_b = _distribution(second, chances[1])
    edges = np.unique(np.concatenate([up_a, up_b]))
    edges = edges[np.concatenate([[True], np.diff(edges) > 1e-12])]
    widths = np.diff(np.concatenate([[0.0], edges]))
    middles = edges - 0.5 * widths
    quantiles_a = a[np.searchsorted(up_a, middles)]
    quantiles_b = b[np.searchsorted(up_b, middles)]
    slack = _SLACK * max(1.0, float(np.abs(a).max()), float(np.abs(b).max()))
    gaps = quantiles_b - quantiles_a
    gaps[np.abs(gaps) <= slack] = 0.0
    cheaper_at = float(widths[gaps >= 0].sum())
    above = np.cumsum((gaps * widths)[::-1])
    if not np.any(gaps):
        return Dominance(*names, 1, None, None, 1.0)
    for order, gain in ((1, gaps), (2, above)):
        if np.all(gain >= -slack):
            return Dominance(*names, order, names[0], names[1], cheaper_at)
        if np.all(gain <= slack):
            return Dominance(*names, order, names[1], names[0], cheaper_at)
    return Dominance(*names, 0, None, None, cheaper_at)


def _distribution(values: Array, chances: Sequence[float] | Array | None) -> tuple[Array, Array]:
    """Give outcomes in rising order with the chance of each or less."""
    outcomes = np.asarray(values, dtype=float)
    order = np.argsort(outcomes, kind="stable")
    if chances is None:
        return outcomes[order], np.arange(1, outcomes.size + 1) / outcomes.size
    mass = np.asarray(chances, dtype=float)[order]
    upper = np.cumsum(mass)
    return outcomes[order], upper / upper[-1]
