"""Opening a total down to what makes it up, with the source of its figures and the cautions that concern it."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from forecast.buildfile.reader import parse_build
from forecast.engine.plan import compile_plan
from forecast.engine.rows import Plan
from forecast.errors import ForecastError
from forecast.views.cli import main
from forecast.views.opening_words import open_line

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


YEN = """
[build]
name = "x"
currency = "JPY"
country = "JP"
[currency.USD]
rate = 151.37
volatility = 0.1
[[consignment]]
id = "kit"
price = 2417.5
currency = "USD"
incoterm = "FOB"
mode = "sea"
freight = 61234
origin = "US"
insurance_percent = 1.3
overrides = { "duty.8708.29" = 0.013 }
[[line]]
id = "paint"
group = "finish"
quantity = { low = 3.1, middle = 4.4, high = 7, unit = "L" }
price = 4213.7
"""


@pytest.mark.parametrize("code", ["JPY", "KRW"])
def test_a_yen_and_a_won_have_no_cents(code: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = YEN.replace('"JPY"', f'"{code}"').replace('"JP"', '"KR"' if code == "KRW" else '"JP"')
    (tmp_path / "build.toml").write_text(text, encoding="utf-8")
    plan = compile_plan(parse_build(text))
    assert main(["open", str(tmp_path)]) == 0
    lead, listed, *_ = capsys.readouterr().out.split("\n\n")
    assert lead.endswith(f" {code}")
    assert not re.search(r"\d\.\d", lead + listed)
    ids = [row.id for row in plan.rows if row.kind == "line"]
    stages = [stage.id for item in plan.consignments for stage in item.stages if stage.unit == code]
    for id in (*ids, *(one for one in stages if not one.startswith("fx."))):
        assert main(["open", str(tmp_path), id]) == 0
        first = capsys.readouterr().out.splitlines()[0]
        assert first.endswith(f" {code}")
        assert not re.search(r"\d\.\d", first), first
    for row in plan.rows:
        if row.of == "kit" and row.kind == "line" and not row.id.endswith("goods"):
            for title in (one.title for one in plan.rows if one.is_money):
                found = re.findall(rf"{re.escape(title)} ([\d,]+\.?\d*)", open_line(plan, row.id).working)
                assert not [one for one in found if "." in one], (row.id, found)


def test_a_limit_in_yen_is_said_without_cents() -> None:
    text = YEN.replace("price = 2417.5", "price = 31.7").replace("freight = 61234", "freight = 300")
    working = open_line(compile_plan(parse_build(text)), "kit.tax").working
    assert "10,000 JPY" in working
    assert "10,000.00" not in working
