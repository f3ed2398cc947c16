"""Do it or farm it out: all that `compare`, `mix` and `quotes` say, in the same words."""

from __future__ import annotations

import html
import json
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from forecast.dashboard.layout import fold_key
from forecast.decide.choices import quotes
from forecast.decide.mix import mix
from forecast.decide.scenarios import compare
from forecast.ledger.folder import BuildFolder
from forecast.ledger.undoing import undo_last
from forecast.record.finishing import finish
from forecast.views.commands.advice import pair_sentences
from forecast.views.commands.quotes import EXAMPLE
from forecast.views.mix_words import mixes_sentence, reason_sentence
from forecast.views.quote_words import estimate_sentence, once_taken_sentence, quotes_sentence
from forecast.views.ways import comparison_sentence, dominance_sentence, pay_sentence
from forecast.words.money import about, entered, exact, hourly, hours
from tests.dashboard.conftest import Run, charts, words
from tests.dashboard.test_cost_page import tables
from tests.dashboard.test_settling import pay
from tests.decide.sample import SMALL
from tests.decide.test_quotes import GUESSED

euros = partial(about, currency="EUR")
rate = partial(hourly, currency="EUR")
ONE_WAY = """\
[build]
name = "One way"
currency = "EUR"
country = "IE"
[[line]]
id = "kit"
group = "kit"
amount = { low = 2300, middle = 2500, high = 2900 }
"""


@pytest.fixture
def small(tmp_path: Path) -> Path:
    (tmp_path / "build.toml").write_text(SMALL, encoding="utf-8")
    return tmp_path


def test_the_answer_says_the_same_as_the_terminal(run: Run, small: Path) -> None:
    found = compare(BuildFolder.at(small).read())
    said = words(run(small, "choose")).replace("**", "")
    assert comparison_sentence(found, euros) in said
    assert found.most_telling_pay is not None
    assert pay_sentence(found.most_telling_pay, rate) in said


def test_each_pair_is_told_in_full(run: Run, small: Path) -> None:
    found = compare(BuildFolder.at(small).read())
    app = run(small, "choose")
    for pair in found.pairs:
        app = app.selectbox(key="pair").select((pair.first, pair.second)).run()
        assert not app.exception
        for sentence in pair_sentences(pair, found):
            assert sentence in words(app)
        assert any(dominance_sentence(pair.dominance) == sentence for sentence in pair_sentences(pair, found))
    assert ">Weeks</th>" in tables(app)


def test_the_best_mix_within_limits(run: Run, small: Path) -> None:
    build, file = BuildFolder.at(small).read(), small / "build.toml"
    app = run(small, "choose")
    free = mix(build)
    assert mixes_sentence(free, euros) in words(app)
    for reason in free.reasons:
        assert reason_sentence(reason, euros, rate) in words(app)
    app.text_input(key=f"mix-hours-{file}").set_value("60").run()
    app.text_input(key=f"mix-money-{file}").set_value("12000").run()
    found = mix(build, money=12_000, hours=60)
    assert mixes_sentence(found, euros) in words(app)
    assert "within €12,000 and 60 own hours" in words(app)
    assert found.best is not None
    described = " ".join(json.loads(spec)["description"] for spec in charts(app))
    assert f"Best within your limits: {euros(found.best.p80)} and" in described
    app.session_state[fold_key("every-mix")] = False  # limits hold while they are out of sight as well
    app.run()
    assert mixes_sentence(found, euros) in words(app)
    app.session_state[fold_key("every-mix")] = True
    app.run()
    assert app.text_input(key=f"mix-hours-{file}").value == "60"
    app.text_input(key=f"mix-money-{file}").set_value("500").run()
    assert not app.exception
    assert "No mix stays within €500 and 60 own hours" in words(app)
    assert "Of the cheapest mix:" in words(app)


def test_mixes_are_drawn_with_their_finding(run: Run, small: Path) -> None:
    app = run(small, "choose")
    described = [json.loads(spec)["description"] for spec in charts(app)]
    assert any("mixes by own hours and cost at P80" in text for text in described)


def test_the_own_estimate_stands_beside_the_quotes_and_cannot_be_taken(run: Run, small: Path) -> None:
    with (small / "build.toml").open("a", encoding="utf-8") as file:
        file.write(GUESSED)
    app = run(small, "choose")
    found = quotes(BuildFolder.at(small).read(), "kit")
    for told in (estimate_sentence(found, euros), once_taken_sentence(found, euros)):
        assert told
        assert told in words(app)
    asked = next(item for item in app.main.radio if item.label == "Do you take this quote?")
    assert asked.options == ["Near"]


