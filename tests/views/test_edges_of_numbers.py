"""Numbers at the edges of what can be typed: few trials, figures next to zero, hundreds of digits, sums beyond all."""

import datetime as dt
import json
import math
import os
import warnings
from pathlib import Path
from typing import Any

import pytest

from forecast.buildfile.reader import parse_build
from forecast.engine.forecast import forecast_plan
from forecast.engine.plan import compile_plan
from forecast.errors import BuildFileError, ForecastError, LedgerError, SimulationError
from forecast.ledger import Ledger
from forecast.views.cli import main
from forecast.words.minor_units import LARGEST_SUM, from_decimal, parse_money

HEAD = '[build]\nname = "Van"\ncurrency = "EUR"\ncountry = "IE"\n'


@pytest.fixture
def build(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    monkeypatch.setenv("FORECAST_HOME", str(tmp_path / "home"))
    (tmp_path / "van").mkdir()
    text = (Path(__file__).parents[2] / "scenarios/before-ordering-ireland/build.toml").read_text()
    (tmp_path / "van" / "build.toml").write_text(text)
    return str(tmp_path / "van")


def finite(value: Any) -> bool:
    if isinstance(value, dict | list):
        return all(map(finite, value.values() if isinstance(value, dict) else value))
    return not isinstance(value, float) or math.isfinite(value)


@pytest.mark.parametrize("trials", [16, 17, 31, 64, 96, 128, 200])
@pytest.mark.parametrize("command", ["advise", "budget"])
def test_few_trials_give_figures_all_the_same(
    command: str, trials: int, build: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert main([command, build, "--trials", str(trials), "--json"]) == 0
    assert finite(json.loads(capsys.readouterr().out))


@pytest.mark.parametrize("number", ["1e-300", "5e-324", "-1e-10", "9e-10"])
@pytest.mark.parametrize(
    "figure",
    ["{n}", "{{ low = {n}, high = 5 }}", "{{ low = {n}, middle = 3, high = 5 }}", "{{ quotes = [{n}, 5] }}",
     '{{ shape = "normal", mean = 5, sd = {n} }}', '{{ shape = "uniform", min = {n}, max = 3 }}'],
)  # fmt: skip
def test_a_number_next_to_zero_is_a_slip(figure: str, number: str) -> None:
    with pytest.raises(BuildFileError) as caught:
        parse_build(f'{HEAD}[[line]]\nid = "a"\ngroup = "kit"\namount = {figure.format(n=number)}\n')

    told = str(caught.value)
    assert (
        "Nothing that is counted or paid is under 1e-09" in told
        or "must be above" in told
        or "greater" in told
    )


def test_zero_is_no_slip() -> None:
    assert parse_build(f'{HEAD}[[line]]\nid = "a"\ngroup = "kit"\namount = 0\n').line


def test_percentiles_that_cannot_be_told_apart_from_far_away_are_told() -> None:
    figure = '{ shape = "metalog", lower = -1e12, p10 = 0, p50 = 1e-9, p90 = 1e-8, upper = 1e12 }'
    build = parse_build(f'{HEAD}[[line]]\nid = "a"\ngroup = "kit"\namount = {figure}\n')

    with pytest.raises(SimulationError, match="no metalog has"):
        forecast_plan(compile_plan(build, None), 64, 1)


@pytest.mark.parametrize("digits", [61, 400, 4299])
def test_a_number_of_hundreds_of_digits_is_told(
    digits: int, capsys: pytest.CaptureFixture[str], build: str
) -> None:
    long = "9" * digits
    with pytest.raises(ForecastError):
        parse_build(f'{HEAD}[[line]]\nid = "a"\ngroup = "kit"\namount = {long}\n')
    assert main(["receipt", "add", build, "--line", "kit_panels", "--supplier", "x", "--amount", long]) == 2
    assert main(["afford", build, "--money", long]) == 2
    assert "The program made a mistake" not in capsys.readouterr().err


@pytest.mark.parametrize("amount", ["80000000000000000", "1000000000000.01", "9" * 60, "-1000000000000.01"])
def test_a_sum_beyond_all_is_refused_and_nothing_is_kept(
    amount: str, build: str, capsys: pytest.CaptureFixture[str]
) -> None:
    arguments = [
        "receipt",
        "add",
        build,
        "--line",
        "kit_panels",
        "--supplier",
        "x",
        "--sure",
        f"--amount={amount}",
    ]

    assert main(arguments) == 2
    assert "is too large a sum. Check the number of zeros" in capsys.readouterr().err
    assert main(["receipt", "list", build]) == 0
    assert "No receipts yet" in capsys.readouterr().out


def test_the_ledger_itself_takes_no_sum_that_sums_could_overflow_on(tmp_path: Path) -> None:
    ledger = Ledger(tmp_path / "receipts.db", currency="EUR")
    day = dt.date(2026, 5, 3)
    for amount in (LARGEST_SUM + 1, 10**400):
        with pytest.raises(LedgerError, match="too large a sum"):
            ledger.add_receipt(day, "x", amount, "EUR", [("a", amount)])
        with pytest.raises(LedgerError, match="too large a sum"):
            ledger.add_commitment(day, "x", "a", amount, "EUR")
        with pytest.raises(LedgerError, match="too large a sum"):
            ledger.say_still_to_buy("a", amount, day)
    assert ledger.list_receipts() == ledger.list_commitments() == ()
    for text in (10**400, LARGEST_SUM):
        with pytest.raises(ForecastError):
            from_decimal(text, "EUR")
    assert parse_money("1000000000000", "EUR") == LARGEST_SUM


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such names")
@pytest.mark.parametrize("command", ["check", "budget", "receipts", "verify"])
def test_a_folder_whose_name_is_no_text_works(
    command: str, build: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    odd = os.fsdecode(os.fsencode(str(tmp_path)) + b"/van\xff")
    os.rename(build, odd)

    for more in ([], ["--json"]):
        assert main([command, odd, *more]) == 0
        capsys.readouterr().out.encode()
    assert (
        main(["receipt", "add", odd, "--line", "kit_panels", "--supplier", "a\udcffb", "--amount", "12"]) == 0
    )
    assert main([command, f"{odd}\udcff"]) in (1, 2)
    assert "The program made a mistake" not in capsys.readouterr().err
