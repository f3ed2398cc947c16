"""What take-offs come to is asked about where no car takes so much; sensible builds meet no such question."""

from __future__ import annotations

from typing import get_args

import pytest

from forecast.buildfile.reader import parse_build, read_build
from forecast.buildfile.takeoff import TAKEOFF_KINDS, AnyTakeoff
from forecast.ledger.folder import DEMOS
from forecast.missing.left_out import findings
from forecast.missing.odd import MOST
from forecast.start import read_answers, write_build
from tests.buildfile.texts import HEAD, LINE
from tests.start.test_guided import EVERYWHERE, NOTHING_KNOWN, plain_kit

MAT = 'kind = "laminate", buy = "{}", area = {}, areal_weight = 600, layers = {}'


def questions(takeoff: str, more: str = "") -> dict[str, str]:
    build = parse_build(f"{HEAD}{LINE}takeoff = {{ {takeoff} }}\nprice = 9\n{more}")
    return {item.rule: str(item) for item in findings(build) if item.grade == "odd"}


@pytest.mark.parametrize(("takeoff", "told"), [
    ('kind = "filler", shape = "skim", area = 60, thickness = 1.9',
     "A: 361.2 kg by its take-off. One car takes at most 25."),
    ('kind = "filler", shape = "strip", length = 90, width = 60, depth = 4, pack = 2', "A: 45.62 kg by its take-off."),
    (MAT.format("resin", 50, 3), "A: 258.8 kg by its take-off. One car takes at most 120."),
    (MAT.format("glass", 60, 5), "A: 207 kg by its take-off. One car takes at most 60."),
    ('kind = "film", pieces = [{ length = 40, width = 900, count = 102 }]', "A: 4,080 m by its take-off. One car takes "
     "at most 80. A dimension may be a slip: 102 pieces, 3672 m² with edges, in 102 rows on 1.52 m"),
    ('kind = "fasteners", length = { low = 60, middle = 80, high = 99 }, pitch = 20', "rivets by its take-off."),
    ('kind = "sealant", length = 90, width = 30, depth = 30', "cartridges of 310 ml by its take-off"),
    ('kind = "paint", paint = "clear", area = 60, coats = 9, film = 900', "L by its take-off. One car takes"),
])  # fmt: skip
def test_what_no_car_takes_is_asked_about_until_it_is_answered(takeoff: str, told: str) -> None:
    found = questions(takeoff)
    assert list(found) == ["odd_result-a"]
    assert told in found["odd_result-a"]
    assert questions(takeoff, '[not_needed]\nodd_result-a = "it is meant"\n') == {}


def test_a_dimension_that_is_asked_about_explains_what_comes_of_it() -> None:
    assert list(questions('kind = "fasteners", length = 1650')) == ["odd_size-a_takeoff_length"]
    assert list(questions(MAT.format("resin", 2, 300))) == ["odd_size-a_takeoff_layers"]


@pytest.mark.parametrize("takeoff", [
    'kind = "filler", shape = "strip", length = 14, width = 95, depth = 5',
    'kind = "filler", shape = "skim", area = 12, thickness = 0.6',
    MAT.format("resin", 15, 4),
    'kind = "film", area = 40',
    'kind = "paint", paint = "filler-primer", area = 40',
    'kind = "abrasives", area = 20, steps = [{ grit = 80, rounds = 6 }, { grit = 180, rounds = 5 }]',
    'kind = "masking", area = 20, rounds = 3',
    'kind = "wheel-bolts", shank = 30, spacer = 20',
])  # fmt: skip
def test_what_a_large_build_takes_is_not_asked_about(takeoff: str) -> None:
    assert questions(takeoff) == {}


def test_a_take_off_that_cannot_be_is_left_to_what_reads_it() -> None:
    assert questions(MAT.format("catalyst", 2, 3) + ", temperature = 2") == {}


def test_every_kind_of_take_off_has_its_most() -> None:
    assert {kind for kind, _ in MOST} == set(TAKEOFF_KINDS)
    for model in get_args(AnyTakeoff):
        kind, buy = model.model_fields["kind"].default, model.model_fields.get("buy")
        for one in get_args(buy.annotation) if buy else ("",):
            assert (kind, one) in MOST


@pytest.mark.parametrize("demo", sorted(path.name for path in DEMOS.iterdir() if path.is_dir()))
def test_demo_builds_have_nothing_odd(demo: str) -> None:
    assert [str(item) for item in findings(read_build(DEMOS / demo)) if item.grade == "odd"] == []


@pytest.mark.parametrize("country", EVERYWHERE)
def test_guided_builds_have_nothing_odd(country: str) -> None:
    told = plain_kit(country) | {"boxes": "2 x 200x120x60 45 kg; 1 x 90 x 40 x 30, 5 kg"}
    for answers in (NOTHING_KNOWN | {"country": country}, told):
        build = parse_build(write_build(read_answers(answers)))
        assert [str(item) for item in findings(build) if item.grade == "odd"] == []


def test_how_wide_a_figure_was_is_no_question_once_its_line_is_begun() -> None:
    lines = "".join(f'[[line]]\nid = "{name}"\ngroup = "hardware"\namount = 90\n' for name in ("one", "two"))
    build = parse_build(f'[build]\nname = "x"\ncurrency = "EUR"\ncountry = "IE"\n{lines}')
    every, left = findings(build), findings(build, {"one"})
    assert [item.line for item in every if item.narrow] == ["one", "two"]
    assert [item.line for item in left if item.narrow] == ["two"]
    assert [item for item in left if not item.narrow] == [item for item in every if not item.narrow]
