"""Where does it stand: one sentence, P50 to P90 beside what the budget has left, and five things at most to do."""

from __future__ import annotations

import ast
import json
import re
import subprocess
import sys
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from forecast.engine.forecast import simulate
from forecast.errors import SimulationError
from forecast.ledger.folder import BuildFolder
from forecast.missing.left_out import findings
from forecast.views.cost_words import firm_figure_words
from forecast.watching.freezing import freeze
from forecast.watching.reforecast import reforecast
from forecast.watching.settling import agree
from forecast.words.chances import were_to_cost
from forecast.words.money import about, estimated
from tests.dashboard.conftest import Run, charts, words
from tests.dashboard.test_receipt_entry import field
from tests.dashboard.test_receipt_list import html, press
from tests.dashboard.test_settling import marks, pay
from tests.views.test_cli_settling import BUILD
from tests.watching.test_delivered import WAY, crate

ROOT = Path(__file__).parents[2]


@pytest.fixture
def folder(tmp_path: Path) -> BuildFolder:
    (tmp_path / "x").mkdir()
    (tmp_path / "x" / "build.toml").write_text(BUILD, encoding="utf-8")
    return BuildFolder.at(tmp_path / "x")


def cells(app: AppTest) -> list[list[str]]:
    """Give the rows of all tables of a page, as they are read."""
    rows = re.findall(r"<tr class.*?>(.*?)</tr>", html(app), re.DOTALL)
    return [re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row) for row in rows]


def labels(app: AppTest) -> list[str]:
    return [item.label for item in app.main.button]


def test_before_the_first_receipt_it_says_what_to_hold(run: Run, before_ordering: BuildFolder) -> None:
    app = run(before_ordering.build_file, "stand")
    forecast = simulate(before_ordering.read())
    ends = {
        name: about(end.value, "EUR", end.error)
        for name, end in zip(("P50", "P80", "P90"), forecast.percentile_set((0.5, 0.8, 0.9)), strict=True)
    }
    assert f"Hold **{ends['P80']}**: in 80 of 100 builds" in words(app)
    assert {row[0]: row[1] for row in cells(app)} == ends
    assert "the whole build is simulated thousands of times" in "".join(
        item.value for item in app.main.caption
    )
    assert "is paid" not in charts(app)[0]


def test_with_receipts_it_is_the_forecast_beside_what_the_budget_has_left(
    run: Run, half_way: BuildFolder
) -> None:
    app = run(half_way.build_file, "stand")
    watch = reforecast(half_way.read(), half_way.ledger())
    shown = {row[0]: row[1] for row in cells(app)}
    for name, end in zip(("P50", "P80", "P90"), watch.percentile_set((0.5, 0.8, 0.9)), strict=True):
        assert shown[name] == about(end.value, "NZD", end.error)
    assert f"With **NZ$21,106.37** paid, it ends at no more than **{shown['P80']}** in 80 of 100" in words(
        app
    )
    over = watch.chance_of_overrun
    assert over is not None
    assert f"Your budget of NZ$37,000 is enough in **{100 - 100 * over.value:.0f} of 100**." in words(app)
    parts = ("Paid", "Agreed, not yet paid", "Left of the budget")
    cents = {name: round(100 * float(re.sub(r"[^\d.]", "", shown[name]))) for name in (*parts, "Budget")}
    assert sum(cents[name] for name in parts) == cents["Budget"]  # they add up to the cent
    picture = json.loads(charts(app)[0])
    assert "NZ$21,106.37 is paid and NZ$6,480 agreed" in picture["description"]
    assert "95 of 100 from" in picture["description"]


def test_what_the_budget_has_left_is_one_figure_on_both_pages(run: Run, half_way: BuildFolder) -> None:
    shown = {row[0]: row[1] for row in cells(run(half_way.build_file, "stand"))}
    assert shown["Left of the budget"] == "NZ$9,413.63"  # 37,000 less 21,106.37 paid less 6,480 agreed
    told = words(run(half_way.build_file, "receipts"))
    assert "Your budget is NZ$37,000: **NZ$9,413.63** of it is left once the NZ$6,480 agreed is paid." in told


def test_what_is_due_is_paid_with_one_tap(run: Run, half_way: BuildFolder) -> None:
    app = run(half_way.build_file, "stand")
    assert "Agreed, not yet paid: NZ$6,480.00 of NZ$7,980.00, with Paint shop" in words(app)
    app = press(app, "Enter all of it as paid today")
    assert half_way.ledger().list_commitments() == ()
    assert max(half_way.ledger().list_receipts(), key=lambda one: one.id).paid_minor == 648_000
    assert "P80 moved by" in words(app)
    assert "Agreed, not yet paid" not in words(app)


