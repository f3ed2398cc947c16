"""Changing lines: tried at once, written when kept, undone, and never over somebody else's edit."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from scipy.special import ndtri
from streamlit.testing.v1 import AppTest

from forecast import simulate
from forecast.buildfile.changes import RemoveItem, SetKey
from forecast.buildfile.edit import changed, stamp
from forecast.buildfile.reader import parse_build, read_text
from forecast.buildfile.sheet import changes, other_shapes, rows, with_changes
from forecast.dashboard.unsaved import draft_of
from forecast.decide.paired import forecast_change
from forecast.engine.plan import compile_plan
from forecast.figures.kinds import Known
from forecast.ledger.folder import BuildFolder
from forecast.ledger.undoing import undo_last
from forecast.start import answers_of, write_build
from forecast.views.settling_words import NOT_HERE
from forecast.watching.known_facts import forecast_given
from forecast.watching.standing import Record
from forecast.words.money import about, signed
from tests.dashboard.conftest import Run, words

EIGHTY = "P80 (in 80 of 100 builds it costs no more)"


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
    was = simulate(before_ordering.read())
    app = edit(app, place, {"High": 2400.0})
    said = words(app)
    app = press(app, "Keep the changes")
    new = simulate(before_ordering.read())
    now, moved = new.percentile(0.8), forecast_change(was, new, 0.8)
    assert 0 < moved.error < now.error  # the draws are shared
    change = signed(moved.value, "EUR", moved.error)
    assert f"Not saved yet: **{change}** at P80, most of it from {row.title}. {EIGHTY} is then about" in said
    p80 = about(now.value, "EUR", now.error)
    assert f"{EIGHTY} is then about {p80}." in said
    assert f"Kept: **{change}** at P80, most of it from {row.title}. {EIGHTY} is now about {p80}." in words(
        app
    )
    assert "Kept:" not in words(app.run())
    app = press(app, "Undo the last change")
    assert read_text(before_ordering.build_file) == text
    assert not app.exception


def test_an_effect_too_small_to_tell_is_no_zero(run: Run, before_ordering: BuildFolder) -> None:
    app = run(before_ordering.build_file, "lines")
    app = edit(app, place_of(before_ordering, "delivery"), {"High": 200.5})
    said = words(app)
    app = press(app, "Keep the changes")
    now = simulate(before_ordering.read()).percentile(0.8)
    p80 = about(now.value, "EUR", now.error)
    assert f"Not saved yet: **less than €10** at P80. {EIGHTY} is then about {p80}." in said


def test_an_edit_that_looks_like_a_slip_is_asked_about(run: Run, before_ordering: BuildFolder) -> None:
    app = run(before_ordering.build_file, "lines")
    next(item for item in app.text_input if item.label == "Name").set_value("Roof spoiler")
    for label, value in (("Low (EUR)", 1.0), ("Middle (EUR)", 120.0), ("High (EUR)", 26000.0)):
        next(item for item in app.text_input if item.label == label).set_value(f"{value:g}")
    app = press(app, "Add the line")
    assert "Is that meant? Roof spoiler, amount: from 1 to 26,000. The high is 26,000 times the low" in words(
        app
    )


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
    assert "Budget: was 13,500, is 14,750." in words(app)
    assert not app.code
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
    app = (
        next(item for item in app.button if item.label == "Add it" and item.key != "starter-add")
        .click()
        .run()
    )
    assert not app.exception
    assert {item.id for item in (*before_ordering.read().line, *before_ordering.read().event)} == there
    app = press(app, "Keep the changes")
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
    assert "no change" in words(app)
    app = press(app, "Keep the changes")
    now_answered = before_ordering.read().not_needed
    assert len(now_answered) == len(answered) + 1
    assert "the bus stops at the door" in now_answered.values()


def test_a_line_of_ones_own_is_added(run: Run, before_ordering: BuildFolder) -> None:
    app = run(before_ordering.build_file, "lines")
    next(item for item in app.text_input if item.label == "Name").set_value("Roof spoiler")
    for label, value in (("Low (EUR)", 80.0), ("Middle (EUR)", 120.0), ("High (EUR)", 260.0)):
        next(item for item in app.text_input if item.label == label).set_value(f"{value:g}")
    app = press(app, "Add the line")
    assert not app.exception
    assert "most of it from Roof spoiler" in words(app)
    app = press(app, "Keep the changes")
    line = before_ordering.read().line[-1]
    assert (line.id, line.title, line.group) == ("roof_spoiler", "Roof spoiler", "kit")


def test_a_line_that_was_in_no_estimate_is_added_with_0(run: Run, before_ordering: BuildFolder) -> None:
    """So says the field of the receipt's form, for a bill that nobody told of."""
    app = run(before_ordering.build_file, "lines")
    next(item for item in app.text_input if item.label == "Name").set_value("Port bill")
    next(item for item in app.text_input if item.label == "Middle (EUR)").set_value("0")
    app = press(press(app, "Add the line"), "Keep the changes")
    assert not app.exception
    build = before_ordering.read()
    assert build.line[-1].id == "port_bill"
    assert "port_bill" in compile_plan(build).unforeseen


