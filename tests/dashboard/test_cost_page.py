"""What will it cost: all that `advise`, `afford` and `budget` say, in the same words and order."""

from __future__ import annotations

import json
import re
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from forecast import simulate
from forecast.dashboard.cost_next import CHEAP_AND_DEAR
from forecast.decide.afford import afford, budget_chance
from forecast.decide.again import replay_of
from forecast.decide.comparisons import PUBLISHED
from forecast.decide.contingency import contingency, recommended_level
from forecast.decide.drivers import drivers
from forecast.decide.firm_up import firm_up
from forecast.decide.measures import measures_of
from forecast.decide.trim import trims
from forecast.ledger.folder import BuildFolder
from forecast.ledger.receipts_csv import load_receipts_csv
from forecast.views.cli import main
from forecast.views.contingency_words import held_sentence, level_sentence
from forecast.views.cost_words import (
    budget_chance_sentence,
    drivers_sentence,
    firm_up_sentence,
    measure_sentence,
    measures_sentence,
    stays_sentence,
    trims_sentence,
    walk_away_sentence,
)
from forecast.watching.known_facts import forecast_given
from forecast.watching.standing import Record
from forecast.words.money import about
from tests.dashboard.conftest import Run, charts, words
from tests.decide.sample import SMALL

MEASURES = """
[[measure]]
id = "trial_fit"
name = "Trial fit before cutting"
cost = 20
chances = { poor_fit = 0.4 }
[[measure]]
id = "charm"
name = "A lucky charm"
cost = 90
chances = { poor_fit = 1.0 }
figures = { "paint_friend.amount" = 0.9 }
"""

euros = partial(about, currency="EUR")


def tables(app: AppTest) -> str:
    """Give the HTML of all tables of a page."""
    return "\n".join(item.proto.body for item in app.main.get("html"))


def numbered(app: AppTest) -> list[str]:
    """Give the sentences of the numbered list."""
    (found,) = [item.value for item in app.main.markdown if item.value.startswith("1. ")]
    return [line.split(". ", 1)[1].replace("\\", "") for line in found.split("\n")]


@pytest.fixture
def small(tmp_path: Path) -> Path:
    (tmp_path / "build.toml").write_text(SMALL, encoding="utf-8")
    return tmp_path


def test_what_to_firm_up_stands_as_in_the_terminal(
    run: Run, before_ordering: BuildFolder, capsys: pytest.CaptureFixture[str]
) -> None:
    shown = numbered(run(before_ordering.build_file, "cost"))
    assert main(["advise", str(before_ordering.folder)]) == 0
    said = capsys.readouterr().out.split("What to firm up first, ")[1].partition("\n")[2].split("\n\n")[0]
    assert shown == [line.strip() for line in said.splitlines()]
    assert all(
        re.search(r"(you then need to|Without it you) hold about €[\d,]+ less", line) for line in shown
    )


def test_two_plain_answers_give_the_level(run: Run, before_ordering: BuildFolder) -> None:
    app = run(before_ordering.build_file, "cost")
    assert "hold P80" in words(app)
    app.text_input(key="short").set_value("300").run()
    app.text_input(key="idle").set_value("100").run()
    assert not app.exception
    level = recommended_level(300, 100)
    split = contingency(simulate(before_ordering.read()), short=300, idle=100)
    assert level_sentence(level, euros) in words(app)
    assert held_sentence(split, euros) in words(app)
    assert f"enough in {'75 of 100 builds'}" in tables(app)


def test_a_level_below_the_middle_is_never_advised(run: Run, small: Path) -> None:
    app = run(small)
    app.text_input(key="short").set_value("10").run()
    assert "hold P50. Your answers alone ask for less, but below P50 you would plan to run short." in words(
        app
    )
    app.text_input(key="short").set_value("0").run()
    app.text_input(key="idle").set_value("0").run()
    assert not app.exception
    assert "both must be nothing or more" in words(app)


def test_published_overruns_stand_beside_with_their_sources(run: Run, small: Path) -> None:
    app = run(small)
    for item in PUBLISHED:
        assert (item.source in tables(app).replace("&amp;", "&")) == item.of_cost
    assert "None of these enters your figures" in words(app)


def test_contingency_is_split_three_ways_that_add_up(run: Run, small: Path) -> None:
    app = run(small)
    split = contingency(simulate(BuildFolder.at(small).read()))
    for label, shares in (("By group", split.groups), ("By line", split.lines), ("By cause", split.causes)):
        app = app.button_group(key="split").set_value(label).run()
        assert not app.exception
        for share in shares:
            assert share.title in tables(app)
        assert sum(share.amount.value for share in shares) == pytest.approx(split.amount.value)


