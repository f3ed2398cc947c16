"""The page to begin on: the guided start, builds to open, and lines from a list."""

from __future__ import annotations

import re
import shutil
import sys
from collections.abc import Callable
from difflib import ndiff
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from forecast import read_build, simulate
from forecast.buildfile.reader import parse_build
from forecast.dashboard.start_ask import _sentence
from forecast.dashboard.start_guided import typed_path
from forecast.errors import ForecastError
from forecast.ledger.folder import DEMOS, BuildFolder, demos, remember
from forecast.start import (
    DONT_KNOW,
    WrongAnswer,
    answers_of,
    question,
    questions,
    read_answer,
    read_draft,
    write_build,
    write_draft,
)
from forecast.words.money import about, entered, exact
from tests.dashboard.conftest import ROOT, Run, words

LIST = b"Name;Group;Cost\nGrinding discs;consumables;60,50\nSeats;other;1.200\n"


@pytest.fixture
def begin(monkeypatch: pytest.MonkeyPatch) -> AppTest:
    """Open the start page as somebody does who never opened a build."""
    return start(monkeypatch)


def start(monkeypatch: pytest.MonkeyPatch, *arguments: str) -> AppTest:
    monkeypatch.setattr(sys, "argv", ["app.py", *arguments])
    app = AppTest.from_file(str(ROOT / "app.py"), default_timeout=60)
    return app.switch_page("forecast/dashboard/start.py").run()


def press(app: AppTest, label: str) -> AppTest:
    app = next(button for button in app.main.button if button.label == label).click().run()
    assert not app.exception
    return app


def asked(app: AppTest) -> str:
    return app.main.subheader[0].value


def say(app: AppTest, id: str, text: str) -> AppTest:
    app.text_input(key=f"guided-{id}").set_value(text)
    return press(app, "Next")


def choose(app: AppTest, way: str) -> AppTest:
    app = app.main.get("button_group")[0].set_value(way).run()
    assert not app.exception
    return app


@pytest.fixture
def begin_at(monkeypatch: pytest.MonkeyPatch, home: Path) -> Callable[..., AppTest]:
    """Give a function that opens the start page at a question, what comes before not known unless it is told."""

    def go(id: str, **told: str) -> AppTest:
        ids = [item.id for item in questions()]
        write_draft(home / "guided-start.toml", dict.fromkeys(ids[: ids.index(id)], DONT_KNOW) | told)
        return start(monkeypatch)

    return go