def test_edits_of_figures_stay_with_their_line_when_lines_are_added_or_taken_out(
    run: Run, before_ordering: BuildFolder
) -> None:
    app = run(before_ordering.build_file, "lines")
    app = edit(app, place_of(before_ordering, "delivery"), {"High": 2400.0})
    first = before_ordering.read().line[1]
    app = app.multiselect(key="remove-which").set_value([first.id]).run()
    app = press(app, "Take them out")
    assert not app.exception
    assert "2 changes" in words(app)
    app = press(app, "Keep the changes")
    assert not app.exception
    lines = {line.id: line for line in before_ordering.read().line}
    assert first.id not in lines
    assert lines["delivery"].amount.model_dump()["high"] == 2400  # type: ignore[union-attr]
    changed_lines = [
        line.id
        for line in before_ordering.read().line
        if "2400" in str(line.amount) and line.id != "delivery"
    ]
    assert changed_lines == []


def test_a_line_that_others_are_a_share_of_is_not_taken_out_silently(
    run: Run, before_ordering: BuildFolder
) -> None:
    app = run(before_ordering.build_file, "lines")
    text = read_text(before_ordering.build_file)
    lines = before_ordering.read().line
    named = next(name for line in lines for name in line.of if name in {other.id for other in lines})
    app = app.multiselect(key="remove-which").set_value([named]).run()
    app = press(app, "Take them out")
    assert not app.exception
    assert not app.error
    shares = [one.title for one in (*lines, *before_ordering.read().event) if named in one.of]
    assert shares
    told = words(app)
    assert "by what is left." in told or "for it alone." in told
    assert all(f"“{title}”" in told for title in shares)
    app = press(app, "Drop them")
    assert not app.error
    assert read_text(before_ordering.build_file) == text


def test_quotes_take_the_place_of_a_guess(run: Run, before_ordering: BuildFolder) -> None:
    app = run(before_ordering.build_file, "lines")
    next(item for item in app.selectbox if item.label == "Figure").set_value("delivery.amount")
    field = next(item for item in app.text_input if item.label == "Prices quoted")
    field.set_value("120; cheap")
    app = press(app, "Put them in")
    assert "'cheap' is no number" in words(app)
    next(item for item in app.selectbox if item.label == "Figure").set_value("delivery.amount")
    next(item for item in app.text_input if item.label == "Prices quoted").set_value("120; 135.50")
    app = press(app, "Put them in")
    app = press(app, "Keep the changes")
    assert not app.exception
    line = next(line for line in before_ordering.read().line if line.id == "delivery")
    assert line.amount.model_dump()["quotes"] == (120, 135.5)  # type: ignore[union-attr]


