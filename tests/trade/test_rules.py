"""Customs rules as dated data."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import pytest

from forecast.figures.kinds import Known, Percentiles, Span
from forecast.trade.rules import countries, doubt, load_arrival, load_carriage, load_rules, load_volatilities
from forecast.trade.rules.model import RuleFigure
from forecast.words.sources import CERTAINTIES

REFERENCES = Path(__file__).parents[1] / "references"
VAT: dict[str, float] = json.loads((REFERENCES / "vat_rates.json").read_text(encoding="utf-8"))["percent"]
"""Standard rates in percent, from a data set on the Python Package Index that names its own source."""
TODAY = date(2026, 11, 26)
KIT_CODES = ("8708.29", "8708.10", "8708.70")


@pytest.mark.parametrize("country", countries())
def test_every_country_knows_the_codes_of_a_kit_and_names_its_sources(country: str) -> None:
    rules = load_rules(country)

    assert all(rules.duty_id(code) == f"duty.{code}" for code in KIT_CODES)
    for figure in rules.figures.values():
        assert figure.told
        assert figure.source or figure.certainty in ("no source", "common practice")
        assert figure.certainty in CERTAINTIES
        dates = [day for day in (figure.as_of, figure.read) if day is not None]
        assert all(day <= TODAY for day in dates)
        assert dates or figure.certainty in ("no source", "common practice")
        assert figure.unit != "share" or 0 <= figure.low <= figure.high <= 1
        assert figure.middle is None or figure.low <= figure.middle <= figure.high
    named = {
        id
        for levy in rules.levies
        for id in (
            levy.amount,
            levy.rate,
            levy.minimum,
            levy.maximum,
            levy.above,
            levy.at_least,
            levy.under,
            levy.at_most,
        )
        if id
    }
    named |= {id for rule in rules.thresholds for id in (rule.at_most, rule.flat) if id}
    named |= {id for rule in rules.additional for id in rule.totals.values()}
    for rule in rules.additional:  # a rate that is not on file is asked for, and said to be missing
        assert rule.rate in rules.figures or "not on file" in rule.words
    assert named | ({rules.tax} if rules.tax else set()) <= set(rules.figures)


def test_all_members_of_the_european_union_are_there() -> None:
    members = load_rules("IE").members

    assert len(members) == 27
    assert {load_rules(code).currency for code in members} == {"EUR"}
    assert members <= set(VAT)


@pytest.mark.parametrize("country", VAT)
def test_the_rate_of_vat_is_that_of_a_data_set_kept_by_others(country: str) -> None:
    rules = load_rules(country)

    assert rules.tax is not None
    assert 100 * rules.figure(rules.tax).value == pytest.approx(VAT[country], abs=1e-9)
    assert rules.figure(rules.tax).certainty in ("verified", "third party")


def test_what_enters_the_customs_value() -> None:
    """WTO valuation agreement, article 8.2: each member includes or leaves out transport and insurance."""
    with_freight = {code for code in countries() if "freight" in load_rules(code).customs_value.parts}

    assert set(countries()) - with_freight == {"AU", "CA", "NZ", "US", "ZA"}


def test_a_flat_sum_stands_where_a_flat_duty_does_and_nowhere_else() -> None:
    found = [threshold for country in countries() for threshold in load_rules(country).thresholds]

    assert {one.effect for one in found if one.flat is not None} == {"flat duty", "flat rate"}
    assert all(one.flat is not None for one in found if one.effect in ("flat duty", "flat rate"))


def test_a_longer_tariff_code_finds_its_heading() -> None:
    rules = load_rules("GB")

    assert rules.duty_id("8708.29.90") == "duty.8708.29"
    assert rules.duty_id("87082990") == "duty.8708.29"
    assert rules.duty_id("9401.20") is None


def figure(**changes: object) -> RuleFigure:
    given = {
        "id": "x", "label": "X", "low": 0.2, "middle": None, "high": 0.2, "unit": "share",
        "source": "an authority", "as_of": date(2026, 1, 1), "certainty": "verified",
    }  # fmt: skip
    return RuleFigure(**{**given, **changes})  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({}, ()),
        ({"as_of": date(2025, 5, 27)}, ()),  # 548 days before the day
        ({"as_of": date(2025, 5, 26)}, ("is of 26 May 2025, more than 18 months old",)),
        ({"as_of": None, "read": date(2025, 5, 27)}, ()),
        (
            {"as_of": None, "read": date(2025, 5, 26)},
            ("was read on 26 May 2025, more than 18 months ago",),
        ),
        ({"as_of": None}, ()),
        ({"valid_to": date(2026, 11, 26)}, ()),
        ({"valid_to": date(2026, 11, 25)}, ("held until 25 November 2026",)),
        ({"certainty": "no source"}, ("has no source",)),
        ({"certainty": "third party"}, ("was read in a third party's page only",)),
        ({"certainty": "common practice"}, ("is common practice without a source",)),
        (
            {"certainty": "no source", "valid_to": date(2026, 1, 31)},
            ("held until 31 January 2026", "has no source"),
        ),
    ],
)
def test_doubts(changes: dict[str, object], expected: tuple[str, ...]) -> None:
    assert figure(**changes).doubts(TODAY) == expected


def test_warnings_name_the_figure_its_source_and_the_way_to_overwrite_it() -> None:
    found = {warning.figure: str(warning) for warning in load_rules("US").warnings(TODAY)}

    assert "held until 30 September 2026" in found["mpf.rate"]
    assert found["duty.8707.10"] == (
        "US, Duty on whole bodies (0 to 2.5 %) has no source. Look this up first: a range stands in for the rate; "
        'overwrite it with overrides = { "duty.8707.10" = … }.'
    )
    assert str(
        doubt(figure(label="Duty on bolts", source="A tariff", certainty="no source"), "US", TODAY)
    ) == (
        "US, Duty on bolts (20 %) has no source (A tariff). Look it up before you rely on it; "
        'overwrite it with overrides = { "x" = … }.'
    )
    assert "hmf.rate" not in found
    assert len(load_rules("US").warnings(date(2026, 9, 30))) < len(found)


def test_the_british_duty_is_old_and_said_so() -> None:
    found = {warning.figure: str(warning) for warning in load_rules("GB").warnings(TODAY)}

    assert "is of 1 January 2021, more than 18 months old" in found["duty.8708.29"]
    assert "vat" not in found


def test_tax_goes_by_any_of_its_names() -> None:
    assert load_rules("AU").canonical("vat") == "gst"
    assert load_rules("GB").canonical("tax") == "vat"
    assert load_rules("JP").canonical("gst") == "consumption_tax"
    assert load_rules("US").canonical("tax") == "tax"


def test_arrival_ranges_become_figures_in_the_builds_money() -> None:
    terminal = load_arrival().charge("sea", "terminal")
    examination = load_arrival().charge("sea", "examination_cost")
    free = load_arrival().charge("sea", "storage_free")

    assert terminal is not None
    assert examination is not None
    assert free is not None
    assert terminal.as_figure(2.0, 1.5) == Span(low=80, high=360, unit="money per W/M", starter=True)
    assert examination.as_figure() == Percentiles(low=40, middle=150, high=500, unit="money", starter=True)
    assert free.as_figure() == Known(value=5, unit="days", estimated=False)
    assert load_arrival().charge("courier", "terminal") is None


def test_carriage_figures_and_volatilities_are_dated_and_sourced() -> None:
    for figure in load_carriage().values():
        assert figure.told
        assert all(day <= TODAY for day in (figure.as_of, figure.read) if day is not None)
    assert "European Central Bank" in load_volatilities().source
    assert all(0 <= value < 0.3 for value in load_volatilities().pairs.values())