def test_quotes_are_taught_and_then_compared(run: Run, small: Path) -> None:
    app = run(small, "choose")
    assert "Two kits or two shops? Add what each asks" in words(app)
    (small / "build.toml").write_text(SMALL + EXAMPLE, encoding="utf-8")
    app = app.run()
    assert not app.exception
    found = quotes(BuildFolder.at(small).read(), "kit")
    assert quotes_sentence(found, euros) in words(app)
    for quote in found.quotes:
        assert quote.title in tables(app)
    assert "The seller never delivers" in tables(app)
    assert "kit: Kit from" in words(app)  # the mix names the option by its title


def test_one_way_only_says_what_to_add(run: Run, tmp_path: Path) -> None:
    (tmp_path / "build.toml").write_text(ONE_WAY, encoding="utf-8")
    app = run(tmp_path, "choose")
    assert "This build has **1 way** of being done." in words(app)
    assert "give what you would buy for it and what a shop would ask the same work package" in words(app)
    assert "Give a work package two ways of being done" in words(app)


def test_both_ways_are_put_in_with_one_press(run: Run, small: Path) -> None:
    text = (
        SMALL[: SMALL.index("[scenario.")] if SMALL.rindex("[scenario.") > SMALL.rindex("[[line]]") else SMALL
    )
    (small / "build.toml").write_text(text, encoding="utf-8")
    assert not BuildFolder.at(small).read().scenario
    app = run(small, "choose")
    assert "You or a shop could do: " in words(app)
    app = app.button(key="both-ways").click().run()
    app = app.button(key="keep").click().run()
    assert not app.exception
    found = compare(BuildFolder.at(small).read())
    assert [item.name for item in found.scenarios] == ["All by yourself", "All farmed out"]
    assert comparison_sentence(found, euros) in words(app).replace("**", "")


def test_no_page_shows_how_a_file_is_written(run: Run, small: Path, tmp_path: Path) -> None:
    """What is to be done is said in words, or there is a form for it."""
    (tmp_path / "build.toml").write_text(ONE_WAY, encoding="utf-8")
    for folder in (small, tmp_path):
        for page in ("cost", "lines", "choose"):
            assert not run(folder, page).main.code


def test_the_quote_that_is_taken_is_agreed_and_no_longer_compared(run: Run, small: Path) -> None:
    file, text = small / "build.toml", SMALL + EXAMPLE
    file.write_text(text, encoding="utf-8")
    app = run(small, "choose")
    asked = app.radio(key="agree-which-choice-kit")
    assert asked.options == ["Kit from a maker nearby", "Kit from abroad"]
    asked.set_value("Kit from a maker nearby")
    next(item for item in app.main.button if item.label == "I take this one").click()
    app.run()
    assert not app.exception
    assert (
        "€3,100.00 agreed with Kit from a maker nearby for “Kit”, an estimate that may still grow."
        in words(app)
    )
    assert "That is settled: €3,100 agreed for" in words(app)
    ledger = BuildFolder.at(small).ledger()
    (price,) = ledger.list_commitments()
    assert (price.line_id, price.supplier, price.kind) == ("kit", "Kit from a maker nearby", "estimate")
    assert file.read_text(encoding="utf-8") == text
    undo_last(ledger)
    assert "needs least money held" in words(run(small, "choose"))


def test_a_quote_is_added_kept_and_compared(run: Run, small: Path) -> None:
    app = run(small, "choose")
    assert "Two kits or two shops?" in words(app)

    def box(label: str) -> Any:
        fields = (*app.main.selectbox, *app.main.text_input)
        return next(field for field in fields if field.label == label)

    def add(name: str, middle: str) -> None:
        box("For which price").set_value("kit.amount")
        box("Who quotes").set_value(name)
        box("Middle").set_value(middle)
        box("Chance that it never comes, %").set_value("5 %")
        box("Lost then, EUR").set_value("€ 900,-")
        box("Chance that it comes late, %").set_value("30")
        box("Weeks late").set_value("6 weeks")
        next(button for button in app.main.button if button.label == "Add the quote").click()

    add("Maker nearby", "")
    app = app.run()
    assert "Give a middle alone, which is a firm price" in words(app)
    assert (box("Who quotes").value, box("Lost then, EUR").value) == (
        "Maker nearby",
        "€ 900,-",
    )  # nothing typed is lost
    add("Maker nearby", "2.700")
    app = app.run()
    assert not app.exception
    assert "What to hold **stays as it is**. Keep it, and it is compared with the others." in words(app)
    assert (box("Who quotes").value, box("Lost then, EUR").value) == ("", "")
    app = app.button(key="keep").click().run()
    assert not app.exception
    build = BuildFolder.at(small).read()
    assert [option.title for option in build.option] == ["Kit, your own estimate", "Maker nearby"]
    assert build.option[1].override == {"kit": {"amount": 2700.0}}  # read by what the kit was thought to cost
    assert [event.id for event in build.option[1].event] == ["kit_never_comes", "kit_late"]
    found = quotes(build, "kit")
    assert quotes_sentence(found, euros) in words(app)
    assert "Weeks (P80)" in tables(app)
    # and out again, on the page of lines
    app = app.switch_page("forecast/dashboard/lines.py").run()
    app = app.multiselect(key="remove-which").set_value([option.id for option in build.option]).run()
    app = app.button(key="remove").click().run()
    app = app.button(key="keep").click().run()
    assert not app.exception
    assert (small / "build.toml").read_text(encoding="utf-8").strip() == SMALL.strip()