@pytest.mark.parametrize("page", ["lines", "choose"])
def test_the_quote_that_is_taken_is_a_price_agreed(run: Run, before_ordering: BuildFolder, page: str) -> None:
    app, text = run(before_ordering.build_file, page), read_text(before_ordering.build_file)
    app = press(app, "I take this one")
    assert "Choose a quote first." in words(app)
    asked = next(item for item in app.radio if item.label.startswith("Wheels, price: quoted €172, €189"))
    assert asked.options == ["€172", "€189", "€205", "€240"]
    asked.set_value("€205")
    app = press(app, "I take this one")
    assert "Say whose quote it is." in words(app)
    app.text_input(key="agree-whose-wheels.price").set_value("A wheel shop")
    app = press(app, "I take this one")
    assert not app.exception
    assert "Kept: €820.00 agreed with A wheel shop for “Wheels”, a fixed price." in words(app)
    assert read_text(before_ordering.build_file) == text
    ledger = before_ordering.ledger()
    assert [(one.line_id, one.amount_minor) for one in ledger.list_commitments()] == [("wheels", 82_000)]
    assert not [item for item in app.radio if item.label.startswith("Wheels")]
    undo_last(ledger)
    assert ledger.list_commitments() == ()


def test_of_quotes_for_one_of_an_open_number_the_sum_takes_their_place(
    run: Run, before_ordering: BuildFolder
) -> None:
    text = read_text(before_ordering.build_file)
    open_number = text.replace(
        "quantity = 4\nprice = { quotes", "quantity = { low = 3.9, middle = 4, high = 5 }\nprice = { quotes"
    )
    assert open_number != text
    before_ordering.build_file.write_text(open_number, encoding="utf-8")
    app = run(before_ordering.build_file, "lines")
    assert "**Which quote do you take?** 1 to decide." in words(app)
    next(item for item in app.radio if item.label.startswith("Wheels, price: quoted")).set_value(205.0)
    app = press(press(app, "Take them"), "Keep the changes")
    assert not app.exception
    assert next(line for line in before_ordering.read().line if line.id == "wheels").price == Known(value=205)
    assert "to decide." not in words(app)


def test_settings_of_the_build_are_changed_through_the_tray(run: Run, before_ordering: BuildFolder) -> None:
    app = run(before_ordering.build_file, "lines")
    next(item for item in app.text_input if item.label == "Your budget (EUR)").set_value("15 250")
    app = press(app, "Change them")
    assert "no change" in words(app)  # a budget moves no cost
    app = press(app, "Keep the changes")
    assert before_ordering.read().build.budget == 15_250


@pytest.mark.parametrize("asked_on", ["lines", "cost"])
def test_every_page_shows_the_build_with_what_is_not_saved_if_asked(
    run: Run, before_ordering: BuildFolder, asked_on: str
) -> None:
    app = run(before_ordering.build_file, "lines")
    text = read_text(before_ordering.build_file)
    app = edit(app, place_of(before_ordering, "delivery"), {"High": 2400.0})
    app = app.switch_page("forecast/dashboard/cost.py").run()
    saved = words(app)
    assert "Not saved yet" in saved
    app = app.switch_page(f"forecast/dashboard/{asked_on}.py").run()
    app = app.toggle(key="unsaved-everywhere").set_value(True).run()
    app = app.switch_page("forecast/dashboard/cost.py").run()
    assert not app.exception
    assert app.toggle(key="unsaved-everywhere").value
    plain = rows(parse_build(text))
    dearer = with_changes(plain, {"delivery.amount": {"high": 2400.0}})
    build = parse_build(changed(text, changes(parse_build(text), plain, dearer)))
    eight = simulate(build).percentile(0.8)
    assert f"**{about(eight.value, 'EUR', eight.error)}**" in words(app)
    assert words(app) != saved
    assert read_text(before_ordering.build_file) == text


