"""How much a carrier charges for: volume against weight.

Measure at the outermost points. A body kit is bulky and light: a box of 200 × 120 × 60 cm and 45 kg is billed
as 288 kg by a courier, so the volume, not the weight, decides.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from forecast.buildfile.consignment import Mode
from forecast.errors import RuleError
from forecast.figures.formula import Constant, Formula, Larger, Product, Quotient, RoundedUp, Sum
from forecast.trade.exact import evaluate
from forecast.trade.rules import load_carriage


@dataclass(frozen=True)
class BoxSize:
    """Boxes of one size as formulas: outermost measures in cm, weight of one in kg."""

    length: Formula
    width: Formula
    height: Formula
    weight: Formula
    count: int = 1

    @property
    def cubic_cm(self) -> Formula:
        """Volume of one box in cm³."""
        return Product((self.length, self.width, self.height))


def volume(boxes: Sequence[BoxSize]) -> Formula:
    """Give the volume of all boxes in m³."""
    parts = tuple(Product((Constant(box.count), box.cubic_cm)) for box in boxes)
    return Quotient(Sum(parts), Constant(1_000_000))


def weight(boxes: Sequence[BoxSize]) -> Formula:
    """Give the weight of all boxes in kg."""
    return Sum(tuple(Product((Constant(box.count), box.weight)) for box in boxes))


def chargeable_quantity(
    mode: Mode, boxes: Sequence[BoxSize], overrides: Mapping[str, float] | None = None
) -> Formula:
    """Give what the carrier charges for, in kg or W/M (see `forecast.buildfile.consignment.UNITS`).

    Parameters
    ----------
    mode : str
        ``courier``: each box by itself, the larger of kg and cm³ / 5000, rounded up. ``air``: all boxes
        together, the larger of kg and cm³ / 6000, rounded up. ``sea``: the larger of m³, tonnes and 1.
        ``road``: the larger of kg and 333 kg per m³, rounded up.
    boxes : sequence of BoxSize
    overrides : mapping, optional
        Other figures by id, such as ``sea.kg_per_m3``; see the carriage figures of the rules.

    Returns
    -------
    Formula

    Raises
    ------
    RuleError
        When there is no box, or an override makes no sense.
    """
    if not boxes:
        message = (
            "boxes: none is given. Give boxes = [{ length, width, height, weight, count }] in cm and kg."
        )
        raise RuleError(message)
    figures = {id: figure.value for id, figure in load_carriage().items()} | dict(overrides or {})
    for id, value in figures.items():
        if value <= 0 and id.startswith(mode):
            message = f"overrides {id!r}: found {value:g}. It must be above zero."
            raise RuleError(message)
    kg, m3 = weight(boxes), volume(boxes)
    match mode:
        case "courier":
            divisor, step = Constant(figures["courier.divisor"]), figures["courier.step"]
            each = [RoundedUp(Larger((box.weight, Quotient(box.cubic_cm, divisor))), step) for box in boxes]
            return Sum(
                tuple(Product((Constant(box.count), one)) for box, one in zip(boxes, each, strict=True))
            )
        case "air":
            cubic_cm = Sum(tuple(Product((Constant(box.count), box.cubic_cm)) for box in boxes))
            volumetric = Quotient(cubic_cm, Constant(figures["air.divisor"]))
            return RoundedUp(Larger((kg, volumetric)), figures["air.step"])
        case "sea":
            by_weight = Quotient(kg, Constant(figures["sea.kg_per_m3"]))
            return Larger((m3, by_weight, Constant(figures["sea.minimum"])))
        case "road":
            by_volume = Product((m3, Constant(figures["road.kg_per_m3"])))
            return RoundedUp(Larger((kg, by_volume)), figures["road.step"])


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
        BoxSize(Constant(length), Constant(width), Constant(height), Constant(kg), count)
        for length, width, height, kg, count in boxes
    ]
    return evaluate(chargeable_quantity(mode, sizes, overrides))
