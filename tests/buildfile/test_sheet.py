"""Figures as rows of a sheet, and edits of rows as changes to the file."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from forecast.buildfile.edit import changed
from forecast.buildfile.library import load_library
from forecast.buildfile.reader import parse_build, read_build
from forecast.buildfile.sheet import (
    certainty,
    changes,
    every_figure,
    free_id,
    new_line,
    open_quotes,
    other_shapes,
    quoted_figure,
    rate_changes,
    rows,
    starter,
    taken_quote,
    told_apart,
)  # fmt: skip
from forecast.figures.kinds import Known, Quotes
from forecast.ledger.folder import DEMOS
from forecast.start import read_answers, write_build
from tests.buildfile.texts import HEAD

TEXT = """\
[build]
name = "Coupe"
currency = "EUR"
country = "IE"

[currency.JPY]
rate = 0.006

[[cause]]
id = "kit_fit"

[[line]]
id = "filler"
group = "consumables"
quantity = { low = 3, middle = 5, high = 11, unit = "kg", causes = { kit_fit = "strong" } }
price = { low = 9, high = 16 }

[[line]]
id = "kit"
group = "kit"
amount = { value = 250000, currency = "JPY" }

[[line]]
id = "paint"
group = "finish"
amount = { quotes = [4000, 5200] }
chance = 0.5
"""


def test_every_figure_that_fits_has_a_row_and_the_others_are_listed() -> None:
    build = parse_build(TEXT)
    found = [(row.item, row.figure, row.unit, row.low, row.middle, row.high) for row in rows(build)]
    assert found == [
        ("filler", "quantity", "kg", 3, 5, 11),
        ("filler", "price", "EUR", 9, None, 16),
        ("kit", "amount", "JPY", None, 250000, None),
    ]
    assert other_shapes(build) == (("paint.amount", "Paint", "amount", "quotes 4000 / 5200"),)


def test_an_edited_number_keeps_unit_causes_and_currency() -> None:
    build = parse_build(TEXT)
    before = rows(build)
    after = [
        replace(before[0], middle=6.0),
        replace(before[1], middle=12.0),
        replace(before[2], low=240000.0, middle=250000.0, high=290000.0),
    ]
    text = changed(TEXT, changes(build, before, after))
    assert (
        'quantity = { low = 3, middle = 6, high = 11, unit = "kg", causes = { kit_fit = "strong" } }' in text
    )
    lines = parse_build(text).line
    assert lines[1].amount is not None
    assert lines[1].amount.currency == "JPY"
    again = [(row.low, row.middle, row.high) for row in rows(parse_build(text))]
    assert again == [(3, 6, 11), (9, 12, 16), (240000, 250000, 290000)]


def test_a_starter_is_the_builders_own_once_its_numbers_were_changed() -> None:
    text = TEXT.replace("high = 16", "high = 16, starter = true").replace(
        "high = 11", "high = 11, starter = true"
    )
    build = parse_build(text)
    before = rows(build)
    edited = changed(text, changes(build, before, [replace(before[0], high=12.0), *before[1:]]))
    line = parse_build(edited).line[0]
    assert line.quantity is not None
    assert line.price is not None
    assert (line.quantity.starter, line.price.starter) == (False, True)  # the price was left as it was


def test_a_middle_alone_is_a_known_figure() -> None:
    build = parse_build(TEXT)
    before = rows(build)
    after = [
        replace(before[0], low=None, high=None),
        replace(before[1], low=None, middle=11.0, high=None),
        before[2],
    ]
    text = changed(TEXT, changes(build, before, after))
    assert "price = 11\n" in text
    assert [row.middle for row in rows(parse_build(text))] == [5, 11, 250000]
    assert parse_build(text).line[0].quantity.causes == {"kit_fit": 0.7}  # type: ignore[union-attr]


def test_name_and_chance_of_a_line_with_two_rows_change_once() -> None:
    build = parse_build(TEXT)
    before = rows(build)
    after = [replace(before[0], title="Body filler", chance=0.9), *before[1:]]
    line = parse_build(changed(TEXT, changes(build, before, after))).line[0]
    assert (line.name, line.chance) == ("Body filler", 0.9)


def test_unchanged_rows_give_no_change() -> None:
    build = parse_build(TEXT)
    assert changes(build, rows(build), rows(build)) == []


def test_lines_are_counted_by_how_well_they_are_known() -> None:
    build = parse_build(TEXT)
    assert certainty(build, build.line) == {"known": 1, "quoted": 1, "guessed": 1}


@pytest.mark.parametrize(
    ("takeoff", "price", "counted"),
    [
        ('{ kind = "film", area = { low = 4, middle = 6, high = 9 } }', "12", "guessed"),
        ('{ kind = "sealant", length = 14, width = 6, depth = 6 }', "12", "guessed"),
        ('{ kind = "film", area = 6 }', "{ quotes = [12, 14] }", "quoted"),
        ('{ kind = "wheel-bolts", shank = 28, spacer = 15 }', "3", "known"),
    ],
)
def test_a_take_off_is_known_only_where_pieces_are_counted(takeoff: str, price: str, counted: str) -> None:
    text = f'{HEAD}[[line]]\nid = "a"\ngroup = "finish"\ntakeoff = {takeoff}\nprice = {price}\n'
    build = parse_build(text)

    assert certainty(build, build.line) == {"known": 0, "quoted": 0, "guessed": 0} | {counted: 1}


@pytest.mark.parametrize("demo", ["before-ordering-ireland", "half-way-new-zealand"])
def test_every_starter_line_and_event_can_be_added_to_a_build(demo: str) -> None:
    path = DEMOS / demo / "build.toml"
    text, build = path.read_text(encoding="utf-8"), read_build(path)
    there = {item.id for item in (*build.line, *build.event)}
    library = load_library(currency=build.build.currency)
    names = [line.id for line in library.lines if line.scale != "percent"] + [
        event.id for event in library.events
    ]
    added = [name for name in names if name not in there][:25]
    assert added
    for name in added:
        grown = parse_build(changed(text, starter(build, name)))
        assert name in {item.id for item in (*grown.line, *grown.event)}


def test_a_starter_brings_no_weeks_to_a_build_that_does_not_count_them() -> None:
    text = '[build]\nname = "A"\ncurrency = "EUR"\ncountry = "IE"\n'
    timed = text + "hours_per_week = 10\n"
    late = parse_build(changed(timed, starter(parse_build(timed), "late_delivery"))).event[0]
    assert late.wait_weeks is not None
    untimed = parse_build(changed(text, starter(parse_build(text), "late_delivery"))).event[0]
    assert untimed.wait_weeks is None
    grown = parse_build(changed(timed, starter(parse_build(timed), "late_delivery")))
    assert {row.figure: row.unit for row in rows(grown)} == {"cost if it happens": "EUR", "waiting": "weeks"}


def test_a_new_line_gets_an_id_of_its_own() -> None:
    build = parse_build(TEXT)
    added = new_line(build, "Filler", "consumables", 10, None, 30)
    assert added.table == {
        "id": "filler_2", "name": "Filler", "group": "consumables", "amount": {"low": 10, "high": 30},
    }  # fmt: skip
    assert parse_build(changed(TEXT, [added])).line[-1].title == "Filler"


@pytest.mark.parametrize(
    ("name", "made"), [("Kühler, groß!", "kuhler_gross"), ("4 wheels", "line_4_wheels"), ("???", "line")]
)
def test_ids_have_letters_digits_and_underscores_only(name: str, made: str) -> None:
    assert free_id(name, []) == made


@pytest.fixture(scope="module")
def guided() -> str:
    """A build from the guided start: its kit is a consignment with boxes, its filler has take-offs."""
    return write_build(read_answers({"country": "IE", "origin": "JP", "kit_price": "1800/2400/3200"}))


def test_a_consignment_and_take_offs_can_be_edited_as_well(guided: str) -> None:
    found = {row.path: (row.title, row.figure, row.unit) for row in rows(parse_build(guided))}
    assert found["kit.price"] == ("Body kit", "price", "JPY")
    assert found["kit.boxes.0.length"] == ("Body kit, box 1", "length", "cm")
    assert found["kit.boxes.0.weight"] == ("Body kit, box 1", "weight", "kg")
    assert found["kit.freight_rate"] == ("Body kit", "freight rate", "EUR")
    assert found["filler.takeoff.depth"][1:] == ("depth", "mm")
    assert found["abrasives.takeoff.steps.1.rounds"][1] == "rounds 2"


def test_each_row_changes_its_own_figure_and_nothing_else(guided: str) -> None:
    build = parse_build(guided)
    before = rows(build)
    nested = [place for place, row in enumerate(before) if "." in row.key or row.item == "kit"]
    assert len(nested) > 20
    for place in nested[::3]:
        row = before[place]
        middle = 1.01 * (row.middle or 1.0)
        after = [*before[:place], replace(row, middle=middle), *before[place + 1 :]]
        text = changed(guided, changes(build, before, after))
        then = rows(parse_build(text))
        assert then[place].middle == pytest.approx(middle)
        assert [*then[:place], *then[place + 1 :]] == [*before[:place], *before[place + 1 :]]
        assert (
            abs(len(text.splitlines()) - len(guided.splitlines())) <= 1
        )  # a count that was left out gets a line


def test_goods_of_a_consignment_keep_what_else_they_say() -> None:
    text = (
        TEXT
        + """