def test_a_price_in_foreign_money_is_left_to_the_page_of_receipts(run: Run, folder: BuildFolder) -> None:
    folder.ledger().add_commitment("2026-05-04", "Maker", "kit", 500_000, "JPY", expected_minor=290_000)
    app = run(folder.build_file, "stand")
    assert "Agreed, not yet paid: €2,900.00, with Maker for “Body kit”." in words(app)
    assert "Enter all of it as paid today" not in labels(app)
    assert "Enter another sum" in labels(app)


def test_another_sum_opens_the_form_with_supplier_line_and_price_filled_in(
    run: Run, folder: BuildFolder
) -> None:
    folder.ledger().add_commitment("2026-05-04", "Maker", "kit", 500_000, "JPY", expected_minor=290_000)
    app = press(run(folder.build_file, "stand"), "Enter another sum")
    assert app.title[0].value == "Receipts"
    assert field(app, "multiselect", "For which line").value == ["kit"]  # type: ignore[attr-defined]
    assert field(app, "text_input", "Supplier").value == "Maker"  # type: ignore[attr-defined]
    assert field(app, "text_input", "Amount").label == "Amount, in JPY"  # type: ignore[attr-defined]
    assert field(app, "selectbox", "Paid against a price agreed").value == 1  # type: ignore[attr-defined]
    field(app, "text_input", "Amount").set_value("100000")  # type: ignore[attr-defined]
    app = field(app, "text_input", "Charged to you in EUR").set_value("580").run()  # type: ignore[attr-defined]
    assert "It counts against the price agreed with Maker for Body kit" in words(app)


def test_an_event_that_came_is_told_in_the_form_that_opens(run: Run, half_way: BuildFolder) -> None:
    app = press(run(half_way.build_file, "stand"), "It came: tell it under Receipts")
    assert app.title[0].value == "Receipts"
    (event,) = field(app, "multiselect", "For which line").value  # type: ignore[attr-defined]
    assert event in {one.id for one in half_way.read().event}


def test_a_line_that_runs_over_is_named_and_closed_with_one_tap(run: Run, folder: BuildFolder) -> None:
    ledger = folder.ledger()
    pay(ledger, "filler", 90_000)
    ledger.expect_more("filler")  # so that it does not look settled
    app = run(folder.build_file, "stand")
    assert "has cost €900 so far; the most you expected was about €" in words(app)
    app = press(app, "That was all: close it")
    assert marks(folder) == {"filler": "closed"}
    assert "the most you expected" not in words(app)


def test_an_event_whose_lines_are_all_closed_is_ruled_out_with_one_tap(run: Run, folder: BuildFolder) -> None:
    event = 'id = "again"\nname = "Done again"\nchance = 0.3\npercent = 10\nof = ["paint"]\npaid_too = true\n'
    folder.build_file.write_text(f"{BUILD}[[event]]\n{event}", encoding="utf-8")
    ledger = folder.ledger()
    pay(ledger, "paint", 200_000)
    ledger.close_line("paint")
    app = run(folder.build_file, "stand")
    assert "“Done again” is a share of lines that are all closed: can it still happen?" in words(app)
    app = press(app, "It cannot come any more")
    assert folder.ledger().event_states()["again"].state == "cannot-happen"
    assert "can it still happen?" not in words(app)


def test_what_came_with_the_way_here_is_ruled_out_with_one_tap(run: Run, folder: BuildFolder) -> None:
    late = '[[event]]\nid = "late_delivery"\nname = "Late"\nchance = 0.3\ncost = 90\n'
    folder.build_file.write_text(BUILD + late + crate(), encoding="utf-8")
    ledger = folder.ledger()
    for name in WAY:
        pay(ledger, name, 9_000)
        ledger.close_line(name)
    app = run(folder.build_file, "stand")
    asked = (
        "those of customs too. Over by now: “Storage at the depot”, “Customs examine crate goods” and “Late”?"
    )
    assert asked in words(app)
    app = press(app, "They cannot come any more")
    assert {name: mark.state for name, mark in folder.ledger().event_states().items()} == dict.fromkeys(
        ("late_delivery", "crate.examination"), "cannot-happen"
    )
    assert marks(folder)["crate.storage"] == "closed"
    assert "Over by now" not in words(app)
    assert "“Late” cannot happen any more: kept." in words(app)


