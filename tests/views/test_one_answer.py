"""With receipts in every command starts from what is known: one P80 for one scenario, wherever it is asked."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from forecast.buildfile.choosing import with_option
from forecast.decide.again import replay_of
from forecast.decide.mix import MixSearch
from forecast.decide.trim import trims
from forecast.engine.forecast import forecast_plan
from forecast.engine.statistics import percentile_estimates
from forecast.ledger import Ledger
from forecast.ledger.folder import BuildFolder
from forecast.views.cli import main
from forecast.views.commands.quotes import EXAMPLE
from forecast.watching.known_facts import forecast_given, known_from
from forecast.watching.standing import Record, Standing
from tests.decide.sample import SMALL

TRIALS = "4096"

PAINTS = """
[[option]]
id = "tins"
choice = "paint_self"
[[option]]
id = "drum"
choice = "paint_self"
override = { paint_self = { amount = 450 } }
[[option.event]]
id = "dries_up"
chance = 0.3
cost = 450
"""


def ask(capsys: pytest.CaptureFixture[str], *arguments: str) -> Any:
    assert main([*arguments, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def say(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    assert main(list(arguments)) == 0
    return capsys.readouterr().out


@pytest.fixture
def folder(tmp_path: Path) -> BuildFolder:
    (tmp_path / "build.toml").write_text(SMALL + EXAMPLE.replace("no_show", "never"), encoding="utf-8")
    return BuildFolder.at(tmp_path)


@pytest.fixture
def ledger(folder: BuildFolder) -> Ledger:
    """A paint shop's deposit, some filler, a poor fit, and two lines of a build that is to be done otherwise."""
    ledger = folder.ledger()
    ledger.add_receipt("2026-03-01", "Maker", 3_050_25, "EUR", [("kit", 3_050_25)])
    ledger.close_line("kit", "2026-03-01")
    ledger.add_receipt("2026-03-02", "Chandler", 40_10, "EUR", [("filler", 40_10)])
    ledger.add_receipt("2026-03-03", "Friend", 333_33, "EUR", [("paint_friend", 333_33)])
    ledger.add_receipt("2026-03-04", "Club", 25_00, "EUR", [("colour_match", 25_00)])
    return ledger


def standing(ledger: Ledger) -> Standing:
    return Record.read(ledger).standing()


def p80_by_command(
    capsys: pytest.CaptureFixture[str], where: str, scenario: str, *more: str
) -> dict[str, float]:
    """Give what each command says of one scenario's P80."""
    one = (where, "--scenario", scenario, "--trials", TRIALS, *more)
    found = {
        "budget": ask(capsys, "budget", *one)["percentiles"]["P80"]["value"],
        "advise": ask(capsys, "advise", *one)["contingency"]["P80"]["value"],
    }
    scenarios = ask(capsys, "compare", where, "--trials", TRIALS, *more)["scenarios"]
    found["compare"] = next(item["P80"]["value"] for item in scenarios if item["id"] == scenario)
    return found


@pytest.mark.parametrize("event", [None, "happened", "cannot-happen"])
@pytest.mark.parametrize("scenario", ["diy", "shop", "mixed"])
def test_commands_agree_on_each_scenario(
    folder: BuildFolder, ledger: Ledger, capsys: pytest.CaptureFixture[str], scenario: str, event: Any
) -> None:
    """An event that shares a cause weighs the trials, in each scenario in the light of its own lines."""
    where = str(folder.folder)
    old = p80_by_command(capsys, where, scenario, "--before-receipts")
    if event is not None:
        ledger.mark_event("poor_fit", event, "2026-03-05")
    now = p80_by_command(capsys, where, scenario)
    now["watch"] = ask(capsys, "watch", where, "--scenario", scenario, "--trials", TRIALS)[
        "forecast_final_cost"
    ]["P80"]["value"]
    assert set(now.values()) == {now["budget"]}, now
    assert set(old.values()) == {old["budget"]}, old
    assert p80_by_command(capsys, where, scenario, "--before-receipts") == old
    assert old["budget"] != now["budget"]
    # what a sum of the P80 is worth is asked of the same trials
    chance = ask(
        capsys,
        "afford",
        where,
        "--scenario",
        scenario,
        "--trials",
        TRIALS,
        "--money",
        f"{now['budget'] + 0.005:.2f}",
    )["budget"]["chance"]["value"]
    assert chance == pytest.approx(0.8, abs=0.005)


