"""Beside the lines: cautions by line and event, and where the figures of tax and customs come from."""

from __future__ import annotations

import html
import re
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from forecast import read_build
from forecast.buildfile.oneself import cautions_beside
from forecast.buildfile.reader import parse_build
from forecast.engine.plan import compile_plan
from forecast.start import create_build, read_answers, write_build
from forecast.views.commands.check import wide_ranges
from forecast.views.rule_words import TITLE, rules_lead
from forecast.words.text import STRONG
from tests.dashboard.conftest import Run, words

HEAD = '[build]\nname = "x"\ncurrency = "EUR"\ncountry = "IE"\n'
LINE = """
[[line]]
id = "{id}"
name = "{name}"
group = "consumables"
amount = {{ low = 40, middle = 60, high = 120 }}
"""
EVENT = """
[[event]]
id = "tyre_touches"
name = "Tyre touches at lock"
chance = 0.2
cost = { low = 5, middle = 9, high = 30 }
"""


def tables(app: AppTest) -> str:
    """Give the words of all tables of a page."""
    bodies = [item.proto.body for item in app.main.get("html")]
    return html.unescape(re.sub(r"<[^>]+>", "\n", "\n".join(bodies)))


@pytest.fixture
def guided(tmp_path: Path) -> Path:
    file = tmp_path / "build.toml"
    answers = {"country": "IE", "origin": "JP", "wheels_new": True, "paint": "self", "filling": "self"}
    file.write_text(write_build(read_answers(answers)), encoding="utf-8")
    return file