def test_a_newcomer_lands_on_a_demo_build_and_the_start_page_is_one_click_away(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(sys, "argv", ["app.py"])
    app = AppTest.from_file(str(ROOT / "app.py"), default_timeout=60).run()
    assert app.title[0].value == "Where does it stand?"
    links = [item.proto.label for item in app.main.get("page_link")]
    assert "This is a demo build. Start your own" in links
    assert links[0] == "Start or open a build"


def test_a_build_of_ones_own_is_not_called_a_demo(run: Run, tmp_path: Path) -> None:
    (tmp_path / "build.toml").write_text(write_build(answers_of({})), encoding="utf-8")
    links = [item.proto.label for item in run(tmp_path).main.get("page_link")]
    assert "This is a demo build. Start your own" not in links


def test_i_dont_know_to_all_makes_a_build_and_opens_it(begin: AppTest, home: Path) -> None:
    app = begin
    assert (
        "always an answer: it widens the range, and you can come back to it until the build is made."
        in words(app)
    )
    count = 0
    while asked(app) != "Where shall it go?":
        app = press(app, "I don't know")
        count += 1
    # No foreign currency, no rate; no country, neither of the two questions that rules ask.
    assert count == len(questions()) - 3
    app = press(app, "Create the build")
    assert app.title[0].value == "Where does it stand?"
    folder = home / "builds" / "my-conversion"
    held = simulate(read_build(folder)).percentile(0.8)
    assert f"Hold **{about(held.value, 'EUR', held.error)}**" in words(app)
    assert app.session_state["chosen"]["file"] == str(folder / "build.toml")
    assert read_draft(home / "guided-start.toml") == {}


def test_the_sentence_follows_each_answer_and_is_that_of_the_first_page(
    begin_at: Callable[..., AppTest],
) -> None:
    app = begin_at("kit_price")
    before = words(app)
    app = say(app, "kit_price", "1800-3200")
    assert words(app) != before
    so_far = answers_of({"kit_price": read(app, "kit_price")})
    held = simulate(parse_build(write_build(so_far))).percentile(0.8)
    assert f"Hold **{about(held.value, 'EUR', held.error)}**" in words(app)
    assert "Your last answer moved what to hold by **" in words(app)
    told = re.search(
        r"from your (\d+) answers and the other (\d+) questions, which count as not known", words(app)
    )
    assert told is not None
    assert int(told[2]) > int(told[1])  # nearly all were left open
    assert f"{len(questions()) - 3} questions" not in words(app)


def read(app: AppTest, id: str) -> object:
    return read_answer(question(id), app.session_state["start"]["written"][id], {})


def test_a_wrong_answer_is_told_beside_its_question_and_stays_to_be_mended(
    begin_at: Callable[..., AppTest],
) -> None:
    app = say(begin_at("kit_price"), "kit_price", "lots")
    assert asked(app).startswith("What does the kit cost, in ")
    assert "Found 'lots'" in app.main.error[0].value.replace("\\", "")
    assert app.text_input(key="guided-kit_price").value == "lots"
    assert "kit_price" not in app.session_state["start"]["written"]
    app = say(app, "kit_price", "2450")
    assert not app.main.error
    assert asked(app) == "How is it shipped?"


def test_a_price_that_can_mean_two_asks_which_is_meant(begin_at: Callable[..., AppTest]) -> None:
    app = say(begin_at("kit_price"), "kit_price", "245.000")
    told = app.main.error[0].value.replace("\\", "")
    assert told == "'245.000' can mean 245000 EUR or 245 EUR. Choose which is meant, at the field."
    assert any("a range (1800-3200)" in item.value.replace("\\", "") for item in app.main.caption)
    which = app.main.radio[0]
    assert (which.label, list(which.options), which.value) == (
        "Which is meant?",
        ["245000 EUR", "245 EUR"],
        None,
    )
    which.set_value("245 EUR")
    app = press(app, "Next")
    assert app.session_state["start"]["written"]["kit_price"] == "245 EUR"
    assert asked(app) == "How is it shipped?"


def test_a_number_is_shown_as_it_was_understood(begin_at: Callable[..., AppTest]) -> None:
    app = begin_at("kit_price", currency="PLN", kit_currency="THB")
    app = app.text_input(key="guided-kit_price").set_value("65.000").run()
    assert asked(app).startswith("What does the kit cost, in ")
    assert f"\u2192 **{entered(65_000, 'THB')}**" in words(app)
    app = press(app, "Next")
    assert asked(app) == "What does one THB cost in PLN today?"
    assert f"65.000 \u2192 {entered(65_000, 'THB')}" in words(app)  # in the list of answers


def test_hours_may_be_a_range_and_its_middle_is_said(begin_at: Callable[..., AppTest]) -> None:
    app = begin_at("week_hours")
    app = app.text_input(key="guided-week_hours").set_value("8-12").run()
    assert "\u2192 **8 to 12, counted as 10 hours a week**" in words(app)
    assert asked(press(app, "Next")) == "What do you want to spend at most, in euros?"


@pytest.mark.parametrize(
    ("id", "verb"), [("kit_price", "Write"), ("origin", "Choose"), ("paint", "Choose"), ("panels", "Choose")]
)
def test_nothing_is_no_answer(begin_at: Callable[..., AppTest], id: str, verb: str) -> None:
    app = begin_at(id)
    before = asked(app)
    app = press(app, "Next")
    assert asked(app) == before
    assert f"{verb} an answer, or press \u201cI don't know\u201d." in words(app)
    assert id not in app.session_state["start"]["written"]
    app = press(app, "I don't know")
    assert app.session_state["start"]["written"][id] == DONT_KNOW
    app = press(app, "Back")
    assert asked(app) == before
    assert any("You said that you don't know" in item.value for item in app.main.caption)
    app = press(app, "Next")  # what was said stays
    assert asked(app) != before
    assert app.session_state["start"]["written"][id] == DONT_KNOW


@pytest.mark.parametrize(
    ("id", "kind", "chosen"), [("origin", "selectbox", "JP"), ("paint", "radio", "shop")]
)
def test_what_is_said_of_no_answer_goes_once_one_is_chosen(
    begin_at: Callable[..., AppTest], id: str, kind: str, chosen: str
) -> None:
    app = press(begin_at(id), "Next")
    assert [item.value for item in app.error] == ["Choose an answer, or press \u201cI don't know\u201d."]
    app = app.get(kind)[0].set_value(chosen).run()
    assert not app.error
    app = press(app, "Next")
    assert app.session_state["start"]["written"][id] == chosen


def test_a_country_that_no_list_has_is_answered_with_the_nearest(begin_at: Callable[..., AppTest]) -> None:
    app = press(begin_at("country"), "Next")
    app.text_input(key="guided-country-written").set_value("Polandia").run()
    app = press(app, "Next")
    assert "Nearest by name: Poland, " in app.main.error[0].value.replace("\\", "")
    assert app.text_input(key="guided-country-written").value == "Polandia"
    app.text_input(key="guided-country-written").set_value("poland").run()
    app = press(app, "Next")
    assert app.session_state["start"]["written"]["country"] == "PL"
    assert asked(app) != asked(begin_at("country"))


def test_a_build_without_a_name_is_told_which_it_gets(begin_at: Callable[..., AppTest]) -> None:
    app = say(begin_at("name"), "name", "")
    assert "Write an answer" in app.main.error[0].value
    assert any(
        "Without one it is called \u201cMy conversion\u201d." in item.value for item in app.main.caption
    )


def test_the_price_of_the_kit_is_asked_in_its_money(begin_at: Callable[..., AppTest]) -> None:
    assert asked(begin_at("kit_price", kit_currency="THB")) == "What does the kit cost, in Thai baht?"


def test_back_and_forward_lose_nothing(begin_at: Callable[..., AppTest]) -> None:
    app = say(begin_at("kit_price", kit_currency="THB", currency="PLN"), "kit_price", "65 000")
    app.text_input(key="guided-rate").set_value("0.1").run()
    app = press(app, "Back")  # typed, and not answered yet
    assert app.text_input(key="guided-kit_price").value == "65 000"
    before = dict(app.session_state["start"]["written"])
    for _ in range(3):
        app = press(app, "Back")
    for _ in range(3):
        app = press(app, "Next")
    assert asked(app).startswith("What does the kit cost, in ")
    app = press(app, "Next")
    assert app.session_state["start"]["written"] == before
    assert app.text_input(key="guided-rate").value == "0.1"
    assert "rate" not in before


def test_ten_chips_answer_what_the_kit_costs(begin_at: Callable[..., AppTest]) -> None:
    app = press(
        begin_at("kit_price", kit_currency="THB", currency="PLN"), "Not sure? Find a range with ten chips"
    )
    for end, number in (("least", "50 000"), ("most", "100 000")):
        app.text_input(key=f"chips-{end}-of-guided-price").set_value(number)
        app = press(app, "Go on")
    for place, count in enumerate((1, 2, 4, 2, 1)):
        for _ in range(count):
            app = app.button(key=f"chips-lay-{place}").click().run()
    app = press(app, "Take this range")
    assert app.session_state["start"]["written"]["kit_price"] == "60000/75000/90000"
    assert asked(app) == "What does one THB cost in PLN today?"
    app = press(app, "Back")
    assert app.text_input(key="guided-kit_price").value == "60000/75000/90000"


def test_nothing_is_called_the_builders_own_before_it_is(begin_at: Callable[..., AppTest]) -> None:
    app = begin_at("kit_price")
    assert "Adding up the usual figures gives" in words(app)
    assert "your middle figures" not in words(app)
    assert "your ranges" not in words(app)
    app = say(app, "kit_price", "2 450")
    assert "Adding up your kit's price and the usual figures gives" in words(app)


def test_no_other_build_stands_beside_one_that_is_begun(begin: AppTest) -> None:
    assert [item.value for item in begin.sidebar.markdown] == []
    assert not begin.sidebar.selectbox
    assert len(begin.sidebar.button) >= len(demos())  # all can be opened, that which is open too
    app = begin.sidebar.button[0].click().run()
    assert app.title[0].value == "Where does it stand?"
    assert app.sidebar.selectbox[0].label == "Scenario"


def test_no_sentence_of_a_question_is_longer_than_can_be_read_at_once() -> None:
    """Plain-language guides ask for at most 25 words (GOV.UK, "Sentence length: why 25 words is our limit", 2014)."""
    for item in questions():
        for part in (item.text, item.help, item.how):
            for sentence in re.split(r"(?<=[.?!:]) ", part):
                assert len(sentence.split()) <= 25, sentence


def test_going_back_shows_what_was_answered(begin: AppTest) -> None:
    app = say(begin, "name", "Track car")
    app = press(app, "Back")
    assert asked(app) == "What do you call this build?"
    assert app.text_input(key="guided-name").value == "Track car"
    assert next(button for button in app.main.button if button.label == "Back").disabled


def test_answers_outlive_a_page_switch_a_reload_and_a_restart(
    begin: AppTest, monkeypatch: pytest.MonkeyPatch
) -> None:
    second = "In which country will the car be registered?"
    app = say(begin, "name", "Track car")
    app = app.switch_page("forecast/dashboard/cost.py").run()
    app = app.switch_page("forecast/dashboard/start.py").run()
    assert asked(app) == second
    again = start(monkeypatch)
    assert asked(again) == second
    assert "Your answers from before are still here" in words(again)
    assert again.session_state["start"]["written"]["name"] == "Track car"


def test_an_earlier_answer_can_be_changed_and_the_later_ones_stay(begin_at: Callable[..., AppTest]) -> None:
    app = say(begin_at("kit_price"), "kit_price", "2450")
    app = app.button(key="guided-to-country").click().run()
    assert asked(app) == "In which country will the car be registered?"
    app.selectbox(key="guided-country").set_value("NZ")
    app = press(app, "Next")
    written = app.session_state["start"]["written"]
    assert written["country"] == "NZ"
    assert written["kit_price"] == "2450"


def test_an_answer_that_no_longer_fits_is_asked_again(begin_at: Callable[..., AppTest]) -> None:
    app = begin_at("shipping", kit_currency="JPY", rate="0.0057")
    app = app.button(key="guided-to-kit_currency").click().run()
    app.selectbox(key="guided-kit_currency").set_value("USD")
    app = press(app, "Next")
    assert asked(app) == "What does one USD cost in EUR today?"
    assert "what one USD costs in EUR" in app.main.error[0].value


def test_a_rate_that_is_on_no_file_must_be_told(begin_at: Callable[..., AppTest]) -> None:
    app = begin_at("rate", kit_currency="MRU")
    assert "follows when the rate" in words(app)
    app = press(app, "I don't know")
    assert "No rate for MRU is on file" in app.main.error[0].value
    app = say(app, "rate", "0.022")
    assert "Hold **" in words(app)


def test_what_is_at_hand_may_be_nothing(begin_at: Callable[..., AppTest]) -> None:
    app = begin_at("at_hand")
    app.main.get("button_group")[1].set_value(["none"])
    app = press(app, "Next")
    assert app.session_state["start"]["written"]["at_hand"] == "none"


def test_the_rest_can_be_left_open_and_a_build_is_never_overwritten(begin: AppTest, tmp_path: Path) -> None:
    app = say(begin, "name", "Track car")
    app = press(app, "That is enough: leave the rest open")
    assert app.text_input(key="guided-last-name").value == "Track car"
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "build.toml").write_text("mine", encoding="utf-8")
    app.text_input(key="guided-folder-Track car").set_value(str(tmp_path / "mine"))
    app = press(app, "Create the build")
    assert "is there already" in app.main.error[0].value
    assert (tmp_path / "mine" / "build.toml").read_text(encoding="utf-8") == "mine"
    app.text_input(key="guided-last-name").set_value(" ")
    app.text_input(key="guided-folder-Track car").set_value(str(tmp_path / "new"))
    app = press(app, "Create the build")
    assert "The build has no name. Write one" in app.main.error[0].value
    assert not (tmp_path / "new").exists()
    app.text_input(key="guided-last-name").set_value("Another car")
    app.text_input(key="guided-folder-Track car").set_value(f'"{tmp_path / "new"}"')
    app = press(app, "Create the build")
    assert read_build(tmp_path / "new").name == "Another car"


