"""What a consignment may say in the build file."""

from __future__ import annotations

from typing import Any

import pytest
from pydantic import ValidationError

from forecast.buildfile.consignment import Consignment, figures_in
from forecast.figures.kinds import Known, Percentiles

LEAST: dict[str, Any] = {"id": "kit", "price": 4000, "incoterm": "FOB", "mode": "sea"}
BOX = {"length": 200, "width": 120, "height": {"low": 50, "middle": 60, "high": 80}, "weight": 45}


def test_one_price_stands_for_goods_of_the_usual_code() -> None:
    consignment = Consignment.model_validate({**LEAST, "id": "wide_kit"})

    assert [(item.id, item.name, item.hs, item.group) for item in consignment.items] == [
        ("goods", "Wide kit", "8708.29", "kit")
    ]
    assert consignment.freight_at == consignment.balance_at == consignment.balance_days == 60


def test_every_figure_is_found_however_deep() -> None:
    consignment = Consignment.model_validate(
        {
            **LEAST,
            "boxes": [BOX],
            "arrival": {"terminal": 70},
            "storage": {"steps": [{"days": 5, "rate": 4}, {"rate": 8}]},
            "overrides": {"duty.8708.29": 0.0},
        }
    )

    found = dict(figures_in(consignment))

    assert found["boxes", 0, "height"] == Percentiles(low=50, middle=60, high=80)
    assert found["arrival", "terminal"] == Known(value=70)
    assert found["storage", "steps", 1, "rate"] == Known(value=8)
    assert found["overrides", "duty.8708.29"] == Known(value=0)
    assert len(found) == 9


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"price": None}, "nothing is bought"),
        ({"goods": [{"id": "a", "price": 1}]}, "has goods as well as a price"),
        ({"price": None, "hs": "8708.29", "goods": [{"id": "a", "price": 1}]}, "hs beside goods"),
        ({"price": None, "goods": [{"id": "a", "price": 1}] * 2}, "two goods have the same id"),
        ({"price": None, "goods": [{"id": "duty", "price": 1}]}, "goods are called 'duty'"),
        ({"freight": 1, "freight_rate": 1, "boxes": [BOX]}, "has freight as well as freight_rate"),
        ({"freight_rate": 1}, "freight_rate without boxes"),
        ({"freight_minimum": 1}, "freight_minimum without freight_rate"),
        ({"deposit_days": 70}, "deposit after 70 days, balance after 60"),
        ({"storage": {"steps": [{"days": 5, "rate": 4}]}}, "the last step ends after 5 days"),
        ({"storage": {"steps": [{"rate": 4}, {"rate": 8}]}}, "step 1 has no days"),
        ({"freight": -1}, "freight is -1"),
        ({"boxes": [{**BOX, "length": 0}]}, "boxes.1.length is 0"),
        ({"price": 0}, "everything costs 0"),
        ({"incoterm": "DAT"}, "Input should be 'EXW', 'FCA'"),
        ({"mode": "rail"}, "Input should be 'courier', 'air', 'sea' or 'road'"),
        ({"hs": "bumper"}, "String should match pattern"),
        ({"deposit": 30}, "less than or equal to 1"),
        ({"frieght": 600}, "Extra inputs are not permitted"),
    ],
)
def test_mistakes_are_refused(changes: dict[str, Any], message: str) -> None:
    raw = {key: value for key, value in {**LEAST, **changes}.items() if value is not None}

    with pytest.raises(ValidationError, match=message):
        Consignment.model_validate(raw)
