"""What has been left out: each rule fires on the build that lacks something, and falls silent when it is there."""

from __future__ import annotations

from pathlib import Path

import pytest

from forecast.buildfile.library import load_library
from forecast.buildfile.reader import parse_build, read_build
from forecast.buildfile.schema import Build
from forecast.missing.build_facts import Facts
from forecast.missing.left_out import GRADES, Finding, findings
from forecast.missing.rules import load_rules

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


def test_tax_without_duty_below_it() -> None:
    tax = TAX.replace(', "duty"', "")
    missed = found(*SEA, tax)["duty_beside_tax"]
    assert (missed.grade, missed.starter) == ("must", "duty")
    assert "duty_beside_tax" not in found(*SEA, DUTY, TAX)
    assert "duty_beside_tax" not in found(*SEA)  # nothing of either is there: that is told as one
    for country in ("CH", "NO", "SG"):  # goods of a kit bear none
        assert "duty_beside_tax" not in found(*SEA, tax, country=country)


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


CRATE = (
    '[[consignment]]\nid = "crate"\nprice = 1000\nincoterm = "FOB"\nmode = "sea"\nfreight = 300\n'
    "boxes = [{ length = 200, width = 120, height = 60, weight = 45 }]\ninsurance_percent = 2.0\n"
)


def test_a_consignment_whose_freight_is_the_buyers_gives_one() -> None:
    none = CRATE.replace("freight = 300\n", "")
    for rule in ("FOB", "EXW", "FCA"):
        text = none.replace("FOB", rule)
        finding = found(text)["freight-crate"]
        assert finding.grade == "must"
        assert (finding.line, finding.unit) == ("crate", "EUR")
        assert finding.cost is not None
        assert '[[consignment]] with id = "crate" add freight' in finding.mend
        assert rule in finding.why
        assert "freight-crate" not in found(text + "freight = 300\n")
        assert "freight-crate" not in found(text + "freight_rate = 90\n")
        assert "freight-crate" in found(text + "freight = 0\n")
    for rule in ("CFR", "CIF", "CPT", "CIP", "DAP", "DPU", "DDP"):
        assert "freight-crate" not in found(none.replace("FOB", rule))
    assert "freight-crate" not in found(none + '[not_needed]\nfreight = "a friend fetches it"\n')


def test_a_consignment_by_sea_that_arrives_for_nothing() -> None:
    nothing = "arrival = { terminal = 0, documents = 0, surcharges = 0, entry = 0, delivery = 0 }\n"
    finding = found(CRATE + nothing)["arrival_charges-crate"]
    assert (finding.grade, finding.starter, finding.line) == ("must", "arrival_charges", "crate")
    assert "arrival = {" in finding.mend
    assert "kit_delivery-crate" in found(CRATE + nothing)
    assert "arrival_charges-crate" not in found(CRATE)  # the usual counts
    assert "arrival_charges-crate" not in found(CRATE + "arrival = { terminal = 60, documents = 0 }\n")
    assert "arrival_charges-crate" not in found(CRATE + nothing, line("arrival_charges", "import"))
    assert "arrival_charges-crate" not in found(CRATE.replace("FOB", "DAP") + nothing)
    assert "arrival_charges-crate" not in found(CRATE.replace('"sea"', '"air"') + nothing)


def test_lines_beside_a_consignment_are_judged_on_their_own() -> None:
    second = line("sea_freight", "freight")
    rules = found(CRATE, second)
    assert rules["arrival_charges"].grade == rules["import_dues"].grade == "must"
    assert "arrival_charges" not in found(CRATE, second, line("arrival_charges", "import"))
    assert not {"arrival_charges", "import_dues"} & set(found(CRATE))
    foreign = line("wheels", "wheels", 'amount = { low = 1, middle = 2, high = 5, currency = "JPY" }')
    yen = "[currency.JPY]\nrate = 0.006\n"
    assert found(yen, CRATE, foreign)["import_dues"].grade == "must"
    assert "import_dues" not in found(yen, CRATE + 'currency = "JPY"\n')


def test_each_payment_abroad_needs_a_margin() -> None:
    yen = "[currency.JPY]\nrate = 0.006\n"
    dollar = "[currency.USD]\nrate = 0.9\nmargin = 2\n"
    other = CRATE.replace('"crate"', '"second"') + 'currency = "JPY"\n'
    assert "payment_fees" in found(yen, dollar, CRATE + 'currency = "USD"\n', other)
    assert "payment_fees" not in found(yen, dollar, CRATE + 'currency = "USD"\n', other + "card_margin = 2\n")