def test_a_folder_of_that_name_that_is_taken_gets_a_number(begin: AppTest, home: Path) -> None:
    (home / "builds" / "track-car").mkdir(parents=True)
    app = press(say(begin, "name", "Track car"), "That is enough: leave the rest open")
    assert app.text_input(key="guided-folder-Track car").value == str(home / "builds" / "track-car-2")


def test_all_answers_can_be_forgotten(begin: AppTest, home: Path) -> None:
    app = press(say(begin, "name", "Track car"), "Forget all answers")
    assert asked(app) == "What do you call this build?"
    assert not (home / "guided-start.toml").exists()


def test_a_recent_build_opens(
    run: Run, before_ordering: BuildFolder, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "build.toml").write_text(write_build(answers_of({"name": "Mine"})), encoding="utf-8")
    run(tmp_path)
    app = start(monkeypatch, str(before_ordering.folder))
    assert "**1** build of your own opened lately" in words(app)
    assert f"Changed today. {tmp_path}" in "".join(item.value for item in app.main.caption).replace("\\", "")
    app = press(app, "Mine")
    assert app.title[0].value == "Where does it stand?"
    assert app.session_state["chosen"]["file"] == str(tmp_path / "build.toml")


def test_a_demo_opens_and_starts_over(begin: AppTest, home: Path) -> None:
    app = choose(begin, "Open a build")
    name = demos()[1]
    app = press(app, read_build(DEMOS / name).name)
    assert app.title[0].value == "Where does it stand?"
    file = home / "demos" / name / "build.toml"
    assert app.session_state["chosen"]["file"] == str(file)
    file.write_text(file.read_text(encoding="utf-8") + "\n# mine\n", encoding="utf-8")
    app = choose(app.switch_page("forecast/dashboard/start.py").run(), "Open a build")
    app = app.button(key=f"afresh-{name}").click().run()
    assert file.read_bytes() == (DEMOS / name / "build.toml").read_bytes()
    assert (
        (home / "demos" / f"{name}-before-1" / "build.toml").read_text(encoding="utf-8").endswith("# mine\n")
    )


