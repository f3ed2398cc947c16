"""Storage, the fee for advancing duty and tax, transit insurance."""

from __future__ import annotations

from decimal import Decimal

import pytest

from forecast.errors import RuleError
from forecast.figures.formula import Constant
from forecast.trade.arrival import (
    Step,
    above,
    at_most,
    insurance_premium,
    storage,
)
from forecast.trade.exact import evaluate
from tests.trade.known_figures import disbursement_fee, storage_cost

# Shape of a published port tariff: 5 working days free, then per ton blocks that rise 4.00, 5.50, 8.00
# (nevisportsauthority.com); the lengths of the blocks are ours.
STEPS = [(7, 4.00), (7, 5.50), (None, 8.00)]


@pytest.mark.parametrize(
    ("days", "expected"),
    [
        (0, 0),
        (5, 0),
        (5.2, 4.00),  # a day begun counts
        (6, 4.00),
        (12, 28.00),
        (13, 33.50),
        (19, 66.50),
        (20, 74.50),
        (30, 154.50),
    ],
)
def test_storage_rises_by_steps_after_the_free_days(days: float, expected: float) -> None:
    assert storage_cost(1, days, 5, STEPS) == Decimal(str(expected))


def test_storage_is_charged_per_unit_and_at_least_its_minimum_once_begun() -> None:
    assert storage_cost(2.5, 6, 5, STEPS) == 10
    assert storage_cost(2.5, 6, 5, STEPS, minimum=45) == 45
    assert storage_cost(2.5, 5, 5, STEPS, minimum=45) == 0
    assert storage_cost(2.5, 30, 5, STEPS, minimum=45) == Decimal("386.25")


def test_storage_steps_need_days_but_for_the_last() -> None:
    with pytest.raises(RuleError, match="every step but the last needs days"):
        storage(Constant(1), Constant(9), Constant(5), [Step(Constant(4)), Step(Constant(5))])


@pytest.mark.parametrize(
    ("advanced", "percent", "minimum", "expected"),
    [
        (1_000, 2.5, 12, 25),
        (300, 2.5, 12, 12),
        (1_000, 15, 45, 150),  # a UK forwarder's undated sheet: 15 %, at least 45
        (200, 15, 45, 45),
        (400, 2, 11, 11),  # US couriers: the greater of 11 USD or 2 % (a third party's page)
        (1_000, 2, 11, 20),
        (0, 2.5, 12, 0),  # nothing is advanced, nothing is charged
    ],
)
def test_advancing_duty_and_tax_costs_the_larger_of_percent_and_minimum(
    advanced: float, percent: float, minimum: float, expected: float
) -> None:
    assert disbursement_fee(advanced, percent, minimum) == expected


def test_the_premium_insures_itself_too() -> None:
    """I = r × 1.10 × (C + I)."""
    premium = evaluate(insurance_premium(Constant(4_600), 1.5))

    assert float(premium) == pytest.approx(0.015 * 1.10 * (4_600 + float(premium)), rel=1e-12)


@pytest.mark.parametrize(
    ("value", "is_above"), [(0, 0), (99.99, 0), (100, 0), (100.01, 1), (100.5, 1), (1e7, 1)]
)
def test_a_limit_is_passed_only_above_it(value: float, is_above: int) -> None:
    assert evaluate(above(Constant(value), Constant(100))) == is_above
    assert evaluate(at_most(Constant(value), Constant(100))) == 1 - is_above
