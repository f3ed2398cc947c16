"""Changing lines: tried at once, written when kept, undone, and never over somebody else's edit."""

from __future__ import annotations

from streamlit.testing.v1 import AppTest

from forecast import simulate
from forecast.build.buildfile import read_text
from forecast.build.edit import SetKey, changed, stamp
from forecast.build.sheet import rows
from forecast.spending.folder import BuildFolder
from forecast.views.money import signed
from tests.dashboard.conftest import Run, words


def grid(app: AppTest) -> str:
    kept = app.session_state["sheet"]
    return f"lines-{stamp(kept['text'])[:16]}-{kept['turn']}"


def edit(app: AppTest, row: int, values: dict[str, object]) -> AppTest:
    """Type into the grid, which the test harness cannot do by itself."""
    app.session_state[grid(app)] = {"edited_rows": {row: values}, "added_rows": [], "deleted_rows": []}
    return app.run()


def press(app: AppTest, label: str) -> AppTest:
    return next(item for item in app.button if item.label == label).click().run()


def place_of(folder: BuildFolder, item: str, key: str = "amount") -> int:
    return next(place for place, row in enumerate(rows(folder.read())) if (row.item, row.key) == (item, key))


def test_an_edit_shows_its_effect_and_is_not_written_until_kept(
    run: Run, before_ordering: BuildFolder
) -> None:
    app = run(before_ordering.build_file, "lines")
    text = read_text(before_ordering.build_file)
    was = simulate(before_ordering.read()).percentile(0.8)
    app = edit(app, place_of(before_ordering, "delivery"), {"Middle": 150.0, "High": 2400.0})
    assert not app.exception
    assert read_text(before_ordering.build_file) == text
    app = press(app, "Keep the changes")
    assert not app.exception
    now = simulate(before_ordering.read()).percentile(0.8)
    line = next(line for line in before_ordering.read().line if line.id == "delivery")
    assert line.amount.model_dump()["middle"] == 150  # type: ignore[union-attr]
    kept = changed(
        text, [SetKey("delivery", "amount", {"low": line.amount.low, "middle": 150, "high": 2400})]
    )  # type: ignore[union-attr]
    assert read_text(before_ordering.build_file).count("#") == kept.count("#")
    assert now.value > was.value


def test_the_effect_is_said_with_the_line_it_comes_from(run: Run, before_ordering: BuildFolder) -> None:
    app = run(before_ordering.build_file, "lines")
    text = read_text(before_ordering.build_file)
    place = place_of(before_ordering, "delivery")
    row = rows(before_ordering.read())[place]
    was = simulate(before_ordering.read()).percentile(0.8)
    app = edit(app, place, {"High": 2400.0})
    said = words(app)
    app = press(app, "Keep the changes")
    now = simulate(before_ordering.read()).percentile(0.8)
    assert (
        f"Not saved yet: **{signed(now.value - was.value, 'EUR', now.error)}** at P80, most of it from {row.title}"
        in said
    )
    app = press(app, "Undo the last change")
    assert read_text(before_ordering.build_file) == text
    assert not app.exception


def test_an_impossible_range_is_refused_in_words(run: Run, before_ordering: BuildFolder) -> None:
    app = run(before_ordering.build_file, "lines")
    text = read_text(before_ordering.build_file)
    app = edit(app, place_of(before_ordering, "delivery"), {"Low": 99_999.0})
    assert "low must be under middle" in words(app)
    assert not [item for item in app.button if item.label == "Keep the changes"]
    assert read_text(before_ordering.build_file) == text


def test_unsaved_edits_outlive_a_look_at_another_page(run: Run, before_ordering: BuildFolder) -> None:
    app = run(before_ordering.build_file, "lines")
    app = edit(app, place_of(before_ordering, "delivery"), {"High": 2400.0})
    said = next(line for line in words(app).splitlines() if "Not saved yet" in line)
    key = grid(app)
    app = app.switch_page("forecast/dashboard/cost.py").run()
    if key in app.session_state:
        del app.session_state[key]  # as a browser does with what is not drawn
    app = app.switch_page("forecast/dashboard/lines.py").run()
    assert said in words(app)
    app = press(app, "Drop them")
    assert "Not saved yet" not in words(app)


def test_an_edit_made_in_an_editor_meanwhile_is_shown_and_kept(
    run: Run, before_ordering: BuildFolder
) -> None:
    file = before_ordering.build_file
    app = run(file, "lines")
    app = edit(app, place_of(before_ordering, "delivery"), {"High": 2400.0})
    theirs = read_text(file).replace("budget = 13500", "budget = 14750")
    assert theirs != read_text(file)
    file.write_text(theirs, encoding="utf-8")
    app = app.run()
    assert "saved elsewhere since these edits began" in words(app)
    assert "+budget = 14750" in app.code[0].value
    assert not [item for item in app.button if item.label == "Keep the changes"]
    app = press(app, "Put my edits on top of it and save")
    assert not app.exception
    build = before_ordering.read()
    assert build.build.budget == 14_750
    line = next(line for line in build.line if line.id == "delivery")
    assert line.amount.model_dump()["high"] == 2400  # type: ignore[union-attr]


def test_what_was_left_out_is_added_with_one_press(run: Run, before_ordering: BuildFolder) -> None:
    app = run(before_ordering.build_file, "lines")
    there = {item.id for item in (*before_ordering.read().line, *before_ordering.read().event)}
    app = press(app, "Add it")
    assert not app.exception
    now = {item.id for item in (*before_ordering.read().line, *before_ordering.read().event)}
    assert len(now - there) == 1
    answered = before_ordering.read().not_needed
    app = press(app, "Not needed")
    assert before_ordering.read().not_needed == answered
    assert "Say in a few words why it is not needed" in words(app)
    why = next(item for item in app.text_input if item.placeholder == "Why it is not needed")
    why.set_value("the bus stops at the door")
    app = press(app, "Not needed")
    assert not app.exception
    now_answered = before_ordering.read().not_needed
    assert len(now_answered) == len(answered) + 1
    assert "the bus stops at the door" in now_answered.values()


def test_a_line_of_ones_own_is_added(run: Run, before_ordering: BuildFolder) -> None:
    app = run(before_ordering.build_file, "lines")
    next(item for item in app.text_input if item.label == "Name").set_value("Roof spoiler")
    for label, value in (("Low (EUR)", 80.0), ("Middle (EUR)", 120.0), ("High (EUR)", 260.0)):
        next(item for item in app.number_input if item.label == label).set_value(value)
    app = press(app, "Add the line")
    assert not app.exception
    line = before_ordering.read().line[-1]
    assert (line.id, line.title, line.group) == ("roof_spoiler", "Roof spoiler", "kit")
