"""Metric and US customary units: the published factors, and every place where a builder writes one."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from scipy import constants

from forecast.buildfile.places_of_figures import place_at
from forecast.buildfile.reader import parse_build
from forecast.engine.forecast import simulate
from forecast.errors import BuildFileError, RuleError
from forecast.figures.units import _CUSTOMARY, _in_library, conversion, counted_in, misfit, read_unit
from forecast.missing.left_out import findings
from forecast.views.opening_words import open_line

PUBLISHED = json.loads(
    (Path(__file__).parents[1] / "references" / "conversion_factors.json").read_text("utf-8")
)

HEAD = """
[build]
name = "Boxy wagon"
currency = "USD"
country = "US"
"""


def line(what: str, price: str = "1") -> str:
    return f'[[line]]\nid = "part"\ngroup = "consumables"\n{what}\nprice = {price}\n'


def cost(text: str) -> float:
    """Give the base estimate of a build with this in it: with a price of 1 it is the quantity."""
    return simulate(parse_build(HEAD + text), trials=1024).base_estimate


def mistakes(text: str) -> str:
    with pytest.raises(BuildFileError) as caught:
        parse_build(HEAD + text)
    return str(caught.value)


@pytest.mark.parametrize("row", PUBLISHED["factors"], ids=lambda row: row["unit"])
def test_units_count_as_published(row: dict[str, Any]) -> None:
    factor, offset = conversion(row["unit"], row["own"])
    assert factor == pytest.approx(row["factor"], rel=5e-7)  # seven digits are printed
    assert offset == 0


@pytest.mark.parametrize(
    ("unit", "own", "name"),
    [
        ("in", "m", "inch"),
        ("ft", "m", "foot"),
        ("yd", "m", "yard"),
        ("mil", "m", "mil"),
        ("lb", "kg", "pound"),
        ("oz", "kg", "ounce"),
    ],
)
def test_units_count_as_in_scipys_constants(unit: str, own: str, name: str) -> None:
    assert conversion(unit, own)[0] == pytest.approx(float(getattr(constants, name)), rel=1e-12)


@pytest.mark.parametrize(
    ("unit", "name"), [("gal", "gallon"), ("imp gal", "gallon_imp"), ("fl oz", "fluid_ounce")]
)
def test_measures_of_volume_count_as_in_scipys_constants(unit: str, name: str) -> None:
    assert conversion(unit, "L")[0] == pytest.approx(float(getattr(constants, name)) * 1000, rel=1e-12)


@pytest.mark.parametrize("row", PUBLISHED["temperatures"], ids=lambda row: str(row["fahrenheit"]))
def test_temperatures_count_as_published(row: dict[str, Any]) -> None:
    assert counted_in("°C", row["fahrenheit"], "°F") == pytest.approx(row["celsius"], abs=1e-9)


@pytest.mark.parametrize("group", [
    ("ft2", "ft²", "sq ft", "sqft", "ft^2", "FT2", "square feet", "foot**2"),
    ("in", "inch", "inches", '"', "In"), ("lb", "lbs", "LB", "pounds"), ("oz", "ounces", "oz."),
    ("fl oz", "fl. oz", "fluid_ounce"), ("gal", "Gal", "gallons", "US gal"), ("m2", "m²", "sq m"),
    ("ft2/gal", "ft² per gal"), ("1/ft2", "per ft2"), ("mil", "thou", "mils"), ("µm", "um", "micron"),
], ids=lambda group: group[0])  # fmt: skip
def test_a_unit_may_be_written_in_many_ways(group: tuple[str, ...]) -> None:
    assert len({read_unit(word) for word in group}) == 1
    assert read_unit(group[0]) is not None


@pytest.mark.parametrize(
    "word", ["a**9**9**9", "m" * 41, "cartridges", "__import__", "9", "m4", "/", "m/", "kg//L", "°C/m"]
)
def test_what_is_no_unit_is_none(word: str) -> None:
    assert read_unit(word) is None


SAME = [
    ('kind = "paint", paint = "clear", coats = 2, area = @', (30, "ft2"), (2.7870912, "m²")),
    ('kind = "paint", paint = "clear", coats = 2, area = 6, film = @', (2, "mil"), (50.8, "µm")),
    ('kind = "paint", coats = 2, area = 6, coverage = @', (300, "ft2/gal"),
     (7.36271602413336, "m2/L")),
    ('kind = "paint", paint = "base", area = 6, per_mix = @', (1, "fl oz"), (29.5735295625, "ml")),
    ('kind = "paint", paint = "base", area = 6, pack = @', (1, "qt"), (0.946352946, "L")),
    ('kind = "filler", shape = "strip", length = @, width = 60, depth = 4', (40, "ft"),
     (12.192, "m")),
    ('kind = "filler", shape = "strip", length = 9, width = @, depth = 4', (2, "in"), (5.08, "cm")),
    ('kind = "filler", shape = "skim", area = 2, thickness = 1, density = @', (15, "lb/gal"),
     (1.79739640975346, "kg/L")),
    ('kind = "filler", shape = "skim", area = 2, thickness = 1, pack = @', (8, "oz"),
     (226.796185, "g")),
    ('kind = "laminate", buy = "glass", area = 2, layers = 2, areal_weight = @', (1.5, "oz/ft2"),
     (457.727590910911, "g/m2")),
    ('kind = "laminate", buy = "catalyst", area = 2, layers = 2, areal_weight = 450, '
     'temperature = @', (66, "°F"), (18.8888888889, "°C")),
    ('kind = "laminate", buy = "glass", layers = 2, areal_weight = 450, roll_width = @, pieces = [{ length = 1, '
     'width = 400 }]', (50, "in"), (1.27, "m")),
    ('kind = "laminate", buy = "glass", layers = 2, areal_weight = 450, roll_width = 1.25, pieces = [{ length = @, '
     'width = 400 }]', (40, "in"), (1.016, "m")),
    ('kind = "laminate", buy = "resin", layers = 2, areal_weight = 450, pieces = [{ length = 1, width = @ }]',
     (16, "in"), (406.4, "mm")),
    ('kind = "laminate", buy = "glass", layers = 2, areal_weight = 450, roll_width = 1.25, edge = @, '
     'pieces = [{ length = 1, width = 400 }]', (1, "in"), (2.54, "cm")),
    ('kind = "gelcoat", area = @', (3, "yd2"), (2.50838208, "m2")),
    ('kind = "sealant", length = @, section = "fillet", width = 6, depth = 6', (50, "ft"),
     (1524, "cm")),
    ('kind = "sealant", length = 14, section = "fillet", width = 6, depth = 6, cartridge = @',
     (10, "fl oz"), (295.735295625, "ml")),
    ('kind = "film", area = 6, roll_width = @', (60, "in"), (1.524, "m")),
    ('kind = "film", area = 6, spoiled_panel = @', (9, "ft2"), (0.83612736, "m2")),
    ('kind = "abrasives", area = @, steps = [{ grit = 80 }]', (55, "ft2"), (5.1096672, "m2")),
    ('kind = "abrasives", area = 5, steps = [{ grit = 80, rate = @ }]', (0.2, "1/ft2"),
     (2.15278208334194, "1/m2")),
    ('kind = "masking", area = @', (55, "ft2"), (5.1096672, "m2")),
    ('kind = "masking", area = 5, buy = "sheet", band = @', (18, "in"), (45.72, "cm")),
    ('kind = "masking", area = 5, edges = @', (1.5, "1/ft"), (4.92125984251969, "1/m")),
    ('kind = "masking", area = 5, pack = @', (60, "yd"), (54.864, "m")),
    ('kind = "fasteners", length = 6, pitch = @', (4, "in"), (10.16, "cm")),
]  # fmt: skip


@pytest.mark.parametrize(("table", "customary", "metric"), SAME)
def test_a_take_off_comes_to_the_same_in_either_unit(
    table: str, customary: tuple[float, str], metric: tuple[float, str]
) -> None:
    tables = [
        table.replace("@", f'{{ value = {number}, unit = "{unit}" }}') for number, unit in (customary, metric)
    ]
    both = [cost(line(f"takeoff = {{ {one} }}")) for one in tables]
    assert both[0] == pytest.approx(both[1], rel=1e-12)


def test_a_range_in_feet_is_drawn_as_the_same_range_in_metres() -> None:
    table = 'takeoff = {{ kind = "gelcoat", area = {{ low = {}, middle = {}, high = {}, unit = "{}" }} }}'
    found = [
        simulate(parse_build(HEAD + line(table.format(*numbers))), trials=4096)
        for numbers in ((20, 30, 55, "ft2"), (1.8580608, 2.7870912, 5.1096672, "m2"))
    ]
    assert found[0].percentile(0.8).value == pytest.approx(found[1].percentile(0.8).value, rel=1e-9)


def test_a_range_keeps_the_builders_unit_on_the_sheet_and_in_the_working() -> None:
    text = HEAD + line(
        'takeoff = { kind = "gelcoat", area = { low = 20, middle = 30, high = 55, unit = "ft2" }, waste = 0 }'
    )
    build = parse_build(text)
    assert place_at(build, "part.takeoff.area").unit == "ft2"
    plan = simulate(build, trials=1024).plan
    assert "30 ft2 (2.79 m²)" in open_line(plan, "part").working


BOX = """
[[consignment]]
id = "kit"
price = 3000
incoterm = "FOB"
mode = "air"
freight_rate = 4
origin = "JP"
boxes = [{{ length = {}, width = {}, height = {}, weight = {}, count = 2 }}]
"""


def test_a_box_in_inches_and_pounds_is_the_same_box_in_centimetres_and_kilograms() -> None:
    inches = BOX.format(
        *(f'{{ value = {n}, unit = "{u}" }}' for n, u in ((80, "in"), (50, "in"), (24, "in"), (99, "lb")))
    )
    metric = BOX.format(203.2, 127, 60.96, 44.90564463)
    assert cost(inches) == pytest.approx(cost(metric), rel=1e-12)
    plan = simulate(parse_build(HEAD + inches), trials=1024).plan
    assert open_line(plan, "kit.volume").working.startswith("2 × 80 × 50 × 24 in: ")


def test_a_box_in_millimetres_is_no_slip_where_it_says_so() -> None:
    sides = [f'{{ value = {n}, unit = "mm" }}' for n in (2000, 1200, 600)]
    build = parse_build(HEAD + BOX.format(*sides, 45))
    assert not [found for found in findings(build) if found.rule.startswith("odd_box")]
    told = mistakes(BOX.format(2000, *sides[1:], 45))
    assert "Boxes are measured in cm" in told
    assert "found 2000 in" in mistakes(BOX.format('{ value = 2000, unit = "in" }', *sides[1:], 45))


BY_SEA = BOX.replace('mode = "air"', 'mode = "sea"').format(200, 120, 60, 45)
BY_AIR = BOX.format(200, 120, 60, 45)
PER_FT3 = 0.0283168466  # m³ in a cubic foot, as published beside the other factors
PER_LB = 0.45359237


@pytest.mark.parametrize(("base", "key", "customary", "metric"), [
    (BY_AIR, "freight_rate", (2, "lb"), 2 / PER_LB),
    (BY_AIR, "freight_rate", (2, "per lb"), 2 / PER_LB),
    (BY_AIR, "freight_rate", (2, "kg"), 2),
    (BY_AIR, "freight_rate", (900, "t"), 0.9),
    (BY_SEA, "freight_rate", (2, "ft3"), 2 / PER_FT3),
    (BY_SEA, "freight_rate", (2, "W/M"), 2),
    (BY_SEA, "freight_rate", (2, "m3"), 2),
    (BY_SEA, "arrival.terminal", (2, "ft3"), 2 / PER_FT3),
    (BY_AIR, "arrival.terminal", (2, "lb"), 2 / PER_LB),
    (BY_SEA, "storage.steps", (2, "ft3"), 2 / PER_FT3),
    (BY_SEA, "storage.days", (3, "weeks"), 21),
    (BY_SEA, "storage.days", (480, "h"), 20),
    (BY_SEA, "container.days", (2, "weeks"), 14),
    (BY_SEA, "container.detention_days", (1, "weeks"), 7),
])  # fmt: skip
def test_a_rate_or_a_time_of_a_consignment_counts_in_the_unit_that_is_written(
    base: str, key: str, customary: tuple[float, str], metric: float
) -> None:
    def with_this(said: str) -> float:
        text = base
        if key.startswith("container"):
            days = {"container.days": 9, "container.detention_days": 5, key: said}
            return cost(
                text.replace("freight_rate = 4", "freight = 900")
                + f"container = {{ days = {days['container.days']}, demurrage = [{{ rate = 60 }}], detention = "
                f"[{{ rate = 80 }}], detention_days = {days['container.detention_days']} }}\n"
            )
        if key == "storage.steps":
            return cost(f"{text}storage.steps = [{{ rate = {said} }}]\nstorage.days = 30\n")
        if key == "freight_rate":
            return cost(text.replace("freight_rate = 4", f"freight_rate = {said}"))
        return cost(f"{text}{key} = {said}\n")

    number, unit = customary
    written = with_this(f'{{ value = {number}, unit = "{unit}" }}')
    assert written == pytest.approx(with_this(str(metric)), rel=1e-8)
    assert metric == number or written != pytest.approx(with_this(str(number)), rel=1e-3)


def test_the_working_of_a_rate_for_a_pound_says_how_many_are_in_a_kilogram() -> None:
    text = BY_AIR.replace("freight_rate = 4", 'freight_rate = { low = 1, high = 3, unit = "lb" }')
    build = parse_build(HEAD + text)
    plan = simulate(build, trials=1024).plan
    assert "2.20462 lb/kg × " in open_line(plan, "kit.freight").working
    assert place_at(build, "kit.freight_rate").unit == "lb"


@pytest.mark.parametrize(("key", "said", "told"), [
    ("freight_rate", '{ value = 5, unit = "m3" }', "freight_rate: unit is 'm3', a volume. By air this is a price for "
     "a weight: write kg, lb or t, or leave the unit out for kg."),
    ("freight_rate", '{ value = 5, unit = "banana" }', "freight_rate: unit is 'banana', which is none that is known"),
    ("arrival.terminal", '{ value = 5, unit = "gal" }', "arrival.terminal: unit is 'gal', a volume. By air"),
    ("storage.steps", '[{ rate = { low = 2, high = 3, unit = "ft" } }]', "storage.steps.1.rate: unit is 'ft', "
     "a length"),
    ("storage.days", '{ value = 5, unit = "kg" }', "storage.days: unit is 'kg', a weight. This is a time"),
    ("insurance", '{ value = 50, unit = "gal" }', "insurance: unit is 'gal', a volume. This is a sum of money, which "
     "has no unit: leave it out."),
    ("price", '{ value = 50, unit = "kg" }', "price: unit is 'kg', a weight. This is a sum of money"),
    ("price", '{ value = 50, unit = "EUR" }', 'Money is told by currency = "EUR".'),
    ("arrival.entry", '{ value = 50, unit = "kg" }', "arrival.entry: unit is 'kg', a weight. This is a sum of money"),
    ("arrival.disbursement_percent", '{ value = 2, unit = "kg" }', "This is a percentage, which has no unit"),
    ("returned", '{ chance = 0.1, refund = { value = 0.9, unit = "kg" } }', "returned.refund: unit is 'kg', a weight. "
     "This is a share"),
    ("overrides", '{ "duty.8708.29" = { value = 0.02, unit = "lb" } }', "This is a figure of the rules"),
])  # fmt: skip
def test_a_unit_that_nothing_of_a_consignment_has_is_refused_by_name(key: str, said: str, told: str) -> None:
    text = BY_AIR.replace("price = 3000\n", "") if key == "price" else BY_AIR
    text = text.replace("freight_rate = 4\n", "") if key == "freight_rate" else text
    assert told in mistakes(f"{text}{key} = {said}\n")


def test_a_full_container_has_a_terminal_charge_of_its_own_and_no_measure() -> None:
    text = BY_SEA.replace("freight_rate = 4", "freight = 900")
    container = "container = { days = 5, demurrage = [{ rate = 60 }] }\n"
    told = mistakes(f'{text}{container}arrival.terminal = {{ value = 300, unit = "m3" }}\n')
    assert "arrival.terminal: unit is 'm3', a volume. This is a sum of money" in told


@pytest.mark.parametrize("key", ["amount", "minimum", "maximum", "resale"])
def test_a_sum_of_a_line_has_no_unit(key: str) -> None:
    others = "" if key == "amount" else "amount = 90\n"
    told = mistakes(
        f'[[line]]\nid = "part"\ngroup = "other"\n{others}{key} = {{ value = 50, unit = "lb" }}\n'
    )
    assert f"{key}: unit is 'lb', a weight. This is a sum of money, which has no unit: leave it out." in told


def test_the_cost_of_an_event_has_no_unit_and_a_percentage_may_bear_its_sign() -> None:
    event = '[[event]]\nid = "risk"\nchance = 0.5\n'
    assert "cost: unit is 'h', a time" in mistakes(event + 'cost = { value = 50, unit = "h" }\n')
    assert "percent: unit is 'kg', a weight. This is a percentage" in mistakes(
        event + 'of = ["part"]\npercent = { value = 5, unit = "kg" }\n'
    )
    part = '[[line]]\nid = "part"\ngroup = "other"\namount = 100\n'
    signed = parse_build(f'{HEAD}{part}{event}of = ["part"]\npercent = {{ value = 5, unit = "%" }}\n')
    assert signed.event[0].percent is not None


def test_a_price_for_a_gallon_beside_a_quantity_in_litres() -> None:
    quantity = 'quantity = { value = 7.570823568, unit = "L" }'
    assert cost(line(quantity, '{ value = 60, unit = "gal" }')) == pytest.approx(120)
    assert cost(line(quantity, '{ value = 60, unit = "L" }')) == pytest.approx(60 * 7.570823568)
    assert cost(line(quantity, "60")) == pytest.approx(60 * 7.570823568)
    assert cost(
        line('quantity = { value = 30, unit = "ft2" }', '{ value = 60, unit = "m2" }')
    ) == pytest.approx(167.225472)


def test_a_take_off_is_priced_in_another_unit_than_it_counts() -> None:
    table = 'takeoff = { kind = "paint", paint = "clear", area = 6 }'
    litres, gallons = (cost(line(table, price)) for price in ("60", '{ value = 60, unit = "gal" }'))
    assert litres / gallons == pytest.approx(3.785411784)
    with pytest.raises(
        RuleError, match=r"part.price: the price is for one 'gal', the take-off counts 'tins of 1 L'"
    ):
        cost(
            line(
                'takeoff = { kind = "paint", paint = "clear", area = 6, pack = 1 }',
                '{ value = 60, unit = "gal" }',
            )
        )


@pytest.mark.parametrize(("text", "words"), [
    (line('takeoff = { kind = "gelcoat", area = { value = 30, unit = "ft" } }'),
     ("'part', takeoff, area: ", "unit is 'ft', a length", "This is an area: write cm2, m2, in2, ft2 or yd2")),
    (line('takeoff = { kind = "gelcoat", area = { low = 3, high = 4, unit = "qm" } }'),
     ("'part', takeoff, area: ", "unit is 'qm', which is none that is known", "leave the unit out for m²")),
    (line('takeoff = { kind = "paint", paint = "base", area = 6, per_mix = { value = 1, unit = "oz" } }'),
     ("'part', takeoff, per_mix: ", "unit is 'oz', a weight", "A fluid ounce is fl oz")),
    (line('takeoff = { kind = "paint", paint = "base", area = 6, pack = { value = 1, unit = "kg" } }'),
     ("pack: unit is 'kg', a weight", "This is a volume")),
    (line('takeoff = { kind = "film", area = 6, roll_width = { value = 60, unit = "lb" } }'),
     ("'part', takeoff, roll_width: ", "unit is 'lb', a weight", "This is a length")),
    (line('takeoff = { kind = "film", area = 6, roll_width = { value = 60 } }'),
     ("'part', takeoff, roll_width: ", "{ value = 60, unit = \"in\" }")),
    (line('takeoff = { kind = "film", area = 6, waste = { value = 10, unit = "in" } }'),
     ("'part', takeoff, waste: ", "unit is 'in', a length", "This is a plain number: write no unit")),
    (line('takeoff = { kind = "abrasives", area = 5, steps = [{ grit = 80, rounds = { value = 2, unit = "m" } }] }'),
     ("'part', takeoff, steps no. 1, rounds: ", "unit is 'm', a length")),
    (BOX.format(200, 100, '{ value = 24, unit = "lb" }', 40),
     ("consignment 'kit', boxes no. 1, height: ", "unit is 'lb', a weight", "This is a length")),
    (line('quantity = { value = 3, unit = "kg" }', '{ value = 3, unit = "gal" }'),
     ("'part': ", "quantity is in 'kg', price for one 'gal'. 'kg' is a weight, 'gal' a volume.")),
    (line('quantity = { value = 3, unit = "fl oz" }', '{ value = 3, unit = "oz" }'),
     ("'fl oz' is a volume, 'oz' a weight. The two do not fit: write the price for one 'fl oz'",)),
    (line('quantity = { value = 3, unit = "kg" }', '{ value = 3, unit = "stein" }'),
     ("quantity is in 'kg', price for one 'stein'. 'stein' is no unit that is known.",)),
    (line('quantity = { value = 3, unit = "tubs" }', '{ value = 3, unit = "gal" }'),
     ("'part': ", "quantity is in 'tubs', price for one 'gal'. 'tubs' is no unit that is known.")),
])  # fmt: skip
def test_a_unit_that_does_not_fit_is_named_with_its_place_and_what_is_legal(
    text: str, words: tuple[str, ...]
) -> None:
    told = mistakes(text)
    for word in words:
        assert word in told


def test_a_count_may_say_what_it_counts() -> None:
    assert misfit("coats", "") is None
    assert cost(line('quantity = { value = 3, unit = "tubs" }')) == 3


def test_a_metric_build_never_loads_the_units_library() -> None:
    text = (
        HEAD
        + line('takeoff = { kind = "gelcoat", area = { value = 3, unit = "m2" } }')
        + BOX.format('{ value = 2, unit = "m" }', 90, 50, '{ value = 9000, unit = "g" }')
    )
    code = (
        "import sys; from forecast.buildfile.reader import parse_build; from forecast.engine.forecast import simulate; "
        "simulate(parse_build(sys.stdin.read()), trials=1024); print('pint' in sys.modules)"
    )
    found = subprocess.run(
        [sys.executable, "-c", code], input=text, capture_output=True, text=True, check=True
    )
    assert found.stdout.strip() == "False"


@pytest.mark.parametrize("word", _CUSTOMARY)
def test_the_table_says_what_the_units_library_says(word: str) -> None:
    assert _in_library(word) == _CUSTOMARY[word]


@pytest.mark.parametrize("demo", ["before-ordering-ireland", "half-way-new-zealand"])
def test_what_a_demo_lacks_is_told_without_the_units_library(demo: str) -> None:
    code = (
        "import sys; from forecast.buildfile.reader import read_build; "
        "from forecast.missing.left_out import findings; findings(read_build(sys.argv[1])); "
        "print('pint' in sys.modules)"
    )
    build = Path(__file__).parents[2] / "scenarios" / demo
    found = subprocess.run([sys.executable, "-c", code, build], capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "False"


@pytest.mark.parametrize(
    ("said", "hours"),
    [("30", 30), ('{ value = 90, unit = "min" }', 1.5), ('{ value = 2, unit = "hours" }', 2)],
)
def test_own_hours_are_counted_in_the_unit_that_is_written(said: str, hours: float) -> None:
    build = parse_build(f'{HEAD}[[line]]\nid = "part"\ngroup = "labour"\nown_hours = {said}\n')
    assert simulate(build, trials=256).hours((0.5,))[0].value == pytest.approx(hours)


@pytest.mark.parametrize(("said", "weeks"), [("3", 3), ('{ value = 10.5, unit = "days" }', 1.5)])
def test_weeks_of_waiting_are_counted_in_the_unit_that_is_written(said: str, weeks: float) -> None:
    text = HEAD.replace("[build]\n", "[build]\nhours_per_week = 8\n")
    build = parse_build(f'{text}[[line]]\nid = "part"\ngroup = "labour"\nwait_weeks = {said}\n')
    found = simulate(build, trials=256).weeks((0.5,))
    assert found is not None
    assert found[0].value == pytest.approx(weeks)


@pytest.mark.parametrize(
    ("said", "told"),
    [
        (
            'own_hours = { value = 3, unit = "kg" }',
            "own_hours: unit is 'kg', a weight. This is a time: write min, h, days, weeks or months, or leave the unit "
            "out for h.",
        ),
        (
            'own_hours = { value = 3, unit = "days" }',
            "own_hours are in 'days'. How many hours a day's work has differs: write hours.",
        ),
        ('wait_weeks = { value = 3, unit = "m2" }', "wait_weeks: unit is 'm2', an area. This is a time"),
    ],
)
def test_times_in_what_is_no_time_are_refused(said: str, told: str) -> None:
    assert told in mistakes(f'[[line]]\nid = "part"\ngroup = "labour"\n{said}\n')
