"""What has been left out: each rule fires on the build that lacks something, and falls silent when it is there."""

from __future__ import annotations

from pathlib import Path

import pytest

from forecast.build.buildfile import parse_build, read_build
from forecast.build.completeness import GRADES, Finding, findings
from forecast.build.completeness_rules import load_rules
from forecast.build.facts import Facts
from forecast.build.library import load_library
from forecast.build.schema import Build

HEAD = '[build]\nname = "x"\ncurrency = "EUR"\ncountry = "{country}"\n'


def line(name: str, group: str, rest: str = "amount = { low = 1, middle = 2, high = 5 }") -> str:
    return f'[[line]]\nid = "{name}"\ngroup = "{group}"\n{rest}\n'


def build(*parts: str, country: str = "IE") -> Build:
    return parse_build(HEAD.format(country=country) + "\n".join(parts))


def found(*parts: str, country: str = "IE") -> dict[str, Finding]:
    return {item.rule: item for item in findings(build(*parts, country=country))}


SEA = (line("kit", "kit"), line("sea_freight", "freight"))
DUTY = line("duty", "import", 'percent = 4.5\nof = ["kit", "sea_freight"]')
TAX = line("import_vat", "import", 'percent = 23\nof = ["kit", "sea_freight", "duty"]')


def test_sea_freight_calls_for_arrival_charges() -> None:
    rule = found(*SEA, DUTY, TAX)["arrival_charges"]
    assert rule.grade == "must"
    assert rule.starter == "arrival_charges"
    assert rule.cost == (30, 90, 300)
    assert "unloaded" in str(rule)
    assert "Usually 30 to 300 EUR" in str(rule)
    assert "arrival_charges" not in found(*SEA, DUTY, TAX, line("port_terminal", "import"))
    courier = (line("kit", "kit"), line("courier", "freight"), DUTY.replace("sea_freight", "courier"))
    assert "arrival_charges" not in found(*courier)


def test_duty_without_tax_on_it() -> None:
    assert found(*SEA, DUTY)["tax_on_duty"].grade == "must"
    assert "tax_on_duty" not in found(*SEA, DUTY, TAX)
    assert "tax_on_duty" not in found(*SEA, DUTY, country="US")  # has no tax on imports
    assert found(*SEA)["import_dues"].grade == "must"


def test_a_consignment_works_its_charges_out() -> None:
    consignment = (
        '[[consignment]]\nid = "crate"\nprice = { low = 900, middle = 1000, high = 1300 }\n'
        'incoterm = "FOB"\nmode = "sea"\nboxes = [{ length = 200, width = 120, height = 60, weight = 45 }]\n'
    )
    rules = found(consignment)
    assert not {"arrival_charges", "import_dues", "tax_on_duty", "kit_delivery"} & set(rules)
    assert "transit_insurance" in rules
    assert "transit_insurance" not in found(consignment + "insurance_percent = 2.0\n")
    assert "transit_insurance" not in found(consignment.replace("FOB", "CIF"))


def test_percentages_that_miss_part_of_the_consignment() -> None:
    short = DUTY.replace(', "sea_freight"', "")
    assert "Sea freight" in found(*SEA, short, TAX)["percent_misses-duty"].missing
    assert "percent_misses-duty" not in found(*SEA, short, TAX, country="AU")  # freight is outside its base
    no_duty_in_base = TAX.replace(', "duty"', "")
    assert "Duty" in found(*SEA, DUTY, no_duty_in_base)["percent_misses-import_vat"].missing
    one = 'percent = 2.5\nof = ["kit"]'
    parts = (line("kit", "kit"), line("lip", "kit"), line("card_fee", "import", one))
    assert "Lip" in found(*parts)["percent_misses-card_fee"].missing


def test_storage_without_free_days() -> None:
    storage = line("storage", "import", "quantity = 4\nprice = { low = 3, middle = 5, high = 10 }")
    assert found(*SEA, storage)["free_days-storage"].grade == "usual"
    assert "free_days-storage" not in found(*SEA, storage + 'note = "after 5 free days"\n')
    steps = "storage = { steps = [{ rate = 5 }], days = 9 }"
    crate = '[[consignment]]\nid = "crate"\nprice = 1000\nincoterm = "FOB"\nmode = "sea"\n' + (
        "boxes = [{ length = 200, width = 120, height = 60, weight = 45 }]\n"
    )
    assert "free_days-crate" in found(crate + steps)
    assert "free_days-crate" not in found(crate + steps.replace("days = 9", "days = 9, free_days = 5"))


def test_new_wheels_need_fixings_tyres_mounting_alignment() -> None:
    wheels = line("wheels", "wheels")
    rules = found(wheels)
    assert [rules[name].grade for name in ("wheel_fixings", "tyres", "tyre_mounting", "alignment")] == [
        "must", "must", "usual", "usual",
    ]  # fmt: skip
    whole = (
        wheels, line("wheel_bolts", "wheels"), line("tyres", "wheels"), line("mounting", "wheels"),
        line("alignment", "wheels"),
    )  # fmt: skip
    assert not {"wheel_fixings", "tyres", "tyre_mounting", "alignment"} & set(found(*whole))
    assert "tyres" not in found(line("wheel_bearings", "wheels"))