def test_quotes_start_from_what_is_known(
    folder: BuildFolder, ledger: Ledger, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each option stands where a forecast of the build with that option, and the receipts, stands."""
    with folder.build_file.open("a", encoding="utf-8") as file:
        file.write(PAINTS)  # the kit of the example is bought: of that nothing is compared any more
    where = (str(folder.folder), "paint_self", "--scenario", "diy", "--trials", TRIALS)
    ledger.mark_event("poor_fit", "happened", "2026-03-05")
    before = ask(capsys, "quotes", *where, "--before-receipts")["choices"][0]["quotes"]
    build = folder.read()
    now = ask(capsys, "quotes", *where)["choices"][0]["quotes"]
    assert [item["id"] for item in now] == ["tins", "drum"]
    for place, item in enumerate(now):
        option = next(one for one in build.option if one.id == item["id"])
        alone = forecast_given(with_option(build, option), "diy", int(TRIALS), 1, standing(ledger))
        assert item["summary"]["P80"]["value"] == alone.percentile(0.8).value
        assert item["summary"]["P80"]["value"] != before[place]["summary"]["P80"]["value"]


def test_a_scenario_without_a_paid_line_bears_that_money(folder: BuildFolder, ledger: Ledger) -> None:
    """Closed form: another route's money shifts every trial and the base estimate by itself, to the cent.

    What its bills teach of the shared causes is the same with and without that money.
    """
    build, known = folder.read(), standing(ledger)
    for scenario, gone in (("diy", 333.33 + 25.00), ("shop", 333.33 + 40.10)):
        paid = forecast_given(build, scenario, 4096, 1, known)
        absent = {row.id for row in paid.plan.rows}
        without = forecast_plan(
            paid.plan, 4096, 1, known=known_from(paid.plan, known, build).facts, keep="rows"
        )
        expected = sum(sum_ for name, sum_ in known.paid.items() if name not in absent) / 100
        assert expected == pytest.approx(
            gone if "colour_match" not in absent else gone - 25.0 * (scenario == "diy")
        )
        assert paid.outside == pytest.approx(expected)
        np.testing.assert_allclose(paid.trials.totals, without.trials.totals + expected, rtol=1e-12)
        assert paid.base_estimate == pytest.approx(without.base_estimate + expected)
        assert paid.contingency(0.8).value == pytest.approx(without.contingency(0.8).value)


def test_the_split_of_the_contingency_still_adds_up(
    folder: BuildFolder, ledger: Ledger, capsys: pytest.CaptureFixture[str]
) -> None:
    data = ask(capsys, "advise", str(folder.folder), "--scenario", "shop", "--trials", TRIALS)["contingency"]
    for split in ("lines", "groups", "causes"):
        total = sum(item["amount"]["value"] for item in data[split])
        assert total == pytest.approx(data["amount"]["value"], abs=0.01), split
    budget = ask(capsys, "budget", str(folder.folder), "--scenario", "shop", "--trials", TRIALS)
    parts = sum(item["base"] for item in budget["lines"]) + budget["paid_for_none_of_these"]
    assert parts == pytest.approx(budget["base_estimate"])


def test_mixes_stand_where_forecasts_of_their_own_do(folder: BuildFolder, ledger: Ledger) -> None:
    """Of facts that all routes share nothing differs; `estimating_size` would give parts of a whole other sizes."""
    text = folder.build_file.read_text(encoding="utf-8")
    folder.build_file.write_text(
        text.replace('country = "IE"\n', 'country = "IE"\nestimating = 0\nlearn_ranges = false\n', 1),
        encoding="utf-8",
    )
    build = folder.read().model_copy(update={"option": ()})
    ledger.add_receipt("2026-03-06", "Bank", 120_00, "EUR", [("card_fee", 120_00)])
    known = standing(ledger)
    search = MixSearch(build, trials=16_384, known=known)
    for scenario in ("diy", "shop", "mixed"):
        alone = forecast_given(build, scenario, 16_384, 1, known)
        taken = build.scenario[scenario]
        routes = {
            package: taken.routes.get(package, taken.all or offered[0])
            for package, offered in search.mixers[()].routes.items()
        }
        mixer, totals = search.totals(routes, {})
        for place, level in enumerate((0.1, 0.5, 0.8, 0.9)):
            levels = (0.1, 0.5, 0.8, 0.9)
            found = percentile_estimates(totals.money, levels, mixer.forecast.trials.replicates)[place]
            own = alone.percentile(level)
            assert found.value == pytest.approx(own.value, abs=4 * (own.error + found.error)), (
                scenario,
                level,
            )
        assert totals.money.min() >= known.paid_minor / 100 - 1e-6  # what is paid is never lost


def test_money_for_no_line_at_all_is_in_every_mix(folder: BuildFolder, ledger: Ledger) -> None:
    build = folder.read().model_copy(update={"option": ()})
    plain = MixSearch(build, trials=1024, known=standing(ledger))
    ledger.add_receipt("2026-03-06", "Breaker", 500_00, "EUR", [("given_up_long_ago", 500_00)])
    more = MixSearch(build, trials=1024, known=standing(ledger))
    for one, other in zip(plain.mixes, more.mixes, strict=True):
        assert other.p80 == pytest.approx(one.p80 + 500)


def test_a_percentage_of_what_others_do_costs_at_least_what_is_paid_of_it(folder: BuildFolder) -> None:
    """The card fee is worked out anew in each mix; what is paid of it stays paid there too."""
    exact = {"estimating": 0.0, "learn_ranges": False}
    read = folder.read()
    build = read.model_copy(update={"option": (), "build": read.build.model_copy(update=exact)})
    known = Standing(None, {"kit": 3_050_25, "card_fee": 900_00}, {}, frozenset({"kit"}), {}, {}, None)
    alone = forecast_given(build, "shop", 4096, 1, known)
    assert alone.trials.row("card_fee").min() >= 900  # it is 90 to 250 otherwise
    _, totals = MixSearch(build, trials=4096, known=known).totals({"filling": "shop", "paint": "shop"}, {})
    assert np.mean(totals.money) == pytest.approx(alone.mean.value, abs=50)
    assert totals.money.min() > 3_050 + 900


def test_the_frozen_scenario_is_asked_about_before_anything_is_paid(
    folder: BuildFolder, capsys: pytest.CaptureFixture[str]
) -> None:
    """A budget frozen for the shop, and nothing paid: the question is about the shop everywhere, as in `watch`."""
    where = str(folder.folder)
    say(capsys, "freeze", where, "--budget", "9000.50", "--scenario", "shop")
    assert ask(capsys, "budget", where)["scenario"] == "shop"
    assert ask(capsys, "budget", where, "--before-receipts")["scenario"] == "shop"
    assert ask(capsys, "budget", where, "--scenario", "diy")["scenario"] == "diy"
    text = say(capsys, "budget", where)
    assert "this starts from" not in text
    assert "Your budget of \u20ac9,000.50 is enough" in text


def test_nothing_is_said_of_an_empty_ledger(folder: BuildFolder, capsys: pytest.CaptureFixture[str]) -> None:
    where = str(folder.folder)
    plain = {
        command: say(capsys, command, where, *more)
        for command, more in (
            ("budget", ()), ("advise", ("--trials", TRIALS)), ("compare", ()), ("mix", ("--trials", "1024")),
            ("quotes", ()), ("afford", ("--money", "7000")),
        )
    }  # fmt: skip
    ledger = folder.ledger()
    receipt = ledger.add_receipt("2026-03-01", "Typo", 10_00, "EUR", [("kit", 10_00)])
    ledger.void_receipt(receipt.id, "typed twice", "2026-03-01")
    ledger.add_receipt("2026-03-02", "Shop", 10_00, "EUR", [("kit", 10_00)])
    ledger.add_receipt("2026-03-03", "Shop", 10_00, "EUR", [("kit", 10_00)], kind="refund")
    assert not standing(ledger).says_something
    assert not Standing(None, {"kit": 0}, {"paint_shop": 0}, frozenset(), {}, {}, None).says_something
    assert say(capsys, "budget", where) == plain["budget"]
    assert say(capsys, "compare", where) == plain["compare"]
    assert not any("what is known" in text for text in plain.values())


def test_what_is_paid_is_told_to_the_cent_and_what_went_elsewhere_with_it(
    folder: BuildFolder, ledger: Ledger, capsys: pytest.CaptureFixture[str]
) -> None:
    where = str(folder.folder)
    ledger.add_commitment("2026-03-06", "Shop", "filling_shop", 1_800_50, "EUR")
    text = say(capsys, "budget", where, "--scenario", "diy")
    first = "With \u20ac3,448.68 paid and \u20ac1,800.50 agreed, this starts from what is known."
    assert text.startswith(first)
    assert (
        "\u20ac333.33 of it went on what is not in these lines, and is counted on top."
        in text.splitlines()[0]
    )
    watch = say(capsys, "watch", where, "--scenario", "diy")
    assert watch.startswith("Paid so far: \u20ac3,448.68. ")
    assert " \u20ac25 " in watch  # paid 25 is not 20
    assert " \u20ac40.10 " in watch


def test_money_that_is_spent_cannot_be_freed(folder: BuildFolder, ledger: Ledger) -> None:
    """Leaving a begun line out frees what is still to come; a closed or agreed one frees nothing."""
    build = folder.read()
    free = {item.id: item for item in trims(replay_of(forecast_given(build, "diy", 4096, 1)), build).proposed}
    ledger.add_receipt("2026-03-06", "Trim", 150_00, "EUR", [("spoiler", 150_00)])
    found = trims(replay_of(forecast_given(build, "diy", 4096, 1, standing(ledger))), build)
    begun = next(item for item in found.proposed if item.id == "spoiler")
    assert 0 <= begun.mean.value < free["spoiler"].mean.value - 100
    ledger.close_line("spoiler", "2026-03-07")
    found = trims(replay_of(forecast_given(build, "diy", 4096, 1, standing(ledger))), build)
    assert "spoiler" not in {item.id for item in found.proposed}


def test_advice_for_another_level_asks_about_narrow_ranges_there(
    folder: BuildFolder, capsys: pytest.CaptureFixture[str]
) -> None:
    where = (str(folder.folder), "--trials", TRIALS)
    nine = ask(capsys, "advise", *where, "--level", "P90")["if_ranges_are_narrow"]
    eight = ask(capsys, "advise", *where)["if_ranges_are_narrow"]
    assert (nine["level"], eight["level"]) == (0.9, 0.8)
    assert nine["hold"]["value"] > eight["hold"]["value"]
    assert eight == ask(capsys, "budget", *where)["if_ranges_are_narrow"]


def test_a_way_that_leaves_an_agreed_price_is_said_once(
    folder: BuildFolder, ledger: Ledger, capsys: pytest.CaptureFixture[str]
) -> None:
    ledger.add_commitment("2026-03-05", "A paint shop", "paint_shop", 6_480_00, "EUR")
    where = str(folder.folder)
    text = say(capsys, "compare", where, "diy", "shop", "mixed", "--trials", "256")
    told = "“Diy” leaves an agreed price of €6,480.00 with A paint shop for “Paint shop”"
    assert text.count(f"{told}. What leaving it costs is not counted.") == 1
    assert text.count("agreed price") == 1
    ledger.add_receipt("2026-03-06", "A paint shop", 1_500_00, "EUR", [("paint_shop", 1_500_00)])
    paid = say(capsys, "compare", where, "diy", "mixed", "--trials", "256")
    assert f"{told}. Of it €1,500.00 is paid. What leaving it costs is not counted." in paid
    assert "agreed price" not in say(capsys, "compare", where, "shop", "mixed", "--trials", "256")
    assert "agreed price" not in say(capsys, "compare", where, "--before-receipts", "--trials", "256")