def test_a_folder_opens_by_its_path_and_what_is_wrong_is_told(begin: AppTest, tmp_path: Path) -> None:
    app = choose(begin, "Open a build")
    app = press(app, "Open it")
    assert "No folder is named" in app.main.error[0].value
    app.text_input(key="start-path-written").set_value(str(tmp_path / "nowhere"))
    app = press(app, "Open it")
    assert "there is no build here" in app.main.error[0].value
    (tmp_path / "build.toml").write_text(write_build(answers_of({})), encoding="utf-8")
    app.text_input(key="start-path-written").set_value(str(tmp_path))
    app = press(app, "Open it")
    assert app.title[0].value == "Where does it stand?"


@pytest.mark.parametrize("wanted", ["{tmp}", "{home}/builds/../x", "{home}/builds/..", "~", "/etc"])
def test_a_phone_names_no_other_folder_of_this_machine(
    begin: AppTest, tmp_path: Path, home: Path, monkeypatch: pytest.MonkeyPatch, wanted: str
) -> None:
    tried, new = wanted.format(tmp=tmp_path / "there", home=home), home / "builds" / "new"
    with monkeypatch.context() as phone:
        phone.setattr("streamlit.runtime.context.ContextProxy.ip_address", property(lambda _: "192.168.1.20"))
        with pytest.raises(ForecastError, match="not on a phone"):
            typed_path(tried)
        assert typed_path(str(new)) == new.absolute()
        app = choose(begin, "Open a build")
        assert not [field for field in app.text_input if field.key == "start-path-written"]
    assert typed_path(str(tmp_path)) == tmp_path