def test_percentages_in_any_group_miss_part_of_what_is_bought() -> None:
    fee = line("card_fee", "other", 'percent = 2.5\nof = ["kit"]').replace('"kit"]', '"panels"]')
    parts = (line("panels", "kit"), line("lip", "kit"), fee)
    finding = found(*parts)["percent_misses-card_fee"]
    assert finding.line == "card_fee"
    assert 'of = ["panels", "lip"]' in finding.mend
    assert "crate" in found(*parts, CRATE)["percent_misses-card_fee"].mend
    assert "percent_misses-card_fee" not in found(*parts[:2], fee.replace('"panels"', '"kit"'), CRATE)
    rework = line("rework", "finish", 'percent = 10\nof = ["filler"]')
    assert "percent_misses-rework" not in found(CRATE, line("filler", "consumables"), rework)
    duty = line("duty", "other", 'percent = 4.5\nof = ["panels"]')
    assert "Lip" in found(*parts[:2], duty)["percent_misses-duty"].missing
    assert found(*parts[:2], duty)["tax_on_duty"].grade == "must"
    own_duty = line("duty", "import", 'percent = 4.5\nof = ["panels"]')
    assert "percent_misses-duty" not in found(line("panels", "kit"), own_duty, CRATE)


def test_no_example_makes_percentages_go_in_a_circle() -> None:
    packing = line("packing", "kit", 'percent = 3\nof = ["panels"]')
    reserve = line("reserve", "kit", 'percent = 5\nof = ["panels", "packing"]')
    rules = found(line("panels", "kit"), packing, reserve)
    assert not {"percent_misses-packing", "percent_misses-reserve"} & set(rules)


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
    told = found(*SEA, storage)["free_days-storage"].sheet
    assert told
    assert "[" not in told  # on a page nobody works in the file
    assert "free_days-storage" not in found(
        *SEA, storage.replace("\nquantity", '\nname = "Storage after 5 free days"\nquantity')
    )
    assert "free_days-storage" not in found(*SEA, storage + 'note = "after 5 free days"\n')
    assert "free_days-storage" not in found(
        *SEA, line("storage", "import", "amount = 0")
    )  # entered for a bill
    assert "free_days-storage" not in {item.rule for item in findings(build(*SEA, storage), {"storage"})}
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


@pytest.mark.parametrize(
    ("name", "group"),
    [
        ("2K epoxy primer", "consumables"),
        ("Two-pack clear coat", "hardware"),
        ("Two pack primer", "other"),
        ("Clear coat, brush for edges", "consumables"),
        ("Isocyanate activator", "other"),
        ("Hardener", "hardware"),
        ("2K spray filler", "consumables"),
        ("2K paint from the paint shop", "finish"),
        ("Colour and clear", "hardware"),
    ],
)
def test_sprayed_paint_is_known_by_its_words_in_any_group(name: str, group: str) -> None:
    paint = line("stuff", group) + f'name = "{name}"\n'
    assert found(paint)["air_fed_mask"].grade == "must"
    assert "air_fed_mask" not in found(paint + 'package = "paint"\nroute = "shop"\n')


@pytest.mark.parametrize(
    ("name", "group"),
    [
        ("Touch-up paint pen", "finish"),
        ("Two-pack filler and hardener", "consumables"),
        ("2K structural adhesive", "consumables"),
        ("Two-pack clear coat by a painter", "finish"),
        ("Zinc primer", "consumables"),
        ("Paint protection film", "finish"),
        ("Kit in any colour", "kit"),
        ("Clear indicator lenses", "hardware"),
    ],
)
def test_what_is_not_sprayed_needs_no_air_fed_mask(name: str, group: str) -> None:
    assert "air_fed_mask" not in found(line("stuff", group) + f'name = "{name}"\n')


@pytest.mark.parametrize(
    ("name", "group", "new"),
    [
        ("Four alloy wheels", "other", True),
        ("Four wheels with tyres", "hardware", True),
        ("Rims from Japan", "kit", True),
        ("Storage of the old wheels", "other", False),
        ("Flap wheels for the grinder", "consumables", False),
        ("Wheel bolts", "hardware", False),
    ],
)
def test_new_wheels_are_known_in_any_group(name: str, group: str, new: bool) -> None:
    rules = found(line("stuff", group) + f'name = "{name}"\n')
    assert ("wheel_fixings" in rules) is new


def test_wheels_of_a_consignment_are_seen() -> None:
    goods = 'goods = [{ id = "w", name = "Alloy wheels", price = 900, group = "wheels" }]\n'
    rules = found(CRATE.replace("price = 1000\n", goods))
    assert {"tyres", "wheel_fixings"} <= set(rules)
    more = goods.replace("}]", '}, { id = "t", name = "Tyres", price = 300, group = "wheels" }]')
    assert "tyres" not in found(CRATE.replace("price = 1000\n", more))


