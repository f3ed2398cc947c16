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
from forecast.figures.evaluate import Value, evaluate, shape_of
from forecast.figures.kinds import Known
from forecast.trade.consignment_lines import expand, payment_days
from forecast.trade.currency import build_paths
from forecast.trade.expansion import Expansion, RuleUse
from forecast.trade.rules import load_carriage

TENTH = 1.1
"""A way of counting, such as the cm³ of a kilogram, cannot be left out: it is taken a tenth larger."""


@dataclass(frozen=True)
class Weight:
    """What hangs on a figure, in the build's money, and as a share of the consignment's sum."""

    amount: float
    share: float


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

    def come_to(one: Consignment) -> float:
        paths = build_paths(build.currency, home, days, today)
        return _sum_of(
            expand(one, country, home, paths, today, per_euro=per_euro(build), region=build.build.region)
        )

    whole = come_to(bought)
    found: dict[str, Weight] = {}
    for use in expansion.figures:
        changed = _without(bought, use) if use.doubts else None
        if changed is None:
            continue
        try:
            amount = abs(whole - come_to(changed))
        except RuleError:  # without it the rest cannot be worked out: no sum tells what hangs on it
            continue
        found[use.id] = Weight(amount, amount / whole if whole > 0 else 0.0)
    return found


def _sum_of(expansion: Expansion) -> float:
    """Give what a consignment comes to at the middle figures, its events by their chance."""
    inputs: dict[str, Value] = {
        id: figure.value if isinstance(figure, Known) else shape_of(figure, id).middle
        for id, figure in expansion.inputs.items()
    }
    lines: dict[str, Value] = {}
    for line in expansion.lines:
        lines[line.id] = float(evaluate(line.formula, inputs, lines))
    events = sum(
        event.chance * float(evaluate(formula, inputs, lines))
        for event in expansion.events
        for formula in (event.formula, *([event.back.formula] if event.back else []))
    )
    return float(sum(float(value) for value in lines.values()) + events)


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