def test_from_a_broken_build_the_start_page_can_be_reached(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    (tmp_path / "build.toml").write_text("[build]\nname = 3\n", encoding="utf-8")
    app = start(monkeypatch, str(tmp_path))
    assert not app.exception
    assert app.title[0].value == "Start or open a build"
    app = choose(app, "Open a build")
    app = press(app, read_build(DEMOS / demos()[0]).name)
    assert app.title[0].value == "Where does it stand?"


def send(app: AppTest, content: bytes = LIST) -> AppTest:
    app = choose(app, "Take a list of lines")
    assert "Each row becomes a line" in words(app)
    app = app.main.get("file_uploader")[0].set_value(("list.csv", content, "text/csv")).run()
    assert not app.exception
    return app


def test_a_list_makes_a_new_build(begin: AppTest, home: Path) -> None:
    app = send(begin)
    assert "2 of 2 rows would become lines" in words(app)
    assert "decimal mark ','" in "".join(item.value for item in app.main.caption)
    app.text_input(key="list-name").set_value("From a list")
    app = press(app, "Create the build")
    assert "needs a country" in app.main.error[0].value
    app.selectbox(key="list-country").set_value("IE")
    app = press(app, "Create the build")
    assert app.title[0].value == "Where does it stand?"
    build = read_build(home / "builds" / "my-conversion")
    assert build.name == "From a list"
    assert [line.title for line in build.line] == ["Grinding discs", "Seats"]


def test_a_list_goes_into_the_build_in_force_by_way_of_the_tray(
    before_ordering: BuildFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    old = before_ordering.build_file.read_text(encoding="utf-8")
    app = send(start(monkeypatch, str(before_ordering.folder)), LIST.replace(b"Grinding discs", b"Tyres"))
    app = app.radio(key="list-goal").set_value(1).run()
    assert "1 has a mistake, so nothing is taken yet" in words(app)
    assert "'Tyres' is in the build already" in app.main.error[0].value.replace("\\", "")
    assert next(button for button in app.main.button if button.label == "Add the lines").disabled
    app = app.multiselect(key="list-leave-out").set_value([2]).run()
    app = press(app, "Add the lines")
    assert app.title[0].value == "The lines"
    assert "Not saved yet" in words(app)
    assert before_ordering.build_file.read_text(encoding="utf-8") == old
    app = app.switch_page("forecast/dashboard/lines.py").run()  # where a browser is by now
    app = app.button(key="keep").click().run()
    new = before_ordering.build_file.read_text(encoding="utf-8")
    assert [row for row in ndiff(old.splitlines(), new.splitlines()) if row.startswith("-")] == []
    seats = next(line for line in before_ordering.read().line if line.title == "Seats")
    assert seats.amount is not None


def test_a_list_that_was_sent_outlives_a_page_switch(begin: AppTest) -> None:
    app = send(begin)
    app = app.radio(key="list-known").set_value("known").run()
    app = app.switch_page("forecast/dashboard/cost.py").run()
    app = app.switch_page("forecast/dashboard/start.py").run()
    assert "list.csv is still here" in words(app)
    assert app.radio(key="list-known").value == "known"


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"", "empty"),
        (b"Filler;60\nPrimer;40\n", "no row of headings was found"),
        (b"\x00\x01\x02", "no text"),
        (b"PK\x03\x04broken", "cannot be read"),
    ],
)
def test_a_file_that_is_no_list_is_told_in_words(begin: AppTest, content: bytes, told: str) -> None:
    app = send(begin, content)
    assert told in app.main.error[0].value


