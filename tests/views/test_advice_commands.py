"""Advice in the terminal: quotes compared, and receipts that count in what is to be done."""

from __future__ import annotations

import json
import re
from functools import partial
from pathlib import Path

import pytest

from forecast.decide.choices import quotes
from forecast.ledger.folder import DEMOS, BuildFolder, open_demo
from forecast.views.cli import main
from forecast.views.commands.quotes import EXAMPLE
from forecast.views.quote_words import quotes_sentence
from forecast.words.money import about

BUILD = """\
[build]
name = "Two kits"
currency = "EUR"
country = "IE"

[[line]]
id = "kit"
group = "kit"
amount = { low = 2300, middle = 2500, high = 2900 }

[[line]]
id = "paint"
group = "finish"
amount = { low = 1000, middle = 1500, high = 2600 }

"""


def run(capsys: pytest.CaptureFixture[str], *arguments: str, expect: int = 0) -> str:
    assert main(list(arguments)) == expect
    output = capsys.readouterr()
    return output.err if expect else output.out


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "build.toml").write_text(BUILD + EXAMPLE, encoding="utf-8")
    return tmp_path


def test_quotes_are_compared_as_the_example_shows(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = run(capsys, "quotes", str(folder))
    found = quotes(BuildFolder.at(folder).read(), "kit")
    assert text.startswith(
        f"{quotes_sentence(found, partial(about, currency='EUR'))} Once you take it, P80 will be €"
    )
    assert "Its largest risk: The seller never delivers" in text
    assert text == run(capsys, "quotes", str(folder), "kit")
    data = json.loads(run(capsys, "quotes", str(folder), "--json"))
    assert [item["id"] for item in data["choices"][0]["quotes"]] == ["kit_nearby", "kit_abroad"]
    assert data["choices"][0]["best"] == found.best.id
    assert data["choices"][0]["quotes"][0]["summary"]["P80"]["value"] == found.quotes[0].summary.p80.value


def test_without_options_it_says_how_to_write_them(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "build.toml").write_text(BUILD, encoding="utf-8")
    said = run(capsys, "quotes", str(tmp_path), expect=2)
    assert "[[option]]" in said
    assert 'choice = "kit"' in said
    (tmp_path / "build.toml").write_text(BUILD + EXAMPLE, encoding="utf-8")
    assert "Did you mean 'kit'" in run(capsys, "quotes", str(tmp_path), "kitt", expect=2)


def test_what_is_paid_needs_no_quote_and_counts_in_what_can_be_afforded(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = run(capsys, "advise", str(folder), "--trials", "4096")
    assert "Decide whether you take the quote for \u201cKit\u201d (Kit from a maker nearby)" in before
    assert "Get \u201cKit\u201d" not in before  # a quote is in
    afford = ("afford", str(folder), "--money", "5000")
    chance = json.loads(run(capsys, *afford, "--json"))["budget"]["chance"]["value"]
    ledger = BuildFolder.at(folder).ledger()
    ledger.add_receipt("2026-03-01", "Maker", 340_000, "EUR", [("kit", 340_000)])
    ledger.close_line("kit", "2026-03-01")
    text = run(capsys, "advise", str(folder), "--trials", "4096")
    assert text.startswith("With €3,400.00 paid, this starts from what is known.\n")
    assert "\u201cKit\u201d" not in text.partition("What to firm up first")[2].partition("\n\n")[0]
    assert "Get \u201cPaint\u201d" in text or "quote a fixed price: \u201cPaint\u201d" in text
    assert run(capsys, *afford).startswith("With €3,400.00 paid, this starts from what is known.\n")
    assert json.loads(run(capsys, *afford, "--json"))["budget"]["chance"]["value"] < chance


@pytest.mark.parametrize("command", ["budget", "advise", "compare", "mix"])
def test_every_recommendation_says_what_may_hurt(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    """The first way of this demo, and its cheapest, sprays and welds at home."""
    demo = str(DEMOS / "before-ordering-ireland")
    text = run(capsys, command, demo, "--trials", "1024")
    (told,) = (line for line in text.splitlines() if "which can leave you with asthma for life" in line)
    assert "aint" in told
    assert "rches by yourself means" in told
    assert "Local rules and licensed practice decide" in told
    data = json.loads(run(capsys, command, demo, "--trials", "1024", "--json"))
    found = data["hazards"] if command == "mix" else data["own_hazards"]
    of_one_way = next(iter(found.values())) if command == "compare" else found
    assert any("asthma for life" in item["caution"]["harm"] for item in of_one_way)


PAINTERS = """
[[option]]
id = "as_written"
choice = "paint_shop"
[[option]]
id = "cheap"
choice = "paint_shop"
override = { paint_shop = { amount = 7000 } }
[[option]]
id = "lamps_as_written"
choice = "lamps"
[[option]]
id = "other_lamps"
choice = "lamps"
override = { lamps = { amount = 100 } }
"""


def test_quotes_of_a_price_agreed_and_of_another_way_are_not_compared(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("FORECAST_HOME", str(tmp_path / "home"))
    build = open_demo("half-way-new-zealand")
    with build.build_file.open("a", encoding="utf-8") as file:
        file.write(PAINTERS)
    where = str(build.folder)
    few = ("--trials", "512")
    told = run(capsys, "quotes", where, "paint_shop", *few)
    assert told.startswith("That is settled: NZ$1,500 paid and NZ$6,480 more agreed for “Paint")
    assert "Middle figures" not in told
    asked = json.loads(run(capsys, "check", where, "--json"))["undecided"]
    assert [(item["choice"], item["options"]) for item in asked] == [
        ("lamps", ["other_lamps"])  # of the painter none is left to take
    ]
    assert "Other lamps. Do you take it?" in run(capsys, "check", where)
    first = run(capsys, "quotes", where, "paint_shop", "--scenario", "diy", "--before-receipts", *few)
    assert first.startswith("These quotes do not count in this way: “Paint")
    assert "Ask with --scenario mixed." in first
    assert "Middle figures" not in first
    data = json.loads(run(capsys, "quotes", where, "--json", *few))
    assert [item["choice"] for item in data["choices"]] == ["lamps"]
    assert [(item["choice"], item["why"]) for item in data["not_compared"]] == [("paint_shop", "settled")]
    assert told.strip().startswith(data["not_compared"][0]["text"])


@pytest.mark.parametrize("demo", ["before-ordering-ireland", "by-sea-poland"])
def test_what_matters_most_is_what_is_firmed_up_first(demo: str, capsys: pytest.CaptureFixture[str]) -> None:
    """The table of `budget` and the list of `advise` have the same names first, in the same order."""
    told = (
        run(capsys, "budget", str(DEMOS / demo)).partition("matter most, ")[2].partition("\nMoves it by")[0]
    )
    rows = re.sub(r"(?m)(.*?)(  .*)\n  (\S.*)$", r"\1 \3\2", told).splitlines()[
        3:
    ]  # a long name goes on below
    matter = [re.split(r"  | \(in ", row)[0] for row in rows]
    assert len(matter) == 10
    listed = (
        run(capsys, "advise", str(DEMOS / demo)).partition("What to firm up first, ")[2].partition("\n\n")[0]
    )
    firm = list(dict.fromkeys(re.findall("\u201c(.+?)\u201d", listed)))
    both = [name for name in matter if any(title.startswith(name) for title in firm)]
    assert len(both) >= 3
    assert both == [name for title in firm for name in matter if title.startswith(name)]
    assert firm[0].startswith(matter[0])


def test_prices_to_ask_about_are_called_what_the_builder_calls_them(
    capsys: pytest.CaptureFixture[str],
) -> None:
    demo = str(DEMOS / "before-ordering-ireland")
    asked = ("afford", demo, "--money", "20000", "--trials", "1024")
    told = run(capsys, *asked)
    assert re.search(r"^  --figure wheels\.price +Wheels, price$", told, re.MULTILINE)
    by_id = run(capsys, *asked, "--figure", "wheels.price")
    assert "the price of “Wheels” goes beyond €" in by_id
    assert "you expect (€200 for one)" in by_id
    assert run(capsys, *asked, "--figure", "wheels") == by_id
    assert run(capsys, *asked, "--figure", "Wheels, price") == by_id
    refused = run(capsys, *asked, "--figure", "xylophone", expect=2)
    assert "Wheels, price" in refused
    assert "fx." not in refused


def test_what_has_quotes_is_called_what_the_builder_calls_it(capsys: pytest.CaptureFixture[str]) -> None:
    demo = str(DEMOS / "before-ordering-ireland")
    by_id = run(capsys, "quotes", demo, "paint_shop")
    assert run(capsys, "quotes", demo, "Paint by a shop") == by_id
    for more in ([], ["--take", "172"]):
        refused = run(capsys, "quotes", demo, "xylophone", *more, expect=2)
        assert "“Wheels” (wheels); “Paint by a shop, whole car with kit” (paint_shop)" in refused


def test_quotes_to_take_are_called_what_the_builder_calls_them(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    refused = run(capsys, "quotes", str(folder), "Kit", "--take", "xylophone", expect=2)
    assert "“Kit from a maker nearby” (kit_nearby); “Kit from abroad” (kit_abroad)" in refused