def test_money_at_hand_and_the_price_to_walk_away_at(run: Run, small: Path) -> None:
    build = BuildFolder.at(small).read()
    app = run(small)
    box = next(box for box in app.main.selectbox if box.label == "The price in question")
    assert box.value == "kit.amount"
    app.text_input(key=f"at-hand-{small / 'build.toml'}").set_value("7000").run()
    assert budget_chance_sentence(budget_chance(simulate(build), 7000), euros) in words(app)
    assert walk_away_sentence(afford(build, 7000, "kit.amount"), euros) in words(app)
    next(box for box in app.main.selectbox if box.label == "The price in question").select(
        "paint_self.amount"
    ).run()
    assert walk_away_sentence(afford(build, 7000, "paint_self.amount"), euros) in words(app)
    app.text_input(key=f"at-hand-{small / 'build.toml'}").set_value("0").run()
    assert not app.exception
    assert "Enter what you have" in words(app)


def test_what_could_go_and_what_must_stay(run: Run, small: Path) -> None:
    build = BuildFolder.at(small).read()
    app = run(small)
    found = trims(replay_of(simulate(build)), build)
    assert trims_sentence(found, euros) in words(app)
    assert [item.id for item in found.kept] == ["mask", "harness"]
    for kept in found.kept:
        assert stays_sentence(kept) in words(app)
    assert "Lines of safety are never proposed" in words(app)


def test_measures_are_taught_and_then_judged(run: Run, small: Path) -> None:
    app = run(small)
    assert "see whether what a measure saves is more than it costs" in words(app)
    file = small / "build.toml"
    file.write_text(SMALL + MEASURES, encoding="utf-8")
    app = app.run()
    found = measures_of(BuildFolder.at(small).read())
    said = words(app) + "\n".join(item.value for item in app.main.caption).replace("\\", "")
    assert measures_sentence(found, euros) in said
    for item in found.alone:
        assert measure_sentence(item, euros) in said
    assert "without effect: \u201cPaint friend\u201d" in said


def test_swings_and_shares_are_worked_out_once_they_are_unfolded(run: Run, small: Path) -> None:
    app = run(small)
    found = drivers(simulate(BuildFolder.at(small).read()))
    assert drivers_sentence(found, euros) not in words(app)
    app.session_state[CHEAP_AND_DEAR] = True
    app.run()
    assert not app.exception
    assert drivers_sentence(found, euros) in words(app)
    (html,) = [
        item.proto.body for item in app.main.get("html") if "The total when this is cheap" in item.proto.body
    ]
    assert "Duty" not in html  # it follows from the kit
    (every,) = [item.proto.body for item in app.main.get("html") if "To hold less" in item.proto.body]
    firm = firm_up(
        replay_of(simulate(BuildFolder.at(small).read())), BuildFolder.at(small).read(), learning=False
    )
    event = next(item for item in firm if item.certain and item.without_it is not None)
    less, more = euros(event.without_it.value, error=event.without_it.error), event.with_it
    # the list says both, and the table said their average for the same event
    assert f"{less} without it, {euros(more.value, error=more.error)} more with it" in every
    for bar in found.swings[:12]:
        for end in (bar.low, bar.high):
            assert about(end, "EUR", bar.own.error) in html


def test_receipts_count_in_what_is_to_be_done(run: Run, half_way: BuildFolder) -> None:
    load_receipts_csv(half_way.folder / "receipts.csv", half_way.ledger())
    app = run(half_way.build_file, "cost")
    captions = " ".join(item.value for item in app.main.caption)
    assert "With your receipts counted in" in captions
    assert "From your ranges alone" not in captions
    assert "With NZ$21,106.37 paid and NZ$6,480.00 agreed, this starts from what is known." in words(app)
    before = firm_up(replay_of(simulate(half_way.read())), half_way.read(), learning=False)
    assert firm_up_sentence(before[0], partial(about, currency="NZD")) not in words(app)
    prices = app.main.selectbox[-1].options
    assert not any(option.startswith("Kit: bumpers") for option in prices)


