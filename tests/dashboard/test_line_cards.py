"""The sheet as cards: what is changed in one is what the grid would have changed, and what cannot be is refused."""

from __future__ import annotations

from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from forecast.buildfile.reader import read_text
from forecast.buildfile.sheet import rows
from forecast.engine.plan import compile_plan
from forecast.ledger.folder import BuildFolder
from forecast.views.settling_words import NOT_HERE
from tests.dashboard.conftest import Run, words
from tests.dashboard.test_line_sheet import CRATE, edit, place_of, press


def card(app: AppTest, title: str) -> AppTest:
    """Open or shut the card of a line."""
    return (
        next(item for item in app.button if item.key.startswith("card-") and title in item.label)
        .click()
        .run()
    )


def cards(app: AppTest) -> list[str]:
    return [item.label for item in app.button if (item.key or "").startswith("card-")]


def narrow(app: AppTest) -> AppTest:
    """Ask for cards, as a narrow window does by itself."""
    return press(app, "Show the lines as cards")


def show(app: AppTest, group: str) -> AppTest:
    app.session_state["cards-of"] = group
    return app.run()


def type_in(app: AppTest, label: str, text: str) -> None:
    next(item for item in app.text_input if item.label == label and "card-" in (item.key or "")).set_value(
        text
    )


def test_a_wide_window_is_spared_the_cards_until_it_is_narrow(run: Run, before_ordering: BuildFolder) -> None:
    app = run(before_ordering.build_file, "lines")
    assert cards(app) == []
    app = narrow(app)
    assert cards(app)
    assert not any("as cards" in button.label for button in app.button)
    app = edit(app, place_of(before_ordering, "delivery"), {"High": "2400"})  # the grid is there all the same
    assert app.session_state["sheet"]["edits"]


def test_a_card_changes_a_line_as_the_grid_does(run: Run, before_ordering: BuildFolder) -> None:
    app = card(show(narrow(run(before_ordering.build_file, "lines")), "freight"), "Delivery with tail-lift")
    type_in(app, "Middle", "150")
    type_in(app, "High", "2 400")
    app = press(app, "Change it")
    assert not app.exception
    by_card, said = app.session_state["sheet"]["edits"], words(app)
    assert by_card == {"delivery.amount": {"middle": 150.0, "high": 2400.0}}
    assert "Not saved yet" in said
    assert any("amount €70 – €150 – €2,400 (was €70 – €110 – €200)" in label for label in cards(app))
    app = press(app, "Drop them")
    app = edit(app, place_of(before_ordering, "delivery"), {"Middle": "150", "High": "2400"})
    assert app.session_state["sheet"]["edits"] == by_card
    # what the grid changed stands in the card, and can be taken back there
    app = card(app, "Delivery with tail-lift")
    type_in(app, "Middle", "110")
    type_in(app, "High", "200")
    app = press(app, "Change it")
    assert app.session_state["sheet"]["edits"] == {}
    assert "Not saved yet" not in words(app)


def test_what_cannot_be_is_refused_where_it_was_typed(run: Run, before_ordering: BuildFolder) -> None:
    text = read_text(before_ordering.build_file)
    app = card(show(narrow(run(before_ordering.build_file, "lines")), "freight"), "Delivery with tail-lift")
    for low, words_ in (("300", "low"), ("some", "is no number"), ("1.200", "can mean")):
        type_in(app, "Low", low)
        app = press(app, "Change it")
        assert not app.exception
        assert any(words_ in error.value for error in app.error), low
        assert app.session_state["sheet"]["edits"] == {}
    assert read_text(before_ordering.build_file) == text