[[consignment]]
id = "panels"
incoterm = "FOB"
mode = "sea"
currency = "JPY"
goods = [
  { id = "body", name = "Panels", price = { low = 100000, middle = 130000, high = 190000 }, hs = "8708.29" },  # quoted
  { id = "lip", price = 20000 },
]
"""
    )
    build = parse_build(text)
    before = rows(build)
    assert [(row.title, row.figure, row.unit) for row in before if row.item == "panels"] == [
        ("Panels", "price", "JPY"), ("Lip", "price", "JPY"),
    ]  # fmt: skip
    after = [
        replace(row, high=210000, title="All panels") if row.path == "panels.goods.0.price" else row
        for row in before
    ]
    new = changed(text, changes(build, before, after))
    assert (
        'name = "All panels", price = { low = 100000, middle = 130000, high = 210000 }, hs = "8708.29" },  # quoted'
        in new
    )
    assert parse_build(new).consignment[0].goods[1] == build.consignment[0].goods[1]


def test_quotes_can_be_had_for_the_price_of_a_consignment(guided: str) -> None:
    build = parse_build(guided)
    assert every_figure(build)["kit.price"] == "Body kit: price"
    new = parse_build(changed(guided, [quoted_figure(build, "kit.price", [240000, 265000])]))
    assert new.consignment[0].price == Quotes(quotes=(240000, 265000))


def test_the_quote_that_is_taken_stands_in_the_place_of_all_of_them(guided: str) -> None:
    build = parse_build(changed(guided, [quoted_figure(parse_build(guided), "kit.price", [240000, 265000])]))
    assert [place.path for place in open_quotes(build)] == ["kit.price"]
    assert open_quotes(build, {"kit.price"}) == ()  # a line of the consignment is paid
    assert [place.path for place in open_quotes(build, {"kitchen"})] == ["kit.price"]
    assert taken_quote(build, "kit.price", 265000).key == "price"
    text = changed(guided, [quoted_figure(parse_build(guided), "kit.price", [240000, 265000])])
    new = parse_build(changed(text, [taken_quote(build, "kit.price", 265000)]))
    assert isinstance(new.consignment[0].price, Known)
    assert new.consignment[0].price.value == 265000
    assert new.consignment[0].price.currency == build.consignment[0].price.currency
    assert open_quotes(new) == ()


def test_one_price_or_the_same_twice_leaves_nothing_to_ask() -> None:
    assert [place.path for place in open_quotes(parse_build(TEXT))] == ["paint.amount"]
    for quotes in ("[4000]", "[4000, 4000.0]"):
        assert open_quotes(parse_build(TEXT.replace("[4000, 5200]", quotes))) == ()


def test_a_rate_of_exchange_is_told_anew_with_its_day() -> None:
    text = TEXT.replace(
        "rate = 0.006\n", "rate = { value = 0.006, estimated = false }\nas_of = 2026-10-30  # looked up\n"
    )
    build = parse_build(text)
    new = changed(text, rate_changes(build, "JPY", 0.00585, date(2026, 11, 25)))
    assert "rate = { value = 0.00585, estimated = false }\nas_of = 2026-11-25  # looked up\n" in new
    assert parse_build(new).currency["JPY"].as_of == date(2026, 11, 25)
    plain = parse_build(TEXT)
    assert "rate = 0.0059\n" in changed(TEXT, rate_changes(plain, "JPY", 0.0059, date(2026, 11, 25)))


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("middle = 12, high", "middle = 13, high", ["Filler, price: was 9 / 12 / 16, is 9 / 13 / 16."]),
        ("chance = 0.2", "chance = 0.3", ["Rust, chance: was 20 of 100, is 30 of 100."]),
        ("rate = 0.0057", "rate = 0.006", ["Rate of JPY: was 0.0057, is 0.006."]),
        ('name = "Filler"', 'name = "Body filler"', ["Filler is now called Body filler."]),
        ("cost = 400", 'cost = 400\nnote = "since 2027"',
         ["Something other than sums changed: a name, a note, a tie to a shared cause, or who does which work."]),
        ("# a comment", "# another comment", []),
        ("budget = 9000", "budget = 9500", ["Budget: was 9,000, is 9,500."]),
        ('[[event]]\nid = "rust"\nchance = 0.2\ncost = 400\n', "", ["Rust is taken out."]),
        ("# a comment", '[[line]]\nid = "wax"\ngroup = "finish"\namount = 9\n', ["Wax is added."]),
        ("amount = 700", 'amount = { shape = "uniform", min = 600, max = 800 }',
         ["Kit, amount: was 700, is uniform: min 600, max 800."]),
    ],
)  # fmt: skip
def test_two_builds_are_told_apart_in_words(old: str, new: str, told: list[str]) -> None:
    text = (
        HEAD + "budget = 9000\n[currency.JPY]\nrate = 0.0057\n"
        '[[line]]\nid = "filler"\nname = "Filler"\ngroup = "consumables"\nquantity = 4\n'
        "price = { low = 9, middle = 12, high = 16 }\n"
        '[[line]]\nid = "kit"\ngroup = "kit"\namount = 700\n'
        '[[event]]\nid = "rust"\nchance = 0.2\ncost = 400\n'
        "# a comment\n"
    )
    assert old in text
    assert told_apart(parse_build(text), parse_build(text.replace(old, new))) == told
