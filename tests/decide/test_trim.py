"""What could go, and what never may."""

from __future__ import annotations

import pytest

from forecast.buildfile.schema import Line
from forecast.decide.again import replay_of
from forecast.decide.paired import forecast_change
from forecast.decide.trim import trims, why_safe
from forecast.engine.forecast import simulate
from forecast.views.cost_words import stays_sentence, trim_sentence, trims_sentence
from tests.decide.sample import euros, small


def test_relief_is_that_of_the_build_without_the_line() -> None:
    build = small()
    forecast = simulate(build, "diy")
    found = trims(replay_of(forecast), build)
    assert [item.id for item in found.proposed] == ["spoiler"]
    without = build.model_copy(update={"line": tuple(line for line in build.line if line.id != "spoiler")})
    rest = simulate(without, "diy")
    relief = found.proposed[0]
    assert relief.p80.value == pytest.approx(forecast_change(rest, forecast, 0.8).value)
    assert relief.mean.value == pytest.approx(forecast.mean.value - rest.mean.value)
    assert trim_sentence(relief, euros) in trims_sentence(found, euros)


def test_fees_and_own_hours_go_with_a_line() -> None:
    build = small('[[line]]\nid = "lip"\ngroup = "finish"\noptional = true\namount = 9000\nown_hours = 7\n')
    found = trims(replay_of(simulate(build, "diy")), build)
    lip = found.proposed[0]
    assert lip.id == "lip"
    assert lip.mean.value > 9000 * 1.02  # the card fee of 2.5 % follows, beyond its least charge
    assert lip.hours == pytest.approx(7)
    assert "7 own hours" in trim_sentence(lip, euros)


def test_safety_lines_are_kept_and_say_why() -> None:
    found = trims(replay_of(simulate(small(), "diy")), small())
    kept = {item.id: item for item in found.kept}
    assert kept["mask"].why == "it protects your lungs, eyes and skin"  # by its name alone
    assert kept["harness"].why == "you marked it as a matter of safety"
    assert "not proposed for leaving out" in stays_sentence(kept["mask"])


@pytest.mark.parametrize(
    "name",
    ["Wheel bolts", "wheel spacers", "Hub rings", "Tyres", "Brake pads", "Welding of the inner arch", "Headlamps",
     "Rear lights", "Reflectors", "Respirator cartridges", "Air-fed mask", "Breathing set", "Axle stands",
     "Fire extinguisher", "Structural reinforcement", "Wheel alignment", "Seat belt", "Lug nuts"],
)  # fmt: skip
def test_names_that_tell_of_safety(name: str) -> None:
    assert why_safe(Line(id="x", name=name, group="other", amount=5)) is not None


@pytest.mark.parametrize(
    "name",
    ["Spoiler", "Polish", "Film", "Badges", "Floor mats", "Carbon trim", "Lightweight bonnet", "Jacket"],
)
def test_names_that_do_not(name: str) -> None:
    assert why_safe(Line(id="x", name=name, group="other", amount=5)) is None


def test_nothing_optional() -> None:
    build = small()
    plain = build.model_copy(
        update={"line": tuple(line.model_copy(update={"optional": False}) for line in build.line)}
    )
    found = trims(replay_of(simulate(plain, "diy", 1024)), plain)
    assert found.proposed == found.kept == ()
    assert "optional = true" in trims_sentence(found, euros)


def test_money_that_comes_in_is_never_proposed_for_leaving_out() -> None:
    sold = """
[[line]]
id = "resale"
name = "Resale of removed parts (income)"
group = "other"
optional = true
quantity = -1
price = { low = 60, middle = 200, high = 600 }
"""
    found = trims(replay_of(simulate(small(sold), "diy")), small(sold))
    assert [item.id for item in found.proposed] == ["spoiler"]
    assert "resale" not in {item.id for item in found.kept}
