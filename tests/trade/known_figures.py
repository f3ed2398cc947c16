"""What charges on the way come to for known figures, by the formulas that simulations use."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal

from forecast.buildfile.consignment import Mode
from forecast.figures.formula import Constant
from forecast.trade.arrival import Step, disbursement, storage
from forecast.trade.exact import evaluate
from forecast.trade.journey import BoxFormulas, chargeable_quantity


def storage_cost(
    units: float,
    days: float,
    free_days: float,
    steps: Sequence[tuple[float | None, float]],
    minimum: float = 0,
) -> Decimal:
    """Give what storage costs for known figures; ``steps`` are pairs of days (None for the last) and rate."""
    listed = [Step(Constant(rate), length) for length, rate in steps]
    formula = storage(Constant(units), Constant(days), Constant(free_days), listed, Constant(minimum))
    return evaluate(formula)


def disbursement_fee(advanced: float, percent: float, minimum: float) -> Decimal:
    """Give the fee for advancing duty and tax for known figures."""
    return evaluate(disbursement(Constant(advanced), Constant(percent), Constant(minimum)))


def chargeable(
    mode: Mode,
    boxes: Sequence[tuple[float, float, float, float, int]],
    overrides: Mapping[str, float] | None = None,
) -> Decimal:
    """Give what the carrier charges for, for known boxes.

    Parameters
    ----------
    mode : str
        See `chargeable_quantity`.
    boxes : sequence of tuple
        Length, width and height in cm, weight of one in kg, and how many.
    overrides : mapping, optional
        See `chargeable_quantity`.

    Returns
    -------
    decimal.Decimal
        In kg or W/M.
    """
    sizes = [
        BoxFormulas(Constant(length), Constant(width), Constant(height), Constant(kg), count)
        for length, width, height, kg, count in boxes
    ]
    return evaluate(chargeable_quantity(mode, sizes, overrides))
