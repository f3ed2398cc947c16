"""Lines from the builder's own list: columns, numbers, and what becomes of each row."""

from __future__ import annotations

from decimal import Decimal

import pytest

from forecast.buildfile.edit import changed
from forecast.buildfile.reader import parse_build
from forecast.errors import BuildFileError
from forecast.start.listing import (
    SPREAD_NOTE,
    Cell,
    Listed,
    build_of_list,
    cell_number,
    choose_columns,
    find_header,
    guess_columns,
    heading_words,
    lines_to_add,
    read_rows,
)

TEXT = """\
# Mine, and this comment stays.
[build]
name = "Coupe"
currency = "EUR"
country = "IE"

[[line]]
id = "kit"          # the big one
name = "The kit"
group = "kit"
amount = 2500
"""


def read(
    heading: str, *rows: str, known: bool = False, leave_out: tuple[int, ...] = ()
) -> tuple[Listed, ...]:
    """Read rows of cells parted by a bar, below a heading on row 1, for the build above."""
    header: list[Cell] = [cell.strip() for cell in heading.split("|")]
    cells = [(number, [cell.strip() for cell in row.split("|")]) for number, row in enumerate(rows, start=2)]
    return read_rows(
        cells, choose_columns(header, {}), [str(cell) for cell in header], ".", "EUR", known=known,
        leave_out=leave_out, build=parse_build(TEXT),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("header", "expected"),
    [
        ("Name,Group,Low,Middle,High", {"name": 0, "group": 1, "low": 2, "middle": 3, "high": 4}),
        (
            "Item,Qty,Unit,Unit price (EUR),Total",
            {"name": 0, "quantity": 1, "unit": 2, "price": 3, "middle": 4},
        ),
        (
            "Bezeichnung,Kategorie,Menge,Stückpreis,Gesamt",
            {"name": 0, "group": 1, "quantity": 2, "price": 3, "middle": 4},
        ),
        ("Désignation,Quantité,Prix unitaire", {"name": 0, "quantity": 1, "price": 2}),
        (
            "Part,Price low,Price,Price high,Quantity",
            {"name": 0, "price_low": 1, "price": 2, "price_high": 3, "quantity": 4},
        ),
        ("Part no.,Description,Cost in EUR", {"name": 1, "middle": 2}),
        ("Colour,Weight", {}),
    ],
)
def test_columns_are_known_by_their_headings(header: str, expected: dict[str, int]) -> None:
    assert guess_columns(header.split(",")) == expected


def test_headings_may_stand_below_a_title() -> None:
    assert find_header([["My parts"], [""], ["Name", "Cost"], ["Filler", "60"]]) == 2
    with pytest.raises(BuildFileError, match="no row of headings was found"):
        find_header([["Filler", "60"], ["Primer", "40"]])


def test_the_builder_decides_what_a_column_holds() -> None:
    header = ["Was", "Name", "Cost"]
    assert choose_columns(header, {"name": "Was"}) == {"middle": 2, "name": 0}
    assert choose_columns(header, {"price": "Cost"}) == {"name": 1, "price": 2}
    with pytest.raises(BuildFileError, match="no column says what a line costs"):
        choose_columns(header, {"middle": ""})
    with pytest.raises(BuildFileError, match=r"2 mistakes(.|\n)*Did you mean 'price'(.|\n)*headed 'Kost'"):
        choose_columns(header, {"prise": "Cost", "middle": "Kost"})


@pytest.mark.parametrize(
    ("cell", "decimal", "value"),
    [
        ("1,234.50", ".", 1234.5), ("1.234,50", ",", 1234.5), ("1 234,50", ",", 1234.5), ("€ 12.50", ".", 12.5),
        ("EUR 60", ".", 60.0), ("60 €", ".", 60.0), ("1'850", ".", 1850.0), (".5", ".", 0.5), ("-12", ".", -12.0),
        (Decimal("12.5"), ",", 12.5),
    ],
)  # fmt: skip
def test_numbers_are_read_with_their_marks(cell: Cell, decimal: str, value: float) -> None:
    assert cell_number(cell, decimal, "EUR") == value


@pytest.mark.parametrize(
    ("cell", "found"),
    [
        ("12.50.1", "grouped in threes"), ("12,50", "decimal point of the rest"), ("about 60", "is no number"),
        ("USD 60", "is in USD, but EUR is counted here"), ("NaN", "is no number"), (Decimal("NaN"), "Write a number"),
        ("50 %", "is a percentage"),
    ],
)  # fmt: skip
def test_what_is_no_number_is_told(cell: Cell, found: str) -> None:
    assert found in str(cell_number(cell, ".", "EUR"))


def test_a_percentage_is_a_chance() -> None:
    assert cell_number("30 %", ".", percent=True) == pytest.approx(0.3)


def test_ranges_quantities_and_prices_become_lines() -> None:
    low, many, chance = read(
        "name | group | low | middle | high | quantity | unit | price | chance | note",
        "Discs | materials | 40 | 60 | 120 | | | | 90% | by the box",
        "Primer | Paint | | | | 4 | l | 22 | | ",
        "Tow hire | | | 80 | | | | | 0.3 | ",
        known=True,
    )
    assert dict(low.table) == {
        "id": "discs", "name": "Discs", "group": "consumables", "amount": {"low": 40, "middle": 60, "high": 120},
        "chance": 0.9, "note": "by the box",
    }  # fmt: skip
    assert many.table["quantity"] == {"value": 4, "unit": "l"}
    assert many.table["price"] == 22
    assert many.group == "finish"
    assert (chance.group, chance.table["amount"], chance.table["chance"]) == ("other", 80, 0.3)


