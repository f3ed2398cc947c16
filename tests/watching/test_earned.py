from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from forecast.buildfile.reader import parse_build
from forecast.ledger import Ledger
from forecast.views.watch_words import earned_sentence
from forecast.watching.earned import NOT_THE_SAME, EarnedValue, earned_value
from tests.references.earned_value import ROUNDING_TRAP, WORKED

BUILD = parse_build("""\
[build]
name = "x"
currency = "EUR"
country = "IE"
[[line]]
id = "kit"
group = "kit"
amount = { low = 900, middle = 1000, high = 1300 }
[[line]]
id = "paint"
group = "finish"
amount = { low = 500, middle = 600, high = 900 }
[[line]]
id = "filler"
group = "consumables"
amount = 400
[[event]]
id = "damage"
chance = 0.5
cost = 300
""")


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    return Ledger(tmp_path / "receipts.db", currency="EUR")


def pay(ledger: Ledger, line: str, minor: int, *, close: bool = False) -> None:
    ledger.add_receipt("2026-03-01", "somebody", minor, "EUR", [(line, minor)])
    if close:
        ledger.close_line(line, "2026-03-01")


def test_worked_case_with_an_index_rounded_too_far() -> None:
    """It divides BAC by 0.85; BAC / index and AC + (BAC − EV) / index agree at the exact CPI only."""
    value = EarnedValue(*(Fraction(WORKED[key]) for key in ("bac", "ev", "ac")))
    eac = value.bac / WORKED["index"]
    assert value.cv == -240
    assert round(eac) == WORKED["eac"]
    assert round(value.bac - eac) == WORKED["vac"]
    assert round(eac - value.ac) == WORKED["etc"]
    assert value.tcpi() == WORKED["tcpi_bac"]
    assert round(float(value.tcpi(eac) or 0), 2) == float(WORKED["tcpi_eac"])
    assert float(value.eac or 0) == pytest.approx(WORKED["exact_eac"], abs=5e-7)
    assert value.cpi == Fraction(13, 15)


def test_cpi_is_never_rounded_before_it_is_divided_by() -> None:
    value = EarnedValue(*(Fraction(ROUNDING_TRAP[key]) for key in ("bac", "ev", "ac")))
    assert value.eac == ROUNDING_TRAP["eac"]
    assert value.vac == -40_000
    assert value.etc == 378_000
    assert value.eac_as_planned == ROUNDING_TRAP["eac_as_planned"]
    assert float(value.tcpi() or 0) == pytest.approx(ROUNDING_TRAP["tcpi_bac"], abs=5e-7)
    rounded = value.eac_at(Fraction(93, 100))
    assert abs(rounded - ROUNDING_TRAP["printed_eac"]) < 1


def test_eac_by_the_cpi_is_bac_by_cpi_and_the_composite_takes_another_index() -> None:
    value = EarnedValue(Fraction(700), Fraction(211), Fraction(330))
    cpi, spi = Fraction(211, 330), Fraction(9, 10)
    assert value.cpi == cpi
    assert value.eac == value.bac / cpi
    assert value.eac_at(cpi * spi) == 330 + (700 - 211) / (cpi * spi)


def test_what_a_builds_lines_have_earned(ledger: Ledger) -> None:
    pay(ledger, "kit", 110_000, close=True)
    pay(ledger, "paint", 10_000)
    earned = earned_value(BUILD, ledger)
    assert [(line.id, line.earned) for line in earned.lines] == [
        ("kit", 1000), ("paint", 300), ("filler", 0), ("damage", 0),
    ]  # fmt: skip
    assert (earned.value.bac, earned.value.ev, earned.value.ac) == (2000, 1300, 1200)
    assert earned.value.cpi == Fraction(13, 12)
    assert not earned.from_baseline


def test_what_was_never_bought_is_no_work_done(ledger: Ledger) -> None:
    """At the end of a build all that was paid was "work worth" the whole plan, lines never bought included."""
    pay(ledger, "kit", 110_000, close=True)
    ledger.close_line("paint", "2026-03-05")
    ledger.close_line("filler", "2026-03-05")
    earned = earned_value(BUILD, ledger)
    assert (earned.value.bac, earned.value.ev, earned.value.ac) == (1000, 1000, 1100)
    assert [line.id for line in earned.given_up] == ["paint", "filler"]
    said = "work worth €1,000.00 cost €1,100.00. 2 lines sure to be needed, worth €1,000.00, closed with nothing paid: "
    assert earned_sentence(earned).endswith(f"{said}they are left out.")


def test_a_begun_line_earns_what_was_paid_of_what_it_comes_to(ledger: Ledger) -> None:
    pay(ledger, "paint", 20_000)
    ledger.say_still_to_buy("paint", 60_000, "2026-03-02")
    assert earned_value(BUILD, ledger).lines[1].share_done == Fraction(1, 4)


def test_the_frozen_plan_stands_before_the_build_file_and_money_outside_it_is_actual_cost(
    ledger: Ledger,
) -> None:
    ledger.freeze_baseline(
        300_000, "EUR", fingerprint="f", build_text="", seed=1, trials=16,
        base_by_line={"kit": 90_000, "paint": 50_000}, date="2026-02-01",
    )  # fmt: skip
    pay(ledger, "kit", 90_000, close=True)
    pay(ledger, "winch", 10_000)
    earned = earned_value(BUILD, ledger)
    assert earned.from_baseline
    assert (earned.value.bac, earned.value.ev, earned.value.ac) == (1400, 900, 1000)
    assert earned.value.eac == Fraction(14000, 9)


def test_before_anything_is_paid_there_is_no_index(ledger: Ledger) -> None:
    value = earned_value(BUILD, ledger).value
    assert value.cpi is None
    assert value.eac is None
    assert value.vac is None
    assert value.tcpi() == 1


def test_there_is_no_to_complete_index_beyond_the_target() -> None:
    assert EarnedValue(Fraction(100), Fraction(50), Fraction(120)).tcpi() is None


@pytest.mark.parametrize("earned", [100, 120])
def test_there_is_no_to_complete_index_once_all_is_earned(earned: int) -> None:
    assert EarnedValue(Fraction(100), Fraction(earned), Fraction(60)).tcpi() is None


def test_a_yen_has_no_cents(tmp_path: Path) -> None:
    text = '[build]\nname = "x"\ncurrency = "JPY"\ncountry = "IE"\n'
    text += '[[line]]\nid = "kit"\ngroup = "kit"\namount = 90000\n'
    ledger = Ledger(tmp_path / "yen.db", currency="JPY")
    ledger.add_receipt("2026-03-01", "somebody", 95_000, "JPY", [("kit", 95_000)])
    ledger.close_line("kit", "2026-03-01")
    value = earned_value(parse_build(text), ledger).value
    assert (value.bac, value.ac) == (90_000, 95_000)


def test_the_difference_from_the_simulation_is_said() -> None:
    assert any("contingency" in reason for reason in NOT_THE_SAME)
    assert any("schedule" in reason for reason in NOT_THE_SAME)
    shared = next(reason for reason in NOT_THE_SAME if "shared cause" in reason)
    assert "own estimating behind all your guesses" in shared
