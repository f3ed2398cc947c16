"""What a plan says of its rows."""

from __future__ import annotations

import pytest

from forecast.buildfile.reader import parse_build
from forecast.engine.plan import compile_plan
from forecast.engine.rows import OWN_WORK

BUILD = """
[build]
name = "x"
currency = "EUR"
country = "IE"
own_hour_value = 10
[[line]]
id = "kit"
group = "kit"
amount = 4000
resale = 500
own_hours = { low = 5, middle = 9, high = 20 }
[[line]]
id = "maybe"
group = "other"
chance = 0.5
amount = 100
[[event]]
id = "damage"
chance = 0.2
cost = 50
[[consignment]]
id = "parcel"
incoterm = "FOB"
mode = "sea"
price = 4000
freight = 800
"""


def test_receipts_may_name_what_is_bought_and_nothing_that_is_only_reckoned() -> None:
    """Lines and events of the file and of a consignment; never what is sold again, nor own hours and their cost."""
    plan = compile_plan(parse_build(BUILD))
    payable = {row.id: row for row in plan.payable}
    rest = [row for row in plan.rows if row.id not in payable]

    assert {
        "kit",
        "maybe",
        "damage",
        "parcel.goods",
        "parcel.freight",
        "parcel.duty",
        "parcel.tax",
    } <= payable.keys()
    assert all(row.of == "parcel" for row in payable.values() if row.id not in ("kit", "maybe", "damage"))
    assert OWN_WORK in {row.id for row in rest}
    assert {row.of for row in rest if row.id != OWN_WORK} == {"kit"}
    assert {row.kind for row in rest if row.of == "kit"} == {"line", "hours"}  # sold again; one's own hours


def test_lines_count_as_small_only_where_the_money_is_worth_something_known() -> None:
    """Under 150 euro a line says in proportion less of own estimating; UYW has no rate on file to tell 150 euro by."""
    loads = {}
    for currency in ("EUR", "UYW"):
        text = f'[build]\nname = "x"\ncurrency = "{currency}"\ncountry = "IE"\n'
        for name, middle in (("small", 15), ("large", 1500)):
            range_ = f"{{ low = {middle / 2}, middle = {middle}, high = {2 * middle} }}"
            text += f'[[line]]\nid = "{name}"\ngroup = "other"\namount = {range_}\n'
        plan = compile_plan(parse_build(text))
        loads[currency] = [item.loadings[0] for item in plan.inputs]
    assert loads["EUR"][0] == pytest.approx(loads["EUR"][1] / 10)
    assert loads["UYW"] == [loads["EUR"][1]] * 2