def test_the_best_mix_within_limits_becomes_a_way_to_do_it(run: Run, small: Path) -> None:
    file = small / "build.toml"
    app = run(small, "choose")
    assert not [
        button for button in app.main.button if button.key == "mix-way"
    ]  # all by oneself is one of them
    app = app.text_input(key=f"mix-hours-{file}").set_value("100").run()
    found = mix(BuildFolder.at(small).read(), hours=100)
    assert found.best is not None
    app = app.button(key="mix-way").click().run()
    assert "**stays as it is**" in words(app)
    app = app.button(key="keep").click().run()
    assert not app.exception
    build = BuildFolder.at(small).read()
    added = list(build.scenario)[-1]
    assert {
        package: build.scenario[added].route(package) for package in found.best.routes
    } == found.best.routes
    assert (build.scenario[added].name or "") in app.sidebar.selectbox[0].options
    compared = compare(build)
    assert compared.scenarios[-1].p80.value == pytest.approx(found.best.p80)


def test_what_may_hurt_is_said_beside_the_way_and_beside_the_mix(run: Run, small: Path) -> None:
    sprayed = '\n[[line]]\nid = "paint_materials"\ngroup = "finish"\npackage = "paint"\nroute = "self"\namount = 9\n'
    (small / "build.toml").write_text(SMALL + sprayed, encoding="utf-8")
    app = run(small, "choose")
    assert ">Spraying two-pack paint or primer</td>" in tables(app)  # short, at the way
    folded = html.unescape(
        "".join(item.proto.body for item in app.main.get("html") if "<details" in item.proto.body)
    )
    assert "open" not in folded.split("<p>")[0]
    assert folded.count("aint by yourself means spraying two-pack paint") == 2
    assert "The best mix with that farmed out:" in folded
    assert "spraying two-pack paint" not in words(app)
    order = [
        item.type
        for item in app.main
        if item.type == "vega_lite_chart" or (item.type == "html" and "<t" in item.proto.body)
    ]
    assert order[0] == "vega_lite_chart"  # what the ways cost, as a picture, before any table


def test_a_mix_of_ones_own_is_chosen_and_made_a_way(run: Run, small: Path) -> None:
    build = BuildFolder.at(small).read()
    app, found = run(small, "choose"), mix(build)
    switches = {item.label: item for item in app.segmented_control if str(item.key).startswith("own-mix-")}
    offered = {
        package for package in found.mixes[0].routes if len({one.routes[package] for one in found.mixes}) > 1
    }
    assert {label.lower() for label in switches} == {package.replace("_", " ") for package in offered}
    assert "Your mix" in tables(app)
    package = sorted(offered)[0]
    wanted = {**(found.yours or found.cheapest).routes, package: "shop"}
    mine = min((one for one in found.mixes if one.routes == wanted), key=lambda one: one.p80)
    app = switches[package.replace("_", " ").capitalize()].set_value("shop").run()
    assert not app.exception
    (shown,) = [item.proto.body for item in app.main.get("html") if ">Your mix<" in item.proto.body]
    row = shown.split(">Your mix<")[1].split("</tr>")[0]
    for figure in (
        euros(mine.p50, error=found.errors[0]), euros(mine.p80, error=found.errors[1]), hours(mine.hours_p80),
        f"{mine.weeks:.0f}",
    ):  # fmt: skip
        assert f">{figure}</td>" in row
    app = app.button(key="own-mix-way").click().run()
    app = app.button(key="keep").click().run()
    assert not app.exception
    build = BuildFolder.at(small).read()
    added = list(build.scenario)[-1]
    assert {name: build.scenario[added].route(name) for name in wanted} == wanted
    assert compare(build).scenarios[-1].p80.value == pytest.approx(mine.p80)
    assert "This is the way" in " ".join(item.value for item in app.main.caption)