def test_numbers_with_two_readings_wait_for_the_builder(begin: AppTest) -> None:
    app = send(begin, b"name,cost\nA,1.250\nB,3.000\n")
    warned = app.main.warning[0].value.replace("\\", "")
    assert "'1.250' can mean 1250 or 1.25, and no other number tells" in warned
    assert next(button for button in app.main.button if button.label == "Create the build").disabled
    app = app.selectbox(key="list-decimal").set_value(",").run()
    assert not app.main.warning


def test_a_column_can_be_said_to_hold_something_else(begin: AppTest) -> None:
    app = send(begin, b"Thing,Name,Cost\nDiscs,Joe,60\n")
    app = app.selectbox(key="list-column-Name").set_value("note").run()
    assert "no column says what a line is called" in app.main.error[0].value
    app = app.selectbox(key="list-column-Thing").set_value("name").run()
    assert "1 of 1 row would become lines" in words(app)


def test_two_tabs_on_one_draft_lose_no_answer(monkeypatch: pytest.MonkeyPatch, home: Path) -> None:
    one, other = start(monkeypatch), start(monkeypatch)
    one = say(one, "name", "Sunday coupe")
    other = say(other, "name", "Sunday coupe")
    one = press(one, "I don't know")  # the country
    one = press(one, "I don't know")  # the money
    other = press(other, "I don't know")  # the country, in the tab that stood still
    kept = read_draft(home / "guided-start.toml")
    assert set(kept) == {"name", "country", "currency"}
    assert kept["name"] == "Sunday coupe"


