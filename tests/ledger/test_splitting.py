from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecast.errors import LedgerError
from forecast.ledger.splitting import (
    StatementRow,
    reconcile,
    split_by_estimate,
    split_rest,
)

MONEY = st.integers(-(10**10), 10**10)
WEIGHTS = st.lists(st.one_of(st.integers(0, 10**6), st.floats(0, 1e6)), min_size=1, max_size=20)


@given(MONEY, WEIGHTS)
def test_a_split_by_estimate_adds_up_and_is_fair_to_the_minor_unit(total: int, weights: list[float]) -> None:
    parts = split_by_estimate(total, weights)
    assert sum(parts) == total
    whole = sum(Fraction(weight) for weight in weights)
    if whole:
        for part, weight in zip(parts, weights, strict=True):
            assert abs(part - total * Fraction(weight) / whole) < 1


@given(MONEY, st.integers(1, 50))
def test_an_even_split_adds_up_and_differs_by_one_at_most(total: int, count: int) -> None:
    parts = split_by_estimate(total, [1] * count)
    assert sum(parts) == total
    assert max(parts) - min(parts) <= 1


@given(MONEY, WEIGHTS)
def test_a_refund_splits_as_its_payment_did(total: int, weights: list[float]) -> None:
    assert split_by_estimate(-total, weights) == tuple(-part for part in split_by_estimate(total, weights))


def test_the_largest_remainder_gets_the_odd_cent() -> None:
    assert split_by_estimate(100, [1, 1, 1]) == (34, 33, 33)
    assert split_by_estimate(10, [1, 2, 4]) == (1, 3, 6)  # exact shares 1.43, 2.86, 5.71
    assert split_by_estimate(5, [0, 1]) == (0, 5)
    assert split_by_estimate(5, [0, 0]) == (3, 2)


@pytest.mark.parametrize("weights", [[], [-1, 2], [float("nan")], [float("inf")]])
def test_useless_estimates_are_refused(weights: list[float]) -> None:
    with pytest.raises(LedgerError, match="estimates"):
        split_by_estimate(100, weights)


def test_the_rest_goes_to_the_other_lines() -> None:
    assert split_rest(1000, {"a": 100}, ["b", "c"]) == (("a", 100), ("b", 450), ("c", 450))
    assert split_rest(1000, {"a": 100}, ["b", "c"], {"b": 2, "c": 1}) == (("a", 100), ("b", 600), ("c", 300))
    assert split_rest(100, {"a": 100}, []) == (("a", 100),)
    with pytest.raises(LedgerError, match="come to more than the receipt"):
        split_rest(100, {"a": 150}, ["b"])
    with pytest.raises(LedgerError, match="stands twice"):
        split_rest(100, {"a": 50}, ["a"])
    with pytest.raises(LedgerError, match="estimates"):
        split_rest(100, {"a": 50}, [])


@given(
    st.lists(st.lists(st.integers(-(10**8), 10**8), min_size=1, max_size=6), min_size=1, max_size=6),
    st.integers(-1000, 1000),
    st.integers(0, 5),
    st.integers(-1000, 1000),
)
def test_exactly_the_stated_sums_that_are_wrong_are_reported(
    blocks: list[list[int]], off_by: int, which: int, total_off_by: int
) -> None:
    which %= len(blocks)
    rows: list[StatementRow] = []
    for number, block in enumerate(blocks):
        rows += [StatementRow(f"item {number}", amount) for amount in block]
        rows.append(
            StatementRow(f"sub {number}", sum(block) + (off_by if number == which else 0), "subtotal")
        )
    everything = sum(map(sum, blocks))
    found = reconcile(rows, stated_total=everything + total_off_by)
    wrong = [f"sub {which}"] * bool(off_by) + ["total"] * bool(total_off_by)
    assert [item.label for item in found.disagreements] == wrong
    assert [item.difference for item in found.disagreements] == [gap for gap in (off_by, total_off_by) if gap]
    assert found.items_minor == everything
    assert found.agrees == (not wrong)


def test_a_disagreement_says_what_was_said_and_what_it_adds_up_to() -> None:
    found = reconcile([("panels", 120_000), ("lights", 30_050), ("kit", 151_050, "subtotal")])
    assert found.disagreements[0].describe("EUR") == (
        "row 3, kit: 1510.50 EUR was said, its 2 lines add up to 1500.50, the difference is 10.00."
    )


def test_an_unknown_kind_of_row_is_refused() -> None:
    with pytest.raises(LedgerError, match="Legal are item, subtotal and total"):
        reconcile([("x", 1, "grand total")])