def test_how_often_a_line_is_needed_is_said_in_hundredths(run: Run, before_ordering: BuildFolder) -> None:
    app = card(show(narrow(run(before_ordering.build_file, "lines")), "freight"), "Delivery with tail-lift")
    type_in(app, "Needed in how many of 100 builds", "35")
    app = press(app, "Change it")
    assert app.session_state["sheet"]["edits"] == {"delivery.amount": {"chance": 0.35}}
    assert any("in 35 of 100 builds" in label and "(was 100 of 100)" in label for label in cards(app))
    app = show(app, "events")
    assert all(
        label.count("of 100 builds") == 1 for label in cards(app)
    )  # once, however many figures a line has
    app = next(item for item in app.button if item.key == "card-0").click().run()
    assert any(item.label == "Happens in how many of 100 builds" for item in app.text_input)


@pytest.mark.parametrize("mobile", [False, True])
def test_goods_from_abroad_open_to_cards_of_their_parts(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, mobile: bool
) -> None:
    monkeypatch.setattr("forecast.dashboard.lines_sheet.on_a_phone", lambda: mobile)
    (tmp_path / "build.toml").write_text(CRATE, encoding="utf-8")
    app = run(tmp_path, "lines")
    app = app if mobile else narrow(app)
    assert (
        bool(app.main.get("arrow_data_frame") or app.main.dataframe) is not mobile
    )  # a phone is spared the grid
    assert any("Body kit" in label and "price" in label for label in cards(app))
    opener = next(item for item in app.selectbox if item.label == "Open goods from abroad to their parts")
    app = opener.select("crate").run()
    parts = cards(app)
    assert any("Body kit, box 1" in label and "length 160 – 180 – 210 cm" in label for label in parts)
    assert not any("Filler" in label for label in parts)
    app = card(app, "Body kit, box 1")
    assert not any("of 100 builds" in item.label for item in app.text_input if "card-" in (item.key or ""))
    type_in(app, "High", "230")
    app = press(app, "Change it")
    assert app.session_state["sheet"]["edits"] == {"crate.boxes.0.length": {"high": 230.0}}


def test_a_card_gives_a_line_another_name(run: Run, before_ordering: BuildFolder) -> None:
    app = card(show(narrow(run(before_ordering.build_file, "lines")), "freight"), "Delivery with tail-lift")
    name = next(item for item in app.text_input if item.label == "Name" and "card-" in (item.key or ""))
    assert name.value == "Delivery with tail-lift"
    name.set_value("Lorry with a tail-lift")
    app = press(app, "Change it")
    assert app.session_state["sheet"]["edits"] == {"delivery.amount": {"title": "Lorry with a tail-lift"}}
    assert any("Lorry with a tail-lift" in label for label in cards(app))
    app = card(app, "Lorry with a tail-lift")
    next(item for item in app.text_input if item.label == "Name" and "card-" in (item.key or "")).set_value(
        " "
    )
    app = press(app, "Change it")
    assert app.session_state["sheet"]["edits"] == {"delivery.amount": {"title": "Lorry with a tail-lift"}}
    assert [item.value for item in app.error]


def test_a_card_of_a_closed_line_says_so(run: Run, half_way: BuildFolder) -> None:
    assert "brakes" not in half_way.ledger().closed_lines()
    app = show(narrow(run(half_way.build_file, "lines")), "kit")
    label = next(label for label in cards(app) if "crate" in label.casefold())
    assert "closed; estimated" in label
    assert "amount \\$130 – \\$190 – \\$330" in label
    app = show(app, "wheels")
    assert not any("closed" in label for label in cards(app) if "Brake" in label)


def test_a_line_that_is_not_in_the_scenario_says_so_as_the_page_of_receipts_does(
    run: Run, before_ordering: BuildFolder
) -> None:
    absent = compile_plan(before_ordering.read(), None).absent
    assert absent
    app = run(before_ordering.build_file, "lines")
    (sheet,) = (item.value for item in app.dataframe)
    beside = dict(zip(sheet["Line"], sheet["Remarks"], strict=True))
    assert {name for name, said in beside.items() if said == NOT_HERE} == {*absent.values()} & {*beside}
    shown = {row.group for row in rows(before_ordering.read()) if row.item in absent}
    app = show(narrow(app), shown.pop())
    assert any(f"{NOT_HERE}; estimated" in label for label in cards(app))
