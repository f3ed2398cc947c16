"""What moves the total together: shared causes, events, and each figure's own uncertainty.

The total is split, trial by trial, into parts that add up: what events cost, what each shared cause moves (a
least-squares fit of everything else on the causes' scores and their squares), and the rest, which belongs to
single figures.

Letters: N trials, K shared causes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from forecast.buildfile.schema import OWN_ESTIMATING
from forecast.decide.again import Draws
from forecast.figures.shapes import Array

EVENTS = "events"
SINGLE_FIGURES = "single_figures"

_TITLES = {
    EVENTS: "Events, and lines that may not be needed",
    SINGLE_FIGURES: "What single figures do on their own",
    OWN_ESTIMATING: "Your own estimating",
}


@dataclass(frozen=True)
class CausePart:
    """What one cause adds to the total in each trial.

    Attributes
    ----------
    id, title : str
    values : ndarray, shape (N,)
        Money; of a shared cause around its mean, so that the parts and a constant add up to the total.
    """

    id: str
    title: str
    values: Array


def cause_title(id: str, names: dict[str, str] | None = None) -> str:
    """Give a cause's name in words."""
    return (names or {}).get(id) or _TITLES.get(id) or id.replace("_", " ").capitalize()


def cause_parts(draws: Draws, names: dict[str, str] | None = None) -> tuple[CausePart, ...]:
    """Split the total by cause.

    Parameters
    ----------
    draws : Draws
        Of a forecast whose rows were kept.
    names : dict, optional
        Name by cause id.

    Returns
    -------
    tuple of CausePart
        Shared causes in the plan's order, then events, then single figures.
    """
    trials = draws.forecast.trials
    plan = trials.plan
    happening = [row for row in plan.rows if row.is_money and row.gate is not None]
    events = np.zeros(trials.count)
    for row in happening:
        events += trials.row(row.id)
    rest = trials.totals - events
    weights = trials.weights if trials.weights is not None else np.ones(trials.count)
    rest = rest - np.average(rest, weights=weights)
    parts: list[CausePart] = []
    if plan.causes:
        scores = draws.causes
        terms = np.concatenate([scores, scores**2])
        terms = terms - np.average(terms, axis=1, weights=weights)[:, None]
        gram = (terms * weights) @ terms.T
        slopes = np.linalg.lstsq(gram, (terms * weights) @ rest, rcond=None)[0]
        count = len(plan.causes)
        for place, cause in enumerate(plan.causes):
            moved = slopes[place] * terms[place] + slopes[count + place] * terms[count + place]
            parts.append(CausePart(cause, cause_title(cause, names), moved))
            rest = rest - moved
    parts.append(CausePart(EVENTS, cause_title(EVENTS), events))
    parts.append(CausePart(SINGLE_FIGURES, cause_title(SINGLE_FIGURES), rest))
    return tuple(parts)
