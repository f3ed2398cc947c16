"""The cut plan of a roll: worked by hand, never under the bound, no piece over another or beyond the roll."""

from __future__ import annotations

import itertools
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import TypeAdapter, ValidationError

from forecast.build.takeoff import Takeoff
from forecast.engine.evaluate import at_middle
from forecast.trade.takeoff import expand_takeoff
from forecast.trade.takeoff.cutting import cut_plan


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
