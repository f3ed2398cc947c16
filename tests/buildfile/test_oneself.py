"""Where one does oneself what may hurt, one line says so, names the package and the harm, and defers."""

from __future__ import annotations

import pytest

from forecast.buildfile.choosing import choose
from forecast.buildfile.oneself import own_hazards, own_hazards_of_mix, own_hazards_sentence
from forecast.buildfile.reader import parse_build, read_build
from forecast.buildfile.schema import Build
from forecast.ledger.folder import DEMOS
from forecast.start import read_answers, write_build

TEXT = """
[build]
name = "x"
currency = "EUR"
country = "IE"
[scenario.diy]
all = "self"
[scenario.mixed]
all = "self"
paint = "shop"
[scenario.out]
all = "shop"
[[line]]
id = "paint_materials"
group = "finish"
package = "paint"
route = "self"
amount = 400
[[line]]
id = "paint_shop"
group = "finish"
package = "paint"
route = "shop"
amount = 1400
[[line]]
id = "inner_arches_self"
group = "labour"
package = "inner_arches"
route = "self"
amount = 200
[[line]]
id = "inner_arches_shop"
group = "labour"
package = "inner_arches"
route = "shop"
amount = 900
"""


def build() -> Build:
    return parse_build(TEXT)


def test_it_names_package_and_harm_and_defers() -> None:
    assert own_hazards_sentence(own_hazards(build(), "diy")) == (
        "Paint by yourself means spraying two-pack paint or primer, which can leave you with asthma for life. Inner "
        "arches by yourself means cutting and welding the body shell, which can start a fire or leave the car weak "
        "in a crash. Local rules and licensed practice decide whether you may."
    )


def test_what_a_shop_does_is_not_named() -> None:
    (left,) = own_hazards(build(), "mixed")
    assert left.packages == ("inner_arches",)
    assert own_hazards(build(), "out") == ()
    assert own_hazards_sentence(()) == ""


def test_a_mix_is_read_by_its_routes() -> None:
    (left,) = own_hazards_of_mix(build(), {"paint": "self", "inner_arches": "shop"})
    assert (left.caution.id, left.packages) == ("isocyanate", ("paint",))


def test_a_line_of_no_package_is_named_itself() -> None:
    text = TEXT.partition("[scenario")[0] + (
        '[[line]]\nid = "paint_materials"\nname = "Clear coat"\ngroup = "finish"\namount = 9\n'
    )
    (found,) = own_hazards(parse_build(text))
    assert found.packages == ("Clear coat",)


@pytest.mark.parametrize(
    ("filling", "paint", "sprays"),
    [("self", "shop", True), ("shop", "shop", False), ("shop", "self", True), ("self", "self", True)],
)
def test_mask_guns_and_compressor_go_with_whoever_sprays(filling: str, paint: str, sprays: bool) -> None:
    answers = {"country": "IE", "origin": "JP", "filling": filling, "paint": paint}
    build = parse_build(write_build(read_answers(answers)))
    chosen = choose(build, "diy" if filling == paint == "self" else "mixed")
    needed = {"air_fed_mask", "spray_guns", "compressor"}
    assert (needed & {line.id for line in chosen.lines}) == (needed if sprays else set())
    assert not needed & {line.id for line in choose(build, "outsourced").lines}


def test_the_mixed_way_of_the_demo_sprays_primer_and_keeps_its_mask() -> None:
    demo = read_build(DEMOS / "before-ordering-ireland")
    assert "breathing" in {line.id for line in choose(demo, "mixed").lines}
    assert "breathing" not in {line.id for line in choose(demo, "outsourced").lines}
    named = {item.caution.id: item.packages for item in own_hazards(demo, "mixed")}
    assert named == {"isocyanate": ("filling",), "airbags": ("electrics",), "driver_aids": ("electrics",)}


def test_priming_beside_a_shop_that_paints_keeps_its_mask_in_the_demo_half_way() -> None:
    demo = read_build(DEMOS / "half-way-new-zealand")
    mixed, alone = (
        {line.id: line for line in choose(demo, way).lines}["breathing"] for way in ("mixed", "diy")
    )
    assert mixed.amount != alone.amount  # the shop masks the car


def test_all_by_oneself_in_the_demos_names_paint_and_arches() -> None:
    for name in ("before-ordering-ireland", "half-way-new-zealand"):
        demo = read_build(DEMOS / name)
        (alone,) = (key for key, scenario in demo.scenario.items() if scenario.name == "All by yourself")
        named = {package for item in own_hazards(demo, alone) for package in item.packages}
        assert {"paint", "arches"} <= named


def work(id: str, package: str | None, more: str = "", route: str = "self") -> str:
    pack = f'package = "{package}"\nroute = "{route}"\n' if package else ""
    return f'[[line]]\nid = "{id}"\ngroup = "labour"\n{pack}amount = 9\n{more}'


def named(text: str) -> dict[str, tuple[str, ...]]:
    head = TEXT.partition("[scenario.mixed]")[0]
    return {item.caution.id: item.packages for item in own_hazards(parse_build(head + text), "diy")}


def test_stripping_down_and_refitting_electrics_oneself_is_said() -> None:
    strip = work("strip_down_self", "fitting") + work("reassembly_self", "refit")
    assert named(strip) == {"airbags": ("fitting", "refit"), "driver_aids": ("refit",)}
    assert named(work("wires", "cables", 'hazards = ["electrics"]\n')) == {
        "airbags": ("cables",),
        "driver_aids": ("cables",),
    }
    told = own_hazards_sentence(
        own_hazards(
            parse_build(TEXT.partition("[scenario.mixed]")[0] + work("wiring_calibration", "electrics")),
            "diy",
        )
    )
    assert told == (
        "Electrics by yourself means working beside airbags, which can set them off, and refitting radar and cameras, "
        "which can leave them blind. Local rules and licensed practice decide whether you may."
    )


@pytest.mark.parametrize(
    "text",
    [
        work("lamps", None),  # a part that is bought
        work("filler", "filling"),  # radar may lie behind it, and nobody refits it
        work("kit_prep_self", "fitting"),
        work("wiring_calibration", "electrics", route="shop"),
        work("wiring_calibration", "electrics", "hazards = []\n"),
    ],
)
def test_what_is_no_such_work_says_nothing_of_airbags_and_radar(text: str) -> None:
    assert not {"airbags", "driver_aids"} & set(named(text))


def test_a_shop_that_refits_leaves_no_radar_to_who_strips_down() -> None:
    build = parse_build(write_build(read_answers({"country": "GB", "origin": "US"})))
    packages = {line.package for line in build.line if line.package}
    mine = dict.fromkeys(packages, "self") | {"refit": "shop"}
    found = {item.caution.id: item.packages for item in own_hazards_of_mix(build, mine)}
    assert "driver_aids" not in found
    assert found["airbags"] == ("fitting",)
    alone = {item.caution.id: item.packages for item in own_hazards_of_mix(build, mine | {"refit": "self"})}
    assert alone["driver_aids"] == ("refit",)


@pytest.mark.parametrize("way", ["diy", "mixed"])
def test_no_sentence_of_it_is_long(way: str) -> None:
    builds = [read_build(path) for path in DEMOS.iterdir() if path.is_dir()]
    builds += [parse_build(write_build(read_answers({"country": "IE", "origin": "JP"})))]
    for one in builds:
        told = own_hazards_sentence(own_hazards(one, way), "All by yourself")
        assert max(len(sentence.split()) for sentence in told.split(". ")) <= 25
        assert len(told) <= 500
        assert "\n" not in told
