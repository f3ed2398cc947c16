"""Figures as rows of a sheet, and edits of rows as changes to the file."""

from __future__ import annotations

from dataclasses import replace

import pytest

from forecast.build.buildfile import parse_build, read_build
from forecast.build.edit import changed
from forecast.build.library import load_library
from forecast.build.sheet import certainty, changes, free_id, new_line, other_shapes, rows, starter
from forecast.spending.folder import DEMOS

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
    assert other_shapes(build) == (("Paint", "amount", "quotes: quotes 4000 / 5200"),)


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
