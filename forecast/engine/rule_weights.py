"""How much of a consignment's sum hangs on each figure of law, carriers and agents that should be looked up.

A figure is left out, or a way of counting taken a tenth larger, and the consignment written out anew: what its sum at
the middle figures moves by is what hangs on the figure.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from forecast.buildfile.consignment import Consignment, Examination
from forecast.buildfile.kept import Kept
from forecast.buildfile.rates import per_euro
from forecast.buildfile.schema import Build
from forecast.errors import RuleError
from forecast.figures.evaluate import Value, evaluate, in_turn
from forecast.figures.kinds import Known
from forecast.trade.consignment_lines import expand, payment_days
from forecast.trade.currency import build_paths
from forecast.trade.expansion import Expansion, RuleUse
from forecast.trade.rules import load_carriage

TENTH = 1.1
"""A way of counting, such as the cm³ of a kilogram, cannot be left out: it is taken a tenth larger."""


@dataclass(frozen=True)
class Weight:
    """What hangs on a figure.

    Attributes
    ----------
    amount : float
        In the build's money.
    share : float
        Of the consignment's sum.
    follows : float
        What of the amount stands in other lines than the figure's own: tax and fees on it.
    """

    amount: float
    share: float
    follows: float = 0.0


def rule_weights(build: Build, expansion: Expansion, on: date | None = None) -> Mapping[str, Weight]:
    """Give what hangs on each figure of a consignment that should be looked up, by the figure's id.

    Parameters
    ----------
    build : Build
    expansion : Expansion
        One of the build's consignments, written out.
    on : datetime.date, optional
        The day for which dated rules are judged; today when left out.

    Returns
    -------
    mapping
        Without figures that the builder cannot overwrite.
    """
    today = on or date.today()
    return _KEPT.get(build, (expansion.consignment, today), lambda: _weights(build, expansion, today))


_KEPT: Kept[Mapping[str, Weight]] = Kept()


def _weights(build: Build, expansion: Expansion, today: date) -> Mapping[str, Weight]:
    bought = next(item for item in build.consignment if item.id == expansion.consignment)
    home, country = build.build.currency, build.build.country
    days = payment_days(build.consignment, country, home)

    def come_to(one: Consignment) -> dict[str, float]:
        paths = build_paths(build.currency, home, days, today)
        return _sums_of(
            expand(one, country, home, paths, today, per_euro=per_euro(build), region=build.build.region)
        )

    lines = come_to(bought)
    whole = sum(lines.values())
    found: dict[str, Weight] = {}
    for use in expansion.figures:
        changed = _without(bought, use) if use.doubts else None
        if changed is None:
            continue
        try:
            less = come_to(changed)
        except RuleError:  # without it the rest cannot be worked out: no sum tells what hangs on it
            continue
        amount = abs(whole - sum(less.values()))
        own = max(abs(lines.get(name, 0.0) - less.get(name, 0.0)) for name in {*lines, *less})
        found[use.id] = Weight(amount, amount / whole if whole > 0 else 0.0, max(0.0, amount - own))
    return found


def _sums_of(expansion: Expansion) -> dict[str, float]:
    """Give what each line of a consignment comes to at the middle figures, and its events by their chance."""
    inputs: dict[str, Value] = {id: figure.shape(id).middle for id, figure in expansion.inputs.items()}
    found = in_turn(expansion.lines, inputs)
    lines: Mapping[str, Value] = dict(found)
    for event in expansion.events:
        formulas = (event.formula, *([event.back.formula] if event.back else []))
        found[event.id] = sum(event.chance * float(evaluate(one, inputs, lines)) for one in formulas)
    return found


def _without(bought: Consignment, use: RuleUse) -> Consignment | None:
    """Give the consignment without a figure; None where none of the builder's could stand in its place."""
    if use.key.startswith("overrides"):
        counted = load_carriage().get(use.id)
        figure = Known(value=0.0 if counted is None else counted.value * TENTH)
        return bought.model_copy(update={"overrides": {**bought.overrides, use.id: figure}})
    if use.key.startswith("arrival"):
        arrival = bought.arrival.model_copy(update={use.id: Known(value=0.0)})
        return bought.model_copy(update={"arrival": arrival})
    if use.key.startswith("storage"):
        changes = {"free_days": 0.0} if use.id == "storage_free" else {"days": Known(value=0.0)}
        return bought.model_copy(update={"storage": bought.storage.model_copy(update=changes)})
    if use.key.startswith("examination"):
        return bought.model_copy(update={"examination": Examination(chance=0.0, cost=Known(value=0.0))})
    return None


__all__ = ["TENTH", "Weight", "rule_weights"]