def test_a_few_cautions_are_open_with_line_and_event(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "build.toml"
    resin = LINE.format(id="laminate_materials", name="Polyester resin")
    file.write_text(HEAD + resin + LINE.format(id="filler", name="Filler") + EVENT, encoding="utf-8")
    app = run(file, "lines")

    assert (
        "Of these, 2 lines and 1 event can hurt somebody or break a rule. It is about solvent vapour, styrene "
        "vapour" in words(app)
    )
    (shown,) = [item for item in app.expander if item.label.startswith("Cautions beside")]
    assert shown.label == "Cautions beside 2 lines and 1 event"
    assert shown.proto.expanded
    text = tables(app)
    assert "Tyre touches at lock" in text
    assert "Health and Safety Executive" in text
    assert "As above: styrene vapour" in text  # of the filler


def test_many_cautions_wait_behind_a_sentence(run: Run, guided: Path) -> None:
    app = run(guided, "lines")
    (shown,) = [item for item in app.expander if item.label.startswith("Cautions beside")]

    assert not shown.proto.expanded
    assert "local rules and licensed practice decide" in words(app)
    text = tables(app)
    found = cautions_beside(parse_build(guided.read_text(encoding="utf-8")))
    assert {item.kind for item in found} == {"line", "goods", "event"}
    for item in found:
        assert item.title in text
    for caution in {caution for item in found for caution in item.cautions}:
        assert text.count(caution.text) == 1


def test_in_a_narrow_window_each_caution_stands_at_its_card(run: Run, guided: Path) -> None:
    found = cautions_beside(parse_build(guided.read_text(encoding="utf-8")))
    app = next(
        item for item in run(guided, "lines").button if item.label == "Show the lines as cards"
    ).click().run()  # fmt: skip
    said = ""
    for group in next(item for item in app.pills if item.key == "cards-of").options:
        app = next(item for item in app.pills if item.key == "cards-of").set_value(group).run()
        folds = [item.proto.body for item in app.main.get("html") if "<details" in item.proto.body]
        said += html.unescape("".join(folds))
        assert all("Mind" in fold and "<details open" not in fold for fold in folds)
    for caution in {caution for item in found for caution in item.cautions}:
        assert caution.text in said
        assert caution.authority in said


def test_each_consignment_says_where_its_figures_come_from(run: Run, guided: Path) -> None:
    app = run(guided, "lines")
    (item,) = compile_plan(parse_build(guided.read_text(encoding="utf-8"))).consignments

    assert TITLE in [heading.value for heading in app.subheader]
    assert rules_lead(item.title, item.figures).replace(STRONG, "**") in words(app)
    assert "The figures behind Body kit" in [shown.label for shown in app.expander]
    text = tables(app)
    for figure in item.figures:
        for part in (figure.label, figure.value, figure.source):
            assert part in text
    assert 'overrides = { "vat" = … }' in text
    for note in item.notes:
        assert note in words(app)


def test_a_build_without_consignments_and_cautions_says_nothing(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "build.toml"
    file.write_text(HEAD + LINE.format(id="electricity", name="Electricity"), encoding="utf-8")
    app = run(file, "lines")

    headings = [heading.value for heading in app.subheader]
    assert TITLE not in headings
    assert "Cautions beside these lines" not in headings


def test_lopsided_ranges_are_named_as_by_check(run: Run, tmp_path: Path) -> None:
    file = create_build(tmp_path / "car", read_answers({"country": "IE", "origin": "JP"}))
    assert not wide_ranges(read_build(file))  # they are starter ranges: nothing that the builder said
    text = file.read_text(encoding="utf-8")
    own = '[[line]]\nid = "yard"\ngroup = "other"\namount = { low = 25, middle = 60, high = 300 }\n'
    file.write_text(f"{text}\n{own}", encoding="utf-8")
    found = wide_ranges(read_build(file))
    assert len(found) == 1
    app = run(file, "lines")
    assert f"Ranges worth a second look: {len(found)}" in [item.label for item in app.main.tabs]
    for sentence in found:
        assert sentence in words(app)


def test_what_looks_like_a_slip_is_asked_about_until_it_is_meant(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "build.toml"
    file.write_text(
        '[build]\nname = "Tiny"\ncurrency = "EUR"\ncountry = "IE"\n[currency.GBP]\nrate = 0.85\n'
        '[[line]]\nid = "kit"\ngroup = "kit"\namount = { low = 900, middle = 1000, high = 1300 }\n',
        encoding="utf-8",
    )
    assert "One figure may be a slip. The page of lines asks whether that is meant." in words(
        run(file, "cost")
    )
    app = run(file, "lines")
    assert "Is that meant?" in [item.value for item in app.subheader]
    assert "0.85 looks like GBP for one EUR: the wrong way round." in words(app)

    why = next(item for item in app.text_input if item.key == "why-far_rate-GBP")
    why.input("agreed with the seller")
    next(item for item in app.button if item.label == "It is meant").click()
    app.run()
    app = app.run()
    assert "Is that meant?" not in [item.value for item in app.subheader]
    next(item for item in app.button if item.key == "keep").click()
    app.run()
    assert 'far_rate-GBP = "agreed with the seller"' in file.read_text(encoding="utf-8")


def test_a_name_that_tells_of_harm_is_asked_about_and_answered_with_one_press(
    run: Run, tmp_path: Path
) -> None:
    file = tmp_path / "build.toml"
    file.write_text(HEAD + LINE.format(id="pipe", name="Two-pack clear coat"), encoding="utf-8")
    app = run(file, "lines")
    assert "\u201cTwo-pack clear coat\u201d: is it spraying?" in words(app)
    assert "hazards =" not in words(app)
    assert "Cautions beside these lines" not in [heading.value for heading in app.subheader]
    app = next(item for item in app.button if item.label == "Yes").click().run()
    assert "is it spraying?" not in words(app)
    app = next(item for item in app.button if item.label == "Keep the changes").click().run()
    assert read_build(file).line[0].hazards == ("spraying",)


def test_one_guessed_line_is_said_as_one(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "build.toml"
    file.write_text(HEAD + LINE.format(id="discs", name="Discs"), encoding="utf-8")
    assert "**1** is guessed" in words(run(file, "lines"))