@pytest.mark.parametrize(
    "name",
    [
        "Cutting the inner wings",
        "Rear quarters cut and closed",
        "Weld the sills",
        "Fenders, weld-on",
        "Arches closed",
    ],
)
def test_cut_sheet_metal_is_known_by_its_words(name: str) -> None:
    cut = line("work", "other") + f'name = "{name}"\n'
    assert found(cut)["corrosion_protection"].grade == "must"


@pytest.mark.parametrize("name", ["Front wings", "Close the gap between wing and bumper", "Arch liners"])
def test_whole_sheet_metal_needs_no_corrosion_protection(name: str) -> None:
    assert "corrosion_protection" not in found(line("work", "other") + f'name = "{name}"\n')


def test_what_no_starter_adds_says_which_key_to_edit() -> None:
    flat = line("wax", "other", 'amount = { value = 70, currency = "JPY", causes = { mood = "strong" } }')
    yen = '[currency.JPY]\nrate = 0.006\n[[cause]]\nid = "mood"\n'
    storage = line("storage", "import", "quantity = 4\nprice = { low = 3, middle = 5, high = 10 }")
    steps = "storage = { steps = [{ rate = 5 }], days = 9 }\n"
    near = line("filling", "labour", "own_hours = { low = 30, middle = 45, high = 60 }")
    late = '[[event]]\nid = "late"\nchance = 0.5\ncost = { low = 90, high = 100 }\n'
    items = findings(build(yen, flat, storage, near, late, CRATE + steps))
    own = [item for item in items if item.starter is None]
    assert {item.rule.partition("-")[0] for item in own} == {"no_width", "free_days", "near_worst"}
    assert all(item.line is not None and f'id = "{item.line}"' in item.mend for item in own)
    mends = {item.rule: item.mend for item in own}
    assert (
        'amount = { low = 56, middle = 70, high = 110, currency = "JPY", causes = { mood = "strong" } }'
        in mends["no_width-wax"]
    )
    assert "own_hours = { low = 30, middle = 45, high = 73.8 }" in mends["near_worst-filling"]
    assert "[[event]]" in mends["near_worst-late"]
    assert "storage = { free_days = 5" in mends["free_days-crate"]
    assert "5 free days" in mends["free_days-storage"]


def test_an_example_is_a_legal_figure_that_answers_its_finding() -> None:
    for figure in ("amount = 70", "amount = 1234", "amount = { low = 90, middle = 100, high = 101 }"):
        before = found(line("wax", "other", figure))
        mend = next(item.mend for rule, item in before.items() if item.line == "wax")
        example = mend[mend.index("amount = {") : mend.index("}") + 1]
        after = found(line("wax", "other", example))
        assert not [rule for rule in after if rule.endswith("-wax")]


def test_money_that_comes_in_is_given_a_range_by_its_price() -> None:
    sold = found(line("old_bumper", "other", "amount = -70"))["no_width-old_bumper"]
    example = "price = { low = 56, middle = 70, high = 110 }"
    assert f"quantity = -1 and {example} in place of amount" in sold.mend
    assert "no_width-old_bumper" not in found(line("old_bumper", "other", f"quantity = -1\n{example}"))


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
    assert {GRADES[place] for place in places} == {"must", "usual", "consider"}


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
    assert [item for item in findings(read_build(folder)) if item.grade != "consider"] == []


def test_costs_come_in_the_currency_of_the_build() -> None:
    yen = parse_build('[build]\nname = "x"\ncurrency = "JPY"\ncountry = "JP"\n' + line("wheels", "wheels"))
    tyres = next(item for item in findings(yen) if item.rule == "tyres")
    assert tyres.unit == "JPY"
    assert tyres.cost == (62000, 120000, 260000)  # 350, 700 and 1,500 euro by the reference rate of 176


def test_without_a_rate_nothing_is_said_of_usual_costs_but_what_to_write() -> None:
    def in_pesos(rates: str) -> dict[str, Finding]:
        text = HEAD.format(country="IE").replace("EUR", "ARS") + rates + CRATE.replace("FOB", "EXW")
        return {item.rule: item for item in findings(parse_build(text))}

    asked, told = in_pesos(""), in_pesos("[currency.EUR]\nrate = 1000\n")
    for rule in ("insurance", "export_inland-crate"):
        assert asked[rule].cost is None
        assert "add [currency.EUR] with rate = … (ARS for one EUR)" in str(asked[rule])
    assert told["insurance"].cost == (40_000, 120_000, 600_000)
    assert told["export_inland-crate"].cost == (80_000, 180_000, 400_000)
    assert "Usually" not in str(asked["insurance"])
