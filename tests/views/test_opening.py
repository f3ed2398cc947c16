"""Opening a total down to what makes it up, with the source of its figures and the cautions that concern it."""

from __future__ import annotations

import pytest

from forecast.build.buildfile import parse_build
from forecast.engine.plan import compile_plan
from forecast.engine.rows import Plan
from forecast.errors import ForecastError
from forecast.views.opening import open_line

TEXT = """\
[build]
name = "x"
currency = "EUR"
country = "IE"
[currency.JPY]
rate = 0.006
[[consignment]]
id = "panels"
price = 400000
currency = "JPY"
incoterm = "FOB"
mode = "sea"
freight = 500
boxes = [{ length = 200, width = 120, height = 60, weight = 45, count = 2 }]
[[line]]
id = "filler"
group = "consumables"
takeoff = { kind = "filler", shape = "strip", length = 12, width = 60, depth = 2 }
price = 20
[[line]]
id = "arch_cut_welded"
name = "Inner arches cut and closed"
group = "labour"
amount = { low = 300, middle = 900, high = 2400 }
note = "Asked two welders."
"""


@pytest.fixture(scope="module")
def plan() -> Plan:
    return compile_plan(parse_build(TEXT))


def test_duty_opens_to_the_customs_value_and_that_to_what_enters_it(plan: Plan) -> None:
    duty = open_line(plan, "panels.duty")
    assert "Customs value 2,900 × 4.5 %" in duty.working
    assert duty.total == pytest.approx(2_900 * 0.045)
    assert "panels.customs_value" in duty.below
    assert any("more than 18 months old" in caution for caution in duty.cautions)
    assert any("tariff list" in note for note in duty.notes)
    value = open_line(plan, "panels.customs_value")
    assert value.total == pytest.approx(400_000 * 0.006 + 500)
    assert value.unit == "EUR"
    assert "400,000 × " in value.working
    assert value.below == ("panels.freight",)


def test_a_chargeable_quantity_opens_to_boxes(plan: Plan) -> None:
    assert open_line(plan, "panels.terminal").below[0] == "panels.chargeable"
    found = open_line(plan, "panels.chargeable")
    assert (found.total, found.unit) == (pytest.approx(2.88), "W/M")


def test_a_usual_range_on_arrival_is_said_to_have_no_source(plan: Plan) -> None:
    found = open_line(plan, "panels.terminal")
    assert any("common practice without a published source" in caution for caution in found.cautions)
    warnings = [str(warning) for item in plan.consignments for warning in item.warnings]
    for name in ("terminal", "documents", "entry", "delivery", "disbursement_percent"):
        assert any(f"arrival = {{ {name} = … }}" in text for text in warnings), name


def test_a_take_off_names_the_source_of_each_factor(plan: Plan) -> None:
    found = open_line(plan, "filler")
    assert "12 m × 60 mm × 2 mm × 2/3" in found.working
    assert any("density" in note for note in found.notes)
    assert any("common practice" in note for note in found.notes)
    assert any("Health and Safety Executive" in caution for caution in found.cautions)


def test_cautions_stand_beside_the_work_they_concern_and_not_beside_bills(plan: Plan) -> None:
    arches = open_line(plan, "arch_cut_welded")
    assert any("Local rules and licensed practice decide" in caution for caution in arches.cautions)
    assert arches.notes == ("Asked two welders.",)
    assert not any("Local rules" in caution for caution in open_line(plan, "panels.tax").cautions)


def test_an_unknown_id_names_the_nearest(plan: Plan) -> None:
    with pytest.raises(ForecastError, match=r"Did you mean 'panels\.duty'"):
        open_line(plan, "panel.duty")
