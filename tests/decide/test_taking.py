"""The quote that is taken is a price agreed for its line, and undone like any entry."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from forecast.buildfile.reader import parse_build
from forecast.decide.taking import asked_by_option, asked_by_price, quotes_to_take
from forecast.errors import LedgerError
from forecast.ledger.folder import BuildFolder
from forecast.views.cli import main

TEXT = """
[build]
name = "Quotes"
currency = "EUR"
country = "IE"
[currency.JPY]
rate = 0.0061
margin = 2
[[line]]
id = "kit"
name = "Kit"
group = "kit"
amount = { low = 2000, middle = 2600, high = 3900 }
[[line]]
id = "paint"
name = "Paint"
group = "finish"
amount = { quotes = [4650, 5400.5, 6300] }
[[line]]
id = "wheels"
group = "wheels"
quantity = 4
price = { quotes = [31000, 36000], currency = "JPY" }
[[line]]
id = "filler"
group = "consumables"
quantity = { low = 3, middle = 5, high = 9 }
price = { quotes = [11, 14] }
[[option]]
id = "near"
choice = "kit"
name = "Maker nearby"
override = { kit = { amount = 3100 } }
[[option]]
id = "abroad"
choice = "kit"
name = "Maker abroad"
override = { kit = { amount = { low = 2100, middle = 2300, high = 2900 } } }
[[option.event]]
id = "no_show"
name = "Never delivers"
chance = 0.05
cost = 2500
"""


@pytest.fixture
def folder(tmp_path: Path) -> str:
    Path(tmp_path, "build.toml").write_text(TEXT, encoding="utf-8")
    return str(tmp_path)


def said(capsys: pytest.CaptureFixture[str], *words: str, expect: int = 0) -> str:
    code = main([*words])
    told = capsys.readouterr()
    assert code == expect, told.err
    return told.out + told.err


def agreed(folder: str) -> list[tuple[str, str, int, str, str, int]]:
    return [
        (one.line_id, one.supplier, one.amount_minor, one.currency, one.kind, one.expected_minor)
        for one in BuildFolder.at(folder).ledger().list_commitments()
    ]


def test_what_a_quote_asks_for_its_line() -> None:
    build = parse_build(TEXT)
    assert [place.path for place in quotes_to_take(build)] == ["paint.amount", "wheels.price"]
    (asked,) = asked_by_price(build, "wheels.price", 36_000)
    assert (asked.line, asked.amount_minor, asked.currency, asked.firm) == ("wheels", 144_000, "JPY", True)
    near, abroad = (asked_by_option(build, option)[0] for option in build.option)
    assert (near.amount_minor, near.firm, abroad.amount_minor, abroad.firm) == (310_000, True, 230_000, False)
    with pytest.raises(LedgerError, match=r"5000 is none of the quotes\. Legal are 4650, 5400\.5, 6300"):
        asked_by_price(build, "paint.amount", 5000)
    with pytest.raises(LedgerError, match="how many are bought is open"):
        asked_by_price(build, "filler.price", 11)


def test_a_sum_that_is_taken_is_agreed_asked_no_more_and_undone(
    folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    text = Path(folder, "build.toml").read_bytes()
    told = said(capsys, "check", folder)
    assert f"Say so: forecast quotes {folder} paint --take 4650 --supplier NAME" in told
    refused = said(capsys, "quotes", folder, "paint", "--take", "5400.50", expect=2)
    assert "say whose quote it is with --supplier" in refused
    told = said(capsys, "quotes", folder, "paint", "--take", "5400.50", "--supplier", "A shop")
    assert "Kept: €5,400.50 agreed with A shop for “Paint”, a fixed price." in told
    assert agreed(folder) == [("paint", "A shop", 540_050, "EUR", "fixed", 540_050)]
    assert Path(folder, "build.toml").read_bytes() == text
    assert "Paint, amount: quoted" not in said(capsys, "check", folder)
    ends = json.loads(said(capsys, "watch", folder, "--json", "--trials", "1024"))
    assert next(one for one in ends["lines"] if one["id"] == "paint")["now"]["P50"]["value"] == 5400.5
    said(capsys, "undo", folder)
    assert agreed(folder) == []
    assert "Paint, amount: quoted €4,650, €5,400.50 and €6,300." in said(capsys, "check", folder)


def test_a_price_abroad_is_agreed_in_its_money_at_the_rate_planned(
    folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    said(capsys, "quotes", folder, "wheels", "--take", "31000", "--supplier", "A seller", "--estimate")
    assert agreed(folder) == [("wheels", "A seller", 124_000, "JPY", "estimate", round(124_000 * 0.6222))]


def test_an_option_that_is_taken_settles_its_choice(folder: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert f"Say so: forecast quotes {folder} kit --take near" in said(capsys, "check", folder)
    told = said(capsys, "quotes", folder, "kit", "--take", "Maker abroad")
    assert "Kept: €2,300.00 agreed with Maker abroad for “Kit”, an estimate that may still grow." in told
    assert "“Never delivers” counts once it stands among the lines and risks of the build file." in told
    assert "That is settled: €2,300 agreed for “Kit”." in said(capsys, "quotes", folder, "kit")
    assert "That is settled" in said(capsys, "quotes", folder, "kit", "--take", "near", expect=2)
    said(capsys, "undo", folder)
    assert agreed(folder) == []
    assert "there is no quote 'far'" in said(capsys, "quotes", folder, "kit", "--take", "far", expect=2)