def test_each_range_has_its_sketch_and_each_change_a_word_beside_it(
    run: Run, before_ordering: BuildFolder
) -> None:
    app = run(before_ordering.build_file, "lines")
    place = place_of(before_ordering, "delivery")
    before = app.dataframe[0].value
    assert len(before["Range"][place]) == 24
    assert set(before["Remarks"]) == {"", NOT_HERE}
    app = edit(app, place, {"High": 2400.0})
    after = app.dataframe[0].value
    assert list(after["Range"][place]) != list(before["Range"][place])
    assert after["Remarks"][place] == "was €70 – €110 – €200"
    app = edit(app, place, {"Low": 99_999.0})
    assert "low must be under middle" in app.dataframe[0].value["Remarks"][place]


def test_another_shape_becomes_low_middle_and_high(run: Run, before_ordering: BuildFolder) -> None:
    old = before_ordering.read()
    chosen = next(path for path, *_ in other_shapes(old))
    app = run(before_ordering.build_file, "lines")
    app = app.selectbox(key="shape-which").set_value(chosen).run()
    app = app.button(key="shape-put").click().run()
    assert "Not saved yet" in words(app)
    app = app.button(key="keep").click().run()
    assert not app.exception
    new = before_ordering.read()
    assert chosen not in {path for path, *_ in other_shapes(new)}
    row = next(row for row in rows(new) if row.path == chosen)
    item, key = chosen.split(".")
    figure = getattr(next(line for line in old.line if line.id == item), key)
    points = figure.shape().ppf(ndtri(np.array([0.1, 0.5, 0.9])))
    assert (row.low, row.middle, row.high) == pytest.approx(tuple(points), rel=1e-3)


def test_a_cell_that_can_mean_two_is_asked_about_and_blocks_keeping(
    run: Run, before_ordering: BuildFolder
) -> None:
    app = run(before_ordering.build_file, "lines")
    text = read_text(before_ordering.build_file)
    place = place_of(before_ordering, "delivery")
    app = edit(app, place, {"High": "2.400", "Middle": "250,50"})
    assert not app.exception
    which = next(item for item in app.main.radio if "can mean 2400 or 2.4" in item.label)
    assert (list(which.options), which.value) == (["2400", "2.4"], None)
    assert "'2.400'" in app.session_state["sheet"]["unread"].__repr__()
    assert "Typed into the sheet and not understood yet: '2.400'" in words(app)
    assert not [item for item in app.button if item.label == "Keep the changes"]
    app = which.set_value("2400").run()
    assert not app.exception
    assert "not understood yet" not in words(app)
    app = press(app, "Keep the changes")
    line = next(line for line in before_ordering.read().line if line.id == "delivery")
    assert (line.amount.middle, line.amount.high) == (250.5, 2400)  # type: ignore[union-attr]
    assert read_text(before_ordering.build_file) != text


def test_what_is_typed_into_a_cell_is_read_as_people_write_it(run: Run, before_ordering: BuildFolder) -> None:
    app = run(before_ordering.build_file, "lines")
    place = place_of(before_ordering, "delivery")
    app = edit(app, place, {"High": "€ 2.400,-", "How often": "87,5"})
    app = press(app, "Keep the changes")
    line = next(line for line in before_ordering.read().line if line.id == "delivery")
    assert (line.amount.high, line.chance) == (2400, 0.875)  # type: ignore[union-attr]
    app = edit(app, place, {"High": "lots", "How often": "200"})
    assert not app.exception
    said = words(app)
    assert "'lots' is no number" in said
    assert "'200' cannot be. Write how many of 100 builds need it" in said
    assert not [item for item in app.button if item.label == "Keep the changes"]
    app = edit(app, place, {"High": "2 500 JPY"})
    assert "is in JPY, but EUR is counted here" in words(app)


