"""Both demo builds are complete, plausible, different, and leave nothing out that a builder should see explained."""

from __future__ import annotations

import csv
import re
from collections import Counter
from decimal import Decimal
from pathlib import Path

import pytest

from forecast.buildfile.checks import figures_of, loadings_of
from forecast.buildfile.choosing import choose
from forecast.buildfile.reader import read_build
from forecast.buildfile.schema import GROUPS, Build, Line
from forecast.engine.forecast import simulate

ROOT = Path(__file__).resolve().parents[2] / "scenarios"
IRELAND, NEW_ZEALAND = "before-ordering-ireland", "half-way-new-zealand"
BUILDS = {name: read_build(ROOT / name) for name in (IRELAND, NEW_ZEALAND)}

both = pytest.mark.parametrize("name", [IRELAND, NEW_ZEALAND])


def lines(name: str) -> dict[str, Line]:
    return {line.id: line for line in BUILDS[name].line}


def receipts() -> list[dict[str, str]]:
    with (ROOT / NEW_ZEALAND / "receipts.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def base(name: str, scenario: str) -> float:
    return float(simulate(BUILDS[name], scenario=scenario, trials=1024).base_estimate)


@both
def test_a_demo_has_lines_in_every_group_and_enough_of_everything(name: str) -> None:
    build = BUILDS[name]

    assert {line.group for line in build.line} == set(GROUPS)
    assert 35 <= len(build.line) <= 45
    assert len(build.event) >= 8
    assert 2 <= len(build.cause) <= 4
    assert sum(line.quantity is not None for line in build.line) >= 8
    assert sum(line.percent is not None for line in build.line) >= 6
    assert sum(line.own_hours is not None for line in build.line) >= 5
    assert sum(line.optional for line in build.line) >= 2
    assert sum(line.chance < 1 for line in build.line) >= 1
    assert sum(bool(line.of and line.minimum) for line in build.line) >= 3
    assert build.build.notice is not None
    assert "invented" in build.build.notice


@both
def test_a_demo_shows_every_common_form_of_a_figure(name: str) -> None:
    build = BUILDS[name]
    kinds = Counter(figure.kind for item in (*build.line, *build.event) for _, figure in figures_of(item))  # type: ignore[attr-defined]

    assert {"known", "percentiles", "quotes", "triangular", "beta-pert"} <= set(kinds)
    assert kinds["percentiles"] > 30


@both
def test_each_shared_cause_moves_several_lines_and_leaves_room_for_chance(name: str) -> None:
    build = BUILDS[name]
    figures = [(item.id, figure) for item in (*build.line, *build.event) for _, figure in figures_of(item)]

    for cause in build.cause:
        assert len({id for id, figure in figures if cause.id in figure.causes}) >= 3
    assert all(
        sum(value**2 for value in loadings_of(figure, build.build.estimating).values()) < 0.9
        for _, figure in figures
    )


@both
def test_what_trimming_could_make_dangerous_is_marked(name: str) -> None:
    safe = {id for id, line in lines(name).items() if line.safety}

    assert {"tyres", "wheel_fixings", "lamps", "breathing", "garage_tools"} <= safe
    assert not any(line.optional for id, line in lines(name).items() if id in safe)


@both
def test_each_work_package_that_is_farmed_out_can_be_done_by_oneself_too(name: str) -> None:
    routes: dict[str, set[str]] = {}
    for line in BUILDS[name].line:
        if line.package and line.route:
            routes.setdefault(line.package, set()).add(line.route)

    assert {"fitting", "arches", "filling", "paint", "wheels_fitting", "electrics"} == set(routes)
    assert all("self" in found for found in routes.values())
    for scenario in BUILDS[name].scenario.values():
        assert all(scenario.route(package) in found for package, found in routes.items())


@both
def test_the_file_explains_itself_and_carries_the_usual_cautions(name: str) -> None:
    text = (ROOT / name / "build.toml").read_text(encoding="utf-8")

    for words in (
        "never advice",
        "INVENTED",
        "isocyanates",
        "Air-fed mask",
        "Jacking: never",
        "torque",
        "insurer",
    ):
        assert words in text
    headings = re.findall(r"^# -+ (\w+)$", text, re.MULTILINE)
    assert headings == list(GROUPS)


@both
def test_each_customs_figure_bears_its_source_and_date_and_is_no_guess(name: str) -> None:
    text = (ROOT / name / "build.toml").read_text(encoding="utf-8")

    for id in ("duty", "import_vat" if name == IRELAND else "import_gst"):
        table = text.split(f'id = "{id}"')[1].split("[[")[0].replace("\n# ", " ")
        assert re.search(r"Source: .* as of .*\d{4}", table)
        percent = lines(name)[id].percent
        assert percent is not None
        assert not percent.estimated


def paid_of(build: Build, id: str) -> set[str]:
    """Give the lines that a percentage is taken of, groups written out."""
    line = next(line for line in build.line if line.id == id)
    return {other.id for name in line.of for other in build.line if name in (other.id, other.group)}


def test_ireland_takes_duty_and_tax_of_the_value_at_its_border() -> None:
    build = BUILDS[IRELAND]
    goods = {"kit_panels", "tail_lip", "crate"}

    assert (build.build.currency, build.build.country) == ("EUR", "IE")
    assert lines(IRELAND)["kit_panels"].amount.currency == "JPY"  # type: ignore[union-attr]
    assert paid_of(build, "duty") == goods | {"sea_freight", "transit_insurance"}
    assert paid_of(build, "import_vat") == paid_of(build, "duty") | {
        "duty",
        "arrival",
        "customs_entry",
        "delivery",
    }


def test_new_zealand_takes_duty_of_the_goods_alone() -> None:
    build = BUILDS[NEW_ZEALAND]
    goods = {"kit_panels", "bonnet_vents", "crate"}

    assert (build.build.currency, build.build.country) == ("NZD", "NZ")
    assert lines(NEW_ZEALAND)["kit_panels"].amount.currency == "USD"  # type: ignore[union-attr]
    assert paid_of(build, "duty") == goods
    assert paid_of(build, "import_gst") == goods | {
        "ocean_freight",
        "transit_insurance",
        "duty",
        "entry_levies",
    }


def test_the_sums_of_middle_figures_are_those_of_such_a_project() -> None:
    diy, outsourced = base(IRELAND, "diy"), base(IRELAND, "outsourced")

    assert 8000 < diy < 14000
    assert diy < base(IRELAND, "mixed") < outsourced
    assert 2.5 < outsourced / diy < 3
    assert 16000 < base(NEW_ZEALAND, "diy") < 25000


@pytest.mark.parametrize(("name", "scenario"), [(IRELAND, "diy"), (NEW_ZEALAND, "mixed")])
def test_the_budget_is_a_little_short_of_what_four_builds_in_five_cost(name: str, scenario: str) -> None:
    budget = BUILDS[name].build.budget
    assert budget is not None

    assert next(iter(BUILDS[name].scenario)) == scenario
    assert 0.65 < simulate(BUILDS[name], scenario=scenario, trials=16384).chance_within(budget).value < 0.78


def test_the_receipts_name_lines_and_events_of_the_scenario_in_force() -> None:
    choice = choose(BUILDS[NEW_ZEALAND])
    known = {line.id for line in choice.lines} | {event.id for event in choice.events}

    assert {row["line"] for row in receipts() if row["line"]} <= known


def test_the_receipts_are_those_of_a_build_half_way() -> None:
    rows = receipts()
    kinds = Counter(row["kind"] for row in rows)
    money = [row for row in rows if row["kind"] in ("payment", "deposit", "balance", "refund")]
    keys = {row["receipt"] for row in money}
    touched = {row["line"] for row in money} & set(lines(NEW_ZEALAND))

    assert 20 <= len(keys) <= 30
    assert (
        len({row["receipt"] for row in money if sum(row["receipt"] == r["receipt"] for r in money) > 1}) >= 6
    )
    assert 0.4 < len(touched) / len(choose(BUILDS[NEW_ZEALAND]).lines) < 0.7
    assert len({row["receipt"] for row in money if row["kind"] == "refund"}) >= 2
    assert kinds["close"] >= 10
    assert kinds["happened"] == kinds["freeze"] == 1
    assert kinds["cannot-happen"] >= 1
    assert kinds["commitment"] - kinds["settled"] == 1
    assert all("2026-06-15" <= row["date"] <= "2026-11-16" for row in rows)


def test_the_budget_that_was_frozen_is_that_of_the_build_file() -> None:
    [frozen] = [row for row in receipts() if row["kind"] == "freeze"]

    assert Decimal(frozen["amount"]) == BUILDS[NEW_ZEALAND].build.budget


def test_the_tax_that_was_paid_follows_from_what_was_paid_for() -> None:
    broker = {row["line"]: Decimal(row["amount"]) for row in receipts() if row["receipt"] == "r11"}
    insurance = next(
        Decimal(row["charged"]) for row in receipts() if row["line"] == "transit_insurance" and row["charged"]
    )
    goods, freight = Decimal(1200 + 2395) * Decimal("1.70"), Decimal("914.50") * Decimal("1.70")
    duty = goods * Decimal("0.05")
    gst = Decimal("0.15") * (goods + broker["duty"] + broker["entry_levies"] + freight + insurance)

    assert abs(broker["duty"] - duty) <= Decimal("0.005")
    assert abs(broker["import_gst"] - gst) <= Decimal("0.005")
    assert abs(
        broker["disbursement_fee"] - Decimal("0.03") * (broker["duty"] + broker["import_gst"])
    ) <= Decimal("0.005")


def test_filler_came_in_dear_and_most_else_within_its_range() -> None:
    charged = {"payment": 1, "deposit": 1, "balance": 1, "refund": -1}
    voided = {row["receipt"] for row in receipts() if row["kind"] == "void"}
    paid: Counter[str] = Counter()
    for row in receipts():
        if row["kind"] in charged and row["receipt"] not in voided:
            paid[row["line"]] += charged[row["kind"]] * float(row["charged"] or row["amount"])
    closed = {row["line"] for row in receipts() if row["kind"] == "close"}
    ranges = {line.id: line for line in simulate(BUILDS[NEW_ZEALAND], scenario="mixed").lines}

    assert paid["filler"] > 1.5 * ranges["filler"].p50
    inside = [id for id in closed if ranges[id].p10 <= paid[id] <= ranges[id].p90]
    assert len(inside) >= 0.75 * len(closed)
    assert all(0.5 * ranges[id].p10 < paid[id] < 2 * ranges[id].p90 for id in closed)