def test_cut_arches_need_corrosion_protection() -> None:
    cut = line("inner_arches_cut", "labour", "own_hours = { low = 8, middle = 20, high = 50 }")
    assert found(cut)["corrosion_protection"].grade == "must"
    assert "corrosion_protection" not in found(cut, line("cavity_wax", "consumables"))


def test_two_pack_paint_by_oneself_needs_air_fed_breathing() -> None:
    paint = line("two_pack_clear", "finish") + 'package = "paint"\nroute = "self"\n'
    rule = found(paint)["air_fed_mask"]
    assert rule.grade == "must"
    assert "Health and Safety Executive" in rule.why
    assert "air_fed_mask" not in found(paint, line("air_fed_mask", "other"))
    shop = paint.replace('"self"', '"shop"')
    assert "air_fed_mask" not in found(shop)
    farmed_out = '[scenario.mixed]\nall = "self"\npaint = "shop"\n'
    assert "air_fed_mask" not in found(paint, shop.replace("two_pack_clear", "clear_shop"), farmed_out)


def test_a_modified_car_needs_insurer_and_inspection() -> None:
    kit = line("kit", "kit")
    assert found(kit)["insurance"].grade == found(kit)["inspection"].grade == "must"
    assert "insurance" in found(kit, line("transit_insurance", "freight"))  # another insurance
    papers = (line("insurer", "other"), line("inspection", "other"))
    assert not {"insurance", "inspection"} & set(found(kit, *papers))


def test_own_work_without_rework() -> None:
    work = line("fitting", "labour", "own_hours = { low = 8, middle = 20, high = 50 }")
    assert found(work)["rework"].unit == "percent of filler, primers, paint materials"
    assert "rework" not in found(work, line("rework", "other"))
    event = '[[event]]\nid = "laminate_fault"\nchance = 0.2\ncost = { low = 1, middle = 2, high = 5 }\n'
    assert "rework" not in found(work, event)


def test_a_range_without_width() -> None:
    assert found(line("wax", "other", "amount = 70"))["no_width-wax"].grade == "consider"
    assert "no_width-wax" not in found(line("wax", "other", 'amount = 70\nsupplier = "Shop"'))
    counted = "quantity = 4\nprice = { low = 3, middle = 5, high = 10 }"
    assert "no_width-discs" not in found(line("discs", "other", counted))
    flat = "amount = { low = 7, middle = 7, high = 7 }"
    assert "no_width-wax" in found(line("wax", "other", flat))


def test_a_worst_case_nearer_than_the_evidence_supports() -> None:
    near = line("filling", "labour", "own_hours = { low = 30, middle = 45, high = 60 }")
    rule = found(near)["near_worst-filling"]
    assert "55.5 days" in rule.why
    assert "1.33 ×" in rule.missing
    far = line("filling", "labour", "own_hours = { low = 30, middle = 45, high = 75 }")
    assert "near_worst-filling" not in found(far)
    assert "near_worst-wax" in found(line("wax", "other", "amount = { low = 90, middle = 100, high = 110 }"))
    assert "near_worst-wax" not in found(
        line("wax", "other", "amount = { low = 90, middle = 100, high = 115 }")
    )


def test_an_answer_in_the_file_stays_answered() -> None:
    answer = '[not_needed]\ntyres = "the wheels come with tyres"\nno_width = "all are invoiced"\n'
    parts = (line("wheels", "wheels", "amount = 900"), line("wax", "other", "amount = 70"))
    before, after = found(*parts), found(*parts, answer)
    assert set(before) - set(after) == {"tyres", "no_width-wheels", "no_width-wax"}
    single = '[not_needed]\nno_width-wax = "paid"\n'
    assert set(before) - set(found(*parts, single)) == {"no_width-wax"}


def test_the_gravest_come_first() -> None:
    places = [GRADES.index(item.grade) for item in findings(build(*SEA, line("wheels", "wheels")))]
    assert places == sorted(places)
    assert set(places) == {0, 1, 2}


@pytest.mark.parametrize("rule", load_rules(), ids=lambda rule: rule.rule)
def test_every_rule_can_be_asked_and_answered(rule: object) -> None:
    library = load_library()
    known = {item.id for item in (*library.lines, *library.events)}
    assert rule.starter in known  # type: ignore[attr-defined]
    assert rule.grade in GRADES  # type: ignore[attr-defined]
    facts = Facts(build(line("kit", "kit")))
    conditions = (*rule.when, *rule.when_all)  # type: ignore[attr-defined]
    assert conditions
    assert all(isinstance(getattr(facts, name), bool) for name in conditions)


def test_rule_names_are_used_once() -> None:
    names = [rule.rule for rule in load_rules()]
    assert len(set(names)) == len(names)


@pytest.mark.parametrize("demo", ["before-ordering-ireland", "half-way-new-zealand"])
def test_demo_builds_lack_nothing_that_they_must_have(demo: str) -> None:
    folder = Path(__file__).parents[2] / "scenarios" / demo
    assert [item for item in findings(read_build(folder)) if item.grade == "must"] == []


def test_costs_come_in_the_currency_of_the_build() -> None:
    yen = parse_build('[build]\nname = "x"\ncurrency = "JPY"\ncountry = "JP"\n' + line("wheels", "wheels"))
    tyres = next(item for item in findings(yen) if item.rule == "tyres")
    assert tyres.unit == "JPY"
    assert tyres.cost == (58000, 120000, 250000)