def test_what_was_not_understood_outlives_a_look_at_another_page(
    run: Run, before_ordering: BuildFolder
) -> None:
    app = run(before_ordering.build_file, "lines")
    app = edit(app, place_of(before_ordering, "delivery"), {"High": "2.400"})
    key = grid(app)
    app = app.switch_page("forecast/dashboard/cost.py").run()
    assert "not understood yet: '2.400'" in words(app)
    for name in (key, f"base-{key}"):
        if name in app.session_state:
            del app.session_state[name]  # as a browser does with what is not drawn
    app = app.switch_page("forecast/dashboard/lines.py").run()
    assert any("can mean 2400 or 2.4" in item.label for item in app.main.radio)


def test_what_is_not_saved_outlives_a_reload_and_a_restart(run: Run, before_ordering: BuildFolder) -> None:
    text = read_text(before_ordering.build_file)
    app = run(before_ordering.build_file, "lines")
    app = edit(app, place_of(before_ordering, "delivery"), {"High": 2400.0})
    first = before_ordering.read().line[1]
    app = app.multiselect(key="remove-which").set_value([first.id]).run()
    app = press(app, "Take them out")
    said = next(line for line in words(app).splitlines() if "2 changes" in line)
    other = run(before_ordering.build_file, "cost")  # as a reload does, or another tab
    assert said in words(other)
    other = press(other, "Keep the changes")
    assert not other.exception
    build = before_ordering.read()
    assert first.id not in {line.id for line in build.line}
    assert next(line for line in build.line if line.id == "delivery").amount.model_dump()["high"] == 2400  # type: ignore[union-attr]
    app = app.run()  # the first tab holds the same changes: they stand in the file now
    assert "Not saved yet" not in words(app)
    assert "saved elsewhere" not in words(app)
    assert "Not saved yet" not in words(run(before_ordering.build_file, "lines"))
    assert text != read_text(before_ordering.build_file)


def test_a_tab_without_changes_leaves_the_draft_of_another(run: Run, before_ordering: BuildFolder) -> None:
    idle = run(before_ordering.build_file, "lines")
    app = run(before_ordering.build_file, "lines")
    edit(app, place_of(before_ordering, "delivery"), {"High": 2400.0})
    idle.run()
    assert "Not saved yet" in words(run(before_ordering.build_file, "lines"))
    press(app, "Drop them")
    assert "Not saved yet" not in words(run(before_ordering.build_file, "lines"))


def test_a_draft_that_cannot_be_used_is_none(run: Run, before_ordering: BuildFolder) -> None:
    file = draft_of(str(before_ordering.build_file))
    app = run(before_ordering.build_file, "lines")
    edit(app, place_of(before_ordering, "delivery"), {"High": 2400.0})
    whole = file.read_text(encoding="utf-8")
    for harmed in (
        whole[:-9],
        "[]",
        whole.replace('"High"', '"Higher"').replace("2400.0", '"much"'),
        "\ud800",
    ):
        file.write_bytes(harmed.encode(errors="surrogatepass"))
        assert "Not saved yet" not in words(run(before_ordering.build_file, "cost"))


def test_what_was_kept_is_undone_in_another_tab_and_on_another_day(
    run: Run, before_ordering: BuildFolder
) -> None:
    texts = [read_text(before_ordering.build_file)]
    for high in (2400.0, 2500.0):
        app = run(before_ordering.build_file, "lines")
        press(edit(app, place_of(before_ordering, "delivery"), {"High": high}), "Keep the changes")
        texts.append(read_text(before_ordering.build_file))
    for _ in range(2):
        assert read_text(before_ordering.build_file) == texts.pop()
        app = press(run(before_ordering.build_file, "lines"), "Undo the last change")
        assert not app.exception
    assert read_text(before_ordering.build_file) == texts.pop()
    app = run(before_ordering.build_file, "lines")
    assert "Undo the last change" not in [item.label for item in app.button]


