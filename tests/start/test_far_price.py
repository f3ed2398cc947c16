"""A price of a kit that is far from any kit's is asked about, by one function for every screen."""

from __future__ import annotations

import pytest

from forecast.start import far_price, question, read_answer

PRICE = question("kit_price")


def asked(said: str, money: str, home: str = "EUR", **told: object) -> str:
    so_far = {"currency": home, "kit_currency": money} | told
    found = far_price(PRICE, read_answer(PRICE, said, so_far), so_far)
    return "" if found is None else found.question


@pytest.mark.parametrize(
    ("said", "money"),
    [
        ("245 000", "JPY"), ("90 000", "JPY"), ("2450", "EUR"), ("300", "EUR"), ("24 000", "EUR"),
        ("65 000", "THB"), ("200-3200", "EUR"), ("1800; 2400; 3200", "EUR"),
    ],
)  # fmt: skip
def test_what_a_kit_may_cost_is_not_asked_about(said: str, money: str) -> None:
    assert asked(said, money) == ""


@pytest.mark.parametrize(
    ("said", "money", "meant"),
    [
        ("2400", "JPY", "¥240,000"),
        ("65", "THB", "THB 65,000"),
        ("245 000", "EUR", "€2,450"),
        ("245 000-320 000", "EUR", "€2,450 to €3,200"),
    ],
)
def test_what_no_kit_costs_is_asked_about_with_what_may_be_meant(said: str, money: str, meant: str) -> None:
    assert f"or did you mean {meant}?" in asked(said, money).replace("\u00a0", " ")


def test_one_quote_of_several_is_enough_to_ask() -> None:
    assert asked("2100; 24; 3300", "EUR").endswith("or did you mean another sum?")


def test_a_small_part_may_be_cheap() -> None:
    assert asked("60", "EUR", panels=("spoiler",)) == ""
    assert asked("60", "EUR")


def test_other_questions_and_money_of_unknown_worth_are_never_asked_about() -> None:
    budget = question("budget")
    assert far_price(budget, read_answer(budget, "60", {"currency": "EUR"}), {"currency": "EUR"}) is None
    assert asked("3", "XAU") == ""
