"""Chargeable quantities."""

from __future__ import annotations

from decimal import Decimal

import pytest

from forecast.errors import RuleError
from forecast.figures.formula import Input
from forecast.trade.exact import evaluate
from forecast.trade.journey import BoxFormulas, chargeable_quantity
from tests.trade.known_figures import chargeable

KIT_BOX = (200, 120, 60, 45, 1)  # bulky and light: 1.44 m³, 45 kg


@pytest.mark.parametrize(
    ("mode", "expected"),
    [
        ("courier", 288),  # 1,440,000 / 5,000
        ("air", 240),  # 1,440,000 / 6,000
        ("sea", 1.44),
        ("road", 480),  # 1.44 × 333 = 479.52, rounded up
    ],
)
def test_a_kit_box_is_charged_by_its_volume(mode: str, expected: float) -> None:
    assert chargeable(mode, [KIT_BOX]) == Decimal(str(expected))  # type: ignore[arg-type]


@pytest.mark.parametrize(("mode", "expected"), [("courier", 61), ("air", 61), ("sea", 1), ("road", 61)])
def test_a_small_heavy_box_is_charged_by_its_weight(mode: str, expected: float) -> None:
    assert chargeable(mode, [(40, 40, 40, 60.2, 1)]) == expected  # type: ignore[arg-type]


def test_sea_freight_charges_tonnes_where_they_exceed_cubic_metres() -> None:
    assert chargeable("sea", [(100, 100, 100, 1500, 2)]) == 3
    assert chargeable("sea", [(100, 100, 100, 400, 2)]) == 2
    assert chargeable("sea", [(100, 100, 100, 800, 2)], {"sea.kg_per_m3": 500}) == Decimal("3.2")


def test_a_courier_weighs_each_box_by_itself_and_air_freight_all_together() -> None:
    boxes = [(100, 50, 50, 10, 1), (30, 30, 30, 40, 2)]

    assert chargeable("courier", boxes) == 50 + 2 * 40
    assert chargeable("air", boxes) == 90  # the weight of all: volume would be 50.7


def test_counts_multiply() -> None:
    assert chargeable("sea", [(*KIT_BOX[:4], 3)]) == Decimal("4.32")


def test_uncertain_measures_stay_in_the_formula() -> None:
    box = BoxFormulas(Input("l"), Input("w"), Input("h"), Input("kg"))
    formula = chargeable_quantity("sea", [box])

    values = {"l": Decimal(250), "w": Decimal(120), "h": Decimal(100), "kg": Decimal(50)}
    assert evaluate(formula, values) == 3


def test_no_box_and_senseless_figures_are_refused() -> None:
    with pytest.raises(RuleError, match=r"boxes: none is given. Give boxes = "):
        chargeable("sea", [])
    with pytest.raises(RuleError, match=r"overrides 'air.divisor': found 0. It must be above zero"):
        chargeable("air", [KIT_BOX], {"air.divisor": 0})