CRATE = """\
[build]
name = "x"
currency = "EUR"
country = "IE"
[currency.JPY]
rate = 0.0057
[[line]]
id = "filler"
name = "Filler"
group = "consumables"
amount = { low = 40, middle = 60, high = 120 }
[[line]]
id = "lip"
name = "Lip"
group = "kit"
amount = { low = 90, middle = 120, high = 200 }
[[consignment]]
id = "crate"
name = "Body kit"
price = { low = 230000, middle = 245000, high = 280000 }
currency = "JPY"
origin = "JP"
sent_from = "JP"
mode = "sea"
incoterm = "CIF"
place = "Port of Dublin"
place_is = "port"
boxes = [{ length = { low = 160, middle = 180, high = 210 }, width = 60, height = 50, weight = 28 }]
"""


def test_the_sheet_is_grouped_and_goods_from_abroad_open_to_their_parts(run: Run, tmp_path: Path) -> None:
    (tmp_path / "build.toml").write_text(CRATE, encoding="utf-8")
    app = run(tmp_path, "lines")

    def shown() -> list[tuple[str, str, str]]:
        frame = (
            app.main.dataframe[0].value if app.main.dataframe else app.main.get("arrow_data_frame")[0].value
        )
        return list(frame[["Group", "Line", "What"]].itertuples(index=False, name=None))

    assert shown() == [
        ("Kit", "Body kit", "price"), ("", "Lip", "amount"), ("Consumables", "Filler", "amount"),
    ]  # fmt: skip
    app = edit(app, 2, {"High": "150"})
    opener = next(
        item for item in app.main.selectbox if item.label == "Open goods from abroad to their parts"
    )
    app = opener.set_value("crate").run()
    assert not app.exception
    assert ("Freight", "Body kit, box 1", "length") in shown()
    assert all(line.startswith("Body kit") for _, line, _ in shown())
    assert "Not saved yet" in words(app)  # what was typed into rows out of sight stays
    app = press(app, "Keep the changes")
    assert "high = 150" in (tmp_path / "build.toml").read_text(encoding="utf-8")


def test_the_whole_sheet_stands_beside_the_sidebar_with_its_headings_read_in_full(
    run: Run, tmp_path: Path
) -> None:
    """In a window of 1280 pixels a page is 848 wide, of which a grid's border and bar take up to 12."""
    (tmp_path / "build.toml").write_text(
        write_build(answers_of({"country": "NL", "origin": "GB"})), encoding="utf-8"
    )
    app = run(tmp_path / "build.toml", "lines")
    (columns,) = [json.loads(item.proto.columns) for item in app.dataframe if "Remarks" in item.proto.columns]
    assert sum(column["width"] for column in columns.values() if "width" in column) <= 848 - 12
    assert {"Line", "Remarks"} <= {name for name, column in columns.items() if "width" in column}
    for name in ("Low", "Middle", "High", "How often"):  # each with the sign of what can be changed before it
        assert columns[name]["width"] >= 30 + 6 * len(name) or columns[name]["width"] >= 62


def test_what_was_paid_for_a_line_that_is_taken_out_counts_in_the_effect(
    run: Run, half_way: BuildFolder
) -> None:
    """P80 was said to fall by what had been paid, and stood higher once the line was gone."""
    build, ledger = half_way.read(), half_way.ledger()
    other = parse_build(changed(read_text(half_way.build_file), [RemoveItem("tyres")]))
    moved = forecast_change(
        forecast_given(build, None, known=Record.read(ledger).standing()),
        forecast_given(other, None, known=Record.read(ledger).standing()),
        0.8,
    )
    app = run(half_way.build_file, "lines")
    app = app.multiselect(key="remove-which").set_value(["tyres"]).run()
    told = words(press(app, "Take them out"))
    assert f"Not saved yet: **{signed(moved.value, 'NZD', moved.error)}** at P80" in told
