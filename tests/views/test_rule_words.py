"""Where the figures of tax and customs come from, in words and in the terminal."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest

from forecast import read_build
from forecast.buildfile.reader import parse_build
from forecast.engine.plan import compile_plan
from forecast.engine.rule_weights import Weight, rule_weights
from forecast.figures.evaluate import evaluate
from forecast.start import create_build, read_answers
from forecast.trade.expansion import RuleUse
from forecast.trade.rules import countries, load_rules
from forecast.views.cli import main
from forecast.views.rule_words import (
    FIRST,
    HEADINGS,
    THEN,
    dues_rows,
    hangs_on,
    rules_lead,
    rules_lines,
    rules_rows,
    to_look_up,
)
from forecast.words.text import STRONG

SURE = RuleUse(
    "vat", "VAT", "23 %", "revenue.ie", date(2026, 11, 25), "verified", 'overrides = { "vat" = … }'
)
OLD = RuleUse(
    "duty", "Duty", "4.5 %", "a list", date(2020, 12, 31), "verified", "overrides = { … }",
    ("is of 31 December 2020, more than 18 months old",),
)  # fmt: skip
MEMORY = RuleUse("x", "Uplift", "110 %", "a rule", date(2026, 1, 1), "no source", "", ("has no source",))
OWN = RuleUse("entry", "Entry", "95", "your own figure", None, "your own figure", "arrival = { entry = … }")

BUILD = """
[build]
name = "x"
currency = "EUR"
country = "IE"
[[consignment]]
id = "crate"
name = "Bumper from Japan"
price = 900
incoterm = "FOB"
mode = "sea"
freight = 300
origin = "JP"
overrides = { vat = 0.2 }
"""


def test_the_lead_counts_what_to_look_up_and_why() -> None:
    lead = rules_lead("Kit", [SURE, OLD, MEMORY, OWN])
    assert lead == (
        f"4 figures of law, carriers and agents stand behind Kit. Look up {STRONG}2{STRONG} of them, or write your "
        "own, before you "
        "rely on them: 1 out of date or older than 18 months and 1 without a source."
    )
    assert rules_lead("Kit", [SURE]) == (
        "1 figure of law, carriers and agents stands behind Kit; none of them needs a second look today."
    )


def test_a_figure_in_doubt_for_two_reasons_counts_once() -> None:
    old = {"as_of": OLD.as_of, "doubts": OLD.doubts}
    practice = replace(MEMORY, id="fee", certainty="common practice")
    figures = [
        OLD, MEMORY, replace(MEMORY, id="y", **old), practice, replace(practice, id="z", **old),
        replace(MEMORY, id="page", certainty="third party"),
    ]  # fmt: skip
    told = rules_lead("Kit", figures).partition(" of them, ")[2].partition("rely on them: ")[2]
    assert told == (
        "3 out of date or older than 18 months, 1 without a source, 1 read in a third party's page only and 1 of "
        "common practice."
    )
    assert sum(int(word) for word in told.replace("18", "").split() if word.isdigit()) == len(figures)


def test_rows_say_how_sure_and_how_to_overwrite() -> None:
    rows = rules_rows([SURE, OLD, MEMORY, OWN])
    assert all(len(row) == len(HEADINGS) for row in rows)
    assert rows[0][4:] == ["read in the authority's own text", 'overrides = { "vat" = … }']
    assert rows[1][4] == "read in the authority's own text; is of 31 December 2020, more than 18 months old"
    assert rows[2][4:] == ["look it up", "set by law, not by you"]
    assert rows[3][3:5] == ["", ""]


def test_lines_are_plain_text() -> None:
    first, *_, last = rules_lines([SURE, MEMORY, OWN])
    assert first == (
        "VAT: 23 % (revenue.ie, 25\u00a0Nov\u00a02026; read in the authority's own text). To overwrite it: "
        'overrides = { "vat" = … }'
    )
    assert last == "Entry: 95 (your own figure). To overwrite it: arrival = { entry = … }"


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "build.toml"
    path.write_text(BUILD, encoding="utf-8")
    return path


def test_open_lists_them_for_a_consignment(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["open", str(file), "crate"]) == 0
    text = capsys.readouterr().out
    assert "Where the figures of tax and customs come from: " in text
    assert "VAT of Ireland: 20 % (your own figure)" in text
    assert "Duty on other body parts: 4.5 % (" in text
    assert "What the terms of trade leave out or add:" in text
    assert "proof of origin" in text
    assert "**" not in text


def test_open_of_the_total_points_to_them(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["open", str(file)]) == 0
    text = capsys.readouterr().out
    assert "stand behind Bumper from Japan" in text
    assert f"forecast open {file} crate lists them" in text
    assert main(["open", str(file), "--json"]) == 0
    rules = json.loads(capsys.readouterr().out)["rules"]
    assert rules[0]["consignment"] == "crate"
    found = {use["id"]: use for use in rules[0]["figures"]}
    assert found["duty.8708.29"]["as_of"] == "2020-12-31"
    assert found["vat"]["certainty"] == "your own figure"


def test_check_budget_and_page_count_the_same_figures_to_look_up(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = create_build(tmp_path / "car", read_answers({"country": "IE", "origin": "JP"}))
    (item,) = compile_plan(read_build(file)).consignments
    doubted = sum(bool(figure.doubts) for figure in item.figures)
    assert f"Look up {STRONG}{doubted}{STRONG} of them" in rules_lead(item.title, item.figures)
    assert main(["check", str(file), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)["rules"]
    assert len(told) == len(set(told)) == doubted
    assert main(["budget", str(file), "--trials", "1024"]) == 0
    assert (
        f"{doubted} customs, tax or arrival figures in it are old or not verified" in capsys.readouterr().out
    )


def test_a_note_stands_beside_its_figure_in_check_in_what_is_opened_and_on_the_page(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = create_build(tmp_path / "car", read_answers({"country": "NZ", "origin": "JP", "rate": 0.011}))
    note = "list exclusions such as air dams"
    (item,) = compile_plan(read_build(file)).consignments
    noted = [figure for figure in item.figures if figure.note]
    assert any(note in figure.note for figure in noted)
    for command in (["check"], ["open", "kit"]):
        assert main([command[0], str(file), *command[1:]]) == 0
        text = capsys.readouterr().out
        assert all(figure.note in text for figure in noted), command
    assert main(["open", str(file), "kit.duty"]) == 0
    assert "Note: Duty on other body parts: 5 % is named without a source. Old" in capsys.readouterr().out
    cells = [cell for row in rules_rows(item.figures) for cell in row]
    assert all(any(figure.note in cell for cell in cells) for figure in noted)


NEW_ZEALAND = """
[build]
name = "x"
currency = "NZD"
country = "NZ"
[[consignment]]
id = "crate"
name = "Bumper from Japan"
price = 40000
incoterm = "FOB"
mode = "sea"
freight = 300
origin = "JP"
boxes = [{ length = 200, width = 100, height = 60, weight = 45 }]
"""


def test_what_hangs_on_a_figure_is_what_the_sum_loses_without_it(tmp_path: Path) -> None:
    """Closed form: 5 % duty, the most likely, and 15 % GST on it, on 40,000; a charge without tax, and GST on it."""
    path = tmp_path / "build.toml"
    path.write_text(NEW_ZEALAND + "arrival = { disbursement_percent = 0 }\n", encoding="utf-8")
    build = read_build(path)
    plan = compile_plan(build)
    (item,) = plan.consignments
    weights = rule_weights(build, item, date(2026, 11, 26))
    assert weights["duty.8708.29"].amount == pytest.approx(40_000 * 0.05 * 1.15)
    entry = next(row for row in plan.rows if row.id == "crate.entry")
    middle = float(evaluate(entry.formula, {one.id: one.shape.middle for one in plan.inputs}, {}))
    assert weights["entry"].amount == pytest.approx(1.15 * middle)
    assert weights["duty.8708.29"].follows == pytest.approx(40_000 * 0.05 * 0.15)  # the GST on it
    assert weights["entry"].follows == pytest.approx(0.15 * middle)
    assert weights["levy.transaction"].amount == pytest.approx(1.15 * 46.47)
    whole = weights["entry"].amount / weights["entry"].share
    assert weights["duty.8708.29"].share == pytest.approx(2300 / whole)
    assert "gst" not in weights  # nothing is in doubt there
    assert "tax_base" not in weights  # what enters a tax base is the law's


def test_what_is_out_of_date_or_confirmed_by_nobody_comes_first_the_weightiest_on_top() -> None:
    common = RuleUse("c", "Delivery", "80", "", None, "common practice", "…", ("is common practice",))
    heavy = Weight(500.0, 0.1)
    first, then = to_look_up(
        [common, SURE, MEMORY, OLD], {"duty": heavy, "x": Weight(9.0, 0.004), "c": heavy}
    )
    assert ([one.id for one in first], [one.id for one in then]) == (["duty"], ["c", "x"])  # 0.4 % hangs on x
    unknown, _ = to_look_up([MEMORY, OLD], {"duty": heavy})
    assert [one.id for one in unknown] == ["duty", "x"]  # nobody knows what hangs on x
    assert (
        hangs_on(OLD, {"duty": heavy}, "EUR") == "€500, 10\N{NO-BREAK SPACE}% of what the goods come to here"
    )
    assert hangs_on(MEMORY, {"x": Weight(9.0, 0.01)}, "EUR") == ""
    for whole, tax, told in ((180, 36, "€140 and €40"), (184.9, 35.5, "€150 and €30"), (180, 2, "€180,")):
        weight = Weight(whole, 0.1, tax)  # apart, and adding up as it is printed
        assert hangs_on(OLD, {"duty": weight}, "EUR").startswith(told)
    lead = rules_lead("Kit", [common, OLD, MEMORY], {"duty": heavy, "c": heavy}, "EUR")
    assert lead.endswith(
        "First, out of date or confirmed by nobody: Duty (€500, 10\N{NO-BREAK SPACE}% of what the goods come to here)."
    )


def test_check_tells_them_apart_with_how_much_hangs_on_each(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "build.toml"
    path.write_text(NEW_ZEALAND, encoding="utf-8")
    assert main(["check", str(path)]) == 0
    text = capsys.readouterr().out
    first, _, then = text.partition(f"{FIRST}:")[2].partition(f"{THEN}:")
    assert first.strip().startswith(
        "NZ$2,000 and NZ$380 of tax and fees on it, "
    )  # what agents ask for advancing it
    assert "Duty on other body parts (0 to 5 %) has no source" in first
    assert "Look this up first: a range stands in for the rate" in first
    assert "held until" not in first  # NZ$53 of 50,000 hang on a levy: 0.1 %
    assert "Delivery to the door: the range is common practice" in then
    assert "held until 31 March 2026" in then
    small = NEW_ZEALAND.replace("price = 40000", "price = 2000")
    (tmp_path / "small.toml").write_text(small, encoding="utf-8")
    assert main(["check", str(tmp_path / "small.toml")]) == 0
    first, _, then = capsys.readouterr().out.partition(f"{FIRST}:")[2].partition(f"{THEN}:")
    assert "held until 31 March 2026" in first
    assert "has no source" not in then.partition("\n\n")[0]
    assert main(["check", str(path), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)["rules_first"]
    assert [one["amount"] for one in told] == sorted((one["amount"] for one in told), reverse=True)


def test_as_of_is_the_day_of_the_source_and_not_of_the_reading() -> None:
    """The country files name a day of reading apart, and no reading passes for the day of a source."""
    for code in countries():
        for figure in load_rules(code).figures.values():
            assert figure.read is None or figure.as_of is None or figure.as_of <= figure.read
            assert figure.as_of not in (date(2026, 11, 25), date(2026, 11, 26))
    use = next(one for one in compile_figures("IE") if one.id == "vat")
    assert use.as_of is None
    assert use.source.startswith("read on 25 November 2026 at revenue.ie")


def compile_figures(country: str) -> tuple[RuleUse, ...]:
    text = NEW_ZEALAND.replace('"NZ"', f'"{country}"').replace("NZD", "EUR")
    (item,) = compile_plan(parse_build(text)).consignments
    return item.figures


def test_where_no_figure_stands_behind_goods_nothing_is_counted(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert rules_lead("Kit", []) == "No figure of law, carriers or agents stands behind Kit."
    path = tmp_path / "build.toml"
    path.write_text(
        NEW_ZEALAND.partition("[[consignment]]")[0] + '[[line]]\nid = "a"\ngroup = "kit"\namount = 1\n'
    )
    assert main(["check", str(path)]) == 0
    said = capsys.readouterr().out.partition("\n")[0]
    assert said == (
        "x: no mistakes. 1 line costs money. "
        "The file has 1 line (1 known), no risk events, no shared causes, no scenarios."
    )


def test_duty_and_tax_stand_apart_each_with_its_working_and_add_up(tmp_path: Path) -> None:
    """Closed form: 5 % duty on 40,000, and 15 % GST on that and on what else its base holds; the levies beside them."""
    plan = compile_plan(parse_build(NEW_ZEALAND))
    (item,) = plan.consignments
    rows = dues_rows(plan, item)
    assert [row[0] for row in rows] == ["Customs duty", "State charges on the entry", "GST", "Together"]
    assert rows[0][1:] == [
        "Customs value 40,000 \u00d7 5 % (from 0 to 5 %)",
        "2,000.00",
    ]
    sums = [Decimal(row[-1].replace(",", "")) for row in rows]
    assert sum(sums[:-1]) == sums[-1]
    base = re.fullmatch(r"Tax base ([0-9,.]+) \u00d7 15 %", rows[2][1])
    assert base is not None
    assert float(sums[2]) == pytest.approx(0.15 * float(base[1].replace(",", "")), abs=0.01)
    assert dues_rows(plan, replace(item, dues=item.dues[:1])) == rows[:1]  # one is its own sum