def test_a_recent_build_says_how_far_it_is(
    monkeypatch: pytest.MonkeyPatch, half_way: BuildFolder, tmp_path: Path
) -> None:
    own = tmp_path / "own"
    shutil.copytree(half_way.folder, own)
    bare = tmp_path / "bare"
    bare.mkdir()
    (bare / "build.toml").write_text(write_build(answers_of({})), encoding="utf-8")
    broken = tmp_path / "broken"
    broken.mkdir()
    (broken / "build.toml").write_text("[build]\n", encoding="utf-8")
    for folder in (broken, bare, own):
        remember(BuildFolder.at(folder))
    captions = [item.value.replace("\\", "") for item in start(monkeypatch).main.caption]
    receipts = BuildFolder.at(own).ledger().list_receipts()
    paid = exact(sum(receipt.paid_minor for receipt in receipts), "NZD")
    told = {
        str(folder): line for folder in (own, bare, broken) for line in captions if line.endswith(str(folder))
    }
    assert f"lines, {paid} paid in {len(receipts)} receipts. Changed" in told[str(own)]
    assert "lines, no receipts yet. Changed" in told[str(bare)]
    assert "The build file needs mending. Changed" in told[str(broken)]


def test_a_build_whose_ledger_is_gone_is_put_back_on_the_page(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    home = tmp_path / "mine"
    shutil.copytree(DEMOS / "before-ordering-ireland", home)
    folder = BuildFolder.at(home)
    folder.ledger().add_receipt("2026-05-02", "Shop", 1_000, "EUR", [("primer", 1_000)])
    folder.receipts_db.unlink()
    remember(folder)
    app = start(monkeypatch, str(home))
    assert not app.exception
    app = press(app, "Look whether all is whole")
    assert "receipts.db: is gone" in words(app)
    box = next(box for box in app.main.selectbox if box.label == "Copy")
    assert "the build file, 1 receipt" in box.options[0]
    box.select_index(0)
    app = press(app.run(), "Put it back")
    assert "Put back as of" in words(app)
    assert len(folder.ledger().list_receipts()) == 1


def test_the_list_of_countries_is_searched_by_their_own_names_and_by_those_of_the_builders_language(
    begin_at: Callable[..., AppTest],
) -> None:
    def listed(id: str, code: str, **told: str) -> str:
        options = begin_at(id, **told).selectbox(key=f"guided-{id}").options
        return next(one for one in options if f"({code})" in one)

    for word in ("Nederland", "Holland"):
        assert word in listed("country", "NL")
    assert "Verenigd Koninkrijk" in listed("origin", "GB", country="NL")
    assert "Verenigd Koninkrijk" not in listed("origin", "GB", country="IE")


def test_what_was_not_named_as_at_hand_is_said_to_be_bought(begin_at: Callable[..., AppTest]) -> None:
    app = begin_at("at_hand", country="GB")
    next(item for item in app.get("button_group") if item.key == "guided-at_hand").set_value(
        ["stands", "space"]
    )
    app = press(app, "Next")
    assert "What you did not name is now sure to be bought: the usual figures add up to £" in words(app)


def test_open_questions_are_named_before_the_build_is_made(begin_at: Callable[..., AppTest]) -> None:
    app = press(begin_at("budget", country="GB", origin="US"), "I don't know")
    said = words(app)
    assert re.search(
        r"\d+ questions are open. Answer them here: once the build is made, what they ask stands in wide",
        said,
    )
    (first, *_) = [item for item in app.button if str(item.key).startswith("guided-open-")]
    app = first.click().run()
    assert asked(app) == first.label.replace("\\", "")


def test_the_question_stands_right_below_what_to_hold(begin_at: Callable[..., AppTest]) -> None:
    app = begin_at("kit_price", country="GB")
    shown = [item.value for item in app.main if item.type in ("markdown", "subheader", "caption")]
    at = next(place for place, one in enumerate(shown) if one.startswith("What does the kit cost"))
    assert sum(len(one.split()) for one in shown[:at] if "<style>" not in one) < 40
    assert "leaves out what may or may not happen" in words(app) + "".join(item.value for item in app.caption)


def test_a_kit_that_comes_by_road_is_offered_no_terms_of_sea_freight(
    begin_at: Callable[..., AppTest],
) -> None:
    offered = begin_at("incoterm", origin="JP", shipping="road").selectbox(key="guided-incoterm").options
    assert any("(FCA)" in one for one in offered)
    assert not any(f"({code})" in one for one in offered for code in ("FAS", "FOB", "CFR", "CIF"))


def test_a_price_that_no_kit_has_is_asked_about_and_may_be_meant(begin_at: Callable[..., AppTest]) -> None:
    app = say(begin_at("kit_price", currency="EUR", kit_currency="JPY"), "kit_price", "2400")
    assert asked(app).startswith("What does the kit cost, in ")
    assert "Say which is meant" in app.main.error[0].value
    which = app.main.radio[0]
    assert "¥2,400 is about €14" in which.label
    assert list(which.options) == ["Yes, ¥2,400", "No, ¥240,000"]
    which.set_value("2400")
    app = press(app, "Next")
    assert app.session_state["start"]["written"]["kit_price"] == "2400"


def test_what_was_meant_in_its_place_is_one_tap_away(begin_at: Callable[..., AppTest]) -> None:
    app = begin_at("kit_price", currency="EUR", kit_currency="JPY")
    app = app.text_input(key="guided-kit_price").set_value("2400").run()
    app.main.radio[0].set_value("240000")
    app = press(app, "Next")
    assert app.session_state["start"]["written"]["kit_price"] == "240000"


@pytest.mark.parametrize(
    ("id", "given"),
    [("origin", "Atlantis"), ("kit_currency", "shells"), ("paint", "nobody"), ("panels", "none")],
)
def test_what_is_wrong_names_no_words_to_write_where_a_button_says_them(id: str, given: str) -> None:
    with pytest.raises(WrongAnswer) as wrong:
        read_answer(question(id), given, {})
    assert "Or write" in str(wrong.value)  # in the terminal, where no button stands
    assert "Or write" not in _sentence(str(wrong.value))
