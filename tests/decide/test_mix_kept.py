"""A mix that is made one of the ways to do the build costs as a way what it cost as a mix."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from forecast.buildfile.choosing import choose
from forecast.buildfile.edit import changed
from forecast.buildfile.proposals import way, way_of
from forecast.buildfile.reader import parse_build, read_build
from forecast.decide.mix import mix
from forecast.decide.mixer import Mixer
from forecast.engine.forecast import simulate
from forecast.errors import BuildFileError
from forecast.start import read_answers, write_build

N = 2048
SCENARIOS = Path(__file__).parents[2] / "scenarios"
SPRAYING = {"compressor", "spray_guns", "air_fed_mask"}
"""What whoever sprays needs, be it primer or paint."""


def guided(country: str, origin: str) -> str:
    return write_build(read_answers({"country": country, "origin": origin}))


BUILDS = {
    "guided, NL from GB": lambda: guided("NL", "GB"),
    "guided, US from JP": lambda: guided("US", "JP"),
    # an older file: what belongs to another package in one way alone stands in that way's overrides
    "with overrides": lambda: guided("IE", "JP").replace(
        "[scenario.diy]", "[scenario.mixed.override]\npaint_booth_hire = { chance = 0.3 }\n\n[scenario.diy]"
    ).replace("paint_booth_hire", "spray_guns"),
}  # fmt: skip


@pytest.mark.parametrize("name", BUILDS)
def test_a_kept_mix_has_the_mixs_figures_whichever_way_was_shown(name: str) -> None:
    text = BUILDS[name]()
    build = parse_build(text)
    for like in build.scenario:
        mixer = Mixer(build, build.scenario[like], N, 1)
        every = list(mixer.all())
        for routes, totals in every[1 :: max(1, len(every) // 3)]:
            change = way(build, routes, "Kept", like)
            kept = parse_build(changed(text, [change]))
            forecast = simulate(kept, change.id, N, 1)
            assert forecast.trials.totals == pytest.approx(totals.money, rel=1e-9, abs=1e-6), (like, routes)
            assert forecast.trials.hours == pytest.approx(totals.hours, rel=1e-9, abs=1e-6)
            assert way_of(kept, routes, like) is not None


def test_the_way_that_a_mix_is_told_to_be_is_one_of_its_figures() -> None:
    """With the overrides of another way it would cost something else, though its routes are the same."""
    build = parse_build(guided("NL", "GB"))
    all_out = dict.fromkeys(Mixer(build, build.scenario["outsourced"], N, 1).routes, "shop")
    assert way_of(build, all_out, "outsourced") == "outsourced"
    assert build.scenario["outsourced"].override
    assert way_of(build, all_out, "mixed") is None


def test_the_plan_that_the_file_names_is_no_hindrance_to_any_mix() -> None:
    text = guided("NL", "GB")
    plain, told = (
        parse_build(text),
        parse_build(text.replace("\ncurrency = ", '\nway = "diy"\ncurrency = ', 1)),
    )
    assert told.build.way == "diy"
    for like in (None, "mixed"):
        found, before = mix(told, scenario=like, trials=N), mix(plain, scenario=like or "diy", trials=N)
        assert [item.p80 for item in found.mixes] == [item.p80 for item in before.mixes]
        assert found.yours == before.yours


@pytest.mark.parametrize(("filling", "paint", "sprays"), [
    ("self", "self", True), ("self", "shop", True), ("shop", "self", True), ("shop", "shop", False),
])  # fmt: skip
def test_who_primes_or_paints_has_mask_guns_and_compressor(filling: str, paint: str, sprays: bool) -> None:
    text = (
        guided("NL", "GB") + f'\n[scenario.asked]\nall = "self"\nfilling = "{filling}"\npaint = "{paint}"\n'
    )
    build = parse_build(text)
    there = {line.id for line in choose(build, "asked").lines} & SPRAYING
    assert there == (SPRAYING if sprays else set())
    for like in ("mixed", "diy"):
        found = mix(build, scenario=like, trials=N)
        routes = dict.fromkeys(found.mixes[0].routes, "self") | {"filling": filling, "paint": paint}
        this = next(item for item in found.mixes if item.routes == routes)
        assert np.isclose(this.p80, simulate(build, "asked", N, 1).percentile(0.8).value, rtol=1e-9)


@pytest.mark.parametrize(("also", "message"), [
    ('also_for = ["fillling"]', "no work package 'fillling'. Did you mean 'filling'?"),
    ('also_for = ["filling"]\nroute = ""', "route"),
])  # fmt: skip
def test_a_work_package_that_is_none_is_told(also: str, message: str) -> None:
    text = (SCENARIOS / "before-ordering-ireland" / "build.toml").read_text("utf-8")
    line = (
        f'\n[[line]]\nid = "guns"\ngroup = "other"\npackage = "paint"\nroute = "self"\namount = 60\n{also}\n'
    )
    line = line.replace('route = "self"\n', "") if "route" in also else line
    with pytest.raises(BuildFileError) as caught:
        parse_build(text + line)
    assert message in str(caught.value)


def test_a_line_for_two_packages_counts_once() -> None:
    build = read_build(SCENARIOS / "before-ordering-ireland")
    text = (SCENARIOS / "before-ordering-ireland" / "build.toml").read_text("utf-8")
    one, other = list(dict.fromkeys(line.package for line in build.line if line.package and line.route))[:2]
    line = f'\n[[line]]\nid = "guns"\ngroup = "other"\npackage = "{one}"\nroute = "self"\nalso_for = ["{other}"]\n'
    line += "amount = 60\n"
    ways = f'\n[scenario.both]\nall = "self"\n[scenario.neither]\nall = "self"\n{one} = "shop"\n{other} = "shop"\n'
    with_it, without = parse_build(text + line + ways), parse_build(text + ways)
    for name, more in (("both", 60.0), ("neither", 0.0)):
        difference = simulate(with_it, name, N, 1).trials.totals - simulate(without, name, N, 1).trials.totals
        assert np.median(difference) == pytest.approx(more, abs=1e-6)
