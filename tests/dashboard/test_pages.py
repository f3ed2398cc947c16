"""What each page says and shows, without a browser."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from forecast import read_build, simulate
from forecast.dashboard.layout import FOLDS, fold_key
from forecast.errors import SimulationError
from forecast.ledger.folder import BuildFolder
from forecast.watching.freezing import freeze
from forecast.watching.reforecast import reforecast
from forecast.words.money import about
from tests.dashboard.conftest import PAGES, Run, charts, words
from tests.dashboard.test_receipt_entry import fill
from tests.dashboard.test_receipt_list import unfold

TINY = """\
[build]
name = "Tiny $5 *coupe*"
currency = "NZD"
country = "NZ"

[[line]]
id = "kit"
group = "kit"
amount = {{ low = 900, middle = 1000, high = {high} }}
"""


@pytest.mark.parametrize("page", PAGES)
@pytest.mark.parametrize("demo", ["before_ordering", "half_way"])
def test_every_page_of_both_demos_opens_with_its_question_and_an_answer(
    run: Run, demo: str, page: str, request: pytest.FixtureRequest
) -> None:
    folder: BuildFolder = request.getfixturevalue(demo)
    app = run(folder.build_file, page)
    assert [title.value for title in app.title] == [PAGES[page]]
    assert re.search(r"\*\*.*\d.*\*\*", words(app)) or "No receipts yet" in words(app)
    assert folder.read().name in app.sidebar.markdown[0].value.replace("\\", "")


@pytest.mark.parametrize("page", PAGES)
def test_a_click_on_the_lit_answer_leaves_it_and_enter_takes_one_line(
    run: Run, half_way: BuildFolder, page: str
) -> None:
    app = run(half_way.build_file, page)
    if page == "receipts":
        app = fill(app, ["filler", "primer"], "A shop", "50")
    ways = [item.proto for item in app.main.get("button_group")]
    single = [
        one for one in ways if one.click_mode == one.ClickMode.SINGLE_SELECT and one.style != "feedback"
    ]
    assert [one.label for one in single if not one.required] == []
    lists = [item.proto for item in app.main.multiselect]
    assert [one.label for one in lists if one.select_all != 0] == []
    if page == "receipts":
        asked = {one.label for one in single}
        assert {"Kind", "Parts left empty share the rest", "Is that all for Filler and stopper?"} <= asked
        assert "For which line" in {one.label for one in lists}


@pytest.mark.parametrize("page", ["cost", "lines", "choose", "receipts"])
def test_a_fold_that_is_shut_costs_a_page_nothing(run: Run, before_ordering: BuildFolder, page: str) -> None:
    app = run(before_ordering.build_file, page)
    filled = {item.label for item in app.main.expander if item.children}
    for name in FOLDS:
        app.session_state[fold_key(name)] = False
    app.run()
    assert not app.exception
    shut = {item.label for item in app.main.expander if not item.children}
    assert shut & filled


def test_the_first_page_says_what_to_hold(run: Run, before_ordering: BuildFolder) -> None:
    app = run(before_ordering.build_file, "cost")
    forecast = simulate(before_ordering.read())
    held = forecast.percentile(0.8)
    assert (
        f"Hold **{about(held.value, 'EUR', held.error)}**: in 80 of 100 builds (P80) it costs no more."
        in words(app)
    )
    assert about(forecast.base_estimate, "EUR") in words(app)
    assert "Your budget of €13,500" in words(app)


def test_each_chart_says_its_finding_to_a_screen_reader(run: Run, half_way: BuildFolder) -> None:
    for page in PAGES:
        specs = charts(run(half_way.build_file, page))
        assert specs
        for spec in specs:
            assert re.search(r"\d", json.loads(spec)["description"])


def test_the_dollar_sign_is_no_formula(run: Run, half_way: BuildFolder) -> None:
    app = run(half_way.build_file, "watch")
    for item in (*app.main.markdown, *app.info, *app.warning):
        assert not re.search(r"(?<!\\)\$", item.value), item.value


def test_a_name_with_markup_stays_as_it_was_written(run: Run, tmp_path: Path) -> None:
    (tmp_path / "build.toml").write_text(TINY.format(high=1200), encoding="utf-8")
    app = run(tmp_path)
    assert app.sidebar.markdown[0].value == r"**Tiny \$5 \*coupe\***"


def test_another_scenario_is_another_answer(run: Run, before_ordering: BuildFolder) -> None:
    app = run(before_ordering.build_file, "cost")
    app = app.sidebar.selectbox[0].select("mixed").run()
    held = simulate(before_ordering.read(), "mixed").percentile(0.8)
    assert f"Hold **{about(held.value, 'EUR', held.error)}**" in words(app)
    app = app.switch_page("forecast/dashboard/receipts.py").run()
    assert app.sidebar.selectbox[0].value == "mixed"


def test_the_selector_follows_the_scenario_that_the_figures_are_of(
    run: Run, before_ordering: BuildFolder
) -> None:
    app = run(before_ordering.build_file, "cost")
    assert app.sidebar.selectbox[0].value == "diy"
    freeze(before_ordering, 2_000_000, "mixed", 1024, 1)  # as the terminal does
    app = app.run()
    watch = reforecast(before_ordering.read(), before_ordering.ledger(), "mixed")
    app = app.switch_page("forecast/dashboard/watch.py").run()
    assert about(watch.percentile(0.8).value, "EUR", watch.percentile(0.8).error) in words(app)
    assert app.sidebar.selectbox[0].value == "mixed"


def test_an_edit_made_in_an_editor_shows_on_the_next_run(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "build.toml"
    file.write_text(TINY.format(high=1200), encoding="utf-8")
    app = run(tmp_path)
    first = words(app)
    file.write_text(TINY.format(high=9000), encoding="utf-8")
    second = words(app.run())
    assert first != second
    held = simulate(read_build(file)).percentile(0.8)
    assert about(held.value, "NZD", held.error) in second


def test_mistakes_of_the_file_are_said_in_words_and_mended_on_the_next_run(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "build.toml"
    file.write_text(TINY.format(high=950), encoding="utf-8")
    app = run(tmp_path)
    assert app.title[0].value == "This build file needs mending"
    assert "low must be under middle and middle under high" in words(app)
    file.write_text(TINY.format(high=1200), encoding="utf-8")
    assert app.run().title[0].value == "What will it cost?"


def test_a_folder_that_is_not_there_is_said_in_words(run: Run, tmp_path: Path) -> None:
    app = run(tmp_path / "nowhere")
    assert "there is no build here" in words(app)


@pytest.mark.parametrize("page", ["watch", "receipts"])
def test_p50_p80_and_p90_are_named_beside_what_is_paid(run: Run, half_way: BuildFolder, page: str) -> None:
    app = run(half_way.build_file, page)
    watch = reforecast(half_way.read(), half_way.ledger())
    said = words(app)
    for name, level in (("P50", 0.5), ("P80", 0.8), ("P90", 0.9)):
        one = watch.percentile(level)
        assert f"**{about(one.value, 'NZD', one.error)}** ({name})" in said
    paid = {
        "watch": "Paid so far: **NZ$21,106.37**",
        "receipts": "**NZ$21,106.37** paid so far",
    }
    assert paid[page] in said


def test_receipts_can_be_entered_where_no_forecast_can_be_made(
    run: Run, half_way: BuildFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(view: object) -> None:
        raise SimulationError("no simulated build agrees with what is paid.")

    monkeypatch.setattr("forecast.dashboard.state.watched", refused)
    app = run(half_way.build_file, "receipts")
    assert "no simulated build agrees with what is paid." in words(app)
    assert "paid so far" in words(app)
    app = unfold(app, "receipt")
    assert any(item.label == "Save receipt" for item in app.button)


def test_the_waterfall_adds_up_to_what_p80_is_now(run: Run, half_way: BuildFolder) -> None:
    app = run(half_way.build_file, "watch")
    spec = next(spec for spec in charts(app) if "moved by" in spec or "has not moved" in spec)
    watch = reforecast(half_way.read(), half_way.ledger())
    assert f"now {about(watch.percentile(0.8).value, 'NZD')}" in json.loads(spec)["description"]


def test_without_an_argument_the_first_demo_opens_and_later_the_last_build(
    run: Run, monkeypatch: pytest.MonkeyPatch, home: Path
) -> None:
    from streamlit.testing.v1 import AppTest

    from forecast.ledger.folder import demos
    from tests.dashboard.conftest import ROOT

    monkeypatch.setattr("sys.argv", ["app.py"])
    app = AppTest.from_file(str(ROOT / "app.py"), default_timeout=60).run()
    assert not app.exception
    assert app.session_state["chosen"]["file"] == str(home / "demos" / demos()[0] / "build.toml")
    button = next(item for item in app.sidebar.button if item.label.startswith("Demo"))
    app = button.click().run()
    assert not app.exception
    second = app.session_state["chosen"]["file"]
    assert demos()[1] in second
    again = AppTest.from_file(str(ROOT / "app.py"), default_timeout=60).run()
    assert again.session_state["chosen"]["file"] == second