def test_a_price_that_stands_alone_gets_a_starting_range_and_says_so() -> None:
    alone, both, counted = read(
        "name|low|middle|high|quantity|price", "A||100|||", "B|90|100|140||", "C||||3|20"
    )
    assert alone.table["amount"] == {"low": 85, "middle": 100, "high": 140}  # two significant digits
    assert alone.table["note"] == SPREAD_NOTE
    assert "note" not in both.table
    assert counted.table["quantity"] == 3
    assert counted.table["price"] == {"low": 17, "middle": 20, "high": 27}


@pytest.mark.parametrize("price", [Decimal("5e-324"), Decimal("1e-320"), Decimal("4e-7")])
def test_a_price_of_next_to_nothing_gets_no_range(price: Decimal) -> None:
    """As cells of a workbook hold numbers."""
    header = ["name", "quantity", "price"]
    (row,) = read_rows(
        [(2, ["Glue", Decimal(2), price])], choose_columns(header, {}), header, ".", "EUR", known=False,
        leave_out=(), build=parse_build(TEXT),
    )  # fmt: skip

    assert row.problems or row.table["price"] == float(price)


def test_no_more_of_a_heading_is_looked_at_than_a_heading_has() -> None:
    """Brackets that never close took as long as they are many, squared."""
    assert heading_words("(" * 1_000 + " price") == ""
    assert heading_words("Price (with tax) [EUR]") == "price"


def test_a_total_beside_quantity_and_price_must_agree() -> None:
    fits, differs, alone = read("name|qty|price|total", "A|3|12|36", "B|3|12|50", "C||50|50")
    assert fits.table["quantity"] == 3
    assert fits.table["price"] == {"low": 10, "middle": 12, "high": 16}
    assert "the amount 50 is not 3 × 12 = 36" in differs.why
    assert alone.table["amount"]["middle"] == 50


@pytest.mark.parametrize(
    ("row", "column", "found"),
    [
        ("|kit|1|2|3|||", "name", "is empty"),
        ("The Kit|kit|1|2|3|||", "name", "'The Kit' is in the build already"),
        ("A|engine|1|2|3|||", "group", "found 'engine'. Known here: kit, freight"),
        ("A|kit|3|2|1|||", "name", ""),
        ("A|kit|0|2|3|||", "name", "low is 0. Low, middle and high must be above zero"),
        ("A|kit|x|2|3|||", "low", "found 'x'. It is no number"),
        ("A|kit|||||||", "middle", "no price"),
        ("A|kit||||4||", "quantity", "a quantity without a price"),
        ("A|kit|1|2|3|4||", "quantity", "a quantity without a price of one"),
        ("A|kit|1|2|3|4|5|", "middle", "amounts as well as quantity and price"),
        ("A|kit|1|2|3|||1.5", "chance", "Write it from 0 to 1"),
        ("A|kit|1|2|3|||0", "chance", "Write it from 0 to 1"),
    ],
)
def test_each_mistake_is_named_with_row_and_column(row: str, column: str, found: str) -> None:
    (listed,) = read("name|group|low|middle|high|quantity|price|chance", row)
    assert listed.state == "bad"
    where = {problem.where for problem in listed.problems}
    assert any(place.startswith("row 2, column") for place in where)
    assert found in listed.why
    assert column in {"name"} | {place.partition("'")[2].rstrip("'") for place in where}


def test_sums_are_no_lines_and_rows_can_be_left_out() -> None:
    rows = read("name|cost", "A|10", "Total|20", "B|x", leave_out=(4,))
    assert [row.state for row in rows] == ["new", "sum", "left out"]
    assert [item.table["name"] for item in lines_to_add(rows)] == ["A"]


def test_one_bad_row_means_that_nothing_is_taken() -> None:
    rows = read("name|cost", "A|10", "B|x", "|5")
    with pytest.raises(BuildFileError, match=r"nothing was taken: 2 mistakes(.|\n)*row 3(.|\n)*row 4"):
        lines_to_add(rows)


def test_a_list_without_any_line_is_refused() -> None:
    with pytest.raises(BuildFileError, match="no row becomes a line"):
        lines_to_add(read("name|cost", "Total|20"))


def test_two_lines_of_one_name_get_ids_of_their_own_and_a_taken_id_is_told() -> None:
    first, second = read("name|cost", "Primer|10", "Primer|12")
    assert (first.table["id"], second.table["id"]) == ("primer", "primer_2")
    (taken,) = read("id|name|cost", "kit|Another|5")
    assert "'kit' is taken already" in taken.why


def test_lines_are_added_below_and_comments_live() -> None:
    text = changed(TEXT, lines_to_add(read("name|group|cost", "Filler|consumables|60")))
    assert text.startswith(TEXT.rstrip("\n"))
    build = parse_build(text)
    assert [line.id for line in build.line] == ["kit", "filler"]
    assert "# Caution" in text  # its cautions came with it


def test_a_list_makes_a_new_build() -> None:
    text = build_of_list('My "big"\nplan', "JPY", "NZ", read("name|cost", "A|100", "B|200"))
    build = parse_build(text)
    assert build.name == 'My "big" plan'
    assert (build.build.currency, build.build.country) == ("JPY", "NZ")
    assert [line.title for line in build.line] == ["A", "B"]