def test_p80_over_the_budget_is_said_last_and_in_mild_words(run: Run, folder: BuildFolder) -> None:
    forecast = simulate(folder.read())
    half, eight = forecast.percentile_set((0.5, 0.8))
    for budget, said in (
        (half.value + 50, True),
        (eight.value + 50, False),
        (half.value - 50, False),  # enough in fewer builds than not: that is said otherwise
    ):
        text = BUILD.replace('country = "IE"', f'country = "IE"\nbudget = {budget:.0f}')
        folder.build_file.write_text(text, encoding="utf-8")
        told = words(run(folder.build_file, "stand"))
        assert ("To be enough in 80 of 100 (P80) it would take " in told) is said
        assert ("Your budget is short" in told) is (budget < half.value)
        if said:
            assert told.index("Perhaps left out") < told.index("To be enough in 80 of 100")


def test_what_may_have_been_left_out_goes_into_the_tray_with_one_tap(
    run: Run, before_ordering: BuildFolder
) -> None:
    app = run(before_ordering.build_file, "stand")
    assert "Perhaps left out: Other transport while off the road." in words(app)
    app = press(app, "Add it")
    assert "Not saved yet" in words(app)
    assert "Perhaps left out: Other transport" not in words(app)


def test_a_figure_that_is_merely_narrow_is_not_left_out(
    run: Run, folder: BuildFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    firm = '[[line]]\nid = "hinges"\nname = "Hinges"\ngroup = "hardware"\namount = 90\n'
    folder.build_file.write_text(BUILD + firm, encoding="utf-8")
    app = run(folder.build_file, "lines")
    assert "What may be too narrow" in [item.value for item in app.subheader]
    assert "Hinges: amount is one number" in words(app)
    monkeypatch.setattr(
        "forecast.dashboard.stand_attention.findings",
        lambda build, begun: tuple(item for item in findings(build, begun) if item.line == "hinges"),
    )
    said = words(run(folder.build_file, "stand"))
    assert "Perhaps too narrow: Hinges: amount is one number." in said
    assert "Perhaps left out" not in said
    pay(folder.ledger(), "hinges", 9_000)
    assert "Perhaps too narrow" not in words(run(folder.build_file, "stand"))
    assert "Hinges: amount is one number" not in words(run(folder.build_file, "lines"))


def test_quotes_that_are_in_are_shown_against_each_other(run: Run, folder: BuildFolder) -> None:
    options = "".join(
        f'[[option]]\nid = "{name}"\nchoice = "kit"\noverride = {{ kit = {{ amount = {price} }} }}\n'
        for name, price in (("near", 2900), ("far", 3100))
    )
    folder.build_file.write_text(BUILD + options, encoding="utf-8")
    app = run(folder.build_file, "stand")
    assert "Decide which quote you take for" in words(app)
    assert "See the quotes against each other" in labels(app)
    assert not [
        item for item in app.main.text_input if item.label.startswith("The price that you were quoted")
    ]


def test_the_figure_to_firm_up_first_is_put_in_where_it_is_asked_for(run: Run, folder: BuildFolder) -> None:
    app = run(folder.build_file, "stand")
    asked = "Get “Body kit” quoted before ordering it"
    assert asked in words(app)
    field = next(
        item for item in app.main.text_input if item.label == "The price that you were quoted, in euros"
    )
    field.set_value("240")
    app = press(app, "Put it in")
    assert "Not saved yet" in words(app)
    assert asked not in words(app)  # the next one takes its place
    assert "you then need to hold about" in words(app)


@pytest.mark.parametrize(
    ("figure", "unit", "per", "words"),
    [
        ("paint.amount", "PLN", "", "The price that you were quoted, in Polish zlotys"),
        ("filler.price", "NZD", "per kg", "The price that you were quoted, in New Zealand dollars, per kg"),
        ("kit.freight", "JPY", "", "The price that you were quoted, in Japanese yen"),
        ("rust.cost", "EUR", "", "The sum that you found, in euros"),
        ("filler.quantity", "kg", "", "What you found out, in kg"),
    ],
)
def test_a_field_says_what_was_told_and_in_which_money(figure: str, unit: str, per: str, words: str) -> None:
    assert firm_figure_words(figure, unit, per) == words


def test_nothing_waits_for_what_to_firm_up_first(
    run: Run, half_way: BuildFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(view: object) -> object:
        message = "this takes too long"
        raise SimulationError(message)

    monkeypatch.setattr("forecast.dashboard.stand_attention.to_firm_up", fails)
    app = run(half_way.build_file, "stand")
    assert "this takes too long" in words(app)
    assert "it ends at no more than" in words(app)
    assert len(charts(app)) == 1
    assert {"Enter all of it as paid today", "Add it"} <= set(labels(app))


def test_five_things_at_most_want_attention(run: Run, folder: BuildFolder) -> None:
    ledger = folder.ledger()
    pay(ledger, "kit", 290_000)
    pay(ledger, "filler", 90_000)
    ledger.expect_more("filler")
    agree(ledger, ledger.list_receipts()[0].date, "Painter", "paint", 200_000, "EUR")
    freeze(folder, 900_000, None, 256, 1)
    app = run(folder.build_file, "stand")
    told = words(app)
    beginnings = (
        "Looks settled:",
        "Agreed, not yet paid:",
        "Runs over:",
        "Perhaps left out:",
        "hold about",  # what to firm up first
    )
    assert [told.count(words_) for words_ in beginnings] == [1, 1, 1, 1, 1]
    assert "Nothing now." not in told


def places(app: AppTest, *beginnings: str) -> list[int]:
    told = words(app)
    assert all(told.count(said) == 1 for said in beginnings), told
    return [told.index(said) for said in beginnings]


def test_what_most_money_is_at_stake_in_comes_first_after_what_is_due(run: Run, folder: BuildFolder) -> None:
    """A budget that is short by thousands stood below a line that looked settled, whatever hung on it."""
    ledger = folder.ledger()
    pay(ledger, "kit", 290_000)
    agree(ledger, ledger.list_receipts()[0].date, "Painter", "paint", 20_000, "EUR")
    first = ("Agreed, not yet paid:", "No budget is frozen yet.")
    others = ("Perhaps left out:", "you then need to hold", "Looks settled:")
    for budget, order in (
        (1_000, (*first, "Your budget is short", others[0], others[2])),
        (3_100, (*first, "Perhaps left out:", "Your budget is short", others[2])),
        (3_750, (*first, *others)),
    ):
        text = BUILD.replace('country = "IE"', f'country = "IE"\nbudget = {budget}')
        folder.build_file.write_text(text, encoding="utf-8")
        found = places(run(folder.build_file, "stand"), *order)
        assert found == sorted(found), order


def test_a_finished_build_says_what_it_cost(run: Run, folder: BuildFolder) -> None:
    ledger = folder.ledger()
    pay(ledger, "kit", 290_000)
    app = run(folder.build_file, "receipts")
    press(app, "The build is done: close everything")
    told = words(press(app, "Yes, close everything"))
    assert "It cost **€2,900** in all: nothing is open any more. " in told
    assert "Before anything was paid or agreed it was to be no more than €" in told
    assert "P80 moved" not in told
    app = run(folder.build_file, "stand")
    assert "It cost **€2,900** in all: nothing is open any more." in words(app)
    assert findings(folder.read())
    assert "Perhaps left out" not in words(app)
    told = json.loads(charts(app)[0])["description"]
    before = simulate(folder.read())  # what it cost lies in the fan of before the first receipt
    assert (
        f"It cost €2,900; before anything was paid or agreed {were_to_cost(before.chance_within(2900).value)}"
        in told
    )
    assert "Builds were to end: 95 of 100" in told
    assert f"P80 {estimated(before.percentile(0.8), 'EUR')}" in told
    app = run(folder.build_file, "watch")
    told = next(spec for spec in charts(app) if "Forecast final cost from" in spec)
    assert "It cost €2,900" in json.loads(told)["description"]
    assert "Contingency: left, and needed" not in [
        item.value for item in app.subheader
    ]  # none is needed any more


def test_nothing_that_only_charts_and_sheets_need_is_loaded_before_the_sentence() -> None:
    """The first page's sentence waited for them, which took longer than all that it is worked out with."""
    page = ast.parse((ROOT / "forecast" / "dashboard" / "stand.py").read_text(encoding="utf-8"))
    needed = [node.module for node in page.body if isinstance(node, ast.ImportFrom) and node.module]
    assert "forecast.dashboard.stand_attention" in needed
    names = ", ".join(["sys", "forecast.dashboard.main", *needed])
    loaded = subprocess.run(
        [sys.executable, "-c", f"import {names}; print(*sys.modules)"],
        capture_output=True, text=True, check=True, cwd=ROOT,
    )  # fmt: skip
    assert not {"altair", "pandas", "pyarrow"} & set(loaded.stdout.split())


def test_what_the_plain_sum_leaves_out_stands_by_itself(run: Run, before_ordering: BuildFolder) -> None:
    """The first sentence says what to hold and how often the plain sum would do, and nothing else."""
    for page in ("stand", "cost"):
        app = run(before_ordering.build_file, page)
        (first,) = [item.value for item in app.main.markdown if "Hold **" in item.value]
        assert len(first.split()) <= 30
        assert "Half of builds" not in first
        (why,) = [item.value for item in app.caption if "Half of builds" in item.value]
        assert why.startswith(
            "Adding up the middle figures leaves out what may or may not happen. The dearest of that"
        )