def test_the_pages_answer_as_the_commands_do(
    run: Run, half_way: BuildFolder, capsys: pytest.CaptureFixture[str]
) -> None:
    """One P80 for one scenario with the receipts in: on the pages of cost, choice and watching, and in the terminal."""
    load_receipts_csv(half_way.folder / "receipts.csv", half_way.ledger())
    half_way.ledger().reopen_line(
        "arches_shop"
    )  # once they are done, one way is left, and nothing to compare
    known = Record.read(half_way.ledger()).standing()
    found = {
        name: forecast_given(half_way.read(), name, known=known).percentile(0.8) for name in ("mixed", "diy")
    }
    assert main(["compare", str(half_way.folder), "--json"]) == 0
    data = json.loads(capsys.readouterr().out)["scenarios"]
    assert {item["id"]: item["P80"]["value"] for item in data} == {
        name: p80.value for name, p80 in found.items()
    }
    mixed, diy = (about(found[name].value, "NZD", found[name].error) for name in ("mixed", "diy"))
    cost, choose = words(run(half_way.build_file, "cost")), run(half_way.build_file, "choose")
    assert f"Hold **{mixed}**" in cost
    captions = " ".join(item.value for item in choose.main.caption).replace("\\", "")
    assert "With NZ$21,106.37 paid" in captions
    assert mixed in tables(choose)
    assert diy in tables(choose)
    watch = words(run(half_way.build_file, "watch"))
    assert f"**{mixed}** (P80)" in watch
    assert "Paid so far: **NZ$21,106.37**" in watch


def test_both_pictures_say_their_finding(run: Run, small: Path) -> None:
    app = run(small)

    def description() -> Any:
        return json.loads(charts(app)[0])["description"]

    assert "A hundred simulated builds as dots" in description()
    app = app.button_group(key="picture").set_value("Curve").run()
    assert "Curve of the chance that a sum is enough" in description()


def test_the_middle_figures_open_down_to_what_makes_them_up(
    run: Run, before_ordering: BuildFolder, capsys: pytest.CaptureFixture[str]
) -> None:
    """The words and figures of `forecast open`, line by line and on from line to line."""
    build = before_ordering.read()
    app = run(before_ordering.build_file)
    assert main(["open", str(before_ordering.build_file), "--json"]) == 0
    sheet = json.loads(capsys.readouterr().out)
    rows = re.findall(
        r"<td class=\"fc-money\">([\d,.−-]+)</td></tr>", tables(app).split("to the cent</caption>")[1]
    )
    shown = [float(row.replace(",", "").replace("−", "-")) for row in rows[: len(sheet["lines"]) + 1]]
    assert shown[:-1] == [line[3] for line in sheet["lines"]]
    assert shown[-1] == sheet["total"] == pytest.approx(sum(shown[:-1]))
    select = next(box for box in app.main.selectbox if box.label.startswith("Open one"))
    app = select.set_value("disbursement_fee").run()
    assert main(["open", str(before_ordering.build_file), "disbursement_fee"]) == 0
    said = capsys.readouterr().out
    working = said.split("  = ")[1].splitlines()[0]
    assert working in words(app)
    button = next(button for button in app.main.button if button.label == "Import VAT")
    app = button.click().run()
    assert not app.exception
    assert "**Import VAT**, at your middle figures: **659.25 EUR**" in words(app)
    own = next(line for line in build.line if line.own_hours is not None)
    select = next(box for box in app.main.selectbox if box.label.startswith("Open one"))
    app = select.set_value(f"{own.id}.own_hours").run()
    assert re.search(r"\*\*.*, own hours\*\*, at your middle figures: \*\*[\d.]+ h\*\*", words(app))


def test_a_measure_of_ones_own_is_put_in(run: Run, before_ordering: BuildFolder) -> None:
    app = run(before_ordering.build_file)

    def box(label: str) -> Any:
        return next(item for item in (*app.main.text_input, *app.main.selectbox) if item.label == label)

    def add() -> None:
        next(item for item in app.main.button if item.label == "Add the measure").click()

    add()
    app = app.run()
    assert "Say what the measure is." in words(app)
    event = before_ordering.read().event[0]
    box("A measure of your own").set_value("A second look")
    box("Costs, EUR").set_value("35")
    box("Against which risk").set_value(event.id)
    box("Happens less often by, %").set_value("30")
    add()
    app = app.run()
    assert not app.exception
    app = app.button(key="keep").click().run()
    [measure] = before_ordering.read().measure
    assert (measure.name, dict(measure.chances), dict(measure.impacts)) == (
        "A second look",
        {event.id: 0.7},
        {},
    )
    assert measures_of(before_ordering.read()).alone[0].title in words(app) + tables(app)


def test_a_measure_that_such_builds_take_is_tried(run: Run, before_ordering: BuildFolder) -> None:
    app = run(before_ordering.build_file)
    app = app.selectbox(key="measure-which").set_value("photos_before_shipping").run()
    app = app.button(key="measure-add").click().run()
    assert "What to hold **stays as it is**. Keep it, and it is compared with the others." in words(app)
    app = app.button(key="keep").click().run()
    assert not app.exception
    build = before_ordering.read()
    assert [measure.id for measure in build.measure] == ["photos_before_shipping"]
    assert measure_sentence(measures_of(build).alone[0], euros) in words(app)
