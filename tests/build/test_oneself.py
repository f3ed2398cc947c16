"""Where one does oneself what may hurt, one line says so, names the package and the harm, and defers."""

from __future__ import annotations

import pytest

from forecast.build.buildfile import parse_build, read_build
from forecast.build.guided import read_answers, write_build
from forecast.build.oneself import own_hazards, own_hazards_of_mix, own_hazards_sentence
from forecast.build.scenario import choose
from forecast.build.schema import Build
from forecast.spending.folder import DEMOS

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
    assert {name for item in own_hazards(demo, "mixed") for name in item.packages} == {"filling"}


def test_all_by_oneself_in_the_demos_names_paint_and_arches() -> None:
    for name in ("before-ordering-ireland", "half-way-new-zealand"):
        demo = read_build(DEMOS / name)
        (alone,) = (key for key, scenario in demo.scenario.items() if scenario.name == "All by oneself")
        named = {package for item in own_hazards(demo, alone) for package in item.packages}
        assert {"paint", "arches"} <= named
