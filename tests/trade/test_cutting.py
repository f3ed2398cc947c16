"""The cut plan of a roll: worked by hand, never under the bound, no piece over another or beyond the roll."""

from __future__ import annotations

import itertools
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import TypeAdapter, ValidationError

from forecast.buildfile.takeoff import Takeoff
from forecast.figures.evaluate import at_middle
from forecast.trade.takeoff import TakeoffExpansion, expand_takeoff
from forecast.trade.takeoff.sheets import cut_plan


def metres(**table: Any) -> float:
    found = expand_takeoff("film", TypeAdapter(Takeoff).validate_python({"kind": "film"} | table), at_middle)
    return at_middle(found.formula, found.inputs)


def test_a_plan_worked_by_hand() -> None:
    # On 1.5 m: a bonnet of 1.4 m × 1.2 alone; two skirts of 1.0 × 0.5 and a lip of 0.6 × 0.4 side by side; rows of 1.2
    # and 1.0 m, for the longest stands first: 2.2 m of roll for 2.92 m² (1.95 m at the very least).
    rows = cut_plan([(1.4, 1.2), (0.5, 1.0), (0.4, 0.6), (0.5, 1.0)], 1.5)
    assert [(row.start, row.length, row.pieces) for row in rows] == [
        (0.0, 1.2, [(1.4, 1.2)]),
        (1.2, 1.0, [(0.5, 1.0), (0.5, 1.0), (0.4, 0.6)]),
    ]


def test_pieces_may_be_in_inches_and_have_edges() -> None:
    # 0.254 + 0.05 m across, 1.0 + 0.05 along: four side by side on 1.216 m.
    piece = {"length": 1.0, "width": {"value": 10, "unit": "in"}, "count": 4}
    assert metres(pieces=[piece], edge=25, roll_width=1.216) == pytest.approx(1.05)
    assert metres(pieces=[piece], edge=25, roll_width=1.2) == pytest.approx(2.10)
    assert metres(pieces=[piece], edge=25, roll_width=1.216, spoiled_panel=0.608) == pytest.approx(1.55)


MAT = {
    "kind": "laminate",
    "areal_weight": 450,
    "layers": 3,
    "pieces": [
        {"length": 1.2, "width": 1000},
        {"length": 1.0, "width": 400, "count": 2},
        {"length": {"value": 24, "unit": "in"}, "width": 150},
    ],
}


def laminate(**table: Any) -> TakeoffExpansion:
    found = TypeAdapter(Takeoff).validate_python(MAT | table)
    return expand_takeoff("mat", found, at_middle)


def test_mat_is_cut_from_a_roll_layer_by_layer() -> None:
    # With 25 mm all round, on 1.25 m: 1.05 × 1.25 m, beside it 0.2 × 0.6596, which just fits; then twice 0.45 × 1.05.
    # 2.3 m of roll × 1.25 m × 0.45 kg/m² × 3 layers; what is left beside the rows is bought too.
    found = laminate(buy="glass", roll_width=1.25, edge=25)
    assert at_middle(found.formula, found.inputs) == pytest.approx(2.3 * 1.25 * 0.45 * 3)
    assert found.working == (
        "4 pieces, 2.39 m² with edges, in 2 rows on 1.25 m: 2.3 m × 1.25 m × 450 g/m² × 3 layers → 3.88 kg"
    )
    assert (
        "row 1, 1.25 m: 1.05 × 1.25 m | 0.2 × 0.66 m; row 2, 1.05 m: 0.45 × 1.05 m | 0.45 × 1.05 m"
        in found.notes
    )
    packs = laminate(buy="glass", roll_width=1.25, edge=25, pack=2)
    assert at_middle(packs.formula, packs.inputs) == 2
    some = laminate(buy="glass", roll_width=1.25, layers={"low": 2, "middle": 3, "high": 4})
    assert at_middle(some.formula, some.inputs) == pytest.approx(2.2 * 1.25 * 0.45 * 3)


@pytest.mark.parametrize("buy", ["resin", "catalyst", "cleaner"])
def test_what_wets_the_mat_follows_from_the_pieces_own_area(buy: str) -> None:
    area = 1.2 * 1.0 + 2 * 1.0 * 0.4 + 0.6096 * 0.15
    found, same = laminate(buy=buy, edge=25, waste=10), laminate(buy=buy, waste=10, area=area, pieces=None)
    assert at_middle(found.formula, found.inputs) == pytest.approx(at_middle(same.formula, same.inputs))
    assert at_middle(found.formula, found.inputs) > 0


@pytest.mark.parametrize(("table", "told"), [
    ({"buy": "glass"}, "pieces without the roll's width"),
    ({"buy": "glass", "roll_width": 1.25, "waste": 10}, "pieces beside an area or waste"),
    ({"buy": "resin", "area": 2}, "pieces beside an area or waste"),
    ({"buy": "glass", "roll_width": 0.9}, "piece 1 is 1 m wide with its edges, the roll 0.9 m"),
    ({"buy": "glass", "area": 2, "pieces": None, "edge": 25}, "edge without pieces"),
    ({"buy": "glass", "pieces": None}, "no area"),
])  # fmt: skip
def test_pieces_of_mat_that_cannot_be_are_refused(table: dict[str, Any], told: str) -> None:
    with pytest.raises(ValidationError, match=told):
        laminate(**table)


SIDE = st.floats(0.05, 1.5)


@given(st.lists(st.tuples(SIDE, st.floats(0.05, 4.0)), min_size=1, max_size=30))
def test_no_plan_is_under_area_by_width_and_none_leaves_the_roll(pieces: list[tuple[float, float]]) -> None:
    rows = cut_plan(pieces, 1.5)
    length = rows[-1].start + rows[-1].length
    area = sum(across * along for across, along in pieces)
    assert length >= area / 1.5 - 1e-6
    assert (
        length <= 2 * area / 1.5 + max(along for _, along in pieces) + 1e-6
    )  # known bound of rows by first fit
    assert all(row.used <= 1.5 + 1e-6 and max(p[1] for p in row.pieces) == row.length for row in rows)
    assert sorted(piece for row in rows for piece in row.pieces) == sorted(pieces)
    for before, after in itertools.pairwise(rows):
        assert after.start == pytest.approx(before.start + before.length)


def test_a_piece_wider_than_the_roll_is_turned_or_refused() -> None:
    assert metres(pieces=[{"length": 0.5, "width": 2000}], roll_width=1.5) == pytest.approx(2.0)
    with pytest.raises(ValidationError, match=r"piece 1 is 1.6 m wide with its edges, the roll 1.5 m"):
        metres(pieces=[{"length": 1.6, "width": 1600}], roll_width=1.5)
    with pytest.raises(ValidationError, match="pieces beside an area or waste"):
        metres(pieces=[{"length": 1, "width": 100}], area=2)