def test_a_mix_of_ones_own_says_which_agreed_price_it_leaves(run: Run, half_way: BuildFolder) -> None:
    app = run(half_way.build_file, "choose")
    told = words(app).count("leaves an agreed price")
    paint = next(item for item in app.segmented_control if item.label == "Paint")
    assert paint.value == "shop"  # as the way in force has it
    app = next(item for item in app.segmented_control if item.label == "Electrics").set_value("shop").run()
    assert words(app).count("leaves an agreed price") == told
    app = next(item for item in app.segmented_control if item.label == "Paint").set_value("self").run()
    assert words(app).count("leaves an agreed price") == told + 1


def test_a_way_that_leaves_an_agreed_price_is_said_beside_the_ways(run: Run, half_way: BuildFolder) -> None:
    (agreed,) = half_way.ledger().list_commitments()
    app = run(half_way.build_file, "choose")
    # the arches are done: the one way that leaves the price would do them again, and is no way any more
    assert "Done and paid: arches." in words(app)
    assert "is the way that is left." in words(app)
    half_way.ledger().reopen_line("arches_shop")
    app = run(half_way.build_file, "choose")
    told = "\n".join(item.value for item in app.main.caption).replace("\\", "")
    price = exact(agreed.expected_minor, "NZD")
    assert told.count(f"leaves an agreed price of {price} with {agreed.supplier} for") == 1
    assert "What leaving it costs is not counted." in told


def test_a_finished_build_says_nothing_of_what_can_hurt_and_has_cards(run: Run, small: Path) -> None:
    sprayed = '\n[[line]]\nid = "paint_materials"\ngroup = "finish"\npackage = "paint"\nroute = "self"\namount = 9\n'
    (small / "build.toml").write_text(SMALL + sprayed, encoding="utf-8")
    assert "What can hurt" in tables(run(small, "choose"))
    pay(BuildFolder.at(small).ledger(), "paint_materials", 900)
    finish(BuildFolder.at(small).ledger(), BuildFolder.at(small).read())
    app = run(small, "choose")
    assert "nothing is left to choose" in words(app)
    shown = tables(app)
    assert "An own hour pays" in shown
    assert "What can hurt" not in shown
    assert shown.count(", your plan") > 0
    assert "fc-cards" in "".join(item.proto.body for item in app.main.get("html"))


PAINTERS = """
[[option]]
id = "{line}_as_written"
choice = "{line}"
[[option]]
id = "{line}_cheap"
choice = "{line}"
override = {{ {line} = {{ amount = 7000 }} }}
"""


def test_quotes_that_are_settled_or_of_another_way_are_no_table(run: Run, half_way: BuildFolder) -> None:
    with half_way.build_file.open("a", encoding="utf-8") as file:
        file.write(PAINTERS.format(line="paint_shop") + PAINTERS.format(line="arches_self"))
    app = run(half_way.build_file, "choose")
    assert not app.exception
    said = words(app)
    assert "That is settled: NZ$1,500 paid and NZ$6,480 more agreed for" in said
    assert "These quotes do not count in this way:" in said
    assert "The whole build with each" not in tables(app)
    assert "paint shop: " not in said  # no mix names the quotes of a price agreed


def test_quotes_of_one_line_that_is_paid_are_not_forgotten(run: Run, half_way: BuildFolder) -> None:
    paid = half_way.ledger().paid_by_line()["wheels"]
    said = words(run(half_way.build_file, "choose"))
    assert (
        f"quoted NZ$315, NZ$349, NZ$372 and NZ$420. That is settled: {entered(paid / 100, 'NZD')} paid for"
        in said
    )


def test_a_finished_build_of_one_way_compares_no_quotes(run: Run, tmp_path: Path) -> None:
    (tmp_path / "build.toml").write_text(ONE_WAY + PAINTERS.format(line="kit"), encoding="utf-8")
    folder = BuildFolder.at(tmp_path)
    finish(folder.ledger(), folder.read())
    app = run(tmp_path, "choose")
    assert not app.exception
    assert "The build is finished: nothing is left to choose." in words(app)
    assert "Which quote" not in [item.value for item in app.subheader]
